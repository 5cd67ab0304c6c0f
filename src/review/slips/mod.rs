//! The search for the likely slip behind a claimed value that differs.
//!
//! Every way to go wrong that is known here is tried in the claim's region of the derivation (`candidates`); those
//! that give the claimed value are weighed against each other and against chance (`weighing`). One is named only
//! where it stands out; then the review says “consistent with”, and shows the recomputation.

mod candidates;
mod digits;
mod quantities;
mod weighing;

pub(in crate::review) use candidates::{Family, Told};
pub(in crate::review) use weighing::Weighed;

use super::derivation::Derivation;
use super::region::Region;
use super::verdict::{ClaimReview, ValueVerdict};
use super::{shown, tables};
use crate::chemistry::{AtomicWeights, Formula};
use crate::span::Span;

/// The kinds of slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SlipKind {
    /// Two neighbouring digits changed places.
    DigitsSwapped,
    /// One digit was read as another.
    DigitMisread,
    /// A reading of another row, trial or heating.
    WrongReading,
    /// The mass of the vessel was not subtracted.
    VesselNotSubtracted,
    /// A ratio the other way up.
    RatioUpsideDown,
    /// A power of ten: a factor 100 of per cent, 1000 of mg and g, 10 of the decimal mark.
    PowerOfTen,
    /// The molar mass of another formula.
    WrongMolarMass,
    /// Atomic weights or molar masses rounded before use.
    WeightsRounded,
    /// Added where it had to be subtracted, or the other way round.
    Sign,
    /// Divided by another mass.
    WrongDenominator,
    /// Another computed value of the same kind and trial in place of the right one.
    WrongQuantity,
}

impl SlipKind {
    /// The stable word of the review file.
    pub fn word(self) -> &'static str {
        match self {
            SlipKind::DigitsSwapped => "digits swapped",
            SlipKind::DigitMisread => "digit misread",
            SlipKind::WrongReading => "wrong reading",
            SlipKind::VesselNotSubtracted => "vessel not subtracted",
            SlipKind::RatioUpsideDown => "ratio upside down",
            SlipKind::PowerOfTen => "power of ten",
            SlipKind::WrongMolarMass => "wrong molar mass",
            SlipKind::WeightsRounded => "atomic weights rounded early",
            SlipKind::Sign => "sign",
            SlipKind::WrongDenominator => "wrong denominator",
            SlipKind::WrongQuantity => "wrong quantity",
        }
    }
}

/// What a claimed value is consistent with.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// The kind of slip.
    pub kind: SlipKind,
    /// What was done differently, in words after “consistent with”.
    pub what: String,
    /// The recomputation that gives the claimed value, ending in that value.
    pub recomputation: String,
    /// Whether it gives the claim to its last place; else it is one off there, by rounding on the way.
    pub exact: bool,
    /// Other claims that it gives too, by index.
    pub supports: Vec<usize>,
    /// Where the slip may have been made.
    pub place: Option<Span>,
}

/// What the search knows of a notebook.
pub(super) struct Known {
    table: AtomicWeights,
    formulas: Vec<(String, Formula)>,
    related: Vec<(String, Formula)>,
}

/// Names the slip of each claim that differs, where one explanation stands out.
pub(super) fn search(derivation: &Derivation, claims: &mut [ClaimReview]) {
    let differing: Vec<usize> =
        (0..claims.len()).filter(|index| claims[*index].value == ValueVerdict::Differs).collect();
    if differing.is_empty() {
        return;
    }
    let formulas = tables::formulas(derivation.results);
    let related = tables::related(&formulas);
    let known = Known { table: tables::in_force(&derivation.results.settings), formulas, related };
    let regions: Vec<Region> = differing.iter().filter_map(|claim| Region::of(derivation, *claim)).collect();
    let fits: Vec<Vec<candidates::Fit>> =
        regions.iter().map(|region| candidates::fitting(derivation, region, &known)).collect();
    let weighed = weighing::weigh(derivation, &regions, &fits);
    for (region, weighed) in regions.iter().zip(weighed) {
        let explain = |found: &weighing::Weighed| shown::explanation(derivation, region, found);
        let review = &mut claims[region.claim];
        if weighed.stands_out {
            review.slip = weighed.found.first().map(explain);
            review.same_slip_as = weighed.same_as;
        } else {
            review.possible =
                weighed.found.iter().filter(|found| found.worth_saying).take(3).map(explain).collect();
        }
        if let Some(slip) = &review.slip {
            review.rests_on = slip.place.iter().map(|span| (*span, slip.what.clone())).collect();
        }
    }
}
