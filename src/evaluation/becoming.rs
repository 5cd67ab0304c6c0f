//! What becomes of the components of a mixture, step by step, and what each counts in a total.
//!
//! A component is followed along the equations, from one product to the next. In the first total every component
//! counts as itself. In any other it counts as those of its products that stand there, and as itself where it
//! stands there unchanged, or where its equation says that only a fraction changes.

use super::Value;
use super::calculator::Calculator;
use super::mixture::{Problem, same};
use super::scope::Side;
use super::tabulated::parse_whole;
use crate::chemistry::{Balanced, Formula, Reaction};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{Mixture, MixtureChange, Total};
use crate::quantity::Number;
use crate::quantity::derivation::NodeId;
use crate::span::{Span, Spanned};
use dashu_ratio::RBig;

/// Most equations one after the other.
const MOST_STEPS: usize = 6;
/// Most products of one component.
const MOST_PRODUCTS: usize = 200;

/// An equation of a mixture, balanced.
pub(super) struct Change {
    span: Span,
    balanced: Balanced,
    /// The fraction that changes, where it is not all.
    extent: Option<NodeId>,
}

/// A substance that a component becomes.
#[derive(Clone)]
struct Reached {
    formula: Formula,
    /// Moles per mole of the component.
    ratio: RBig,
    /// What changed on the way: each substance with the index of its equation.
    way: Vec<(Formula, usize)>,
}

/// What a component counts in a total.
#[derive(Default)]
pub(super) struct Counted {
    /// Whether it counts as itself.
    pub(super) itself: bool,
    /// The fractions that have left it, where it counts as itself.
    pub(super) changed: Vec<NodeId>,
    /// What it counts as besides.
    pub(super) products: Vec<CountedProduct>,
}

/// A product in a total.
pub(super) struct CountedProduct {
    /// The product where it stands in the total.
    pub(super) part: Spanned<String>,
    /// Moles per mole of the component.
    pub(super) ratio: RBig,
    /// The fractions that have changed into it.
    pub(super) extents: Vec<NodeId>,
    /// The fractions that have left it again.
    pub(super) changed: Vec<NodeId>,
}

/// Reads and balances the equations of a mixture.
pub(super) fn changes(mixture: &Mixture, calculator: &mut Calculator) -> Result<Vec<Change>, Problem> {
    mixture.changes.iter().map(|change| read(change, calculator)).collect()
}

fn read(change: &MixtureChange, calculator: &mut Calculator) -> Result<Change, Problem> {
    let line = &change.equation;
    let reaction = Reaction::parse(&line.value).map_err(|error| {
        let span = Span::new(line.span.start + error.range.start, line.span.start + error.range.end);
        let finding = Finding::error(Code::UnknownFormula, span, error.message);
        Box::new(error.hint.into_iter().fold(finding, Finding::hint))
    })?;
    let balanced = reaction.balance().map_err(|problem| {
        let finding = Finding::error(Code::UnbalancedReaction, line.span, problem.message());
        Box::new(finding.hint(problem.hint()))
    })?;
    let extent = change.extent.as_ref().map(|extent| {
        let value = calculator.value(extent, Side::Working);
        fraction(&value, extent.span, calculator)
    });
    Ok(Change { span: line.span, balanced, extent: extent.transpose()? })
}

/// A fraction between none and all, the same for all trials.
fn fraction(value: &Value, span: Span, calculator: &Calculator) -> Result<NodeId, Problem> {
    let wrong = |message: String| {
        let finding = Finding::error(Code::BadMixture, span, message);
        Box::new(finding.hint("state it as `92 %`, `0.92` or by a value that is the same for all trials"))
    };
    let node = match value {
        Value::Scalar(Ok(node)) => *node,
        Value::Scalar(Err(reason)) => {
            return Err(wrong(format!("the fraction that changes is not known: {reason}")));
        }
        Value::Trials(_) => return Err(wrong("the fraction that changes depends on the trial".into())),
    };
    let quantity = calculator.graph.quantity(node);
    let above = Number::one().sub(&quantity.number).is_ok_and(|rest| rest.is_negative());
    if !quantity.dimension.is_pure() || quantity.number.is_negative() || above {
        return Err(wrong("the fraction that changes has to be between 0 and 1 (100 %)".into()));
    }
    Ok(node)
}

/// Everything a component becomes.
fn reached(component: &str, changes: &[Change]) -> Vec<Reached> {
    let Ok(formula) = Formula::parse(component) else { return Vec::new() };
    let mut found = Vec::new();
    let mut open = vec![Reached { formula, ratio: RBig::ONE, way: Vec::new() }];
    while let Some(from) = open.pop() {
        if from.way.len() >= MOST_STEPS || found.len() > MOST_PRODUCTS {
            continue;
        }
        for next in changes.iter().enumerate().flat_map(|(index, change)| from.by(index, change)) {
            open.push(next.clone());
            found.push(next);
        }
    }
    found
}

impl Reached {
    /// What a change makes of it.
    fn by(&self, index: usize, change: &Change) -> Vec<Reached> {
        let here = |formula: &Formula| formula.same_substance(&self.formula);
        let left = &change.balanced.reaction.left;
        if !left.iter().any(|term| here(&term.formula)) || self.way.iter().any(|(before, _)| here(before)) {
            return Vec::new();
        }
        let mut way = self.way.clone();
        way.push((self.formula.clone(), index));
        let products = change.balanced.reaction.right.iter();
        let next = products.filter_map(|term| {
            let ratio = change.balanced.ratio(&term.formula, &self.formula)? * &self.ratio;
            Some(Reached { formula: term.formula.clone(), ratio, way: way.clone() })
        });
        next.collect()
    }

    /// The equation that takes a substance on the way to this one.
    fn leaves(&self, substance: &Formula) -> Option<usize> {
        self.way.iter().find(|(before, _)| before.same_substance(substance)).map(|(_, change)| *change)
    }
}

/// Every part of every total comes from some component.
pub(super) fn check_parts(
    mixture: &Mixture,
    components: &[Spanned<String>],
    changes: &[Change],
) -> Result<(), Problem> {
    let reached: Vec<Reached> =
        components.iter().flat_map(|component| reached(&component.value, changes)).collect();
    for part in mixture.totals.iter().flat_map(|total| &total.parts) {
        let itself = components.iter().any(|component| same(&component.value, &part.value));
        let formula = Formula::parse(&part.value).ok();
        let made = formula.is_some_and(|formula| reached.iter().any(|r| r.formula.same_substance(&formula)));
        if !itself && !made {
            let message = format!("{} is no component, and no equation makes it from one", part.value);
            let finding = Finding::error(Code::BadMixture, part.span, message);
            let hint = "the first total names the components; add an equation such as `MgCO3 -> MgO + CO2`";
            return Err(Box::new(finding.hint(hint)));
        }
    }
    Ok(())
}

/// The equations that no component leads to, as warnings.
pub(super) fn idle(components: &[Spanned<String>], changes: &[Change]) -> Vec<Finding> {
    let start = components.iter().filter_map(|component| Formula::parse(&component.value).ok());
    let reached = components.iter().flat_map(|component| reached(&component.value, changes));
    let all: Vec<Formula> = start.chain(reached.map(|one| one.formula)).collect();
    let used = |change: &&Change| {
        let mut left = change.balanced.reaction.left.iter();
        left.any(|term| all.iter().any(|formula| formula.same_substance(&term.formula)))
    };
    let warn = |change: &Change| {
        let message = "no component of the mixture becomes anything by this equation";
        let finding = Finding::warning(Code::BadMixture, change.span, message);
        finding.hint("the first total names the components; is one misspelt, or missing there?")
    };
    changes.iter().filter(|change| !used(change)).map(warn).collect()
}

/// What a component counts in a total.
pub(super) fn counted(
    total: &Total,
    is_first: bool,
    component: &Spanned<String>,
    components: &[Spanned<String>],
    changes: &[Change],
) -> Result<Counted, Problem> {
    let itself = total.parts.iter().any(|part| same(&part.value, &component.value));
    if is_first {
        return Ok(Counted { itself, ..Counted::default() });
    }
    let mut here = Vec::new();
    for one in reached(&component.value, changes) {
        for part in &total.parts {
            let stands =
                Formula::parse(&part.value).is_ok_and(|formula| formula.same_substance(&one.formula));
            if stands && !same(&part.value, &component.value) {
                here.push((one.clone(), part.clone()));
            }
        }
    }
    let origin = Formula::parse(&component.value).ok();
    let stay =
        origin.iter().filter(|_| itself).cloned().chain(here.iter().map(|(one, _)| one.formula.clone()));
    for substance in stay.collect::<Vec<_>>() {
        keep_or_change(&substance, &mut here, total, components, changes)?;
    }
    one_way(&here, changes)?;
    let changed = |substance: &Formula| {
        let gone: Vec<usize> = here.iter().filter_map(|(one, _)| one.leaves(substance)).collect();
        let mut extents: Vec<NodeId> = gone.iter().filter_map(|change| changes[*change].extent).collect();
        extents.dedup();
        extents
    };
    let product = |(one, part): &(Reached, Spanned<String>)| CountedProduct {
        part: part.clone(),
        ratio: one.ratio.clone(),
        extents: one.way.iter().filter_map(|(_, change)| changes[*change].extent).collect(),
        changed: changed(&one.formula),
    };
    Ok(Counted {
        itself,
        changed: origin.as_ref().filter(|_| itself).map(changed).unwrap_or_default(),
        products: here.iter().map(product).collect(),
    })
}

/// A substance that stands in a total has not changed, unless its equation says that only a fraction does. What it
/// would have become and stands there too has to be a component of its own.
fn keep_or_change(
    substance: &Formula,
    here: &mut Vec<(Reached, Spanned<String>)>,
    total: &Total,
    components: &[Spanned<String>],
    changes: &[Change],
) -> Result<(), Problem> {
    let unchanged = |one: &Reached| one.leaves(substance).filter(|change| changes[*change].extent.is_none());
    let is_component =
        |part: &Spanned<String>| components.iter().any(|other| same(&other.value, &part.value));
    if let Some((one, part)) = here.iter().find(|(one, part)| unchanged(one).is_some() && !is_component(part))
    {
        let message =
            format!("{} stands in a total beside {}, which it becomes", substance.unicode(), part.value);
        let finding = Finding::error(Code::BadMixture, total.span, message);
        let place = unchanged(one).map_or(total.span, |change| changes[change].span);
        let finding = finding.label(place, "by this equation");
        return Err(Box::new(
            finding.hint("say what fraction of it changes, as in `CaCO3 -> CaO + CO2, 92 %`"),
        ));
    }
    here.retain(|(one, _)| unchanged(one).is_none());
    Ok(())
}

/// One substance changes by one equation within one total.
fn one_way(here: &[(Reached, Spanned<String>)], changes: &[Change]) -> Result<(), Problem> {
    for (one, part) in here {
        for (substance, change) in &one.way {
            let other =
                here.iter().find_map(|(other, _)| other.leaves(substance).filter(|other| other != change));
            if let Some(other) = other {
                let message =
                    format!("two equations say what becomes of {} in one total", substance.unicode());
                let finding = Finding::error(Code::BadMixture, part.span, message);
                let finding =
                    finding.label(changes[*change].span, "one").label(changes[other].span, "the other");
                return Err(Box::new(finding.hint("a total may hold the products of one of them")));
            }
        }
    }
    Ok(())
}

/// A substance that an equation of the component uses up beside it cannot stand in a total as its product.
pub(super) fn check_used_up(
    part: &Spanned<String>,
    component: &Spanned<String>,
    changes: &[Change],
) -> Result<(), Problem> {
    let (Ok(product), Ok(reactant)) = (parse_whole(part), Formula::parse(&component.value)) else {
        return Ok(());
    };
    let on_left = |change: &Change, formula: &Formula| {
        change.balanced.reaction.left.iter().any(|term| term.formula.same_substance(formula))
    };
    let used = changes.iter().any(|change| on_left(change, &product) && on_left(change, &reactant));
    if used && !product.same_substance(&reactant) {
        let message =
            format!("{} is used up by the equation of {}, not made by it", part.value, component.value);
        let finding = Finding::error(Code::BadMixture, part.span, message);
        return Err(Box::new(finding.hint("a total may hold what the components are or become")));
    }
    Ok(())
}
