//! `measured`: other quantities per trial, in the lines of [`super::lines`].
//!
//! One value serves all trials. A `±` behind the last of several values, where no other has one, is meant
//! for each of them: `V(sample): 50.0 mL  50.0 mL  ± 0.05 mL rectangular`.

use super::blocks::{Cell, Measured, QuantityRow};
use super::cells::CellKind;
use super::context::Context;
use super::label::without_strikes;
use super::lines::{Head, Line, Taken, row_cells};
use super::masses::count_message;
use super::passage::Passage;
use crate::finding::{Code, Finding};
use crate::span::Spanned;

/// Reads the lines of a block.
pub(super) fn read(lines: &[Passage], cx: &mut Context) -> Measured {
    let (mut head, mut rows) = read_rows(lines, |_| CellKind::Measured, cx);
    rows.iter_mut().for_each(|row| spread_uncertainty(&mut row.cells));
    check_counts(&rows, &mut head, cx);
    Measured { columns: head.columns, unit: head.unit, rows }
}

/// The head and the rows of a block of quantities.
pub(super) fn read_rows(
    lines: &[Passage],
    kind: impl Fn(&str) -> CellKind,
    cx: &mut Context,
) -> (Head, Vec<QuantityRow>) {
    let mut head = Head::default();
    let mut rows = Vec::new();
    for passage in lines {
        if passage.is_blank() || !cx.take_line(passage.span()) {
            continue;
        }
        let Some(line) = Line::split(*passage, cx) else { continue };
        if let Taken::No = head.take(&line, false, cx) {
            rows.extend(quantity_row(&line, &kind, &mut head, cx));
        }
    }
    (head, rows)
}

/// `symbol: cells`; a struck line is not kept, because nothing of these blocks is a reading.
fn quantity_row(
    line: &Line,
    kind: &impl Fn(&str) -> CellKind,
    head: &mut Head,
    cx: &mut Context,
) -> Option<QuantityRow> {
    let label = without_strikes(line.label.text);
    let cells = row_cells(line, kind(&label), head, cx)?.cells;
    if line.struck {
        return None;
    }
    Some(QuantityRow { span: line.whole.span(), symbol: Spanned::new(label, line.label.span()), cells })
}

fn spread_uncertainty(cells: &mut [Cell]) {
    let Some((last, others)) = cells.split_last_mut() else { return };
    if others.iter().all(|cell| cell.uncertainty.is_none()) {
        others.iter_mut().for_each(|cell| cell.uncertainty = last.uncertainty.clone());
    }
}

/// Every row has one cell, or one for each trial.
pub(super) fn check_counts(rows: &[QuantityRow], head: &mut Head, cx: &mut Context) {
    let longest = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    let expected = head.columns.trials.as_ref().map_or(longest, Vec::len);
    head.finish(expected, cx);
    for row in rows {
        let found = row.cells.len();
        if found != expected && found != 1 {
            let message = count_message(found, expected, "value");
            let finding = Finding::error(Code::CellCount, row.span, message);
            cx.push(
                finding.hint("write one value for all trials, or one for each; `–` where one is missing"),
            );
        }
    }
}
