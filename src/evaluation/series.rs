//! The readings as written, the change per treatment and the constant-mass verdicts.

use super::masses::Masses;
use super::results::{Change, ConstantMass, ReadingCell, Series, SeriesRow};
use crate::finding::{Code, Finding};
use crate::notebook::Notebook;
use crate::notebook::blocks::CellValue;
use crate::notebook::settings::{ConstantMassRule, MassLimit};
use crate::quantity::derivation::{Graph, NodeId};
use crate::quantity::{Number, Printed, Unit, print};
use crate::weighing::constant_mass::{Basis, Verdict, Weighing, default_rule, judge, limit};
use crate::weighing::{Load, ReadingAt, Trials, WeighedRow, WeighedSeries};
use std::collections::BTreeMap;

/// Every series, with its verdicts.
pub(super) struct Judged {
    pub(super) series: Vec<Series>,
    /// The readings that stand for an unfinished series, each with its trial.
    pub(super) unfinished: Vec<(NodeId, usize)>,
    /// The rule in force.
    pub(super) rule: ConstantMassRule,
}

/// Judges all series of a notebook.
pub(super) fn all(
    notebook: &Notebook,
    trials: &Trials,
    masses: &mut Masses,
    graph: &mut Graph,
    findings: &mut Vec<Finding>,
) -> Judged {
    let rule = notebook.settings.constant_mass.as_ref().map_or_else(default_rule, |rule| rule.value.clone());
    let mut judged = Judged { series: Vec::new(), unfinished: Vec::new(), rule };
    let weighings = masses.weighings;
    for (index, weighed) in weighings.series.iter().enumerate() {
        let mut judge =
            Judge { notebook, trials, masses, graph, findings, rule: &judged.rule, unfinished: Vec::new() };
        let series = judge.series(index, weighed);
        let unfinished = std::mem::take(&mut judge.unfinished);
        judged.series.push(series);
        judged.unfinished.extend(unfinished);
    }
    judged
}

struct Judge<'a, 'n> {
    notebook: &'a Notebook,
    trials: &'a Trials,
    masses: &'a mut Masses<'n>,
    graph: &'a mut Graph,
    findings: &'a mut Vec<Finding>,
    rule: &'a ConstantMassRule,
    unfinished: Vec<(NodeId, usize)>,
}

impl Judge<'_, '_> {
    fn series(&mut self, index: usize, weighed: &WeighedSeries) -> Series {
        let repeated = weighed.is_repeated();
        let mut series = Series {
            load: weighed.written.clone(),
            treatment: common_treatment(weighed),
            unit: weighed.unit.clone(),
            rows: weighed.rows.iter().map(|row| self.row(row, &weighed.unit)).collect(),
            verdicts: Vec::new(),
            rule: (repeated && self.rule.limit != MassLimit::FixedTime).then(|| rule_text(self.rule)),
            limits: vec![None; self.trials.len()],
        };
        self.check_numbers(weighed);
        for trial in 0..self.trials.len() {
            self.changes(weighed, trial, &mut series);
            if repeated {
                let verdict = self.verdict(index, weighed, trial, &mut series);
                series.verdicts.push(verdict);
            }
        }
        series
    }

    /// Treatments of one name are numbered on: a number twice or left out is worth a look.
    fn check_numbers(&mut self, weighed: &WeighedSeries) {
        let mut last: BTreeMap<&str, u32> = BTreeMap::new();
        for row in weighed.rows.iter().filter(|row| !row.row.struck) {
            let Some(treatment) = &row.row.treatment else { continue };
            let before = last.insert(&treatment.name, treatment.number);
            let (name, number) = (&treatment.name, treatment.number);
            let message = match before {
                Some(before)
                    if number == before && row.readings.iter().any(|reading| reading.cell.is_some()) =>
                {
                    format!("{name} {number} of {} stands twice", weighed.written)
                }
                Some(before) if number > before.saturating_add(1) => {
                    format!("{name} {number} of {} follows {name} {before}", weighed.written)
                }
                _ => continue,
            };
            let finding = Finding::note(Code::ConstantMass, row.row.label.span, message);
            self.findings
                .push(finding.hint("number the treatments on, and write `–` where a weighing is missing"));
        }
    }

    fn row(&self, row: &WeighedRow, series: &Unit) -> SeriesRow {
        let treatment = row.row.treatment.as_ref();
        SeriesRow {
            treatment: treatment.map_or_else(String::new, |t| format!("{} {}", t.name, t.number)),
            events: row.events.clone(),
            balances: row.readings.iter().map(|reading| reading.balance.clone()).collect(),
            readings: row.readings.iter().map(|reading| self.cell(row, reading, series)).collect(),
            changes: vec![None; row.readings.len()],
            struck: row.row.struck,
            span: row.row.span,
        }
    }

    /// A cell with its own unit where it is not the series', from the cell or from its block.
    fn cell(&self, row: &WeighedRow, reading: &ReadingAt, series: &Unit) -> ReadingCell {
        let cell = reading.cell.and_then(|cell| row.row.cells.get(cell));
        // What could not be read is still shown as it was written.
        let unread = cell.filter(|cell| cell.value == CellValue::Faulty);
        let unread = unread.map(|cell| cell.span.text(&self.notebook.text).trim().to_string());
        let written = reading.written.as_ref().map(|(decimal, _)| decimal.to_string());
        ReadingCell {
            written: written.or(unread.filter(|text| !text.is_empty())),
            unit: reading.written.as_ref().map(|(_, unit)| unit.clone()).filter(|unit| unit != series),
            struck: cell.map_or_else(Vec::new, |cell| cell.strikes.iter().map(|s| s.value.clone()).collect()),
            remark: cell.and_then(|cell| cell.remark.clone()),
            shared_with: reading.shared_with.clone(),
            time: cell.and_then(|cell| cell.time.clone()),
            node: reading.node,
        }
    }

    /// The change since the reading before; none at the first one and after a gap.
    fn changes(&mut self, weighed: &WeighedSeries, trial: usize, series: &mut Series) {
        let mut before: Option<NodeId> = None;
        let mut event = false;
        for (index, row) in weighed.rows.iter().enumerate().filter(|(_, row)| !row.row.struck) {
            event |= !row.events.is_empty();
            let node = row.readings.get(trial).and_then(|reading| reading.node);
            if let (Some(before), Some(node)) = (before, node) {
                series.rows[index].changes[trial] = self.change(before, node, &weighed.unit, event);
            }
            if node.is_some() || before.is_some() {
                before = node;
                event = false;
            }
        }
    }

    fn change(&self, before: NodeId, after: NodeId, unit: &Unit, across_event: bool) -> Option<Change> {
        let change = self.graph.quantity(after).sub(self.graph.quantity(before)).ok()?;
        let rounding = self.notebook.settings.rounding;
        let in_unit = |unit: &Unit| -> Option<(Number, Printed)> {
            let number = change.number_in(unit).ok()?;
            let printed = print(&number, change.digits_in(unit), rounding);
            Some((number, printed))
        };
        let (number, printed) = in_unit(unit)?;
        let (_, printed_mg) = in_unit(&Unit::parse("mg").ok()?)?;
        Some(Change { number, printed, printed_mg, across_event })
    }

    fn verdict(
        &mut self,
        index: usize,
        weighed: &WeighedSeries,
        trial: usize,
        series: &mut Series,
    ) -> ConstantMass {
        let basis = self.basis(index, weighed, trial);
        let in_unit = |number: &Number| number.div(weighed.unit.factor()).ok();
        series.limits[trial] = limit(&self.rule.limit, &basis).ok().and_then(|limit| in_unit(&limit));
        let verdict = judge(&self.weighings(weighed, trial), self.rule, &basis);
        let standing = weighed.standing(trial).and_then(|reading| reading.node);
        if matches!(verdict, Verdict::NotReached { .. } | Verdict::NotShown(_)) {
            self.unfinished.extend(standing.map(|node| (node, trial)));
        }
        self.say(weighed, trial, &verdict, series);
        match verdict {
            Verdict::Reached { at } => ConstantMass::Reached { at },
            Verdict::NotReached { last_change } => {
                ConstantMass::NotReached { last_change: in_unit(&last_change).unwrap_or(last_change) }
            }
            Verdict::NotShown(why) => ConstantMass::NotShown(why.to_string()),
            Verdict::CannotBeJudged(why) => ConstantMass::CannotBeJudged(why.to_string()),
            Verdict::None => ConstantMass::None,
        }
    }

    fn weighings(&self, weighed: &WeighedSeries, trial: usize) -> Vec<Weighing> {
        let rows = weighed.rows.iter().filter(|row| !row.row.struck);
        let weighing = |row: &WeighedRow| Weighing {
            mass: row
                .readings
                .get(trial)
                .and_then(|r| r.node)
                .map(|node| self.graph.quantity(node).number.clone()),
            after_event: !row.events.is_empty(),
        };
        rows.map(weighing).collect()
    }

    fn basis(&mut self, index: usize, weighed: &WeighedSeries, trial: usize) -> Basis {
        let standing = weighed.standing(trial).cloned();
        let number = |node: NodeId| self.graph.quantity(node).number.clone();
        let gross = standing.as_ref().and_then(|reading| reading.node).map(number);
        let scale_interval = standing.as_ref().and_then(|reading| self.masses.scale_interval(reading));
        let net = self.net(index, weighed, trial, gross.as_ref());
        let sample = if asks_for_sample(&self.rule.limit) { self.taken(trial) } else { None };
        Basis { sample, net, gross, scale_interval }
    }

    /// The mass of sample taken: of the thing called `sample`, else of the first thing that was weighed in.
    fn taken(&mut self, trial: usize) -> Option<Number> {
        if let Some(sample) = self.mass_number(&Load::of(["sample"]), trial) {
            return Some(sample);
        }
        let first = self.masses.first_listed(self.graph)?;
        self.mass_number(&Load::of([first.as_str()]), trial)
    }

    /// The net mass of a load: less the smallest other load that is a part of it, with the first thing if one is. A load that is itself
    /// the vessel of others, or one thing alone, is its own mass.
    fn net(
        &mut self,
        index: usize,
        weighed: &WeighedSeries,
        trial: usize,
        gross: Option<&Number>,
    ) -> Option<Number> {
        let first = weighed.things.first().map(|thing| crate::notebook::thing_key(thing))?;
        let parts = self.masses.nesting.parts(index).iter().map(|part| &self.masses.weighings.series[*part]);
        let vessel = parts
            .filter(|part| part.standing(trial).is_some())
            .min_by_key(|other| (!other.load.things.contains(&first), other.load.things.len()));
        if let Some(vessel) = vessel {
            let contents = weighed.load.things.iter().filter(|thing| !vessel.load.things.contains(thing));
            // Keys in their order already.
            return self.mass_number(&Load { things: contents.cloned().collect() }, trial);
        }
        let carries = self.masses.nesting.is_held(index);
        gross.filter(|_| carries || weighed.load.things.len() == 1).cloned()
    }

    fn mass_number(&mut self, load: &Load, trial: usize) -> Option<Number> {
        let node = self.masses.mass(load, self.graph)?.at(trial).ok()?;
        Some(self.graph.quantity(node).number.clone())
    }

    /// What a verdict needs said: a warning where the mass still changed, a note where nothing is shown.
    fn say(&mut self, weighed: &WeighedSeries, trial: usize, verdict: &Verdict, series: &Series) {
        let name = &self.trials.list()[trial].name;
        let load = &weighed.written;
        let place = self.last_place(weighed, trial);
        let finding = match verdict {
            Verdict::NotReached { .. } => {
                let last = series.rows.iter().rev().find_map(|row| row.changes[trial].as_ref());
                let change =
                    last.map_or_else(String::new, |change| format!("{} mg", change.printed_mg.ascii()));
                let message = format!(
                    "constant mass not reached: {load}, trial {name}, last change {change} ({})",
                    rule_text(self.rule)
                );
                let finding = Finding::warning(Code::Provisional, place, message);
                finding.hint("heat, cool and weigh again; until then what rests on it is provisional")
            }
            Verdict::NotShown(why) => {
                let message = format!("constant mass not shown: {load}, trial {name}: {why}");
                Finding::note(Code::ConstantMass, place, message)
            }
            Verdict::CannotBeJudged(why) => {
                let message = format!("constant mass cannot be judged: {load}, trial {name}: {why}");
                Finding::note(Code::ConstantMass, place, message)
            }
            Verdict::Reached { .. } | Verdict::None => return,
        };
        self.findings.push(finding);
    }

    fn last_place(&self, weighed: &WeighedSeries, trial: usize) -> Option<crate::span::Span> {
        let (row, reading) = weighed.readings(trial).next_back()?;
        let row = &weighed.rows[row].row;
        Some(reading.cell.and_then(|cell| row.cells.get(cell)).map_or(row.span, |cell| cell.span))
    }
}

/// Whether a limit is per mass of sample.
fn asks_for_sample(limit: &MassLimit) -> bool {
    match limit {
        MassLimit::PerSample(..) => true,
        MassLimit::Smaller(a, b) | MassLimit::Larger(a, b) => asks_for_sample(a) || asks_for_sample(b),
        _ => false,
    }
}

/// The rule in words, with its comparison.
fn rule_text(rule: &ConstantMassRule) -> String {
    let stated = rule.text.trim();
    let compares = stated.starts_with("not more than") || stated.starts_with("less than");
    let article =
        if stated.starts_with("smaller of") || stated.starts_with("larger of") { "the " } else { "" };
    match (compares, rule.strict) {
        (true, _) => stated.to_string(),
        (false, true) => format!("less than {article}{stated}"),
        (false, false) => format!("not more than {article}{stated}"),
    }
}

/// The word for what was done between the weighings, where it is the same for all of them.
fn common_treatment(weighed: &WeighedSeries) -> Option<String> {
    let mut names = weighed.rows.iter().filter_map(|row| row.row.treatment.as_ref()).map(|t| &t.name);
    let first = names.next()?;
    names.all(|name| name == first).then(|| first.clone())
}
