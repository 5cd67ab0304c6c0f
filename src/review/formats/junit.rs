//! The verdicts as JUnit XML, the form build servers read: one suite for each file, one case for each claim.
//!
//! A value that differs is a failure, one that cannot be checked is skipped, everything else passes with its verdict
//! in the case's output.

use super::Reviewed;
use crate::review::ValueVerdict;
use crate::review::findings::{explained, name, with_unit, written};
use crate::span::Lines;
use std::fmt::Write;

/// The document, as written (ends with a newline). There is no time in it.
pub fn junit(reviews: &[Reviewed]) -> String {
    let mut output = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let all = |of: fn(&Reviewed) -> usize| reviews.iter().map(of).sum::<usize>();
    let _ = writeln!(
        output,
        "<testsuites name=\"reweigh review\" tests=\"{}\" failures=\"{}\" errors=\"0\" time=\"0\">",
        all(|reviewed| reviewed.review.claims.len()),
        all(differing)
    );
    reviews.iter().for_each(|reviewed| suite(reviewed, &mut output));
    output.push_str("</testsuites>\n");
    output
}

fn differing(reviewed: &Reviewed) -> usize {
    reviewed.review.count(&ValueVerdict::Differs)
}

fn suite(reviewed: &Reviewed, output: &mut String) {
    let lines = Lines::of(&reviewed.notebook.text);
    let skipped = reviewed.review.count(&ValueVerdict::CannotBeChecked(String::new()));
    let _ = writeln!(
        output,
        "  <testsuite name=\"{}\" tests=\"{}\" failures=\"{}\" errors=\"0\" skipped=\"{skipped}\" time=\"0\">",
        escaped(reviewed.file),
        reviewed.review.claims.len(),
        differing(reviewed)
    );
    for index in 0..reviewed.review.claims.len() {
        case(reviewed, &lines, index, output);
    }
    output.push_str("  </testsuite>\n");
}

fn case(reviewed: &Reviewed, lines: &Lines, index: usize, output: &mut String) {
    let (claim, review) = (&reviewed.results.claims[index], &reviewed.review.claims[index]);
    let line = reviewed.place(lines, claim.span).0;
    let _ = writeln!(
        output,
        "    <testcase name=\"line {line}: {}\" classname=\"{}\" time=\"0\">",
        escaped(&name(claim, reviewed.results)),
        escaped(reviewed.file)
    );
    let recomputed = review.recomputed.as_ref().map_or("nothing".to_string(), |printed| printed.ascii());
    let compared = format!("claimed {}, recomputed {}", written(claim), with_unit(&recomputed, claim));
    match &review.value {
        ValueVerdict::Differs => {
            let slip = review.slip.as_ref();
            let slip =
                slip.map_or(String::new(), |s| format!("\nconsistent with {}\n{}", s.what, s.recomputation));
            let _ = writeln!(
                output,
                "      <failure message=\"{}\" type=\"differs\">{}</failure>",
                escaped(&compared),
                escaped(&format!("{compared}{slip}"))
            );
        }
        ValueVerdict::CannotBeChecked(reason) => {
            let _ = writeln!(output, "      <skipped message=\"{}\"/>", escaped(reason));
        }
        ValueVerdict::Agrees => {}
        other => {
            let said = format!("{compared}: {}", explained(other, reviewed.results));
            let _ = writeln!(output, "      <system-out>{}</system-out>", escaped(&said));
        }
    }
    output.push_str("    </testcase>\n");
}

/// Text for XML: markup escaped, characters XML 1.0 does not allow left out.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\n' => escaped.push_str("&#10;"),
            '\t' => escaped.push(' '),
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => {}
            c => escaped.push(c),
        }
    }
    escaped
}
