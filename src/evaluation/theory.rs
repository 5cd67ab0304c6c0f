//! Theories, and how far the results are from them.

use super::Value;
use super::agreement::mean_node;
use super::calculator::Calculator;
use super::judging;
use super::outcomes::Collector;
use super::results::Origin;
use super::scope::Side;
use super::sought;
use crate::finding::{Code, Finding, nearest};
use crate::notebook::blocks::Definition;
use crate::quantity::Quantity;
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};

/// Attaches each theory to the result of the same symbol.
pub(super) fn attach(collector: &mut Collector, calculator: &mut Calculator) {
    let scope = calculator.scope;
    for (index, group) in scope.groups.iter().enumerate() {
        let (Side::Theory, Some(line)) = (group.side, group.definitions.first()) else { continue };
        let value = calculator.group_value(index);
        let symbol = group.symbol.to_string();
        if collector.quantity(&symbol).is_none() {
            suggest(&symbol, line, collector, calculator);
        }
        let result = collector.quantity(&symbol).map(|(_, value)| value.clone());
        if let Some(result) = &result {
            sought::whole_number(line, result, calculator);
        }
        let compared = result.as_ref().and_then(|result| difference(result, &value, calculator));
        let tested = compared.filter(|_| collector.in_full);
        let test = result.zip(tested).and_then(|(result, (difference, _))| {
            let (index, _) = collector.quantity(&symbol)?;
            let unit = collector.quantities.get(index)?.unit.clone();
            judging::against_theory(&result, &value, difference, &unit, calculator)
        });
        collector.add_theory(line, &value, compared, test, calculator.graph);
    }
}

/// A theory of a name that nothing computes, where a result has nearly the same one.
fn suggest(symbol: &str, line: &Definition, collector: &Collector, calculator: &mut Calculator) {
    let results = collector.quantities.iter().filter(|quantity| quantity.origin == Origin::Working);
    if let Some(near) = nearest(symbol, results.map(|quantity| quantity.symbol.as_str())) {
        let message = format!("no result is called {symbol}, so nothing is compared with this theory");
        let finding = Finding::warning(Code::UnknownSymbol, line.symbol.span, message);
        let hint = format!("did you mean {near}?");
        calculator.report(finding.hint(hint));
    }
}

/// Mean − theory, and that over the magnitude of the theory, as nodes. A theory per trial counts by its mean over
/// the trials that have a result.
fn difference(result: &Value, theory: &Value, calculator: &mut Calculator) -> Option<(NodeId, NodeId)> {
    let theory = match theory {
        Value::Scalar(slot) => vec![slot.clone().ok()?],
        Value::Trials(_) => valid(theory, result, calculator),
    };
    let results = match result {
        Value::Scalar(slot) => vec![slot.clone().ok()?],
        Value::Trials(_) => valid(result, result, calculator),
    };
    let graph = &mut *calculator.graph;
    let (mean, theory) = (mean_node(&results, graph)?, mean_node(&theory, graph)?);
    let difference = graph.quantity(mean).sub(graph.quantity(theory)).ok()?;
    let difference = node(Operation::Subtract, &[mean, theory], difference, graph);
    let size = graph.quantity(theory).abs();
    let size = node(Operation::Magnitude, &[theory], size, graph);
    let relative = graph.quantity(difference).div(graph.quantity(size)).ok()?;
    Some((difference, node(Operation::Divide, &[difference, size], relative, graph)))
}

fn node(operation: Operation, inputs: &[NodeId], quantity: Quantity, graph: &mut Graph) -> NodeId {
    graph.add(Node { operation, inputs: NodeInputs::from_slice(inputs), quantity, span: None })
}

/// The nodes of the valid trials in which both have a value.
fn valid(value: &Value, other: &Value, calculator: &Calculator) -> Vec<NodeId> {
    let trials = calculator.trials.list().iter().enumerate().filter(|(_, trial)| trial.counts());
    trials
        .filter(|(trial, _)| other.at(*trial).is_ok())
        .filter_map(|(trial, _)| value.at(trial).ok())
        .collect()
}
