//! `reweigh compute`: the results of a notebook, as text or as the results file.

use super::findings::Voice;
use super::{Ending, complain, input, print, text};
use crate::evaluation::results_file;
use crate::report::title;
use std::path::PathBuf;

/// Options of `compute`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The notebook, a Markdown file.
    notebook: PathBuf,
    /// Text for people, or the results file (JSON).
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// The template to apply instead of the one the notebook names: a folder, or a shipped one by its name.
    #[arg(long)]
    template: Option<String>,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Format {
    /// Tables of text.
    Text,
    /// The results file, `reweigh/results/1`.
    Json,
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let input = match input::read(&options.notebook) {
        Ok(input) => input,
        Err(message) => return complain(&message),
    };
    let template = match options.template.as_deref().map(input::template).transpose() {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let wanted = crate::Wanted { template, ..crate::Wanted::default() };
    let computed = crate::compute_as(&input.name, &input.bytes, &input.folder, &wanted);
    let output = match options.format {
        Format::Text => text::results(&computed.results, &title(&computed.notebook, &computed.results)),
        Format::Json => results_file(&computed.results, &computed.notebook.text),
    };
    if let Err(error) = print(&output) {
        return complain(&format!("cannot write the results: {error}"));
    }
    voice.say(&input.path.display().to_string(), &computed.notebook.text, &computed.results.findings)
}
