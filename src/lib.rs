//! Reweigh: from balance readings in a Markdown notebook to a typeset gravimetric report.

pub mod chemistry;
pub mod evaluation;
pub mod files;
pub mod finding;
pub mod notebook;
pub mod quantity;
pub mod report;
pub mod span;
pub mod statistics;
