//! The intervals of Monte Carlo draws beside those of the first order.

use super::{Cell, Label, Notes, Part, Row, Table, Value};
use crate::evaluation::results::Results;
use crate::evaluation::uncertainty::monte_carlo::{Checked, Validation, Verdict};
use crate::quantity::{print_double, uncertainty_place};
use crate::report::uncertainty::Shown;
use crate::report::words::{self, Run, Words};
use crate::statistics::CoverageInterval;

/// The draws of the results whose budgets are shown; `None` where there are none.
pub(crate) fn draws(results: &Results, shown: &[Shown]) -> Option<Table> {
    let monte_carlo = results.monte_carlo.as_ref()?;
    let checked = |shown: &Shown| monte_carlo.at(shown.index, shown.at).map(|checked| rows(shown, checked));
    let rows: Vec<Row> = shown.iter().filter_map(checked).flatten().collect();
    if rows.is_empty() {
        return None;
    }
    let percent = print_double(100.0 * monte_carlo.plan.probability, -1)?;
    let percent = percent.digits.trim_end_matches('0').trim_end_matches('.').to_owned();
    let percent = words::digits(&percent, results.settings.decimal);
    let part = Part { spanner: None, labels: labels(&percent), columns: columns(), rows };
    let caption = words::plain("Monte Carlo draws beside the first order");
    Some(Table { name: "draws", caption, parts: vec![part], notes: notes(results, shown).all() })
}

fn labels(percent: &str) -> Vec<Words> {
    vec![words::plain("result"), words::plain(format!("interval of {percent} %"))]
}

fn columns() -> Vec<Words> {
    let first = vec![Run::Plain("first".to_owned()), Run::Break, Run::Plain("order".to_owned())];
    vec![vec![Run::Italic("u".to_owned())], words::plain("from"), words::plain("to"), first]
}

/// The interval of the first order, and the two of the draws.
fn rows(shown: &Shown, checked: &Checked) -> Vec<Row> {
    let drawn = &checked.drawn;
    let first = checked.validation.as_ref();
    let u = first.map(|validation| validation.standard).or(drawn.standard_uncertainty);
    let place = u.and_then(uncertainty_place).unwrap_or(0);
    let mut result =
        words::over_unit(words::symbol(&shown.quantity.symbol), words::unit_symbol(&shown.quantity.unit));
    result.extend(shown.which().map(|which| Run::Plain(format!(", {which}"))));
    let mut rows = Vec::new();
    rows.extend(first.map(|validation| {
        let verdict = Cell::Words(words::plain(verdict(validation)));
        interval("first order", Some(validation.standard), Some(validation.first_order), place, verdict)
    }));
    let standard = drawn.standard_uncertainty;
    rows.push(interval("draws, symmetric", standard, drawn.symmetric, place, Cell::Empty));
    rows.push(interval("draws, shortest", None, drawn.shortest, place, Cell::Empty));
    let count = rows.len();
    if let Some(Row::Values { labels, ruled, .. }) = rows.first_mut() {
        labels.insert(0, Label { words: result, rows: count });
        *ruled = true;
    }
    rows
}

fn verdict(validation: &Validation) -> &'static str {
    match validation.verdict {
        Verdict::Agrees => "stands",
        Verdict::Differs => "differs",
        Verdict::NotShown => "not shown",
    }
}

fn interval(name: &str, u: Option<f64>, ends: Option<CoverageInterval>, place: i32, verdict: Cell) -> Row {
    let cell = |value: Option<f64>| {
        let printed = value.and_then(|value| print_double(value, place));
        printed.map_or(Cell::Empty, |printed| Cell::Value(Value::printed(&printed)))
    };
    let cells = vec![cell(u), cell(ends.map(|ends| ends.low)), cell(ends.map(|ends| ends.high)), verdict];
    Row::Values { labels: vec![Label { words: words::plain(name), rows: 1 }], cells, ruled: false }
}

fn notes(results: &Results, shown: &[Shown]) -> Notes {
    let mut notes = Notes::default();
    let text = "The first order stands where neither end of its interval is further from the symmetric one of the draws \
                than half a unit of the last digit of u that counts (JCGM 101:2008, 8.1).";
    notes.once("", words::with_symbols(text));
    let without = |shown: &&Shown| {
        let checked =
            results.monte_carlo.as_ref().and_then(|monte_carlo| monte_carlo.at(shown.index, shown.at));
        checked.is_some_and(|checked| checked.drawn.standard_uncertainty.is_none())
    };
    if shown.iter().any(|shown| without(&shown)) {
        let text =
            "The draws have no u where Student's t with one or two degrees of freedom enters: few trials.";
        notes.once("", words::with_symbols(text));
    }
    let lost = results.monte_carlo.iter().flat_map(|monte_carlo| &monte_carlo.checked);
    let lost: usize = lost.map(|checked| checked.drawn.without_value).max().unwrap_or(0);
    if lost > 0 {
        notes.once("", words::plain(format!("Up to {lost} draws of a result have no value.")));
    }
    notes
}
