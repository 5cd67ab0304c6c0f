//! Whether a notebook with something written into it still says everything it said, and what was written besides.
//!
//! The new text is read as if it came from a file. A text that was written into the wrong place, or that ends a block or begins
//! one, shows here as a line or a cell that changed.

use super::additions::new_line;
use super::write_back::{At, Entry, Refusal, lines, unfit};
use crate::files::Memory;
use crate::finding::Code;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, QuantityRow};
use crate::notebook::settings::DecimalMark;
use crate::notebook::{self, Notebook};
use crate::quantity::Decimal;

/// What a line of readings holds: its label, which of the lines with that label it is, its cells.
type Held = (String, usize, Vec<(String, CellValue)>);

/// Every line of the notebook's own text with its cells.
fn held(notebook: &Notebook) -> Vec<Held> {
    let cell = |cell: &Cell| (cell.span.text(&notebook.text).to_owned(), cell.value.clone());
    lines(notebook)
        .into_iter()
        .map(|line| (line.row.label.value.clone(), line.nth, line.row.cells.iter().map(cell).collect()))
        .collect()
}

/// What a line of another block of cells holds, and how uncertain each value is said to be.
type Quantity = (String, Vec<(String, CellValue, Vec<(String, bool)>)>);

/// The lines of `measured` and `claimed` that stand before a byte.
fn quantities(notebook: &Notebook, before: usize) -> Vec<Quantity> {
    let cell = |cell: &Cell| {
        let stated = cell.uncertainty.iter();
        let stated = stated.map(|stated| (stated.span.text(&notebook.text).to_owned(), stated.shared));
        (cell.span.text(&notebook.text).to_owned(), cell.value.clone(), stated.collect())
    };
    let row = |row: &QuantityRow| (row.symbol.value.clone(), row.cells.iter().map(cell).collect());
    let own = notebook.blocks.iter().filter(|block| block.span.end <= before);
    own.flat_map(|block| match &block.kind {
        BlockKind::Measured(measured) => measured.rows.iter().map(row).collect(),
        BlockKind::Claimed(claimed) => claimed.rows.iter().map(row).collect(),
        _ => Vec::new(),
    })
    .collect()
}

/// Reads the new text and compares it with the old one, which had `own` bytes: the entry is there, and everything else
/// as before.
pub(super) fn check(before: &Notebook, own: usize, written: &[u8], entry: &Entry) -> Result<(), Refusal> {
    let nothing = Memory::default();
    let read = if before.settings.decimal == DecimalMark::Comma {
        notebook::read_with_comma(&before.name, written, &nothing)
    } else {
        notebook::read(&before.name, written, &nothing)
    };
    let (old, new) = (held(before), held(&read));
    let fits = match entry {
        Entry::Reading { at, reading, .. } => same_but(&old, &new, at, reading),
        Entry::Further { at, reading, .. } | Entry::Load { behind: at, reading, .. } => {
            new_line(before, entry).is_some_and(|line| one_line_more(&old, &new, &line, at.column, reading))
        }
        Entry::Trial { .. } => all_begin_alike(&old, &new) && miscounted(&read) <= miscounted(before),
    };
    let beside = (quantities(before, own), quantities(&read, usize::MAX));
    let fits_beside = match entry {
        Entry::Trial { .. } => {
            beside.0.len() == beside.1.len()
                && beside.0.iter().zip(&beside.1).all(|(old, new)| {
                    old.0 == new.0
                        && new.1.get(..old.1.len()) == Some(&old.1)
                        && new.1.len() <= old.1.len() + 1
                })
        }
        _ => beside.0 == beside.1,
    };
    if fits && fits_beside {
        return Ok(());
    }
    unfit(
        "this cannot be written there without changing how the rest is read; enter it in the notebook itself",
    )
}

/// How many lines have a wrong number of cells.
fn miscounted(notebook: &Notebook) -> usize {
    notebook.findings.iter().filter(|finding| finding.code == Code::CellCount).count()
}

fn holds(cell: Option<&(String, CellValue)>, reading: &str) -> bool {
    let comma = reading.contains(',');
    match (cell, Decimal::parse(reading.trim(), comma)) {
        (Some((_, CellValue::Number(number))), Ok(entered)) => *number == entered,
        _ => false,
    }
}

fn dashes(cells: &[(String, CellValue)]) -> bool {
    cells.iter().all(|(_, value)| *value == CellValue::Missing)
}

fn same_but(old: &[Held], new: &[Held], at: &At, reading: &str) -> bool {
    let meant = |line: &Held| line.0 == at.label && line.1 == at.nth;
    let same = |(old, new): (&Held, &Held)| {
        if (&old.0, old.1) != (&new.0, new.1) {
            return false;
        }
        if !meant(new) {
            return old.2 == new.2;
        }
        let (before, after) = (old.2.get(..at.column), old.2.get(at.column + 1..));
        let unchanged = match before {
            Some(before) => new.2.get(..at.column) == Some(before),
            None => begins_alike(old, new) && new.2.get(old.2.len()..at.column).is_some_and(dashes),
        };
        unchanged
            && new.2.get(at.column + 1..).unwrap_or_default() == after.unwrap_or_default()
            && holds(new.2.get(at.column), reading)
    };
    old.len() == new.len() && old.iter().zip(new).all(same)
}

/// Whether there is one line more, with the reading in its column and dashes beside it, and all others as they were.
fn one_line_more(
    old: &[Held],
    new: &[Held],
    (label, nth): &(String, usize),
    column: usize,
    reading: &str,
) -> bool {
    let place = new.iter().position(|line| line.0 == *label && line.1 == *nth);
    let Some(place) = place.filter(|_| new.len() == old.len() + 1) else { return false };
    let cells = new.get(place).map_or(&[][..], |line| line.2.as_slice());
    // Lines of the same label are counted on from the new one.
    let same = |old: Option<&[Held]>, new: Option<&[Held]>| match (old, new) {
        (Some(old), Some(new)) => {
            old.iter().map(|line| (&line.0, &line.2)).eq(new.iter().map(|line| (&line.0, &line.2)))
        }
        _ => false,
    };
    same(old.get(..place), new.get(..place))
        && same(old.get(place..), new.get(place + 1..))
        && holds(cells.get(column), reading)
        && cells.get(..column).is_some_and(dashes)
        && cells.get(column + 1..).is_some_and(dashes)
}

fn all_begin_alike(old: &[Held], new: &[Held]) -> bool {
    old.len() == new.len() && old.iter().zip(new).all(|(old, new)| begins_alike(old, new))
}

/// Whether a line says what it said, and perhaps something more at its end.
fn begins_alike(old: &Held, new: &Held) -> bool {
    (&old.0, old.1) == (&new.0, new.1) && new.2.get(..old.2.len()) == Some(&old.2)
}
