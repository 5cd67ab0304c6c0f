//! How well the trials agree.

use super::quantities::{figure_cell, provisional, row_head, value_row, worked};
use super::{Cell, Notes, Part, Row, Table, Value};
use crate::evaluation::results::{AgreementResult, QuantityResult, Results};
use crate::evaluation::spread::{FigureKind, Spread, with_all};
use crate::report::words::{self, Run, Words};

/// A column of the agreement table: its head with its unit, and the figure it shows; none for the mean.
type Measure = (&'static str, &'static str, Option<FigureKind>);

const MEASURES: &[Measure] = &[
    ("mean", "", None),
    ("range", "", Some(FigureKind::Range)),
    ("s", "", Some(FigureKind::S)),
    ("relative s", "%", Some(FigureKind::RelativeS)),
    ("relative difference", "%", Some(FigureKind::RelativeDifference)),
    ("relative average deviation", "‰", Some(FigureKind::RelativeAverageDeviation)),
];

/// The agreement of the trials; `None` where no quantity has two values.
pub(crate) fn agreement(results: &Results) -> Option<Table> {
    let with_agreement =
        |quantity: &&QuantityResult| quantity.agreement.as_ref().is_some_and(|a| a.numbers.n > 1);
    let quantities: Vec<&QuantityResult> = worked(results).into_iter().filter(with_agreement).collect();
    let lines: Vec<Line> =
        quantities.iter().flat_map(|quantity| agreement_lines(quantity, results)).collect();
    if lines.is_empty() {
        return None;
    }
    let columns = Columns::of(&lines);
    let mut notes = Notes::default();
    let rows = lines.iter().map(|line| columns.row(line, &mut notes)).collect();
    let part = Part::plain("quantity", columns.heads(), rows);
    if quantities.iter().any(|quantity| quantity.agreement_with_all.is_some()) {
        notes.once("", words::plain("“With all” counts the trials that were set aside too."));
    }
    notes.once("", words::plain("Mean, range and s are in the unit of the quantity."));
    let caption = words::plain("Agreement of the trials");
    Some(Table { name: "agreement", caption, parts: vec![part], notes: notes.all() })
}

/// The head of a row and the agreement it shows.
struct Line<'a> {
    head: Words,
    /// The symbol by which its figures are known.
    symbol: String,
    agreement: &'a AgreementResult,
    spread: Spread,
}

/// The columns that have a figure in some row.
struct Columns {
    measures: Vec<&'static Measure>,
    limited: bool,
}

impl Columns {
    fn of(lines: &[Line]) -> Self {
        let shown = |(_, _, kind): &&Measure| {
            kind.is_none_or(|kind| lines.iter().any(|line| line.spread.figure(kind).is_some()))
        };
        let limited = lines.iter().any(|line| line.agreement.repeatability.is_some());
        Columns { measures: MEASURES.iter().filter(shown).collect(), limited }
    }

    fn heads(&self) -> Vec<Words> {
        let mut heads = vec![vec![Run::Italic("n".to_owned())]];
        heads.extend(self.measures.iter().map(|(head, unit, _)| measure_head(head, unit)));
        if self.limited {
            heads.push(vec![Run::Plain("limit ".to_owned()), Run::Italic("r".to_owned())]);
            heads.push(words::plain("within it"));
        }
        heads
    }

    fn row(&self, line: &Line, notes: &mut Notes) -> Row {
        let agreement = line.agreement;
        let mut cells = vec![count_cell(agreement.numbers.n)];
        cells.extend(self.measures.iter().map(|(_, _, kind)| match kind {
            Some(kind) => line.figure(*kind),
            None => line.mean(notes),
        }));
        if self.limited {
            cells.extend(repeatability_cells(agreement));
        }
        value_row(line.head.clone(), cells)
    }
}

impl Line<'_> {
    fn mean(&self, notes: &mut Notes) -> Cell {
        let mean = Value::printed(&self.agreement.mean.printed);
        let cell = Cell::Value(Value { node: Some(self.agreement.mean_node), ..mean });
        if self.agreement.provisional { provisional(cell, notes) } else { cell }
    }

    fn figure(&self, kind: FigureKind) -> Cell {
        let Some(figure) = self.spread.figure(kind) else { return Cell::Empty };
        Cell::Value(Value { figure: Some(kind.of(&self.symbol)), ..Value::printed(&figure.printed) })
    }
}

/// A head with each word on a line of its own.
fn measure_head(head: &str, unit: &str) -> Words {
    let mut words = Words::new();
    for word in head.split(' ') {
        if !words.is_empty() {
            words.push(Run::Break);
        }
        words.push(if word == "s" { Run::Italic(word.to_owned()) } else { Run::Plain(word.to_owned()) });
    }
    if !unit.is_empty() {
        words.push(Run::Plain(format!(" / {unit}")));
    }
    words
}

fn agreement_lines<'a>(quantity: &'a QuantityResult, results: &Results) -> Vec<Line<'a>> {
    let line = |head, symbol: String, agreement| {
        let spread = results.spread(quantity, agreement);
        Line { head, symbol, agreement, spread }
    };
    let mut lines = Vec::new();
    if let Some(agreement) = &quantity.agreement {
        lines.push(line(row_head(quantity), quantity.symbol.clone(), agreement));
    }
    if let Some(all) = &quantity.agreement_with_all {
        let mut head = words::symbol(&quantity.symbol);
        head.push(Run::Plain(", with all".to_owned()));
        lines.push(line(head, with_all(&quantity.symbol), all));
    }
    lines
}

fn count_cell(n: usize) -> Cell {
    Cell::Value(Value { digits: n.to_string(), ..Value::default() })
}

fn repeatability_cells(agreement: &AgreementResult) -> [Cell; 2] {
    match &agreement.repeatability {
        Some((limit, kept)) => {
            [figure_cell(Some(limit)), Cell::Words(words::plain(if *kept { "yes" } else { "no" }))]
        }
        None => [Cell::Empty, Cell::Empty],
    }
}
