//! Another value of the same kind and trial in place of the right one: a mass for another mass, a share for another share.

use super::super::derivation::Name;
use super::super::region::{Change, Local};
use super::candidates::{Candidate, Family, Search, Told};
use crate::quantity::Number;
use crate::quantity::derivation::NodeId;

impl Search<'_, '_> {
    /// Named values of the kind and trial of a node, with their numbers.
    fn alike(&self, node: NodeId) -> Vec<(NodeId, Number)> {
        let graph = &self.derivation.results.graph;
        let own = graph.quantity(node);
        let trial = self.derivation.trial_of(node);
        let unit = self.derivation.name(node).map(|name| &name.unit);
        let is_alike = |(other, name): &(NodeId, &Name)| {
            let quantity = graph.quantity(*other);
            *other != node
                && (name.trial.is_some() && name.trial == trial)
                && quantity.dimension == own.dimension
                && quantity.number != own.number
                // Pure numbers are of one kind only where they are shown alike.
                && (!own.dimension.is_pure() || unit.is_some_and(|unit| !unit.is_one() && *unit == name.unit))
        };
        let named = self.derivation.named().into_iter().filter(is_alike);
        named.map(|(other, _)| (other, self.value_of(other, graph.quantity(other).number.clone()))).collect()
    }

    /// Another mass than the one a step takes.
    pub(super) fn other_values(&self, at: usize, local: &Local, position: usize, all: &mut Vec<Candidate>) {
        let input = &self.region.nodes[local.inputs[position]];
        if input.by_hand || self.derivation.results.graph.quantity(input.node).dimension.is_pure() {
            return;
        }
        for (other, number) in self.alike(input.node) {
            let told = Told::Value(local.node, input.node, other);
            self.add(all, Family::OtherValue, vec![(at, Change::Input(position, number))], told);
        }
    }

    /// Another value in every use of a named one, or as the result itself.
    pub(super) fn taken_for(&self, at: usize, local: &Local, all: &mut Vec<Candidate>) {
        let is_result = at + 1 == self.region.nodes.len();
        let is_used_again = self.uses(at).len() > 1;
        if local.by_hand || self.derivation.name(local.node).is_none() || !(is_result || is_used_again) {
            return;
        }
        for (other, number) in self.alike(local.node) {
            let told = Told::Value(local.node, local.node, other);
            self.add(all, Family::OtherValue, vec![(at, Change::Becomes(number))], told);
        }
    }
}
