//! One trial's value that a formula picks (`m(residue)[C]`), and whether it is provisional.
//!
//! A reading that two trials share may be the last of a finished series in one and of an unfinished one in the other, so
//! whether a value that rests on it is provisional depends on the trial it is a value of. One that is picked enters values of
//! other trials, and has to take the answer of its own trial with it: there it becomes a node of its own.

use crate::quantity::Number;
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use std::collections::BTreeMap;

/// The picked values that rest on a shared reading of an unfinished series.
#[derive(Default)]
pub(super) struct Picks {
    /// The readings that stand for an unfinished series, each with its trial.
    unfinished: Vec<(NodeId, usize)>,
    /// The picked values, and whether they are provisional.
    picked: BTreeMap<NodeId, bool>,
}

impl Picks {
    /// With the readings that stand for an unfinished series, each with its trial.
    pub(super) fn of(unfinished: &[(NodeId, usize)]) -> Self {
        Picks { unfinished: unfinished.to_vec(), picked: BTreeMap::new() }
    }

    /// The value of a trial as other trials may use it.
    pub(super) fn pick(&mut self, value: NodeId, trial: usize, graph: &mut Graph) -> NodeId {
        if self.unfinished.iter().all(|(reading, of)| is_own(*reading, *of, graph)) {
            return value;
        }
        let leaves = graph.leaves(value);
        let mut below = self.unfinished.iter().filter(|(reading, _)| leaves.contains(reading)).peekable();
        if below.peek().is_none() {
            return value;
        }
        let provisional = below.any(|(reading, of)| *of == trial || is_own(*reading, *of, graph));
        let operation = Operation::Combination(vec![Number::one()]);
        let quantity = graph.quantity(value).clone();
        let picked =
            graph.add(Node { operation, inputs: NodeInputs::from_slice(&[value]), quantity, span: None });
        self.picked.insert(picked, provisional);
        picked
    }

    /// Whether a picked value is provisional; `None` for any other one.
    pub(super) fn provisional(&self, value: NodeId) -> Option<bool> {
        self.picked.get(&value).copied()
    }
}

/// Whether a reading was taken in a trial, and not shared from another one.
pub(super) fn is_own(reading: NodeId, trial: usize, graph: &Graph) -> bool {
    matches!(&graph.node(reading).operation, Operation::Reading { trial: own, .. } if *own == trial)
}
