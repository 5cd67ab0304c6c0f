//! `from: weighings.csv`: readings from a CSV file beside the notebook, made into the same rows as lines.
//!
//! The header names the columns: `load`, `trial` and `reading`, and if wanted `treatment`, `balance`, `time`,
//! `unit`, `struck`, `remark`, in any order. The form is RFC 4180 in UTF-8; `;` separates where the decimal
//! mark is a comma. One record is one cell; records of one load and treatment make one row. A load may also
//! carry its treatment in its label (`"crucible, heating 1"`).
//!
//! `struck` is either a word (`yes`, `no`, `x`, `true`, `false`, `1`, `0`), which says whether the record's
//! own reading was struck, or an earlier value of the same cell. A struck reading belongs to the next record
//! of its cell. Without a treatment a second reading of a trial begins the next weighing of the series.
//!
//! Findings are about the file: their ranges are bytes of its text (after a byte-order mark).

use super::blocks::{Cell, CellValue, LoadRow, Treatment};
use super::context::{self, Context, MOST_TRIALS};
use super::label;
use super::lines::Head;
use super::masses::Outside;
use super::passage::{Passage, is_dash};
use super::text::decode;
use crate::finding::{Code, Finding, nearest};
use crate::quantity::Dimension;
use crate::span::{Span, Spanned};
use hashbrown::HashMap;

/// The columns a file may have; the first three have to be there.
const COLUMNS: [&str; 9] =
    ["load", "trial", "reading", "treatment", "balance", "time", "unit", "struck", "remark"];
/// How many of them are required.
const REQUIRED: usize = 3;

/// Reads the file named after `from:` into rows.
pub(super) fn read(
    from: &Spanned<String>,
    head: &mut Head,
    outside: &mut Outside,
    cx: &mut Context,
) -> Vec<LoadRow> {
    let bytes = match outside.bytes(&from.value) {
        Ok(bytes) => bytes,
        Err(problem) => {
            let message = format!("`{}` was not read: {problem}", from.value);
            let hint = "the file stands in the notebook's folder or below it";
            cx.push(Finding::error(Code::BadFile, from.span, message).hint(hint));
            return Vec::new();
        }
    };
    let (text, bad) = decode(bytes);
    if let Some(place) = bad {
        let message = "bytes that are not UTF-8 text";
        cx.push(Finding::error(Code::InvalidText, place, message).in_file(&from.value));
    }
    File { from, text: &text, delimiter: if cx.comma { b';' } else { b',' } }.rows(head, cx)
}

/// A file being read.
struct File<'a> {
    from: &'a Spanned<String>,
    text: &'a str,
    delimiter: u8,
}

/// One record with its place.
struct Record<'a> {
    fields: &'a csv::StringRecord,
    columns: &'a [Option<usize>],
    line: u64,
    span: Span,
}

impl Record<'_> {
    /// The text of a column of [`COLUMNS`], blanks at its ends taken off.
    fn get(&self, name: &str) -> &str {
        let column = COLUMNS.iter().position(|column| *column == name).and_then(|at| self.columns.get(at));
        column.copied().flatten().and_then(|at| self.fields.get(at)).unwrap_or("").trim()
    }

    fn optional(&self, name: &str) -> Option<String> {
        Some(self.get(name)).filter(|text| !text.is_empty()).map(str::to_owned)
    }
}

/// Counts lines up to places further and further on (the CSV reader's own count is one short after CRLF).
struct LineCount<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl LineCount<'_> {
    fn of(&mut self, at: usize) -> u64 {
        let passed = self.text.as_bytes().get(self.at..at).unwrap_or(&[]);
        self.line += passed.iter().filter(|byte| **byte == b'\n').count() as u64;
        self.at = at.max(self.at);
        self.line
    }
}

impl File<'_> {
    fn problem(&self, code: Code, line: u64, span: Span, message: impl std::fmt::Display) -> Finding {
        Finding::error(code, span, format!("line {line}: {message}")).in_file(&self.from.value)
    }

    fn rows(&self, head: &mut Head, cx: &mut Context) -> Vec<LoadRow> {
        self.check_quotes(cx);
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(self.delimiter)
            .from_reader(self.text.as_bytes());
        let mut fields = csv::StringRecord::new();
        let mut columns = None;
        let mut width = 0;
        let mut lines = LineCount { text: self.text, at: 0, line: 1 };
        let mut table = Table::new(self, head, cx);
        // The text is UTF-8 and records may have any length, so reading cannot fail; an error would end it.
        while reader.read_record(&mut fields).unwrap_or(false) {
            let start = fields.position().map_or(0, |at| at.byte() as usize);
            let span = self.record_span(start, reader.position().byte() as usize);
            let line = lines.of(span.start);
            match &columns {
                None => match self.columns(&fields, line, span, table.cx) {
                    Some(found) => {
                        width = fields.len();
                        columns = Some(found);
                    }
                    None => return Vec::new(),
                },
                Some(columns) => {
                    if !table.cx.take_line(self.from.span) {
                        break;
                    }
                    if fields.len() > width && fields.iter().skip(width).any(|field| !field.trim().is_empty())
                    {
                        let message = format!("{} fields where the header has {width}", fields.len());
                        let hint = "a text with a separator in it stands in quotes; `;` separates where the decimal mark is a comma";
                        table.cx.push(self.problem(Code::BadCsv, line, span, message).hint(hint));
                        continue;
                    }
                    table.add(&Record { fields: &fields, columns, line, span });
                }
            }
        }
        if columns.is_none() {
            let message = format!("`{}` holds no rows", self.from.value);
            table.cx.push(Finding::error(Code::BadCsv, self.from.span, message));
        }
        table.finish()
    }

    /// The range of a record without the line ends around it.
    fn record_span(&self, start: usize, end: usize) -> Span {
        let text = self.text.get(start..end).unwrap_or("");
        let from = start + (text.len() - text.trim_start_matches(['\r', '\n']).len());
        Span::new(from, start + text.trim_end_matches(['\r', '\n']).len())
    }

    /// A quotation mark that never closes would swallow the rest of the file.
    fn check_quotes(&self, cx: &mut Context) {
        let odd = self.text.bytes().filter(|byte| *byte == b'"').count() % 2 == 1;
        if let (true, Some(last)) = (odd, self.text.rfind('"')) {
            let line = self.text.bytes().take(last).filter(|byte| *byte == b'\n').count() as u64 + 1;
            let span = Span::new(last, last + 1);
            cx.push(self.problem(Code::BadCsv, line, span, "a quotation mark is never closed"));
        }
    }

    /// Where each of [`COLUMNS`] stands; `None` if a required one is missing.
    fn columns(
        &self,
        header: &csv::StringRecord,
        line: u64,
        span: Span,
        cx: &mut Context,
    ) -> Option<Vec<Option<usize>>> {
        let names: Vec<String> = header.iter().map(|name| name.trim().to_lowercase()).collect();
        let columns: Vec<_> =
            COLUMNS.iter().map(|column| names.iter().position(|name| name == column)).collect();
        let missing: Vec<_> = COLUMNS
            .iter()
            .zip(&columns)
            .take(REQUIRED)
            .filter(|(_, at)| at.is_none())
            .map(|(name, _)| *name)
            .collect();
        if !missing.is_empty() {
            let message =
                format!("the header lacks `{}`; expected `load,trial,reading`", missing.join("`, `"));
            let finding = self.problem(Code::BadCsv, line, span, message);
            cx.push(finding.hint(self.separator_hint(&names)));
            return None;
        }
        for name in names.iter().filter(|name| !COLUMNS.contains(&name.as_str())) {
            let message = format!("line {line}: the column `{name}` is not known and not read");
            let finding = Finding::warning(Code::BadCsv, span, message).in_file(&self.from.value);
            cx.push(match nearest(name, COLUMNS) {
                Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
                None => finding.hint(format!("known columns are {}", COLUMNS.join(", "))),
            });
        }
        Some(columns)
    }

    fn separator_hint(&self, names: &[String]) -> String {
        let other = if self.delimiter == b';' { ',' } else { ';' };
        let separator = char::from(self.delimiter);
        if names.iter().any(|name| name.contains(other)) {
            return format!(
                "fields are parted by `{separator}`; `;` goes with a decimal comma, `,` with a point"
            );
        }
        "the first line names the columns".to_owned()
    }
}

/// The rows while they are made.
struct Table<'a, 'h, 'c> {
    file: &'a File<'a>,
    head: &'h mut Head,
    cx: &'c mut Context,
    /// The columns' names; grows where the block has no `trial:`.
    trials: Vec<String>,
    /// Whether the block names its trials.
    named: bool,
    rows: Vec<LoadRow>,
    /// Which cells hold a reading that stands.
    filled: Vec<Vec<bool>>,
    /// The last row of each load and treatment.
    last: HashMap<(String, Option<(String, u32)>), usize>,
}

impl<'a, 'h, 'c> Table<'a, 'h, 'c> {
    fn new(file: &'a File<'a>, head: &'h mut Head, cx: &'c mut Context) -> Self {
        let named = head.columns.trials.is_some();
        let trials = head.columns.trials.iter().flatten().map(|trial| trial.value.clone()).collect();
        Table { file, head, cx, trials, named, rows: Vec::new(), filled: Vec::new(), last: HashMap::new() }
    }

    /// Takes one record.
    fn add(&mut self, record: &Record) {
        if record.fields.iter().all(|field| field.trim().is_empty()) {
            return;
        }
        let Some(trial) = self.trial(record) else { return };
        let Some((label, things, treatment)) = self.load(record) else { return };
        let (struck, earlier) = struck(record.get("struck"));
        let key = (label::load_key(&things), treatment.as_ref().map(|t| (t.name.to_lowercase(), t.number)));
        let row = match self.last.get(&key) {
            Some(row) if !self.is_filled(*row, trial) || struck && treatment.is_some() => *row,
            Some(_) if treatment.is_some() => return self.twice(record, &label),
            _ => match self.cx.take_cells(self.trials.len(), self.file.from.span) {
                true => self.new_row(label, things, treatment, record),
                false => return,
            },
        };
        self.last.insert(key, row);
        let cell = self.cell(record, struck);
        self.place(row, trial, cell, earlier, struck, record);
    }

    fn is_filled(&self, row: usize, trial: usize) -> bool {
        self.filled.get(row).and_then(|cells| cells.get(trial)).copied().unwrap_or(false)
    }

    fn twice(&mut self, record: &Record, label: &str) {
        let message = format!("a second reading of `{label}` in trial `{}`", record.get("trial"));
        let finding = self.file.problem(Code::BadCsv, record.line, record.span, message);
        self.cx.push(finding.hint("mark the earlier one as struck, or number the treatments"));
    }

    /// The index of the record's trial.
    fn trial(&mut self, record: &Record) -> Option<usize> {
        let name = record.get("trial");
        if let Some(at) = self.trials.iter().position(|trial| trial == name) {
            return Some(at);
        }
        let message = match name.is_empty() {
            true => "no trial is named".to_owned(),
            false if self.named => format!("`{name}` is none of the trials of this block"),
            false if name.contains(char::is_whitespace) => format!("`{name}` has a blank; trials have none"),
            false if self.trials.len() == MOST_TRIALS => {
                self.head.too_many(self.file.from.span, self.cx);
                return None;
            }
            false => {
                self.trials.push(name.to_owned());
                return Some(self.trials.len() - 1);
            }
        };
        let code = if self.named && !name.is_empty() { Code::UnknownTrial } else { Code::BadCsv };
        let finding = self.file.problem(code, record.line, record.span, message);
        let finding = match self.named {
            true => finding.hint(format!("the trials are {}", self.trials.join(", "))),
            false => finding,
        };
        self.cx.push(finding);
        None
    }

    /// The label, its things and its treatment.
    fn load(&mut self, record: &Record) -> Option<(String, Vec<String>, Option<Treatment>)> {
        let (text, apart) = (record.get("load"), record.get("treatment"));
        let (things, within) = label::load(text);
        if things.iter().any(String::is_empty) {
            let message = match text.is_empty() {
                true => "no load is named".to_owned(),
                false => format!("`{text}` is no load; expected things joined by ` + `"),
            };
            self.cx.push(self.file.problem(Code::BadCsv, record.line, record.span, message));
            return None;
        }
        if apart.is_empty() {
            return Some((label::without_strikes(text), things, within));
        }
        let treatment = label::treatment(apart);
        if treatment.is_none() || within.is_some() {
            let message =
                format!("`{apart}` is no treatment here; expected words and a number, such as `heating 2`");
            self.cx.push(self.file.problem(Code::BadCsv, record.line, record.span, message));
            return None;
        }
        Some((format!("{}, {apart}", label::without_strikes(text)), things, treatment))
    }

    fn new_row(
        &mut self,
        label: String,
        things: Vec<String>,
        treatment: Option<Treatment>,
        record: &Record,
    ) -> usize {
        let place = self.file.from.span;
        self.rows.push(LoadRow {
            span: place,
            label: Spanned::new(label, place),
            things,
            treatment,
            cells: Vec::new(),
            balance: None,
            struck: false,
            file: Some((self.file.from.value.clone(), record.line)),
        });
        self.filled.push(Vec::new());
        self.rows.len() - 1
    }

    /// The record as a cell.
    fn cell(&mut self, record: &Record, struck: bool) -> Cell {
        let mut cell = self.missing();
        cell.remark = record.optional("remark");
        cell.balance = record.optional("balance");
        cell.time = record.optional("time");
        if !struck {
            self.reading(record, &mut cell);
        }
        cell
    }

    fn missing(&self) -> Cell {
        Cell {
            span: self.file.from.span,
            written: Span::default(),
            strikes: Vec::new(),
            value: CellValue::Missing,
            unit: None,
            remark: None,
            uncertainty: Vec::new(),
            balance: None,
            time: None,
        }
    }

    /// The reading and its unit.
    fn reading(&mut self, record: &Record, cell: &mut Cell) {
        let text = record.get("reading");
        if text.is_empty() || text.chars().all(is_dash) {
            return;
        }
        let passage = Passage { text, start: 0 };
        cell.value = match context::number(passage, self.cx.comma, "a reading such as `18.2749`, or `–`") {
            Ok(number) => CellValue::Number(number),
            Err(finding) => self.faulty(record, *finding),
        };
        let unit = record.get("unit");
        if unit.is_empty() {
            return;
        }
        match context::unit(Passage { text: unit, start: 0 }) {
            Ok(unit) if unit.dimension() == Dimension::MASS => {
                cell.unit = Some(Spanned::new(unit, self.file.from.span));
            }
            Ok(unit) => {
                let message = format!("a reading in `{unit}`; expected a unit of mass");
                cell.value = self.faulty(record, Finding::error(Code::BadUnit, None, message));
            }
            Err(finding) => cell.value = self.faulty(record, *finding),
        }
    }

    /// Passes a finding on with the record's place.
    fn faulty(&mut self, record: &Record, finding: Finding) -> CellValue {
        let placed = self.file.problem(finding.code, record.line, record.span, finding.message);
        self.cx.push(Finding { hints: finding.hints, ..placed });
        CellValue::Faulty
    }

    /// Puts a cell into its row; what was struck before it stays with it.
    fn place(
        &mut self,
        row: usize,
        trial: usize,
        cell: Cell,
        earlier: Vec<String>,
        struck: bool,
        record: &Record,
    ) {
        let missing = self.missing();
        let (Some(target), Some(filled)) = (self.rows.get_mut(row), self.filled.get_mut(row)) else { return };
        while target.cells.len() <= trial {
            target.cells.push(missing.clone());
            filled.push(false);
        }
        let (Some(place), Some(filled)) = (target.cells.get_mut(trial), filled.get_mut(trial)) else {
            return;
        };
        let mut strikes = std::mem::take(&mut place.strikes);
        let remark =
            [place.remark.take(), cell.remark.clone()].into_iter().flatten().collect::<Vec<_>>().join("; ");
        let own = struck.then(|| record.get("reading").to_owned()).filter(|text| !text.is_empty());
        strikes.extend(earlier.into_iter().chain(own).map(|text| Spanned::new(text, self.file.from.span)));
        if !struck || !*filled {
            *place = cell;
        }
        *filled |= !struck;
        place.strikes = strikes;
        place.remark = Some(remark).filter(|remark| !remark.is_empty());
    }

    /// The rows, all of one length; the block's trials where it named none.
    fn finish(mut self) -> Vec<LoadRow> {
        let missing = self.missing();
        for row in &mut self.rows {
            row.cells.resize(self.trials.len(), missing.clone());
        }
        if !self.named && !self.rows.is_empty() {
            let place = self.file.from.span;
            let trials = self.trials.into_iter().map(|name| Spanned::new(name, place)).collect();
            self.head.columns.trials = Some(trials);
        }
        self.rows
    }
}

/// What the `struck` column says: whether the record's own reading is struck, and earlier values.
fn struck(text: &str) -> (bool, Vec<String>) {
    match text.to_lowercase().as_str() {
        "yes" | "true" | "x" | "1" | "struck" => (true, Vec::new()),
        "" | "no" | "false" | "0" => (false, Vec::new()),
        _ => (false, text.split([';', ' ']).filter(|value| !value.is_empty()).map(str::to_owned).collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::{FileProblem, Files};

    struct Refusing(FileProblem);

    impl Files for Refusing {
        fn read(&self, _: &str) -> Result<Vec<u8>, FileProblem> {
            Err(self.0.clone())
        }
    }

    fn refused(problem: FileProblem) -> Finding {
        let text = "```masses\nfrom: ../w.csv\n```\n";
        let notebook = crate::notebook::read("a.md", text.as_bytes(), &Refusing(problem));
        notebook.findings.into_iter().find(|finding| finding.code == Code::BadFile).expect("a finding")
    }

    #[test]
    fn a_file_that_is_not_read_is_said_at_its_name() {
        let outside = refused(FileProblem::Outside);
        assert_eq!(outside.message, "`../w.csv` was not read: it lies outside the notebook's folder");
        assert_eq!(outside.span, Some(Span::new(16, 24)));
        assert!(refused(FileProblem::TooLarge(1 << 40)).message.contains("bytes, more than"));
    }

    #[test]
    fn the_struck_column_is_a_word_or_an_earlier_value() {
        assert_eq!(struck("Yes"), (true, vec![]));
        assert_eq!(struck("0"), (false, vec![]));
        assert_eq!(struck(""), (false, vec![]));
        assert_eq!(struck("18.5075; 18.50"), (false, vec!["18.5075".to_owned(), "18.50".to_owned()]));
    }

    #[test]
    fn lines_are_counted_whatever_ends_them() {
        let mut lines = LineCount { text: "a\r\nb\n\"c\nd\"\ne", at: 0, line: 1 };
        assert_eq!([lines.of(0), lines.of(3), lines.of(5), lines.of(11)], [1, 2, 3, 5]);
    }
}
