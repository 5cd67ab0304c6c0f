//! A residue weighed after each of several stages: found change beside the one that the reaction should bring.

use super::{Cell, Label, Notes, Part, Row, Table, Value};
use crate::evaluation::results::{Figure, Results, StepResult, StepTable};
use crate::report::words::{self, Run, Words};

/// One table for each load that is weighed in stages.
pub(crate) fn steps(results: &Results) -> Vec<Table> {
    results.steps.iter().map(|steps| table(results, steps)).collect()
}

fn table(results: &Results, steps: &StepTable) -> Table {
    let unit = words::unit_symbol(&steps.unit);
    let several = results.trials.len() > 1;
    let head = |text: &str, unit: &str| words::over_unit(words::plain(text), unit);
    let two_lines = |first: &str, second: &str| {
        vec![Run::Plain(first.to_owned()), Run::Break, Run::Plain(second.to_owned())]
    };
    let mut columns = vec![head("mass", unit), head("change", unit), head("change", "%")];
    let compared = steps.steps.iter().any(|step| step.theory.is_some());
    if compared {
        columns.extend([head("theory", "%"), two_lines("difference /", "percentage points")]);
    }
    let labels = ["stage", "trial"].iter().take(1 + usize::from(several)).map(|label| words::plain(*label));
    let rows = steps.steps.iter().flat_map(|step| rows(results, step, several, compared)).collect();
    let part = Part { spanner: None, labels: labels.collect(), columns, rows };
    let mut notes = Notes::default();
    if let Some(sample) = &steps.sample {
        notes.once("", words::plain(format!("Changes in per cent are of m({sample}).")));
    }
    if let Some(pure) = &steps.pure {
        notes.once(
            "",
            words::plain(format!("Theory: the change of pure {pure} by the reaction of the stage.")),
        );
    }
    let of = if steps.of.is_empty() { String::new() } else { format!(", {}", steps.of) };
    Table {
        name: "steps",
        caption: words::plain(format!(
            "{} of each stage{of}",
            if compared { "Found and theoretical change" } else { "Change" }
        )),
        parts: vec![part],
        notes: notes.all(),
    }
}

fn rows(results: &Results, step: &StepResult, several: bool, compared: bool) -> Vec<Row> {
    let stage = |index: usize| match index {
        0 => vec![Label { words: stage_words(step), rows: step.trials.len() }],
        _ => Vec::new(),
    };
    let row = |(index, trial): (usize, &crate::evaluation::results::StepTrial)| {
        let mut labels = stage(index);
        let name = results.trials.get(index).map_or("", |trial| trial.name.as_str());
        labels.extend(several.then(|| Label::one(words::plain(name))));
        let mut cells = vec![
            cell(trial.mass.as_ref(), false),
            cell(trial.change.as_ref(), true),
            cell(trial.share.as_ref(), true),
        ];
        if compared {
            cells.extend([cell(step.theory.as_ref(), true), cell(trial.difference.as_ref(), true)]);
        }
        Row::Values { labels, cells, ruled: index == 0 }
    };
    step.trials.iter().enumerate().map(row).collect()
}

/// The stage, and the reaction beneath it.
fn stage_words(step: &StepResult) -> Words {
    let mut words = words::plain(step.stage.clone());
    if let Some(reaction) = &step.reaction {
        words.push(Run::Break);
        words.extend(words::equation(reaction));
    }
    words
}

fn cell(figure: Option<&Figure>, signed: bool) -> Cell {
    figure.map_or(Cell::Missing, |figure| Cell::Value(Value { signed, ..Value::printed(&figure.printed) }))
}
