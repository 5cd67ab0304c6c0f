//! The test of a result against its theory, and against a limit (JCGM 106).

use super::advice::grows_with_the_portion;
use super::agreement::{self, mean_node};
use super::calculator::Calculator;
use super::outcomes::Collector;
use super::results::{Figure, Outcome, QuantityResult};
use super::uncertainty::{Covers, Evaluated, Inputs, Method, Scatter, evaluate, two_figures};
use super::verdicts::{Conformity, ConformityVerdict, TheoryTest, TheoryVerdict};
use super::{Value, scope};
use crate::finding::{Code, Finding, nearest};
use crate::notebook::settings::{Bound, Coverage, Decision, Limit, Settings};
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Number, Quantity, Uncertainty, Unit, print_by_uncertainty};
use crate::statistics::student_t_share;
use std::borrow::Cow;

/// The coverage probability of a test where the notebook asks for none.
const USUAL_PROBABILITY: f64 = 0.95;
/// Fewest trials whose scatter counts.
const FEWEST: usize = 3;

/// Settings that expand uncertainties for a probability: a test needs one, and k = 2 has none of its own.
pub(super) fn of_probability(settings: &Settings) -> (Settings, f64) {
    let probability = match settings.coverage {
        Coverage::Probability(probability) => probability,
        Coverage::Factor(_) => USUAL_PROBABILITY,
    };
    (Settings { coverage: Coverage::Probability(probability), ..settings.clone() }, probability)
}

/// Tests a result against its theory: one difference, with the uncertainties of the readings, of the scatter and of the
/// theory combined, what both share counted once. A theory per trial is compared trial by trial.
pub(super) fn against_theory(
    result: &Value,
    theory: &Value,
    difference: NodeId,
    unit: &Unit,
    calculator: &mut Calculator,
) -> Option<TheoryTest> {
    let (settings, probability) = of_probability(&calculator.notebook.settings);
    let interval = unit.interval();
    let scale = interval.factor().to_f64();
    let pairs = pairs(result, theory, calculator);
    let (node, inputs) = match theory {
        Value::Trials(_) => {
            let mut inputs = calculator.inputs.clone();
            (paired(&pairs, &mut inputs, calculator.graph)?, Cow::Owned(inputs))
        }
        Value::Scalar(_) => (difference, Cow::Borrowed(&calculator.inputs)),
    };
    let graph = &*calculator.graph;
    let evaluated = evaluate(&inputs, graph, node, scale, &settings);
    let number = graph.quantity(node).number_in(&interval).ok()?;
    let printed = Uncertainty::of(evaluated.standard, evaluated.coverage_factor)
        .map(|uncertainty| print_by_uncertainty(&number, &uncertainty, settings.rounding));
    let verdict = match scatter_is_known(&evaluated, node, pairs.len(), graph) {
        Err(verdict) => verdict,
        Ok(()) if number.to_f64().abs() <= evaluated.expanded => TheoryVerdict::Agrees,
        Ok(()) => TheoryVerdict::Differs,
    };
    Some(TheoryTest { difference: number, evaluated, probability, printed, verdict })
}

/// Whether an uncertainty covers the result, its scatter included, so that it can be tested at all.
fn scatter_is_known(
    evaluated: &Evaluated,
    node: NodeId,
    trials: usize,
    graph: &Graph,
) -> Result<(), TheoryVerdict> {
    if !evaluated.expanded.is_finite() || evaluated.is_zero() {
        return Err(TheoryVerdict::NotJudged("nothing uncertain enters".into()));
    }
    if evaluated.covers == Covers::Result || !rests_on_readings(graph, node) {
        return Ok(());
    }
    Err(match trials {
        0 => TheoryVerdict::NotJudged("it is not repeated by the trials".into()),
        n if n < FEWEST => TheoryVerdict::TooFewTrials,
        _ if grows_with_the_portion(graph.quantity(node).dimension) => {
            TheoryVerdict::NotJudged("it grows with the portion taken, so its scatter says nothing".into())
        }
        _ => TheoryVerdict::NotJudged("the repeatability of the method is not counted".into()),
    })
}

fn rests_on_readings(graph: &Graph, node: NodeId) -> bool {
    let is_reading = |leaf: &NodeId| matches!(graph.node(*leaf).operation, Operation::Reading { .. });
    graph.leaves(node).iter().any(is_reading)
}

/// Result and theory of each valid trial that has both.
fn pairs(result: &Value, theory: &Value, calculator: &Calculator) -> Vec<(NodeId, NodeId, usize)> {
    let Value::Trials(_) = result else { return Vec::new() };
    let trials = calculator.trials.list().iter().enumerate().filter(|(_, trial)| trial.counts());
    trials.filter_map(|(trial, _)| Some((result.at(trial).ok()?, theory.at(trial).ok()?, trial))).collect()
}

/// The mean of the differences of all pairs; with three or more, their scatter counts.
fn paired(pairs: &[(NodeId, NodeId, usize)], inputs: &mut Inputs, graph: &mut Graph) -> Option<NodeId> {
    let mut differences = Vec::new();
    for (result, theory, trial) in pairs {
        let quantity = graph.quantity(*result).sub(graph.quantity(*theory)).ok()?;
        let node = Node {
            operation: Operation::Subtract,
            inputs: NodeInputs::from_slice(&[*result, *theory]),
            quantity,
            span: None,
        };
        differences.push((graph.add(node), Some(*trial)));
    }
    let nodes: Vec<NodeId> = differences.iter().map(|(node, _)| *node).collect();
    if nodes.len() >= FEWEST {
        let quantities: Vec<&Quantity> = nodes.iter().map(|node| graph.quantity(*node)).collect();
        let s = Quantity::standard_deviation(&quantities).ok()?.number.to_f64();
        let n = nodes.len() as f64;
        let scatter =
            Scatter { standard: s / n.sqrt(), degrees_of_freedom: Some(n - 1.0), trials: Some(nodes.len()) };
        inputs.methods.of_mean(differences, Method::Scatter(scatter));
    }
    mean_node(&nodes, graph)
}

/// Holds results against the limits of the notebook.
pub(super) fn limits(collector: &mut Collector, calculator: &mut Calculator) {
    for limit in &calculator.notebook.settings.limits {
        match held(limit, collector, calculator) {
            Ok((index, conformity)) => collector.quantities[index].conformity.push(conformity),
            Err(finding) => calculator.report(*finding),
        }
    }
}

fn held(
    limit: &Limit,
    collector: &Collector,
    calculator: &Calculator,
) -> Result<(usize, Conformity), Box<Finding>> {
    let symbol = scope::symbol_of(&limit.of.value).to_string();
    let bad = |message: String| Box::new(Finding::error(Code::BadSetting, limit.of.span, message));
    let Some((index, _)) = collector.quantity(&symbol) else {
        let finding = bad(format!("a limit of {symbol}, which nothing defines"));
        let known = collector.quantities.iter().map(|quantity| quantity.symbol.as_str());
        return Err(Box::new(match nearest(&symbol, known) {
            Some(near) => (*finding).hint(format!("did you mean {near}?")),
            None => *finding,
        }));
    };
    let quantity = &collector.quantities[index];
    let Some((node, result, trials)) = result_of(quantity) else {
        return Err(bad(format!("{symbol} has no value that could be held against its limit")));
    };
    let graph = &*calculator.graph;
    for bound in bounds(limit) {
        if agreement::lacks_unit(&bound.unit, &quantity.unit) {
            let finding = agreement::unit_lacking("limit", &symbol, limit.of.span, &quantity.unit);
            return Err(Box::new(finding));
        }
        if bound.quantity.dimension != graph.quantity(node).dimension {
            return Err(bad(format!("the limit of {symbol} is not in a unit that fits {symbol}")));
        }
    }
    let (settings, probability) = of_probability(&calculator.notebook.settings);
    let scale = quantity.unit.interval().factor().to_f64();
    let evaluated = evaluate(&calculator.inputs, graph, node, scale, &settings);
    let known = scatter_is_known(&evaluated, node, trials, graph).is_ok();
    let side = Sides::of(limit, &result.number, &quantity.unit);
    Ok((
        index,
        Conformity {
            limit: words(limit),
            decision: limit.decision,
            evaluated,
            probability,
            expanded: two_figures(evaluated.expanded),
            probability_of_conformity: known.then(|| side.probability(&evaluated)).flatten(),
            verdict: side.verdict(limit.decision, &evaluated, known),
            result,
        },
    ))
}

/// The mean of the valid trials with their number, or the one value.
fn result_of(quantity: &QuantityResult) -> Option<(NodeId, Figure, usize)> {
    if let Some(agreement) = &quantity.agreement {
        return Some((agreement.mean_node, agreement.mean.clone(), agreement.numbers.n));
    }
    let Some(Outcome::Value(value)) = &quantity.scalar else { return None };
    let figure = Figure {
        number: value.number.clone(),
        printed: value.printed.clone(),
        uncertainty: value.uncertainty.clone(),
        by_figures: value.by_figures,
    };
    Some((value.node, figure, 0))
}

fn bounds(limit: &Limit) -> impl Iterator<Item = &Bound> {
    limit.at_least.iter().chain(&limit.at_most)
}

/// `not less than 0.10 %, not more than 0.50 %`
fn words(limit: &Limit) -> String {
    let bound = |words: &str, bound: &Option<Bound>| {
        let bound = bound.as_ref()?;
        let unit = if bound.unit.is_one() { String::new() } else { format!(" {}", bound.unit.symbol()) };
        Some(format!("{words} {}{unit}", bound.written))
    };
    let both = [bound("not less than", &limit.at_least), bound("not more than", &limit.at_most)];
    both.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// How far a result lies within each of its limits, in the unit of the result; below zero beyond it. Unrounded: the
/// absolute method of ASTM E29.
struct Sides(Vec<Number>);

impl Sides {
    fn of(limit: &Limit, result: &Number, unit: &Unit) -> Self {
        let below =
            limit.at_most.iter().filter_map(|most| most.quantity.number_in(unit).ok()?.sub(result).ok());
        let above =
            limit.at_least.iter().filter_map(|least| result.sub(&least.quantity.number_in(unit).ok()?).ok());
        Sides(below.chain(above).collect())
    }

    fn verdict(&self, decision: Decision, evaluated: &Evaluated, known: bool) -> ConformityVerdict {
        if self.0.iter().any(Number::is_negative) {
            return ConformityVerdict::DoesNotConform;
        }
        match decision {
            Decision::SimpleAcceptance => ConformityVerdict::Conforms,
            Decision::GuardBand if !known && !evaluated.is_zero() => ConformityVerdict::TooFewTrials,
            Decision::GuardBand if self.0.iter().all(|side| side.to_f64() >= evaluated.expanded) => {
                ConformityVerdict::Conforms
            }
            Decision::GuardBand => ConformityVerdict::InGuardBand,
        }
    }

    /// That the quantity lies within all limits: Student's t around the result (normal with many degrees of freedom).
    fn probability(&self, evaluated: &Evaluated) -> Option<f64> {
        let freedom = evaluated.degrees_of_freedom.unwrap_or(f64::INFINITY);
        let beyond = |side: &Number| student_t_share(freedom, -side.to_f64() / evaluated.standard);
        let beyond: Vec<f64> = self.0.iter().map(beyond).collect::<Option<_>>()?;
        Some((1.0 - beyond.iter().sum::<f64>()).clamp(0.0, 1.0))
    }
}
