//! A reading written into a notebook: its own bytes change, and no others.
//!
//! | what is entered | what happens to the text |
//! | --- | --- |
//! | a reading where a dash stands | the dash is replaced |
//! | a reading where the line ends early | dashes up to its column and the reading are put behind the last cell |
//! | another reading where one stands | `~~old~~ new`, and `[reason; time]` behind the cell: nothing is erased |
//! | a further weighing of a load | a new line behind its last one, numbered on |
//! | a further trial | its name behind the last one, and a dash in every line that is full |
//!
//! A place is known by the label of its line and the name of its trial, not by bytes, so that a page which has not seen
//! the last edit of the notebook still means the same cell. What the page believes to stand there comes with it
//! ([`At::was`]); where something else stands by now, that is a [`Refusal::Conflict`], and nothing is written.
//!
//! Before the new text is handed out it is read again: the cell holds what was entered, and every other cell what
//! it held. Where that is not so, the entry is refused.

use super::edit::{Edit, applied};
use crate::files::Memory;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, LoadRow, Masses, Row};
use crate::notebook::settings::DecimalMark;
use crate::notebook::{self, MOST_CYCLES, MOST_TRIALS, Notebook, load_key};
use crate::quantity::Decimal;

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
    /// A further trial in the block of a line.
    Trial {
        /// The label of a line of the block.
        label: String,
        /// The name of the trial.
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
                "the notebook was changed meanwhile: this line is no longer there; nothing was written",
            ),
            Refusal::Unfit(why) => f.write_str(why),
        }
    }
}

fn unfit<T>(why: impl Into<String>) -> Result<T, Refusal> {
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
fn own_line(row: &Row) -> Option<&LoadRow> {
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
        Entry::Trial { label, name } => trial_edits(notebook, label, name)?,
    };
    let mark = bytes.len() - text.len();
    let written = [bytes.get(..mark).unwrap_or_default(), applied(text, edits).as_bytes()].concat();
    check(notebook, &written, entry)?;
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

/// The line that an entry means.
fn find<'a>(notebook: &'a Notebook, at: &At) -> Result<Line<'a>, Refusal> {
    let line =
        lines(notebook).into_iter().find(|line| line.row.label.value == at.label && line.nth == at.nth);
    let line = line.ok_or(Refusal::Conflict { now: None })?;
    if line.row.struck {
        return unfit("this line is struck as a whole; write a new line for another weighing");
    }
    Ok(line)
}

/// A reading as it is written, checked.
fn checked_reading<'a>(notebook: &Notebook, reading: &'a str) -> Result<&'a str, Refusal> {
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
fn checked_words(text: &str, what: &str) -> Result<String, Refusal> {
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
        return Ok(vec![behind(notebook, &line, at.column, reading)?]);
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
fn behind(notebook: &Notebook, line: &Line, column: usize, reading: &str) -> Result<Edit, Refusal> {
    let columns = column_count(notebook, line.masses);
    if column >= columns {
        return Err(Refusal::Conflict { now: None });
    }
    let (end, mut width) = line_end(notebook, line.row);
    let mut text = String::new();
    for index in line.row.cells.len()..=column {
        let word = if index == column { reading } else { "–" };
        let blanks = blanks_to(notebook, line.masses, index, width);
        text.push_str(&" ".repeat(blanks));
        text.push_str(word);
        width += blanks + word.chars().count();
    }
    Ok(Edit::insert(end, text))
}

/// The byte behind the last cell of a line (its label, where it has none), and how many characters stand before it.
fn line_end(notebook: &Notebook, row: &LoadRow) -> (usize, usize) {
    let label_end = || {
        let from = row.label.span.end;
        notebook.text.get(from..).and_then(|rest| rest.find(':')).map_or(from, |colon| from + colon + 1)
    };
    let end = row.cells.last().map_or_else(label_end, |cell| cell.span.end);
    (end, width_before(&notebook.text, end))
}

/// Characters between the start of the line and a byte.
fn width_before(text: &str, at: usize) -> usize {
    let before = text.get(..at).unwrap_or(text);
    before.rsplit('\n').next().map_or(0, |line| line.chars().count())
}

/// How many blanks bring a cell under the name of its trial (or under the cell of the first line), two at least.
fn blanks_to(notebook: &Notebook, masses: &Masses, column: usize, width: usize) -> usize {
    let name =
        masses.columns.trials.as_ref().and_then(|trials| trials.get(column)).map(|name| name.span.start);
    let first =
        || masses.rows.iter().filter_map(own_line).find_map(|row| Some(row.cells.get(column)?.span.start));
    let wanted = name.or_else(first).map_or(0, |at| width_before(&notebook.text, at));
    wanted.saturating_sub(width).max(2)
}

/// How many columns a block has: those it names, else those of the notebook.
pub fn column_count(notebook: &Notebook, masses: &Masses) -> usize {
    let named = |masses: &Masses| masses.columns.trials.as_ref().map(Vec::len);
    let cells = |masses: &Masses| masses.rows.iter().filter_map(own_line).map(|row| row.cells.len()).max();
    let all = || {
        notebook.blocks.iter().filter_map(|block| match &block.kind {
            BlockKind::Masses(masses) => Some(masses),
            _ => None,
        })
    };
    let own = named(masses).or_else(|| all().filter_map(named).max());
    own.or_else(|| all().filter_map(cells).max()).unwrap_or(0).max(1)
}

fn further_edits(
    text: &str,
    notebook: &Notebook,
    at: &At,
    treatment: &str,
    reading: &str,
) -> Result<Vec<Edit>, Refusal> {
    let line = find(notebook, at)?;
    let reading = checked_reading(notebook, reading)?;
    let key = load_key(&line.row.things);
    let same = lines(notebook).into_iter().filter(|other| load_key(&other.row.things) == key);
    let same: Vec<Line> = same.collect();
    if same.last().map(|last| last.row.span) != Some(line.row.span) {
        return Err(Refusal::Conflict { now: None });
    }
    if same.len() >= MOST_CYCLES {
        return unfit(format!("a load has at most {MOST_CYCLES} weighings"));
    }
    if at.column >= column_count(notebook, line.masses) {
        return Err(Refusal::Conflict { now: None });
    }
    let label = next_label(notebook, line.row, treatment)?;
    let start =
        text.get(..line.row.span.start).and_then(|before| before.rfind(['\n', '\r'])).map_or(0, |at| at + 1);
    let indent = text.get(start..line.row.span.start).unwrap_or("");
    let mut new = format!("{indent}{label}:");
    for index in 0..=at.column {
        let width = new.chars().count();
        new.push_str(&" ".repeat(blanks_to(notebook, line.masses, index, width)));
        new.push_str(if index == at.column { reading } else { "–" });
    }
    Ok(vec![Edit::insert_line(text, line.row.span.end, &new)])
}

/// The label of the next weighing of a load.
fn next_label(notebook: &Notebook, row: &LoadRow, treatment: &str) -> Result<String, Refusal> {
    let written = row.label.value.as_str();
    let load = match &row.treatment {
        Some(_) => written.rsplit_once(',').map_or(written, |(load, _)| load.trim_end()),
        None => written,
    };
    let wanted = checked_words(treatment, "the treatment")?;
    if wanted.contains([',', ':', '+', '(', ')']) {
        return unfit("the treatment is a word or two, such as `heating`; its number follows by itself");
    }
    let name = match (&row.treatment, wanted.as_str()) {
        (Some(treatment), "") => treatment.name.clone(),
        (None, "") => return Ok(written.to_owned()),
        (_, wanted) => wanted.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end().to_owned(),
    };
    let number = row.treatment.as_ref().map_or(1, |treatment| treatment.number);
    match number.checked_add(1) {
        Some(next) => Ok(format!("{load}, {name} {next}")),
        None => unfit(format!("the line {} has a number that cannot be counted on", notebook.name)),
    }
}

fn trial_edits(notebook: &Notebook, label: &str, name: &str) -> Result<Vec<Edit>, Refusal> {
    let found = lines(notebook).into_iter().find(|line| line.row.label.value == label);
    let line = found.ok_or(Refusal::Conflict { now: None })?;
    let name = checked_words(name, "the name of a trial")?;
    if name.is_empty() || name.contains([' ', ',', ';', ':', '(', ')']) {
        return unfit("the name of a trial is one word, such as `C`");
    }
    let Some(trials) = line.masses.columns.trials.as_ref().filter(|trials| !trials.is_empty()) else {
        return unfit("this block numbers its trials; give it a line `trial: 1  2  3` to add one by name");
    };
    if trials.iter().any(|trial| trial.value == name) {
        return unfit(format!("there is a trial {name} already"));
    }
    if trials.len() >= MOST_TRIALS {
        return unfit(format!("a notebook has at most {MOST_TRIALS} trials"));
    }
    let apart = column_step(notebook, trials.iter().map(|trial| trial.span.start).collect());
    let (last, at) = (trials.len() - 1, trials.last().map_or(0, |trial| trial.span.end));
    let start = trials.last().map_or(0, |trial| width_before(&notebook.text, trial.span.start)) + apart;
    let put = |at: usize, word: &str| {
        let blanks = start.saturating_sub(width_before(&notebook.text, at)).max(2);
        Edit::insert(at, format!("{}{word}", " ".repeat(blanks)))
    };
    let mut edits = vec![put(at, &name)];
    let full = line.masses.rows.iter().filter_map(own_line);
    for row in full.filter(|row| !row.struck && row.cells.len() == last + 1) {
        edits.push(put(line_end(notebook, row).0, "–"));
    }
    Ok(edits)
}

/// How far the last two columns are apart.
fn column_step(notebook: &Notebook, starts: Vec<usize>) -> usize {
    let widths: Vec<usize> = starts.iter().map(|start| width_before(&notebook.text, *start)).collect();
    match widths.as_slice() {
        [.., before, last] => last.saturating_sub(*before).max(3),
        _ => 13,
    }
}

/// What a cell holds, to be compared with another reading of the notebook.
type Held = (String, usize, Vec<(String, CellValue)>);

/// Every line of the notebook's own text with its cells.
fn held(notebook: &Notebook) -> Vec<Held> {
    let cell = |cell: &Cell| (cell.span.text(&notebook.text).to_owned(), cell.value.clone());
    let line =
        |line: Line| (line.row.label.value.clone(), line.nth, line.row.cells.iter().map(cell).collect());
    lines(notebook).into_iter().map(line).collect()
}

/// Reads the new text and compares: the entry is there, and everything else as before.
fn check(before: &Notebook, written: &[u8], entry: &Entry) -> Result<(), Refusal> {
    let nothing = Memory::default();
    let read = if before.settings.decimal == DecimalMark::Comma {
        notebook::read_with_comma(&before.name, written, &nothing)
    } else {
        notebook::read(&before.name, written, &nothing)
    };
    let (old, new) = (held(before), held(&read));
    let fits = match entry {
        Entry::Reading { at, reading, .. } => same_but(&old, &new, at, reading),
        Entry::Further { at, reading, .. } => one_line_more(&old, &new, at, reading),
        Entry::Trial { .. } => {
            old.len() == new.len() && old.iter().zip(&new).all(|(old, new)| begins_alike(old, new))
        }
    };
    if fits {
        return Ok(());
    }
    unfit(
        "this cannot be written there without changing how the rest is read; enter it in the notebook itself",
    )
}

fn holds(cell: Option<&(String, CellValue)>, reading: &str) -> bool {
    let comma = reading.contains(',');
    match (cell, Decimal::parse(reading.trim(), comma)) {
        (Some((_, CellValue::Number(number))), Ok(entered)) => *number == entered,
        _ => false,
    }
}

fn same_but(old: &[Held], new: &[Held], at: &At, reading: &str) -> bool {
    let meant = |line: &Held| line.0 == at.label && line.1 == at.nth;
    let same = |(old, new): (&Held, &Held)| {
        let dashes =
            |cells: &[(String, CellValue)]| cells.iter().all(|(_, value)| *value == CellValue::Missing);
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

fn one_line_more(old: &[Held], new: &[Held], at: &At, reading: &str) -> bool {
    let place = old.iter().position(|line| line.0 == at.label && line.1 == at.nth).map(|index| index + 1);
    let Some(place) = place.filter(|_| new.len() == old.len() + 1) else { return false };
    let before = old.get(..place) == new.get(..place);
    let after = old.get(place..) == new.get(place + 1..);
    before && after && holds(new.get(place).and_then(|line| line.2.get(at.column)), reading)
}

/// Whether a line says what it said, and perhaps something more at its end.
fn begins_alike(old: &Held, new: &Held) -> bool {
    (&old.0, old.1) == (&new.0, new.1) && new.2.get(..old.2.len()) == Some(&old.2)
}
