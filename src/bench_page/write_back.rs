//! A reading written into a notebook: its own bytes change, and no others.
//!
//! | what is entered | what happens to the text |
//! | --- | --- |
//! | a reading where a dash stands | the dash is replaced |
//! | a reading where the line ends early | dashes up to its column and the reading are put behind the last cell |
//! | another reading where one stands | `~~old~~ new`, and `[reason; time]` behind the cell: nothing is erased |
//! | a further weighing of a load | a new line behind its last one, numbered on |
//! | a load that the block lacks | a new line behind the one it belongs behind, with dashes for the other trials |
//! | a further trial | its name behind the last one, and a dash in every line that is full |
//!
//! A place is known by the label of its line and the name of its trial, not by bytes, so that a page which has not seen
//! the last edit of the notebook still means the same cell. What the page believes to stand there comes with it
//! ([`At::was`]); where something else stands by now, that is a [`Refusal::Conflict`], and nothing is written.
//!
//! Lines and columns are put in by [`super::additions`]. Before the new text is handed out it is read again
//! (`unchanged`): the cell holds what was entered, and every other cell what it held. Where that is not so,
//! the entry is refused.

use super::additions::{further_edits, load_edits, trial_edits};
use super::edit::{Edit, applied};
use super::unchanged;
use crate::notebook::Notebook;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, LoadRow, Masses, Row};
use crate::notebook::settings::DecimalMark;
use crate::quantity::Decimal;
use crate::weighing::Trials;

/// Most characters of a reason or of the name of a trial.
const MOST_CHARACTERS: usize = 200;

/// A cell of the readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct At {
    /// The label of its line as read (blanks folded, strikes left out).
    pub label: String,
    /// Which of the lines with that label it is, from 0.
    pub nth: usize,
    /// Its column, from 0.
    pub column: usize,
    /// The trial of that column, by its name.
    pub trial: String,
    /// What stands in the cell, as far as the writer knows: its whole text, empty where there is none.
    pub was: String,
}

/// Something to be written down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// A reading into a cell of a line that is there. Where the cell holds one already, `why` is needed.
    Reading {
        /// The cell.
        at: At,
        /// The reading as taken off the display.
        reading: String,
        /// Why the reading before it no longer stands.
        why: Option<Why>,
    },
    /// A reading of the same load after one more treatment (or the same load once more): a new line behind this one.
    Further {
        /// A cell of the last line of the load; its text does not matter.
        at: At,
        /// What was done before the weighing (`heating`), where the line before does not say it; empty for a load
        /// that was weighed again without a treatment.
        treatment: String,
        /// The reading.
        reading: String,
    },
    /// A reading of a load that the notebook does not weigh yet: a new line.
    Load {
        /// A cell of the line it goes behind, in the column of the reading. With an empty label it is the block of
        /// readings of that number (`nth`, from 0), which has no line yet. The text of the cell does not matter.
        behind: At,
        /// The label of the new line: things joined by ` + `, and a treatment where there was one.
        label: String,
        /// The reading.
        reading: String,
    },
    /// A further trial in the block of a line.
    Trial {
        /// The label of a line of the block; empty for a block that has no line yet.
        label: String,
        /// Which of the lines with that label it is, from 0, or the number of the block without lines.
        nth: usize,
        /// The name of the trial; empty where the columns of the notebook are numbered.
        name: String,
    },
}

/// Why a reading is struck.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Why {
    /// The reason in a few words.
    pub reason: String,
    /// The time or initials, where they are wanted; may be empty.
    pub time: String,
}

/// Why nothing was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The notebook no longer says there what the writer knew.
    Conflict {
        /// What stands there now; `None` where the line or column is gone.
        now: Option<String>,
    },
    /// The entry cannot be written; a sentence says why and what to do.
    Unfit(String),
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Refusal::Conflict { now: Some(now) } if now.is_empty() => {
                f.write_str("the notebook was changed meanwhile: this cell is empty now; nothing was written")
            }
            Refusal::Conflict { now: Some(now) } => {
                write!(f, "the notebook was changed meanwhile: `{now}` stands there now; nothing was written")
            }
            Refusal::Conflict { now: None } => f.write_str(
                "the notebook was changed meanwhile: this line or its trial is no longer there; nothing was written",
            ),
            Refusal::Unfit(why) => f.write_str(why),
        }
    }
}

pub(super) fn unfit<T>(why: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal::Unfit(why.into()))
}

/// A line of readings, with where it is.
#[derive(Clone, Copy, Debug)]
pub struct Line<'a> {
    /// Index of its block in [`Notebook::blocks`].
    pub block: usize,
    /// The block.
    pub masses: &'a Masses,
    /// The line.
    pub row: &'a LoadRow,
    /// Which of the lines with its label it is, from 0.
    pub nth: usize,
}

/// The lines of readings that stand in the notebook's own text, in the order written.
pub fn lines(notebook: &Notebook) -> Vec<Line<'_>> {
    let mut lines: Vec<Line> = Vec::new();
    for (block, masses) in notebook.blocks.iter().enumerate().filter_map(|(index, block)| match &block.kind {
        BlockKind::Masses(masses) => Some((index, masses)),
        _ => None,
    }) {
        for row in masses.rows.iter().filter_map(own_line) {
            let nth = lines.iter().filter(|line| line.row.label.value == row.label.value).count();
            lines.push(Line { block, masses, row, nth });
        }
    }
    lines
}

/// A line that was read from the notebook itself, not from a file beside it.
pub(super) fn own_line(row: &Row) -> Option<&LoadRow> {
    match row {
        Row::Load(row) if row.file.is_none() => Some(row),
        _ => None,
    }
}

/// The text of a cell, empty where the line ends before it.
pub fn cell_text<'a>(notebook: &'a Notebook, row: &LoadRow, column: usize) -> &'a str {
    row.cells.get(column).map_or("", |cell| cell.span.text(&notebook.text))
}

/// The bytes of a notebook with something written into them. `notebook` is what those bytes were read as.
///
/// # Errors
///
/// A [`Refusal`]; the bytes stay as they are.
pub fn enter(bytes: &[u8], notebook: &Notebook, entry: &Entry) -> Result<Vec<u8>, Refusal> {
    let text = own_text(bytes)?;
    let edits = match entry {
        Entry::Reading { at, reading, why } => reading_edits(notebook, at, reading, why.as_ref())?,
        Entry::Further { at, treatment, reading } => further_edits(text, notebook, at, treatment, reading)?,
        Entry::Load { behind, label, reading } => load_edits(text, notebook, behind, label, reading)?,
        Entry::Trial { label, nth, name } => trial_edits(notebook, label, *nth, name)?,
    };
    let mark = bytes.len() - text.len();
    let written = [bytes.get(..mark).unwrap_or_default(), applied(text, edits).as_bytes()].concat();
    unchanged::check(notebook, text.len(), &written, entry)?;
    Ok(written)
}

/// The text of the bytes, without a byte-order mark.
fn own_text(bytes: &[u8]) -> Result<&str, Refusal> {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text),
        Err(_) => {
            unfit("the notebook holds bytes that are not UTF-8 text; save it as UTF-8 before readings go in")
        }
    }
}

/// The line that an entry means, with its column.
pub(super) fn find<'a>(notebook: &'a Notebook, at: &At) -> Result<Line<'a>, Refusal> {
    let line =
        lines(notebook).into_iter().find(|line| line.row.label.value == at.label && line.nth == at.nth);
    let line = line.ok_or(Refusal::Conflict { now: None })?;
    if line.row.struck {
        return unfit("this line is struck as a whole; write a new line for another weighing");
    }
    column_is_there(notebook, line.masses, at)?;
    Ok(line)
}

/// Whether the column that an entry means still belongs to its trial.
pub(super) fn column_is_there(notebook: &Notebook, masses: &Masses, at: &At) -> Result<(), Refusal> {
    match trial_names(notebook, masses).get(at.column) {
        Some(name) if *name == at.trial => Ok(()),
        _ => Err(Refusal::Conflict { now: None }),
    }
}

/// A reading as it is written, checked.
pub(super) fn checked_reading<'a>(notebook: &Notebook, reading: &'a str) -> Result<&'a str, Refusal> {
    let reading = reading.trim();
    let comma = notebook.settings.decimal == DecimalMark::Comma;
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-' | '−');
    if reading.is_empty() {
        return unfit("nothing was entered; type the number that the display shows");
    }
    let (mark, other) = if comma { (',', '.') } else { ('.', ',') };
    if reading.contains(other) {
        return unfit(format!("this notebook writes its decimals with `{mark}`; found `{reading}`"));
    }
    if !reading.chars().all(plain) || Decimal::parse(reading, comma).is_err() {
        return unfit(format!("`{reading}` is not a number; expected a reading such as `18{mark}2749`"));
    }
    Ok(reading)
}

/// A text that goes into a bracket or behind a label, checked.
pub(super) fn checked_words(text: &str, what: &str) -> Result<String, Refusal> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.chars().count() > MOST_CHARACTERS {
        return unfit(format!("{what} is longer than {MOST_CHARACTERS} characters"));
    }
    let unfitting = |c: char| c.is_control() || matches!(c, '[' | ']' | '~' | '`' | '|' | '@' | '=' | '±');
    match text.chars().find(|c| unfitting(*c)) {
        Some(c) => unfit(format!("{what} cannot hold `{}`; use other words", c.escape_debug())),
        None => Ok(text),
    }
}

fn reading_edits(
    notebook: &Notebook,
    at: &At,
    reading: &str,
    why: Option<&Why>,
) -> Result<Vec<Edit>, Refusal> {
    let line = find(notebook, at)?;
    let reading = checked_reading(notebook, reading)?;
    let now = cell_text(notebook, line.row, at.column);
    if now != at.was {
        return Err(Refusal::Conflict { now: Some(now.to_owned()) });
    }
    let Some(cell) = line.row.cells.get(at.column) else {
        return Ok(vec![behind(notebook, &line, at.column, reading)]);
    };
    match &cell.value {
        CellValue::Missing => Ok(vec![Edit::replace(cell.written, reading)]),
        CellValue::Number(_) => correction(notebook, cell, reading, why),
        CellValue::SameAs(trial) => unfit(format!(
            "this cell says that it shares the reading of trial {trial}; enter the reading there, or change the \
             cell in the notebook"
        )),
        _ => unfit("what stands in this cell could not be read; mend it in the notebook first"),
    }
}

/// `~~old~~ new`, and the reason behind the cell.
fn correction(
    notebook: &Notebook,
    cell: &Cell,
    reading: &str,
    why: Option<&Why>,
) -> Result<Vec<Edit>, Refusal> {
    let old = cell.written.text(&notebook.text);
    let why = match why {
        Some(why) if !why.reason.trim().is_empty() => why,
        _ => {
            return unfit(format!(
                "`{old}` stands here already; a reading is struck with its reason, never replaced: say why"
            ));
        }
    };
    if old == reading {
        return unfit(format!("`{old}` stands here already"));
    }
    let (reason, time) = (checked_words(&why.reason, "the reason")?, checked_words(&why.time, "the time")?);
    let remark = if time.is_empty() { format!(" [{reason}]") } else { format!(" [{reason}; {time}]") };
    Ok(vec![Edit::replace(cell.written, format!("~~{old}~~ {reading}")), Edit::insert(cell.span.end, remark)])
}

/// A reading in a column that the line does not reach yet.
fn behind(notebook: &Notebook, line: &Line, column: usize, reading: &str) -> Edit {
    let (end, mut width) = line_end(notebook, line.row);
    let mut text = String::new();
    for index in line.row.cells.len()..=column {
        let word = if index == column { reading } else { "–" };
        let blanks = blanks_to(notebook, line.masses, index, width);
        text.push_str(&" ".repeat(blanks));
        text.push_str(word);
        width += blanks + word.chars().count();
    }
    Edit::insert(end, text)
}

/// The byte behind the last cell of a line (its label, where it has none), and how many characters stand before it.
pub(super) fn line_end(notebook: &Notebook, row: &LoadRow) -> (usize, usize) {
    let label_end = || {
        let from = row.label.span.end;
        notebook.text.get(from..).and_then(|rest| rest.find(':')).map_or(from, |colon| from + colon + 1)
    };
    let end = row.cells.last().map_or_else(label_end, |cell| cell.span.end);
    (end, width_before(&notebook.text, end))
}

/// Characters between the start of the line and a byte.
pub(super) fn width_before(text: &str, at: usize) -> usize {
    let before = text.get(..at).unwrap_or(text);
    before.rsplit('\n').next().map_or(0, |line| line.chars().count())
}

/// How many blanks bring a cell under the name of its trial (or under the cell of the first line), two at least.
pub(super) fn blanks_to(notebook: &Notebook, masses: &Masses, column: usize, width: usize) -> usize {
    let name =
        masses.columns.trials.as_ref().and_then(|trials| trials.get(column)).map(|name| name.span.start);
    let first =
        || masses.rows.iter().filter_map(own_line).find_map(|row| Some(row.cells.get(column)?.span.start));
    let wanted = name.or_else(first).map_or(0, |at| width_before(&notebook.text, at));
    wanted.saturating_sub(width).max(2)
}

/// The names of a block's columns: those it names, else those of the notebook, else one that is numbered.
pub fn trial_names(notebook: &Notebook, masses: &Masses) -> Vec<String> {
    match &masses.columns.trials {
        Some(trials) => trials.iter().map(|trial| trial.value.clone()).collect(),
        None => {
            let all = Trials::of(notebook, &mut Vec::new());
            let names: Vec<String> = all.list().iter().map(|trial| trial.name.clone()).collect();
            if names.is_empty() { vec!["1".to_owned()] } else { names }
        }
    }
}
