//! What `measured` blocks say, as it was written.

use super::quantities::value_row;
use super::{Cell, Notes, Part, Row, Table, Value, groups, heads};
use crate::evaluation::results::Results;
use crate::notebook::Notebook;
use crate::notebook::blocks::{self, BlockKind, CellValue, Measured, QuantityRow};
use crate::report::words::{self, Run};

/// What a `measured` block says, as written; `None` where it has no line.
pub(crate) fn measured(notebook: &Notebook, results: &Results, block: usize) -> Option<Table> {
    let BlockKind::Measured(measured) = &notebook.blocks.get(block)?.kind else { return None };
    if measured.rows.is_empty() {
        return None;
    }
    let mut notes = Notes::default();
    let trials = trials_of(measured, results);
    let unit = measured.unit.as_ref().map_or("", |unit| words::unit_symbol(&unit.value));
    let (single, several): (Vec<&QuantityRow>, Vec<&QuantityRow>) =
        measured.rows.iter().partition(|row| row.cells.len() == 1 && trials.len() != 1);
    let mut parts: Vec<Part> = Vec::new();
    for (start, group) in starts(&groups(&trials)).into_iter().filter(|_| !several.is_empty()) {
        let heads = heads(results, group, &mut notes);
        let row = |row: &&QuantityRow| measured_row(row, start, group.len(), unit, &mut notes);
        parts.push(Part::of_trials("measured", heads, several.iter().map(row).collect()));
    }
    if !single.is_empty() {
        let rows = single.iter().map(|row| measured_row(row, 0, 1, unit, &mut notes)).collect();
        parts.push(Part::plain("measured", vec![words::plain("value for all trials")], rows));
    }
    Some(Table { name: "measured", caption: words::plain("Measured quantities"), parts, notes: notes.all() })
}

/// The trials of a block: those it names, else all but blanks.
fn trials_of(measured: &Measured, results: &Results) -> Vec<usize> {
    let named = |name: &str| results.trials.iter().position(|trial| trial.name == name);
    match &measured.columns.trials {
        Some(names) => names.iter().filter_map(|name| named(&name.value)).collect(),
        None => (0..results.trials.len()).filter(|trial| !results.trials[*trial].blank).collect(),
    }
}

/// Each group with the number of trials before it.
fn starts<'a>(groups: &[&'a [usize]]) -> Vec<(usize, &'a [usize])> {
    let mut before = 0;
    let mut all = Vec::new();
    for group in groups {
        all.push((before, *group));
        before += group.len();
    }
    all
}

fn measured_row(row: &QuantityRow, start: usize, count: usize, unit: &str, notes: &mut Notes) -> Row {
    let own =
        row.cells.iter().find_map(|cell| cell.unit.as_ref()).map(|unit| words::unit_symbol(&unit.value));
    let head_unit = own.unwrap_or(unit);
    let numeric = row.cells.iter().any(|cell| matches!(cell.value, CellValue::Number(_)));
    let symbol = words::symbol(&row.symbol.value);
    let label = if numeric { words::over_unit(symbol, head_unit) } else { symbol };
    let cells =
        (start..start + count).map(|index| written_cell(row.cells.get(index), head_unit, notes)).collect();
    value_row(label, cells)
}

fn written_cell(cell: Option<&blocks::Cell>, unit: &str, notes: &mut Notes) -> Cell {
    let Some(cell) = cell else { return Cell::Missing };
    let mark = cell.remark.as_ref().map_or(String::new(), |remark| notes.mark(words::plain(remark.clone())));
    let own = cell.unit.as_ref().map(|unit| words::unit_symbol(&unit.value));
    let (digits, shared) = match &cell.value {
        CellValue::Number(decimal) => (decimal.to_string(), None),
        CellValue::SameAs(trial) => ("–".to_owned(), Some(trial.clone())),
        CellValue::Text(text) => return Cell::Words(vec![Run::Plain(text.clone()), Run::Raised(mark)]),
        CellValue::Missing | CellValue::Faulty => ("–".to_owned(), None),
    };
    Cell::Value(Value {
        digits,
        shared,
        unit: own.filter(|own| *own != unit).map(str::to_owned),
        struck: cell.strikes.iter().map(|strike| strike.value.clone()).collect(),
        marks: mark,
        ..Value::default()
    })
}
