//! The part of the derivation graph that some results rest on, as one list of steps on floating-point numbers.
//!
//! What is shared is worked out once; what nothing uncertain enters is a constant; sums, differences and means of
//! what is uncertain are put together into one step each.

use super::inputs::Inputs;
use super::model::{Method, Scatter};
use crate::quantity::derivation::{Graph, Node, NodeId, Operation};
use crate::statistics::Distribution;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The place of a number among those of one draw: first the inputs, then the result of each step.
pub(super) type Register = usize;

/// c + Σ a x
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sum {
    pub(super) constant: f64,
    pub(super) terms: Vec<(f64, Register)>,
}

/// How one number follows from those before it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Step {
    Sum(Sum),
    Multiply(Register, Register),
    Divide(Register, Register),
    DivideConstant(f64, Register),
    Power(Register, i64),
    RealPower(Register, Register),
    SquareRoot(Register),
    NaturalLogarithm(Register),
    DecimalLogarithm(Register),
    Exponential(Register),
    Magnitude(Register),
    Minimum(Vec<Register>),
    Maximum(Vec<Register>),
    StandardDeviation(Vec<Register>),
    Range(Vec<Register>),
    AverageDeviation(Vec<Register>),
}

/// What is to be drawn: a value of the graph, in the unit it is shown in.
#[derive(Clone, Copy, Debug)]
pub struct Output {
    /// The value.
    pub node: NodeId,
    /// So many coherent SI units are one shown.
    pub scale: f64,
    /// Where the shown scale has its zero, in coherent SI units (273.15 K for °C).
    pub zero: f64,
}

/// What an input register holds a deviation of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Drawing {
    /// An input of the graph, by its index.
    Source(usize),
    /// The scatter of the method in a value.
    Scatter(Scatter),
}

/// Most registers of a tape: so many rows of numbers fit a small machine's memory.
const MOST_REGISTERS: usize = 20_000;
/// A sum of more terms is worked out before it enters another one, so that sums of sums stay small.
const MOST_TERMS: usize = 12;

/// The steps of one draw.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Tape {
    /// How many registers are inputs.
    pub(super) inputs: usize,
    pub(super) steps: Vec<Step>,
    /// The register of each output.
    pub(super) outputs: Vec<Register>,
}

impl Tape {
    /// The tape of some outputs, and what each of its inputs is a deviation of. `None` where it would be too long.
    pub(super) fn of(graph: &Graph, inputs: &Inputs, outputs: &[Output]) -> Option<(Tape, Vec<Drawing>)> {
        let below = below(graph, outputs);
        let drawings = drawings(graph, inputs, &below);
        let tape = Tape { inputs: drawings.len(), ..Tape::default() };
        let (mut sources, mut scatters) = (HashMap::new(), HashMap::new());
        for (register, (drawing, node)) in drawings.iter().enumerate() {
            match drawing {
                Drawing::Source(source) => sources.insert(*source, register).map(drop),
                Drawing::Scatter(_) => scatters.insert(*node, register).map(drop),
            };
        }
        let mut writer =
            Writer { graph, inputs, sources, scatters, tape, forms: HashMap::new(), sums: HashMap::new() };
        for output in outputs {
            let register = writer.output(output)?;
            writer.tape.outputs.push(register);
        }
        Some((writer.tape, drawings.into_iter().map(|(drawing, _)| drawing).collect()))
    }

    /// Whether each register enters an output or another register.
    pub(super) fn used(&self) -> Vec<bool> {
        let mut used = vec![false; self.registers()];
        self.outputs.iter().for_each(|register| used[*register] = true);
        for (at, step) in self.steps.iter().enumerate().rev() {
            if used[self.inputs + at] {
                step.operands().into_iter().for_each(|register| used[register] = true);
            }
        }
        used
    }

    /// Whether each output has a mean and a standard deviation, as far as its inputs have: Student's t with few
    /// degrees of freedom has none.
    pub(super) fn with_moments(&self, assigned: &[Distribution]) -> Vec<bool> {
        let mut with: Vec<bool> = assigned.iter().map(|x| x.standard_deviation().is_some()).collect();
        for step in &self.steps {
            let all = step.operands().into_iter().all(|register| with[register]);
            with.push(all);
        }
        self.outputs.iter().map(|register| with[*register]).collect()
    }

    /// How many numbers a draw holds.
    pub(super) fn registers(&self) -> usize {
        self.inputs + self.steps.len()
    }
}

/// All nodes that some outputs rest on, in the order of the graph.
fn below(graph: &Graph, outputs: &[Output]) -> Vec<NodeId> {
    let mut open: BTreeSet<NodeId> = outputs.iter().map(|output| output.node).collect();
    let mut all = Vec::new();
    while let Some(id) = open.pop_last() {
        all.push(id);
        open.extend(graph.node(id).inputs.iter().copied());
    }
    all.reverse();
    all
}

/// The inputs among some nodes, and the scatter of each node whose method has one, with the node.
fn drawings(graph: &Graph, inputs: &Inputs, nodes: &[NodeId]) -> Vec<(Drawing, NodeId)> {
    let mut all = Vec::new();
    let mut known = vec![false; inputs.sources().len()];
    for id in nodes {
        for (source, _) in inputs.parts(*id) {
            if !std::mem::replace(&mut known[*source], true) {
                all.push((Drawing::Source(*source), *id));
            }
        }
        if let Some((_, Method::Scatter(scatter))) = inputs.methods.get(graph, *id, true) {
            all.push((Drawing::Scatter(scatter), *id));
        }
    }
    all
}

/// Within which scatter a value is worked out.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
struct Within {
    /// Whether a scatter counts already, so that those of single values do not.
    scattered: bool,
    /// Indices of inputs (ascending) that it holds, and that stay at their estimates.
    without: Vec<usize>,
}

struct Writer<'g> {
    graph: &'g Graph,
    inputs: &'g Inputs,
    sources: HashMap<usize, Register>,
    scatters: HashMap<NodeId, Register>,
    tape: Tape,
    /// What each node came to, within a scatter.
    forms: HashMap<(NodeId, Within), Sum>,
    /// The register of each sum that was worked out: its constant and its terms, by their bits.
    sums: HashMap<(u64, Vec<(u64, Register)>), Register>,
}

/// How deep means of means are looked into for their scatter, as to first order.
const DEEPEST: usize = 3;

impl Writer<'_> {
    fn output(&mut self, output: &Output) -> Option<Register> {
        let value = match self.inputs.methods.get(self.graph, output.node, true) {
            Some((values, method)) => self.method(output.node, &values, method, 0)?,
            None => self.value(output.node, &Within::default(), 0)?,
        };
        let mut shown = Sum { constant: -output.zero / output.scale, terms: Vec::new() };
        shown.add(&value, 1.0 / output.scale);
        self.written(shown)
    }

    /// The mean of values whose repeatability is known, with its scatter where it has one.
    fn method(
        &mut self,
        node: NodeId,
        values: &[(NodeId, Option<usize>)],
        method: Method,
        depth: usize,
    ) -> Option<Sum> {
        let scattered = matches!(method, Method::Scatter(_));
        let without = if scattered { self.held(values) } else { Vec::new() };
        let within = Within { scattered, without };
        let mut mean = Sum { constant: 0.0, terms: Vec::new() };
        for (value, _) in values {
            let value = self.value(*value, &within, depth + 1)?;
            mean.add(&value, 1.0 / values.len() as f64);
        }
        if let Some(register) = self.scatters.get(&node).filter(|_| scattered) {
            mean.add(&Sum::register(*register), 1.0);
        }
        Some(mean)
    }

    /// The inputs that the scatter of some values holds already: random ones of the trial of one value alone.
    fn held(&self, values: &[(NodeId, Option<usize>)]) -> Vec<usize> {
        let mut parts: BTreeMap<usize, (usize, bool)> = BTreeMap::new();
        for (value, trial) in values {
            for leaf in self.graph.leaves(*value) {
                for (index, _) in self.inputs.parts(leaf) {
                    let source = &self.inputs.sources()[*index];
                    let part = parts.entry(*index).or_default();
                    part.0 += 1;
                    part.1 |= source.random && source.trial.is_some() && source.trial == *trial;
                }
            }
        }
        parts.into_iter().filter(|(_, (values, own))| *own && *values == 1).map(|(index, _)| index).collect()
    }

    /// What a node comes to. Nodes come after their inputs, so those not known yet are worked out in order.
    fn value(&mut self, node: NodeId, within: &Within, depth: usize) -> Option<Sum> {
        let stop = |writer: &Self, id: NodeId| {
            let known = || writer.inputs.methods.get(writer.graph, id, !within.scattered);
            if id != node && depth < DEEPEST { known() } else { None }
        };
        let rests = self.rests_on(node, |id| stop(self, id).is_some());
        let left_out = self.left_out(&rests, &within.without);
        let key = |id: NodeId| {
            let without = left_out.get(&id).cloned().unwrap_or_default();
            (id, Within { scattered: within.scattered, without })
        };
        for id in rests {
            if self.forms.contains_key(&key(id)) {
                continue;
            }
            let form = match stop(self, id) {
                Some((values, method)) => self.method(id, &values, method, depth)?,
                None => {
                    let missing = || Sum { constant: f64::NAN, terms: Vec::new() };
                    let of = |input: &NodeId| self.forms.get(&key(*input)).cloned().unwrap_or_else(missing);
                    let operands = self.graph.node(id).inputs.iter().map(of).collect();
                    self.form(id, operands, &key(id).1.without)?
                }
            };
            self.forms.insert(key(id), form);
        }
        self.forms.get(&key(node)).cloned()
    }

    /// A node and those below it, in the order of the graph, without looking behind those at which to stop.
    fn rests_on(&self, node: NodeId, stop: impl Fn(NodeId) -> bool) -> Vec<NodeId> {
        let mut open = BTreeSet::from([node]);
        let mut all = Vec::new();
        while let Some(id) = open.pop_last() {
            all.push(id);
            if !stop(id) {
                open.extend(self.graph.node(id).inputs.iter().copied());
            }
        }
        all.reverse();
        all
    }

    /// Which of the inputs to leave out each of these nodes rests on.
    fn left_out(&self, nodes: &[NodeId], without: &[usize]) -> HashMap<NodeId, Vec<usize>> {
        let mut all: HashMap<NodeId, Vec<usize>> = HashMap::new();
        if without.is_empty() {
            return all;
        }
        for id in nodes {
            let parts = self.inputs.parts(*id).iter().map(|(source, _)| *source);
            let own = parts.filter(|source| without.binary_search(source).is_ok());
            let below = self.graph.node(*id).inputs.iter().filter_map(|input| all.get(input)).flatten();
            let mut list: Vec<usize> = own.chain(below.copied()).collect();
            list.sort_unstable();
            list.dedup();
            if !list.is_empty() {
                all.insert(*id, list);
            }
        }
        all
    }

    fn form(&mut self, id: NodeId, operands: Vec<Sum>, without: &[usize]) -> Option<Sum> {
        let node = self.graph.node(id);
        let estimate = node.quantity.number.to_f64();
        if node.inputs.is_empty() {
            return Some(self.leaf(id, estimate, without));
        }
        if operands.iter().all(|operand| operand.terms.is_empty()) {
            return Some(Sum { constant: estimate, terms: Vec::new() });
        }
        let form = match linear(node, &operands) {
            Some(sum) => sum,
            None => self.step(&node.operation, operands)?,
        };
        if form.terms.len() <= MOST_TERMS {
            return Some(form);
        }
        Some(Sum::register(self.written(form)?))
    }

    /// Its estimate, and the deviation of each input it is made of.
    fn leaf(&self, id: NodeId, estimate: f64, without: &[usize]) -> Sum {
        let mut sum = Sum { constant: estimate, terms: Vec::new() };
        for (source, sensitivity) in self.inputs.parts(id) {
            if let Some(register) = self.sources.get(source)
                && without.binary_search(source).is_err()
            {
                sum.add(&Sum::register(*register), *sensitivity);
            }
        }
        sum
    }

    fn step(&mut self, operation: &Operation, operands: Vec<Sum>) -> Option<Sum> {
        if let (Operation::Divide, [top, _]) = (operation, operands.as_slice())
            && top.terms.is_empty()
        {
            let constant = top.constant;
            let bottom = self.written(operands[1].clone())?;
            return self.push(Step::DivideConstant(constant, bottom)).map(Sum::register);
        }
        let x = operands.into_iter().map(|form| self.written(form)).collect::<Option<Vec<_>>>()?;
        self.push(of_registers(operation, &x)?).map(Sum::register)
    }

    /// The register that holds a sum.
    fn written(&mut self, sum: Sum) -> Option<Register> {
        if let ([(factor, register)], 0.0) = (sum.terms.as_slice(), sum.constant)
            && *factor == 1.0
        {
            return Some(*register);
        }
        let bits = |(factor, register): &(f64, Register)| (factor.to_bits(), *register);
        let key = (sum.constant.to_bits(), sum.terms.iter().map(bits).collect());
        if let Some(register) = self.sums.get(&key) {
            return Some(*register);
        }
        let register = self.push(Step::Sum(sum))?;
        self.sums.insert(key, register);
        Some(register)
    }

    fn push(&mut self, step: Step) -> Option<Register> {
        let register = self.tape.registers();
        self.tape.steps.push(step);
        (register < MOST_REGISTERS).then_some(register)
    }
}

/// The operation as a sum of its operands, where it is one: all of them, or all but constants.
fn linear(node: &Node, x: &[Sum]) -> Option<Sum> {
    let weighted = |weights: Vec<f64>| {
        let mut sum = Sum { constant: 0.0, terms: Vec::new() };
        x.iter().zip(weights).for_each(|(x, weight)| sum.add(x, weight));
        Some(sum)
    };
    let constant = |sum: &Sum| sum.terms.is_empty().then_some(sum.constant);
    match (&node.operation, x) {
        (Operation::Combination(coefficients), _) => {
            weighted(coefficients.iter().map(|coefficient| coefficient.to_f64()).collect())
        }
        (Operation::Add, _) => weighted(vec![1.0, 1.0]),
        (Operation::Subtract, _) => weighted(vec![1.0, -1.0]),
        (Operation::Negate, _) => weighted(vec![-1.0]),
        (Operation::Mean, _) => weighted(vec![1.0 / x.len() as f64; x.len()]),
        (Operation::Multiply, [a, b]) => match (constant(a), constant(b)) {
            (Some(a), _) => weighted(vec![0.0, a]),
            (None, Some(b)) => weighted(vec![b, 0.0]),
            _ => None,
        },
        (Operation::Divide, [_, b]) => constant(b).and_then(|b| weighted(vec![1.0 / b, 0.0])),
        (Operation::Power(1), _) => weighted(vec![1.0, 0.0]),
        _ => None,
    }
}

fn of_registers(operation: &Operation, x: &[Register]) -> Option<Step> {
    Some(match (operation, x) {
        (Operation::Multiply, [a, b]) => Step::Multiply(*a, *b),
        (Operation::Divide, [a, b]) => Step::Divide(*a, *b),
        (Operation::Power(2), [a, ..]) => Step::Multiply(*a, *a),
        (Operation::Power(n), [a, ..]) => Step::Power(*a, *n),
        (Operation::RealPower, [a, b]) => Step::RealPower(*a, *b),
        (Operation::SquareRoot, [a]) => Step::SquareRoot(*a),
        (Operation::NaturalLogarithm, [a]) => Step::NaturalLogarithm(*a),
        (Operation::DecimalLogarithm, [a]) => Step::DecimalLogarithm(*a),
        (Operation::Exponential, [a]) => Step::Exponential(*a),
        (Operation::Magnitude, [a]) => Step::Magnitude(*a),
        (Operation::Minimum, _) => Step::Minimum(x.to_vec()),
        (Operation::Maximum, _) => Step::Maximum(x.to_vec()),
        (Operation::StandardDeviation, _) => Step::StandardDeviation(x.to_vec()),
        (Operation::Range, _) => Step::Range(x.to_vec()),
        (Operation::AverageDeviation, _) => Step::AverageDeviation(x.to_vec()),
        _ => return None,
    })
}

impl Step {
    pub(super) fn operands(&self) -> Vec<Register> {
        match self {
            Step::Sum(sum) => sum.terms.iter().map(|(_, register)| *register).collect(),
            Step::Multiply(a, b) | Step::Divide(a, b) | Step::RealPower(a, b) => vec![*a, *b],
            Step::DivideConstant(_, a)
            | Step::Power(a, _)
            | Step::SquareRoot(a)
            | Step::NaturalLogarithm(a)
            | Step::DecimalLogarithm(a)
            | Step::Exponential(a)
            | Step::Magnitude(a) => vec![*a],
            Step::Minimum(x)
            | Step::Maximum(x)
            | Step::StandardDeviation(x)
            | Step::Range(x)
            | Step::AverageDeviation(x) => x.clone(),
        }
    }
}

impl Sum {
    fn register(register: Register) -> Self {
        Sum { constant: 0.0, terms: vec![(1.0, register)] }
    }

    /// Adds a multiple of another sum; terms of one register come together, and those that cancel go.
    fn add(&mut self, other: &Sum, factor: f64) {
        if factor == 0.0 {
            return;
        }
        self.constant += factor * other.constant;
        for (coefficient, register) in &other.terms {
            match self.terms.iter().position(|(_, known)| known == register) {
                Some(at) => self.terms[at].0 += factor * coefficient,
                None => self.terms.push((factor * coefficient, *register)),
            }
        }
        self.terms.retain(|(coefficient, _)| *coefficient != 0.0);
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::monte_carlo::lanes::{LANES, Row, work_out};
    use super::*;
    use crate::evaluation::results::{Origin, Results};
    use crate::evaluation::uncertainty::Model;
    use crate::files::Folder;

    /// The demo notebooks and the messy ones.
    pub(in super::super) fn notebooks() -> Vec<Results> {
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks");
        let mut all = Vec::new();
        for folder in [root.clone(), root.join("field")] {
            for entry in std::fs::read_dir(&folder).unwrap() {
                let path = entry.unwrap().path();
                let read =
                    |path| crate::compute("n.md", &std::fs::read(path).unwrap(), &Folder::new(&folder));
                if path.extension().is_some_and(|ending| ending == "md") {
                    all.push(read(&path).results);
                }
            }
        }
        all
    }

    /// Every value of the working, and every mean.
    pub(in super::super) fn nodes(results: &Results) -> Vec<NodeId> {
        let working = || results.quantities.iter().filter(|quantity| quantity.origin == Origin::Working);
        let outcomes = working().flat_map(|quantity| quantity.scalar.iter().chain(&quantity.trials));
        let means = working().filter_map(|quantity| Some(quantity.agreement.as_ref()?.mean_node));
        outcomes.filter_map(|outcome| Some(outcome.value()?.node)).chain(means).collect()
    }

    fn evaluate(tape: &Tape, deviations: &[f64]) -> Vec<f64> {
        let mut rows: Vec<Row> = deviations.iter().map(|deviation| [*deviation; LANES]).collect();
        for step in &tape.steps {
            let mut out = [0.0; LANES];
            work_out(step, &rows, &mut out);
            rows.push(out);
        }
        tape.outputs.iter().map(|register| rows[*register][LANES - 1]).collect()
    }

    pub(in super::super) fn near(a: f64, b: f64, relative: f64) -> bool {
        (a - b).abs() <= relative * a.abs().max(b.abs())
    }

    fn output(node: NodeId) -> Output {
        Output { node, scale: 1.0, zero: 0.0 }
    }

    /// Each drawing with its contribution to every output, by moving one register of the tape after the other.
    fn contributions(results: &Results, tape: &Tape, drawings: &[Drawing]) -> Vec<(Drawing, Vec<f64>)> {
        let of = |(register, drawing): (usize, &Drawing)| {
            let u = match drawing {
                Drawing::Source(source) => results.inputs.sources()[*source].standard_uncertainty(),
                Drawing::Scatter(scatter) => scatter.standard,
            };
            let moved = |by: f64| {
                let mut deviations = vec![0.0; drawings.len()];
                deviations[register] = by;
                evaluate(tape, &deviations)
            };
            let (up, down) = (moved(0.01 * u), moved(-0.01 * u));
            (*drawing, up.iter().zip(down).map(|(up, down)| (up - down) / 0.02).collect())
        };
        drawings.iter().enumerate().map(of).collect()
    }

    /// Without deviations the tape gives the exact values, and moving one input after the other gives the first-order
    /// contributions: two evaluations of the same graph that share no code.
    #[test]
    fn the_tape_follows_the_graph() {
        let (mut values, mut moved, mut scattered) = (0, 0, 0);
        for results in notebooks() {
            let nodes = nodes(&results);
            let outputs: Vec<Output> = nodes.iter().copied().map(output).collect();
            let (tape, drawings) = Tape::of(&results.graph, &results.inputs, &outputs).unwrap();
            let still = evaluate(&tape, &vec![0.0; drawings.len()]);
            let contributions = contributions(&results, &tape, &drawings);
            for (at, node) in nodes.iter().enumerate() {
                let exact = results.graph.quantity(*node).number.to_f64();
                assert!(
                    near(still[at], exact, 1e-9) || exact == 0.0,
                    "{}: {} {exact}",
                    results.name,
                    still[at]
                );
                let model = Model::of(&results.inputs, &results.graph, *node);
                let mut expected = vec![0.0; results.inputs.sources().len()];
                for (source, sensitivity) in &model.sensitivities {
                    let u = results.inputs.sources()[*source].standard_uncertainty();
                    expected[*source] = sensitivity * u;
                }
                let scatter: f64 = model.scatter.iter().map(|scatter| scatter.standard.powi(2)).sum();
                let combined = expected.iter().map(|x| x * x).sum::<f64>().sqrt();
                let mut of_scatter = 0.0;
                for (drawing, found) in &contributions {
                    let Drawing::Source(source) = drawing else {
                        of_scatter += found[at] * found[at];
                        continue;
                    };
                    let (found, expected) = (found[at], expected[*source]);
                    let input = &results.inputs.sources()[*source].input;
                    assert!(
                        near(found, expected, 1e-4) || (found - expected).abs() <= 1e-6 * combined + 1e-13,
                        "{} {node:?} {input:?}: {found}, not {expected} of {combined}",
                        results.name,
                    );
                    moved += usize::from(expected != 0.0);
                }
                assert!(near(of_scatter, scatter, 1e-6), "{of_scatter} {scatter}");
                scattered += usize::from(scatter > 0.0);
                values += 1;
            }
        }
        assert!(values > 100 && moved > 500 && scattered > 5, "only {values}, {moved}, {scattered} compared");
    }

    /// An input that nothing rests on is not drawn.
    #[test]
    fn what_no_output_needs_is_not_used() {
        let results = notebooks().into_iter().find(|results| nodes(results).len() > 1).unwrap();
        let (tape, _) = Tape::of(&results.graph, &results.inputs, &[output(nodes(&results)[0])]).unwrap();
        let needless = Tape { inputs: tape.inputs, steps: tape.steps.clone(), outputs: Vec::new() };
        assert!(tape.used().into_iter().any(|used| used));
        assert!(needless.used().into_iter().all(|used| !used));
    }
}
