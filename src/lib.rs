//! Reweigh: from balance readings in a Markdown notebook to a typeset gravimetric report.

pub mod chemistry;
pub mod evaluation;
pub mod files;
pub mod finding;
pub mod notebook;
pub mod weighing;
pub mod quantity;
pub mod span;
pub mod statistics;
