//! What the readers of the blocks share: the decimal mark, the findings, and the budgets that keep a hostile
//! notebook from growing without bound.

use super::passage::{Passage, is_dash};
use crate::finding::{Code, Finding};
use crate::quantity::{Decimal, DecimalError, MOST_DIGITS, MOST_EXPONENT, Unit, UnitError};
use crate::span::Span;

/// Most columns of one block.
pub const MOST_TRIALS: usize = 50;
/// Most weighings of one load.
pub const MOST_CYCLES: usize = 100;
/// Most lines evaluated in all blocks together.
pub const MOST_LINES: usize = 100_000;
/// Most cells of all blocks together.
pub const MOST_CELLS: usize = 200_000;
/// Most formulas in braces.
pub const MOST_INLINE: usize = 100_000;
/// Most nodes of all formulas together.
pub const MOST_NODES: usize = 1_000_000;
/// Most findings of one reading.
pub const MOST_FINDINGS: usize = 1_000;

/// The state of one reading.
#[derive(Debug)]
pub(super) struct Context {
    /// Whether the decimal mark is a comma.
    pub comma: bool,
    /// Nodes of formulas that may still be made.
    pub nodes_left: usize,
    lines_left: usize,
    cells_left: usize,
    findings: Vec<Finding>,
    /// The first finding beyond the most, with the gravest severity of all those.
    unlisted: Option<Finding>,
}

impl Context {
    /// A fresh state with full budgets.
    pub fn new() -> Self {
        Context {
            comma: false,
            nodes_left: MOST_NODES,
            lines_left: MOST_LINES,
            cells_left: MOST_CELLS,
            findings: Vec::new(),
            unlisted: None,
        }
    }

    /// Adds a finding; beyond [`MOST_FINDINGS`] one last finding says that there are more.
    pub fn push(&mut self, finding: Finding) {
        if self.findings.len() < MOST_FINDINGS {
            return self.findings.push(finding);
        }
        let message = format!("more than {MOST_FINDINGS} findings; the ones from here on are not listed");
        let first = Finding::new(finding.severity, Code::TooLarge, finding.span, message);
        let unlisted = self.unlisted.get_or_insert(first);
        unlisted.severity = unlisted.severity.max(finding.severity);
    }

    /// Runs a reader whose findings do not matter (a struck line).
    pub fn unheard<T>(&mut self, reader: impl FnOnce(&mut Self) -> T) -> T {
        let (heard, unlisted) = (self.findings.len(), self.unlisted.clone());
        let result = reader(self);
        self.findings.truncate(heard);
        self.unlisted = unlisted;
        result
    }

    /// How many findings there are.
    pub fn count(&self) -> usize {
        self.findings.len()
    }

    /// Forgets the findings after the first `count`.
    pub fn forget_after(&mut self, count: usize) {
        self.findings.truncate(count);
    }

    /// The findings, by place.
    pub fn into_findings(mut self) -> Vec<Finding> {
        self.findings.extend(self.unlisted);
        self.findings
            .sort_by_key(|finding| (finding.file.is_some(), finding.span.map_or(0, |span| span.start)));
        self.findings
    }

    /// Takes one line off the budget; the first line beyond it gets a finding.
    pub fn take_line(&mut self, place: Span) -> bool {
        let message =
            || format!("more than {MOST_LINES} lines in blocks; what follows in blocks is not read");
        Self::take(&mut self.lines_left, 1).unwrap_or_else(|| self.beyond(place, message()))
    }

    /// Takes cells off the budget; the first line beyond it gets a finding.
    pub fn take_cells(&mut self, count: usize, place: Span) -> bool {
        let message = || format!("more than {MOST_CELLS} cells in blocks; what follows is not read");
        Self::take(&mut self.cells_left, count).unwrap_or_else(|| self.beyond(place, message()))
    }

    /// Whether a budget suffices; `None` the first time it does not.
    fn take(budget: &mut usize, count: usize) -> Option<bool> {
        if *budget == 0 {
            return Some(false);
        }
        *budget = budget.saturating_sub(count);
        (*budget > 0).then_some(true)
    }

    fn beyond(&mut self, place: Span, message: String) -> bool {
        self.push(Finding::error(Code::TooLarge, place, message));
        false
    }
}

/// Reads a number, or says at its place why it is none. `expected` names what should stand there.
pub(super) fn number(passage: Passage, comma: bool, expected: &str) -> Result<Decimal, Box<Finding>> {
    let read = match passage.text.is_ascii() {
        true => Decimal::parse(passage.text, comma),
        false => Decimal::parse(&passage.text.replace(is_dash, "-"), comma),
    };
    read.map_err(|error| Box::new(number_problem(passage, &error, comma, expected)))
}

fn number_problem(passage: Passage, error: &DecimalError, comma: bool, expected: &str) -> Finding {
    let (text, span) = (passage.text, passage.span());
    match error {
        DecimalError::TooLarge => Finding::error(
            Code::TooLarge,
            span,
            format!(
                "a number beyond the limits: at most {MOST_DIGITS} digits and powers of ten up to {MOST_EXPONENT}"
            ),
        ),
        DecimalError::WrongMark(_) if !comma && !text.contains('.') => {
            Finding::error(Code::DecimalComma, span, format!("`{text}` has a comma between its digits"))
                .hint("write a point, or declare `decimal = \"comma\"` in the `experiment` block")
        }
        DecimalError::WrongMark(_) if comma && !text.contains(',') => {
            let message =
                format!("`{text}` has a point between its digits, but the decimal comma is declared");
            Finding::error(Code::DecimalComma, span, message).hint("write a comma")
        }
        _ => Finding::error(Code::BadReading, span, format!("`{text}` is not a number; expected {expected}")),
    }
}

/// Reads a unit, or says at its place why it is none.
pub(super) fn unit(passage: Passage) -> Result<Unit, Box<Finding>> {
    Unit::parse(passage.text).map_err(|error| Box::new(unit_problem(passage.span(), &error)))
}

/// What is wrong with a unit, at its place.
pub(super) fn unit_problem(span: Span, error: &UnitError) -> Finding {
    let finding = Finding::error(Code::BadUnit, span, error.message.clone());
    match &error.suggestion {
        Some(unit) => finding.hint(format!("did you mean `{unit}`?")),
        None => finding.hint("SI units with prefixes, `%`, `ppm`, `L`, `°C`, `bar`, `min` and `h` are known"),
    }
}
