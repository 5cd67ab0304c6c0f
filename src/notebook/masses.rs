//! `masses`: readings of loads, one load a line, one trial a column.

use super::blocks::{LoadRow, Masses, Row};
use super::cells::CellKind;
use super::context::Context;
use super::label::{load, without_strikes};
use super::lines::{Head, Line, Taken, row_cells};
use super::passage::Passage;
use super::weighings;
use crate::files::{FileProblem, Files};
use crate::finding::{Code, Finding};
use crate::span::Spanned;
use std::sync::Arc;

/// Most things on the pan.
const MOST_THINGS: usize = 50;

/// Most files one notebook may name.
const MOST_FILES: usize = 20;

/// What reading a `masses` block may need from outside, and leaves behind.
pub(super) struct Outside<'a> {
    /// The files beside the notebook.
    pub files: &'a dyn Files,
    /// Those read so far.
    pub read: Vec<(String, Vec<u8>)>,
}

impl Outside<'_> {
    /// The bytes of a file, which is read once however often it is named.
    pub fn bytes(&mut self, path: &str) -> Result<&[u8], FileProblem> {
        let known = self.read.iter().position(|(name, _)| name == path);
        let at = match known {
            Some(at) => at,
            None if self.read.len() == MOST_FILES => {
                return Err(FileProblem::Other(format!("a notebook names at most {MOST_FILES} files")));
            }
            None => {
                self.read.push((path.to_owned(), self.files.read(path)?));
                self.read.len() - 1
            }
        };
        self.read.get(at).map(|(_, bytes)| bytes.as_slice()).ok_or(FileProblem::NotFound)
    }
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
            Taken::No => rows.extend(load_row(&line, &mut head, cx).map(loaded)),
        }
    }
    if let Some(from) = head.from.clone() {
        rows.extend(weighings::read(&from, &mut head, outside, cx).into_iter().map(loaded));
    }
    head.settle(rows.iter_mut().flat_map(|row| match row {
        Row::Load(row) => Arc::make_mut(row).cells.as_mut_slice(),
        Row::Event(_) => &mut [],
    }));
    let Head { columns, unit, balances, from, .. } = head;
    Masses { columns, unit, balances, from, rows }
}

fn loaded(row: LoadRow) -> Row {
    Row::Load(Arc::new(row))
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
    if things.len() > MOST_THINGS {
        let message = format!("a load of more than {MOST_THINGS} things");
        cx.push(Finding::error(Code::TooLarge, line.label.span(), message));
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
