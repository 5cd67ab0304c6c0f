//! A review in its forms: JSON of our own, CSV, one HTML page, and the open standards JUnit XML and SARIF.
//!
//! Every form shows the same verdicts; none decides anything.

mod csv;
mod html;
mod json;
mod junit;
mod sarif;
mod text;

pub use csv::csv;
pub use html::html;
pub use json::{SCHEMA, json};
pub use junit::junit;
pub use sarif::sarif;
pub use text::text;

use super::Review;
use crate::evaluation::results::Results;
use crate::finding::Finding;
use crate::notebook::Notebook;
use crate::span::{Lines, Span};

/// A file that was reviewed.
pub struct Reviewed<'a> {
    /// The file as given on the command line.
    pub file: &'a str,
    /// The notebook (that of a report is the attached one).
    pub notebook: &'a Notebook,
    /// What it comes to.
    pub results: &'a Results,
    /// The verdicts.
    pub review: &'a Review,
    /// What there is to say of the report as a whole, for a PDF.
    pub of_report: &'a [Finding],
}

impl Reviewed<'_> {
    /// The title of the notebook, else its name.
    fn title(&self) -> &str {
        let title = self.results.settings.title.as_ref().map(|title| title.value.as_str());
        title.unwrap_or(&self.results.name)
    }

    /// Line and column of a place, from 1.
    fn place(&self, lines: &Lines, span: Span) -> (usize, usize) {
        lines.place(&self.notebook.text, span.start)
    }
}

/// How many claims have which verdict, in words, those that none has left out.
fn counted(review: &Review) -> Vec<(usize, &'static str)> {
    use super::{Carried, ValueVerdict};
    let verdicts = [
        ValueVerdict::Agrees,
        ValueVerdict::OffByOne,
        ValueVerdict::CarriedForward(Carried::Rounded(0)),
        ValueVerdict::OtherTable(String::new()),
        ValueVerdict::Differs,
        ValueVerdict::CannotBeChecked(String::new()),
    ];
    let counted = verdicts.iter().map(|verdict| (review.count(verdict), verdict.word()));
    counted.filter(|(count, _)| *count > 0).collect()
}
