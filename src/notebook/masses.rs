//! `masses`: readings of loads, one load a line, one trial a column.

use super::blocks::{Block, BlockKind, CellValue, LoadRow, Masses, Row};
use super::cells::CellKind;
use super::context::{Context, MOST_CYCLES};
use super::label::{load, load_key, without_strikes};
use super::lines::{Head, Line, Taken, row_cells};
use super::passage::Passage;
use super::weighings;
use crate::files::Files;
use crate::finding::{Code, Finding};
use crate::span::Spanned;
use std::collections::HashMap;

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
    head.finish(width(&rows, &head), cx);
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

/// How many columns a block has: those named, else the cells of its longest row.
fn width(rows: &[Row], head: &Head) -> usize {
    head.columns.trials.as_ref().map_or_else(|| longest(rows), Vec::len)
}

fn longest(rows: &[Row]) -> usize {
    rows.iter().map(|row| if let Row::Load(row) = row { row.cells.len() } else { 0 }).max().unwrap_or(0)
}

/// One row of the whole notebook, for the checks across blocks.
struct Weighing<'a> {
    row: &'a LoadRow,
    trials: &'a [String],
}

impl Weighing<'_> {
    /// Whether a trial has a value here.
    fn has(&self, trial: &str) -> bool {
        let cell = self.trials.iter().position(|name| name == trial).and_then(|at| self.row.cells.get(at));
        cell.is_some_and(|cell| cell.value != CellValue::Missing)
    }
}

/// Cuts series beyond the most cycles a load may have, over all blocks of the notebook.
pub(super) fn bound_cycles(blocks: &mut [Block], cx: &mut Context) {
    let mut cycles: HashMap<String, usize> = HashMap::new();
    for masses in blocks.iter_mut().filter_map(masses_of_mut) {
        masses.rows.retain(|row| match row {
            Row::Load(row) => within_bound(row, &mut cycles, cx),
            Row::Event(_) => true,
        });
    }
}

fn within_bound(row: &LoadRow, cycles: &mut HashMap<String, usize>, cx: &mut Context) -> bool {
    let count = cycles.entry(load_key(&row.things)).or_default();
    *count += 1;
    if *count == MOST_CYCLES + 1 {
        let message =
            format!("more than {MOST_CYCLES} weighings of one load; from here on they are not read");
        cx.push(Finding::error(Code::TooLarge, row.span, message));
    }
    *count <= MOST_CYCLES
}

/// Judges the number of cells of every row of the notebook. Blanks at the end of a row are trailing if its
/// load is a series and no later weighing of it has a value there.
pub(super) fn check_counts(blocks: &[Block], cx: &mut Context) {
    let named: Vec<(&Masses, Vec<String>)> =
        blocks.iter().filter_map(masses_of).map(|masses| (masses, trial_names(masses))).collect();
    let mut series: HashMap<String, Vec<Weighing>> = HashMap::new();
    for (masses, trials) in &named {
        for row in masses.rows.iter().filter_map(unstruck) {
            series.entry(load_key(&row.things)).or_default().push(Weighing { row, trials });
        }
    }
    let mut weighings: Vec<_> = series.into_values().collect();
    weighings.sort_by_key(|series| series.first().map(|weighing| weighing.row.span));
    for series in weighings {
        for (at, weighing) in series.iter().enumerate() {
            let later = series.get(at + 1..).unwrap_or(&[]);
            check_row(weighing, series.len() > 1, later, cx);
        }
    }
}

fn check_row(weighing: &Weighing, repeated: bool, later: &[Weighing], cx: &mut Context) {
    let (row, expected) = (weighing.row, weighing.trials.len());
    let found = row.cells.len();
    if found == expected {
        return;
    }
    let blank = weighing.trials.get(found..).unwrap_or(&[]);
    let trailing = blank.iter().all(|trial| !later.iter().any(|weighing| weighing.has(trial)));
    if found < expected && trailing && (repeated || row.treatment.is_some()) {
        return;
    }
    let hint = if found < expected {
        "write `–` where a reading is missing"
    } else {
        "name every column after `trial:`"
    };
    cx.push(Finding::error(Code::CellCount, row.span, count_message(found, expected, "reading")).hint(hint));
}

/// `3 readings for 2 trials`
pub(super) fn count_message(found: usize, expected: usize, what: &str) -> String {
    let plural = |count: usize| if count == 1 { "" } else { "s" };
    format!("{found} {what}{} for {expected} trial{}", plural(found), plural(expected))
}

/// The names of a block's columns; numbers where it names none.
fn trial_names(masses: &Masses) -> Vec<String> {
    match &masses.columns.trials {
        Some(trials) => trials.iter().map(|trial| trial.value.clone()).collect(),
        None => (1..=longest(&masses.rows)).map(|number| number.to_string()).collect(),
    }
}

fn masses_of(block: &Block) -> Option<&Masses> {
    match &block.kind {
        BlockKind::Masses(masses) => Some(masses),
        _ => None,
    }
}

fn masses_of_mut(block: &mut Block) -> Option<&mut Masses> {
    match &mut block.kind {
        BlockKind::Masses(masses) => Some(masses),
        _ => None,
    }
}

fn unstruck(row: &Row) -> Option<&LoadRow> {
    match row {
        Row::Load(row) if !row.struck => Some(row),
        _ => None,
    }
}
