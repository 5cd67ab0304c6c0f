//! A section in several forms. Rows pass through one at a time, so that the form needs no more memory for ten thousand of
//! them than for ten (the PDF excepted: the typesetter holds its pages).

mod csv;
mod html;
mod json;
#[cfg(feature = "pdf")]
mod pdf;
pub mod summary;
mod text;
mod to_decide;
pub mod view;

pub use self::csv::csv;
pub use html::html;
pub use json::{SCHEMA, json};
#[cfg(feature = "pdf")]
pub use pdf::{LAYOUT, pdf};
pub use text::text;
pub use to_decide::to_decide;

use crate::review::formats::visible_value;

use super::{Row, Section};
use crate::quantity::print_double;
use std::io::Result;

/// For whom a form is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Audience {
    /// Who marks: everything.
    #[default]
    Instructor,
    /// The class: no rows, no names, no reference values, no group of fewer than [`super::FEWEST_SHOWN`].
    Class,
}

/// Where rows come from, in their order, as often as they are asked for.
pub trait Rows {
    /// Hands out one row after the other; the first error ends it.
    ///
    /// # Errors
    ///
    /// What `take` gives, or a row that cannot be had.
    fn each(&self, take: &mut dyn FnMut(Row) -> Result<()>) -> Result<()>;
}

impl Rows for Vec<Row> {
    fn each(&self, take: &mut dyn FnMut(Row) -> Result<()>) -> Result<()> {
        self.iter().try_for_each(|row| take(row.clone()))
    }
}

/// Rows with what the whole section says of each.
struct Completed<'a> {
    rows: &'a dyn Rows,
    section: &'a Section,
}

impl Completed<'_> {
    fn each(&self, take: &mut dyn FnMut(Row) -> Result<()>) -> Result<()> {
        self.rows.each(&mut |mut row| {
            self.section.complete(&mut row);
            take(row)
        })
    }
}

impl Section {
    /// Adds to a row what the whole section says of it: its z scores.
    pub fn complete(&self, row: &mut Row) {
        for result in &mut row.results {
            let statistics =
                self.statistics.iter().find(|found| found.of == result.of && found.unit == result.unit);
            let value = result.value.as_ref().and_then(|value| value.parse::<f64>().ok());
            let z = statistics.zip(value).and_then(|(found, value)| found.z(row.unknown.as_deref(), value));
            result.z = z.and_then(|z| print_double(z, -1)).map(|printed| printed.ascii());
        }
    }
}
