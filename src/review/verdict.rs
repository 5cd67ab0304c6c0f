//! The two verdicts on a claimed value, and the comparison they rest on.
//!
//! A claim is compared at the last place it was written with: the recomputed value, exact, is rounded there by
//! the rule in force. What was written beyond its own digits is a matter of the other verdict.

use super::slips::Explanation;
use crate::chemistry::Formula;
use crate::evaluation::results::{Claim, ClaimTarget, FormulaFound, Results};
use crate::quantity::derivation::NodeId;
use crate::quantity::rounding::round_to_place;
use crate::quantity::{Decimal, Number, Printed, Rounding, Unit};
use crate::span::Span;

/// What a review says of a notebook.
#[derive(Clone, Debug, Default)]
pub struct Review {
    /// One per claim, in the order of [`Results::claims`].
    pub claims: Vec<ClaimReview>,
}

impl Review {
    /// How many claims have a value verdict.
    pub fn count(&self, verdict: &ValueVerdict) -> usize {
        let same =
            |claim: &&ClaimReview| std::mem::discriminant(&claim.value) == std::mem::discriminant(verdict);
        self.claims.iter().filter(same).count()
    }
}

/// The verdicts on one claim.
#[derive(Clone, Debug, PartialEq)]
pub struct ClaimReview {
    /// On its value.
    pub value: ValueVerdict,
    /// On its digits; `None` where there is nothing to compare with.
    pub digits: Option<DigitsVerdict>,
    /// The recomputed value, rounded to the claim's last place; `None` where there is none.
    pub recomputed: Option<Printed>,
    /// The recomputed value as the digits policy prints it.
    pub printed: Option<Printed>,
    /// Claimed − recomputed, exact, in the claim's unit.
    pub difference: Option<Number>,
    /// The same relative to the recomputed value; `None` where that is zero.
    pub relative: Option<f64>,
    /// What a claim that differs is consistent with, where one explanation stands out.
    pub slip: Option<Explanation>,
    /// Other explanations that give the claimed value, the likeliest first; without `slip`, none stands out.
    pub possible: Vec<Explanation>,
    /// An earlier claim with the same slip: together they are one.
    pub same_slip_as: Option<usize>,
    /// The places the verdict rests on, with a word each.
    pub rests_on: Vec<(Span, String)>,
}

/// How a claimed value compares, the first that holds.
#[derive(Clone, Debug, PartialEq)]
pub enum ValueVerdict {
    /// Equal after rounding to the claim's last place.
    Agrees,
    /// One unit of the claim's last place away.
    OffByOne,
    /// Right from the author's own earlier values: worth its mark.
    CarriedForward(Carried),
    /// Right by another table of atomic weights, by its name.
    OtherTable(String),
    /// None of these.
    Differs,
    /// There is nothing to compare it with, and why.
    CannotBeChecked(String),
}

/// What a value is right from.
#[derive(Clone, Debug, PartialEq)]
pub enum Carried {
    /// The claims it follows from, by index.
    Claims(Vec<usize>),
    /// Values rounded on the way to so many figures.
    Rounded(u32),
}

impl ValueVerdict {
    /// The words printed for it.
    pub fn word(&self) -> &'static str {
        match self {
            ValueVerdict::Agrees => "agrees",
            ValueVerdict::OffByOne => "off by one in the last place",
            ValueVerdict::CarriedForward(_) => "carried forward",
            ValueVerdict::OtherTable(_) => "right by another atomic-weight table",
            ValueVerdict::Differs => "differs",
            ValueVerdict::CannotBeChecked(_) => "cannot be checked",
        }
    }
}

/// How many digits a claim was written with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DigitsVerdict {
    /// As many as the digits policy gives.
    Fitting,
    /// More.
    TooMany,
    /// Fewer.
    TooFew,
}

impl DigitsVerdict {
    /// The words printed for it.
    pub fn word(self) -> &'static str {
        match self {
            DigitsVerdict::Fitting => "fitting",
            DigitsVerdict::TooMany => "too many",
            DigitsVerdict::TooFew => "too few",
        }
    }
}

/// A claimed number with what decides about it.
#[derive(Clone, Copy)]
pub(super) struct Comparison<'a> {
    pub(super) node: NodeId,
    pub(super) claimed: &'a Decimal,
    pub(super) unit: &'a Unit,
    pub(super) by_magnitude: bool,
    pub(super) rounding: Rounding,
}

impl Comparison<'_> {
    /// A number (coherent SI units) in the claim's unit.
    pub(super) fn in_unit(&self, number: &Number) -> Option<Number> {
        let above = self.unit.zero().map_or(Some(number.clone()), |zero| number.sub(zero).ok())?;
        above.div(self.unit.factor()).ok()
    }

    /// The number rounded at the claim's last place.
    pub(super) fn rounded(&self, in_unit: &Number) -> Decimal {
        round_to_place(in_unit, self.claimed.place(), self.rounding)
    }

    /// How many units of its last place the claim is above a number in its unit, rounded there; signs are left
    /// out where it is compared by magnitude.
    pub(super) fn steps_above(&self, in_unit: &Number) -> Option<i64> {
        let rounded = self.rounded(in_unit).to_number();
        let claimed = self.claimed.to_number();
        let (claimed, rounded) =
            if self.by_magnitude { (claimed.abs(), rounded.abs()) } else { (claimed, rounded) };
        let place = Number::power_of_ten(self.claimed.place());
        claimed.sub(&rounded).ok()?.div(&place).ok()?.to_i64()
    }
}

/// The verdicts that need no derivation: agrees, off by one, or (for now) differs.
pub(super) fn first(claim: &Claim, results: &Results) -> ClaimReview {
    match &claim.target {
        ClaimTarget::Value { node, claimed, unit, printed, by_magnitude } => {
            let rounding = results.settings.rounding;
            let comparison = Comparison { node: *node, claimed, unit, by_magnitude: *by_magnitude, rounding };
            of_value(&comparison, printed, results)
        }
        // Only what authors are shown has fewer formulas than were found (`template/reveal.rs`).
        ClaimTarget::Formula(index) => of_formula(claim, &results.formulas[*index]),
        ClaimTarget::None(reason) => without_value(ValueVerdict::CannotBeChecked(reason.clone())),
    }
}

fn without_value(value: ValueVerdict) -> ClaimReview {
    ClaimReview {
        value,
        digits: None,
        recomputed: None,
        printed: None,
        difference: None,
        relative: None,
        slip: None,
        possible: Vec::new(),
        same_slip_as: None,
        rests_on: Vec::new(),
    }
}

fn of_value(comparison: &Comparison, printed: &Printed, results: &Results) -> ClaimReview {
    let number = &results.graph.quantity(comparison.node).number;
    let Some(in_unit) = comparison.in_unit(number) else {
        return without_value(ValueVerdict::CannotBeChecked("it is too large".into()));
    };
    let value = match comparison.steps_above(&in_unit) {
        Some(0) => ValueVerdict::Agrees,
        Some(1 | -1) => ValueVerdict::OffByOne,
        _ => ValueVerdict::Differs,
    };
    let difference = comparison.claimed.to_number().sub(&in_unit).ok();
    let relative = difference.as_ref().and_then(|difference| difference.div(&in_unit).ok());
    ClaimReview {
        digits: Some(match results.graph.quantity(comparison.node).digits {
            // An exact value has no last place of its own.
            crate::quantity::Digits::Exact => DigitsVerdict::Fitting,
            _ => digits(comparison.claimed, printed),
        }),
        recomputed: Some(Printed::of_decimal(&comparison.rounded(&in_unit))),
        printed: Some(printed.clone()),
        relative: relative.map(|relative| relative.to_f64()),
        difference,
        ..without_value(value)
    }
}

/// The claim's last place against the one the policy prints.
fn digits(claimed: &Decimal, printed: &Printed) -> DigitsVerdict {
    match claimed.place().cmp(&printed.place()) {
        std::cmp::Ordering::Equal => DigitsVerdict::Fitting,
        std::cmp::Ordering::Less => DigitsVerdict::TooMany,
        std::cmp::Ordering::Greater => DigitsVerdict::TooFew,
    }
}

/// A claimed formula against the one that fits.
fn of_formula(claim: &Claim, found: &FormulaFound) -> ClaimReview {
    let Ok(claimed) = Formula::parse(&claim.written) else {
        return without_value(ValueVerdict::CannotBeChecked("it is no formula that can be read".into()));
    };
    let same = |text: &String| Formula::parse(text).is_ok_and(|formula| formula.same_substance(&claimed));
    match &found.formula {
        Some(formula) if same(formula) => without_value(ValueVerdict::Agrees),
        Some(_) => without_value(ValueVerdict::Differs),
        None => without_value(ValueVerdict::CannotBeChecked(found.verdict.clone())),
    }
}
