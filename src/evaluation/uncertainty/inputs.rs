//! What is uncertain, and by how much: the inputs of the measurement model (JCGM 100:2008, clause 4).

use super::sensitivities::sensitivities;
use crate::quantity::derivation::{Graph, NodeId};
use std::collections::{BTreeMap, HashMap};

/// What an uncertainty comes from.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Input {
    /// A leaf of the graph: a weighing or a measured quantity.
    Leaf(NodeId),
    /// The atomic weight of an element, by its symbol.
    AtomicWeight(String),
}

/// The inputs that have an uncertainty.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    /// Standard uncertainty of each input, in coherent SI units.
    uncertainty: BTreeMap<Input, f64>,
    /// The inputs a leaf is made of, with its sensitivity to each; a leaf that is not here is its own.
    parts: HashMap<NodeId, Vec<(Input, f64)>>,
    /// Steps along the graph taken so far, for all values.
    steps: std::cell::Cell<usize>,
}

/// Most steps along the graph that the uncertainties of one notebook may take; a value met after that has none.
/// A notebook of the bench takes a few thousand.
const MOST_STEPS: usize = 2_000_000;

impl Inputs {
    /// Says the standard uncertainty of a leaf.
    pub fn leaf(&mut self, leaf: NodeId, standard_uncertainty: f64) {
        self.uncertainty.insert(Input::Leaf(leaf), standard_uncertainty);
    }

    /// Says what a leaf is made of: each part with the leaf's sensitivity to it and the part's uncertainty.
    pub fn made_of(&mut self, leaf: NodeId, parts: impl IntoIterator<Item = (Input, f64, f64)>) {
        let mut list = Vec::new();
        for (input, sensitivity, standard_uncertainty) in parts {
            self.uncertainty.insert(input.clone(), standard_uncertainty);
            list.push((input, sensitivity));
        }
        self.parts.insert(leaf, list);
    }

    /// The combined standard uncertainty of a value, in its coherent SI unit.
    pub fn standard_uncertainty(&self, graph: &Graph, value: NodeId) -> f64 {
        self.contributions(graph, value)
            .iter()
            .map(|(_, contribution)| contribution * contribution)
            .sum::<f64>()
            .sqrt()
    }

    /// Each input with sensitivity × standard uncertainty, those without any left out.
    pub fn contributions(&self, graph: &Graph, value: NodeId) -> Vec<(Input, f64)> {
        let mut by_input: BTreeMap<Input, f64> = BTreeMap::new();
        if self.steps.get() > MOST_STEPS {
            return Vec::new();
        }
        let (leaves, steps) = sensitivities(graph, value);
        self.steps.set(self.steps.get() + steps);
        for (leaf, sensitivity) in leaves {
            match self.parts.get(&leaf) {
                Some(parts) => {
                    for (input, part) in parts {
                        *by_input.entry(input.clone()).or_default() += sensitivity * part;
                    }
                }
                None => *by_input.entry(Input::Leaf(leaf)).or_default() += sensitivity,
            }
        }
        let contribution = |(input, sensitivity): (Input, f64)| {
            let contribution = sensitivity * self.uncertainty.get(&input)?;
            (contribution != 0.0).then_some((input, contribution))
        };
        by_input.into_iter().filter_map(contribution).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::derivation::{Node, Operation};
    use crate::quantity::{Digits, Dimension, Number, Quantity};

    fn leaf(graph: &mut Graph, value: f64, decimals: u32) -> NodeId {
        let number =
            Number::from_ratio((value * 10f64.powi(decimals as i32)).round() as i64, 10i64.pow(decimals));
        let quantity = Quantity { number, dimension: Dimension::default(), digits: Digits::Exact };
        graph.add(Node { operation: Operation::Literal, inputs: Vec::new(), quantity, span: None })
    }

    fn apply(graph: &mut Graph, operation: Operation, a: NodeId, b: NodeId) -> NodeId {
        let (x, y) = (graph.quantity(a), graph.quantity(b));
        let quantity = match operation {
            Operation::Multiply => x.mul(y),
            Operation::Divide => x.div(y),
            _ => x.sub(y),
        };
        graph.add(Node { operation, inputs: vec![a, b], quantity: quantity.unwrap(), span: None })
    }

    // Eurachem/CITAC Guide CG 4, example A1: c = 1000 m P / V with m = 100.28 mg (u 0.05), P = 0.9999
    // (u 0.000058), V = 100.0 mL. With the unrounded u(V) = 0.06647 mL the combined u is 0.8352 mg/L (the
    // example recomputed without rounding; the Guide's 0.9 comes from u(V) rounded to 0.07).
    #[test]
    fn cadmium_standard() {
        let mut graph = Graph::default();
        let (m, p, v) = (leaf(&mut graph, 100.28, 2), leaf(&mut graph, 0.9999, 4), leaf(&mut graph, 0.1, 1));
        let product = apply(&mut graph, Operation::Multiply, m, p);
        let c = apply(&mut graph, Operation::Divide, product, v);
        let mut inputs = Inputs::default();
        inputs.leaf(m, 0.05);
        inputs.leaf(p, 0.0001 / 3f64.sqrt());
        inputs.leaf(v, 0.066_47e-3);
        assert!((inputs.standard_uncertainty(&graph, c) - 0.8352).abs() < 5e-4);
    }

    #[test]
    fn what_is_shared_cancels() {
        let mut graph = Graph::default();
        let (a, tare, b) =
            (leaf(&mut graph, 19.3127, 4), leaf(&mut graph, 18.2746, 4), leaf(&mut graph, 18.9381, 4));
        let x = apply(&mut graph, Operation::Subtract, a, tare);
        let y = apply(&mut graph, Operation::Subtract, b, tare);
        let difference = apply(&mut graph, Operation::Subtract, x, y);
        let mut inputs = Inputs::default();
        [a, tare, b].into_iter().for_each(|leaf| inputs.leaf(leaf, 1.0));
        assert!((inputs.standard_uncertainty(&graph, difference) - 2f64.sqrt()).abs() < 1e-12);
    }
}
