//! How a recomputed value comes about, step by step down to the readings: each named value as a formula, with its
//! numbers put in, and the readings at the bottom of it with their places.

use super::ClaimReview;
use super::derivation::Derivation;
use super::region::{Edit, From, Region};
use super::written_out::{Style, WrittenOut, with_unit};
use crate::evaluation::results::Results;
use crate::span::Span;

/// How one claim's recomputed value comes about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Derived {
    /// The steps, each after those it needs; the value itself is the last.
    pub steps: Vec<DerivedStep>,
    /// The readings they rest on, in the order read.
    pub readings: Vec<ReadingUsed>,
}

/// One named value on the way.
#[derive(Clone, Debug, PartialEq)]
pub struct DerivedStep {
    /// What it is called, with its trial where several are at work.
    pub name: String,
    /// Its formula in symbols.
    pub formula: String,
    /// The formula with numbers put in.
    pub numbers: String,
    /// What it comes to, with its unit; a guard digit may follow its last place.
    pub value: String,
}

/// A reading, or another quantity that was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingUsed {
    /// Load and treatment.
    pub label: String,
    /// The trial's name.
    pub trial: Option<String>,
    /// The number with its unit.
    pub value: String,
    /// Where it was written down.
    pub span: Option<Span>,
}

/// How each claim's recomputed value comes about. A claim of nothing that is computed has no steps.
pub fn derivations(results: &Results, reviews: &[ClaimReview]) -> Vec<Derived> {
    let derivation = Derivation::of(results, reviews);
    let derived = |claim| {
        let region = Region::through(&derivation, claim, &|_| true)?;
        Some(Derived { steps: steps(&derivation, &region), readings: readings(&derivation, &region) })
    };
    (0..results.claims.len()).map(|claim| derived(claim).unwrap_or_default()).collect()
}

fn steps(derivation: &Derivation, region: &Region) -> Vec<DerivedStep> {
    let edit = Edit::new();
    let written = |style| WrittenOut::new(derivation, region, (From::Recomputed, &edit), style);
    let (symbols, numbers) = (written(Style::Symbols), written(Style::Numbers));
    let Some(values) = region.exact(derivation, From::Recomputed, &edit) else { return Vec::new() };
    let last = region.nodes.len().saturating_sub(1);
    let is_step = |(at, local): &(usize, &super::region::Local)| {
        !local.by_hand && !local.inputs.is_empty() && (*at == last || derivation.name(local.node).is_some())
    };
    let step = |(at, local): (usize, &super::region::Local)| {
        let named = derivation.name(local.node).map(|_| symbols.symbol(at));
        DerivedStep {
            name: named.unwrap_or_else(|| derivation.results.claims[region.claim].of.clone()),
            formula: symbols.written(at, &values),
            numbers: numbers.written(at, &values),
            value: numbers.value(at, &values[at]),
        }
    };
    region.nodes.iter().enumerate().filter(is_step).map(step).collect()
}

fn readings(derivation: &Derivation, region: &Region) -> Vec<ReadingUsed> {
    let comma = derivation.is_comma();
    let in_region = |node| region.nodes.iter().any(|local| local.node == node);
    let used = derivation.readings().filter(|(node, _)| in_region(*node));
    let one = |(_, written): (_, &super::derivation::Written)| ReadingUsed {
        label: written.label.clone(),
        trial: written.trial.and_then(|trial| Some(derivation.results.trials.get(trial)?.name.clone())),
        value: format!(
            "{}{}",
            crate::quantity::Printed::of_decimal(&written.decimal).typographic(comma),
            with_unit(&written.unit)
        ),
        span: written.span,
    };
    used.map(one).collect()
}
