//! The tables of a report as plain data: heads, rows, cells, notes.
//!
//! A table knows no output form but in its last step, where it becomes a call of the layout. Trials are columns.
//! Above six trials a table breaks into parts, each with its own heads.

mod agreement;
mod budget;
mod buoyancy;
mod draws;
mod measured;
mod quantities;
mod readings;
mod steps;
mod theory;
mod verdicts;

use super::code::{self, Fields};
use super::words::{self, Ink, Words};
use crate::evaluation::results::{Results, Trial};
use crate::notebook::settings::{DecimalMark, UncertaintyForm};
use crate::quantity::derivation::NodeId;
use crate::quantity::{Printed, PrintedUncertainty};

pub(super) use agreement::agreement;
pub(super) use budget::budget;
pub(super) use buoyancy::air_buoyancy;
pub(super) use draws::draws;
pub(super) use measured::measured;
pub(super) use quantities::{net_masses, results};
pub(super) use readings::{changes, readings};
pub(super) use steps::steps;
pub(super) use theory::theory;
pub(super) use verdicts::{conformity, outliers};

/// Most trials side by side: of plain values, …
const MOST_COLUMNS: usize = 6;
/// … of values with the standard uncertainty in brackets, …
const MOST_CONCISE: usize = 4;
/// … and of values with the expanded uncertainty after `±`.
const MOST_PLUS_MINUS: usize = 3;

/// A table with its caption and notes.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// What it shows, for the layout's function (`readings`).
    pub name: &'static str,
    /// Its caption.
    pub caption: Words,
    /// Its parts, one below the other.
    pub parts: Vec<Part>,
    /// What stands beneath it: mark (may be empty) and text.
    pub notes: Vec<(String, Words)>,
}

/// One part: the same rows for some of the trials.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// A head over the first so many value columns.
    pub spanner: Option<(Words, usize)>,
    /// Heads of the label columns.
    pub labels: Vec<Words>,
    /// Heads of the value columns.
    pub columns: Vec<Words>,
    /// The rows.
    pub rows: Vec<Row>,
}

/// A row.
#[derive(Clone, Debug, PartialEq)]
pub enum Row {
    /// Something that was done between two weighings, over the whole width.
    Event(Words),
    /// Labels and values.
    Values {
        /// The labels: a label over several rows stands in the first of them only.
        labels: Vec<Label>,
        /// One per value column.
        cells: Vec<Cell>,
        /// Whether a thin rule sets it off from the row above.
        ruled: bool,
    },
}

/// The label of one or more rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// What it says.
    pub words: Words,
    /// How many rows it stands for.
    pub rows: usize,
}

impl Label {
    fn one(words: Words) -> Self {
        Label { words, rows: 1 }
    }
}

/// What stands in a value column.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// No value: a dash.
    Missing,
    /// Words.
    Words(Words),
    /// A number.
    Value(Value),
}

/// A number as it is printed in a cell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Value {
    /// ASCII digits with `-` and `.`.
    pub digits: String,
    /// A plus before a positive number.
    pub signed: bool,
    /// The uncertainty that stands beside it.
    pub beside: Option<Beside>,
    /// A power of ten, of both.
    pub power: Option<i32>,
    /// Its own unit, where that is not the head's.
    pub unit: Option<String>,
    /// Struck values before it, as written.
    pub struck: Vec<String>,
    /// Whether the value is struck itself.
    pub off: bool,
    /// The trial it shares its weighing with.
    pub shared: Option<String>,
    /// Marks of notes.
    pub marks: String,
    /// Which value of the derivation graph it is.
    pub node: Option<NodeId>,
    /// Which figure of a quantity it is, where it is none of the graph (`s w(water)`).
    pub figure: Option<String>,
}

/// An uncertainty beside a number, as ASCII digits.
#[derive(Clone, Debug, PartialEq)]
pub enum Beside {
    /// `± 0.042`
    PlusMinus(String),
    /// `(21)`
    Concise(String),
}

impl Beside {
    /// The form that was chosen for it.
    pub(super) fn of(uncertainty: &PrintedUncertainty) -> Beside {
        match &uncertainty.concise {
            Some(concise) => Beside::Concise(concise.clone()),
            None => Beside::PlusMinus(uncertainty.expanded.clone()),
        }
    }

    /// The field of the layout it goes into, and its text.
    pub(super) fn field(&self, mark: DecimalMark) -> (&'static str, String) {
        match self {
            Beside::PlusMinus(expanded) => ("expanded", words::digits(expanded, mark)),
            Beside::Concise(concise) => ("concise", concise.clone()),
        }
    }
}

/// The notes of one table: equal texts share a mark.
#[derive(Default)]
struct Notes {
    lettered: Vec<Words>,
    plain: Vec<(String, Words)>,
}

impl Notes {
    /// The mark of a note.
    fn mark(&mut self, words: Words) -> String {
        let known = self.lettered.iter().position(|note| *note == words);
        let index = known.unwrap_or_else(|| {
            self.lettered.push(words);
            self.lettered.len() - 1
        });
        letters(index)
    }

    /// A note with a sign of its own (or none), said once.
    fn once(&mut self, sign: &str, words: Words) {
        let note = (sign.to_owned(), words);
        if !self.plain.contains(&note) {
            self.plain.push(note);
        }
    }

    fn all(self) -> Vec<(String, Words)> {
        let lettered = self.lettered.into_iter().enumerate().map(|(index, words)| (letters(index), words));
        lettered.chain(self.plain).collect()
    }
}

/// a, b, …, z, aa, ab, …
fn letters(index: usize) -> String {
    let last = char::from(b'a' + (index % 26) as u8);
    if index < 26 { last.to_string() } else { format!("{}{last}", letters(index / 26 - 1)) }
}

/// The sign of a provisional value.
const PROVISIONAL: &str = "†";
/// The sign of a value whose digits follow significant figures because it has no uncertainty.
const BY_FIGURES: &str = "‡";

/// Trials in groups of at most six, as even as can be.
fn groups(trials: &[usize]) -> Vec<&[usize]> {
    groups_of(trials, MOST_COLUMNS)
}

/// How many trials fit side by side where each value has its uncertainty in this form.
fn most_columns(form: UncertaintyForm) -> usize {
    match form {
        UncertaintyForm::Plain => MOST_COLUMNS,
        UncertaintyForm::Concise => MOST_CONCISE,
        UncertaintyForm::PlusMinus => MOST_PLUS_MINUS,
    }
}

/// Trials in groups of at most so many, as even as can be.
fn groups_of(trials: &[usize], most: usize) -> Vec<&[usize]> {
    let count = trials.len().div_ceil(most).max(1);
    let size = trials.len().div_ceil(count).max(1);
    if trials.is_empty() { vec![trials] } else { trials.chunks(size).collect() }
}

/// The head of a trial's column: its name, and what sets it apart.
fn trial_head(trial: &Trial, notes: &mut Notes) -> Words {
    let mut head = words::plain(&trial.name);
    if let Some(reason) = &trial.set_aside {
        let why = if reason.is_empty() { "no reason is written".to_owned() } else { reason.clone() };
        let mark = notes.mark(words::plain(format!("Trial {} was set aside: {why}.", trial.name)));
        head.push(words::Run::Raised(mark));
        head.push(words::Run::Break);
        head.push(words::Run::Plain("set aside".to_owned()));
    } else if trial.blank && !trial.name.eq_ignore_ascii_case("blank") {
        head.push(words::Run::Break);
        head.push(words::Run::Plain("blank".to_owned()));
    }
    head
}

fn heads(results: &Results, group: &[usize], notes: &mut Notes) -> Vec<Words> {
    group
        .iter()
        .filter_map(|index| results.trials.get(*index))
        .map(|trial| trial_head(trial, notes))
        .collect()
}

impl Table {
    /// The table as a call of the layout.
    pub(super) fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let parts = self.parts.iter().map(|part| part.set(ink, mark));
        let note = |(sign, text): &(String, Words)| {
            Fields::new().text("mark", sign).code("text", ink.words(text, None)).dictionary()
        };
        let table = Fields::new()
            .code("caption", ink.words(&self.caption, None))
            .code("parts", code::array(parts))
            .code("notes", code::array(self.notes.iter().map(note)))
            .optional("number", ink.table_number())
            .dictionary();
        format!("layout.{}-table({table})\n", self.name)
    }
}

impl Part {
    /// One label column, value columns, no head over them.
    fn plain(label: &str, columns: Vec<Words>, rows: Vec<Row>) -> Part {
        Part { spanner: None, labels: vec![words::plain(label)], columns, rows }
    }

    /// One label column, and trials under a common head.
    fn of_trials(label: &str, columns: Vec<Words>, rows: Vec<Row>) -> Part {
        let spanner = Some((words::plain("trial"), columns.len()));
        Part { spanner, ..Part::plain(label, columns, rows) }
    }

    fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let all = |words: &[Words]| code::array(words.iter().map(|words| ink.words(words, None)));
        let spanner = self.spanner.as_ref().filter(|(_, columns)| *columns > 0).map(|(words, columns)| {
            let text = ink.words(words, None);
            Fields::new().code("text", text).code("columns", columns.to_string()).dictionary()
        });
        Fields::new()
            .optional("spanner", spanner)
            .code("labels", all(&self.labels))
            .code("columns", all(&self.columns))
            .code("rows", code::lines(self.rows.iter().map(|row| row.set(ink, mark))))
            .dictionary()
    }
}

impl Part {
    /// Whether an uncertainty stands beside some value.
    fn has_beside(&self) -> bool {
        let beside = |cell: &Cell| matches!(cell, Cell::Value(value) if value.beside.is_some());
        self.rows.iter().any(|row| matches!(row, Row::Values { cells, .. } if cells.iter().any(beside)))
    }
}

impl Row {
    fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        match self {
            Row::Event(words) => Fields::new().code("event", ink.words(words, None)).dictionary(),
            Row::Values { labels, cells, ruled } => {
                let label = |label: &Label| {
                    let text = ink.words(&label.words, None);
                    Fields::new().code("text", text).code("span", label.rows.to_string()).dictionary()
                };
                Fields::new()
                    .code("labels", code::array(labels.iter().map(label)))
                    .code("cells", code::array(cells.iter().map(|cell| cell.set(ink, mark))))
                    .flag("ruled", *ruled)
                    .dictionary()
            }
        }
    }
}

impl Cell {
    fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        match self {
            Cell::Empty => "(text: [])".to_owned(),
            Cell::Missing => "(text: layout.dash)".to_owned(),
            Cell::Words(words) => Fields::new().code("text", ink.words(words, None)).dictionary(),
            Cell::Value(value) => value.set(ink, mark),
        }
    }

    /// The cell with the mark of a note added to its number.
    fn marked(self, mark: &str) -> Cell {
        match self {
            Cell::Value(mut value) => {
                value.marks.push_str(mark);
                Cell::Value(value)
            }
            other => other,
        }
    }
}

impl Value {
    /// A printed number.
    fn printed(printed: &Printed) -> Self {
        Value { digits: printed.digits.clone(), power: printed.exponent, ..Value::default() }
    }

    /// A printed number with the uncertainty beside it.
    fn with(printed: &Printed, uncertainty: Option<&PrintedUncertainty>) -> Self {
        Value { beside: uncertainty.map(Beside::of), ..Value::printed(printed) }
    }

    /// A plus before a positive number that shows its sign.
    fn plus(&self) -> &'static str {
        let positive = !self.digits.starts_with('-') && self.digits.contains(|c| ('1'..='9').contains(&c));
        if self.signed && positive { "+" } else { "" }
    }

    /// The digits as they are printed, with their sign.
    pub(super) fn printed_digits(&self, mark: DecimalMark) -> String {
        format!("{}{}", self.plus(), words::digits(&self.digits, mark))
    }

    fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let (whole, rest) = self.digits.split_at(self.digits.find('.').unwrap_or(self.digits.len()));
        let plus = self.plus();
        let struck: Vec<String> =
            self.struck.iter().map(|text| ink.text(&words::digits(text, mark), None)).collect();
        let fields = Fields::new()
            .text("whole", &format!("{plus}{}", words::digits(whole, mark)))
            .text("rest", &words::digits(rest, mark));
        let beside = self.beside.as_ref().map(|beside| beside.field(mark));
        let fields = match &beside {
            Some((key, text)) => fields.text(key, text),
            None => fields,
        };
        fields
            .optional_text("power", self.power.map(words::power).as_deref())
            .optional("unit", self.unit.as_ref().map(|unit| ink.words(&words::unit(unit), None)))
            .optional("struck", (!struck.is_empty()).then(|| code::array(struck)))
            .flag("off", self.off)
            .optional("shared", self.shared.as_ref().map(|trial| ink.text(trial, None)))
            .optional_text("marks", Some(self.marks.as_str()).filter(|marks| !marks.is_empty()))
            .optional("alt", self.spoken(mark).as_deref().map(code::short_string))
            .optional("node", ink.node(self.node).or_else(|| ink.figure(self.figure.as_deref())))
            .dictionary()
    }

    /// What is read out where the sight of the cell says more than its characters.
    fn spoken(&self, mark: DecimalMark) -> Option<String> {
        let value = words::digits(&self.digits, mark);
        let before: Vec<String> = self.struck.iter().map(|text| words::digits(text, mark)).collect();
        let unit = self.unit.as_ref().map_or(String::new(), |unit| format!(" {}", words::spoken_unit(unit)));
        let note = if self.marks.is_empty() { String::new() } else { format!(", note {}", self.marks) };
        match (before.is_empty(), self.off) {
            (true, false) => None,
            (true, true) => Some(format!("struck {value}{unit}{note}")),
            (false, true) => Some(format!("struck {} and {value}{unit}{note}", before.join(" and "))),
            (false, false) => {
                Some(format!("struck {}, corrected to {value}{unit}{note}", before.join(" and ")))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_even_and_no_larger_than_six() {
        let trials: Vec<usize> = (0..13).collect();
        let sizes: Vec<usize> = groups(&trials).iter().map(|group| group.len()).collect();
        assert_eq!(sizes, [5, 5, 3]);
        assert_eq!(groups(&trials[..6]).len(), 1);
        assert_eq!(groups(&trials[..7]).iter().map(|group| group.len()).collect::<Vec<_>>(), [4, 3]);
        assert_eq!(groups(&[]).len(), 1);
    }

    #[test]
    fn notes_share_marks() {
        let mut notes = Notes::default();
        assert_eq!(notes.mark(words::plain("x")), "a");
        assert_eq!(notes.mark(words::plain("y")), "b");
        assert_eq!(notes.mark(words::plain("x")), "a");
        assert_eq!(letters(26), "aa");
    }

    #[test]
    fn struck_values_are_said_as_struck_and_corrected() {
        let value = Value {
            digits: "18.5705".into(),
            struck: vec!["18.5075".into()],
            marks: "a".into(),
            ..Value::default()
        };
        assert_eq!(value.spoken(DecimalMark::Point).unwrap(), "struck 18.5075, corrected to 18.5705, note a");
        assert_eq!(value.spoken(DecimalMark::Comma).unwrap(), "struck 18,5075, corrected to 18,5705, note a");
    }

    #[test]
    fn values_split_at_the_marker() {
        let ink = Ink::new(&|_| crate::report::words::Glyph::Everywhere);
        let value = Value { digits: "-0.0029".into(), signed: true, ..Value::default() };
        assert_eq!(value.set(&ink, DecimalMark::Comma), "(whole: \"−0\", rest: \",0029\")");
        let value = Value { digits: "0.2".into(), signed: true, ..Value::default() };
        assert_eq!(value.set(&ink, DecimalMark::Point), "(whole: \"+0\", rest: \".2\")");
    }
}
