//! `claimed`: values their author computed, in the lines of [`super::lines`].
//!
//! A label is a quantity with an optional word before it (`mean w(water)`, `percent error w(water)`). Claims
//! of `formula(…)` are chemical formulas, all others numbers.

use super::blocks::{Claimed, QuantityRow};
use super::cells::CellKind;
use super::context::Context;
use super::expression::ExpressionKind;
use super::measured::{Quantities, read_rows};
use super::passage::Passage;
use super::read_formula;
use crate::finding::{Code, Finding};

/// Reads the lines of a block.
pub(super) fn read(lines: &[Passage], cx: &mut Context) -> Claimed {
    let Quantities { head, mut rows, .. } = read_rows(lines, kind_of, cx);
    rows.retain(|row| is_quantity(row, cx));
    Claimed { columns: head.columns, unit: head.unit, rows }
}

/// What the cells of a row hold, by its label.
fn kind_of(label: &str) -> CellKind {
    let entity = label.trim_start().strip_prefix("formula").map(str::trim_start);
    if entity.is_some_and(|rest| rest.starts_with('(')) { CellKind::Formula } else { CellKind::Claim }
}

/// Whether the label is a quantity, with or without a word before it; a finding where it is not.
fn is_quantity(row: &QuantityRow, cx: &mut Context) -> bool {
    let label = read_formula(&row.symbol.value, row.symbol.span.start, cx.comma);
    let fits = label.is_ok_and(|expression| is_claimable(&expression.kind));
    if !fits {
        let message = format!("`{}` names no quantity", row.symbol.value);
        let hint = "write a symbol, with a word before it if needed, such as `mean w(water): 36.06 %`";
        cx.push(Finding::error(Code::BadClaim, row.symbol.span, message).hint(hint));
    }
    fits
}

fn is_claimable(kind: &ExpressionKind) -> bool {
    match kind {
        ExpressionKind::Quantity { .. }
        | ExpressionKind::MolarMass(_)
        | ExpressionKind::Coefficient(_)
        | ExpressionKind::Factor(_) => true,
        ExpressionKind::Word(_, inside) => is_claimable(&inside.kind),
        _ => false,
    }
}
