//! The budget of one result: where its uncertainty comes from.

use super::{Cell, Label, Notes, Part, Row, Table, Value};
use crate::quantity::{Printed, print_double, print_double_figures, print_doubles, uncertainty_place};
use crate::report::uncertainty::{Line, Shown};
use crate::report::words::{self, Run, Words};

/// Figures of a sensitivity.
const FIGURES: u32 = 3;

/// The table of a budget.
pub(crate) fn budget(shown: &Shown) -> Table {
    let u = shown.budget.evaluated.standard;
    // Contributions have one place more than u, so that small ones still say something.
    let place = uncertainty_place(u).map_or(0, |place| place - 1);
    let mut column: Vec<f64> = shown.lines.iter().map(|line| line.contribution).collect();
    column.extend([u, shown.budget.evaluated.expanded]);
    let mut column = print_doubles(&column, place).into_iter().map(cell);
    let mut next = || column.next().unwrap_or(Cell::Empty);
    let mut rows: Vec<Row> = shown.lines.iter().map(|line| row(line, next())).collect();
    rows.extend(totals(shown, next(), next()));
    let mut caption = vec![Run::Plain("Uncertainty budget of ".to_owned())];
    caption.extend(shown.of());
    caption.push(Run::Plain(format!(": {}", shown.budget.title)));
    let part = Part::plain("input", columns(shown), rows);
    Table { name: "budget", caption, parts: vec![part], notes: notes(shown).all() }
}

fn columns(shown: &Shown) -> Vec<Words> {
    let unit = words::unit_symbol(&shown.budget.unit);
    let plain = |text: &str| words::plain(text);
    vec![
        plain("value"),
        vec![Run::Italic("u".to_owned())],
        plain("sensitivity"),
        words::over_unit(plain("contribution"), unit),
        plain("share / %"),
    ]
}

fn row(line: &Line, contribution: Cell) -> Row {
    let mut label = words::plain(&line.name);
    if !line.kind.is_empty() {
        label.push(Run::Plain(format!(" ({})", line.kind.replace(' ', "\u{a0}"))));
    }
    let value = line.value.as_ref().zip(line.standard);
    let input_place = line.standard.and_then(uncertainty_place);
    let value = value.and_then(|((value, unit), _)| {
        let printed = if *value == 0.0 { print_double(0.0, 0)? } else { print_double(*value, input_place?)? };
        let unit = Some(unit.clone()).filter(|unit| !unit.is_empty() && unit != "1");
        Some(Cell::Value(Value { unit, ..Value::printed(&printed) }))
    });
    let cells = vec![
        value.unwrap_or(Cell::Empty),
        cell(line.standard.and_then(|u| print_double_figures(u, 2))),
        cell(line.sensitivity.and_then(|sensitivity| print_double_figures(sensitivity, FIGURES))),
        contribution,
        cell(print_double(line.share, -1)),
    ];
    values(label, cells, false)
}

/// u, and U with its coverage factor.
fn totals(shown: &Shown, standard: Cell, expanded: Cell) -> [Row; 2] {
    let cells = |value: Cell, share: Cell| vec![Cell::Empty, Cell::Empty, Cell::Empty, value, share];
    let factor = shown.budget.evaluated.coverage_factor;
    let factor = print_double(factor, -2).map_or_else(String::new, |k| trimmed(&k.digits));
    let factor = words::digits(&factor, shown.results.settings.decimal);
    let combined = vec![Run::Plain("together: ".to_owned()), Run::Italic("u".to_owned())];
    let label = vec![
        Run::Plain("expanded: ".to_owned()),
        Run::Italic("U".to_owned()),
        Run::Plain(" = ".to_owned()),
        Run::Italic("k".to_owned()),
        Run::Plain("\u{202f}".to_owned()),
        Run::Italic("u".to_owned()),
        Run::Plain(", ".to_owned()),
        Run::Italic("k".to_owned()),
        Run::Plain(format!(" = {factor}")),
    ];
    [
        values(combined, cells(standard, cell(print_double(100.0, -1))), true),
        values(label, cells(expanded, Cell::Empty), false),
    ]
}

fn trimmed(digits: &str) -> String {
    digits.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn values(label: Words, cells: Vec<Cell>, ruled: bool) -> Row {
    Row::Values { labels: vec![Label::one(label)], cells, ruled }
}

fn cell(printed: Option<Printed>) -> Cell {
    printed.map_or(Cell::Empty, |printed| Cell::Value(Value::printed(&printed)))
}

fn notes(shown: &Shown) -> Notes {
    let mut notes = Notes::default();
    let unit = words::unit_symbol(&shown.budget.unit);
    let of = if unit.is_empty() || unit == "1" { String::new() } else { format!(" in {unit}") };
    notes.once(
        "",
        words::with_symbols(&format!(
            "u is in the unit of the value; the sensitivity is the change of the result{of} per unit of the input."
        )),
    );
    if shown.lines.iter().any(|line| line.inputs > 1 && !line.kind.is_empty()) {
        let text = "A line without a value stands for that input of every trial, with what they contribute together.";
        notes.once("", words::plain(text));
    }
    notes
}
