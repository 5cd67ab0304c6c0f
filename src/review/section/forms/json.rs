//! `reweigh/section/1`: the section as one JSON document with a published schema; numbers as decimal strings. One row is
//! one line.

use super::{Completed, Rows};
use crate::finding::{Finding, in_json};
use crate::review::section::Section;
use crate::review::section::recurring::Recurring;
use crate::review::section::since::Change;
use crate::review::section::statistics::{OfGroup, OfUnknown, Spread, Statistics};
use crate::statistics::{Histogram, Robust};
use serde_json::{Value, json};
use std::io::{Error, Result, Write};

/// The name of the document's form.
pub const SCHEMA: &str = "reweigh/section/1";

/// The document of a section.
///
/// # Errors
///
/// Those of the output.
pub fn json(section: &Section, rows: &dyn Rows, output: &mut dyn Write) -> Result<()> {
    let program = json!({ "name": "reweigh", "version": env!("CARGO_PKG_VERSION") });
    let unknowns = section.unknowns.as_ref().map(|(file, sha256, unknowns, released)| {
        json!({ "file": file, "sha256": sha256, "unknowns": unknowns, "released": released })
    });
    let decisions = section.decisions.as_ref().map(|(file, sha256, read, applied)| {
        json!({ "file": file, "sha256": sha256, "read": read, "applied": applied })
    });
    writeln!(output, "{{\n\"schema\": {},\n\"program\": {program},", json!(SCHEMA))?;
    writeln!(output, "\"folder\": {},", in_json(json!(section.folder).to_string()))?;
    writeln!(output, "\"unknowns\": {},", in_json(json!(unknowns).to_string()))?;
    writeln!(output, "\"decisions\": {},", in_json(json!(decisions).to_string()))?;
    let summary = json!({
        "rows": section.rows, "reviewed": section.reviewed, "same_again": section.same_again,
    });
    write!(output, "\"summary\": {summary},\n\"rows\": [")?;
    let mut before = "\n";
    Completed { rows, section }.each(&mut |row| {
        let row = in_json(serde_json::to_string(&row).map_err(Error::other)?);
        write!(output, "{before}{row}")?;
        before = ",\n";
        Ok(())
    })?;
    writeln!(output, "\n],")?;
    let tail = [
        ("statistics", json!(section.statistics.iter().map(statistics).collect::<Vec<_>>())),
        ("recurring", json!(section.recurring.iter().map(recurring).collect::<Vec<_>>())),
        ("more_recurring", json!(section.more_recurring)),
        ("changes", json!(section.changes.as_ref().map(|all| all.iter().map(change).collect::<Vec<_>>()))),
        ("findings", json!(section.findings.iter().map(finding).collect::<Vec<_>>())),
    ];
    for (at, (key, value)) in tail.iter().enumerate() {
        let comma = if at + 1 < tail.len() { "," } else { "" };
        let text = in_json(serde_json::to_string_pretty(value).map_err(Error::other)?);
        writeln!(output, "\"{key}\": {text}{comma}")?;
    }
    writeln!(output, "}}")
}

/// A number as the shortest decimal that gives it back.
fn number(value: f64) -> Value {
    if value.is_finite() { json!(value.to_string()) } else { Value::Null }
}

fn statistics(one: &Statistics) -> Value {
    json!({
        "of": one.of, "unit": one.unit, "notebooks": one.notebooks, "n": one.n,
        "unknowns": one.unknowns.iter().map(unknown).collect::<Vec<_>>(),
        "spread": one.spread.as_ref().map(spread),
    })
}

fn robust(robust: &Robust) -> Value {
    json!({ "mean": number(robust.mean), "s": number(robust.s), "u": number(robust.standard_uncertainty()) })
}

fn unknown(group: &OfUnknown) -> Value {
    json!({
        "unknown": group.unknown, "n": group.n, "median": number(group.median),
        "robust": group.robust.as_ref().map(robust),
        "reference": group.reference.map(number),
        "z_2_to_3": group.beyond.0, "z_3_or_more": group.beyond.1,
    })
}

fn spread(all: &Spread) -> Value {
    json!({
        "unit": "%", "centres": all.centres.words(), "n": all.n,
        "robust": all.robust.as_ref().map(robust),
        "histogram": all.histogram.as_ref().map(histogram),
        "trials": all.trials.iter().map(|(name, columns)| {
            json!({ "trial": name, "columns": histogram(columns) })
        }).collect::<Vec<_>>(),
        "balances": all.balances.iter().map(group).collect::<Vec<_>>(),
        "benches": all.benches.iter().map(group).collect::<Vec<_>>(),
    })
}

fn histogram(histogram: &Histogram) -> Value {
    json!({
        "low": number(histogram.low), "width": number(histogram.width), "counts": histogram.counts,
        "below": histogram.below, "above": histogram.above,
    })
}

fn group(group: &OfGroup) -> Value {
    json!({
        "name": group.name, "n": group.n, "others": group.others, "median": number(group.median),
        "test": group.test.map(|test| json!({
            "shift": number(test.shift), "p": number(test.p), "p_adjusted": number(test.adjusted),
            "apart": test.apart(),
        })),
    })
}

fn recurring(one: &Recurring) -> Value {
    json!({
        "files": one.files,
        "readings": one.readings.iter().map(|(grams, first, second)| {
            json!({ "grams": grams, "lines": [first, second] })
        }).collect::<Vec<_>>(),
        "of": one.of, "expected_by_chance": number(one.expected),
    })
}

fn change(change: &Change) -> Value {
    json!({
        "file": change.file, "item": change.item, "was": change.was, "now": change.now,
        "lowered": change.lowered, "why": change.why,
    })
}

fn finding(finding: &Finding) -> Value {
    json!({
        "code": finding.code.text(), "severity": finding.severity.word(), "message": finding.message,
        "place": finding.elsewhere(), "hints": finding.hints,
    })
}
