//! The cells of a line: what `masses`, `measured` and `claimed` share.
//!
//! ```text
//! cells       = { cell } [ "@" balance ]
//! cell        = { "~~" struck "~~" } value [ unit ] uncertainty { "[" remark "]" }
//! value       = number | dash | "=" trial | text
//! dash        = "-" | "–" | "—" | "−"          standing alone: missing
//! uncertainty = { ("±" | "+/-") number [ unit ] { kind | ( "k" | "n" | "dof" ) "=" number } [ "(" label ")" ] }
//! kind        = "rectangular" | "triangular" | "arcsine" | "normal"
//! ```
//!
//! Cells are parted by blanks of any kind and number. A unit is one word without blanks and belongs to the
//! number before it; a number starts a new cell. Text is a value only in `measured` (crucible numbers, times
//! of day) and for a claimed formula. A word behind a number that is neither a unit nor alone (`18.27 not
//! weighed`), or that holds digits, is taken as the next cell; any other unknown word is taken for a unit, so
//! that its number is never read in another one.

mod uncertainty;

use super::blocks::{Cell, CellValue};
use super::context::{self, Context, MOST_TRIALS};
use super::expression::number_length;
use super::passage::{Passage, closing_bracket, is_dash};
use crate::finding::{Code, Finding};
use crate::quantity::{Decimal, Dimension, Unit};
use crate::span::{Span, Spanned};

/// Most struck values kept of one cell.
const MOST_STRIKES: usize = 100;

/// What the cells of a line may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CellKind {
    /// Balance readings: numbers in a unit of mass.
    Reading,
    /// Any quantity, or a word.
    Measured,
    /// Claimed numbers.
    Claim,
    /// Claimed formulas: each cell is one word.
    Formula,
}

/// The cells of one line.
#[derive(Debug, Default)]
pub(super) struct Cells {
    /// At most [`MOST_TRIALS`] of them.
    pub cells: Vec<Cell>,
    /// The balance after `@`.
    pub balance: Option<Spanned<String>>,
    /// What stands beyond the most cells a line may have.
    pub beyond: Option<Span>,
}

/// Reads the cells of a line; what cannot be read is a finding and a faulty cell.
pub(super) fn read(line: Passage, kind: CellKind, cx: &mut Context) -> Cells {
    let mut reader = Reader { line, at: 0, kind, cx };
    let mut found = Cells::default();
    let mut separated = false;
    while let Some(next) = reader.next() {
        if next == '@' {
            found.balance = reader.balance();
        } else if matches!(next, '|' | ',' | ';') && kind != CellKind::Formula {
            reader.separator(&mut separated);
        } else if found.cells.len() == MOST_TRIALS {
            found.beyond = Some(reader.rest().trim().span());
            break;
        } else {
            found.cells.push(reader.cell());
        }
    }
    found
}

/// A place in the cells of a line.
struct Reader<'a, 'c> {
    line: Passage<'a>,
    at: usize,
    kind: CellKind,
    cx: &'c mut Context,
}

impl<'a> Reader<'a, '_> {
    fn rest(&self) -> Passage<'a> {
        self.line.after(self.at)
    }

    fn peek(&self) -> Option<char> {
        self.rest().text.chars().next()
    }

    /// Skips blanks and shows the character after them.
    fn next(&mut self) -> Option<char> {
        let text = self.rest().text;
        self.at += text.len() - text.trim_start().len();
        self.peek()
    }

    fn starts_with(&self, prefix: &str) -> bool {
        self.rest().text.starts_with(prefix)
    }

    /// Takes a number of bytes (whole characters).
    fn take(&mut self, bytes: usize) -> Passage<'a> {
        let taken = self.rest().before(bytes);
        self.at += bytes;
        taken
    }

    fn error(&mut self, code: Code, span: Span, message: impl Into<String>, hint: &str) {
        self.cx.push(Finding::error(code, span, message).hint(hint));
    }

    /// A mark between cells; said once a line.
    fn separator(&mut self, said: &mut bool) {
        let mark = self.take(1);
        if !*said {
            *said = true;
            let message = format!("`{}` between cells", mark.text);
            self.error(Code::BadLine, mark.span(), message, "cells are parted by blanks alone");
        }
    }

    /// One cell; at least one character is used up.
    fn cell(&mut self) -> Cell {
        let from = self.at;
        let strikes = self.strikes();
        self.next();
        let value = self.at;
        let mut cell = Cell {
            span: Span::default(),
            written: Span::default(),
            strikes,
            value: CellValue::Missing,
            unit: None,
            remark: None,
            uncertainty: Vec::new(),
            balance: None,
            time: None,
        };
        self.value(&mut cell, from);
        if cell.written == Span::default() {
            cell.written = self.line.place(value..self.at);
        }
        self.remarks(&mut cell);
        let end = self.line.text.get(from..self.at).map_or(self.at, |text| from + text.trim_end().len());
        cell.span = self.line.place(from..end);
        cell
    }

    /// `~~18.5075~~ ~~18.50~~`, of which the first [`MOST_STRIKES`] are kept.
    fn strikes(&mut self) -> Vec<Spanned<String>> {
        let mut strikes = Vec::new();
        while self.next().is_some() && self.starts_with("~~") {
            let open = self.take(2);
            match self.rest().text.find("~~") {
                Some(length) => {
                    let struck = self.take(length).trim();
                    self.take(2);
                    if strikes.len() < MOST_STRIKES {
                        strikes.push(Spanned::new(struck.text.to_owned(), struck.span()));
                    }
                }
                None => self.error(
                    Code::BadLine,
                    open.span(),
                    "this strike is never closed",
                    "close it with `~~`",
                ),
            }
        }
        strikes
    }

    /// The value and what belongs to it.
    fn value(&mut self, cell: &mut Cell, from: usize) {
        match self.next() {
            None | Some('@') => self.nothing_after_strike(from),
            Some('[') if self.kind != CellKind::Formula => self.remark_alone(cell),
            Some('±') => self.uncertainty_alone(cell),
            Some('=') => self.shared(cell),
            Some(c) if is_dash(c) && self.stands_alone(c.len_utf8()) => {
                self.take(c.len_utf8());
            }
            Some(_) if self.kind == CellKind::Formula => self.text(cell),
            Some(_) if self.number_ahead() => self.number(cell),
            Some(_) => self.word(cell),
        }
    }

    fn nothing_after_strike(&mut self, from: usize) {
        let span = self.line.place(from..self.at);
        let message = "a struck value without the value or dash that stands for it now";
        self.error(Code::BadReading, span, message, "write `–` after it if there is no other value");
    }

    fn remark_alone(&mut self, cell: &mut Cell) {
        let open = self.rest().before(1).span();
        cell.value = CellValue::Faulty;
        let message = "a remark without a value before it";
        self.error(Code::BadReading, open, message, "write `–` before it where the value is missing");
    }

    fn uncertainty_alone(&mut self, cell: &mut Cell) {
        let sign = self.rest().before('±'.len_utf8()).span();
        cell.value = CellValue::Faulty;
        self.take('±'.len_utf8());
        self.error(Code::BadReading, sign, "`±` without a value before it", "write `50.0 mL ± 0.05 mL`");
    }

    /// Whether what comes next, `length` bytes, is a word of its own.
    fn stands_alone(&self, length: usize) -> bool {
        let after = self.rest().after(length);
        after.text.chars().next().is_none_or(|c| c.is_whitespace() || matches!(c, '[' | '@' | '~'))
    }

    /// `= A`
    fn shared(&mut self, cell: &mut Cell) {
        let sign = self.take(1);
        self.next();
        let name = self.take(self.word_length());
        if name.text.is_empty() {
            cell.value = CellValue::Faulty;
            self.error(
                Code::BadReading,
                sign.span(),
                "`=` without a trial after it",
                "write `= A` for trial A",
            );
        } else {
            cell.value = CellValue::SameAs(name.text.to_owned());
        }
    }

    /// The length of the word that comes next: up to a blank or a remark.
    fn word_length(&self) -> usize {
        let text = self.rest().text;
        text.find(|c: char| c.is_whitespace() || c == '[').unwrap_or(text.len())
    }

    /// The length of the word that comes next, brackets of a formula included.
    fn whole_word_length(&self) -> usize {
        let text = self.rest().text;
        text.find(char::is_whitespace).unwrap_or(text.len())
    }

    /// Whether a number comes next, its sign included.
    fn number_ahead(&self) -> bool {
        number_length(self.after_sign()) > 0
    }

    fn after_sign(&self) -> &'a str {
        let text = self.rest().text;
        text.strip_prefix(|c: char| is_dash(c) || c == '+').unwrap_or(text)
    }

    /// A number with its unit and uncertainty.
    fn number(&mut self, cell: &mut Cell) {
        let text = self.rest();
        let sign = text.text.len() - self.after_sign().len();
        let length = sign + plain_number_length(self.after_sign());
        let length = length + power_length(text.text.get(length..).unwrap_or(""));
        if self.kind == CellKind::Measured && self.is_word_with_digits(length) {
            return self.text(cell);
        }
        if self.is_garbled(length) {
            return self.garbled(cell);
        }
        let written = self.take(length);
        cell.written = written.span();
        cell.value = self.decimal(written, self.expected()).map_or(CellValue::Faulty, CellValue::Number);
        self.unit(cell);
        self.uncertainty(cell);
    }

    fn decimal(&mut self, written: Passage, expected: &str) -> Option<Decimal> {
        context::number(written, self.cx.comma, expected).map_err(|finding| self.cx.push(*finding)).ok()
    }

    /// Whether a number of this length is only the start of a word such as `14:32`, `2026-03-04` or `7a`.
    fn is_word_with_digits(&self, length: usize) -> bool {
        let word = self.rest().before(self.word_length());
        let tail = word.text.get(length..).unwrap_or("");
        let timelike = tail.starts_with([':', '-', '–', '/', '_']);
        let plain = !word.text.get(..length).unwrap_or("").contains(['.', ',']);
        let digits = tail.contains(|c: char| c.is_ascii_digit()) && !tail.contains(['.', ',']);
        timelike || plain && digits && Unit::parse(tail).is_err()
    }

    /// Whether characters that no unit starts with, or a unit with digits amiss, follow the number directly.
    fn is_garbled(&self, length: usize) -> bool {
        let word = self.rest().before(self.word_length());
        let tail = word.text.get(length..).unwrap_or("").trim_end_matches(['|', ',', ';']);
        let unit_start = tail.starts_with(|c: char| c.is_alphabetic() || matches!(c, '%' | '‰' | '°'));
        let follows = tail.starts_with(['±', '~', '@', '+']);
        !tail.is_empty() && !follows && (!unit_start || self.has_odd_digits(tail))
    }

    /// Whether a word holds digits that are no power of a unit, which a unit of mass never has.
    fn has_odd_digits(&self, word: &str) -> bool {
        let digits = word.bytes().filter(u8::is_ascii_digit).count();
        let powers = word.split(|c: char| !c.is_ascii_digit()).all(|power| power.len() < 2);
        let unit = self.kind != CellKind::Reading && powers && Unit::parse(word).is_ok();
        digits > 0 && !unit
    }

    /// A word that starts like a number and is none.
    fn garbled(&mut self, cell: &mut Cell) {
        let word = self.take(self.word_length());
        cell.value = CellValue::Faulty;
        let message = format!("`{}` is not a number; expected {}", word.text, self.expected());
        let hint = "check for letters between the digits (O for 0, l for 1)";
        self.error(Code::BadReading, word.span(), message, hint);
        self.unit_after_fault();
    }

    fn expected(&self) -> &'static str {
        match self.kind {
            CellKind::Reading => "a reading such as `18.2749`, or `–` where it is missing",
            CellKind::Measured => "a number with its unit, such as `50.0 mL`, a word, or `–`",
            CellKind::Claim | CellKind::Formula => "a value such as `36.09 %`, or `–`",
        }
    }

    /// A word where a number may be meant.
    fn word(&mut self, cell: &mut Cell) {
        if self.kind == CellKind::Measured {
            return self.text(cell);
        }
        let words = self.take(self.words_length());
        cell.value = CellValue::Faulty;
        let message = format!("`{}` is not a number; expected {}", words.text, self.expected());
        self.error(Code::BadReading, words.span(), message, "words belong in square brackets after a value");
        self.unit_after_fault();
    }

    /// The length of the run of words, one blank between each, that hold no number.
    fn words_length(&self) -> usize {
        let text = self.rest().text;
        let mut length = self.word_length();
        while let Some(more) = text.get(length..).and_then(|rest| rest.strip_prefix(' ')) {
            if !more.starts_with(char::is_alphabetic) || self.is_unit_at(length + 1) {
                break;
            }
            length += 1 + more.find(|c: char| c.is_whitespace() || c == '[').unwrap_or(more.len());
        }
        length
    }

    fn is_unit_at(&self, offset: usize) -> bool {
        let rest = self.rest().text.get(offset..).unwrap_or("");
        Unit::known(rest.split_whitespace().next().unwrap_or(""))
    }

    /// One word as a value.
    fn text(&mut self, cell: &mut Cell) {
        let length =
            if self.kind == CellKind::Formula { self.whole_word_length() } else { self.word_length() };
        let word = self.take(length.max(self.peek().map_or(0, char::len_utf8)));
        cell.value = CellValue::Text(word.text.to_owned());
    }

    /// Skips the unit after a value that could not be read.
    fn unit_after_fault(&mut self) {
        self.next();
        let word = self.rest().before(self.unit_length());
        if Unit::parse(word.text).is_ok() {
            self.take(word.text.len());
        }
    }

    /// The length of the word that comes next where it could be a unit.
    fn unit_length(&self) -> usize {
        let text = self.rest().text;
        let starts = text.starts_with(|c: char| c.is_alphabetic() || matches!(c, '%' | '‰' | '°'));
        let ends = |c: char| c.is_whitespace() || matches!(c, '[' | '~' | '±' | '@' | '=' | '|' | ',' | ';');
        if starts { text.find(ends).unwrap_or(text.len()) } else { 0 }
    }

    /// The unit after a number. A value in an unknown unit is faulty: never taken in another.
    fn unit(&mut self, cell: &mut Cell) {
        let before = self.at;
        self.next();
        let word = self.rest().before(self.unit_length());
        if word.text.is_empty() || self.is_next_cell(word) {
            self.at = before;
            return;
        }
        self.take(word.text.len());
        match self.fitting_unit(word) {
            Some(unit) => cell.unit = Some(Spanned::new(unit, word.span())),
            None => cell.value = CellValue::Faulty,
        }
    }

    /// Whether a word behind a number is the next cell rather than a unit: one with digits (`3 C-12`), or one
    /// that is no unit and has another word behind it (`18.27 not weighed`).
    fn is_next_cell(&self, word: Passage) -> bool {
        let after = self.rest().text.get(word.text.len()..).unwrap_or("").trim_start();
        let more = after.starts_with(char::is_alphabetic);
        self.has_odd_digits(word.text) || more && Unit::parse(word.text).is_err()
    }

    fn fitting_unit(&mut self, word: Passage) -> Option<Unit> {
        let unit = context::unit(word).map_err(|finding| self.cx.push(*finding)).ok()?;
        if self.kind == CellKind::Reading && unit.dimension() != Dimension::MASS {
            let message = format!("a reading in `{unit}`; expected a unit of mass");
            self.error(Code::BadUnit, word.span(), message, "other quantities stand in a `measured` block");
            return None;
        }
        Some(unit)
    }

    /// `[digits swapped; 14:32]`, also several.
    fn remarks(&mut self, cell: &mut Cell) {
        let before = self.at;
        while self.next() == Some('[') {
            let inside = match closing_bracket(self.rest().text, 0) {
                Some(close) => self.take(close + 1).slice(1..close).trim(),
                None => self.unclosed_remark(),
            };
            let remark = cell.remark.get_or_insert_default();
            if !remark.is_empty() {
                remark.push_str("; ");
            }
            remark.push_str(inside.text);
        }
        if cell.remark.is_none() {
            self.at = before;
        }
    }

    fn unclosed_remark(&mut self) -> Passage<'a> {
        let rest = self.take(self.rest().text.len());
        let message = "this bracket is never closed";
        self.error(Code::BadLine, rest.before(1).span(), message, "close the remark with `]`");
        rest.after(1).trim()
    }

    /// `@ B-07`: the rest of the line.
    fn balance(&mut self) -> Option<Spanned<String>> {
        let sign = self.take(1);
        let name = self.rest().trim();
        self.at = self.line.text.len();
        if self.kind != CellKind::Reading {
            let message = "a balance is named only in a `masses` block";
            self.error(Code::BadLine, sign.span().join(name.span()), message, "remove it");
            return None;
        }
        if name.text.is_empty() {
            self.error(Code::BadLine, sign.span(), "`@` without a balance after it", "write `@ B-07`");
            return None;
        }
        Some(Spanned::new(name.text.to_owned(), name.span()))
    }
}

/// [`number_length`] without no-break spaces: between cells those are blanks like any other.
fn plain_number_length(text: &str) -> usize {
    number_length(text.split('\u{a0}').next().unwrap_or(""))
}

/// The length of `× 10^-3` after a number, 0 where none follows.
fn power_length(text: &str) -> usize {
    let Some(after_sign) = text.trim_start().strip_prefix(['×', '·', '*', 'x']) else { return 0 };
    let Some(after_ten) = after_sign.trim_start().strip_prefix("10") else { return 0 };
    let power = match after_ten.strip_prefix('^') {
        Some(power) => {
            let unsigned = power.strip_prefix(['-', '−', '+']).unwrap_or(power);
            unsigned.trim_start_matches(|c: char| c.is_ascii_digit())
        }
        None => after_ten.trim_start_matches(|c| matches!(c, '⁻' | '⁺' | '⁰' | '¹' | '²' | '³' | '⁴'..='⁹')),
    };
    if power.len() == after_ten.len() { 0 } else { text.len() - power.len() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The cells of a line as `value unit`, and how many findings there were.
    fn cells(text: &str, kind: CellKind) -> (Vec<String>, usize) {
        let mut cx = Context::new();
        let found = read(Passage { text, start: 0 }, kind, &mut cx);
        let show = |cell: &Cell| {
            let unit = cell.unit.as_ref().map_or(String::new(), |unit| format!(" {}", unit.value));
            match &cell.value {
                CellValue::Number(number) => format!("{number}{unit}"),
                other => format!("{other:?}{unit}"),
            }
        };
        (found.cells.iter().map(show).collect(), cx.count())
    }

    #[test]
    fn a_unit_belongs_to_the_number_before_it() {
        assert_eq!(cells("1.0 g 2.0mg 3.0", CellKind::Reading).0, ["1.0 g", "2.0 mg", "3.0"]);
        assert_eq!(cells("36.09% 36.04 %", CellKind::Claim).0, ["36.09 %", "36.04 %"]);
        assert_eq!(cells("5 mg/L 2.0 g\u{a0}[x]", CellKind::Claim).0, ["5 mg/L", "2.0 g"]);
    }

    #[test]
    fn spans_cover_the_cell_without_the_blanks_after_it() {
        let mut cx = Context::new();
        let line = Passage { text: " ~~1.0~~ 2.0 g  [x]   3.0 ", start: 100 };
        let found = read(line, CellKind::Reading, &mut cx).cells;
        let spans: Vec<_> = found.iter().map(|cell| (cell.span.start, cell.span.end)).collect();
        assert_eq!(spans, [(101, 119), (122, 125)]);
    }

    #[test]
    fn no_break_spaces_part_cells_and_thin_ones_group_digits() {
        assert_eq!(cells("182\u{a0}183", CellKind::Reading).0, ["182", "183"]);
        assert_eq!(cells("18\u{202f}274.9", CellKind::Reading).0, ["18274.9"]);
    }

    #[test]
    fn powers_of_ten_in_every_spelling() {
        for text in ["1.2e-3", "1.2E-3", "1.2 × 10^-3", "1.2×10⁻³", "1.2 x 10^−3", "1.2 · 10^-3"] {
            assert_eq!(cells(text, CellKind::Claim), (vec!["0.0012".to_owned()], 0), "{text}");
        }
    }

    #[test]
    fn at_most_fifty_cells_are_kept() {
        let mut cx = Context::new();
        let found = read(Passage { text: &"1.0 ".repeat(10_000), start: 0 }, CellKind::Reading, &mut cx);
        assert_eq!(found.cells.len(), MOST_TRIALS);
        assert_eq!(found.beyond.map(|span| span.start), Some(4 * MOST_TRIALS));
    }
}
