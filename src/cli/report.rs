//! `reweigh report`: the report of one notebook or several.

use super::findings::{Voice, ending};
use super::input::{self, Input};
use super::{Ending, complain};
use crate::Wanted;
use crate::evaluation::results_file;
use crate::files::write_atomically;
use crate::report::Attachment;
use crate::report::press::Press;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Options of `report`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The notebooks, Markdown files.
    #[arg(required = true)]
    notebooks: Vec<PathBuf>,
    /// Where the report goes: a file for one notebook, a folder for several [default: build/NAME.pdf].
    #[arg(long, short)]
    output: Option<PathBuf>,
    /// The template to apply instead of the one a notebook names: a folder, or a shipped one by its name.
    #[arg(long)]
    template: Option<String>,
    /// Most seconds that a layout of a template's own may take.
    #[arg(long, default_value_t = 20)]
    layout_seconds: u64,
    /// The form of the report.
    #[arg(long = "as", value_enum, default_value = "pdf")]
    form: Form,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// A typeset PDF.
    Pdf,
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let outputs = match outputs(options) {
        Ok(outputs) => outputs,
        Err(message) => return complain(&message),
    };
    let template = match options.template.as_deref().map(input::template).transpose() {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let Form::Pdf = options.form;
    let wanted = Wanted { template, ..Wanted::default() };
    let press = &super::confined_layout::Confined { seconds: options.layout_seconds.max(1) };
    let endings = options
        .notebooks
        .iter()
        .zip(outputs)
        .map(|(notebook, output)| one(notebook, &output, &wanted, press, voice));
    endings.max().unwrap_or(Ending::Clean)
}

/// Where each report goes. Two reports never share a file, and none replaces a notebook.
fn outputs(options: &Options) -> Result<Vec<PathBuf>, String> {
    let outputs: Vec<PathBuf> = match &options.output {
        Some(output) if options.notebooks.len() == 1 && !output.is_dir() => vec![output.clone()],
        Some(folder) if folder.is_file() => {
            return Err(format!("{} is a file; several reports need a folder", folder.display()));
        }
        Some(folder) => options.notebooks.iter().map(|notebook| in_folder(folder, notebook)).collect(),
        None => options.notebooks.iter().map(|notebook| in_folder(Path::new("build"), notebook)).collect(),
    };
    let mut seen: BTreeMap<&PathBuf, &PathBuf> = BTreeMap::new();
    for (notebook, output) in options.notebooks.iter().zip(&outputs) {
        if let Some(other) = seen.insert(output, notebook) {
            let (a, b, to) = (other.display(), notebook.display(), output.display());
            return Err(format!(
                "the reports of {a} and {b} would both go to {to}; give one at a time an --output"
            ));
        }
        let same =
            |a: &Path, b: &Path| a.canonicalize().ok().is_some_and(|a| b.canonicalize().ok() == Some(a));
        if options.notebooks.iter().any(|notebook| same(notebook, output)) {
            return Err(format!("the report would replace the notebook {}", output.display()));
        }
    }
    Ok(outputs)
}

fn in_folder(folder: &Path, notebook: &Path) -> PathBuf {
    let stem = notebook.file_stem().map_or_else(|| "report".into(), |stem| stem.to_os_string());
    let mut name = stem;
    name.push(".pdf");
    folder.join(name)
}

fn one(notebook: &Path, output: &Path, wanted: &Wanted, press: &dyn Press, voice: &Voice) -> Ending {
    let input = match input::read(notebook) {
        Ok(input) => input,
        Err(message) => return complain(&message),
    };
    let (bytes, said) = match set(&input, wanted, press, voice) {
        Ok(set) => set,
        Err(ending) => return ending,
    };
    if let Err(error) = write_atomically(output, &bytes) {
        return complain(&format!("cannot write {}: {error}", output.display()));
    }
    drop(super::print(&format!("{}\n", output.display())));
    said
}

/// The bytes of the report, once its findings were said.
fn set(
    input: &Input,
    wanted: &Wanted,
    press: &dyn Press,
    voice: &Voice,
) -> Result<(Vec<u8>, Ending), Ending> {
    let computed = crate::compute_as(&input.name, &input.bytes, &input.folder, wanted);
    let name = input.path.display().to_string();
    let results = results_file(&computed.results, &computed.notebook.text);
    let attachments = [
        Attachment::source(&input.name, input.bytes.clone()),
        Attachment::results("results.json", results.into_bytes()),
    ];
    let pdf = crate::report::pdf_with(
        &computed.notebook,
        &computed.results,
        &attachments,
        &input.folder,
        computed.template.as_deref(),
        press,
    );
    let mut findings = computed.results.findings.clone();
    match pdf {
        Ok(pdf) => {
            findings.extend(pdf.findings);
            voice.say(&name, &computed.notebook.text, &findings);
            Ok((pdf.bytes, ending(&findings)))
        }
        Err(problems) => {
            findings.extend(problems);
            voice.say(&name, &computed.notebook.text, &findings);
            Err(complain(&format!("no report was set for {name}; a report that was there is still there")))
        }
    }
}
