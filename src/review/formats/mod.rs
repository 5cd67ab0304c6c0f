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
pub(in crate::review) use csv::harmless;
pub use html::html;
pub use json::{SCHEMA, json};
pub use junit::junit;
pub use sarif::sarif;
pub use text::text;
pub(in crate::review) use text::{clean, wrapped};

use super::Review;
use crate::evaluation::results::Results;
use crate::finding::{Finding, visible_lines};
use crate::notebook::Notebook;
use crate::span::{Lines, Span};
use std::borrow::Cow;

/// Writes a value into a page: escaped, and with a stand-in for every character that would change the order of others.
pub(in crate::review) fn visible_value(
    output: &mut minijinja::Output,
    state: &mut minijinja::State,
    value: &minijinja::Value,
) -> Result<(), minijinja::Error> {
    match value.as_str().map(visible_lines) {
        Some(Cow::Owned(shown)) if value.is_safe() => {
            output.write_str(&shown).map_err(minijinja::Error::from)
        }
        Some(Cow::Owned(shown)) => minijinja::escape_formatter(output, state, &shown.into()),
        _ => minijinja::escape_formatter(output, state, value),
    }
}

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
    /// The template it was reviewed by.
    pub template: Option<&'a crate::template::Template>,
    /// How many bytes of the notebook's text are its own; what follows is the template's.
    pub own: usize,
    /// What there is to say of the report or of the template as a whole.
    pub of_report: &'a [Finding],
}

impl Reviewed<'_> {
    /// The title of the notebook, else its name.
    pub fn title(&self) -> &str {
        let title = self.results.settings.title.as_ref().map(|title| title.value.as_str());
        title.unwrap_or(&self.results.name)
    }

    /// The line of a place in the notebook's own text, from 1; the template's lines are no lines of the notebook.
    pub(in crate::review) fn line(&self, lines: &Lines, span: Option<Span>) -> Option<usize> {
        span.filter(|span| span.start < self.own).map(|span| self.place(lines, span).0)
    }

    /// Line and column of a place, from 1.
    pub(in crate::review) fn place(&self, lines: &Lines, span: Span) -> (usize, usize) {
        lines.place(&self.notebook.text, span.start)
    }
}

/// `1 differs`, `2 differ`
fn counted_word(count: usize, word: &str) -> String {
    let word = match (count, word) {
        (1, word) => word,
        (_, "agrees") => "agree",
        (_, "differs") => "differ",
        (_, word) => word,
    };
    format!("{count} {word}")
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
