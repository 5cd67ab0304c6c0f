//! An instructor's folder: what a notebook has to hold, the method it is checked against, the layout it is set in.
//!
//! 1. [`find`] or [`load`] reads the folder, or a shipped template of that name; what is wrong with it is a
//!    finding in a file of the template.
//! 2. [`apply`] merges rules and method into a notebook, before it is evaluated.
//! 3. [`finish`] judges the results by what the template requires, and notes which template was used.
//!
//! [`skeleton::fill`] writes the notebook a student starts from, [`roster::read`] says for whom.

mod aliases;
mod apply;
mod cautions;
pub mod check;
mod compare;
mod finish;
mod folder;
pub mod marks;
mod method;
pub mod model;
mod names;
mod overlay;
mod reader;
mod required;
mod reveal;
pub mod roster;
mod rules;
mod shipped;
pub mod skeleton;
mod toml_reader;
mod traced;

pub use apply::{Applied, Purpose, Working, apply};
pub(crate) use cautions::capital;
pub use cautions::{CLOSING, markdown as cautions_as_markdown};
pub use finish::finish;
pub use folder::{MARKING, Origin, find, load};
pub use method::METHOD;
pub use model::Template;
pub use required::asked;
pub(crate) use reveal::tells_results;
pub use shipped::names as shipped_names;

use crate::finding::Finding;

impl Template {
    /// A file of the template as findings name it (`hydrate/method.md`).
    pub fn path(&self, file: &str) -> String {
        match &self.origin {
            Origin::Shipped => format!("{}/{file}", self.id),
            Origin::Folder(folder) => format!("{folder}/{file}"),
        }
    }

    /// The texts that the places of [`Template::rules`] are counted in, one after the other with a line break between
    /// them.
    pub(super) fn rules_texts(&self) -> [(&'static str, String); 2] {
        ["template.toml", "local.toml"].map(|path| {
            let text = self.files.get(path).map(|bytes| String::from_utf8_lossy(bytes).into_owned());
            (path, text.unwrap_or_default().trim_start_matches('\u{feff}').to_owned())
        })
    }

    /// What there is to say about the template, with the path of each file in full.
    pub fn said(&self) -> Vec<Finding> {
        let full = |finding: &Finding| {
            let file = finding.file.as_deref().map(|file| self.path(file));
            Finding { file, ..finding.clone() }
        };
        self.findings.iter().map(full).collect()
    }
}
