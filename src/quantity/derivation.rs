//! What each value was computed from, as plain data: a graph of nodes in the order they were computed.
//!
//! The worked calculation, the uncertainty and the review's search for slips all read it. A node's inputs
//! always come before it. One weighing is one node however many results rest on it, so the covariance of
//! shared readings is right by construction.

use super::{Number, Quantity};
use crate::span::Span;
use smallvec::SmallVec;
use std::sync::Arc;

/// The index of a node in its [`Graph`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NodeId(pub u32);

/// How a node's value follows from its inputs.
#[derive(Clone, Debug, PartialEq)]
pub enum Operation {
    /// A weighing (a leaf): the load, the trial and the cycle (from 0) it was read at, and its balance.
    Reading {
        /// The load as written.
        load: Arc<str>,
        /// Index of the trial.
        trial: usize,
        /// Position in its series, from 0.
        cycle: usize,
        /// The balance, where one is named.
        balance: Option<Arc<str>>,
    },
    /// A measured quantity (a leaf), by symbol; `trial` is `None` where one value serves all trials.
    Measured {
        /// The symbol as written.
        symbol: String,
        /// Index of the trial.
        trial: Option<usize>,
    },
    /// A number written in a formula (a leaf).
    Literal,
    /// A molar mass (a leaf) of the formula as written.
    MolarMass(String),
    /// A ratio fixed by chemistry (a leaf): a stoichiometric coefficient or a gravimetric factor, as written.
    Stoichiometry(String),
    /// A named constant (a leaf): `pi`, `e`.
    Constant(&'static str),
    /// Σ coefficient × input; net masses of loads.
    Combination(Vec<Number>),
    /// a + b
    Add,
    /// a − b
    Subtract,
    /// a × b
    Multiply,
    /// a / b
    Divide,
    /// −a
    Negate,
    /// a to a whole power.
    Power(i64),
    /// a to a power that is itself a value.
    RealPower,
    /// The square root.
    SquareRoot,
    /// The natural logarithm.
    NaturalLogarithm,
    /// The logarithm to base ten.
    DecimalLogarithm,
    /// The exponential.
    Exponential,
    /// The magnitude.
    Magnitude,
    /// The smallest input.
    Minimum,
    /// The largest input.
    Maximum,
    /// The arithmetic mean of the inputs.
    Mean,
    /// The standard deviation of the inputs (divisor n − 1).
    StandardDeviation,
    /// Largest minus smallest input.
    Range,
    /// The average magnitude of the deviations from the mean.
    AverageDeviation,
}

/// The inputs of a node: few as a rule, and then without memory of their own.
pub type NodeInputs = SmallVec<[NodeId; 4]>;

/// One value with its origin.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// How it follows from the inputs.
    pub operation: Operation,
    /// The nodes it was computed from, in order.
    pub inputs: NodeInputs,
    /// The value.
    pub quantity: Quantity,
    /// Where it is written, where it is.
    pub span: Option<Span>,
}

/// All computed values of a notebook.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Graph {
    nodes: Vec<Node>,
    /// The values as doubles, for uncertainties.
    doubles: Vec<f64>,
}

impl Graph {
    /// Adds a node; its inputs must be nodes of this graph.
    pub fn add(&mut self, node: Node) -> NodeId {
        let id = NodeId(self.nodes.len() as u32);
        self.doubles.push(node.quantity.number.to_f64());
        self.nodes.push(node);
        id
    }

    /// The node of an id of this graph.
    pub fn node(&self, id: NodeId) -> &Node {
        &self.nodes[id.0 as usize]
    }

    /// The value of a node.
    pub fn quantity(&self, id: NodeId) -> &Quantity {
        &self.node(id).quantity
    }

    /// The value of a node as a double, in coherent SI units.
    pub fn double(&self, id: NodeId) -> f64 {
        self.doubles[id.0 as usize]
    }

    /// Every node with its id, in the order computed.
    pub fn nodes(&self) -> impl Iterator<Item = (NodeId, &Node)> {
        self.nodes.iter().enumerate().map(|(index, node)| (NodeId(index as u32), node))
    }

    /// How many nodes there are.
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// Whether nothing was computed.
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    /// The leaves a value rests on, each once, in the order computed.
    pub fn leaves(&self, id: NodeId) -> Vec<NodeId> {
        let mut wanted = vec![false; id.0 as usize + 1];
        wanted[id.0 as usize] = true;
        for index in (0..=id.0 as usize).rev() {
            if wanted[index] {
                self.nodes[index].inputs.iter().for_each(|input| wanted[input.0 as usize] = true);
            }
        }
        let leaf = |index: &usize| wanted[*index] && self.nodes[*index].inputs.is_empty();
        (0..wanted.len()).filter(leaf).map(|index| NodeId(index as u32)).collect()
    }
}
