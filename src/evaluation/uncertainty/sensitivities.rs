//! Partial derivatives along the derivation graph (JCGM 100:2008, 5.1.3).

use crate::quantity::derivation::{Graph, Node, NodeId, Operation};
use std::collections::BTreeMap;

/// What a value rests on.
#[derive(Clone, Debug, Default)]
pub struct Sensitivities {
    /// ∂value/∂leaf for every leaf.
    pub leaves: Vec<(NodeId, f64)>,
    /// The same for every node that was not looked behind.
    pub stopped: Vec<(NodeId, f64)>,
    /// How many nodes were met.
    pub steps: usize,
}

/// Sensitivities of a value to its leaves, and to the nodes below it at which `stop` says to stop. Nodes come after
/// their inputs, so taking the latest first meets each node once, with all that rests on it added up.
pub fn sensitivities(graph: &Graph, value: NodeId, stop: impl Fn(NodeId) -> bool) -> Sensitivities {
    let mut open = BTreeMap::from([(value, 1.0)]);
    let mut found = Sensitivities::default();
    while let Some((id, sensitivity)) = open.pop_last() {
        found.steps += 1;
        let node = graph.node(id);
        if node.inputs.is_empty() {
            found.leaves.push((id, sensitivity));
            continue;
        }
        if id != value && stop(id) {
            found.stopped.push((id, sensitivity));
            continue;
        }
        for (input, partial) in node.inputs.iter().zip(partials(graph, node)) {
            *open.entry(*input).or_default() += sensitivity * partial;
        }
    }
    found
}

/// The partial derivatives of a node by its inputs.
fn partials(graph: &Graph, node: &Node) -> Vec<f64> {
    let x: Vec<f64> = node.inputs.iter().map(|input| graph.quantity(*input).number.to_f64()).collect();
    let y = node.quantity.number.to_f64();
    match (&node.operation, x.as_slice()) {
        (Operation::Combination(coefficients), _) => coefficients.iter().map(|c| c.to_f64()).collect(),
        (Operation::Add, _) => vec![1.0, 1.0],
        (Operation::Subtract, _) => vec![1.0, -1.0],
        (Operation::Multiply, [a, b]) => vec![*b, *a],
        (Operation::Divide, [_, b]) => vec![1.0 / b, -y / b],
        (Operation::Negate, _) => vec![-1.0],
        (Operation::Power(n), [a, ..]) => vec![*n as f64 * a.powf(*n as f64 - 1.0), 0.0],
        (Operation::RealPower, [a, b]) => vec![b * y / a, y * a.ln()],
        (Operation::SquareRoot, _) => vec![0.5 / y],
        (Operation::NaturalLogarithm, [a]) => vec![1.0 / a],
        (Operation::DecimalLogarithm, [a]) => vec![1.0 / (a * std::f64::consts::LN_10)],
        (Operation::Exponential, _) => vec![y],
        (Operation::Magnitude, [a]) => vec![a.signum()],
        (Operation::Minimum | Operation::Maximum, _) => indicator(&x, y),
        (Operation::Mean, _) => vec![1.0 / x.len() as f64; x.len()],
        (Operation::StandardDeviation, _) => of_standard_deviation(&x, y),
        (Operation::Range, _) => of_range(&x),
        (Operation::AverageDeviation, _) => of_average_deviation(&x),
        _ => vec![0.0; x.len()],
    }
}

/// One for the (first) input that the value is, zero for the others.
fn indicator(x: &[f64], value: f64) -> Vec<f64> {
    let chosen = x.iter().position(|x| *x == value);
    (0..x.len()).map(|index| f64::from(u8::from(Some(index) == chosen))).collect()
}

/// ∂s/∂xᵢ = (xᵢ − mean) / ((n − 1) s).
fn of_standard_deviation(x: &[f64], s: f64) -> Vec<f64> {
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    let divisor = (x.len() as f64 - 1.0) * s;
    x.iter().map(|x| if divisor == 0.0 { 0.0 } else { (x - mean) / divisor }).collect()
}

fn of_range(x: &[f64]) -> Vec<f64> {
    let largest = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let smallest = x.iter().copied().fold(f64::INFINITY, f64::min);
    indicator(x, largest).iter().zip(indicator(x, smallest)).map(|(up, down)| up - down).collect()
}

/// Of Σ|xⱼ − mean| / n: (sign(xᵢ − mean) − the mean sign) / n.
fn of_average_deviation(x: &[f64]) -> Vec<f64> {
    let n = x.len() as f64;
    let mean = x.iter().sum::<f64>() / n;
    let sign = |x: f64| if x == mean { 0.0 } else { (x - mean).signum() };
    let mean_sign = x.iter().map(|x| sign(*x)).sum::<f64>() / n;
    x.iter().map(|x| (sign(*x) - mean_sign) / n).collect()
}
