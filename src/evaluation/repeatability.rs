//! Whether the repeatability of the method is known for a quantity, and what it brings to its uncertainty.

use super::Value;
use super::agreement;
use super::calculator::Calculator;
use super::scope::{Side, symbol_of};
use super::uncertainty::{Method, Scatter};
use crate::finding::{Code, Finding, nearest};
use crate::notebook::settings::{KnownRepeatability, MethodRepeatability};
use crate::quantity::Dimension;
use crate::quantity::derivation::{Graph, NodeId};
use crate::weighing::Trial;

/// Fewest trials whose scatter counts by itself: with two, s has one degree of freedom and says next to nothing
/// (Student's t for 95 % is 12.7).
const FEWEST: usize = 3;

/// Says of each result of the working how the repeatability of the method enters its uncertainty.
pub(super) fn register(calculator: &mut Calculator) {
    for stated in &calculator.notebook.settings.method_repeatability {
        check_symbol(stated, calculator);
    }
    for index in 0..calculator.scope.groups.len() {
        let group = &calculator.scope.groups[index];
        if group.side != Side::Working || calculator.net_mass_groups[index] {
            continue;
        }
        let symbol = group.symbol.to_string();
        let all = &calculator.notebook.settings.method_repeatability;
        let stated = all.iter().find(|stated| symbol_of(&stated.symbol.value).to_string() == symbol);
        match (calculator.group_value(index), stated) {
            (value, Some(stated)) => of_stated(&value, stated, calculator),
            (Value::Trials(slots), None) => {
                for counts in COUNTS {
                    let nodes = agreement::nodes(&slots, calculator.trials.list(), counts);
                    if let Some(method) = of_trials(&nodes, calculator.graph) {
                        calculator.inputs.methods.of_mean(nodes, method);
                    }
                }
            }
            (Value::Scalar(_), None) => {}
        }
    }
}

/// The trials that a mean counts: the valid ones, and those with what was set aside.
const COUNTS: [fn(&Trial) -> bool; 2] = [Trial::counts, |trial: &Trial| !trial.blank];

/// A repeatability of a name that nothing computes.
fn check_symbol(stated: &MethodRepeatability, calculator: &mut Calculator) {
    let symbol = symbol_of(&stated.symbol.value);
    if calculator.scope.group(Side::Working, &symbol).is_some() {
        return;
    }
    let message =
        format!("a repeatability of {}, which no formula of the working defines", stated.symbol.value);
    let finding = Finding::warning(Code::BadSetting, stated.symbol.span, message);
    let known: Vec<String> = calculator.scope.symbols().collect();
    let near = nearest(&stated.symbol.value, known.iter().map(String::as_str)).map(str::to_owned);
    calculator.report(match near {
        Some(near) => finding.hint(format!("did you mean {near}?")),
        None => finding,
    });
}

/// A stated repeatability: s of a single result, s/√n of the mean of n.
fn of_stated(value: &Value, stated: &MethodRepeatability, calculator: &mut Calculator) {
    let slots = match value {
        Value::Scalar(slot) => std::slice::from_ref(slot),
        Value::Trials(slots) => slots.as_slice(),
    };
    for (trial, slot) in slots.iter().enumerate() {
        let Ok(node) = slot else { continue };
        let trial = matches!(value, Value::Trials(_)).then_some(trial);
        match of_nodes(&[(*node, trial)], stated, calculator.graph) {
            Ok(Some(method)) => calculator.inputs.methods.of_value((*node, trial), method),
            Ok(None) => {}
            Err(message) => {
                let finding = Finding::error(Code::BadSetting, stated.symbol.span, message);
                return calculator
                    .report(finding.hint("state it in the unit of the result, or as `relative 0.2 %`"));
            }
        }
    }
    if matches!(value, Value::Trials(_)) {
        for counts in COUNTS {
            let nodes = agreement::nodes(slots, calculator.trials.list(), counts);
            if let Ok(Some(method)) = of_nodes(&nodes, stated, calculator.graph) {
                calculator.inputs.methods.of_mean(nodes, method);
            }
        }
    }
}

fn of_nodes(
    nodes: &[(NodeId, Option<usize>)],
    stated: &MethodRepeatability,
    graph: &Graph,
) -> Result<Option<Method>, String> {
    let Some((first, _)) = nodes.first() else { return Ok(None) };
    let (s, dimension, degrees_of_freedom) = match &stated.known {
        KnownRepeatability::No => return Ok(None),
        KnownRepeatability::InTheFormulas => return Ok(Some(Method::InTheModel)),
        KnownRepeatability::Pooled { s, dimension, degrees_of_freedom } => {
            (*s, dimension, *degrees_of_freedom)
        }
    };
    let found = graph.quantity(*first).dimension;
    if let Some(dimension) = dimension.filter(|dimension| *dimension != found) {
        let symbol = &stated.symbol.value;
        return Err(format!(
            "{symbol} is {}, its repeatability {}",
            found.with_article(),
            dimension.with_article()
        ));
    }
    let n = nodes.len() as f64;
    let mean = nodes.iter().map(|(node, _)| graph.quantity(*node).number.to_f64()).sum::<f64>() / n;
    let s = if dimension.is_some() { s } else { s * mean.abs() };
    Ok(Some(Method::Scatter(Scatter { standard: s / n.sqrt(), degrees_of_freedom, trials: None })))
}

/// The scatter of some trials as the uncertainty of their mean: s/√n with n − 1 degrees of freedom (JCGM 100:2008,
/// 4.2.3). It counts where the quantity is a result that the trials repeat. A mass, a volume or an amount of
/// substance is as large as the portion taken, so its scatter over the trials says nothing of its uncertainty.
fn of_trials(nodes: &[(NodeId, Option<usize>)], graph: &Graph) -> Option<Method> {
    let (first, _) = nodes.first().filter(|_| nodes.len() >= FEWEST)?;
    if grows_with_the_portion(graph.quantity(*first).dimension) {
        return None;
    }
    let values: Vec<f64> = nodes.iter().map(|(node, _)| graph.quantity(*node).number.to_f64()).collect();
    Some(Method::Scatter(Scatter {
        standard: standard_deviation(&values) / (values.len() as f64).sqrt(),
        degrees_of_freedom: Some(values.len() as f64 - 1.0),
        trials: Some(values.len()),
    }))
}

fn standard_deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
}

fn grows_with_the_portion(dimension: Dimension) -> bool {
    [Dimension::MASS, Dimension::VOLUME, Dimension::AMOUNT].contains(&dimension)
}
