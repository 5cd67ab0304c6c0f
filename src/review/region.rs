//! The part of the derivation a claim answers for: from its own value down to the author's earlier claims.
//!
//! An earlier claim is where the author wrote a value down, so what lies below it was settled there. A region
//! can be worked out again from other values, and with something done differently in it.

use super::derivation::Derivation;
use super::verdict::Comparison;
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::rounding::{round_to_figures, round_to_place};
use crate::quantity::{Number, Rounding, Unit};
use std::collections::HashMap;

/// A region: nodes in an order in which each comes after its inputs; the claim's own is the last.
pub(super) struct Region<'a> {
    pub(super) claim: usize,
    pub(super) comparison: Comparison<'a>,
    pub(super) nodes: Vec<Local<'a>>,
    /// Where each node is an input: the node and the position.
    pub(super) uses: Vec<Vec<(usize, usize)>>,
    /// How many figures the claim was written with.
    pub(super) figures: u32,
}

/// One node of a region.
pub(super) struct Local<'a> {
    pub(super) node: NodeId,
    /// Whether it is a part of how the node, a mass of a mixture, is worked out by hand.
    pub(super) by_hand: bool,
    pub(super) operation: &'a Operation,
    /// By index into the region; empty for a leaf and for an earlier claim.
    pub(super) inputs: Vec<usize>,
    /// The earlier claims that stand here.
    pub(super) claims: Vec<usize>,
    pub(super) number: &'a Number,
    pub(super) float: f64,
    /// How it is written down on the way, where it has a name and is computed.
    pub(super) shown: Option<Shown<'a>>,
}

/// How a value is written down on the way.
pub(super) enum Shown<'a> {
    /// To figures, in a unit of this size.
    ToFigures(&'a Number),
    /// A mass, to the last place of the readings, which has this size.
    ToPlace(Number),
}

/// A step of a region: a node, or a part of how a mass of a mixture is worked out by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Step {
    Node(NodeId),
    /// after − before × other
    Above(NodeId),
    /// before × other
    Times(NodeId),
    /// own − other
    Below(NodeId),
}

impl Step {
    fn node(self) -> NodeId {
        match self {
            Step::Node(node) | Step::Above(node) | Step::Times(node) | Step::Below(node) => node,
        }
    }

    fn is_by_hand(self) -> bool {
        !matches!(self, Step::Node(_))
    }
}

/// What a step does with which others.
fn inputs_of<'a>(derivation: &Derivation<'a>, step: Step) -> (&'a Operation, Vec<Step>) {
    let graph = &derivation.results.graph;
    let node = graph.node(step.node());
    let Some(mass) = derivation.by_hand(step.node()) else {
        let inputs = node.inputs.iter().map(|input| Step::Node(derivation.first(*input)));
        return (&node.operation, inputs.collect());
    };
    let (above, times, below) =
        (Step::Above(step.node()), Step::Times(step.node()), Step::Below(step.node()));
    match step {
        Step::Node(_) => (&Operation::Divide, vec![above, below]),
        Step::Above(_) => (&Operation::Subtract, vec![Step::Node(mass.after), times]),
        Step::Times(_) => (&Operation::Multiply, vec![Step::Node(mass.before), Step::Node(mass.other)]),
        Step::Below(_) => (&Operation::Subtract, vec![Step::Node(mass.own), Step::Node(mass.other)]),
    }
}

/// The steps of a region, each after those it needs.
fn ordered(derivation: &Derivation, root: NodeId, is_cut: &dyn Fn(NodeId) -> bool) -> Vec<Step> {
    let mut done: HashMap<Step, bool> = HashMap::new();
    let mut order = Vec::new();
    let mut stack = vec![(Step::Node(root), false)];
    while let Some((step, entered)) = stack.pop() {
        if entered {
            if done.insert(step, true) != Some(true) {
                order.push(step);
            }
            continue;
        }
        if done.contains_key(&step) {
            continue;
        }
        done.insert(step, false);
        stack.push((step, true));
        if step.is_by_hand() || !is_cut(step.node()) {
            stack.extend(inputs_of(derivation, step).1.into_iter().map(|input| (input, false)));
        }
    }
    order
}

/// Which values a region is worked out from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum From {
    /// The recomputed ones.
    Recomputed,
    /// Earlier claims that differ stand for themselves.
    Differing,
    /// All earlier claims stand for themselves.
    Claimed,
    /// So they do, and what was not claimed is rounded to so many figures; a mass to the place of the readings, with as
    /// many digits more as the figures are more than those of the claim.
    Rounded(u32),
}

/// Something done differently at a node of a region.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Change {
    /// It is another number.
    Becomes(Number),
    /// It is multiplied.
    Times(Number),
    /// Its two inputs change places.
    Reversed,
    /// Its inputs are combined by another operation.
    By(Operation),
    /// Something, and what comes out is multiplied: numbers in the units of the bench, read as if the result had
    /// its own unit.
    Scaled(Box<Change>, Number),
    /// An input is left out (of a sum of terms, or the second of a difference).
    Without(usize),
    /// An input has the other sign (in a sum of terms).
    Added(usize),
    /// An input is another number.
    Input(usize, Number),
    /// An input, by position, is what a node comes to with an edit, which holds for this use of it alone.
    InputBy(usize, usize, Edit),
}

/// All that is done differently.
pub(super) type Edit = Vec<(usize, Change)>;

impl<'a> Region<'a> {
    /// The region of a claim, down to the nearest earlier claims.
    pub(super) fn of(derivation: &Derivation<'a>, claim: usize) -> Option<Region<'a>> {
        Region::through(derivation, claim, &|_| false)
    }

    /// The region of a claim that goes on through the earlier claims of nodes that are `open`.
    pub(super) fn through(
        derivation: &Derivation<'a>,
        claim: usize,
        open: &dyn Fn(NodeId) -> bool,
    ) -> Option<Region<'a>> {
        let comparison = derivation.comparison(claim)?;
        let root = derivation.first(comparison.node);
        let is_cut = |node: NodeId| node != root && !derivation.claims_of(node).is_empty() && !open(node);
        let steps = ordered(derivation, root, &is_cut);
        let index: HashMap<Step, usize> = steps.iter().enumerate().map(|(at, step)| (*step, at)).collect();
        // Of quantities of one name the first counts.
        let quantities = derivation.results.quantities.iter().rev();
        let sizes: HashMap<&str, &Number> =
            quantities.map(|quantity| (quantity.symbol.as_str(), quantity.unit.factor())).collect();
        let local = |step: &Step| {
            let node = derivation.results.graph.node(step.node());
            let cut = is_cut(step.node()) && !step.is_by_hand();
            let (operation, inputs) = inputs_of(derivation, *step);
            let inputs: Vec<usize> =
                if cut { Vec::new() } else { inputs.iter().map(|input| index[input]).collect() };
            let named = !inputs.is_empty() && step.node() != root && !step.is_by_hand();
            Local {
                node: step.node(),
                by_hand: step.is_by_hand(),
                operation,
                inputs,
                claims: if cut { derivation.claims_of(step.node()).to_vec() } else { Vec::new() },
                number: &node.quantity.number,
                float: node.quantity.number.to_f64(),
                shown: if named { shown(derivation, step.node(), &sizes) } else { None },
            }
        };
        let nodes: Vec<Local> = steps.iter().map(local).collect();
        let figures = figures_of(&comparison);
        let uses = uses(&nodes);
        Some(Region { claim, comparison, nodes, uses, figures })
    }

    /// The ways to start that give different values: those of a region without earlier claims that differ are fewer.
    pub(super) fn starts(&self, derivation: &Derivation) -> Vec<From> {
        let mut starts = vec![From::Recomputed];
        let claims = || self.nodes.iter().flat_map(|local| &local.claims);
        if claims().any(|claim| derivation.differs[*claim]) {
            starts.push(From::Differing);
        }
        if claims().next().is_some() {
            starts.push(From::Claimed);
        }
        if self.nodes.iter().any(|local| local.shown.is_some()) {
            let least = self.figures.saturating_sub(1).max(1);
            starts.extend((least..self.figures + 3).map(From::Rounded));
        }
        starts
    }

    /// The claim that stands for a node from a start, if one does.
    pub(super) fn stands(&self, derivation: &Derivation, local: &Local, from: From) -> Option<usize> {
        let differing = || local.claims.iter().copied().find(|claim| derivation.differs[*claim]);
        match from {
            From::Recomputed => None,
            From::Differing => differing(),
            From::Claimed | From::Rounded(_) => differing().or(local.claims.first().copied()),
        }
    }

    /// How far the claim may be from a start's value because earlier claims are known to half their last place
    /// only, in units of its own last place: the author may have gone on with more digits than were written.
    pub(super) fn slack(&self, derivation: &Derivation, from: From, base: &[f64]) -> f64 {
        let steps = |values: &[f64]| self.float_steps(values.last().copied().unwrap_or(f64::NAN));
        let own = steps(base);
        let mut slack = 0.0;
        for (at, local) in self.nodes.iter().enumerate() {
            let Some(claim) = self.stands(derivation, local, from) else { continue };
            let Some(half) = derivation.half_place(claim) else { continue };
            let Some(end) = derivation.claimed_number(claim).and_then(|number| number.add(&half).ok()) else {
                continue;
            };
            slack += (steps(&self.floats(base, from, &[(at, Change::Becomes(end))])) - own).abs();
        }
        if slack.is_finite() { slack } else { 0.0 }
    }

    /// Every value in `f64`, from a start, with an edit.
    pub(super) fn floats(&self, base: &[f64], from: From, edit: &[(usize, Change)]) -> Vec<f64> {
        let first = edit.iter().map(|(at, _)| *at).min().unwrap_or(self.nodes.len());
        let mut values = base.to_vec();
        for at in first..self.nodes.len() {
            let local = &self.nodes[at];
            let change = edit.iter().find(|(place, _)| *place == at).map(|(_, change)| change);
            if local.inputs.is_empty() && change.is_none() {
                continue;
            }
            values[at] = match change {
                Some(Change::InputBy(position, node, edit)) => {
                    let input = self.floats(base, from, edit)[*node];
                    float_with(local, &values, *position, input)
                }
                change => float_at(local, &values, change),
            };
            values[at] = self.written_float(local, values[at], from);
        }
        values
    }

    /// The values of a start in `f64`.
    pub(super) fn base(&self, derivation: &Derivation, from: From) -> Vec<f64> {
        let leaf = |local: &Local| {
            let claimed =
                self.stands(derivation, local, from).and_then(|claim| derivation.claimed_number(claim));
            claimed.map_or(local.float, |number| number.to_f64())
        };
        let leaves: Vec<f64> = self.nodes.iter().map(leaf).collect();
        self.floats_from(&leaves, from)
    }

    fn floats_from(&self, leaves: &[f64], from: From) -> Vec<f64> {
        let mut values = leaves.to_vec();
        for (at, local) in self.nodes.iter().enumerate() {
            if local.inputs.is_empty() {
                continue;
            }
            values[at] = float_at(local, &values, None);
            values[at] = self.written_float(local, values[at], from);
        }
        values
    }

    /// Every value, exact, from a start, with an edit; `None` where an operation has no result.
    pub(super) fn exact(
        &self,
        derivation: &Derivation,
        from: From,
        edit: &[(usize, Change)],
    ) -> Option<Vec<Number>> {
        let mut values: Vec<Number> = Vec::with_capacity(self.nodes.len());
        for (at, local) in self.nodes.iter().enumerate() {
            let change = edit.iter().find(|(place, _)| *place == at).map(|(_, change)| change);
            let own = || match self.stands(derivation, local, from) {
                Some(claim) => derivation.claimed_number(claim),
                None => Some(local.number.clone()),
            };
            let value = match change {
                None if local.inputs.is_empty() => own()?,
                Some(Change::Times(factor)) if local.inputs.is_empty() => own()?.mul(factor).ok()?,
                Some(Change::InputBy(position, node, edit)) => {
                    let input = self.exact(derivation, from, edit)?.into_iter().nth(*node)?;
                    exact_at(local, &values, Some(&Change::Input(*position, input)))?
                }
                change => exact_at(local, &values, change)?,
            };
            values.push(self.written_exact(local, value, from)?);
        }
        Some(values)
    }

    /// A value as it is gone on with from a start, in `f64`.
    fn written_float(&self, local: &Local, value: f64, from: From) -> f64 {
        let From::Rounded(figures) = from else { return value };
        match &local.shown {
            None => value,
            Some(Shown::ToFigures(size)) => rounded(value / size.to_f64(), figures) * size.to_f64(),
            Some(Shown::ToPlace(size)) => {
                let size = size.to_f64() / 10f64.powi(self.guard(figures));
                (value / size).round() * size
            }
        }
    }

    /// The same, exact.
    fn written_exact(&self, local: &Local, value: Number, from: From) -> Option<Number> {
        let From::Rounded(figures) = from else { return Some(value) };
        let (size, rounded) = match &local.shown {
            None => return Some(value),
            Some(Shown::ToFigures(size)) => {
                (*size, round_to_figures(&value.div(size).ok()?, figures, Rounding::HalfAwayFromZero))
            }
            Some(Shown::ToPlace(size)) => {
                let place = -self.guard(figures);
                (size, round_to_place(&value.div(size).ok()?, place, Rounding::HalfAwayFromZero))
            }
        };
        rounded.to_number().mul(size).ok()
    }

    /// How many digits more than the claim has.
    fn guard(&self, figures: u32) -> i32 {
        i32::try_from(figures.saturating_sub(self.figures)).unwrap_or(0)
    }

    /// How many units of the claim's last place it is above the exact value of a start with an edit.
    pub(super) fn steps(&self, derivation: &Derivation, from: From, edit: &[(usize, Change)]) -> Option<i64> {
        let values = self.exact(derivation, from, edit)?;
        self.comparison.steps_above(&self.comparison.in_unit(values.last()?)?)
    }

    /// The same, about, from a value in `f64`.
    pub(super) fn float_steps(&self, value: f64) -> f64 {
        let zero = self.comparison.unit.zero().map_or(0.0, Number::to_f64);
        let in_unit = (value - zero) / self.comparison.unit.factor().to_f64();
        let place = 10f64.powi(self.comparison.claimed.place());
        let claimed = self.comparison.claimed.to_number().to_f64();
        match self.comparison.by_magnitude {
            true => (claimed.abs() - in_unit.abs()) / place,
            false => (claimed - in_unit) / place,
        }
    }
}

/// Where each node is an input: the node and the position.
fn uses(nodes: &[Local]) -> Vec<Vec<(usize, usize)>> {
    let mut uses = vec![Vec::new(); nodes.len()];
    for (user, local) in nodes.iter().enumerate() {
        for (position, input) in local.inputs.iter().enumerate() {
            uses[*input].push((user, position));
        }
    }
    uses
}

/// How a named value is written down on the way, in the unit of its quantity, whose size is given by name. A sum of masses
/// is not rounded: it has the readings' own digits.
fn shown<'a>(
    derivation: &Derivation<'a>,
    node: NodeId,
    sizes: &HashMap<&str, &'a Number>,
) -> Option<Shown<'a>> {
    let size = sizes.get(derivation.name(node)?.symbol.as_str())?;
    let own = derivation.results.graph.node(node);
    if matches!(own.operation, Operation::Combination(_) | Operation::Add | Operation::Subtract) {
        return None;
    }
    let is_mass = own.quantity.dimension == Unit::gram().dimension();
    let place = derivation.place_of_masses.as_ref().filter(|_| is_mass);
    Some(place.map_or(Shown::ToFigures(size), |size| Shown::ToPlace(size.clone())))
}

/// Significant figures a claim was written with.
fn figures_of(comparison: &Comparison) -> u32 {
    let number = comparison.claimed.to_number();
    let leading = number.leading_power().unwrap_or(comparison.claimed.place());
    (leading - comparison.claimed.place() + 1).max(1).unsigned_abs()
}

/// A value rounded to figures, near enough to sort out candidates.
fn rounded(value: f64, figures: u32) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10f64.powi(figures as i32 - 1 - value.abs().log10().floor() as i32);
    (value * scale).round() / scale
}

/// A node's value, from those of the nodes before it: each comes after its inputs. The nodes of a mixture worked by hand
/// do too, for its totals and coefficients are made before the elimination (`evaluation/mixture.rs`).
fn float_at(local: &Local, values: &[f64], change: Option<&Change>) -> f64 {
    let mut inputs: Vec<f64> = local.inputs.iter().map(|input| values[*input]).collect();
    match change {
        None => float(local.operation, &inputs),
        Some(Change::Becomes(number)) => number.to_f64(),
        Some(Change::Times(factor)) => {
            let own = if inputs.is_empty() { local.float } else { float(local.operation, &inputs) };
            own * factor.to_f64()
        }
        Some(Change::Reversed) => {
            inputs.reverse();
            float(local.operation, &inputs)
        }
        Some(Change::By(operation)) => float(operation, &inputs),
        Some(Change::Scaled(change, factor)) => float_at(local, values, Some(change)) * factor.to_f64(),
        Some(Change::Without(input)) => float_without(local.operation, &inputs, *input, 0.0),
        Some(Change::Added(input)) => float_without(local.operation, &inputs, *input, -1.0),
        Some(Change::Input(input, number)) => {
            inputs[*input] = number.to_f64();
            float(local.operation, &inputs)
        }
        // Worked out by the region, which has the values it needs.
        Some(Change::InputBy(..)) => f64::NAN,
    }
}

/// A node with another number as one input.
fn float_with(local: &Local, values: &[f64], position: usize, number: f64) -> f64 {
    let mut inputs: Vec<f64> = local.inputs.iter().map(|input| values[*input]).collect();
    inputs[position] = number;
    float(local.operation, &inputs)
}

/// A sum of terms with one of them counted `times` as often.
fn float_without(operation: &Operation, inputs: &[f64], input: usize, times: f64) -> f64 {
    let mut inputs = inputs.to_vec();
    inputs[input] *= times;
    float(operation, &inputs)
}

/// The same exactly.
fn exact_at(local: &Local, values: &[Number], change: Option<&Change>) -> Option<Number> {
    let mut inputs: Vec<Number> = local.inputs.iter().map(|input| values[*input].clone()).collect();
    match change {
        None => exact(local.operation, &inputs),
        Some(Change::Becomes(number)) => Some(number.clone()),
        Some(Change::Times(factor)) => exact(local.operation, &inputs)?.mul(factor).ok(),
        Some(Change::Reversed) => {
            inputs.reverse();
            exact(local.operation, &inputs)
        }
        Some(Change::By(operation)) => exact(operation, &inputs),
        Some(Change::Scaled(change, factor)) => exact_at(local, values, Some(change))?.mul(factor).ok(),
        Some(Change::Without(input)) => {
            inputs[*input] = Number::zero();
            exact(local.operation, &inputs)
        }
        Some(Change::Added(input)) => {
            inputs[*input] = inputs[*input].neg();
            exact(local.operation, &inputs)
        }
        Some(Change::Input(input, number)) => {
            inputs[*input] = number.clone();
            exact(local.operation, &inputs)
        }
        Some(Change::InputBy(..)) => None,
    }
}

fn float(operation: &Operation, x: &[f64]) -> f64 {
    let n = x.len() as f64;
    let mean = || x.iter().sum::<f64>() / n;
    let largest = || x.iter().copied().fold(f64::MIN, f64::max);
    let smallest = || x.iter().copied().fold(f64::MAX, f64::min);
    match operation {
        Operation::Combination(coefficients) => coefficients.iter().zip(x).map(|(c, x)| c.to_f64() * x).sum(),
        Operation::Add => x[0] + x[1],
        Operation::Subtract => x[0] - x[1],
        Operation::Multiply => x[0] * x[1],
        Operation::Divide => x[0] / x[1],
        Operation::Negate => -x[0],
        Operation::Power(power) => x[0].powi(*power as i32),
        Operation::RealPower => x[0].powf(x[1]),
        Operation::SquareRoot => x[0].sqrt(),
        Operation::NaturalLogarithm => x[0].ln(),
        Operation::DecimalLogarithm => x[0].log10(),
        Operation::Exponential => x[0].exp(),
        Operation::Magnitude => x[0].abs(),
        Operation::Minimum => smallest(),
        Operation::Maximum => largest(),
        Operation::Mean => mean(),
        Operation::StandardDeviation => {
            (x.iter().map(|x| (x - mean()).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
        }
        Operation::Range => largest() - smallest(),
        Operation::AverageDeviation => x.iter().map(|x| (x - mean()).abs()).sum::<f64>() / n,
        _ => f64::NAN,
    }
}

fn exact(operation: &Operation, x: &[Number]) -> Option<Number> {
    let sum = |terms: &[Number]| terms.iter().try_fold(Number::zero(), |sum, term| sum.add(term).ok());
    let count = |n: usize| Number::from_i64(n as i64);
    let mean = || sum(x)?.div(&count(x.len())).ok();
    let deviations = || {
        let mean = mean()?;
        x.iter().map(|x| x.sub(&mean).ok()).collect::<Option<Vec<Number>>>()
    };
    match operation {
        Operation::Combination(coefficients) => {
            let terms = coefficients.iter().zip(x).map(|(c, x)| c.mul(x).ok());
            sum(&terms.collect::<Option<Vec<Number>>>()?)
        }
        Operation::Add => x[0].add(&x[1]).ok(),
        Operation::Subtract => x[0].sub(&x[1]).ok(),
        Operation::Multiply => x[0].mul(&x[1]).ok(),
        Operation::Divide => x[0].div(&x[1]).ok(),
        Operation::Negate => Some(x[0].neg()),
        Operation::Power(power) => x[0].pow(*power).ok(),
        Operation::RealPower => x[0].powf(&x[1]).ok(),
        Operation::SquareRoot => x[0].sqrt().ok(),
        Operation::NaturalLogarithm => x[0].ln().ok(),
        Operation::DecimalLogarithm => x[0].log10().ok(),
        Operation::Exponential => x[0].exp().ok(),
        Operation::Magnitude => Some(x[0].abs()),
        Operation::Minimum => x.iter().min().cloned(),
        Operation::Maximum => x.iter().max().cloned(),
        Operation::Mean => mean(),
        Operation::StandardDeviation => {
            let squares: Option<Vec<Number>> = deviations()?.iter().map(|d| d.mul(d).ok()).collect();
            sum(&squares?)?.div(&count(x.len().checked_sub(1)?)).ok()?.sqrt().ok()
        }
        Operation::Range => x.iter().max()?.sub(x.iter().min()?).ok(),
        Operation::AverageDeviation => {
            let magnitudes: Vec<Number> = deviations()?.iter().map(Number::abs).collect();
            sum(&magnitudes)?.div(&count(x.len())).ok()
        }
        _ => None,
    }
}
