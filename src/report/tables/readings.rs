//! The readings as written, and the change from one weighing to the next.

use std::collections::{BTreeMap, VecDeque};

use super::{Cell, Label, Notes, Part, Row, Table, Value, groups, heads};
use crate::evaluation::results::{Change, ConstantMass, ReadingCell, Results, Series, SeriesRow};
use crate::notebook::Notebook;
use crate::notebook::blocks::{self, BlockKind, LoadRow, Masses};
use crate::report::words::{self, Words};
use crate::span::Span;
use crate::weighing::Load;

/// A row of a `masses` block with what was made of it.
enum Written<'a> {
    Event(&'a str),
    Weighed(&'a LoadRow, Option<&'a SeriesRow>),
}

/// The readings of one `masses` block; `None` where the block is none or has no row.
pub(crate) fn readings(notebook: &Notebook, results: &Results, block: usize) -> Option<Table> {
    let block = notebook.blocks.get(block)?;
    let BlockKind::Masses(masses) = &block.kind else { return None };
    let rows = written(masses, results);
    if rows.is_empty() {
        return None;
    }
    let mut notes = Notes::default();
    let trials = columns(masses, results, &rows);
    let labelling = Labelling::of(&rows);
    let unit = masses.unit.as_ref().map_or("g", |unit| words::unit_symbol(&unit.value));
    let parts = groups(&trials)
        .into_iter()
        .map(|group| Part {
            spanner: Some((words::over_unit(words::plain("reading"), unit), group.len())),
            labels: labelling.heads(),
            columns: heads(results, group, &mut notes),
            rows: reading_rows(&rows, group, &labelling, unit, &mut notes),
        })
        .collect();
    labelling.note(results, &mut notes);
    if let Some(from) = &masses.from {
        notes.once("", words::plain(format!("Read from the file {}.", from.value)));
    }
    Some(Table { name: "readings", caption: words::plain("Readings as written"), parts, notes: notes.all() })
}

/// The rows of a block, each with its row of the results.
fn written<'a>(masses: &'a Masses, results: &'a Results) -> Vec<Written<'a>> {
    let mut known: BTreeMap<(Span, Load), VecDeque<&SeriesRow>> = BTreeMap::new();
    for series in &results.series {
        let load = Load::of(series.load.split(" + "));
        for row in &series.rows {
            known.entry((row.span, load.clone())).or_default().push_back(row);
        }
    }
    let row = |row: &'a blocks::Row| match row {
        blocks::Row::Event(event) => Written::Event(&event.value),
        blocks::Row::Load(row) => {
            let load = Load::of(row.things.iter().map(String::as_str));
            let found = known.get_mut(&(row.span, load)).and_then(VecDeque::pop_front);
            Written::Weighed(row, found)
        }
    };
    masses.rows.iter().map(row).collect()
}

/// The trials of a block: those it names, else all that have a cell in it.
fn columns(masses: &Masses, results: &Results, rows: &[Written]) -> Vec<usize> {
    let named = |name: &str| results.trials.iter().position(|trial| trial.name == name);
    if let Some(names) = &masses.columns.trials {
        return names.iter().filter_map(|name| named(&name.value)).collect();
    }
    let most = rows.iter().map(|row| match row {
        Written::Weighed(row, _) => row.cells.len(),
        Written::Event(_) => 0,
    });
    (0..most.max().unwrap_or(0).min(results.trials.len())).collect()
}

/// What the label columns of the readings say.
struct Labelling {
    /// The balances used, each once.
    balances: Vec<String>,
    /// Whether any row was weighed after a treatment.
    treated: bool,
}

impl Labelling {
    fn of(rows: &[Written]) -> Self {
        let mut names: Vec<String> = Vec::new();
        for row in rows {
            let Written::Weighed(_, Some(row)) = row else { continue };
            for name in row.balances.iter().flatten() {
                if !names.iter().any(|known| **known == **name) {
                    names.push(name.to_string());
                }
            }
        }
        let treated =
            rows.iter().any(|row| matches!(row, Written::Weighed(load, _) if load.treatment.is_some()));
        Labelling { balances: names, treated }
    }

    /// Whether each row says its own balance.
    fn balance_per_row(&self) -> bool {
        self.balances.len() > 1
    }

    fn heads(&self) -> Vec<Words> {
        let heads = [("load", true), ("after", self.treated), ("balance", self.balance_per_row())];
        heads.into_iter().filter(|(_, shown)| *shown).map(|(head, _)| words::plain(head)).collect()
    }

    /// The labels of one row; that of the load stands in the first of its `rows` only.
    fn labels(&self, load: &LoadRow, found: Option<&SeriesRow>, rows: Option<usize>) -> Vec<Label> {
        let treatment =
            || load.treatment.as_ref().map_or(String::new(), |t| format!("{} {}", t.name, t.number));
        let mut labels = Vec::new();
        labels.extend(rows.map(|rows| Label { words: words::plain(load.things.join(" + ")), rows }));
        labels.extend(self.treated.then(|| Label::one(words::plain(treatment()))));
        labels.extend(self.balance(found));
        labels
    }

    /// The balances of one row, each once.
    fn balance(&self, row: Option<&SeriesRow>) -> Option<Label> {
        if !self.balance_per_row() {
            return None;
        }
        let mut here: Vec<&str> = Vec::new();
        for name in row.iter().flat_map(|row| row.balances.iter().flatten()) {
            if !here.contains(&&**name) {
                here.push(name);
            }
        }
        Some(Label::one(words::plain(here.join(", "))))
    }

    fn note(&self, results: &Results, notes: &mut Notes) {
        if let [name] = self.balances.as_slice() {
            let facts = results.settings.balances.iter().find(|balance| balance.name.value == *name);
            let interval = facts.and_then(|balance| balance.readability_text.as_ref());
            let text = match interval {
                Some(interval) => format!("Balance {name}, scale interval {interval}."),
                None => format!("Balance {name}."),
            };
            notes.once("", words::plain(text));
        }
    }
}

/// How many rows from `index` on weigh the same load without an event between.
fn same_load(rows: &[Written], index: usize) -> usize {
    let Some(Written::Weighed(first, _)) = rows.get(index) else { return 1 };
    let same = |row: &&Written| matches!(row, Written::Weighed(row, _) if row.things == first.things);
    rows.iter().skip(index).take_while(same).count().max(1)
}

fn reading_rows(
    rows: &[Written],
    group: &[usize],
    labelling: &Labelling,
    unit: &str,
    notes: &mut Notes,
) -> Vec<Row> {
    let mut table = Vec::new();
    let mut covered = 0;
    for (index, row) in rows.iter().enumerate() {
        table.push(match row {
            Written::Event(event) => Row::Event(words::plain(*event)),
            Written::Weighed(load, found) => {
                let first = (index >= covered).then(|| same_load(rows, index));
                covered = first.map_or(covered, |span| index + span);
                let cells =
                    group.iter().map(|trial| reading_cell(load, *found, *trial, unit, notes)).collect();
                Row::Values { labels: labelling.labels(load, *found, first), cells, ruled: first.is_some() }
            }
        });
    }
    table
}

fn reading_cell(
    load: &LoadRow,
    found: Option<&SeriesRow>,
    trial: usize,
    unit: &str,
    notes: &mut Notes,
) -> Cell {
    let Some(cell) = found.and_then(|row| row.readings.get(trial)) else { return Cell::Missing };
    let marks = cell.remark.as_ref().map_or(String::new(), |remark| notes.mark(words::plain(remark.clone())));
    let value = Value {
        digits: cell.written.clone().unwrap_or_default(),
        unit: own_unit(cell, unit),
        struck: cell.struck.clone(),
        off: load.struck,
        shared: cell.shared_with.clone(),
        node: cell.node,
        marks,
        ..Value::default()
    };
    match &cell.written {
        None if cell.struck.is_empty() && value.marks.is_empty() => Cell::Missing,
        None => Cell::Value(Value { digits: "–".to_owned(), off: false, ..value }),
        Some(_) => Cell::Value(value),
    }
}

fn own_unit(cell: &ReadingCell, unit: &str) -> Option<String> {
    let own = words::unit_symbol(cell.unit.as_ref()?);
    (own != unit).then(|| own.to_owned())
}

/// The change from one weighing to the next and the verdicts; `None` where no load was weighed twice.
pub(crate) fn changes(results: &Results) -> Option<Table> {
    let judged: Vec<&Series> = results.series.iter().filter(|series| has_something_to_say(series)).collect();
    if judged.is_empty() {
        return None;
    }
    let mut notes = Notes::default();
    let trials: Vec<usize> = (0..results.trials.len()).collect();
    let parts = groups(&trials)
        .into_iter()
        .map(|group| Part {
            spanner: Some((words::over_unit(words::plain("change"), "mg"), group.len())),
            labels: vec![words::plain("load"), words::plain("from … to")],
            columns: heads(results, group, &mut notes),
            rows: judged.iter().flat_map(|series| change_rows(series, group, &mut notes)).collect(),
        })
        .collect();
    for rule in judged.iter().filter_map(|series| series.rule.as_ref()) {
        notes.once("", words::plain(format!("Constant mass: the last two weighings differ by {rule}.")));
    }
    let caption = words::plain(format!("{} and constant mass", caption(&judged)));
    Some(Table { name: "changes", caption, parts, notes: notes.all() })
}

/// Whether a series was weighed twice, or has a verdict to show.
fn has_something_to_say(series: &Series) -> bool {
    let weighed = series.rows.iter().filter(|row| !row.struck).count();
    !series.verdicts.is_empty() && (weighed > 1 || series.rule.is_some())
}

/// `Change per heating` where every series is of one treatment.
fn caption(judged: &[&Series]) -> String {
    let mut names: Vec<&str> = judged.iter().filter_map(|series| series.treatment.as_deref()).collect();
    names.dedup();
    match names.as_slice() {
        [one] => format!("Change per {one}"),
        _ => "Change between weighings".to_owned(),
    }
}

fn change_rows(series: &Series, group: &[usize], notes: &mut Notes) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut before: Option<&SeriesRow> = None;
    for row in series.rows.iter().filter(|row| !row.struck) {
        if let Some(before) = before {
            let cells = group.iter().map(|trial| change_cell(row, *trial, notes)).collect();
            rows.push((words::plain(step(before, row)), cells));
        }
        before = Some(row);
    }
    if series.rule.is_some() {
        let cells = group.iter().map(|trial| verdict_cell(series, *trial, notes)).collect();
        rows.push((words::plain("constant mass"), cells));
    }
    let span = rows.len();
    rows.into_iter()
        .enumerate()
        .map(|(index, (step, cells))| {
            let load = (index == 0).then(|| Label { words: words::plain(&series.load), rows: span });
            Row::Values {
                labels: load.into_iter().chain([Label::one(step)]).collect(),
                cells,
                ruled: index == 0,
            }
        })
        .collect()
}

/// `heating 1 to 2`, or both names where they differ.
fn step(before: &SeriesRow, after: &SeriesRow) -> String {
    let (from, to) = (before.treatment.as_str(), after.treatment.as_str());
    match (from.rsplit_once(' '), to.rsplit_once(' ')) {
        (Some((a, first)), Some((b, second))) if a == b => format!("{a} {first} to {second}"),
        _ => format!("{} to {}", named(from), named(to)),
    }
}

fn named(treatment: &str) -> &str {
    if treatment.is_empty() { "weighing" } else { treatment }
}

fn change_cell(row: &SeriesRow, trial: usize, notes: &mut Notes) -> Cell {
    let Some(change) = row.changes.get(trial).and_then(Option::as_ref) else { return Cell::Missing };
    let cell = Cell::Value(signed(change));
    if !change.across_event {
        return cell;
    }
    let events = row.events.join("; ");
    let text = if events.is_empty() { "across an event".to_owned() } else { format!("across: {events}") };
    cell.marked(&notes.mark(words::plain(format!("Shown but not judged, {text}."))))
}

fn signed(change: &Change) -> Value {
    Value { signed: true, ..Value::printed(&change.printed_mg) }
}

fn verdict_cell(series: &Series, trial: usize, notes: &mut Notes) -> Cell {
    match series.verdicts.get(trial) {
        Some(ConstantMass::Reached { at }) => {
            Cell::Words(words::plain(format!("reached at {}", cycle(series, trial, *at))))
        }
        Some(ConstantMass::NotReached { .. }) => Cell::Words(words::plain("not reached")),
        Some(ConstantMass::NotShown(why)) => with_reason("not shown", why, notes),
        Some(ConstantMass::CannotBeJudged(why)) => with_reason("cannot be judged", why, notes),
        Some(ConstantMass::None) | None => Cell::Missing,
    }
}

fn with_reason(verdict: &str, why: &str, notes: &mut Notes) -> Cell {
    let mark = notes.mark(words::plain(format!("{}.", sentence(why))));
    Cell::Words(vec![words::Run::Plain(verdict.to_owned()), words::Run::Raised(mark)])
}

/// A reason as the beginning of a sentence.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |first| first.to_uppercase().chain(chars).collect())
}

/// The treatment's number of the n-th weighing of a trial, or the count where it has none.
fn cycle(series: &Series, trial: usize, at: usize) -> String {
    let has_reading =
        |row: &&SeriesRow| !row.struck && row.readings.get(trial).is_some_and(|cell| cell.written.is_some());
    let row = series.rows.iter().filter(has_reading).nth(at.saturating_sub(1));
    match row.and_then(|row| row.treatment.rsplit_once(' ')) {
        Some((_, number)) => number.to_owned(),
        None => at.to_string(),
    }
}
