//! A reading checked while it is typed, before anything is written: the notebook is worked out with it and
//! compared with the notebook without it.
//!
//! What is said is about the display and the crucible that still stands there: never which digits were meant.
//! “Look at the display again” is said where a reading
//!
//! * lies above the weighing before it by more than the rule of constant mass allows, though it was only heated, or
//! * changed by more than ten times what that rule allows, and by more than three times as much as the weighing before
//!   it in this trial or the same step in the other trials (the largest of these). Without either to compare with, nothing
//!   is said.
//!
//! These two limits are choices of this program, not of a standard.

use super::additions::new_line;
use super::form::{series_row, trial_index, verdict};
use super::write_back::{Entry, Line, Refusal, enter, lines};
use crate::evaluation::results::{Change, Origin, Outcome, Series, SeriesRow};
use crate::files::Files;
use crate::finding::{Code, Finding, Severity};
use crate::quantity::Number;
use crate::{Computed, Wanted};
use serde::Serialize;
use std::collections::BTreeMap;

/// What is to be said of an entry.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Checked {
    /// Why it would not be written; empty where it would.
    pub refused: String,
    /// Whether what stands in the notebook is no longer what the page believes.
    pub conflict: bool,
    /// What the notebook would say more than it says now: severity and message.
    pub findings: Vec<(&'static str, String)>,
    /// The reading beside the one before it.
    pub change: String,
    /// Whether the display deserves another look.
    pub look_again: bool,
    /// What is said of constant mass then.
    pub verdict: String,
    /// Whether that is: reached.
    pub reached: bool,
    /// Net masses that follow or change: symbol and value.
    pub net_masses: Vec<(String, String)>,
}

/// Checks an entry against a notebook with its bytes.
pub fn check(
    computed: &Computed,
    bytes: &[u8],
    entry: &Entry,
    files: &dyn Files,
    wanted: &Wanted,
) -> Checked {
    let written = match enter(bytes, &computed.notebook, entry) {
        Ok(written) => written,
        Err(refusal) => {
            let conflict = matches!(refusal, Refusal::Conflict { .. });
            return Checked { refused: refusal.to_string(), conflict, ..Checked::default() };
        }
    };
    let after = crate::compute_as(&computed.notebook.name, &written, files, wanted);
    let mut checked = Checked { findings: new_findings(computed, &after), ..Checked::default() };
    if let Some((line, column)) = place(computed, &after, entry)
        && let Some(trial) = trial_index(&after, &line, column)
    {
        if let Some((series, row)) = series_row(&after.results, &line) {
            judge(series, row, trial, &mut checked);
        }
        checked.net_masses = net_masses(computed, &after, trial);
    }
    checked
}

/// Where the entry stands in the notebook that holds it.
fn place<'a>(before: &Computed, after: &'a Computed, entry: &Entry) -> Option<(Line<'a>, usize)> {
    let (label, nth, column) = match entry {
        Entry::Reading { at, .. } => (at.label.clone(), at.nth, at.column),
        Entry::Further { at, .. } | Entry::Load { behind: at, .. } => {
            let (label, nth) = new_line(&before.notebook, entry)?;
            (label, nth, at.column)
        }
        Entry::Trial { .. } => return None,
    };
    let all = lines(&after.notebook);
    Some((all.into_iter().find(|line| line.row.label.value == label && line.nth == nth)?, column))
}

/// Findings that are there only with the entry; places move, so severity, code and message tell them apart.
fn new_findings(before: &Computed, after: &Computed) -> Vec<(&'static str, String)> {
    let key = |finding: &Finding| (finding.severity, finding.code, finding.message.clone());
    let mut known: BTreeMap<_, usize> = BTreeMap::new();
    for finding in &before.results.findings {
        *known.entry(key(finding)).or_default() += 1;
    }
    let is_new = |finding: &&Finding| match known.get_mut(&key(finding)) {
        Some(count) if *count > 0 => {
            *count -= 1;
            false
        }
        _ => true,
    };
    let mut new: Vec<&Finding> = after.results.findings.iter().filter(is_new).collect();
    new.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    // The verdict of constant mass is said by itself.
    let grave =
        new.iter().filter(|finding| finding.severity > Severity::Note && finding.code != Code::ConstantMass);
    grave.map(|finding| (finding.severity.word(), finding.message.clone())).collect()
}

/// The reading beside the one before it, and what is said of constant mass.
fn judge(series: &Series, row: &SeriesRow, trial: usize, checked: &mut Checked) {
    (checked.verdict, checked.reached) = verdict(series, trial);
    let Some(change) = row.changes.get(trial).and_then(Option::as_ref) else { return };
    let before = series.rows.iter().take_while(|other| other.span != row.span);
    let before = before.filter(|other| other.readings.get(trial).is_some_and(|cell| cell.written.is_some()));
    let before = before.last().map_or("the last weighing", |row| match row.treatment.as_str() {
        "" => "the weighing before",
        treatment => treatment,
    });
    let size = change.printed_mg.typographic(false).replace('−', "");
    let side = if change.number.is_negative() { "below" } else { "above" };
    checked.change = match change.number.is_zero() {
        true => format!("the same as {before}"),
        false => format!("{size} mg {side} {before}"),
    };
    checked.look_again = !change.across_event && looks_wrong(series, row, trial, change);
    if checked.look_again {
        checked.change.push_str(": look at the display again while it is still on the pan");
    }
}

/// Whether a change is out of line with the rule and with the changes it can be compared with.
fn looks_wrong(series: &Series, row: &SeriesRow, trial: usize, change: &Change) -> bool {
    let Some(limit) = series.limits.get(trial).and_then(Option::as_ref) else { return false };
    let heated = !row.treatment.is_empty();
    if heated && !change.number.is_negative() && change.number > *limit {
        return true;
    }
    let size = change.number.abs();
    let exceeds = |factor: i64, other: &Number| {
        other.mul(&Number::from_ratio(factor, 1)).is_ok_and(|times| size > times)
    };
    let others = compared_with(series, row, trial);
    let largest = others.into_iter().reduce(|a, b| if b > a { b } else { a });
    exceeds(10, limit) && largest.is_some_and(|largest| exceeds(3, &largest))
}

/// The size of the change before it in the same trial, and of the same step in the other trials.
fn compared_with(series: &Series, row: &SeriesRow, trial: usize) -> Vec<Number> {
    let earlier = series.rows.iter().take_while(|other| other.span != row.span);
    let own =
        earlier.filter_map(|row| row.changes.get(trial)?.as_ref()).filter(|change| !change.across_event);
    let own = own.last();
    let others = row.changes.iter().enumerate().filter(|(index, _)| *index != trial);
    let others = others.filter_map(|(_, change)| change.as_ref());
    own.into_iter().chain(others).map(|change| change.number.abs()).collect()
}

/// Net masses of a trial that are new or another value.
fn net_masses(before: &Computed, after: &Computed, trial: usize) -> Vec<(String, String)> {
    let name = after.results.trials.get(trial).map(|trial| trial.name.as_str());
    let old = |symbol: &str| {
        let index = before.results.trials.iter().position(|trial| Some(trial.name.as_str()) == name)?;
        let quantity = before.results.quantities.iter().find(|quantity| quantity.symbol == symbol)?;
        quantity.trials.get(index).and_then(Outcome::value).map(|value| value.number.clone())
    };
    let masses = after.results.quantities.iter().filter(|quantity| quantity.origin == Origin::NetMass);
    let changed = masses.filter_map(|quantity| {
        let value = quantity.trials.get(trial).and_then(Outcome::value)?;
        let numbers = super::numbers::Numbers::of(&after.results);
        (old(&quantity.symbol).as_ref() != Some(&value.number))
            .then(|| (quantity.symbol.clone(), numbers.with_unit(&value.printed, &quantity.unit)))
    });
    changed.collect()
}
