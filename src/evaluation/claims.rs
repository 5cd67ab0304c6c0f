//! Claimed values as they were written, with the values a review compares them with.
//!
//! What can be said without a verdict is said here: a claim of nothing that is computed, a single value where
//! each trial has its own, a unit that is missing or does not fit.

use super::calculator::Calculator;
use super::inline::own_unit;
use super::outcomes::{Collector, any_node};
use super::results::{Claim, ClaimTarget, Outcome};
use super::scope::Side;
use super::{Slot, Value};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{BlockKind, Cell, CellValue, Claimed, QuantityRow};
use crate::notebook::expression::{Expression, ExpressionKind, Word};
use crate::notebook::settings::DecimalMark;
use crate::notebook::{InlineExpression, read_formula};
use crate::quantity::{Decimal, Printed, Unit};

/// Every claimed value, in the order written: blocks first, then prose.
pub(super) fn all(collector: &Collector, calculator: &mut Calculator) -> Vec<Claim> {
    let mut claims = Vec::new();
    for block in &collector.notebook.blocks {
        if let BlockKind::Claimed(claimed) = &block.kind {
            for row in &claimed.rows {
                of_row(row, claimed, collector, calculator, &mut claims);
            }
        }
    }
    for inline in &collector.notebook.inline {
        claims.extend(of_prose(inline, collector, calculator));
    }
    claims
}

/// What a line claims values of.
struct Subject {
    expression: Expression,
    value: Value,
    /// The unit the quantity is shown in.
    shown: Unit,
    /// The unit of cells without one.
    unit: Option<Unit>,
}

fn of_row(
    row: &QuantityRow,
    claimed: &Claimed,
    collector: &Collector,
    calculator: &mut Calculator,
    claims: &mut Vec<Claim>,
) {
    let subject = subject_of(row, claimed, collector, calculator);
    let one_column = claimed.columns.trials.as_ref().is_some_and(|trials| trials.len() == 1);
    let per_trial = row.cells.len() > 1 || one_column;
    for (position, cell) in row.cells.iter().enumerate() {
        let trial = calculator.trials.column(&claimed.columns, position).filter(|_| per_trial);
        let target = match (&subject, &cell.value) {
            (_, CellValue::Text(_)) => of_formula(&row.symbol.value, calculator),
            (Some(subject), CellValue::Number(decimal)) => {
                target(subject, trial, decimal, cell, collector, calculator)
            }
            _ => ClaimTarget::None("its label names no quantity".into()),
        };
        let unit = claimed.unit.as_ref().map(|unit| unit.value.symbol().to_string());
        claims.extend(claim(row.symbol.value.clone(), trial, cell, unit, target, collector));
    }
}

/// The label of a line worked out, with what can be said of its cells.
fn subject_of(
    row: &QuantityRow,
    claimed: &Claimed,
    collector: &Collector,
    calculator: &mut Calculator,
) -> Option<Subject> {
    if row.cells.iter().any(|cell| matches!(cell.value, CellValue::Text(_))) {
        return None;
    }
    let comma = collector.notebook.settings.decimal == DecimalMark::Comma;
    let expression = match read_formula(&row.symbol.value, row.symbol.span.start, comma) {
        Ok(expression) => expression,
        Err(finding) => {
            calculator.report(*finding);
            return None;
        }
    };
    let value = calculator.value(&expression, Side::Working);
    check_single(row, claimed, &value, collector, calculator);
    let shown = collector.fitting(own_unit(&expression, collector), &value, calculator.graph);
    let unit = claimed.unit.as_ref().map(|unit| unit.value.clone());
    Some(Subject { expression, value, shown, unit })
}

/// A single value where each trial has its own.
fn check_single(
    row: &QuantityRow,
    claimed: &Claimed,
    value: &Value,
    collector: &Collector,
    calculator: &mut Calculator,
) {
    let one_column = claimed.columns.trials.as_ref().is_some_and(|trials| trials.len() == 1);
    if let (Value::Trials(_), [only]) = (value, row.cells.as_slice())
        && collector.trials.len() > 1
        && !one_column
    {
        let message =
            format!("a single value is claimed for {}, which each trial has its own of", row.symbol.value);
        let finding = Finding::error(Code::BadClaim, only.span, message);
        let hint = format!("claim one value per trial, or `mean {}`", row.symbol.value);
        calculator.report(finding.hint(hint));
    }
}

/// `{mean w(water) claimed 36.06 %}`
fn of_prose(inline: &InlineExpression, collector: &Collector, calculator: &mut Calculator) -> Option<Claim> {
    let (cell, expression) = (inline.claimed.as_ref()?, inline.expression.as_ref()?);
    let of = expression.span.text(&collector.notebook.text).to_string();
    let CellValue::Number(decimal) = &cell.value else {
        return claim(of, None, cell, None, ClaimTarget::None("it is no number".into()), collector);
    };
    let value = calculator.value(expression, Side::Working);
    let wanted = inline.unit.as_ref().map(|unit| unit.value.clone());
    let shown = wanted.or_else(|| own_unit(expression, collector));
    let shown = collector.fitting(shown, &value, calculator.graph);
    if let (Value::Trials(_), true) = (&value, collector.trials.len() > 1) {
        let message = format!("a single value is claimed for {of}, which each trial has its own of");
        let finding = Finding::error(Code::BadClaim, cell.span, message);
        let name = &collector.trials[0].name;
        calculator
            .report(finding.hint(format!("name the trial, as in `{of}[{name}]`, or claim `mean {of}`")));
    }
    let subject = Subject { expression: expression.clone(), value, shown, unit: None };
    let target = target(&subject, None, decimal, cell, collector, calculator);
    claim(of, None, cell, None, target, collector)
}

/// What a cell is compared with.
fn target(
    subject: &Subject,
    trial: Option<usize>,
    claimed: &Decimal,
    cell: &Cell,
    collector: &Collector,
    calculator: &mut Calculator,
) -> ClaimTarget {
    let own = cell.unit.as_ref().map(|unit| &unit.value).or(subject.unit.as_ref());
    check_unit(cell, own, subject, calculator);
    let trial = trial.or_else(|| (collector.trials.len() == 1).then_some(0));
    let slot: Slot = match (&subject.value, trial) {
        (Value::Scalar(slot), _) => slot.clone(),
        (value, Some(trial)) => value.at(trial),
        (Value::Trials(_), None) => {
            return ClaimTarget::None("each trial has a value of its own, and one is claimed".into());
        }
    };
    let unit = own.unwrap_or(&subject.shown).clone();
    let node = match slot {
        Ok(node) => node,
        Err(reason) => return ClaimTarget::None(format!("it has no value: {reason}")),
    };
    let Some(printed) = printed(subject, trial, node, &unit, collector, calculator) else {
        return ClaimTarget::None(format!("{} does not fit it", unit.symbol()));
    };
    let by_magnitude = matches!(subject.expression.kind, ExpressionKind::Word(Word::PercentError, _))
        && !as_written(cell, &collector.notebook.text).starts_with(['+', '-', '−']);
    ClaimTarget::Value { node, claimed: claimed.clone(), unit, printed, by_magnitude }
}

/// The value as the results print it where they show it in this unit, else as its own digits say.
fn printed(
    subject: &Subject,
    trial: Option<usize>,
    node: crate::quantity::derivation::NodeId,
    unit: &Unit,
    collector: &Collector,
    calculator: &Calculator,
) -> Option<Printed> {
    let in_results = || {
        let (word, of) = match &subject.expression.kind {
            ExpressionKind::Word(word @ (Word::Mean | Word::PercentError), of) => (Some(*word), &**of),
            _ => (None, &subject.expression),
        };
        let ExpressionKind::Quantity { symbol, trial: None } = &of.kind else { return None };
        let quantity = &collector.quantities[collector.quantity(&symbol.to_string())?.0];
        let figure = match word {
            Some(Word::Mean) => &quantity.agreement.as_ref()?.mean.printed,
            Some(_) => &quantity.theory.as_ref()?.percent_error.as_ref()?.printed,
            None => {
                let outcome = trial.map_or(quantity.scalar.as_ref(), |trial| quantity.trials.get(trial));
                &outcome.and_then(Outcome::value)?.printed
            }
        };
        (subject.shown == *unit).then(|| figure.clone())
    };
    let own = || calculator.printer().figure(node, unit).map(|figure| figure.printed);
    in_results().or_else(own)
}

/// A formula that is sought under this name.
fn of_formula(label: &str, calculator: &Calculator) -> ClaimTarget {
    let symbol = super::scope::symbol_of(label).to_string();
    match calculator.formulas.iter().position(|found| found.symbol == symbol) {
        Some(index) => ClaimTarget::Formula(index),
        None => ClaimTarget::None(format!("no line seeks {symbol}")),
    }
}

fn claim(
    of: String,
    trial: Option<usize>,
    cell: &Cell,
    unit: Option<String>,
    target: ClaimTarget,
    collector: &Collector,
) -> Option<Claim> {
    if !matches!(cell.value, CellValue::Number(_) | CellValue::Text(_)) {
        return None;
    }
    let own = cell.unit.as_ref().map(|unit| unit.value.symbol().to_string());
    let written = as_written(cell, &collector.notebook.text);
    Some(Claim { of, trial, written, unit: own.or(unit), span: cell.span, target })
}

/// The text of a cell without its unit, remark and strikes.
fn as_written(cell: &Cell, text: &str) -> String {
    let start = cell.strikes.last().map_or(cell.span.start, |strike| strike.span.end);
    let end = cell.unit.as_ref().map_or(cell.span.end, |unit| unit.span.start);
    let text = text.get(start..end.max(start)).unwrap_or("");
    let text = text.split(['[', '±']).next().unwrap_or("");
    text.trim_matches(|c: char| c.is_whitespace() || c == '~').to_string()
}

fn check_unit(cell: &Cell, own: Option<&Unit>, subject: &Subject, calculator: &mut Calculator) {
    let Some(node) = any_node(&subject.value) else { return };
    let dimension = calculator.graph.quantity(node).dimension;
    match own {
        Some(unit) if unit.dimension() != dimension => {
            let found = unit.symbol();
            let message = format!(
                "{} is claimed in {found}, but is {}",
                calculator.text_of(&subject.expression),
                dimension.with_article()
            );
            let finding = Finding::error(Code::BadClaim, cell.span, message);
            calculator.report(finding.hint(format!("a unit like {} would fit", subject.shown.symbol())));
        }
        None if !subject.shown.is_one() => {
            let message = format!("a claimed value without a unit is taken in {}", subject.shown.symbol());
            calculator.report(Finding::note(Code::UnitAssumed, cell.span, message));
        }
        _ => {}
    }
}
