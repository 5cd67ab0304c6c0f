//! Reweigh: from balance readings in a Markdown notebook to a typeset gravimetric report.
//!
//! # The pipeline
//!
//! 1. [`notebook::read`] turns bytes into a [`Notebook`]: prose with byte ranges, blocks,
//!    inline expressions. Reading never fails; what cannot be read is a [finding](finding::Finding).
//! 2. [`evaluation::evaluate`] turns the notebook into [`Results`]: net masses by
//!    the algebra of loads, constant-mass verdicts, formulas per trial, agreement, percent error. Every value is
//!    a node of a [derivation graph](quantity::derivation::Graph).
//! 3. [`evaluation::results_file`] writes the results as JSON.
//! 4. [`report::pdf`] sets the report, with the notebook and the results file attached.
//!
//! [`compute`] is steps 1 and 2; [`report`] the room of step 4. The library never prints, never exits and opens no
//! file but through [`files::Files`].

pub mod chemistry;
pub mod evaluation;
pub mod files;
pub mod finding;
pub mod notebook;
pub mod quantity;
pub mod span;
pub mod statistics;
pub mod weighing;

pub mod cli;
pub mod report;
pub mod review;

use evaluation::results::Results;
use notebook::Notebook;

/// A notebook with what it comes to.
#[derive(Clone, Debug)]
pub struct Computed {
    /// The notebook as read.
    pub notebook: Notebook,
    /// Its results, findings included.
    pub results: Results,
}

/// Reads a notebook and evaluates it (steps 1 and 2 of the pipeline). `name` is the file name it is shown by;
/// `files` are the files beside it.
pub fn compute(name: &str, bytes: &[u8], files: &dyn files::Files) -> Computed {
    let notebook = notebook::read(name, bytes, files);
    let mut results = evaluation::evaluate(&notebook);
    results.sha256 = sha256(bytes);
    results.files = notebook.files.iter().map(|(path, bytes)| (path.clone(), sha256(bytes))).collect();
    results.files.extend(pictures(&notebook, files));
    Computed { notebook, results }
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
    sha2::Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}
