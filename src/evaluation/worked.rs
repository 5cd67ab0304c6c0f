//! The worked calculation of one trial: each formula, the numbers put in, the result.

use super::calculator::Calculator;
use super::formula_tree::FormulaTree;
use super::outcomes::Collector;
use super::results::{Origin, Outcome, WorkedLine};
use super::scope::Side;
use super::trees::{self, Leaves};
use crate::notebook::blocks::Definition;
use crate::notebook::expression::{Expression, ExpressionKind};

/// The lines of the worked calculation, and the trial they are of (`None` if all are scalars).
pub(super) fn lines(collector: &Collector, calculator: &mut Calculator) -> (Vec<WorkedLine>, Option<usize>) {
    let trial = choose_trial(collector);
    let scope = calculator.scope;
    let mut lines = Vec::new();
    for group in &scope.groups {
        let Some((quantity, _)) = collector.quantity(&group.symbol.to_string()) else { continue };
        for definition in &group.definitions {
            lines.extend(line(quantity, definition, group.side, trial.unwrap_or(0), collector, calculator));
        }
    }
    let per_trial = |line: &WorkedLine| !collector.quantities[line.quantity].trials.is_empty();
    let trial = trial.filter(|_| lines.iter().any(per_trial));
    (lines, trial)
}

/// The first valid trial that has the most values.
fn choose_trial(collector: &Collector) -> Option<usize> {
    let results = || collector.quantities.iter().filter(|quantity| quantity.origin == Origin::Working);
    let has =
        |trial: usize| results().filter(|q| q.trials.get(trial).is_some_and(|o| o.value().is_some())).count();
    let valid = (0..collector.trials.len()).filter(|trial| collector.trials[*trial].counts());
    valid.max_by_key(|trial| (has(*trial), std::cmp::Reverse(*trial)))
}

fn line(
    index: usize,
    definition: &Definition,
    side: Side,
    trial: usize,
    collector: &Collector,
    calculator: &mut Calculator,
) -> Option<WorkedLine> {
    let expression = definition.expression.as_ref()?;
    let formula = trees::tree(expression, &mut Leaves::Symbols);
    let substituted = if puts_in(expression) {
        Some(trees::tree(expression, &mut Leaves::Numbers { trial, side, collector, calculator }))
    } else {
        None
    };
    let (result, missing) = result(index, side, trial, collector);
    Some(WorkedLine {
        quantity: index,
        symbol: trees::symbol(&definition.symbol.value, None),
        formula,
        substituted,
        result,
        missing,
        theory: side == Side::Theory,
    })
}

/// Whether a formula has anything to put numbers in for.
fn puts_in(expression: &Expression) -> bool {
    match &expression.kind {
        ExpressionKind::Number { .. } | ExpressionKind::Constant(_) => false,
        ExpressionKind::Negate(of) | ExpressionKind::Bracket(of) => puts_in(of),
        ExpressionKind::Binary(_, left, right) => puts_in(left) || puts_in(right),
        ExpressionKind::Call(_, arguments) => arguments.iter().any(puts_in),
        _ => true,
    }
}

fn result(
    index: usize,
    side: Side,
    trial: usize,
    collector: &Collector,
) -> (Option<FormulaTree>, Option<String>) {
    let quantity = &collector.quantities[index];
    let (scalar, trials) = match (side, &quantity.theory) {
        (Side::Theory, Some(theory)) => (&theory.scalar, &theory.trials),
        _ => (&quantity.scalar, &quantity.trials),
    };
    match scalar.as_ref().or_else(|| trials.get(trial)) {
        Some(Outcome::Value(value)) => (Some(trees::result(&value.printed, &quantity.unit)), None),
        Some(Outcome::Missing(reason)) => (None, Some(reason.clone())),
        None => (None, Some("there is no trial".into())),
    }
}
