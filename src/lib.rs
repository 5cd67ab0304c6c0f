//! Reweigh: from balance readings in a Markdown notebook to a typeset gravimetric report.
//!
//! # The pipeline
//!
//! 1. [`notebook::read`] turns bytes into a [`Notebook`]: prose with byte ranges, blocks,
//!    inline expressions. Reading never fails; what cannot be read is a [finding](finding::Finding).
//! 2. [`template::find`] loads the template it names, and [`template::apply`] merges the template's rules and method
//!    into it.
//! 3. [`evaluation::evaluate`] turns the notebook into [`Results`]: net masses by
//!    the algebra of loads, constant-mass verdicts, formulas per trial, agreement, percent error. Every value is
//!    a node of a [derivation graph](quantity::derivation::Graph).
//! 4. [`template::finish`] says what the template requires and the notebook lacks.
//! 5. [`evaluation::results_file`] writes the results as JSON.
//! 6. `report::pdf` (with the feature `pdf`) sets the report, with the notebook and the results file attached.
//!
//! [`compute`] is steps 1 to 4; [`report`] the room of step 6. The library never prints, never exits and opens no
//! file but through [`files::Files`].

// Nothing breaks off where a value is not what was hoped for. Tests may.
#![cfg_attr(
    not(test),
    deny(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::todo,
        clippy::unimplemented
    )
)]

pub mod chemistry;
pub mod evaluation;
pub mod files;
pub mod finding;
pub mod notebook;
pub mod quantity;
pub mod span;
pub mod statistics;
pub mod template;
pub mod weighing;

pub mod bench_page;
pub mod cli;
pub mod report;
pub mod review;

use evaluation::results::Results;
use notebook::Notebook;
use notebook::settings::DecimalMark;
use std::sync::Arc;
use template::{Purpose, Template};

/// A notebook with what it comes to.
#[derive(Clone, Debug)]
pub struct Computed {
    /// The notebook as read, with what its template adds behind its own blocks and behind its own text.
    pub notebook: Notebook,
    /// Its results, findings included.
    pub results: Results,
    /// The template that was applied.
    pub template: Option<Arc<Template>>,
}

/// How a notebook is to be computed.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// The template to apply instead of the one the notebook names.
    pub template: Option<Arc<Template>>,
    /// For whom: whose rules and formulas stand where notebook and template differ.
    pub purpose: Purpose,
}

/// Reads a notebook and evaluates it for its author (steps 1 to 4 of the pipeline). `name` is the file name it is
/// shown by; `files` are the files beside it.
pub fn compute(name: &str, bytes: &[u8], files: &dyn files::Files) -> Computed {
    compute_as(name, bytes, files, &Wanted::default())
}

/// Reads a notebook and evaluates it as wanted: with a template given from outside, or for a review, which leaves
/// the worked calculation out.
pub fn compute_as(name: &str, bytes: &[u8], files: &dyn files::Files, wanted: &Wanted) -> Computed {
    let mut notebook = notebook::read(name, bytes, files);
    let template = wanted.template.clone().or_else(|| named_template(&mut notebook, files));
    if template.as_ref().is_some_and(|template| brings_comma(template, &notebook)) {
        notebook = notebook::read_with_comma(name, bytes, files);
    }
    let applied = template.as_ref().map(|template| template::apply(&mut notebook, template, wanted.purpose));
    let mut results = match wanted.purpose {
        Purpose::Author => evaluation::evaluate(&notebook),
        Purpose::Review => evaluation::evaluate_values(&notebook),
    };
    if let (Some(template), Some(applied)) = (&template, &applied) {
        template::finish(&notebook, template, applied, wanted.purpose, &mut results);
    }
    results.sha256 = sha256(bytes);
    results.files = notebook.files.iter().map(|(path, bytes)| (path.clone(), sha256(bytes))).collect();
    results.files.extend(pictures(&notebook, files));
    Computed { notebook, results, template }
}

/// The template that a notebook names; one that cannot be found is said at its name.
fn named_template(notebook: &mut Notebook, files: &dyn files::Files) -> Option<Arc<Template>> {
    let name = notebook.settings.template.clone()?;
    match template::find(&name.value, files) {
        Ok(template) => Some(Arc::new(template)),
        Err(finding) => {
            notebook.findings.push(finding::Finding { span: Some(name.span), ..*finding });
            None
        }
    }
}

/// Whether the decimal mark is a comma because the template says so and the notebook says nothing.
fn brings_comma(template: &Template, notebook: &Notebook) -> bool {
    template.rules.decimal == DecimalMark::Comma && notebook.settings.stated("decimal").is_none()
}

/// The pictures beside the notebook that can be read, each once, with their hashes.
fn pictures(notebook: &Notebook, files: &dyn files::Files) -> Vec<(String, String)> {
    let mut paths: Vec<&String> = notebook.images.iter().map(|image| &image.destination).collect();
    paths.sort();
    paths.dedup();
    paths.into_iter().filter_map(|path| Some((path.clone(), sha256(&files.read(path).ok()?)))).collect()
}

/// The SHA-256 of some bytes, in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest;
    let digit = |half: u8| char::from_digit(half.into(), 16).unwrap_or('0');
    sha2::Sha256::digest(bytes).iter().flat_map(|byte| [digit(byte >> 4), digit(byte & 15)]).collect()
}
