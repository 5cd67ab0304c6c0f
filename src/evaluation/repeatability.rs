//! Whether the repeatability of the method is known for a quantity, and what it brings to its uncertainty.

use super::agreement;
use super::calculator::Calculator;
use super::scope::Side;
use super::uncertainty::{Method, Scatter};
use super::{Slot, Value};
use crate::quantity::derivation::{Graph, NodeId};
use crate::quantity::{Dimension, Unit};
use crate::weighing::Trial;

/// Fewest trials whose scatter counts by itself: with two, s has one degree of freedom and says next to nothing
/// (Student's t for 95 % is 12.7).
const FEWEST: usize = 3;

/// Says of each result of the working how the scatter of its trials enters the uncertainty of their mean.
pub(super) fn register(calculator: &mut Calculator) {
    for index in 0..calculator.scope.groups.len() {
        let group = &calculator.scope.groups[index];
        if group.side != Side::Working || calculator.net_mass_groups[index] {
            continue;
        }
        let Value::Trials(slots) = calculator.group_value(index) else { continue };
        for counts in [Trial::counts, |trial: &Trial| !trial.blank] {
            of_mean(&slots, counts, calculator);
        }
    }
}

fn of_mean(slots: &[Slot], counts: fn(&Trial) -> bool, calculator: &mut Calculator) {
    let nodes = agreement::nodes(slots, calculator.trials.list(), counts);
    if let Some(method) = of_trials(&nodes, calculator.graph) {
        calculator.inputs.methods.of_mean(nodes, method);
    }
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
    let of = |unit: &str| Unit::parse(unit).is_ok_and(|unit| unit.dimension() == dimension);
    ["g", "L", "mol"].into_iter().any(of)
}
