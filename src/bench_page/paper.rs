//! The pages of the report, whoever sets them: a picture of each, its words, and where its values stand.

use crate::Computed;
use crate::files::Files;
use crate::finding::Finding;
use serde::Serialize;
use std::sync::Arc;

/// One page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Page {
    /// A name for what it shows: pages with the same name look the same and hold the same.
    pub hash: String,
    /// Its width in points.
    pub width: f64,
    /// Its height in points.
    pub height: f64,
    /// Its picture (SVG), in outlines.
    pub svg: Arc<str>,
    /// Words and values over the picture, as JSON ([`Layer`]).
    pub layer: String,
}

/// What lies over the picture of a page, so that it can be read out, marked and clicked.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Layer {
    /// The lines of text: left, baseline, width, size (points) and the text.
    pub words: Vec<(f64, f64, f64, f64, String)>,
    /// The values.
    pub values: Vec<PlacedValue>,
}

/// A value on a page.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PlacedValue {
    /// What it is called in derivations.
    pub key: String,
    /// For people: `w(water), trial A: 36.09 %`.
    pub name: String,
    /// Left, top, width and height in points.
    pub place: [f64; 4],
}

/// Pages that were set, and what was found on the way.
#[derive(Clone, Debug, Default)]
pub struct Set {
    /// The pages, in order.
    pub pages: Vec<Arc<Page>>,
    /// Findings beyond those of the results.
    pub findings: Vec<Finding>,
}

/// Whoever sets the pages of one notebook, version after version.
pub trait Paper: Send {
    /// The pages of a version.
    ///
    /// # Errors
    ///
    /// The findings that say why they could not be set; the last good pages are then kept.
    fn set(&mut self, computed: &Computed, files: &dyn Files) -> Result<Set, Vec<Finding>>;
}

/// Sets no pages: a program that was built without the typesetter.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoPaper;

impl Paper for NoPaper {
    fn set(&mut self, _: &Computed, _: &dyn Files) -> Result<Set, Vec<Finding>> {
        Ok(Set::default())
    }
}
