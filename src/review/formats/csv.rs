//! The verdicts as CSV (RFC 4180), one row for each claim, safe to open in a spreadsheet.

use super::Reviewed;
use crate::review::findings::{name, unit};
use crate::span::Lines;

const HEAD: [&str; 12] = [
    "file",
    "line",
    "claim",
    "claimed",
    "unit",
    "recomputed",
    "difference",
    "value",
    "digits",
    "consistent with",
    "recomputation",
    "notebook sha256",
];

/// The claims of some files, head first; lines end in CR LF.
pub fn csv(reviews: &[Reviewed]) -> String {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing into memory does not fail.
    drop(writer.write_record(HEAD));
    for reviewed in reviews {
        rows(reviewed).into_iter().for_each(|row| drop(writer.write_record(row.map(|cell| harmless(&cell)))));
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

fn rows(reviewed: &Reviewed) -> Vec<[String; 12]> {
    let lines = Lines::of(&reviewed.notebook.text);
    let each = reviewed.results.claims.iter().zip(&reviewed.review.claims);
    each.map(|(claim, review)| {
        let slip = review.slip.as_ref();
        [
            reviewed.file.to_string(),
            reviewed.place(&lines, claim.span).0.to_string(),
            name(claim, reviewed.results),
            claim.written.clone(),
            unit(claim).to_string(),
            review.recomputed.as_ref().map_or(String::new(), |printed| printed.ascii()),
            review.difference.as_ref().map_or(String::new(), |number| number.to_figures(6)),
            review.value.word().to_string(),
            review.digits.map_or(String::new(), |digits| digits.word().to_string()),
            slip.map_or(String::new(), |slip| slip.what.clone()),
            slip.map_or(String::new(), |slip| slip.recomputation.clone()),
            reviewed.results.sha256.clone(),
        ]
    })
    .collect()
}

/// A cell that no spreadsheet takes for a formula: what begins like one gets an apostrophe before it, unless it is a
/// plain number. What a terminal would take for a command is shown as a sign.
pub(in crate::review) fn harmless(cell: &str) -> String {
    let cell = super::clean(cell);
    let number = cell.parse::<f64>().is_ok_and(f64::is_finite);
    match cell.starts_with(['=', '+', '-', '@', '−', '＝', '＋', '－', '＠']) && !number {
        true => format!("'{cell}"),
        false => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::harmless;

    #[test]
    fn formulas_are_made_harmless_and_numbers_are_left_alone() {
        assert_eq!(harmless("=SUM(A1:A9)"), "'=SUM(A1:A9)");
        assert_eq!(harmless("@x"), "'@x");
        assert_eq!(harmless("-1.5"), "-1.5");
        assert_eq!(harmless("-1+cmd|' /C calc'!A0"), "'-1+cmd|' /C calc'!A0");
        assert_eq!(harmless("m(sample)"), "m(sample)");
        assert_eq!(harmless("\t=1\u{1b}[2J"), "\u{2426}=1\u{2426}[2J");
    }
}
