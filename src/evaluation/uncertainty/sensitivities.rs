//! Partial derivatives along the derivation graph (JCGM 100:2008, 5.1.3).

use super::several::{indicator, of_average_deviation, of_range, of_standard_deviation};
use crate::quantity::Number;
use crate::quantity::derivation::{Graph, Node, NodeId, Operation};
use std::cell::RefCell;
use std::collections::BinaryHeap;

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

/// What one walk along the graph needs, kept for the next one.
#[derive(Default)]
struct Walk {
    /// By the node's index; zero between walks.
    adjoint: Vec<f64>,
    /// Whether the node waits in `open`.
    waits: Vec<bool>,
    open: BinaryHeap<NodeId>,
    /// The input values of one node, and its partial derivatives.
    x: Vec<f64>,
    partials: Vec<f64>,
}

thread_local! {
    static WALK: RefCell<Walk> = RefCell::default();
}

/// Sensitivities of a value to its leaves, and to the nodes below it at which `stop` says to stop. Nodes come after
/// their inputs, so taking the latest first meets each node once, with all that rests on it added up.
pub fn sensitivities(graph: &Graph, value: NodeId, stop: impl Fn(NodeId) -> bool) -> Sensitivities {
    // A walk within a walk (in `stop`) has its own.
    let mut walk = WALK.with(RefCell::take);
    let found = walk.from(graph, value, stop);
    WALK.with(|kept| kept.replace(walk));
    found
}

impl Walk {
    fn from(&mut self, graph: &Graph, value: NodeId, stop: impl Fn(NodeId) -> bool) -> Sensitivities {
        let nodes = value.0 as usize + 1;
        if self.adjoint.len() < nodes {
            self.adjoint.resize(nodes, 0.0);
            self.waits.resize(nodes, false);
        }
        let mut found = Sensitivities::default();
        self.add(value, 1.0);
        while let Some(id) = self.open.pop() {
            found.steps += 1;
            let sensitivity = std::mem::take(&mut self.adjoint[id.0 as usize]);
            self.waits[id.0 as usize] = false;
            let node = graph.node(id);
            if node.inputs.is_empty() {
                found.leaves.push((id, sensitivity));
                continue;
            }
            if id != value && stop(id) {
                found.stopped.push((id, sensitivity));
                continue;
            }
            self.x.clear();
            self.x.extend(node.inputs.iter().map(|input| graph.double(*input)));
            self.partials.clear();
            partials(node, &self.x, graph.double(id), &mut self.partials);
            for (at, input) in node.inputs.iter().enumerate() {
                let partial = self.partials.get(at).copied().unwrap_or(0.0);
                self.add(*input, sensitivity * partial);
            }
        }
        found
    }

    fn add(&mut self, id: NodeId, sensitivity: f64) {
        let index = id.0 as usize;
        self.adjoint[index] += sensitivity;
        if !std::mem::replace(&mut self.waits[index], true) {
            self.open.push(id);
        }
    }
}

/// The partial derivatives of a node by its inputs `x`; `y` is its value.
fn partials(node: &Node, x: &[f64], y: f64, out: &mut Vec<f64>) {
    match (&node.operation, x) {
        (Operation::Combination(coefficients), _) => out.extend(coefficients.iter().map(Number::to_f64)),
        (Operation::Add, _) => out.extend([1.0, 1.0]),
        (Operation::Subtract, _) => out.extend([1.0, -1.0]),
        (Operation::Multiply, [a, b]) => out.extend([*b, *a]),
        (Operation::Divide, [_, b]) => out.extend([1.0 / b, -y / b]),
        (Operation::Negate, _) => out.push(-1.0),
        (Operation::Power(n), [a, ..]) => out.extend([*n as f64 * a.powf(*n as f64 - 1.0), 0.0]),
        (Operation::RealPower, [a, b]) => out.extend([b * y / a, y * a.ln()]),
        (Operation::SquareRoot, _) => out.push(0.5 / y),
        (Operation::NaturalLogarithm, [a]) => out.push(1.0 / a),
        (Operation::DecimalLogarithm, [a]) => out.push(1.0 / (a * std::f64::consts::LN_10)),
        (Operation::Exponential, _) => out.push(y),
        (Operation::Magnitude, [a]) => out.push(a.signum()),
        (Operation::Minimum | Operation::Maximum, _) => out.extend(indicator(x, y)),
        (Operation::Mean, _) => out.resize(x.len(), 1.0 / x.len() as f64),
        (Operation::StandardDeviation, _) => out.extend(of_standard_deviation(x, y)),
        (Operation::Range, _) => out.extend(of_range(x)),
        (Operation::AverageDeviation, _) => out.extend(of_average_deviation(x)),
        _ => out.resize(x.len(), 0.0),
    }
}
