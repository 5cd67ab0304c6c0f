//! Claimed values as they were written; their verdicts belong to a review.
//!
//! What can be said without a verdict is said here: a claim of nothing that is computed, a single value where
//! each trial has its own, a unit that is missing or does not fit.

use super::Value;
use super::calculator::Calculator;
use super::inline::own_unit;
use super::outcomes::{Collector, any_node};
use super::results::Claim;
use super::scope::Side;
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{BlockKind, Cell, CellValue, Claimed, QuantityRow};
use crate::notebook::expression::Expression;
use crate::notebook::settings::DecimalMark;
use crate::notebook::{Notebook, read_formula};
use crate::quantity::Unit;
use crate::weighing::Trials;

/// Every claimed value, in the order written: blocks first, then prose.
pub(super) fn all(notebook: &Notebook, trials: &Trials) -> Vec<Claim> {
    let mut claims = Vec::new();
    for block in &notebook.blocks {
        if let BlockKind::Claimed(claimed) = &block.kind {
            of_block(claimed, notebook, trials, &mut claims);
        }
    }
    for inline in &notebook.inline {
        if let (Some(cell), Some(expression)) = (&inline.claimed, &inline.expression) {
            let of = expression.span.text(&notebook.text).to_string();
            claims.extend(claim(of, None, cell, None, notebook));
        }
    }
    claims
}

fn of_block(claimed: &Claimed, notebook: &Notebook, trials: &Trials, claims: &mut Vec<Claim>) {
    let unit = claimed.unit.as_ref().map(|unit| unit.value.symbol().to_string());
    for row in &claimed.rows {
        let one_column = claimed.columns.trials.as_ref().is_some_and(|trials| trials.len() == 1);
        let per_trial = row.cells.len() > 1 || one_column;
        for (position, cell) in row.cells.iter().enumerate() {
            let trial = trials.column(&claimed.columns, position).filter(|_| per_trial);
            claims.extend(claim(row.symbol.value.clone(), trial, cell, unit.as_deref(), notebook));
        }
    }
}

fn claim(
    of: String,
    trial: Option<usize>,
    cell: &Cell,
    unit: Option<&str>,
    notebook: &Notebook,
) -> Option<Claim> {
    if !matches!(cell.value, CellValue::Number(_) | CellValue::Text(_)) {
        return None;
    }
    let own = cell.unit.as_ref().map(|unit| unit.value.symbol().to_string());
    let written = as_written(cell, notebook);
    Some(Claim { of, trial, written, unit: own.or(unit.map(str::to_string)), span: cell.span })
}

/// The text of a cell without its unit, remark and strikes.
fn as_written(cell: &Cell, notebook: &Notebook) -> String {
    let start = cell.strikes.last().map_or(cell.span.start, |strike| strike.span.end);
    let end = cell.unit.as_ref().map_or(cell.span.end, |unit| unit.span.start);
    let text = notebook.text.get(start..end.max(start)).unwrap_or("");
    let text = text.split(['[', '±']).next().unwrap_or("");
    text.trim_matches(|c: char| c.is_whitespace() || c == '~').to_string()
}

/// What can be said of the claims without a verdict.
pub(super) fn check(collector: &Collector, calculator: &mut Calculator) {
    for block in &collector.notebook.blocks {
        if let BlockKind::Claimed(claimed) = &block.kind {
            for row in &claimed.rows {
                check_row(row, claimed, collector, calculator);
            }
        }
    }
}

fn check_row(row: &QuantityRow, claimed: &Claimed, collector: &Collector, calculator: &mut Calculator) {
    if row.cells.iter().any(|cell| matches!(cell.value, CellValue::Text(_))) {
        return;
    }
    let comma = collector.notebook.settings.decimal == DecimalMark::Comma;
    let expression = match read_formula(&row.symbol.value, row.symbol.span.start, comma) {
        Ok(expression) => expression,
        Err(finding) => return calculator.report(*finding),
    };
    let value = calculator.value(&expression, Side::Working);
    let one_column = claimed.columns.trials.as_ref().is_some_and(|trials| trials.len() == 1);
    if let (Value::Trials(_), [only]) = (&value, row.cells.as_slice())
        && collector.trials.len() > 1
        && !one_column
    {
        let message =
            format!("a single value is claimed for {}, which each trial has its own of", row.symbol.value);
        let finding = Finding::error(Code::BadClaim, only.span, message);
        let hint = format!("claim one value per trial, or `mean {}`", row.symbol.value);
        calculator.report(finding.hint(hint));
    }
    let Some(node) = any_node(&value) else { return };
    let dimension = calculator.graph.quantity(node).dimension;
    let shown = collector.fitting(own_unit(&expression, collector), &value, calculator.graph);
    for cell in row.cells.iter().filter(|cell| matches!(cell.value, CellValue::Number(_))) {
        check_unit(cell, claimed, &expression, dimension, &shown, calculator);
    }
}

fn check_unit(
    cell: &Cell,
    claimed: &Claimed,
    expression: &Expression,
    dimension: crate::quantity::Dimension,
    shown: &Unit,
    calculator: &mut Calculator,
) {
    match cell.unit.as_ref().or(claimed.unit.as_ref()) {
        Some(unit) if unit.value.dimension() != dimension => {
            let found = unit.value.symbol();
            let message = format!(
                "{} is claimed in {found}, but is {}",
                calculator.text_of(expression),
                dimension.with_article()
            );
            let finding = Finding::error(Code::BadClaim, cell.span, message);
            calculator.report(finding.hint(format!("a unit like {} would fit", shown.symbol())));
        }
        None if !shown.is_one() => {
            let message = format!("a claimed value without a unit is taken in {}", shown.symbol());
            calculator.report(Finding::note(Code::UnitAssumed, cell.span, message));
        }
        _ => {}
    }
}
