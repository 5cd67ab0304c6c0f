//! A value's formula made ready to be evaluated again and again: the value at changed inputs, its derivatives and its
//! first-order uncertainty in one pass forward and one backward (JCGM 100:2008, 5.1.2).
//!
//! The steps are those that Monte Carlo draws work out, laid out in flat lists. Forward each step and its partial derivatives
//! are worked out, backward what each input does to the value is added up; nothing is looked up or allocated for a
//! step. Second-order terms are not in it.

use super::coverage::Evaluated;
use super::inputs::Inputs;
use super::model::{Covers, Model};
use super::several::{average_deviation, largest, power, range, smallest, standard_deviation};
use super::several::{indicator, of_average_deviation, of_range, of_standard_deviation};
use super::tape::{Drawing, Output, Step, Tape};
use crate::notebook::settings::Coverage;
use crate::quantity::derivation::Graph;
use std::f64::consts::LN_10;

/// What a step does with its operands.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Does {
    /// A constant + Σ factor × operand; the factors are the partial derivatives.
    Sum(f64),
    Multiply,
    Divide,
    /// A constant divided by the operand.
    DivideConstant(f64),
    Power(i64),
    RealPower,
    SquareRoot,
    NaturalLogarithm,
    DecimalLogarithm,
    Exponential,
    Magnitude,
    Minimum,
    Maximum,
    StandardDeviation,
    Range,
    AverageDeviation,
}

impl Does {
    fn takes_several(self) -> bool {
        use Does::{AverageDeviation, Maximum, Minimum, Range, StandardDeviation};
        matches!(self, Minimum | Maximum | StandardDeviation | Range | AverageDeviation)
    }
}

/// A step, and where its operands end in the list of all: they begin where those of the step before end.
#[derive(Clone, Copy, Debug)]
struct Flat {
    does: Does,
    end: usize,
}

/// The formula of one value, in the unit it is shown in.
#[derive(Clone, Debug)]
pub struct Prepared {
    steps: Vec<Flat>,
    /// The registers of the operands of every step.
    operands: Vec<usize>,
    /// The derivative of each step by each of its operands, as last worked out.
    partials: Vec<f64>,
    /// By register: the inputs, then the result of each step.
    values: Vec<f64>,
    /// ∂value/∂register
    adjoints: Vec<f64>,
    output: usize,
    /// Register, index and standard uncertainty of each input, in the order of the indices.
    inputs: Vec<(usize, usize, f64)>,
    /// Register, standard uncertainty and degrees of freedom of what scatters beside the inputs.
    beside: Vec<(usize, f64, Option<f64>)>,
    covers: Covers,
    /// What `evaluate` hands on, kept for the next time.
    contributions: Vec<(usize, f64)>,
    scatter: Vec<(f64, Option<f64>)>,
}

impl Prepared {
    /// Prepares the formula of a value. `None` where it is too long.
    pub fn of(graph: &Graph, inputs: &Inputs, output: Output) -> Option<Prepared> {
        let (tape, drawings) = Tape::of(graph, inputs, &[output])?;
        let mut prepared = Prepared {
            steps: Vec::with_capacity(tape.steps.len()),
            operands: Vec::new(),
            partials: Vec::new(),
            values: vec![0.0; tape.registers()],
            adjoints: vec![0.0; tape.registers()],
            output: *tape.outputs.first()?,
            inputs: Vec::new(),
            beside: Vec::new(),
            covers: Model::of(inputs, graph, output.node).covers,
            contributions: Vec::new(),
            scatter: Vec::new(),
        };
        for (register, drawing) in drawings.iter().enumerate() {
            match drawing {
                Drawing::Source(index) => {
                    let standard = inputs.sources()[*index].standard_uncertainty();
                    prepared.inputs.push((register, *index, standard));
                }
                Drawing::Scatter(scatter) => {
                    prepared.beside.push((register, scatter.standard, scatter.degrees_of_freedom));
                }
            }
        }
        prepared.inputs.sort_by_key(|(_, index, _)| *index);
        tape.steps.iter().for_each(|step| prepared.lay_out(step));
        Some(prepared)
    }

    fn lay_out(&mut self, step: &Step) {
        self.operands.extend(step.operands());
        self.partials.resize(self.operands.len(), 0.0);
        let does = match step {
            Step::Sum(sum) => {
                let from = self.operands.len() - sum.terms.len();
                let factors = sum.terms.iter().map(|(factor, _)| *factor);
                self.partials[from..].iter_mut().zip(factors).for_each(|(partial, factor)| *partial = factor);
                Does::Sum(sum.constant)
            }
            Step::Multiply(..) => Does::Multiply,
            Step::Divide(..) => Does::Divide,
            Step::DivideConstant(constant, _) => Does::DivideConstant(*constant),
            Step::Power(_, exponent) => Does::Power(*exponent),
            Step::RealPower(..) => Does::RealPower,
            Step::SquareRoot(_) => Does::SquareRoot,
            Step::NaturalLogarithm(_) => Does::NaturalLogarithm,
            Step::DecimalLogarithm(_) => Does::DecimalLogarithm,
            Step::Exponential(_) => Does::Exponential,
            Step::Magnitude(_) => Does::Magnitude,
            Step::Minimum(_) => Does::Minimum,
            Step::Maximum(_) => Does::Maximum,
            Step::StandardDeviation(_) => Does::StandardDeviation,
            Step::Range(_) => Does::Range,
            Step::AverageDeviation(_) => Does::AverageDeviation,
        };
        self.steps.push(Flat { does, end: self.operands.len() });
    }

    /// The inputs whose deviations [`Self::evaluate`] takes, in its order: their indices among [`Inputs::sources`].
    pub fn sources(&self) -> impl Iterator<Item = usize> + '_ {
        self.inputs.iter().map(|(_, index, _)| *index)
    }

    /// The value where each input deviates so much from its estimate (in coherent SI units; those not given do not), and
    /// its first-order uncertainty there. The scatter of trials stays as it was observed.
    pub fn evaluate(&mut self, inputs: &Inputs, deviations: &[f64], coverage: Coverage) -> (f64, Evaluated) {
        let given = deviations.iter().copied().chain(std::iter::repeat(0.0));
        for ((register, ..), deviation) in self.inputs.iter().zip(given) {
            self.values[*register] = deviation;
        }
        self.forward();
        self.backward();
        let adjoints = &self.adjoints;
        let contribution = |(register, index, u): &(usize, usize, f64)| (*index, adjoints[*register] * u);
        let nonzero = |(_, contribution): &(usize, f64)| *contribution != 0.0;
        self.contributions.clear();
        self.contributions.extend(self.inputs.iter().map(contribution).filter(nonzero));
        self.scatter.clear();
        self.scatter.extend(self.beside.iter().map(|(at, u, dof)| ((adjoints[*at] * u).abs(), *dof)));
        let evaluated = Evaluated::of(inputs, &self.contributions, &self.scatter, 1.0, coverage);
        (self.values[self.output], Evaluated { covers: self.covers, ..evaluated })
    }

    /// Works out every step with its partial derivatives.
    fn forward(&mut self) {
        let (mut from, first) = (0, self.values.len() - self.steps.len());
        for (at, Flat { does, end }) in self.steps.iter().enumerate() {
            let (before, after) = self.values.split_at_mut(first + at);
            after[0] = work_out(*does, &self.operands[from..*end], before, &mut self.partials[from..*end]);
            from = *end;
        }
    }

    /// Adds up along the steps, the last one first, what each register does to the value.
    fn backward(&mut self) {
        let first = self.values.len() - self.steps.len();
        self.adjoints.fill(0.0);
        self.adjoints[self.output] = 1.0;
        for at in (0..self.steps.len()).rev() {
            let along = self.adjoints[first + at];
            if along == 0.0 {
                continue;
            }
            let from = at.checked_sub(1).map_or(0, |before| self.steps[before].end);
            let of_step = from..self.steps[at].end;
            for (operand, partial) in self.operands[of_step.clone()].iter().zip(&self.partials[of_step]) {
                self.adjoints[*operand] += along * partial;
            }
        }
    }
}

/// The result of a step from the registers before it, and its partial derivatives.
fn work_out(does: Does, operands: &[usize], before: &[f64], partials: &mut [f64]) -> f64 {
    let x = |operand: &usize| before[*operand];
    match (does, operands, &mut *partials) {
        (Does::Sum(constant), ..) => {
            let terms = operands.iter().zip(partials.iter());
            terms.fold(constant, |sum, (operand, factor)| sum + factor * x(operand))
        }
        (Does::Multiply, [a, b], [of_a, of_b]) => {
            (*of_a, *of_b) = (x(b), x(a));
            x(a) * x(b)
        }
        (Does::Divide, [a, b], [of_a, of_b]) => {
            let y = x(a) / x(b);
            (*of_a, *of_b) = (1.0 / x(b), -y / x(b));
            y
        }
        (Does::RealPower, [a, b], [of_a, of_b]) => {
            let y = libm::pow(x(a), x(b));
            (*of_a, *of_b) = (x(b) * y / x(a), y * x(a).ln());
            y
        }
        (does, [a], [of_a]) if !does.takes_several() => {
            let (y, derivative) = of_one(does, x(a));
            *of_a = derivative;
            y
        }
        _ => of_several(does, &operands.iter().map(x).collect::<Vec<_>>(), partials),
    }
}

/// A function of one number, and its derivative.
fn of_one(does: Does, x: f64) -> (f64, f64) {
    match does {
        Does::DivideConstant(constant) => (constant / x, -constant / (x * x)),
        Does::Power(0) => (1.0, 0.0),
        Does::Power(n) => (power(x, n), n as f64 * power(x, n - 1)),
        Does::SquareRoot => (x.sqrt(), 0.5 / x.sqrt()),
        Does::NaturalLogarithm => (libm::log(x), 1.0 / x),
        Does::DecimalLogarithm => (libm::log10(x), 1.0 / (x * LN_10)),
        Does::Exponential => {
            let y = libm::exp(x);
            (y, y)
        }
        Does::Magnitude => (x.abs(), x.signum()),
        _ => (f64::NAN, f64::NAN),
    }
}

/// A function of several numbers, and its partial derivatives.
fn of_several(does: Does, x: &[f64], partials: &mut [f64]) -> f64 {
    let (y, derivatives) = match does {
        Does::Minimum => (smallest(x), indicator(x, smallest(x))),
        Does::Maximum => (largest(x), indicator(x, largest(x))),
        Does::StandardDeviation => {
            let s = standard_deviation(x);
            (s, of_standard_deviation(x, s))
        }
        Does::Range => (range(x), of_range(x)),
        Does::AverageDeviation => (average_deviation(x), of_average_deviation(x)),
        _ => (f64::NAN, Vec::new()),
    };
    partials.iter_mut().zip(derivatives).for_each(|(partial, derivative)| *partial = derivative);
    y
}

#[cfg(test)]
mod tests {
    use super::super::inputs::Source;
    use super::super::model::evaluate;
    use super::super::tape::tests::{near, nodes, notebooks};
    use super::*;
    use crate::evaluation::results::Results;
    use crate::files::Memory;
    use crate::notebook::settings::Settings;
    use crate::quantity::derivation::NodeId;

    fn prepared(results: &Results, node: NodeId) -> Prepared {
        Prepared::of(&results.graph, &results.inputs, Output { node, scale: 1.0, zero: 0.0 }).unwrap()
    }

    /// At the estimates it says of every value of the notebooks what the walk along the graph says, which shares no
    /// derivative of a single step with it.
    #[test]
    fn at_the_estimates_it_says_what_the_graph_says() {
        let mut compared = 0;
        for results in notebooks() {
            let settings = Settings { second_order: false, ..results.settings.clone() };
            for node in nodes(&results) {
                let expected = evaluate(&results.inputs, &results.graph, node, 1.0, &settings);
                let mut prepared = prepared(&results, node);
                let (value, found) = prepared.evaluate(&results.inputs, &[], settings.coverage);
                let exact = results.graph.quantity(node).number.to_f64();
                assert!(near(value, exact, 1e-9) || exact == 0.0, "{}: {value}, not {exact}", results.name);
                // What cancels leaves the rounding of doubles.
                let largest = |of: f64, source: &Source| of.max(source.standard_uncertainty());
                let rounding = 1e-12 * results.inputs.sources().iter().fold(exact.abs(), largest);
                let same = near(found.standard, expected.standard, 1e-7)
                    || (found.standard - expected.standard).abs() <= rounding;
                assert!(same && found.covers == expected.covers, "{} {found:?} {expected:?}", results.name);
                let dof = found.degrees_of_freedom.zip(expected.degrees_of_freedom);
                assert!(dof.is_none_or(|(a, b)| near(a, b, 1e-6)), "{} {found:?} {expected:?}", results.name);
                compared += usize::from(expected.standard > 0.0);
            }
        }
        assert!(compared > 100, "only {compared} compared");
    }

    /// Moved inputs against a notebook in which the readings are written as moved.
    #[test]
    fn at_moved_inputs_it_says_what_a_notebook_of_these_readings_says() {
        let notebook = |crucible: &str, left: &str, volume: &str| {
            let text = format!(
                "```experiment\ndate = 2026-03-04\n[balance.B]\nrepeatability = \"0.1 mg\"\nlinearity = \"0.2 mg\"\n\
                 ```\n\n```masses\nbalance: B\ncrucible: {crucible}\ncrucible + sample: 19.3127\n\
                 crucible + residue: {left}\n```\n\n```measured\nV: {volume} mL ± 0.05 mL\n```\n\n```working\n\
                 w = (m(sample) - m(residue)) / m(sample)\ny = sqrt(w) * ln(M(H2O) / M(CuSO4) * V / (1 mL)) / \
                 exp(w^3) + max(w; 1/10) ^ w - abs(w - 1) + log10(V / (1 L)) + 1 / w + min(w; 2)\n```\n"
            );
            crate::compute("a.md", text.replace("; ", ", ").as_bytes(), &Memory::default()).results
        };
        let (before, after) =
            (notebook("18.2746", "18.9381", "50.00"), notebook("18.2846", "18.9301", "50.75"));
        let y = |results: &Results| {
            let quantity = results.quantities.iter().find(|quantity| quantity.symbol == "y").unwrap();
            quantity.trials[0].value().unwrap_or_else(|| panic!("{:?}", results.findings)).node
        };
        let mut prepared = prepared(&before, y(&before));
        let moved = |index: usize| {
            let source = &before.inputs.sources()[index];
            let leaf = |node: NodeId| (after.graph.double(node) - before.graph.double(node)).abs();
            match (&source.input, source.unit.symbol()) {
                (super::super::Input::Weighing(node), _) if leaf(*node) > 0.0 => {
                    after.graph.double(*node) - before.graph.double(*node)
                }
                (super::super::Input::Stated(node, _), _) => {
                    after.graph.double(*node) - before.graph.double(*node)
                }
                _ => 0.0,
            }
        };
        let deviations: Vec<f64> = prepared.sources().map(moved).collect();
        assert_eq!(deviations.iter().filter(|deviation| **deviation != 0.0).count(), 3);
        let (value, found) = prepared.evaluate(&before.inputs, &deviations, before.settings.coverage);
        let expected = evaluate(&after.inputs, &after.graph, y(&after), 1.0, &after.settings);
        assert!(near(value, after.graph.double(y(&after)), 1e-12));
        assert!(near(found.standard, expected.standard, 1e-9), "{found:?}, not {expected:?}");
    }
}
