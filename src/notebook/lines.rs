//! The lines of `masses`, `measured` and `claimed`: `label: cells`, and the reserved labels they share.
//!
//! ```text
//! line     = "~~" label ":" cells "~~" { "[" remark "]" } | label ":" cells
//! reserved = "trial" | "unit" | "balance" | "from" | "event" | "set aside"
//! ```
//!
//! The label ends at the first `:` outside brackets. Every block's readers first gather what the reserved
//! labels say, in whatever order they stand, and judge the number of cells afterwards.

use super::blocks::{Cell, CellValue, Columns, SetAside};
use super::cells::{self, CellKind, Cells};
use super::context::{self, Context, MOST_TRIALS};
use super::label::without_strikes;
use super::passage::{Passage, closing_bracket, is_quote, outside_brackets, unclosed_bracket};
use crate::finding::{Code, Finding, edit_distance};
use crate::quantity::{Dimension, Unit};
use crate::span::{Span, Spanned};

/// One line, split at its colon.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line<'a> {
    /// The whole line without blanks at its ends.
    pub whole: Passage<'a>,
    /// Whether it was struck as a whole.
    pub struck: bool,
    /// What stands before the colon.
    pub label: Passage<'a>,
    /// What stands after it.
    pub rest: Passage<'a>,
    /// The remark behind a struck line.
    pub remark: Option<Passage<'a>>,
}

impl<'a> Line<'a> {
    /// Splits a line; one without a colon is a finding.
    pub fn split(line: Passage<'a>, cx: &mut Context) -> Option<Line<'a>> {
        let whole = line.trim();
        let (struck, body, remark) = match strip_strike(whole) {
            Some((body, remark)) => (true, body, remark),
            None => (false, whole, None),
        };
        let Some(colon) = outside_brackets(body.text, ':').next() else {
            cx.push(no_colon(body));
            return None;
        };
        let label = body.before(colon).trim();
        if label.is_blank() {
            cx.push(Finding::error(Code::BadLine, body.span(), "expected a label before `:`"));
            return None;
        }
        Some(Line { whole, struck, label, rest: body.after(colon + 1), remark })
    }
}

/// The inside of `~~label: cells~~ [remark]`, if the whole line is struck.
fn strip_strike(line: Passage) -> Option<(Passage, Option<Passage>)> {
    let inside = line.text.strip_prefix("~~")?;
    let end = inside.rfind("~~")?;
    let after = line.after(2 + end + 2).trim();
    let body = line.slice(2..2 + end);
    let colon = outside_brackets(body.text, ':').next()?;
    // A strike that ends before the colon is a strike within the label.
    if body.before(colon).text.contains("~~") {
        return None;
    }
    if after.text.is_empty() {
        return Some((body, None));
    }
    let close = after.text.starts_with('[').then(|| closing_bracket(after.text, 0)).flatten()?;
    (close + 1 == after.text.len()).then(|| (body, Some(after.slice(1..close).trim())))
}

fn no_colon(body: Passage) -> Finding {
    match unclosed_bracket(body.text).filter(|_| body.text.contains(':')) {
        Some((at, bracket)) => {
            let message = format!("`{bracket}` is never closed, so no `:` ends the label");
            Finding::error(Code::BadLine, body.place(at..at + 1), message)
        }
        None => {
            let finding =
                Finding::error(Code::BadLine, body.span(), "expected `label: values`, found no `:`");
            // A line with a number, or with the first word of a reserved label, hardly is text for the reader.
            let values = body.text.contains(|c: char| c.is_ascii_digit())
                || body.text.trim_start().starts_with("trial");
            finding.hint(if values {
                "put `:` after the label"
            } else {
                "text for the reader stands outside the block"
            })
        }
    }
}

/// What the reserved labels of a block said.
#[derive(Debug, Default)]
pub(super) struct Head {
    /// `trial:` and `set aside:`
    pub columns: Columns,
    /// `unit:`
    pub unit: Option<Spanned<Unit>>,
    /// `balance:`
    pub balances: Vec<Spanned<String>>,
    /// `from:`
    pub from: Option<Spanned<String>>,
    /// Whether a unit was given that cannot be used.
    unit_faulty: bool,
    /// Places of the labels given so far.
    given: Vec<(&'static str, Span)>,
    /// Whether too many columns were reported.
    beyond: bool,
}

/// What became of a line with a reserved label.
pub(super) enum Taken {
    /// It said something about the block.
    Head,
    /// `event:` with its text.
    Event(Spanned<String>),
    /// The label is not reserved.
    No,
}

/// The reserved labels; the second field says whether they stand in `masses` only.
const RESERVED: &[(&str, bool)] = &[
    ("trial", false),
    ("unit", false),
    ("set aside", false),
    ("balance", true),
    ("from", true),
    ("event", true),
];

impl Head {
    /// Reads a line if its label is reserved.
    pub fn take(&mut self, line: &Line, masses: bool, cx: &mut Context) -> Taken {
        let Some((name, of_masses)) = RESERVED.iter().find(|(name, _)| is_label(line.label, name)) else {
            return Taken::No;
        };
        if line.struck {
            let message = format!("a struck `{name}` line is not read");
            cx.push(Finding::note(Code::BadLine, line.whole.span(), message));
            return Taken::Head;
        }
        if *of_masses && !masses {
            let message = format!("`{name}` belongs in a `masses` block");
            cx.push(Finding::error(Code::BadLine, line.label.span(), message));
            return Taken::Head;
        }
        if *name == "event" {
            return event(line, cx);
        }
        if *name != "set aside" && self.repeated(name, line, cx) {
            return Taken::Head;
        }
        self.say(name, line.rest.trim(), line, masses, cx);
        Taken::Head
    }

    /// Whether the label was given before in this block.
    fn repeated(&mut self, name: &'static str, line: &Line, cx: &mut Context) -> bool {
        let first = self.given.iter().find(|(given, _)| *given == name).map(|(_, span)| *span);
        match first {
            Some(first) => {
                let message = format!("a second `{name}` in one block; the first one counts");
                let finding = Finding::error(Code::RepeatedSetting, line.whole.span(), message);
                cx.push(finding.label(first, "the first one").hint("begin a new block for it"));
                true
            }
            None => {
                self.given.push((name, line.whole.span()));
                false
            }
        }
    }

    fn say(&mut self, name: &str, rest: Passage, line: &Line, masses: bool, cx: &mut Context) {
        if rest.is_blank() {
            let (code, example) = match name {
                "trial" => (Code::NoTrials, "`trial: A B`"),
                "unit" => (Code::BadLine, "`unit: g`"),
                "balance" => (Code::BadLine, "`balance: B-04`"),
                "from" => (Code::BadLine, "`from: weighings.csv`"),
                _ => (Code::BadLine, "`set aside: B (reason; time)`"),
            };
            let message = format!("nothing follows `{name}:`; expected {example}");
            return cx.push(Finding::error(code, line.whole.span(), message));
        }
        match name {
            "trial" => self.columns.trials = Some(self.trials(rest, cx)),
            "unit" => {
                self.unit = block_unit(rest, masses, cx);
                self.unit_faulty = self.unit.is_none();
            }
            "balance" => self.balances = names(rest).take(MOST_TRIALS).collect(),
            "from" => self.from = Some(path(rest)),
            _ => {
                self.columns.set_aside.extend(set_aside(rest, cx));
                self.columns.set_aside.truncate(MOST_TRIALS);
            }
        }
    }

    /// The names after `trial:`, each once.
    fn trials(&mut self, rest: Passage, cx: &mut Context) -> Vec<Spanned<String>> {
        let mut trials: Vec<Spanned<String>> = Vec::new();
        for name in names(rest) {
            if trials.len() == MOST_TRIALS {
                let rest = Span::new(name.span.start, rest.span().end);
                self.too_many(rest, cx);
                break;
            }
            if name.value.ends_with([',', ';']) {
                let message = format!("the trial's name `{}` ends in a mark", name.value);
                let finding = Finding::error(Code::BadLine, name.span, message);
                cx.push(finding.hint("names are parted by blanks: `trial: A  B`"));
            }
            let bare = name.value.trim_end_matches([',', ';']).to_owned();
            let name = if bare.is_empty() { name } else { Spanned::new(bare, name.span) };
            trials.push(distinct(name, &trials, cx));
        }
        trials
    }

    /// Cells without a unit of their own are faulty where the block's unit cannot be used: they are never read
    /// in another one.
    pub fn settle<'c>(&self, cells: impl Iterator<Item = &'c mut Cell>) {
        if self.unit_faulty {
            let bare =
                |cell: &&'c mut Cell| cell.unit.is_none() && matches!(cell.value, CellValue::Number(_));
            cells.filter(bare).for_each(|cell| cell.value = CellValue::Faulty);
        }
    }

    /// Says once per block that there are too many columns.
    pub fn too_many(&mut self, place: Span, cx: &mut Context) {
        if !self.beyond {
            self.beyond = true;
            let message = format!("more than {MOST_TRIALS} trials; what follows is not read");
            cx.push(Finding::error(Code::TooLarge, place, message).hint("split the notebook"));
        }
    }
}

/// Whether a label is a reserved one, whatever its case and blanks.
fn is_label(label: Passage, name: &str) -> bool {
    if !name.contains(' ') || !label.text.starts_with(['s', 'S']) {
        return label.text.eq_ignore_ascii_case(name);
    }
    let mut words = label.words();
    name.split(' ').all(|part| words.next().is_some_and(|word| word.text.eq_ignore_ascii_case(part)))
        && words.next().is_none()
}

/// A column's name, made distinct from those before it. Several blanks are blank, blank 2, …; any other name
/// twice is an error, and the second column gets a name that nobody writes.
fn distinct(name: Spanned<String>, trials: &[Spanned<String>], cx: &mut Context) -> Spanned<String> {
    let Some(first) = trials.iter().find(|trial| trial.value == name.value) else { return name };
    if name.value.eq_ignore_ascii_case("blank") {
        let blanks = trials.iter().filter(|trial| trial.value.to_lowercase().starts_with("blank")).count();
        return Spanned::new(format!("{} {}", name.value, blanks + 1), name.span);
    }
    let message = format!("two columns named `{}`", name.value);
    let finding = Finding::error(Code::RepeatedTrial, name.span, message);
    cx.push(finding.label(first.span, "the first one").hint("give each column a name of its own"));
    Spanned::new(format!("{} (again, column {})", name.value, trials.len() + 1), name.span)
}

fn event(line: &Line, cx: &mut Context) -> Taken {
    let text = line.rest.trim();
    if text.is_blank() {
        let message =
            "nothing follows `event:`; expected what was done, such as `event: 5 drops of acid added`";
        cx.push(Finding::error(Code::BadLine, line.whole.span(), message));
        return Taken::Head;
    }
    Taken::Event(Spanned::new(text.text.to_owned(), text.span()))
}

/// Words parted by blanks, with their places.
fn names(passage: Passage) -> impl Iterator<Item = Spanned<String>> {
    passage.words().map(|word| Spanned::new(word.text.to_owned(), word.span()))
}

/// A path, quotation marks around it taken off.
fn path(passage: Passage) -> Spanned<String> {
    let text = passage.text.trim_matches(|c| is_quote(c) || c == '\'').to_owned();
    Spanned::new(text, passage.span())
}

/// The unit of a block.
fn block_unit(passage: Passage, masses: bool, cx: &mut Context) -> Option<Spanned<Unit>> {
    let unit = context::unit(passage).map_err(|finding| cx.push(*finding)).ok()?;
    if masses && unit.dimension() != Dimension::MASS {
        let message = format!("a `masses` block in `{unit}`; expected a unit of mass");
        cx.push(Finding::error(Code::BadUnit, passage.span(), message));
        return None;
    }
    Some(Spanned::new(unit, passage.span()))
}

/// `B (crucible cracked; 14:20), C (spilled)`
fn set_aside(passage: Passage, cx: &mut Context) -> Vec<SetAside> {
    let mut found = Vec::new();
    let mut rest = passage;
    while !rest.is_blank() && found.len() < MOST_TRIALS {
        rest = rest.trim();
        let length = rest.text.find(|c: char| c.is_whitespace() || c == '(').unwrap_or(rest.text.len());
        let name = rest.before(length);
        let name = name.before(name.text.trim_end_matches([',', ';']).len());
        let after = rest.after(length).trim();
        let (reason, behind) = bracketed_reason(after, cx);
        rest = behind;
        if name.text.is_empty() {
            let message = "expected the name of a trial before the reason";
            cx.push(
                Finding::error(Code::BadLine, after.span(), message)
                    .hint("write `set aside: B (reason; time)`"),
            );
            continue;
        }
        found.push(SetAside { trial: Spanned::new(name.text.to_owned(), name.span()), reason });
    }
    found
}

/// The reason in round brackets at the start of a text, and what follows it.
fn bracketed_reason<'a>(text: Passage<'a>, cx: &mut Context) -> (String, Passage<'a>) {
    if !text.text.starts_with('(') {
        return (String::new(), text);
    }
    match closing_bracket(text.text, 0) {
        Some(close) => {
            let behind = text.after(close + 1).trim();
            let separators = behind.text.len() - behind.text.trim_start_matches([',', ';']).len();
            (text.slice(1..close).trim().text.to_owned(), behind.after(separators))
        }
        None => {
            cx.push(Finding::error(Code::BadLine, text.before(1).span(), "this bracket is never closed"));
            (text.after(1).trim().text.to_owned(), text.after(text.text.len()))
        }
    }
}

/// The cells of a row. A label one edit from a reserved one, whose cells are no readings, is said to be
/// probably that label, instead of a finding for each cell.
pub(super) fn row_cells(line: &Line, kind: CellKind, head: &mut Head, cx: &mut Context) -> Option<Cells> {
    if line.struck {
        let mut cells = cx.unheard(|cx| cells::read(line.rest, kind, cx));
        if let (Some(remark), Some(last)) = (line.remark, cells.cells.last_mut()) {
            last.remark.get_or_insert_with(|| remark.text.to_owned());
        }
        return cx.take_cells(cells.cells.len(), line.whole.span()).then_some(cells);
    }
    let before = cx.count();
    let cells = cells::read(line.rest, kind, cx);
    if let Some(meant) = nearly_reserved(line, &cells.cells) {
        cx.forget_after(before);
        let message = format!("`{}` is no reserved label, and what follows are no readings", line.label.text);
        let finding = Finding::error(Code::BadLine, line.label.span(), message);
        cx.push(finding.hint(format!("did you mean `{meant}`?")));
        return None;
    }
    if let Some(place) = cells.beyond {
        head.too_many(place, cx);
    }
    cx.take_cells(cells.cells.len(), line.whole.span()).then_some(cells)
}

/// The reserved label that was probably meant.
fn nearly_reserved(line: &Line, cells: &[Cell]) -> Option<&'static str> {
    if cells.iter().any(is_plausible_value) {
        return None;
    }
    let label = without_strikes(line.label.text).to_lowercase();
    RESERVED.iter().find(|(name, _)| edit_distance(&label, name) == 1).map(|(name, _)| *name)
}

/// Whether a cell holds a number with decimals or a unit; whole numbers may be the names of trials.
fn is_plausible_value(cell: &Cell) -> bool {
    match &cell.value {
        CellValue::Number(number) => !number.is_integer_literal() || cell.unit.is_some(),
        _ => false,
    }
}
