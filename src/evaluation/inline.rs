//! What the expressions in the prose print.

use super::calculator::Calculator;
use super::outcomes::Collector;
use super::results::{InlineResult, InlineValue};
use super::scope::Side;
use super::{Slot, Value};
use crate::notebook::InlineExpression;
use crate::notebook::blocks::{Cell, CellValue};
use crate::notebook::expression::{Expression, ExpressionKind, Word};
use crate::quantity::{Decimal, Printed, Unit};

/// Every inline expression, in the order written.
pub(super) fn all(collector: &mut Collector, calculator: &mut Calculator) -> Vec<InlineResult> {
    let notebook = collector.notebook;
    notebook.inline.iter().map(|inline| one(inline, collector, calculator)).collect()
}

fn one(inline: &InlineExpression, collector: &mut Collector, calculator: &mut Calculator) -> InlineResult {
    if let Some(claimed) = &inline.claimed
        && let CellValue::Number(decimal) = &claimed.value
    {
        return as_claimed(decimal, claimed);
    }
    let Some(expression) = &inline.expression else {
        return InlineResult { values: Vec::new(), missing: Some("it could not be read".into()) };
    };
    let value = calculator.value(expression, Side::Working);
    collector.take_in(calculator.graph, &calculator.picks);
    if let Some(unit) = &inline.unit {
        calculator.check_unit(&value, unit);
    }
    let wanted = inline.unit.as_ref().map(|unit| unit.value.clone());
    let wanted = wanted.or_else(|| own_unit(expression, collector));
    if !collector.in_full {
        return InlineResult { values: Vec::new(), missing: None };
    }
    let unit = collector.fitting(wanted, &value, calculator.graph);
    match &value {
        Value::Scalar(slot) => scalar(slot, &unit, collector, calculator),
        Value::Trials(slots) => per_trial(slots, &unit, collector, calculator),
    }
}

/// A claimed value prints as its author wrote it.
fn as_claimed(decimal: &Decimal, claimed: &Cell) -> InlineResult {
    let written = decimal.to_string();
    let (digits, exponent) = match written.split_once('e') {
        Some((digits, exponent)) => (digits.to_string(), exponent.parse().ok()),
        None => (written.clone(), None),
    };
    let unit = claimed.unit.as_ref().map(|unit| unit.value.symbol().to_string()).unwrap_or_default();
    let printed = Printed { digits, exponent };
    InlineResult {
        values: vec![InlineValue {
            printed,
            uncertainty: None,
            unit,
            trial: None,
            provisional: false,
            node: None,
        }],
        missing: None,
    }
}

/// The unit a formula's value has by itself: that of the quantity, or per cent for relative measures.
pub(super) fn own_unit(expression: &Expression, collector: &Collector) -> Option<Unit> {
    match &expression.kind {
        ExpressionKind::Quantity { symbol, .. } => {
            let (index, _) = collector.quantity(&symbol.to_string())?;
            Some(collector.quantities[index].unit.clone())
        }
        ExpressionKind::Word(
            Word::PercentError | Word::RelativeStandardDeviation | Word::RelativeDifference,
            _,
        ) => Some(Unit::percent()),
        // A difference of temperatures has no zero point.
        ExpressionKind::Word(Word::Range | Word::StandardDeviation | Word::AverageDeviation, of) => {
            own_unit(of, collector).map(|unit| unit.interval())
        }
        ExpressionKind::Word(_, of) | ExpressionKind::Blank(of) | ExpressionKind::Bracket(of) => {
            own_unit(of, collector)
        }
        _ => None,
    }
}

fn scalar(slot: &Slot, unit: &Unit, collector: &Collector, calculator: &Calculator) -> InlineResult {
    match slot {
        Ok(_) => InlineResult { values: value(slot, unit, None, collector, calculator), missing: None },
        Err(reason) => InlineResult { values: Vec::new(), missing: Some(reason.to_string()) },
    }
}

fn per_trial(slots: &[Slot], unit: &Unit, collector: &Collector, calculator: &Calculator) -> InlineResult {
    let shown = slots.iter().enumerate().filter(|(trial, _)| !collector.trials[*trial].blank);
    let values: Vec<InlineValue> =
        shown.flat_map(|(trial, slot)| value(slot, unit, Some(trial), collector, calculator)).collect();
    let missing = values.is_empty().then(|| {
        let reason = slots.iter().find_map(|slot| slot.as_ref().err());
        reason.map_or_else(|| "there is no trial".to_string(), |reason| reason.to_string())
    });
    InlineResult { values, missing }
}

fn value(
    slot: &Slot,
    unit: &Unit,
    trial: Option<usize>,
    collector: &Collector,
    calculator: &Calculator,
) -> Vec<InlineValue> {
    let figure = slot.as_ref().ok().and_then(|node| calculator.printer().figure(*node, unit));
    let symbol = if unit.is_one() { String::new() } else { unit.symbol().to_string() };
    let provisional = slot.as_ref().is_ok_and(|node| collector.is_provisional(*node, trial));
    let alone = trial.is_none();
    let trial = trial.map(|trial| collector.trials[trial].name.clone());
    let value = figure.map(|figure| InlineValue {
        printed: figure.printed,
        uncertainty: figure.uncertainty.filter(|_| alone),
        unit: symbol,
        trial,
        provisional,
        node: slot.as_ref().ok().copied(),
    });
    value.into_iter().collect()
}
