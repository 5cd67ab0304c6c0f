//! What the forms show of a row, in words and printed numbers: the same for a terminal, a page and a PDF.

use crate::review::formats::clean;
use crate::review::section::row::{ResultOfRow, Row};
use serde::Serialize;

/// A row as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct RowView {
    /// The file.
    pub file: String,
    /// Why it was not reviewed.
    pub problem: Option<String>,
    /// Authors, in one text.
    pub authors: String,
    /// The unknown, or a dash.
    pub unknown: String,
    /// The bench, where one is named.
    pub bench: Option<String>,
    /// The results.
    pub results: Vec<ResultView>,
    /// `6 + 4 / 10`: reached, open, the most there are.
    pub marks: String,
    /// Item by item.
    pub items: Vec<ItemView>,
    /// How many of how many claims differ.
    pub differ: String,
    /// The verdicts in words.
    pub verdicts: String,
    /// Each claim that differs, in a sentence.
    pub differing: Vec<String>,
    /// Errors and warnings, in few letters.
    pub findings: String,
    /// The same in words.
    pub findings_words: String,
    /// The first of them.
    pub said: Vec<String>,
    /// The decisions that were applied.
    pub decided: Vec<String>,
    /// The file of an earlier row with the same notebook.
    pub same_as: Option<String>,
    /// What was changed in a report.
    pub altered: Option<String>,
    /// How the notebook's hash begins.
    pub hash: String,
}

/// A result as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct ResultView {
    /// `w(Cl) / %`
    pub of: String,
    /// The mean, or a dash.
    pub value: String,
    /// The percent error, or a dash.
    pub error: String,
    /// Why there is none, else the reference value.
    pub reference: String,
    /// The z score, or a dash.
    pub z: String,
}

/// The marks of an item as they are shown.
#[derive(Clone, Debug, Serialize)]
pub struct ItemView {
    /// The item.
    pub item: String,
    /// `2 of 3`, `open, 3 at most`.
    pub points: String,
    /// Why.
    pub why: String,
}

/// A dash where there is nothing.
pub const DASH: &str = "–";

fn or_dash(text: Option<String>) -> String {
    text.unwrap_or_else(|| DASH.to_owned())
}

pub(super) fn plural(count: usize, word: &str) -> String {
    format!("{count} {word}{}", if count == 1 { "" } else { "s" })
}

/// A row as it is shown.
pub fn row(row: &Row) -> RowView {
    let findings = &row.findings;
    let counted = [(findings.errors, "error"), (findings.warnings, "warning"), (findings.notes, "note")];
    let counted: Vec<String> = counted
        .into_iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| plural(count, word))
        .collect();
    let marks = row.marks.as_ref().map(|marks| match marks.open.as_str() {
        "0" => format!("{}/{}", marks.points, marks.possible),
        open => format!("{}+{open}/{}", marks.points, marks.possible),
    });
    RowView {
        file: clean(&row.file),
        problem: row.problem.as_deref().map(clean),
        authors: clean(&row.authors.join(", ")),
        unknown: or_dash(row.unknown.as_deref().map(clean)),
        bench: row.bench.as_deref().map(clean),
        results: row.results.iter().map(result).collect(),
        marks: or_dash(marks),
        items: items(row),
        differ: match row.verdicts.claims {
            0 => DASH.to_owned(),
            claims => format!("{}/{claims}", row.verdicts.differs),
        },
        verdicts: verdicts(row),
        differing: row.differing.iter().map(differing).collect(),
        findings: match (findings.errors, findings.warnings) {
            (0, 0) => DASH.to_owned(),
            (errors, warnings) => format!("{errors}/{warnings}"),
        },
        findings_words: if counted.is_empty() { "nothing to say".to_owned() } else { counted.join(", ") },
        said: findings.said.iter().map(said).collect(),
        decided: row.decided.iter().map(decided).collect(),
        same_as: row.same_as.as_deref().map(clean),
        altered: row.altered().map(str::to_owned),
        hash: row.sha256.as_deref().and_then(|hash| hash.get(..12)).unwrap_or("").to_owned(),
    }
}

pub(super) fn over_unit(of: &str, unit: &str) -> String {
    if unit.is_empty() || unit == "1" { of.to_owned() } else { format!("{of} / {unit}") }
}

fn result(result: &ResultOfRow) -> ResultView {
    let reference = &result.reference;
    let value = result.printed.clone().map(|printed| match result.provisional {
        true => format!("{printed}*"),
        false => printed,
    });
    ResultView {
        of: over_unit(&result.of, &result.unit),
        value: or_dash(value),
        error: or_dash(reference.percent_error_printed.clone()),
        reference: match (&reference.value, &reference.unit) {
            (Some(value), Some(unit)) if reference.status == "released" => format!("{value} {unit}"),
            _ => reference.status.clone(),
        },
        z: or_dash(result.z.clone()),
    }
}

fn items(row: &Row) -> Vec<ItemView> {
    let items = row.marks.iter().flat_map(|marks| &marks.items);
    items
        .map(|mark| ItemView {
            item: mark.item.clone(),
            points: match &mark.points {
                Some(points) => format!("{points} of {}", mark.possible),
                None => format!("open, {} at most", mark.possible),
            },
            why: if mark.by_hand { format!("decided: {}", mark.why) } else { mark.why.clone() },
        })
        .collect()
}

fn verdicts(row: &Row) -> String {
    let verdicts = &row.verdicts;
    let counted = [
        (verdicts.agrees, "agree"),
        (verdicts.off_by_one, "off by one in the last place"),
        (verdicts.carried_forward, "carried forward"),
        (verdicts.other_table, "right by another atomic-weight table"),
        (verdicts.differs, "differ"),
        (verdicts.cannot_be_checked, "cannot be checked"),
        (verdicts.digits_too_many, "with too many digits"),
        (verdicts.digits_too_few, "with too few digits"),
    ];
    let counted: Vec<String> = counted
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}"))
        .collect();
    match verdicts.claims {
        0 => "no claimed values".to_owned(),
        claims => format!("{}: {}", plural(claims, "claimed value"), counted.join(", ")),
    }
}

fn differing(differing: &crate::review::section::row::Differing) -> String {
    let recomputed = differing.recomputed.as_deref().unwrap_or("nothing");
    let slip =
        differing.consistent_with.as_ref().map_or(String::new(), |slip| format!("; consistent with {slip}"));
    format!(
        "line {}, {}: claimed {}, recomputed {recomputed}{slip}",
        differing.line, differing.claim, differing.claimed
    )
}

fn said(finding: &crate::review::section::row::FindingOfRow) -> String {
    let line = finding.line.map_or(String::new(), |line| format!(" (line {line})"));
    format!("{}{line}: {}", finding.severity, finding.message)
}

fn decided(decided: &crate::review::section::row::DecidedOfRow) -> String {
    let reason = decided.reason.as_ref().map_or(String::new(), |reason| format!(" ({reason})"));
    format!("{}: {}{reason}", decided.about, decided.decision)
}
