//! Net masses, measured quantities, results, agreement, theory.

use super::{Cell, Label, Notes, PROVISIONAL, Part, Row, Table, Value, groups, heads};
use crate::evaluation::results::{
    AgreementResult, Computed, Figure, Origin, Outcome, QuantityResult, Results, TheoryResult,
};
use crate::notebook::Notebook;
use crate::notebook::blocks::{self, BlockKind, CellValue, QuantityRow};
use crate::report::words::{self, Run, Words};

/// The head of a quantity's row: its symbol and unit.
fn row_head(quantity: &QuantityResult) -> Words {
    words::over_unit(words::symbol(&quantity.symbol), words::unit_symbol(&quantity.unit))
}

fn value_row(label: Words, cells: Vec<Cell>) -> Row {
    Row::Values { labels: vec![Label::one(label)], cells, ruled: false }
}

/// A value or a dash, with the notes it needs.
fn outcome_cell(outcome: Option<&Outcome>, notes: &mut Notes) -> Cell {
    match outcome {
        Some(Outcome::Value(value)) => computed_cell(value, notes),
        Some(Outcome::Missing(reason)) if !reason.is_empty() => {
            let mark = notes.mark(words::plain(format!("Not computed: {reason}.")));
            Cell::Value(Value { digits: "–".to_owned(), marks: mark, ..Value::default() })
        }
        _ => Cell::Missing,
    }
}

fn computed_cell(value: &Computed, notes: &mut Notes) -> Cell {
    let mut cell = Value::printed(&value.printed);
    if value.provisional {
        cell.marks.push_str(PROVISIONAL);
        let text = "Provisional: it rests on a series that has not reached constant mass.";
        notes.once(PROVISIONAL, words::plain(text));
    }
    Cell::Value(cell)
}

fn figure_cell(figure: Option<&Figure>) -> Cell {
    figure.map_or(Cell::Empty, |figure| Cell::Value(Value::printed(&figure.printed)))
}

/// Rows of quantities for one group of trials.
fn trial_rows(quantities: &[&QuantityResult], group: &[usize], notes: &mut Notes) -> Vec<Row> {
    let row = |quantity: &&QuantityResult| {
        let cells = group.iter().map(|trial| outcome_cell(quantity.trials.get(*trial), notes)).collect();
        value_row(row_head(quantity), cells)
    };
    quantities.iter().map(row).collect()
}

/// A part for quantities that do not depend on the trial.
fn scalar_part(quantities: &[&QuantityResult], notes: &mut Notes) -> Option<Part> {
    if quantities.is_empty() {
        return None;
    }
    let row = |quantity: &&QuantityResult| {
        value_row(row_head(quantity), vec![outcome_cell(quantity.scalar.as_ref(), notes)])
    };
    Some(Part {
        spanner: None,
        labels: vec![words::plain("quantity")],
        columns: vec![words::plain("value for all trials")],
        rows: quantities.iter().map(row).collect(),
    })
}

/// The net masses; `None` where none follows.
pub(crate) fn net_masses(results: &Results) -> Option<Table> {
    let masses: Vec<&QuantityResult> =
        results.quantities.iter().filter(|quantity| quantity.origin == Origin::NetMass).collect();
    if masses.is_empty() {
        return None;
    }
    let mut notes = Notes::default();
    let trials: Vec<usize> = (0..results.trials.len()).collect();
    let parts = groups(&trials)
        .into_iter()
        .map(|group| Part {
            spanner: Some((words::plain("trial"), group.len())),
            labels: vec![words::plain("net mass")],
            columns: heads(results, group, &mut notes),
            rows: trial_rows(&masses, group, &mut notes),
        })
        .collect();
    Some(Table { name: "net-masses", caption: words::plain("Net masses"), parts, notes: notes.all() })
}

/// What a `measured` block says, as written; `None` where it has no line.
pub(crate) fn measured(notebook: &Notebook, results: &Results, block: usize) -> Option<Table> {
    let BlockKind::Measured(measured) = &notebook.blocks.get(block)?.kind else { return None };
    if measured.rows.is_empty() {
        return None;
    }
    let mut notes = Notes::default();
    let named = |name: &str| results.trials.iter().position(|trial| trial.name == name);
    let trials: Vec<usize> = match &measured.columns.trials {
        Some(names) => names.iter().filter_map(|name| named(&name.value)).collect(),
        None => (0..results.trials.len()).filter(|trial| !results.trials[*trial].blank).collect(),
    };
    let unit = measured.unit.as_ref().map_or("", |unit| words::unit_symbol(&unit.value));
    let mut parts: Vec<Part> = Vec::new();
    let (single, several): (Vec<&QuantityRow>, Vec<&QuantityRow>) =
        measured.rows.iter().partition(|row| row.cells.len() == 1 && trials.len() != 1);
    if !several.is_empty() {
        for (start, group) in starts(&groups(&trials)) {
            parts.push(Part {
                spanner: Some((words::plain("trial"), group.len())),
                labels: vec![words::plain("measured")],
                columns: heads(results, group, &mut notes),
                rows: several
                    .iter()
                    .map(|row| measured_row(row, start, group.len(), unit, &mut notes))
                    .collect(),
            });
        }
    }
    if !single.is_empty() {
        parts.push(Part {
            spanner: None,
            labels: vec![words::plain("measured")],
            columns: vec![words::plain("value for all trials")],
            rows: single.iter().map(|row| measured_row(row, 0, 1, unit, &mut notes)).collect(),
        });
    }
    Some(Table { name: "measured", caption: words::plain("Measured quantities"), parts, notes: notes.all() })
}

/// Each group with the number of trials before it.
fn starts<'a>(groups: &[&'a [usize]]) -> Vec<(usize, &'a [usize])> {
    let mut before = 0;
    let mut all = Vec::new();
    for group in groups {
        all.push((before, *group));
        before += group.len();
    }
    all
}

fn measured_row(row: &QuantityRow, start: usize, count: usize, unit: &str, notes: &mut Notes) -> Row {
    let own =
        row.cells.iter().find_map(|cell| cell.unit.as_ref()).map(|unit| words::unit_symbol(&unit.value));
    let head_unit = own.unwrap_or(unit);
    let numeric = row.cells.iter().any(|cell| matches!(cell.value, CellValue::Number(_)));
    let symbol = words::symbol(&row.symbol.value);
    let label = if numeric { words::over_unit(symbol, head_unit) } else { symbol };
    let cells =
        (start..start + count).map(|index| written_cell(row.cells.get(index), head_unit, notes)).collect();
    value_row(label, cells)
}

fn written_cell(cell: Option<&blocks::Cell>, unit: &str, notes: &mut Notes) -> Cell {
    let Some(cell) = cell else { return Cell::Missing };
    let mark = cell.remark.as_ref().map_or(String::new(), |remark| notes.mark(words::plain(remark.clone())));
    let own = cell.unit.as_ref().map(|unit| words::unit_symbol(&unit.value));
    let (digits, shared) = match &cell.value {
        CellValue::Number(decimal) => (decimal.to_string(), None),
        CellValue::SameAs(trial) => ("–".to_owned(), Some(trial.clone())),
        CellValue::Text(text) => return Cell::Words(vec![Run::Plain(text.clone()), Run::Raised(mark)]),
        CellValue::Missing | CellValue::Faulty => ("–".to_owned(), None),
    };
    Cell::Value(Value {
        digits,
        shared,
        unit: own.filter(|own| *own != unit).map(str::to_owned),
        struck: cell.strikes.iter().map(|strike| strike.value.clone()).collect(),
        marks: mark,
        ..Value::default()
    })
}

fn worked(results: &Results) -> Vec<&QuantityResult> {
    results.quantities.iter().filter(|quantity| quantity.origin == Origin::Working).collect()
}

/// The results of all trials with their means; `None` where nothing was worked out.
pub(crate) fn results(results: &Results) -> Option<Table> {
    let (scalars, per_trial): (Vec<_>, Vec<_>) =
        worked(results).into_iter().partition(|quantity| quantity.trials.is_empty());
    let mut notes = Notes::default();
    let trials: Vec<usize> =
        (0..results.trials.len()).filter(|index| !results.trials[*index].blank).collect();
    let mut parts = Vec::new();
    if !per_trial.is_empty() && !trials.is_empty() {
        let groups = groups(&trials);
        let last = groups.len() - 1;
        for (index, group) in groups.iter().enumerate() {
            parts.push(result_part(results, &per_trial, group, index == last, &mut notes));
        }
    }
    parts.extend(scalar_part(&scalars, &mut notes));
    let caption = words::plain("Results of all trials");
    (!parts.is_empty()).then(|| Table { name: "results", caption, parts, notes: notes.all() })
}

fn result_part(
    results: &Results,
    quantities: &[&QuantityResult],
    group: &[usize],
    means: bool,
    notes: &mut Notes,
) -> Part {
    let mut columns = heads(results, group, notes);
    let mut rows = trial_rows(quantities, group, notes);
    let valid = results.trials.iter().filter(|trial| trial.set_aside.is_none() && !trial.blank).count();
    if means && valid > 1 {
        columns.push(words::plain("mean"));
        for (row, quantity) in rows.iter_mut().zip(quantities) {
            if let Row::Values { cells, .. } = row {
                cells.push(mean_cell(quantity, valid, notes));
            }
        }
    }
    Part {
        spanner: Some((words::plain("trial"), group.len())),
        labels: vec![words::plain("quantity")],
        columns,
        rows,
    }
}

fn mean_cell(quantity: &QuantityResult, valid: usize, notes: &mut Notes) -> Cell {
    let Some(agreement) = &quantity.agreement else { return Cell::Missing };
    let cell = figure_cell(Some(&agreement.mean));
    if agreement.numbers.n == valid {
        return cell;
    }
    let n = agreement.numbers.n;
    let text = if n == 1 {
        "The value of one trial only.".to_owned()
    } else {
        format!("The mean of n = {n} trials.")
    };
    cell.marked(&notes.mark(words::plain(text)))
}

/// A column of the agreement table: its head, and its figure where there is one.
type Measure = (&'static str, &'static str, fn(&AgreementResult) -> Option<&Figure>);

const MEASURES: &[Measure] = &[
    ("mean", "", |a| Some(&a.mean)),
    ("range", "", |a| a.range.as_ref()),
    ("s", "", |a| a.s.as_ref()),
    ("relative s", "%", |a| a.relative_s.as_ref()),
    ("relative difference", "%", |a| a.relative_difference.as_ref()),
    ("relative average deviation", "‰", |a| a.relative_average_deviation.as_ref()),
];

/// The agreement of the trials; `None` where no quantity has two values.
pub(crate) fn agreement(results: &Results) -> Option<Table> {
    let with_agreement =
        |quantity: &&QuantityResult| quantity.agreement.as_ref().is_some_and(|a| a.numbers.n > 1);
    let quantities: Vec<&QuantityResult> = worked(results).into_iter().filter(with_agreement).collect();
    if quantities.is_empty() {
        return None;
    }
    let lines: Vec<(Words, &AgreementResult)> =
        quantities.iter().flat_map(|quantity| agreement_lines(quantity)).collect();
    let shown: Vec<&Measure> =
        MEASURES.iter().filter(|(_, _, figure)| lines.iter().any(|(_, a)| figure(a).is_some())).collect();
    let limited = lines.iter().any(|(_, a)| a.repeatability.is_some());
    let mut columns = vec![vec![Run::Italic("n".to_owned())]];
    columns.extend(shown.iter().map(|(head, unit, _)| measure_head(head, unit)));
    if limited {
        columns.push(vec![Run::Plain("limit ".to_owned()), Run::Italic("r".to_owned())]);
        columns.push(words::plain("within it"));
    }
    let row = |(label, agreement): &(Words, &AgreementResult)| {
        let mut cells = vec![count_cell(agreement.numbers.n)];
        cells.extend(shown.iter().map(|(_, _, figure)| figure_cell(figure(agreement))));
        if limited {
            cells.extend(repeatability_cells(agreement));
        }
        value_row(label.clone(), cells)
    };
    let part = Part {
        spanner: None,
        labels: vec![words::plain("quantity")],
        columns,
        rows: lines.iter().map(row).collect(),
    };
    let mut notes = Notes::default();
    if quantities.iter().any(|quantity| quantity.agreement_with_all.is_some()) {
        notes.once("", words::plain("“With all” counts the trials that were set aside too."));
    }
    notes.once("", words::plain("Mean, range and s are in the unit of the quantity."));
    let caption = words::plain("Agreement of the trials");
    Some(Table { name: "agreement", caption, parts: vec![part], notes: notes.all() })
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

fn agreement_lines(quantity: &QuantityResult) -> Vec<(Words, &AgreementResult)> {
    let mut lines = Vec::new();
    if let Some(agreement) = &quantity.agreement {
        lines.push((row_head(quantity), agreement));
    }
    if let Some(all) = &quantity.agreement_with_all {
        let mut head = words::symbol(&quantity.symbol);
        head.push(Run::Plain(", with all".to_owned()));
        lines.push((head, all));
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

/// Theory, difference and percent error; `None` where there is no theory.
pub(crate) fn theory(results: &Results) -> Option<Table> {
    let mut notes = Notes::default();
    let compared: Vec<(&QuantityResult, Option<&TheoryResult>)> = results
        .quantities
        .iter()
        .filter(|quantity| quantity.theory.is_some() || quantity.origin == Origin::Theory)
        .map(|quantity| (quantity, quantity.theory.as_ref()))
        .collect();
    if compared.is_empty() {
        return None;
    }
    let points = compared.iter().any(|(_, theory)| theory.is_some_and(|theory| theory.difference.is_some()));
    let mut columns = vec![words::plain("result"), words::plain("theory")];
    if points {
        columns.push(vec![
            Run::Plain("difference /".into()),
            Run::Break,
            Run::Plain("percentage points".into()),
        ]);
    }
    columns.push(vec![Run::Plain("percent".into()), Run::Break, Run::Plain("error / %".into())]);
    let mut rows = Vec::new();
    for (quantity, theory) in compared {
        rows.extend(per_trial_theory(results, quantity, theory, points, &mut notes));
        rows.push(theory_row(quantity, theory, points, &mut notes));
    }
    notes.once(
        "",
        words::plain(
            "Percent error = (result − theory)/|theory| × 100, of the mean where there are several trials.",
        ),
    );
    let part = Part { spanner: None, labels: vec![words::plain("quantity")], columns, rows };
    let caption = words::plain("Theory and percent error");
    Some(Table { name: "theory", caption, parts: vec![part], notes: notes.all() })
}

fn theory_row(
    quantity: &QuantityResult,
    theory: Option<&TheoryResult>,
    points: bool,
    notes: &mut Notes,
) -> Row {
    let own = quantity.origin == Origin::Theory;
    let result = match (own, &quantity.agreement) {
        (true, _) => Cell::Empty,
        (false, Some(agreement)) => figure_cell(Some(&agreement.mean)),
        (false, None) => outcome_cell(quantity.scalar.as_ref(), notes),
    };
    let expected = match theory {
        Some(theory) if theory.trials.is_empty() => outcome_cell(theory.scalar.as_ref(), notes),
        Some(_) => Cell::Empty,
        None => outcome_cell(quantity.scalar.as_ref(), notes),
    };
    let mut cells = vec![result, expected];
    if points {
        cells.push(signed_cell(theory.and_then(|theory| theory.difference.as_ref())));
    }
    cells.push(signed_cell(theory.and_then(|theory| theory.percent_error.as_ref())));
    value_row(row_head(quantity), cells)
}

/// Where theory depends on the trial, a line for each.
fn per_trial_theory(
    results: &Results,
    quantity: &QuantityResult,
    theory: Option<&TheoryResult>,
    points: bool,
    notes: &mut Notes,
) -> Vec<Row> {
    let own = quantity.origin == Origin::Theory && theory.is_none();
    let outcomes =
        if own { &quantity.trials } else { theory.map_or(&quantity.trials, |theory| &theory.trials) };
    if !own && theory.is_none_or(|theory| theory.trials.is_empty()) {
        return Vec::new();
    }
    let row = |(index, outcome): (usize, &Outcome)| {
        let name = results.trials.get(index).map_or("", |trial| trial.name.as_str());
        let mut label = row_head(quantity);
        label.push(Run::Plain(format!(", trial {name}")));
        let result = if own { Cell::Empty } else { outcome_cell(quantity.trials.get(index), notes) };
        let mut cells = vec![result, outcome_cell(Some(outcome), notes)];
        cells.extend(std::iter::repeat_n(Cell::Empty, 1 + usize::from(points)));
        value_row(label, cells)
    };
    outcomes.iter().enumerate().map(row).collect()
}

fn signed_cell(figure: Option<&Figure>) -> Cell {
    figure
        .map_or(Cell::Empty, |figure| Cell::Value(Value { signed: true, ..Value::printed(&figure.printed) }))
}
