//! A section: every notebook of a folder reviewed, one row each, and what the rows say together.
//!
//! 1. [`row()`] makes the row of one notebook, by the reference values ([`unknowns`]) and a marker's [`decisions`]; it keeps
//!    what statistics need of it ([`Facts`]), a few hundred bytes, so that ten thousand notebooks fit anywhere.
//! 2. [`statistics::of`] works out the section's robust means, scatter and groups, [`recurring::questions`] the readings
//!    that stand in several notebooks.
//! 3. [`since`] compares the marks with those of an earlier run.
//! 4. [`forms`] writes it all; rows pass through one at a time.
//!
//! What is written here is for the instructor: it holds reference values and the data of everyone. Nothing of it goes into
//! a student's report or remarks. A page for the class ([`forms::Audience::Class`]) has no rows, no names, and no group of
//! fewer than ten.

pub mod deciding;
pub mod decisions;
pub mod forms;
mod making;
pub mod recurring;
pub mod row;
pub mod since;
pub mod statistics;
pub mod unknowns;

pub use making::{Desk, Made, asked_for, row};
pub use row::Row;

use crate::finding::Finding;

/// The fewest notebooks of a group that a class is shown.
pub const FEWEST_SHOWN: usize = 10;

/// What statistics keep of one notebook.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// Its file.
    pub file: String,
    /// The hash of its bytes.
    pub sha256: String,
    /// Its authors.
    pub authors: Vec<String>,
    /// The partners it declares.
    pub partners: Vec<String>,
    /// The unknown it names.
    pub unknown: Option<String>,
    /// The bench it names.
    pub bench: Option<String>,
    /// The balances its readings name.
    pub balances: Vec<String>,
    /// The results that are followed.
    pub values: Vec<Value>,
    /// Its distinct readings, by place and size.
    pub readings: Vec<Reading>,
}

/// A result of a notebook, in the unit it is shown in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Value {
    /// What it is of.
    pub of: String,
    /// The unit.
    pub unit: String,
    /// The mean of the valid trials.
    pub mean: f64,
    /// Trial by trial.
    pub trials: Vec<(String, f64)>,
    /// The reference value of its unknown, where it may be used.
    pub reference: Option<f64>,
}

/// A reading as it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// How many of its last place.
    pub steps: i64,
    /// The last place, as a power of ten of a gram.
    pub place: i32,
    /// Whether one thing alone stood on the pan: a vessel, which may be shared.
    pub alone: bool,
    /// The line of the notebook.
    pub line: usize,
}

/// Everything that is written of a section besides its rows.
#[derive(Clone, Debug, Default)]
pub struct Section {
    /// The folder as it was named.
    pub folder: String,
    /// How many files have a row.
    pub rows: usize,
    /// How many of them were reviewed.
    pub reviewed: usize,
    /// How many rows are of a notebook that another row is of.
    pub same_again: usize,
    /// The list of unknowns: its file, its hash, how many unknowns it has, and of how many a value may be used.
    pub unknowns: Option<(String, String, usize, usize)>,
    /// The file of decisions: its name, its hash, how many were read and how many were applied.
    pub decisions: Option<(String, String, usize, usize)>,
    /// The statistics of each result that is followed.
    pub statistics: Vec<statistics::Statistics>,
    /// Readings that stand in several notebooks.
    pub recurring: Vec<recurring::Recurring>,
    /// How many further such questions there are that are not listed.
    pub more_recurring: usize,
    /// What changed since an earlier run; `None` where none was given.
    pub changes: Option<Vec<since::Change>>,
    /// What there is to say of the section as a whole.
    pub findings: Vec<Finding>,
}
