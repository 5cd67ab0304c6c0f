//! What is uncertain, and by how much: the inputs of the measurement model (JCGM 100:2008, clause 4).
//!
//! A leaf of the derivation graph (a weighing, a measured quantity, a molar mass) is made of one or more
//! inputs. One effect is one input wherever it enters: the atomic weight of oxygen in two formulas, the
//! deviation from linearity of one balance near one load in several trials. Numbers are in coherent SI units.

use super::model::{Methods, Model};
use crate::quantity::Unit;
use crate::quantity::derivation::{Graph, NodeId};
use crate::statistics::Distribution;
use hashbrown::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What an uncertainty comes from: the key by which one effect is known wherever it enters.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Input {
    /// The scatter of one weighing, or the rounding of its display where that is larger.
    Weighing(NodeId),
    /// The deviation from linearity of a balance near one load, shared by the trials of a group.
    Linearity {
        /// The balance; empty where it has no name.
        balance: Arc<str>,
        /// The load as first written.
        load: Arc<str>,
        /// Which of the loads of this name that are far apart, from 0.
        group: usize,
    },
    /// The calibration of a balance near one load, where it is stated as a mass.
    Calibration {
        /// The balance; empty where it has no name.
        balance: Arc<str>,
        /// The load as first written.
        load: Arc<str>,
        /// Which of the loads of this name that are far apart, from 0.
        group: usize,
    },
    /// The calibration of a balance where it is stated as a fraction of the load.
    CalibrationFactor(Arc<str>),
    /// How far check weights were off on a balance, on average: its adjustment.
    Adjustment(Arc<str>),
    /// How far check weights changed on a balance: its drift in one line of readings (balance, load, line).
    Drift((Arc<str>, Arc<str>, usize)),
    /// The temperature of a balance in one line of readings (balance, load, line).
    Temperature((Arc<str>, Arc<str>, usize)),
    /// A stated uncertainty of a measured quantity, by the leaf of its first cell and its place behind the value.
    Stated(NodeId, usize),
    /// The last written place of a measured quantity that states no uncertainty.
    LastPlace(NodeId),
    /// The atomic weight of an element, by its symbol.
    AtomicWeight(String),
    /// A leaf of its own: a molar mass or a factor as stated.
    Leaf(NodeId),
}

/// How an uncertainty was evaluated (JCGM 100:2008, 4.2 and 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evaluation {
    /// By statistics of repeated observations.
    A,
    /// By other means: limits, certificates, tables, the scale interval.
    B,
}

impl Evaluation {
    /// `A` or `B`.
    pub fn letter(self) -> &'static str {
        match self {
            Evaluation::A => "A",
            Evaluation::B => "B",
        }
    }
}

/// One input with its uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Which one.
    pub input: Input,
    /// Its best estimate, in coherent SI units; zero for an effect that is not corrected for.
    pub estimate: f64,
    /// The unit to show it in.
    pub unit: Arc<Unit>,
    /// The distribution of its deviation from the estimate, in coherent SI units.
    pub distribution: Distribution,
    /// Degrees of freedom of its standard uncertainty; `None` for infinitely many.
    pub degrees_of_freedom: Option<f64>,
    /// How it was evaluated.
    pub evaluation: Evaluation,
    /// Whether it differs at random from one weighing to the next, so that the scatter of trials holds it.
    pub random: bool,
    /// The trial it belongs to (by index), where it belongs to one alone.
    pub trial: Option<usize>,
    /// A word of the notebook for it (`calibration`).
    pub label: Option<String>,
}

impl Source {
    /// An input by type B, with infinitely many degrees of freedom, the same in every trial.
    pub fn of(input: Input, estimate: f64, unit: Arc<Unit>, distribution: Distribution) -> Self {
        Source {
            input,
            estimate,
            unit,
            distribution,
            degrees_of_freedom: None,
            evaluation: Evaluation::B,
            random: false,
            trial: None,
            label: None,
        }
    }

    /// The same input, different at random in every weighing.
    pub fn random(self) -> Self {
        Source { random: true, ..self }
    }

    /// The same input, of one trial alone.
    pub fn of_trial(self, trial: Option<usize>) -> Self {
        Source { trial, ..self }
    }

    /// The same with degrees of freedom, by type A.
    pub fn from_observations(self, degrees_of_freedom: f64) -> Self {
        Source { degrees_of_freedom: Some(degrees_of_freedom), evaluation: Evaluation::A, ..self }
    }

    /// Its standard uncertainty, in coherent SI units.
    pub fn standard_uncertainty(&self) -> f64 {
        self.distribution.standard_uncertainty()
    }
}

/// The correlation of two inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// Index of one input among [`Inputs::sources`].
    pub a: usize,
    /// Index of the other one.
    pub b: usize,
    /// The correlation coefficient, −1 to 1.
    pub coefficient: f64,
}

/// The inputs of a notebook.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    sources: Vec<Source>,
    by_input: HashMap<Input, usize>,
    /// What each uncertain leaf is made of, with its sensitivity to each.
    /// By the leaf's index in the graph.
    parts: Vec<Vec<(usize, f64)>>,
    correlations: Vec<Correlation>,
    /// The values that the repeatability of the method is known of.
    pub methods: Methods,
    steps: Steps,
}

/// Steps along the graph taken so far, for all values.
#[derive(Debug, Default)]
struct Steps(AtomicUsize);

impl Clone for Steps {
    fn clone(&self) -> Self {
        Steps(AtomicUsize::new(self.0.load(Ordering::Relaxed)))
    }
}

/// Most steps along the graph that the uncertainties of one notebook may take; a value met after that has none.
/// A notebook of the bench takes a few thousand.
const MOST_STEPS: usize = 2_000_000;

impl Inputs {
    /// Says what a leaf is made of: each input with the leaf's sensitivity to it. An input that is known already
    /// stays as it was first said.
    pub fn leaf(&mut self, leaf: NodeId, parts: impl IntoIterator<Item = (Source, f64)>) {
        let list = parts.into_iter().map(|(source, sensitivity)| (self.index(source), sensitivity)).collect();
        *self.parts_mut(leaf) = list;
    }

    /// Adds a further part to a leaf.
    pub fn add_to(&mut self, leaf: NodeId, source: Source, sensitivity: f64) {
        let index = self.index(source);
        self.parts_mut(leaf).push((index, sensitivity));
    }

    fn index(&mut self, source: Source) -> usize {
        if let Some(known) = self.by_input.get(&source.input) {
            return *known;
        }
        let next = self.sources.len();
        self.by_input.insert(source.input.clone(), next);
        self.sources.push(source);
        next
    }

    /// Every input.
    pub fn sources(&self) -> &[Source] {
        &self.sources
    }

    /// What a leaf is made of: index of the input and the leaf's sensitivity to it. Empty for an exact one.
    pub fn parts(&self, leaf: NodeId) -> &[(usize, f64)] {
        self.parts.get(leaf.0 as usize).map_or(&[], Vec::as_slice)
    }

    fn parts_mut(&mut self, leaf: NodeId) -> &mut Vec<(usize, f64)> {
        let index = leaf.0 as usize;
        if self.parts.len() <= index {
            self.parts.resize_with(index + 1, Vec::new);
        }
        &mut self.parts[index]
    }

    /// The correlations declared, by pairs of inputs.
    pub fn correlations(&self) -> &[Correlation] {
        &self.correlations
    }

    /// Says that two inputs are correlated.
    pub fn correlate(&mut self, correlation: Correlation) {
        self.correlations.push(correlation);
    }

    /// Whether so many further steps along the graph may be taken; they are counted.
    pub(super) fn take_steps(&self, steps: usize) -> bool {
        let before = self.steps.0.load(Ordering::Relaxed);
        self.steps.0.store(before.saturating_add(steps), Ordering::Relaxed);
        before <= MOST_STEPS && steps <= MOST_STEPS
    }

    /// The combined standard uncertainty of a value from its inputs, in its coherent SI unit, without the scatter of
    /// the method (JCGM 100:2008, 5.1.2 and 5.2.2).
    pub fn standard_uncertainty(&self, graph: &Graph, value: NodeId) -> f64 {
        self.combined(&Model::of(self, graph, value).contributions(self))
    }

    /// The combined standard uncertainty of contributions, correlations included.
    pub fn combined(&self, contributions: &[(usize, f64)]) -> f64 {
        let squares: f64 = contributions.iter().map(|(_, contribution)| contribution * contribution).sum();
        let covariances: f64 = self.covariances(contributions).map(|(_, variance)| variance).sum();
        (squares + covariances).max(0.0).sqrt()
    }

    /// What each declared correlation adds to the variance: 2 r times both contributions (JCGM 100:2008, 5.2.2).
    pub fn covariances<'a>(
        &'a self,
        contributions: &'a [(usize, f64)],
    ) -> impl Iterator<Item = (Correlation, f64)> + 'a {
        let of = |index: usize| {
            let at = contributions.binary_search_by_key(&index, |(index, _)| *index).ok()?;
            Some(contributions[at].1)
        };
        self.correlations.iter().filter_map(move |correlation| {
            let variance = 2.0 * correlation.coefficient * of(correlation.a)? * of(correlation.b)?;
            Some((*correlation, variance))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::derivation::{Node, NodeInputs, Operation};
    use crate::quantity::{Digits, Dimension, Number, Quantity};

    fn leaf(graph: &mut Graph, value: f64, decimals: u32) -> NodeId {
        let number =
            Number::from_ratio((value * 10f64.powi(decimals as i32)).round() as i64, 10i64.pow(decimals));
        let quantity = Quantity { number, dimension: Dimension::default(), digits: Digits::Exact };
        graph.add(Node { operation: Operation::Literal, inputs: NodeInputs::new(), quantity, span: None })
    }

    fn apply(graph: &mut Graph, operation: Operation, a: NodeId, b: NodeId) -> NodeId {
        let (x, y) = (graph.quantity(a), graph.quantity(b));
        let quantity = match operation {
            Operation::Multiply => x.mul(y),
            Operation::Divide => x.div(y),
            _ => x.sub(y),
        };
        graph.add(Node {
            operation,
            inputs: NodeInputs::from_slice(&[a, b]),
            quantity: quantity.unwrap(),
            span: None,
        })
    }

    fn uncertain(inputs: &mut Inputs, leaf: NodeId, standard_deviation: f64) {
        let distribution = Distribution::Normal { standard_deviation };
        inputs.leaf(leaf, [(Source::of(Input::Leaf(leaf), 0.0, Arc::new(Unit::one()), distribution), 1.0)]);
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
        [a, tare, b].into_iter().for_each(|leaf| uncertain(&mut inputs, leaf, 1.0));
        assert!((inputs.standard_uncertainty(&graph, difference) - 2f64.sqrt()).abs() < 1e-12);
    }

    // JCGM 100:2008, 5.2.2, notes 1 and 2: with r = 1 standard uncertainties add linearly, with r = −1 they cancel
    // in a sum.
    #[test]
    fn full_correlation_adds_or_cancels() {
        let mut graph = Graph::default();
        let (a, b) = (leaf(&mut graph, 2.0, 1), leaf(&mut graph, 3.0, 1));
        let difference = apply(&mut graph, Operation::Subtract, a, b);
        for (coefficient, expected) in [(1.0, 1.0), (-1.0, 5.0), (0.0, 13f64.sqrt())] {
            let mut inputs = Inputs::default();
            uncertain(&mut inputs, a, 2.0);
            uncertain(&mut inputs, b, 3.0);
            inputs.correlate(Correlation { a: 0, b: 1, coefficient });
            let u = inputs.standard_uncertainty(&graph, difference);
            assert!((u - expected).abs() < 1e-12, "r = {coefficient}: {u}");
        }
    }
}
