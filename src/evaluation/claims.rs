//! Claimed values as they were written; their verdicts belong to a review.

use super::results::Claim;
use crate::notebook::Notebook;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, Claimed};
use crate::weighing::Trials;

/// Every claimed value, in the order written: blocks first, then prose.
pub(super) fn all(notebook: &Notebook, trials: &Trials) -> Vec<Claim> {
    let mut claims = Vec::new();
    for block in &notebook.blocks {
        if let BlockKind::Claimed(claimed) = &block.kind {
            of_block(claimed, trials, &mut claims);
        }
    }
    for inline in &notebook.inline {
        if let (Some(cell), Some(expression)) = (&inline.claimed, &inline.expression) {
            let of = expression.span.text(&notebook.text).to_string();
            claims.extend(claim(of, None, cell, None));
        }
    }
    claims
}

fn of_block(claimed: &Claimed, trials: &Trials, claims: &mut Vec<Claim>) {
    let unit = claimed.unit.as_ref().map(|unit| unit.value.symbol().to_string());
    for row in &claimed.rows {
        let per_trial = row.cells.len() > 1;
        for (position, cell) in row.cells.iter().enumerate() {
            let trial = trials.column(&claimed.columns, position).filter(|_| per_trial);
            claims.extend(claim(row.symbol.value.clone(), trial, cell, unit.as_deref()));
        }
    }
}

fn claim(of: String, trial: Option<usize>, cell: &Cell, unit: Option<&str>) -> Option<Claim> {
    let written = match &cell.value {
        CellValue::Number(decimal) => decimal.to_string(),
        CellValue::Text(text) => text.clone(),
        _ => return None,
    };
    let own = cell.unit.as_ref().map(|unit| unit.value.symbol().to_string());
    Some(Claim { of, trial, written, unit: own.or(unit.map(str::to_string)), span: cell.span })
}
