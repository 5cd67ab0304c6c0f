//! Results against theory.

use super::quantities::{mean_beside, outcome_beside, outcome_cell, row_head, value_row, worked};
use super::{Cell, Notes, Part, Row, Table, Value};
use crate::evaluation::results::{Figure, Origin, Outcome, QuantityResult, Results, TheoryResult};
use crate::evaluation::spread::FigureKind;
use crate::evaluation::verdicts::{TheoryTest, TheoryVerdict};
use crate::notebook::settings::DecimalMark;
use crate::report::uncertainty;
use crate::report::words::{self, Run, Words};

/// Theory, difference and percent error; `None` where there is no theory.
pub(crate) fn theory(results: &Results) -> Option<Table> {
    let has_theory =
        |quantity: &&QuantityResult| quantity.theory.is_some() || quantity.origin == Origin::Theory;
    let compared: Vec<&QuantityResult> = results.quantities.iter().filter(has_theory).collect();
    if compared.is_empty() {
        return None;
    }
    let has_points = |quantity: &&QuantityResult| {
        quantity.theory.as_ref().is_some_and(|theory| theory.difference.is_some())
    };
    let points = compared.iter().any(has_points);
    let tested = compared.iter().any(|quantity| is_tested(quantity));
    let too_few = compared
        .iter()
        .any(|quantity| test_of(quantity).is_some_and(|test| test.verdict == TheoryVerdict::TooFewTrials));
    let mut notes = Notes::default();
    let mut rows = Vec::new();
    for quantity in compared {
        let theory = quantity.theory.as_ref();
        let further = usize::from(points) + usize::from(tested);
        rows.extend(per_trial_theory(results, quantity, theory, further, &mut notes));
        let mut row = theory_row(quantity, theory, points, &mut notes);
        if let (Row::Values { cells, .. }, true) = (&mut row, tested) {
            cells.push(test_cell(quantity, results.settings.decimal, &mut notes));
        }
        rows.push(row);
    }
    notes.once("", words::plain(PERCENT_ERROR));
    if !tested && too_few {
        notes.once("", words::plain(TOO_FEW));
    }
    let mut columns = columns(points);
    if tested {
        notes.once("", words::plain(TEST));
        columns.push(words::plain("agrees"));
    }
    let part = Part::plain("quantity", columns, rows);
    // Where there is a table of results, it explains what stands beside the values.
    if part.has_beside() && worked(results).is_empty() {
        notes.once("", uncertainty::explained(results, results.settings.decimal));
    }
    let caption = words::plain("Theory and percent error");
    Some(Table { name: "theory", caption, parts: vec![part], notes: notes.all() })
}

const PERCENT_ERROR: &str =
    "Percent error = (result − theory)/|theory| × 100, of the mean where there are several trials.";

const TOO_FEW: &str = "Too few trials to say whether results agree with theory: with fewer than three, and no repeatability \
                       of the method stated, their scatter is not known.";

const TEST: &str = "Agrees: the difference of result and theory is not more than its expanded uncertainty U, of readings, \
                    scatter of the trials and theory combined.";

fn test_of(quantity: &QuantityResult) -> Option<&TheoryTest> {
    quantity.theory.as_ref()?.test.as_ref()
}

fn is_tested(quantity: &QuantityResult) -> bool {
    test_of(quantity)
        .is_some_and(|test| matches!(test.verdict, TheoryVerdict::Agrees | TheoryVerdict::Differs))
}

/// Yes or no, with the numbers in a note.
fn test_cell(quantity: &QuantityResult, mark: DecimalMark, notes: &mut Notes) -> Cell {
    let Some(test) = test_of(quantity) else { return Cell::Empty };
    let word = match test.verdict {
        TheoryVerdict::Agrees => "yes",
        TheoryVerdict::Differs => "no",
        TheoryVerdict::TooFewTrials => "too few trials",
        TheoryVerdict::NotJudged(_) => "not judged",
    };
    let mut note = words::symbol(&quantity.symbol);
    let sentence = test.sentence(&quantity.unit).replace(" %", "\u{a0}%").replace(" = ", "\u{a0}=\u{a0}");
    note.push(Run::Plain(format!(" {}.", words::digits(&sentence, mark))));
    Cell::Words(vec![Run::Plain(word.to_owned()), Run::Raised(notes.mark(note))])
}

/// The heads; `points` where a difference in percentage points is shown.
fn columns(points: bool) -> Vec<Words> {
    let two_lines = |first: &str, second: &str| {
        vec![Run::Plain(first.to_owned()), Run::Break, Run::Plain(second.to_owned())]
    };
    let mut columns = vec![words::plain("result"), words::plain("theory")];
    if points {
        columns.push(two_lines("difference /", "percentage points"));
    }
    columns.push(two_lines("percent", "error / %"));
    columns
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
        (false, Some(agreement)) => mean_beside(agreement),
        (false, None) => outcome_beside(quantity.scalar.as_ref(), notes),
    };
    let expected = match theory {
        Some(theory) if theory.trials.is_empty() => outcome_beside(theory.scalar.as_ref(), notes),
        Some(_) => Cell::Empty,
        None => outcome_beside(quantity.scalar.as_ref(), notes),
    };
    let mut cells = vec![result, expected];
    if points {
        let difference = theory.and_then(|theory| theory.difference.as_ref());
        cells.push(signed_cell(difference, quantity, FigureKind::Difference));
    }
    let percent_error = theory.and_then(|theory| theory.percent_error.as_ref());
    cells.push(signed_cell(percent_error, quantity, FigureKind::PercentError));
    value_row(row_head(quantity), cells)
}

/// Where theory depends on the trial, a line for each.
fn per_trial_theory(
    results: &Results,
    quantity: &QuantityResult,
    theory: Option<&TheoryResult>,
    further: usize,
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
        cells.extend(std::iter::repeat_n(Cell::Empty, 1 + further));
        value_row(label, cells)
    };
    // A blank has net masses, and nothing that could be held against theory.
    let blank = |index: usize| results.trials.get(index).is_some_and(|trial| trial.blank);
    outcomes.iter().enumerate().filter(|(index, _)| !blank(*index)).map(row).collect()
}

fn signed_cell(figure: Option<&Figure>, quantity: &QuantityResult, kind: FigureKind) -> Cell {
    figure.map_or(Cell::Empty, |figure| {
        let figure_name = Some(kind.of(&quantity.symbol));
        Cell::Value(Value { signed: true, figure: figure_name, ..Value::printed(&figure.printed) })
    })
}
