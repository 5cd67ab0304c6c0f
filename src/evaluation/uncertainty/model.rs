//! The sensitivities of a value, with the repeatability of the method where it is known.
//!
//! The scatter of trials (or a pooled standard deviation) holds everything that differs from one trial to the
//! next: handling, heating, and the scatter of the weighings as well. So where it counts, the scatter of the
//! weighings of the trials does not count again: no effect twice (JCGM 100:2008, 4.3.10). What all trials share
//! stays: linearity near one load, calibration, atomic weights, a reading that serves several.

use super::coverage::Evaluated;
use super::inputs::Inputs;
use super::second_order;
use super::sensitivities::sensitivities;
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, NodeId, Operation};
use hashbrown::HashMap;
use std::collections::BTreeMap;

/// What a combined uncertainty covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Covers {
    /// The inputs alone: the repeatability of the method is not known.
    #[default]
    Inputs,
    /// The result, the repeatability of the method included.
    Result,
}

impl Covers {
    /// The word of the results file.
    pub fn word(self) -> &'static str {
        match self {
            Covers::Inputs => "inputs",
            Covers::Result => "result",
        }
    }
}

/// The scatter of the method in a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Its standard uncertainty: s for a single result, s/√n for the mean of n; in coherent SI units.
    pub standard: f64,
    /// Its degrees of freedom; `None` for infinitely many.
    pub degrees_of_freedom: Option<f64>,
    /// How many trials it was computed from; `None` for a stated one.
    pub trials: Option<usize>,
}

/// How the repeatability of the method enters a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Method {
    /// The formulas have an input for it.
    InTheModel,
    /// As a scatter beside the inputs.
    Scatter(Scatter),
}

/// The values that the repeatability of the method is known of.
#[derive(Clone, Debug, Default)]
pub struct Methods {
    /// The mean of some values.
    means: HashMap<Vec<NodeId>, (Vec<Trialed>, Method)>,
    /// Single values.
    values: HashMap<NodeId, (Option<usize>, Method)>,
}

/// A value with its trial.
type Trialed = (NodeId, Option<usize>);

impl Methods {
    /// Says how the repeatability enters the mean of some values, each with its trial.
    pub fn of_mean(&mut self, values: Vec<Trialed>, method: Method) {
        self.means.insert(values.iter().map(|(node, _)| *node).collect(), (values, method));
    }

    /// Says how it enters a single value.
    pub fn of_value(&mut self, (node, trial): Trialed, method: Method) {
        self.values.insert(node, (trial, method));
    }

    /// The values that a node is the mean of (itself, for a single value), and how the repeatability enters.
    pub(super) fn get(&self, graph: &Graph, id: NodeId, single: bool) -> Option<(Vec<Trialed>, Method)> {
        let node = graph.node(id);
        if node.operation == Operation::Mean
            && let Some(known) = self.means.get(node.inputs.as_slice())
        {
            return Some(known.clone());
        }
        let (trial, method) = self.values.get(&id).filter(|_| single)?;
        Some((vec![(id, *trial)], *method))
    }
}

/// What a value rests on.
#[derive(Clone, Debug, Default)]
pub struct Model {
    /// ∂value/∂input by the input's index (in their order); zero ones too, for they count in second order.
    pub sensitivities: Vec<(usize, f64)>,
    /// The scatter of the method.
    pub scatter: Vec<Scatter>,
    /// What the uncertainty covers.
    pub covers: Covers,
}

/// How deep means of means are looked into for their scatter.
const DEEPEST: usize = 3;

impl Model {
    /// The model of a node.
    pub fn of(inputs: &Inputs, graph: &Graph, node: NodeId) -> Self {
        let mut builder = Builder { inputs, graph, all: Vec::new(), model: Model::default() };
        match inputs.methods.get(graph, node, true) {
            Some((values, method)) => builder.method(values, method, 1.0, 0),
            None => builder.values(&[(node, None)], 1.0, false, 0),
        }
        let Builder { mut model, mut all, .. } = builder;
        // One without first-order effect stays: its second-order terms may be all it has.
        merge(&mut all, |kept, next| *kept += next);
        model.sensitivities = all;
        model
    }

    /// Sensitivity × standard uncertainty of each input by its index; what contributes nothing left out.
    pub fn contributions(&self, inputs: &Inputs) -> Vec<(usize, f64)> {
        let contribution = |(index, sensitivity): &(usize, f64)| {
            (*index, sensitivity * inputs.sources()[*index].standard_uncertainty())
        };
        self.sensitivities.iter().map(contribution).filter(|(_, contribution)| *contribution != 0.0).collect()
    }
}

struct Builder<'a> {
    inputs: &'a Inputs,
    graph: &'a Graph,
    /// ∂value/∂input, as met: an input may come several times.
    all: Vec<(usize, f64)>,
    model: Model,
}

/// Brings entries into the order of their inputs, several of one input together. Lists sorted once take less time
/// than maps kept in order.
fn merge<T: Copy>(entries: &mut Vec<(usize, T)>, add: impl Fn(&mut T, T)) {
    entries.sort_by_key(|(index, _)| *index);
    entries.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            add(&mut kept.1, next.1);
        }
        same
    });
}

/// What one input brings to the mean of some values.
#[derive(Clone, Copy, Default)]
struct Part {
    sensitivity: f64,
    /// How many of the values rest on it.
    values: usize,
    /// Whether it is random and of the trial of one of them.
    own: bool,
}

impl Part {
    fn add(&mut self, other: Part) {
        self.sensitivity += other.sensitivity;
        self.values += other.values;
        self.own |= other.own;
    }
}

impl Builder<'_> {
    /// A value (or mean of values) whose repeatability is known.
    fn method(&mut self, values: Vec<Trialed>, method: Method, sensitivity: f64, depth: usize) {
        self.model.covers = Covers::Result;
        if let Method::Scatter(scatter) = method {
            let standard = scatter.standard * sensitivity.abs();
            self.model.scatter.push(Scatter { standard, ..scatter });
        }
        self.values(&values, sensitivity, matches!(method, Method::Scatter(_)), depth + 1);
    }

    /// The mean of some values; `scattered`: what is random and of one trial alone is in their scatter.
    fn values(&mut self, values: &[Trialed], sensitivity: f64, scattered: bool, depth: usize) {
        let share = sensitivity / values.len().max(1) as f64;
        let mut parts: Vec<(usize, Part)> = Vec::new();
        let mut stops: BTreeMap<NodeId, f64> = BTreeMap::new();
        for (value, trial) in values {
            if !self.inputs.take_steps(0) {
                return;
            }
            let stop = |id: NodeId| depth < DEEPEST && self.known(id, scattered).is_some();
            let found = sensitivities(self.graph, *value, stop);
            self.inputs.take_steps(found.steps);
            for (leaf, along) in found.leaves {
                self.leaf(leaf, along * share, *trial, &mut parts);
            }
            for (stopped, along) in found.stopped {
                *stops.entry(stopped).or_default() += along * share;
            }
        }
        merge(&mut parts, Part::add);
        let counts = |part: &Part| !(scattered && part.own && part.values == 1);
        let parts = parts.into_iter().filter(|(_, part)| counts(part));
        self.all.extend(parts.map(|(index, part)| (index, part.sensitivity)));
        for (stopped, along) in stops {
            if let Some((values, method)) = self.known(stopped, scattered) {
                self.method(values, method, along, depth);
            }
        }
    }

    /// Within a scatter that counts already, that of single values does not count again.
    fn known(&self, id: NodeId, scattered: bool) -> Option<(Vec<Trialed>, Method)> {
        self.inputs.methods.get(self.graph, id, !scattered)
    }

    fn leaf(&self, leaf: NodeId, along: f64, trial: Option<usize>, parts: &mut Vec<(usize, Part)>) {
        parts.extend(self.inputs.parts(leaf).iter().map(|(index, sensitivity)| {
            let source = &self.inputs.sources()[*index];
            let own = source.random && source.trial.is_some() && source.trial == trial;
            (*index, Part { sensitivity: along * sensitivity, values: 1, own })
        }));
    }
}

/// Evaluates the uncertainty of a node; `scale` coherent SI units are one shown.
pub fn evaluate(inputs: &Inputs, graph: &Graph, node: NodeId, scale: f64, settings: &Settings) -> Evaluated {
    let model = Model::of(inputs, graph, node);
    let contributions = model.contributions(inputs);
    let mut beside: Vec<(f64, Option<f64>)> =
        model.scatter.iter().map(|scatter| (scatter.standard, scatter.degrees_of_freedom)).collect();
    let second_order = second_order_variance(&model, inputs, graph, node, settings);
    if second_order != 0.0 {
        beside.push((second_order.abs().sqrt().copysign(second_order), None));
    }
    let evaluated = Evaluated::of(inputs, &contributions, &beside, scale, settings.coverage);
    Evaluated { covers: model.covers, ..evaluated }
}

/// What second-order terms add to the variance, in coherent SI units; zero where they are not asked for.
pub(super) fn second_order_variance(
    model: &Model,
    inputs: &Inputs,
    graph: &Graph,
    node: NodeId,
    settings: &Settings,
) -> f64 {
    if !settings.second_order {
        return 0.0;
    }
    let indices: Vec<usize> = model.sensitivities.iter().map(|(index, _)| *index).collect();
    second_order::variance(inputs, graph, node, &indices)
}
