//! One row for each notebook as CSV (RFC 4180), safe to open in a spreadsheet.

use super::{Completed, Rows};
use crate::review::formats::harmless;
use crate::review::section::{Row, Section};
use std::io::{Error, Result, Write};

/// Columns before those of the results.
const FIRST: [&str; 8] =
    ["file", "problem", "same notebook as", "report changed", "authors", "unknown", "bench", "balances"];
/// Columns after them.
const LAST: [&str; 17] = [
    "claims",
    "agrees",
    "off by one",
    "carried forward",
    "right by another table",
    "differs",
    "cannot be checked",
    "digits too many",
    "digits too few",
    "points",
    "points open",
    "points possible",
    "marks by item",
    "errors",
    "warnings",
    "notes",
    "notebook sha256",
];

/// The rows of a section, head first; lines end in CR LF.
///
/// # Errors
///
/// Those of the output.
pub fn csv(section: &Section, rows: &dyn Rows, output: &mut dyn Write) -> Result<()> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(output);
    let results: Vec<&str> = section.statistics.iter().map(|found| found.of.as_str()).collect();
    let mut head: Vec<String> = FIRST.map(str::to_owned).to_vec();
    for of in &results {
        let columns = ["", " unit", " trials", " reference value", " percent error", " z"];
        head.extend(columns.iter().map(|what| format!("{of}{what}")));
    }
    head.extend(LAST.map(str::to_owned));
    writer.write_record(head.iter().map(|cell| harmless(cell))).map_err(Error::other)?;
    Completed { rows, section }.each(&mut |row| {
        let cells = cells(&row, &results);
        writer.write_record(cells.iter().map(|cell| harmless(cell))).map_err(Error::other)
    })?;
    writer.flush()
}

fn cells(row: &Row, results: &[&str]) -> Vec<String> {
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let mut cells = vec![
        row.file.clone(),
        text(&row.problem),
        text(&row.same_as),
        row.altered().unwrap_or_default().to_owned(),
        row.authors.join("; "),
        text(&row.unknown),
        text(&row.bench),
        row.balances.join("; "),
    ];
    for of in results {
        let result = row.results.iter().find(|result| result.of == *of);
        cells.extend(result.map_or_else(
            || vec![String::new(); 6],
            |result| {
                let reference = &result.reference;
                vec![
                    text(&result.printed),
                    result.unit.clone(),
                    result.n.to_string(),
                    reference.value.clone().unwrap_or_else(|| reference.status.clone()),
                    text(&reference.percent_error_printed),
                    text(&result.z),
                ]
            },
        ));
    }
    cells.extend(last(row));
    cells
}

fn last(row: &Row) -> Vec<String> {
    let verdicts = &row.verdicts;
    let counts = [
        verdicts.claims,
        verdicts.agrees,
        verdicts.off_by_one,
        verdicts.carried_forward,
        verdicts.other_table,
        verdicts.differs,
        verdicts.cannot_be_checked,
        verdicts.digits_too_many,
        verdicts.digits_too_few,
    ];
    let mut cells: Vec<String> = counts.map(|count| count.to_string()).to_vec();
    match &row.marks {
        None => cells.extend(vec![String::new(); 4]),
        Some(marks) => {
            cells.extend([marks.points.clone(), marks.open.clone(), marks.possible.clone()]);
            let item = |mark: &crate::review::section::row::MarkOfRow| {
                let points = mark.points.as_deref().unwrap_or("open");
                format!("{} {points}/{}", mark.item, mark.possible)
            };
            cells.push(marks.items.iter().map(item).collect::<Vec<_>>().join("; "));
        }
    }
    let findings = &row.findings;
    cells.extend([findings.errors, findings.warnings, findings.notes].map(|count| count.to_string()));
    cells.push(row.sha256.clone().unwrap_or_default());
    cells
}
