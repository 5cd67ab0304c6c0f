//! What holds of whatever was read.
#![allow(dead_code, reason = "each target uses some of it")]

use reweigh::Computed;
use reweigh::evaluation::results_file;
use reweigh::files::Memory;
use reweigh::finding::Finding;
use reweigh::span::{Lines, Span};

/// Every place that the findings name is one of the text, on whole characters, and a line that the text has.
pub fn places_fit(text: &str, findings: &[Finding]) {
    let lines = Lines::of(text);
    let last = text.matches('\n').count() + 1;
    for finding in findings {
        assert!(!finding.message.is_empty());
        match &finding.file {
            Some(_) => {
                assert!(finding.place.is_none_or(|(line, column)| line > 0 && column > 0), "{finding:?}")
            }
            None => {
                let labels = finding.labels.iter().map(|(span, _)| *span);
                for span in finding.span.into_iter().chain(labels) {
                    fits(text, span);
                    assert!(lines.place(text, span.start).0 <= last, "{finding:?}");
                }
            }
        }
    }
}

/// Findings about a file other than the notebook: lines are those of its text.
pub fn lines_fit(text: &str, findings: &[Finding]) {
    let last = text.split('\n').count();
    for finding in findings {
        assert!(!finding.message.is_empty());
        assert!(
            finding.place.is_none_or(|(line, column)| (1..=last).contains(&line) && column > 0),
            "{finding:?}"
        );
        finding.span.into_iter().for_each(|span| fits(text, span));
    }
}

/// A range of a text.
pub fn fits(text: &str, span: Span) {
    assert!(text.get(span.start..span.end).is_some(), "{span:?} does not fit");
}

/// A notebook worked out, with what holds of any.
pub fn computed(text: &str, files: &Memory) -> Computed {
    let computed = reweigh::compute("fuzz.md", text.as_bytes(), files);
    places_fit(&computed.notebook.text, &computed.results.findings);
    let file = results_file(&computed.results, &computed.notebook.text);
    assert!(file.starts_with('{') && file.ends_with("}\n"));
    computed
}

/// Readings for blocks that are tried by themselves.
pub const READINGS: &str = "```masses\ntrial: A B\ncrucible: 20.0000 21.0000\ncrucible + sample: 21.0000 22.5000\n\
    crucible + residue, heating 1: 20.9000 22.3000\ncrucible + residue, heating 2: 20.8000 22.2000\n```\n";

/// Whether a text in the language of skeletons asks for long texts: one that repeats, joins or adds within its tags.
pub fn makes_long_texts(source: &str) -> bool {
    source.split('<').skip(1).any(|text| {
        let end = [">>", "%>"].into_iter().filter_map(|end| text.find(end)).min();
        text[..end.unwrap_or(text.len())].contains(['*', '~', '+'])
    })
}
