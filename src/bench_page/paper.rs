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
    /// What stands on it, as JSON: `values` ([`PlacedValue`]), and `items` for a page that the browser draws, `words`
    /// for one that is a picture.
    pub layer: String,
    /// The picture (SVG) of a page that the browser does not draw.
    pub picture: Option<Arc<str>>,
    /// Pictures on it by their names: kind and file.
    pub images: Vec<(String, String, Arc<[u8]>)>,
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
    /// The pages of a version; `first` is given those in view, from the first to the last (counted from 0), before the
    /// others are set, where that is any sooner.
    ///
    /// # Errors
    ///
    /// The findings that say why they could not be set; the last good pages are then kept.
    fn set(
        &mut self,
        computed: &Computed,
        files: &dyn Files,
        in_view: Option<(usize, usize)>,
        first: &mut dyn FnMut(Vec<Arc<Page>>),
    ) -> Result<Set, Vec<Finding>>;

    /// Does what can wait until a version is on the screen.
    fn rest(&mut self) {}

    /// The file of a font in which pages are drawn, by its number.
    fn font(&self) -> FontFile {
        |_| None
    }
}

/// The files of fonts by their numbers.
pub type FontFile = fn(usize) -> Option<Vec<u8>>;

/// Sets no pages: a program that was built without the typesetter.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoPaper;

impl Paper for NoPaper {
    fn set(
        &mut self,
        _: &Computed,
        _: &dyn Files,
        _: Option<(usize, usize)>,
        _: &mut dyn FnMut(Vec<Arc<Page>>),
    ) -> Result<Set, Vec<Finding>> {
        Ok(Set::default())
    }
}
