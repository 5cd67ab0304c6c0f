//! What only the whole notebook can tell about its columns: how many trials there are, and whether every line
//! has as many cells.
//!
//! Trials are known by name across all blocks. A block without `trial:` has the notebook's columns by
//! position; where no block names any, the columns are numbered, as many as the longest line of `masses` and
//! `measured` has cells.

use super::blocks::{Block, BlockKind, Cell, CellValue, Columns, LoadRow, Masses, QuantityRow, Row};
use super::context::{Context, MOST_CYCLES, MOST_TRIALS};
use super::label::load_key;
use crate::finding::{Code, Finding};
use crate::span::Span;
use hashbrown::{HashMap, HashSet};
use std::sync::Arc;

/// Cuts what is beyond the most trials of a notebook and the most weighings of a load, and judges the number
/// of cells of every line, and of balances. Which trial a cell of a line with a wrong number belongs to is not
/// known, so its cells become faulty.
pub(super) fn check(blocks: &mut [Block], cx: &mut Context) {
    bound_trials(blocks, cx);
    let keys = bound_cycles(blocks, cx);
    for (block, row) in miscounted(blocks, &keys, cx) {
        let cells = blocks.get_mut(block).and_then(|block| cells_of_mut(block, row));
        cells.into_iter().flatten().for_each(|cell| cell.value = CellValue::Faulty);
    }
}

/// A block's columns end before the first name beyond the most trials.
fn bound_trials(blocks: &mut [Block], cx: &mut Context) {
    let mut known: HashSet<String> = HashSet::new();
    for block in blocks {
        let Some(trials) = columns_of_mut(block).and_then(|columns| columns.trials.as_mut()) else {
            continue;
        };
        let beyond = trials.iter().position(|trial| {
            let room = known.contains(&trial.value) || known.len() < MOST_TRIALS;
            if room {
                known.insert(trial.value.clone());
            }
            !room
        });
        let Some(beyond) = beyond else { continue };
        let place = trials.get(beyond).map_or(Span::default(), |trial| trial.span);
        trials.truncate(beyond);
        truncate_cells(block, beyond);
        let message =
            format!("more than {MOST_TRIALS} trials in the notebook; this one and what follows is not read");
        cx.push(Finding::error(Code::TooLarge, place, message).hint("split the notebook"));
    }
}

fn truncate_cells(block: &mut Block, columns: usize) {
    let quantities =
        |rows: &mut Vec<QuantityRow>| rows.iter_mut().for_each(|row| row.cells.truncate(columns));
    match &mut block.kind {
        BlockKind::Masses(masses) => masses.rows.iter_mut().for_each(|row| {
            if let Row::Load(row) = row {
                Arc::make_mut(row).cells.truncate(columns);
            }
        }),
        BlockKind::Measured(measured) => quantities(&mut measured.rows),
        BlockKind::Claimed(claimed) => quantities(&mut claimed.rows),
        _ => {}
    }
}

/// Cuts each load's weighings; the key of every load row left, in order.
fn bound_cycles(blocks: &mut [Block], cx: &mut Context) -> Vec<String> {
    let mut cycles: HashMap<String, usize> = HashMap::new();
    let mut keys = Vec::new();
    for block in blocks {
        let BlockKind::Masses(masses) = &mut block.kind else { continue };
        masses.rows.retain(|row| {
            let Row::Load(row) = row else { return true };
            let key = load_key(&row.things);
            let within = within_bound(row, &key, &mut cycles, cx);
            keys.extend(within.then_some(key));
            within
        });
    }
    keys
}

fn within_bound(row: &LoadRow, key: &str, cycles: &mut HashMap<String, usize>, cx: &mut Context) -> bool {
    let Some(count) = cycles.get_mut(key) else {
        cycles.insert(key.to_owned(), 1);
        return true;
    };
    *count += 1;
    if *count == MOST_CYCLES + 1 {
        let message =
            format!("more than {MOST_CYCLES} weighings of one load; from here on they are not read");
        cx.push(Finding::error(Code::TooLarge, row.span, message));
    }
    *count <= MOST_CYCLES
}

fn cells_of_mut(block: &mut Block, row: usize) -> Option<&mut Vec<Cell>> {
    match &mut block.kind {
        BlockKind::Masses(masses) => match masses.rows.get_mut(row)? {
            Row::Load(row) => Some(&mut Arc::make_mut(row).cells),
            Row::Event(_) => None,
        },
        BlockKind::Measured(measured) => measured.rows.get_mut(row).map(|row| &mut row.cells),
        BlockKind::Claimed(claimed) => claimed.rows.get_mut(row).map(|row| &mut row.cells),
        _ => None,
    }
}

/// The lines with too many or too few cells, by block and row, each with its finding.
fn miscounted(blocks: &[Block], keys: &[String], cx: &mut Context) -> Vec<(usize, usize)> {
    let common = common_trials(blocks);
    let own: Vec<_> = blocks.iter().map(own_trials).collect();
    let mut series: HashMap<&str, Vec<Weighing>> = HashMap::new();
    let mut keys = keys.iter();
    let mut wrong = Vec::new();
    for (index, (block, own)) in blocks.iter().zip(&own).enumerate() {
        let trials = own.as_ref().unwrap_or(&common);
        let rows = match &block.kind {
            BlockKind::Masses(masses) => {
                check_balances(masses, trials.len(), cx);
                for (at, row) in masses.rows.iter().enumerate() {
                    let Row::Load(row) = row else { continue };
                    let Some(key) = keys.next().filter(|_| !row.struck) else { continue };
                    series.entry(key).or_default().push(Weighing { row, trials, at: (index, at) });
                }
                continue;
            }
            BlockKind::Measured(measured) => &measured.rows,
            BlockKind::Claimed(claimed) => &claimed.rows,
            _ => continue,
        };
        let off = rows.iter().enumerate().filter(|(_, row)| is_miscounted(row, trials.len(), cx));
        wrong.extend(off.map(|(at, _)| (index, at)));
    }
    wrong.extend(miscounted_weighings(series, cx));
    wrong
}

/// The names of some columns; a number stands for a column without a name.
enum Trials<'a> {
    Named(Vec<&'a str>),
    Numbered(usize),
}

impl<'a> Trials<'a> {
    fn len(&self) -> usize {
        match self {
            Trials::Named(names) => names.len(),
            Trials::Numbered(count) => *count,
        }
    }

    /// The position of the column that stands at `at` in `other`.
    fn same_column(&self, other: &Trials, at: usize) -> Option<usize> {
        match (self, other) {
            (Trials::Named(names), Trials::Named(others)) => {
                let wanted = others.get(at)?;
                names.iter().position(|name| name == wanted)
            }
            _ => Some(at),
        }
    }
}

fn own_trials(block: &Block) -> Option<Trials<'_>> {
    let trials = columns_of(block)?.trials.as_ref()?;
    Some(Trials::Named(trials.iter().map(|trial| trial.value.as_str()).collect()))
}

/// The columns of a block that names none: those of all blocks by first mention, else numbers.
fn common_trials(blocks: &[Block]) -> Trials<'_> {
    let mut names: Vec<&str> = Vec::new();
    for name in blocks.iter().filter_map(columns_of).filter_map(|columns| columns.trials.as_ref()).flatten() {
        if !names.contains(&name.value.as_str()) {
            names.push(&name.value);
        }
    }
    if names.is_empty() {
        return Trials::Numbered(blocks.iter().map(longest).max().unwrap_or(0));
    }
    Trials::Named(names)
}

/// The cells of the longest line of a block that makes columns.
fn longest(block: &Block) -> usize {
    let most = |cells: &mut dyn Iterator<Item = &Vec<Cell>>| cells.map(Vec::len).max().unwrap_or(0);
    match &block.kind {
        BlockKind::Masses(masses) => most(&mut masses.rows.iter().filter_map(unstruck).map(|row| &row.cells)),
        BlockKind::Measured(measured) => most(&mut measured.rows.iter().map(|row| &row.cells)),
        _ => 0,
    }
}

fn check_balances(masses: &Masses, trials: usize, cx: &mut Context) {
    let named = masses.balances.len();
    if let (true, Some(first), Some(last)) =
        (named > 1 && named != trials, masses.balances.first(), masses.balances.last())
    {
        let message = count_message(named, trials, "balance");
        let finding = Finding::error(Code::CellCount, first.span.join(last.span), message);
        cx.push(finding.hint("name one balance for all trials, or one for each"));
    }
}

/// Every line of quantities has one cell, or one for each trial.
fn is_miscounted(row: &QuantityRow, trials: usize, cx: &mut Context) -> bool {
    let found = row.cells.len();
    let wrong = found == 0 || found != trials && found != 1;
    if wrong {
        let message = match found {
            0 => "no value stands after the label".to_owned(),
            _ => count_message(found, trials, "value"),
        };
        let finding = Finding::error(Code::CellCount, row.span, message);
        cx.push(finding.hint("write one value for all trials, or one for each; `–` where one is missing"));
    }
    wrong
}

/// One weighing of a series.
struct Weighing<'a> {
    row: &'a LoadRow,
    trials: &'a Trials<'a>,
    /// Its block and row.
    at: (usize, usize),
}

impl Weighing<'_> {
    /// Whether the column at a position of another weighing has a value here.
    fn has(&self, other: &Trials, at: usize) -> bool {
        let cell = self.trials.same_column(other, at).and_then(|at| self.row.cells.get(at));
        cell.is_some_and(|cell| cell.value != CellValue::Missing)
    }
}

/// The weighings with too many or too few cells. Blanks at the end of a line are trailing if its load is a
/// series and no later weighing of it has a value there; any other difference is an error.
fn miscounted_weighings(series: HashMap<&str, Vec<Weighing>>, cx: &mut Context) -> Vec<(usize, usize)> {
    let mut all: Vec<_> = series.into_values().collect();
    all.sort_by_key(|series| series.first().map(|weighing| weighing.at));
    let mut wrong = Vec::new();
    for series in all {
        for (at, weighing) in series.iter().enumerate() {
            if is_miscounted_weighing(weighing, series.len() > 1, series.get(at + 1..).unwrap_or(&[]), cx) {
                wrong.push(weighing.at);
            }
        }
    }
    wrong
}

fn is_miscounted_weighing(weighing: &Weighing, repeated: bool, later: &[Weighing], cx: &mut Context) -> bool {
    let (row, expected) = (weighing.row, weighing.trials.len());
    let found = row.cells.len();
    let trailing = || (found..expected).all(|at| !later.iter().any(|other| other.has(weighing.trials, at)));
    let series = repeated || row.treatment.is_some();
    if found == expected || found < expected && series && trailing() {
        return false;
    }
    let hint = match found < expected {
        true => "write `–` where a reading is missing",
        false => "name every column after `trial:`; words stand in square brackets",
    };
    cx.push(Finding::error(Code::CellCount, row.span, count_message(found, expected, "reading")).hint(hint));
    true
}

/// `3 readings for 2 trials`
fn count_message(found: usize, expected: usize, what: &str) -> String {
    let plural = |count: usize| if count == 1 { "" } else { "s" };
    format!("{found} {what}{} for {expected} trial{}", plural(found), plural(expected))
}

fn columns_of(block: &Block) -> Option<&Columns> {
    match &block.kind {
        BlockKind::Masses(masses) => Some(&masses.columns),
        BlockKind::Measured(measured) => Some(&measured.columns),
        BlockKind::Claimed(claimed) => Some(&claimed.columns),
        _ => None,
    }
}

fn columns_of_mut(block: &mut Block) -> Option<&mut Columns> {
    match &mut block.kind {
        BlockKind::Masses(masses) => Some(&mut masses.columns),
        BlockKind::Measured(measured) => Some(&mut measured.columns),
        BlockKind::Claimed(claimed) => Some(&mut claimed.columns),
        _ => None,
    }
}

fn unstruck(row: &Row) -> Option<&LoadRow> {
    match row {
        Row::Load(row) if !row.struck => Some(row),
        _ => None,
    }
}
