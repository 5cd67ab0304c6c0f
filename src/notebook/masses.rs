//! `masses`: readings of loads, one load a line, one trial a column.

use super::blocks::{LoadRow, Masses, Row};
use super::cells::CellKind;
use super::context::Context;
use super::label::{load, without_strikes};
use super::lines::{Head, Line, Taken, row_cells};
use super::passage::Passage;
use super::weighings;
use crate::files::Files;
use crate::finding::{Code, Finding};
use crate::span::Spanned;

/// What reading a `masses` block may need from outside, and leaves behind.
pub(super) struct Outside<'a> {
    /// The files beside the notebook.
    pub files: &'a dyn Files,
    /// Those read so far.
    pub read: Vec<(String, Vec<u8>)>,
}

/// Reads the lines of a block.
pub(super) fn read(lines: &[Passage], outside: &mut Outside, cx: &mut Context) -> Masses {
    let mut head = Head::default();
    let mut rows = Vec::new();
    for passage in lines {
        if passage.is_blank() || !cx.take_line(passage.span()) {
            continue;
        }
        let Some(line) = Line::split(*passage, cx) else { continue };
        match head.take(&line, true, cx) {
            Taken::Head => {}
            Taken::Event(event) => rows.push(Row::Event(event)),
            Taken::No => rows.extend(load_row(&line, &mut head, cx).map(Row::Load)),
        }
    }
    if let Some(from) = head.from.clone() {
        rows.extend(weighings::read(&from, &mut head, outside, cx).into_iter().map(Row::Load));
    }
    head.settle(rows.iter_mut().flat_map(|row| match row {
        Row::Load(row) => row.cells.as_mut_slice(),
        Row::Event(_) => &mut [],
    }));
    let Head { columns, unit, balances, from, .. } = head;
    Masses { columns, unit, balances, from, rows }
}

/// `load, treatment n: cells`
fn load_row(line: &Line, head: &mut Head, cx: &mut Context) -> Option<LoadRow> {
    let cells = row_cells(line, CellKind::Reading, head, cx)?;
    let label = without_strikes(line.label.text);
    let (things, treatment) = load(&label);
    if things.iter().any(String::is_empty) {
        let message = "a thing is missing beside `+`; expected `crucible + sample: readings`";
        cx.push(Finding::error(Code::BadLine, line.label.span(), message));
        return None;
    }
    Some(LoadRow {
        span: line.whole.span(),
        label: Spanned::new(label, line.label.span()),
        things,
        treatment,
        cells: cells.cells,
        balance: cells.balance,
        struck: line.struck,
        file: None,
    })
}
