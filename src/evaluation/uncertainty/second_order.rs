//! Second-order terms of the combined uncertainty (JCGM 100:2008, 5.1.2, note):
//! Σᵢ Σⱼ [½ (∂²f/∂xᵢ∂xⱼ)² + ∂f/∂xᵢ · ∂³f/∂xᵢ∂xⱼ²] u²(xᵢ) u²(xⱼ).
//!
//! The derivatives come from the graph itself: each value is carried as its Taylor polynomial in two inputs up to
//! the third degree, so nothing is differenced numerically. The terms are those of independent inputs with normal
//! distributions.

use super::inputs::Inputs;
use super::taylor::Taylor;
use crate::quantity::derivation::{Graph, Node, NodeId, Operation};
use std::collections::{BTreeSet, HashMap};

/// What second-order terms add to the variance of a value, over these inputs (by index). Not a
/// number where the notebook asks for more steps than are taken.
pub(super) fn variance(inputs: &Inputs, graph: &Graph, value: NodeId, indices: &[usize]) -> f64 {
    let model = Behind::of(inputs, graph, value);
    let pairs = indices.len() * (indices.len() + 1) / 2;
    if !inputs.take_steps(pairs.saturating_mul(model.order.len())) {
        return f64::NAN;
    }
    let square = |index: usize| inputs.sources()[index].standard_uncertainty().powi(2);
    let mut sum = 0.0;
    for (at, a) in indices.iter().enumerate() {
        sum += model.along(*a).own_terms() * square(*a).powi(2);
        for b in &indices[at + 1..] {
            sum += model.along_both(*a, *b).cross_terms() * square(*a) * square(*b);
        }
    }
    sum
}

/// The part of the graph that a value rests on, itself the last.
struct Behind<'a> {
    inputs: &'a Inputs,
    graph: &'a Graph,
    /// Every node, inputs before what rests on them.
    order: Vec<NodeId>,
    place: HashMap<NodeId, usize>,
}

impl<'a> Behind<'a> {
    fn of(inputs: &'a Inputs, graph: &'a Graph, value: NodeId) -> Self {
        let mut open = BTreeSet::from([value]);
        let mut order = Vec::new();
        while let Some(node) = open.pop_last() {
            open.extend(&graph.node(node).inputs);
            order.push(node);
        }
        order.reverse();
        let place = order.iter().enumerate().map(|(at, node)| (*node, at)).collect();
        Behind { inputs, graph, order, place }
    }

    fn along(&self, a: usize) -> Taylor {
        self.along_both(a, usize::MAX)
    }

    /// The value as a polynomial in the deviations of two inputs.
    fn along_both(&self, a: usize, b: usize) -> Taylor {
        let mut known: Vec<Taylor> = Vec::with_capacity(self.order.len());
        for node in &self.order {
            let polynomial = self.polynomial(*node, &known, a, b);
            known.push(polynomial);
        }
        known.pop().unwrap_or(Taylor::constant(0.0))
    }

    fn polynomial(&self, id: NodeId, known: &[Taylor], a: usize, b: usize) -> Taylor {
        let node = self.graph.node(id);
        let value = node.quantity.number.to_f64();
        if !node.inputs.is_empty() {
            let x: Vec<Taylor> = node.inputs.iter().map(|input| known[self.place[input]]).collect();
            return of_node(node, &x, value);
        }
        let along = |wanted: usize| {
            let parts = self.inputs.parts(id).iter();
            parts.filter(|(index, _)| *index == wanted).map(|(_, part)| part).sum()
        };
        Taylor::linear(value, along(a), along(b))
    }
}

fn of_node(node: &Node, x: &[Taylor], value: f64) -> Taylor {
    match (&node.operation, x) {
        (Operation::Combination(coefficients), _) => {
            let terms = coefficients.iter().zip(x);
            terms.fold(Taylor::constant(0.0), |sum, (coefficient, x)| sum + x.scaled(coefficient.to_f64()))
        }
        (Operation::Add, [a, b]) => *a + *b,
        (Operation::Subtract, [a, b]) => *a - *b,
        (Operation::Multiply, [a, b]) => *a * *b,
        (Operation::Divide, [a, b]) => *a * b.power(-1.0),
        (Operation::Negate, [a]) => a.scaled(-1.0),
        (Operation::Power(exponent), [a, ..]) => a.power(*exponent as f64),
        (Operation::RealPower, [a, b]) if b.is_constant() => a.power(b.value()),
        (Operation::RealPower, [a, b]) => (*b * a.ln()).exp(),
        (Operation::SquareRoot, [a]) => a.power(0.5),
        (Operation::NaturalLogarithm, [a]) => a.ln(),
        (Operation::DecimalLogarithm, [a]) => a.ln().scaled(1.0 / std::f64::consts::LN_10),
        (Operation::Exponential, [a]) => a.exp(),
        (Operation::Magnitude, [a]) => a.scaled(a.value().signum()),
        (Operation::Minimum | Operation::Maximum, _) => chosen(x, value),
        (Operation::Mean, _) => mean(x),
        (Operation::StandardDeviation, _) => standard_deviation(x, value),
        (Operation::Range, _) => range(x),
        (Operation::AverageDeviation, _) => average_deviation(x),
        _ => Taylor::constant(value),
    }
}

/// The (first) input that the value is.
fn chosen(x: &[Taylor], value: f64) -> Taylor {
    x.iter().find(|x| x.value() == value).copied().unwrap_or(Taylor::constant(value))
}

fn mean(x: &[Taylor]) -> Taylor {
    let sum = x.iter().fold(Taylor::constant(0.0), |sum, x| sum + *x);
    sum.scaled(1.0 / x.len().max(1) as f64)
}

fn deviations(x: &[Taylor]) -> impl Iterator<Item = Taylor> {
    let mean = mean(x);
    x.iter().map(move |x| *x - mean)
}

/// Where all values are equal s has no derivative, and none is taken.
fn standard_deviation(x: &[Taylor], s: f64) -> Taylor {
    if s == 0.0 {
        return Taylor::constant(0.0);
    }
    let squares = deviations(x).fold(Taylor::constant(0.0), |sum, d| sum + d * d);
    squares.scaled(1.0 / (x.len() as f64 - 1.0)).power(0.5)
}

fn range(x: &[Taylor]) -> Taylor {
    let values = || x.iter().map(Taylor::value);
    let (smallest, largest) =
        (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    chosen(x, largest) - chosen(x, smallest)
}

fn average_deviation(x: &[Taylor]) -> Taylor {
    let magnitudes = deviations(x).map(|d| d.scaled(if d.value() < 0.0 { -1.0 } else { 1.0 }));
    magnitudes.fold(Taylor::constant(0.0), |sum, d| sum + d).scaled(1.0 / x.len().max(1) as f64)
}
