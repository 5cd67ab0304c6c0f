//! `measured`: other quantities per trial, in the lines of [`super::lines`].
//!
//! One value serves all trials. A `±` behind the last of several values, where no other has one, is meant
//! for each of them: `V(sample): 50.0 mL  50.0 mL  ± 0.05 mL rectangular`. It is then one effect in all of them, as the
//! calibration of one pipette is.

use super::blocks::{Cell, Measured, QuantityRow};
use super::cells::CellKind;
use super::context::Context;
use super::label::without_strikes;
use super::lines::{Head, Line, Taken, row_cells};
use super::passage::Passage;
use crate::span::Spanned;

/// Reads the lines of a block.
pub(super) fn read(lines: &[Passage], cx: &mut Context) -> Measured {
    let Quantities { head, mut rows, struck } = read_rows(lines, |_| CellKind::Measured, cx);
    rows.iter_mut().for_each(|row| spread_uncertainty(&mut row.cells));
    Measured { columns: head.columns, unit: head.unit, rows, struck }
}

/// What a block of quantities says.
#[derive(Default)]
pub(super) struct Quantities {
    /// Its reserved labels.
    pub head: Head,
    /// Its rows.
    pub rows: Vec<QuantityRow>,
    /// Lines struck as a whole.
    pub struck: Vec<Spanned<String>>,
}

/// Reads a block of quantities; `kind` says what the cells behind a label hold.
pub(super) fn read_rows(lines: &[Passage], kind: impl Fn(&str) -> CellKind, cx: &mut Context) -> Quantities {
    let mut found = Quantities::default();
    for passage in lines {
        if passage.is_blank() || !cx.take_line(passage.span()) {
            continue;
        }
        let Some(line) = Line::split(*passage, cx) else { continue };
        if !matches!(found.head.take(&line, false, cx), Taken::No) {
            continue;
        }
        if line.struck {
            found.struck.push(Spanned::new(line.whole.text.to_owned(), line.whole.span()));
        } else {
            found.rows.extend(quantity_row(&line, &kind, &mut found.head, cx));
        }
    }
    found.head.settle(found.rows.iter_mut().flat_map(|row| row.cells.as_mut_slice()));
    found
}

/// `symbol: cells`
fn quantity_row(
    line: &Line,
    kind: &impl Fn(&str) -> CellKind,
    head: &mut Head,
    cx: &mut Context,
) -> Option<QuantityRow> {
    let label = without_strikes(line.label.text);
    let cells = row_cells(line, kind(&label), head, cx)?.cells;
    Some(QuantityRow { span: line.whole.span(), symbol: Spanned::new(label, line.label.span()), cells })
}

fn spread_uncertainty(cells: &mut [Cell]) {
    let Some((last, others)) = cells.split_last_mut() else { return };
    if others.is_empty() || others.iter().any(|cell| !cell.uncertainty.is_empty()) {
        return;
    }
    // Observations are each value's own; limits and certificates are of the instrument, the same for all.
    last.uncertainty.iter_mut().for_each(|uncertainty| uncertainty.shared = !uncertainty.is_observed());
    others.iter_mut().for_each(|cell| cell.uncertainty = last.uncertainty.clone());
}
