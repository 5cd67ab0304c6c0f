//! The derivation graph as a review reads it: nodes that are the same value are one, and they have names.
//!
//! A claim's label is worked out on its own, so `mean w(water)` of a claim and the mean within `percent error
//! w(water)` are two nodes of one value. Here they are one, so that a claim is found below another one.

use super::ClaimReview;
use super::verdict::{Comparison, ValueVerdict};
use crate::evaluation::results::{Outcome, Results};
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Decimal, Number, Unit};
use crate::span::Span;
use std::collections::HashMap;

/// The graph of a notebook, with what its nodes are called.
pub(super) struct Derivation<'a> {
    pub(super) results: &'a Results,
    /// The first node of the same value, for every node.
    same_as: Vec<NodeId>,
    /// What a (first) node is the value of.
    names: HashMap<NodeId, Name>,
    /// The readings and measured values, by node.
    pub(super) written: HashMap<NodeId, Written>,
    /// Their nodes in the order read.
    reading_order: Vec<NodeId>,
    /// The last weighing of a load in a trial.
    standing: HashMap<(usize, usize), NodeId>,
    /// The size of the finest last place that a mass was read to.
    pub(super) place_of_masses: Option<Number>,
    /// The masses of mixtures of two.
    by_hand: HashMap<NodeId, ByHand>,
    /// The claims of a (first) node, by index.
    claims: HashMap<NodeId, Vec<usize>>,
    /// Whether a claim's own value may stand for the recomputed one: those that differ.
    pub(super) differs: Vec<bool>,
}

/// A mass of a mixture of two as one works it out by hand: (after − before × other) / (own − other), where each of
/// the two counts as itself in the first total.
#[derive(Clone, Copy, Debug)]
pub(super) struct ByHand {
    pub(super) before: NodeId,
    pub(super) after: NodeId,
    pub(super) own: NodeId,
    pub(super) other: NodeId,
}

/// What a node is the value of.
#[derive(Clone, Debug)]
pub(super) struct Name {
    pub(super) symbol: String,
    pub(super) trial: Option<usize>,
    pub(super) unit: Unit,
}

/// A number that was read off and written down.
#[derive(Clone, Debug)]
pub(super) struct Written {
    /// Load and treatment, or the symbol.
    pub(super) label: String,
    pub(super) load: Option<usize>,
    pub(super) trial: Option<usize>,
    pub(super) decimal: Decimal,
    pub(super) unit: Unit,
    pub(super) span: Option<Span>,
}

impl<'a> Derivation<'a> {
    pub(super) fn of(results: &'a Results, reviews: &[ClaimReview]) -> Self {
        let same_as = equal_nodes(results);
        let mut derivation = Derivation {
            results,
            same_as,
            names: HashMap::new(),
            written: HashMap::new(),
            reading_order: Vec::new(),
            standing: HashMap::new(),
            place_of_masses: None,
            by_hand: HashMap::new(),
            claims: HashMap::new(),
            differs: reviews.iter().map(|review| review.value == ValueVerdict::Differs).collect(),
        };
        derivation.name_quantities();
        derivation.read_series();
        derivation.read_mixtures();
        derivation.place_of_masses = derivation.finest_place();
        for index in 0..results.claims.len() {
            if let Some(comparison) = super::comparison(results, index) {
                let node = derivation.first(comparison.node);
                derivation.claims.entry(node).or_default().push(index);
            }
        }
        derivation
    }

    fn finest_place(&self) -> Option<Number> {
        let weighed = self.readings().map(|(_, written)| written).filter(|written| written.load.is_some());
        let size =
            |written: &Written| Number::power_of_ten(written.decimal.place()).mul(written.unit.factor()).ok();
        weighed.filter_map(size).min()
    }

    pub(super) fn is_comma(&self) -> bool {
        self.results.settings.decimal == crate::notebook::settings::DecimalMark::Comma
    }

    /// The first node of the same value.
    pub(super) fn first(&self, node: NodeId) -> NodeId {
        self.same_as[node.0 as usize]
    }

    pub(super) fn name(&self, node: NodeId) -> Option<&Name> {
        self.names.get(&node)
    }

    /// Named values of a trial (or of none) with their nodes, in the order of the results.
    pub(super) fn named(&self) -> Vec<(NodeId, &Name)> {
        let mut named: Vec<_> = self.names.iter().map(|(node, name)| (*node, name)).collect();
        named.sort_by_key(|(node, _)| *node);
        named
    }

    /// The readings in the order read.
    pub(super) fn readings(&self) -> impl Iterator<Item = (NodeId, &Written)> {
        self.reading_order.iter().filter_map(|node| Some((*node, self.written.get(node)?)))
    }

    /// The weighing that stands for a load in a trial.
    pub(super) fn stands_for(&self, load: Option<usize>, trial: Option<usize>) -> Option<NodeId> {
        self.standing.get(&(load?, trial?)).copied()
    }

    /// The one trial whose readings a value rests on.
    pub(super) fn trial_of(&self, node: NodeId) -> Option<usize> {
        let trials = self.results.graph.leaves(node).into_iter();
        let mut trials = trials.filter_map(|leaf| self.written.get(&leaf)?.trial);
        let first = trials.next()?;
        trials.all(|trial| trial == first).then_some(first)
    }

    pub(super) fn claims_of(&self, node: NodeId) -> &[usize] {
        self.claims.get(&node).map_or(&[], Vec::as_slice)
    }

    pub(super) fn comparison(&self, claim: usize) -> Option<Comparison<'a>> {
        super::comparison(self.results, claim)
    }

    /// A claim's own value in coherent SI units.
    pub(super) fn claimed_number(&self, claim: usize) -> Option<Number> {
        let comparison = self.comparison(claim)?;
        let number = comparison.claimed.to_number().mul(comparison.unit.factor()).ok()?;
        let number = comparison.unit.zero().map_or(Some(number.clone()), |zero| number.add(zero).ok())?;
        // A percent error without a sign has that of the recomputed one.
        let negative = self.results.graph.quantity(comparison.node).number.is_negative();
        Some(if comparison.by_magnitude && negative { number.abs().neg() } else { number })
    }

    /// Half a unit of a claim's last place, in coherent SI units.
    pub(super) fn half_place(&self, claim: usize) -> Option<Number> {
        let comparison = self.comparison(claim)?;
        let place = Number::power_of_ten(comparison.claimed.place());
        place.mul(comparison.unit.factor()).ok()?.mul(&Number::from_ratio(1, 2)).ok()
    }

    /// Whether a value was claimed that this one rests on.
    pub(super) fn has_claim_below(&self, node: NodeId) -> bool {
        let mut wanted: Vec<NodeId> = self.results.graph.node(node).inputs.to_vec();
        let mut seen = std::collections::HashSet::new();
        while let Some(next) = wanted.pop() {
            let next = self.first(next);
            if !seen.insert(next) {
                continue;
            }
            if !self.claims_of(next).is_empty() {
                return true;
            }
            wanted.extend(&self.results.graph.node(next).inputs);
        }
        false
    }

    fn name_quantities(&mut self) {
        for quantity in &self.results.quantities {
            let mut name = |outcome: &Outcome, trial| {
                if let Some(value) = outcome.value() {
                    let name = Name { symbol: quantity.symbol.clone(), trial, unit: quantity.unit.clone() };
                    self.names.entry(self.same_as[value.node.0 as usize]).or_insert(name);
                }
            };
            quantity.scalar.iter().for_each(|outcome| name(outcome, None));
            quantity.trials.iter().enumerate().for_each(|(trial, outcome)| name(outcome, Some(trial)));
            let theory = quantity.theory.iter().flat_map(|theory| theory.scalar.iter().chain(&theory.trials));
            for value in theory.filter_map(Outcome::value) {
                let symbol = format!("theory {}", quantity.symbol);
                let name = Name { symbol, trial: None, unit: quantity.unit.clone() };
                self.names.entry(self.same_as[value.node.0 as usize]).or_insert(name);
            }
        }
    }

    /// How a mass of a mixture of two is worked out by hand.
    pub(super) fn by_hand(&self, node: NodeId) -> Option<ByHand> {
        self.by_hand.get(&node).copied()
    }

    fn read_mixtures(&mut self) {
        let one = |node: &NodeId| self.results.graph.quantity(*node).number == Number::one();
        for solved in self.results.mixtures.iter().flat_map(|mixture| &mixture.solved) {
            let ([before, after], [first, second]) = (&solved.totals[..], &solved.coefficients[..]) else {
                continue;
            };
            let ([a, b], [x, y], true) = (&second[..], &solved.masses[..], first.iter().all(one)) else {
                continue;
            };
            let [before, after, a, b] = [before, after, a, b].map(|node| self.first(*node));
            self.by_hand.insert(self.first(*x), ByHand { before, after, own: a, other: b });
            self.by_hand.insert(self.first(*y), ByHand { before, after, own: b, other: a });
        }
    }

    fn read_series(&mut self) {
        let comma = false;
        for (load, series) in self.results.series.iter().enumerate() {
            for row in &series.rows {
                for (trial, cell) in row.readings.iter().enumerate() {
                    let (Some(node), Some(text)) = (cell.node, &cell.written) else { continue };
                    let Ok(decimal) = Decimal::parse(text, comma) else { continue };
                    let label = match row.treatment.is_empty() {
                        true => series.load.clone(),
                        false => format!("{}, {}", series.load, row.treatment),
                    };
                    let unit = cell.unit.clone().unwrap_or_else(|| series.unit.clone());
                    self.standing.insert((load, trial), node);
                    if self.written.contains_key(&node) {
                        continue;
                    }
                    self.reading_order.push(node);
                    let (load, trial, span) = (Some(load), Some(trial), Some(row.span));
                    let written = Written { label, load, trial, decimal, unit, span };
                    self.written.insert(node, written);
                }
            }
        }
    }
}

/// For every node the first one with the same operation on the same values. Leaves are themselves.
pub(crate) fn equal_nodes(results: &Results) -> Vec<NodeId> {
    let mut same_as: Vec<NodeId> = Vec::with_capacity(results.graph.len());
    let mut known: HashMap<(u8, Vec<NodeId>), Vec<NodeId>> = HashMap::new();
    for (id, node) in results.graph.nodes() {
        if node.inputs.is_empty() {
            same_as.push(id);
            continue;
        }
        let inputs: Vec<NodeId> = node.inputs.iter().map(|input| same_as[input.0 as usize]).collect();
        let alike = known.entry((kind_of(&node.operation), inputs)).or_default();
        let equal = |other: &&NodeId| results.graph.node(**other).operation == node.operation;
        let first = alike.iter().find(equal).copied().unwrap_or_else(|| {
            alike.push(id);
            id
        });
        same_as.push(first);
    }
    same_as
}

/// A number for the kind of operation, to look equal ones up by.
fn kind_of(operation: &Operation) -> u8 {
    match operation {
        Operation::Add => 1,
        Operation::Subtract => 2,
        Operation::Multiply => 3,
        Operation::Divide => 4,
        Operation::Mean => 5,
        Operation::Combination(_) => 6,
        Operation::Magnitude => 7,
        Operation::Range => 8,
        Operation::StandardDeviation => 9,
        _ => 0,
    }
}
