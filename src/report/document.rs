//! A report before it has an output form: its title, the tree of its prose, and the computed parts in their places.
//!
//! Every form of a report (Typst, HTML, Markdown) is written from this one tree, so that no two can say different things.

use super::images::Pictures;
use super::placing::{self, Placed};
use super::prose::{self, Prose};
use crate::evaluation::results::Results;
use crate::finding::Finding;
use crate::notebook::Notebook;
use crate::template::Template;

/// A report without its form.
pub(super) struct Document<'r> {
    pub(super) title: String,
    pub(super) prose: Prose,
    pub(super) placed: Placed<'r>,
}

impl<'r> Document<'r> {
    pub(super) fn of(
        notebook: &'r Notebook,
        results: &'r Results,
        pictures: &Pictures,
        template: Option<&'r Template>,
    ) -> Self {
        let title = title(notebook, results);
        let placed = placing::place(notebook, results, template);
        let prose = prose::read(notebook, pictures, &title);
        Document { title, prose, placed }
    }

    /// What was found while the report was put together.
    pub(super) fn findings(&self) -> Vec<Finding> {
        self.prose.findings.iter().chain(&self.placed.findings).cloned().collect()
    }
}

/// The title stated, else the first heading, else the notebook's name.
pub fn title(notebook: &Notebook, results: &Results) -> String {
    let stated = results.settings.title.as_ref().map(|title| title.value.trim().to_owned());
    let stated = stated.filter(|title| !title.is_empty());
    let name = || if notebook.name.trim().is_empty() { "Report".to_owned() } else { notebook.name.clone() };
    stated.or_else(|| prose::first_heading(notebook)).unwrap_or_else(name)
}
