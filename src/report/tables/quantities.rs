//! Net masses and results, and the cells that all tables of quantities share.

use super::{
    BY_FIGURES, Cell, Label, Notes, PROVISIONAL, Part, Row, Table, Value, groups, groups_of, heads,
    most_columns,
};
use crate::evaluation::results::{
    AgreementResult, Computed, Figure, Origin, Outcome, QuantityResult, Results,
};
use crate::report::uncertainty;
use crate::report::words::{self, Words};

/// The head of a quantity's row: its symbol and unit.
pub(super) fn row_head(quantity: &QuantityResult) -> Words {
    words::over_unit(words::symbol(&quantity.symbol), words::unit_symbol(&quantity.unit))
}

pub(super) fn value_row(label: Words, cells: Vec<Cell>) -> Row {
    Row::Values { labels: vec![Label::one(label)], cells, ruled: false }
}

/// A value or a dash, with the notes it needs, without its uncertainty.
pub(super) fn outcome_cell(outcome: Option<&Outcome>, notes: &mut Notes) -> Cell {
    match outcome {
        Some(Outcome::Value(value)) => noted(Value::printed(&value.printed), value, notes),
        Some(Outcome::Missing(reason)) if !reason.is_empty() => {
            let mark = notes.mark(words::plain(format!("Not computed: {reason}.")));
            Cell::Value(Value { digits: "–".to_owned(), marks: mark, ..Value::default() })
        }
        _ => Cell::Missing,
    }
}

/// A value with its uncertainty, or a dash, with the notes it needs.
pub(super) fn outcome_beside(outcome: Option<&Outcome>, notes: &mut Notes) -> Cell {
    match outcome {
        Some(Outcome::Value(value)) => {
            noted(Value::with(&value.printed, value.uncertainty.as_ref()), value, notes)
        }
        other => outcome_cell(other, notes),
    }
}

/// The marks that a value needs.
fn noted(cell: Value, value: &Computed, notes: &mut Notes) -> Cell {
    let cell = Cell::Value(Value { node: Some(value.node), ..cell });
    let cell = if value.provisional { provisional(cell, notes) } else { cell };
    if value.by_figures { by_figures(cell, notes) } else { cell }
}

fn by_figures(cell: Cell, notes: &mut Notes) -> Cell {
    notes.once(BY_FIGURES, words::plain("Digits by significant figures: no uncertainty is known."));
    cell.marked(BY_FIGURES)
}

pub(super) fn provisional(cell: Cell, notes: &mut Notes) -> Cell {
    let text = "Provisional: it rests on a series that has not reached constant mass.";
    notes.once(PROVISIONAL, words::plain(text));
    cell.marked(PROVISIONAL)
}

pub(super) fn figure_cell(figure: Option<&Figure>) -> Cell {
    figure.map_or(Cell::Empty, |figure| Cell::Value(Value::printed(&figure.printed)))
}

/// A mean with its uncertainty.
pub(super) fn mean_beside(agreement: &AgreementResult) -> Cell {
    let mean = Value::with(&agreement.mean.printed, agreement.mean.uncertainty.as_ref());
    Cell::Value(Value { node: Some(agreement.mean_node), ..mean })
}

/// How a value is put into a cell.
type ToCell = fn(Option<&Outcome>, &mut Notes) -> Cell;

/// Rows of quantities for one group of trials.
fn trial_rows(
    quantities: &[&QuantityResult],
    group: &[usize],
    to_cell: ToCell,
    notes: &mut Notes,
) -> Vec<Row> {
    let row = |quantity: &&QuantityResult| {
        let cells = group.iter().map(|trial| to_cell(quantity.trials.get(*trial), notes)).collect();
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
        value_row(row_head(quantity), vec![outcome_beside(quantity.scalar.as_ref(), notes)])
    };
    let rows = quantities.iter().map(row).collect();
    Some(Part::plain("quantity", vec![words::plain("value for all trials")], rows))
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
        .map(|group| {
            let heads = heads(results, group, &mut notes);
            Part::of_trials("net mass", heads, trial_rows(&masses, group, outcome_cell, &mut notes))
        })
        .collect();
    if results.buoyancy.is_some() {
        notes.once("", words::plain("Corrected for air buoyancy where a density is stated."));
    }
    Some(Table { name: "net-masses", caption: words::plain("Net masses"), parts, notes: notes.all() })
}

pub(super) fn worked(results: &Results) -> Vec<&QuantityResult> {
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
        let groups = groups_of(&trials, most_columns(results.settings.form()));
        let last = groups.len() - 1;
        for (index, group) in groups.iter().enumerate() {
            parts.push(result_part(results, &per_trial, group, index == last, &mut notes));
        }
    }
    parts.extend(scalar_part(&scalars, &mut notes));
    if parts.iter().any(Part::has_beside) {
        notes.once("", uncertainty::explained(results, results.settings.decimal));
    }
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
    let mut rows = trial_rows(quantities, group, outcome_beside, notes);
    let valid = results.trials.iter().filter(|trial| trial.set_aside.is_none() && !trial.blank).count();
    if means && valid > 1 {
        columns.push(words::plain("mean"));
        for (row, quantity) in rows.iter_mut().zip(quantities) {
            if let Row::Values { cells, .. } = row {
                cells.push(mean_cell(quantity, valid, notes));
            }
        }
    }
    let spanner = Some((words::plain("trial"), group.len()));
    Part { spanner, ..Part::plain("quantity", columns, rows) }
}

fn mean_cell(quantity: &QuantityResult, valid: usize, notes: &mut Notes) -> Cell {
    let Some(agreement) = &quantity.agreement else { return Cell::Missing };
    let mut cell = mean_beside(agreement);
    if agreement.provisional {
        cell = provisional(cell, notes);
    }
    if agreement.mean.by_figures {
        cell = by_figures(cell, notes);
    }
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
