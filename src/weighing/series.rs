//! The weighings of each load in the order written, as leaves of the derivation graph.

use super::balance;
use super::load::Load;
use super::role::Role;
use super::trials::Trials;
use crate::finding::{Code, Finding, nearest};
use crate::notebook::Notebook;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, LoadRow, Masses, Row};
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Decimal, Quantity, Unit};
use crate::span::Span;
use hashbrown::{HashMap, HashSet};
use std::sync::Arc;

/// All weighings of a notebook.
#[derive(Clone, Debug, Default)]
pub struct Weighings {
    /// One per load, in the order of their first row.
    pub series: Vec<WeighedSeries>,
    by_load: HashMap<Load, usize>,
}

/// The weighings of one load.
#[derive(Clone, Debug)]
pub struct WeighedSeries {
    /// The load.
    pub load: Load,
    /// The load as first written.
    pub written: String,
    /// The things of the load, in the order first written.
    pub things: Vec<String>,
    /// The unit of its (first) block.
    pub unit: Unit,
    /// What its readings are for.
    pub role: Role,
    /// Its rows.
    pub rows: Vec<WeighedRow>,
}

/// One row of a series.
#[derive(Clone, Debug)]
pub struct WeighedRow {
    /// The row as written.
    pub row: Arc<LoadRow>,
    /// Events written since the row of this load before it.
    pub events: Vec<String>,
    /// One per trial.
    pub readings: Vec<ReadingAt>,
}

/// The reading of one trial in a row.
#[derive(Clone, Debug, Default)]
pub struct ReadingAt {
    /// Index of its cell in the row.
    pub cell: Option<usize>,
    /// The leaf in the derivation graph; `None` where the reading is missing or the row is struck.
    pub node: Option<NodeId>,
    /// The decimal and the unit it was written with.
    pub written: Option<(Decimal, Unit)>,
    /// The balance it was read on, where one is named.
    pub balance: Option<Arc<str>>,
    /// The trial whose reading it shares.
    pub shared_with: Option<String>,
}

impl Weighings {
    /// The index of the series of a load.
    pub fn index_of(&self, load: &Load) -> Option<usize> {
        self.by_load.get(load).copied()
    }

    /// Reads every `masses` block into series, adding one leaf per reading to the graph.
    pub fn of(notebook: &Notebook, trials: &Trials, graph: &mut Graph, findings: &mut Vec<Finding>) -> Self {
        let mut builder = Builder {
            settings: &notebook.settings,
            trials,
            graph,
            findings,
            weighings: Weighings::default(),
            events: Vec::new(),
            seen: HashMap::new(),
            balance: None,
        };
        for block in &notebook.blocks {
            if let BlockKind::Masses(masses) = &block.kind {
                builder.block(masses);
            }
        }
        builder.check_cases();
        builder.check_commas();
        builder.weighings
    }
}

impl WeighedSeries {
    /// The readings of one trial that are there, with the index of their row.
    pub fn readings(&self, trial: usize) -> impl DoubleEndedIterator<Item = (usize, &ReadingAt)> {
        let at =
            move |row: &'_ WeighedRow| row.readings.get(trial).is_some_and(|reading| reading.node.is_some());
        let rows = self.rows.iter().enumerate().filter(move |(_, row)| at(row));
        rows.map(move |(index, row)| (index, &row.readings[trial]))
    }

    /// The weighing that stands for the load in a trial: the last one.
    pub fn standing(&self, trial: usize) -> Option<&ReadingAt> {
        self.readings(trial).next_back().map(|(_, reading)| reading)
    }

    /// Whether the load was treated between weighings, or weighed more than once.
    pub fn is_repeated(&self) -> bool {
        let used = || self.rows.iter().filter(|row| !row.row.struck);
        let trials = self.rows.first().map_or(0, |row| row.readings.len());
        let twice = |trial: usize| used().filter(|row| row.readings[trial].node.is_some()).count() > 1;
        self.role == Role::Load && ((0..trials).any(twice) || used().any(|row| row.row.treatment.is_some()))
    }
}

struct Builder<'a> {
    settings: &'a Settings,
    trials: &'a Trials,
    graph: &'a mut Graph,
    findings: &'a mut Vec<Finding>,
    weighings: Weighings,
    /// The events so far, in all blocks.
    events: Vec<String>,
    /// How many of them there were at the last row of a load.
    seen: HashMap<Load, usize>,
    /// The last balance that was named.
    balance: Option<Arc<str>>,
}

impl Builder<'_> {
    fn block(&mut self, masses: &Masses) {
        let unit = masses.unit.as_ref().map_or_else(Unit::gram, |unit| unit.value.clone());
        self.check_balances(masses);
        for row in &masses.rows {
            match row {
                Row::Event(event) => self.events.push(event.value.clone()),
                Row::Load(row) => {
                    let load = Load::of(row.things.iter().map(String::as_str));
                    let events = self.events_since(&load, row.struck);
                    self.row(load, row, masses, &unit, &events);
                }
            }
        }
    }

    /// The events since the last row of a load; a struck row leaves them to the row after it.
    fn events_since(&mut self, load: &Load, struck: bool) -> Vec<String> {
        let now = self.events.len();
        if struck {
            return Vec::new();
        }
        let since = self.seen.insert(load.clone(), now).unwrap_or(now);
        self.events[since..].to_vec()
    }

    fn row(&mut self, load: Load, row: &Arc<LoadRow>, masses: &Masses, unit: &Unit, events: &[String]) {
        let series = self.series(load, row, unit);
        let cycle = self.weighings.series[series].rows.iter().filter(|row| !row.row.struck).count();
        let mut readings = vec![ReadingAt::default(); self.trials.len()];
        let load: Arc<str> = row.things.join(" + ").into();
        for (position, cell) in row.cells.iter().enumerate() {
            if let Some(trial) = self.trials.column(&masses.columns, position) {
                readings[trial] = self.reading(row, cell, trial, masses, unit, (&load, cycle));
                readings[trial].cell = Some(position);
            }
        }
        self.share(row, masses, &mut readings);
        if row.struck {
            readings.iter_mut().for_each(|reading| reading.node = None);
        }
        let row = WeighedRow { row: row.clone(), events: events.to_vec(), readings };
        self.weighings.series[series].rows.push(row);
    }

    fn series(&mut self, load: Load, row: &LoadRow, unit: &Unit) -> usize {
        if let Some(index) = self.weighings.by_load.get(&load) {
            return *index;
        }
        let index = self.weighings.series.len();
        self.weighings.by_load.insert(load.clone(), index);
        self.weighings.series.push(WeighedSeries {
            load,
            written: row.things.join(" + "),
            things: row.things.clone(),
            unit: unit.clone(),
            role: Role::of(&row.things),
            rows: Vec::new(),
        });
        index
    }

    /// One cell as a leaf; a shared reading gets its node afterwards.
    fn reading(
        &mut self,
        row: &LoadRow,
        cell: &Cell,
        trial: usize,
        masses: &Masses,
        unit: &Unit,
        (load, cycle): (&Arc<str>, usize),
    ) -> ReadingAt {
        let balance = balance_of(row, cell, masses, trial, self.trials);
        let balance = balance.map(|name| self.shared_name(as_described(self.settings, name)));
        let CellValue::Number(decimal) = &cell.value else {
            return ReadingAt { balance, ..ReadingAt::default() };
        };
        let unit = cell.unit.as_ref().map_or(unit, |unit| &unit.value);
        if unit.dimension() != Unit::gram().dimension() {
            self.not_a_mass(cell, unit);
            return ReadingAt { balance, ..ReadingAt::default() };
        }
        let Ok(quantity) = Quantity::from_decimal(decimal, unit, true) else {
            return ReadingAt { balance, ..ReadingAt::default() };
        };
        if !row.struck {
            self.check_decimals(balance.as_deref(), decimal, unit, cell.span);
        }
        let load = load.clone();
        let operation = Operation::Reading { load, trial, cycle, balance: balance.clone() };
        let node = Node { operation, inputs: NodeInputs::new(), quantity, span: Some(cell.span) };
        let written = Some((decimal.clone(), unit.clone()));
        ReadingAt {
            node: (!row.struck).then(|| self.graph.add(node)),
            written,
            balance,
            ..ReadingAt::default()
        }
    }

    /// The name of a balance, one for all readings in a row that have it.
    fn shared_name(&mut self, name: &str) -> Arc<str> {
        match &self.balance {
            Some(last) if **last == *name => last.clone(),
            _ => self.balance.insert(name.into()).clone(),
        }
    }

    fn not_a_mass(&mut self, cell: &Cell, unit: &Unit) {
        let message =
            format!("a weighing is a mass, but {} is a {}", unit.symbol(), unit.dimension().describe());
        let finding = Finding::error(Code::BadUnit, cell.span, message);
        self.findings.push(finding.hint("give it in g, mg or kg, or put it in a `measured` block"));
    }

    /// A reading has as many decimals as its balance gives.
    fn check_decimals(&mut self, name: Option<&str>, decimal: &Decimal, unit: &Unit, span: Span) {
        let Some(balance) = name.and_then(|name| balance::named(self.settings, name)) else { return };
        let Some(readability) = &balance.readability else { return };
        let Ok(place) = crate::quantity::Number::power_of_ten(decimal.place()).mul(unit.factor()) else {
            return;
        };
        let leading = |number: &crate::quantity::Number| number.leading_power().unwrap_or(0);
        let (have, give) = (leading(&place), leading(&readability.number));
        if have == give {
            return;
        }
        let (name, written) =
            (&balance.name.value, balance.readability_text.as_deref().unwrap_or("its scale"));
        let many = if have < give { "more" } else { "fewer" };
        let message = format!(
            "{many} decimals than balance {name} gives ({decimal} {}, readability {written})",
            unit.symbol()
        );
        let hint = if have < give {
            "check the reading, or the balance it was read on"
        } else {
            "write every digit of the display, zeros at the end included"
        };
        self.findings.push(Finding::warning(Code::DecimalPlaces, span, message).hint(hint));
    }

    /// A thing that ends in a treatment of the notebook and a number: a comma was forgotten.
    fn check_commas(&mut self) {
        let rows = || self.weighings.series.iter().flat_map(|series| &series.rows);
        let names: HashSet<&str> = rows()
            .filter_map(|row| row.row.treatment.as_ref())
            .map(|treatment| treatment.name.as_str())
            .collect();
        let mut said = Vec::new();
        for row in rows().filter(|row| row.row.treatment.is_none()) {
            let Some((before, number)) = row.row.things.last().and_then(|thing| thing.rsplit_once(' '))
            else {
                continue;
            };
            let whole = !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit());
            let name = names.iter().find(|name| before.ends_with(&format!(" {name}")));
            if let (true, Some(name)) = (whole, name) {
                let message = format!("{} is read as a thing of its own", row.row.label.value);
                let finding = Finding::warning(Code::BadLine, row.row.label.span, message);
                said.push(finding.hint(format!("a comma goes before the treatment: `…, {name} {number}`")));
            }
        }
        self.findings.extend(said);
    }

    /// Things that differ in nothing but capitals: apart where both are chemical formulas, else hardly meant so.
    fn check_cases(&mut self) {
        let mut by_letters: HashMap<String, (String, Span)> = HashMap::new();
        let mut said = Vec::new();
        for series in &self.weighings.series {
            let Some(row) = series.rows.first() else { continue };
            for thing in &series.things {
                let key = crate::notebook::thing_key(thing);
                let (other, place) =
                    by_letters.entry(key.to_lowercase()).or_insert((key.clone(), row.row.label.span));
                if *other == key {
                    continue;
                }
                let formulas = [&key, other].into_iter().all(|key| key.chars().any(char::is_uppercase));
                let message = format!("{thing} and {other} are taken as two things");
                let finding = if formulas {
                    Finding::note(
                        Code::FormulaReading,
                        row.row.label.span,
                        message + ": two chemical formulas",
                    )
                } else {
                    let finding = Finding::warning(Code::FormulaReading, row.row.label.span, message);
                    finding.hint("write one thing in one way; capitals alone spell a chemical formula")
                };
                said.push(finding.label(*place, "the other one"));
            }
        }
        self.findings.extend(said);
    }

    /// Balances named in the block, but not described in `experiment`.
    fn check_balances(&mut self, masses: &Masses) {
        if self.settings.balances.is_empty() {
            return;
        }
        let rows = masses
            .rows
            .iter()
            .filter_map(|row| if let Row::Load(row) = row { row.balance.as_ref() } else { None });
        for name in masses.balances.iter().chain(rows) {
            if balance::named(self.settings, &name.value).is_some() || is_dash(&name.value) {
                continue;
            }
            let message = format!("balance {} is not described in `experiment`", name.value);
            let finding = Finding::note(Code::UnknownBalance, name.span, message);
            let known = self.settings.balances.iter().map(|balance| balance.name.value.as_str());
            let finding = match nearest(&name.value, known) {
                Some(near) => finding.hint(format!("did you mean {near}?")),
                None => finding.hint(format!("add a table [balance.{}] with its readability", name.value)),
            };
            self.findings.push(finding);
        }
    }

    /// Gives cells that say `= A` the reading of trial A on the same line.
    fn share(&mut self, row: &LoadRow, masses: &Masses, readings: &mut [ReadingAt]) {
        for (position, cell) in row.cells.iter().enumerate() {
            let CellValue::SameAs(_) = &cell.value else { continue };
            let Some(trial) = self.trials.column(&masses.columns, position) else { continue };
            match self.follow(row, masses, position) {
                Ok(source) => {
                    readings[trial] = ReadingAt {
                        cell: Some(position),
                        shared_with: Some(self.trials.list()[source].name.clone()),
                        ..readings[source].clone()
                    };
                }
                Err(finding) => self.findings.push(*finding),
            }
        }
    }

    /// The trial whose reading a cell takes in the end; at most one step per cell of the row.
    fn follow(&self, row: &LoadRow, masses: &Masses, start: usize) -> Result<usize, Box<Finding>> {
        let mut position = start;
        for _ in 0..=row.cells.len() {
            let cell = &row.cells[position];
            let CellValue::SameAs(name) = &cell.value else {
                let trial = self.trials.column(&masses.columns, position);
                let has_number = matches!(cell.value, CellValue::Number(_));
                return trial.filter(|_| has_number).ok_or_else(|| {
                    Box::new(shared(
                        row.cells[start].span,
                        "points to a trial that has no reading on this line".into(),
                    ))
                });
            };
            position = self.position_of(row, masses, name).ok_or_else(|| {
                let finding = shared(cell.span, format!("`= {name}` points to no other trial of this line"));
                Box::new(self.trials.with_suggestion(finding, name))
            })?;
        }
        Err(Box::new(shared(row.cells[start].span, "goes round in a circle".into())))
    }

    fn position_of(&self, row: &LoadRow, masses: &Masses, name: &str) -> Option<usize> {
        let wanted = self.trials.index(name)?;
        (0..row.cells.len()).find(|position| self.trials.column(&masses.columns, *position) == Some(wanted))
    }
}

fn shared(span: Span, what: String) -> Finding {
    let finding = Finding::error(Code::SharedReading, span, format!("a shared reading {what}"));
    finding.hint("write `= A` for the reading of trial A on the same line")
}

fn is_dash(text: &str) -> bool {
    matches!(text, "-" | "–" | "—")
}

/// The balance of a cell: its own (CSV), the row's, the block's for this trial, or the block's only one.
fn balance_of<'a>(
    row: &'a LoadRow,
    cell: &'a Cell,
    masses: &'a Masses,
    trial: usize,
    trials: &Trials,
) -> Option<&'a str> {
    let of_block = || match masses.balances.as_slice() {
        [] => None,
        [one] => Some(one.value.as_str()),
        many => (0..many.len())
            .find(|position| trials.column(&masses.columns, *position) == Some(trial))
            .map(|position| many[position].value.as_str()),
    };
    let own = cell.balance.as_deref().or_else(|| row.balance.as_ref().map(|balance| balance.value.as_str()));
    own.or_else(of_block).filter(|name| !is_dash(name))
}

/// A balance by its name in `experiment`, where it has one there.
fn as_described<'a>(settings: &'a Settings, name: &'a str) -> &'a str {
    balance::named(settings, name).map_or(name, |balance| &balance.name.value)
}
