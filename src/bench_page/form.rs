//! The readings as fields: cautions first, then every line of readings by trial, with what is known of each.

use super::additions::masses_blocks;
use super::asked::{Asked, AskedLoad};
use super::derivation::{reading_key, row_label};
use super::write_back::{Line, cell_text, lines, trial_names};
use crate::Computed;
use crate::evaluation::results::{ConstantMass, Results, Series, SeriesRow};
use crate::notebook::blocks::{Cell, CellValue, Masses};
use crate::notebook::load_key;
use crate::span::{Lines, Span};
use crate::template::CLOSING;
use crate::template::model::Cautions;
use serde::Serialize;
use std::collections::{HashMap, HashSet};

/// Everything the page has to show to take readings in.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Form {
    /// The cautions of the template, each with the word it begins with (may be empty).
    pub cautions: Vec<(String, String)>,
    /// What the cautions end with; empty where there is none.
    pub closing: &'static str,
    /// The blocks of readings.
    pub blocks: Vec<FormBlock>,
}

/// One block of readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FormBlock {
    /// The unit that cells without their own are in.
    pub unit: String,
    /// The names of the columns.
    pub trials: Vec<String>,
    /// Whether its trials have names of their own; a further one then needs a name.
    pub named: bool,
    /// Whether a further trial can be added here: it names its trials, or no block does.
    pub grows: bool,
    /// How many trials the template asks for, where there are fewer; else 0.
    pub asked_trials: usize,
    /// Its number among the blocks of readings, from 0.
    pub number: usize,
    /// The balances named for the block.
    pub balance: String,
    /// Its lines.
    pub lines: Vec<FormLine>,
    /// Loads that the template asks for and the notebook does not weigh, to be added here.
    pub asked: Vec<AskedLoad>,
}

/// One line of readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FormLine {
    /// Its label.
    pub label: String,
    /// Which of the lines with that label it is, from 0.
    pub nth: usize,
    /// The line of the notebook.
    pub line: usize,
    /// Whether the whole line is struck.
    pub struck: bool,
    /// Whether it is the last line of its load: another weighing goes behind it.
    pub last: bool,
    /// The treatment before it, without its number; empty for a plain weighing.
    pub treatment: String,
    /// How many weighings of the load the template asks for, in its last line and where there are fewer lines; else 0.
    pub asked: usize,
    /// The rule of constant mass, under the last line of a load that has one.
    pub rule: String,
    /// Its cells, one per column.
    pub cells: Vec<FormCell>,
}

/// One cell.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct FormCell {
    /// Its whole text, by which a conflict is told.
    pub text: String,
    /// The reading as written; empty where there is none.
    pub reading: String,
    /// Struck readings.
    pub struck: Vec<String>,
    /// Remarks.
    pub remark: String,
    /// Why it cannot be changed here; empty where it can.
    pub closed: String,
    /// What is said of constant mass, in the last line of a load.
    pub verdict: String,
    /// Whether that is: reached.
    pub reached: bool,
    /// What the reading is called in derivations.
    pub key: String,
}

/// The form of a notebook.
pub fn form(computed: &Computed) -> Form {
    let places = Lines::of(&computed.notebook.text);
    let cautions = computed.template.as_ref().map_or(Vec::new(), |template| cautions(&template.cautions));
    let all = lines(&computed.notebook);
    let last = last_of_loads(&all);
    let known = series_rows(&computed.results);
    let mut asked = Asked::of(computed, &all);
    let blocks = masses_blocks(&computed.notebook).enumerate().map(|(number, (index, masses))| {
        let mut block = block(computed, masses, number, &asked);
        for line in all.iter().filter(|line| line.block == index) {
            let columns = block.trials.len();
            let found = known.get(&line.row.span).copied();
            let last = last.contains(&line.row.span);
            let mut form_line = form_line(computed, line, found, last, columns, &places);
            form_line.asked = if last { asked.weighings(line) } else { 0 };
            block.lines.push(form_line);
        }
        block.asked = asked.take_loads(index, number);
        block
    });
    let blocks = blocks.collect();
    let closing = if cautions.is_empty() { "" } else { CLOSING };
    Form { cautions, closing, blocks }
}

fn block(computed: &Computed, masses: &Masses, number: usize, asked: &Asked) -> FormBlock {
    let notebook = &computed.notebook;
    let named = masses.columns.trials.as_ref();
    let any_named = || masses_blocks(notebook).any(|(_, masses)| masses.columns.trials.is_some());
    let balances: Vec<&str> = masses.balances.iter().map(|balance| balance.value.as_str()).collect();
    FormBlock {
        unit: masses.unit.as_ref().map_or("g".to_owned(), |unit| unit.value.typographic()),
        trials: trial_names(notebook, masses),
        named: named.is_some(),
        grows: named.map_or_else(|| !any_named(), |trials| !trials.is_empty()),
        asked_trials: asked.trials,
        number,
        balance: balances.join(", "),
        lines: Vec::new(),
        asked: Vec::new(),
    }
}

/// The last line of each load, lines that are struck as a whole left out.
fn last_of_loads(all: &[Line]) -> HashSet<Span> {
    let by_load: HashMap<String, Span> = all
        .iter()
        .filter(|line| !line.row.struck)
        .map(|line| (load_key(&line.row.things), line.row.span))
        .collect();
    by_load.into_values().collect()
}

/// What the lines of the notebook became, by their places.
fn series_rows(results: &Results) -> HashMap<Span, SeriesAt<'_>> {
    let mut found = HashMap::new();
    for series in &results.series {
        found.extend(series.rows.iter().map(|row| (row.span, (series, row))));
    }
    found
}

fn form_line(
    computed: &Computed,
    line: &Line,
    found: Option<SeriesAt>,
    last: bool,
    columns: usize,
    places: &Lines,
) -> FormLine {
    let row = line.row;
    let cell = |column: usize| {
        let mut cell = form_cell(computed, line, column);
        if let Some((series, row_of, trial)) =
            found.and_then(|(series, row)| Some((series, row, trial_index(computed, line, column)?)))
        {
            if row_of.readings.get(trial).is_some_and(|reading| reading.node.is_some()) {
                cell.key = key(series, row_of, &computed.results, trial);
            }
            if last {
                (cell.verdict, cell.reached) = verdict(series, trial);
            }
        }
        cell
    };
    FormLine {
        label: row.label.value.clone(),
        nth: line.nth,
        line: places.place(&computed.notebook.text, row.span.start).0,
        struck: row.struck,
        asked: 0,
        last: last && !row.struck,
        rule: found.filter(|_| last).and_then(|(series, _)| series.rule.clone()).unwrap_or_default(),
        treatment: row.treatment.as_ref().map_or(String::new(), |treatment| treatment.name.clone()),
        cells: (0..columns).map(cell).collect(),
    }
}

/// The index in the results of a column of a block.
pub(super) fn trial_index(computed: &Computed, line: &Line, column: usize) -> Option<usize> {
    match &line.masses.columns.trials {
        Some(trials) => {
            let name = &trials.get(column)?.value;
            computed.results.trials.iter().position(|trial| trial.name == *name)
        }
        None => (column < computed.results.trials.len()).then_some(column),
    }
}

/// A series of the results with one of its rows.
pub(super) type SeriesAt<'r> = (&'r Series, &'r SeriesRow);

/// The series and row of the results that a line became.
pub(super) fn series_row<'r>(results: &'r Results, line: &Line) -> Option<SeriesAt<'r>> {
    series_rows(results).get(&line.row.span).copied()
}

/// What the derivations call a reading.
fn key(series: &Series, row: &SeriesRow, results: &Results, trial: usize) -> String {
    let label = row_label(&series.load, &row.treatment);
    let before = series.rows.iter().take_while(|other| other.span != row.span);
    let nth = before.filter(|other| other.treatment == row.treatment).count();
    let name = results.trials.get(trial).map_or("", |trial| trial.name.as_str());
    reading_key(&label, nth, name)
}

/// What is said of constant mass in one trial, and whether it is reached.
pub(super) fn verdict(series: &Series, trial: usize) -> (String, bool) {
    match series.verdicts.get(trial) {
        Some(ConstantMass::Reached { .. }) => ("constant mass reached".to_owned(), true),
        Some(ConstantMass::NotReached { .. }) => ("not constant yet".to_owned(), false),
        Some(ConstantMass::NotShown(why)) => (format!("constant mass not shown: {why}"), false),
        Some(ConstantMass::CannotBeJudged(why)) => (format!("constant mass cannot be judged: {why}"), false),
        Some(ConstantMass::None) | None => (String::new(), false),
    }
}

fn form_cell(computed: &Computed, line: &Line, column: usize) -> FormCell {
    let notebook = &computed.notebook;
    let text = cell_text(notebook, line.row, column).to_owned();
    let Some(cell) = line.row.cells.get(column) else { return FormCell { text, ..FormCell::default() } };
    FormCell {
        text,
        reading: match cell.value {
            CellValue::Number(_) => cell.written.text(&notebook.text).to_owned(),
            _ => String::new(),
        },
        struck: cell.strikes.iter().map(|struck| struck.value.clone()).collect(),
        remark: cell.remark.clone().unwrap_or_default(),
        closed: if line.row.struck { "struck".to_owned() } else { closed(cell) },
        ..FormCell::default()
    }
}

/// Why a cell is not changed on the page.
fn closed(cell: &Cell) -> String {
    match &cell.value {
        CellValue::SameAs(trial) => format!("as in trial {trial}"),
        CellValue::Text(_) | CellValue::Faulty => "not readable: mend it in the notebook".to_owned(),
        CellValue::Missing | CellValue::Number(_) => String::new(),
    }
}

/// The cautions, each with the word it begins with.
fn cautions(cautions: &Cautions) -> Vec<(String, String)> {
    let mut list: Vec<(String, String)> = Vec::new();
    for hazard in &cautions.hazards {
        let signal = hazard.signal.map_or(String::new(), |signal| signal.word().to_owned());
        let said: Vec<&str> = hazard
            .statements
            .iter()
            .chain(&hazard.precautions)
            .map(|text| text.trim_end_matches('.'))
            .collect();
        list.push((signal, format!("{} ({}). {}.", hazard.substance, hazard.concentration, said.join(". "))));
    }
    list.extend(cautions.signs.iter().map(|sign| (sign.kind.label.to_owned(), sign.text.clone())));
    for (word, lines) in [
        ("", &cautions.gases),
        ("", &cautions.general),
        ("Spill", &cautions.spills),
        ("Waste", &cautions.disposal),
    ] {
        list.extend(lines.iter().map(|line| {
            let about = if line.about.is_empty() { String::new() } else { format!("{}: ", line.about) };
            (word.to_owned(), format!("{about}{}", line.text))
        }));
    }
    list
}
