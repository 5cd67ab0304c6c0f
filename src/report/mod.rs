//! Results → report: one set of tables, formulas and plots, set as a PDF.
//!
//! A report is a function of the notebook and its results. [`typst_source`] makes a document in the
//! typesetter's language; `pdf` (with the feature of the same name) sets it in process, with built-in
//! fonts, as PDF/A-3a and PDF/UA-1 at once. How things look is the layout's business
//! (`report-templates/plain/report.typ`); what they are is ours. The same notebook and the same version give
//! the same bytes, on any day and in any folder.

mod attachment;
mod cautions;
mod code;
#[cfg(feature = "pdf")]
mod continued;
mod document;
#[cfg(feature = "pdf")]
pub mod drawing;
#[cfg(feature = "pdf")]
mod glyphs;
pub mod html;
mod images;
#[cfg(feature = "pdf")]
mod in_view;
mod inline;
#[cfg(feature = "pdf")]
mod job;
pub mod layouts;
pub mod markdown;
pub mod math;
#[cfg(feature = "pdf")]
pub mod pages;
mod part;
#[cfg(feature = "pdf")]
mod pdf;
mod placing;
mod plots;
#[cfg(feature = "pdf")]
pub mod press;
#[cfg(feature = "pdf")]
pub mod probes;
mod prose;
mod prose_tree;
mod prose_typst;
mod record;
mod source;
mod summary;
pub mod tables;
pub(crate) mod uncertainty;
#[cfg(feature = "pdf")]
mod versions;
pub mod words;
mod worked;

pub use attachment::{Attachment, Relationship};
pub use document::title;
pub use images::{Format, Picture, Pictures};
#[cfg(feature = "pdf")]
pub use pdf::{Pdf, SetPages, glyph, pages_with, pdf, pdf_with};
pub use prose_typst::Place;
pub use source::{LAYOUT_PATH, MAIN_PATH, Means, Source, marked_typst_source, typst_source};
pub use words::Glyph;

/// The plain layout, which every report without one of its own uses.
pub const PLAIN_LAYOUT: &str = include_str!("../../report-templates/plain/report.typ");
