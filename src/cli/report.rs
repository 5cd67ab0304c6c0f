//! `reweigh report`: the report of one notebook, or of several on all cores.

use super::findings::Voice;
use super::input::{self, Input};
use super::{Ending, complain};
use crate::evaluation::results_file;
use crate::files::write_atomically;
use crate::finding::Finding;
use crate::report::{Attachment, html, markdown};
use crate::{Computed, Wanted};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// So many notebooks are worked on before what is found of the first of them is said.
const BATCH: usize = 32;

/// Options of `report`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The notebooks, Markdown files.
    #[arg(required = true)]
    notebooks: Vec<PathBuf>,
    /// Where the report goes: a file for one notebook, a folder for several [default: build/NAME.pdf, or with the
    /// ending of its form].
    #[arg(long, short)]
    output: Option<PathBuf>,
    /// The template to apply instead of the one a notebook names: a folder, or a shipped one by its name.
    #[arg(long)]
    template: Option<String>,
    /// Most seconds that a layout of a template's own may take.
    #[cfg(feature = "pdf")]
    #[arg(long, default_value_t = 20)]
    layout_seconds: u64,
    /// The form of the report; without it the ending of `--output` decides, else it is the first of these.
    #[arg(long = "as", value_enum)]
    form: Option<Form>,
}

impl Options {
    /// The form of the report: the one asked for, else that of the file's ending.
    fn form(&self) -> Result<Form, String> {
        let file = self.output.as_deref().filter(|output| self.notebooks.len() == 1 && !output.is_dir());
        let ending = file.and_then(Path::extension).and_then(|ending| ending.to_str()).unwrap_or("");
        let of_ending = Form::of_ending(ending);
        if !cfg!(feature = "pdf") && ending.eq_ignore_ascii_case("pdf") {
            return Err("this build of the program sets no PDF; give --output another ending".to_owned());
        }
        match (self.form, of_ending, file) {
            (Some(form), Some(other), Some(file)) if form != other => Err(format!(
                "{} ends as {} does, and --as asks for {}; give it the ending .{}, or leave out --as",
                file.display(),
                other.name(),
                form.name(),
                form.ending()
            )),
            (form, of_ending, _) => Ok(form.or(of_ending).unwrap_or_default()),
        }
    }
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// A typeset PDF.
    #[cfg(feature = "pdf")]
    #[default]
    Pdf,
    /// One page for a browser that needs nothing else.
    #[cfg_attr(not(feature = "pdf"), default)]
    Html,
    /// The notebook with its computed tables put in.
    Markdown,
}

impl Form {
    /// The form of a file with this ending, where there is one.
    fn of_ending(ending: &str) -> Option<Form> {
        match ending.to_ascii_lowercase().as_str() {
            #[cfg(feature = "pdf")]
            "pdf" => Some(Form::Pdf),
            "html" | "htm" => Some(Form::Html),
            "md" | "markdown" => Some(Form::Markdown),
            _ => None,
        }
    }

    fn name(self) -> &'static str {
        match self {
            #[cfg(feature = "pdf")]
            Form::Pdf => "a PDF",
            Form::Html => "an HTML page",
            Form::Markdown => "Markdown",
        }
    }

    /// The ending of a file of this form.
    fn ending(self) -> &'static str {
        match self {
            #[cfg(feature = "pdf")]
            Form::Pdf => "pdf",
            Form::Html => "html",
            Form::Markdown => "md",
        }
    }
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let planned = options.form().and_then(|form| Ok((form, outputs(options, form)?)));
    let (form, outputs) = match planned {
        Ok(planned) => planned,
        Err(message) => return complain(&message),
    };
    let template = match options.template.as_deref().map(input::template).transpose() {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let wanted = Wanted { template, ..Wanted::default() };
    let pairs: Vec<(&PathBuf, PathBuf)> = options.notebooks.iter().zip(outputs).collect();
    let mut ending = Ending::Clean;
    for batch in pairs.chunks(BATCH) {
        let made = batch.par_iter().map(|(notebook, output)| one(notebook, output, &wanted, (form, options)));
        for made in made.collect::<Vec<Made>>() {
            ending = ending.max(made.say(voice));
        }
    }
    ending
}

/// Where each report goes. Two reports never share a file, and none replaces a notebook.
fn outputs(options: &Options, form: Form) -> Result<Vec<PathBuf>, String> {
    let outputs: Vec<PathBuf> = match &options.output {
        Some(output) if options.notebooks.len() == 1 && !output.is_dir() => vec![output.clone()],
        Some(folder) if folder.is_file() => {
            return Err(format!("{} is a file; several reports need a folder", folder.display()));
        }
        Some(folder) => options.notebooks.iter().map(|notebook| in_folder(folder, notebook, form)).collect(),
        None => {
            let folder = Path::new("build");
            options.notebooks.iter().map(|notebook| in_folder(folder, notebook, form)).collect()
        }
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

fn in_folder(folder: &Path, notebook: &Path, form: Form) -> PathBuf {
    let stem = notebook.file_stem().map_or_else(|| "report".into(), |stem| stem.to_os_string());
    let mut name = stem;
    name.push(".");
    name.push(form.ending());
    folder.join(name)
}

/// What became of one notebook; said once those before it have been.
struct Made {
    name: String,
    text: String,
    findings: Vec<Finding>,
    /// Where the report is, or why there is none.
    outcome: Result<PathBuf, String>,
}

impl Made {
    /// A notebook that could not be read.
    fn unread(name: String, message: String) -> Made {
        Made { name, text: String::new(), findings: Vec::new(), outcome: Err(message) }
    }

    fn say(self, voice: &Voice) -> Ending {
        let ending = voice.say(&self.name, &self.text, &self.findings);
        match self.outcome {
            Ok(output) => {
                drop(super::print(&format!("{}\n", output.display())));
                ending
            }
            Err(message) => complain(&message),
        }
    }
}

/// Makes the report of one notebook and puts it in its place.
#[cfg_attr(not(feature = "pdf"), allow(unused_variables, reason = "only a PDF has options of its own"))]
fn one(notebook: &Path, output: &Path, wanted: &Wanted, (form, options): (Form, &Options)) -> Made {
    let name = notebook.display().to_string();
    let input = match input::read(notebook) {
        Ok(input) => input,
        Err(message) => return Made::unread(name, message),
    };
    // A notebook that is a report in Markdown is worked out without what an earlier run put in.
    let bytes = match form {
        Form::Markdown => match markdown::without_computed(&input.bytes) {
            Ok(bytes) => bytes,
            Err(problem) => return Made::unread(name.clone(), format!("{name} {problem}")),
        },
        _ => input.bytes.clone(),
    };
    let computed = crate::compute_as(&input.name, &bytes, &input.folder, wanted);
    let set: Set = match form {
        #[cfg(feature = "pdf")]
        Form::Pdf => pdf(&input, &computed, options),
        Form::Html => Ok(page(&input, &computed)),
        Form::Markdown => Ok(written_in(&input, &bytes, &computed)),
    };
    let (outcome, further) = match set {
        Ok((report, further)) => (write(output, &report), further),
        Err(problems) => {
            let message = format!("no report was set for {name}; a report that was there is still there");
            (Err(message), problems)
        }
    };
    let findings = computed.results.findings.into_iter().chain(further).collect();
    Made { name, text: computed.notebook.text, findings, outcome }
}

fn write(output: &Path, report: &[u8]) -> Result<PathBuf, String> {
    let written = write_atomically(output, report);
    written.map(|()| output.to_owned()).map_err(|error| format!("cannot write {}: {error}", output.display()))
}

/// A report and what was found while it was made; else why there is none.
type Set = Result<(Vec<u8>, Vec<Finding>), Vec<Finding>>;

/// The notebook and the results file, which travel inside a report.
fn attachments(input: &Input, computed: &Computed) -> [Attachment; 2] {
    let results = results_file(&computed.results, &computed.notebook.text);
    [
        Attachment::source(&input.name, input.bytes.clone()),
        Attachment::results("results.json", results.into_bytes()),
    ]
}

#[cfg(feature = "pdf")]
fn pdf(input: &Input, computed: &Computed, options: &Options) -> Set {
    let pdf = crate::report::pdf_with(
        &computed.notebook,
        &computed.results,
        &attachments(input, computed),
        &input.folder,
        computed.template.as_deref(),
        &super::confined_layout::Confined { seconds: options.layout_seconds.max(1) },
    )?;
    Ok((pdf.bytes, pdf.findings))
}

fn page(input: &Input, computed: &Computed) -> (Vec<u8>, Vec<Finding>) {
    let page = html::html(
        &computed.notebook,
        &computed.results,
        &attachments(input, computed),
        &input.folder,
        computed.template.as_deref(),
    );
    (page.text.into_bytes(), page.findings)
}

fn written_in(input: &Input, bytes: &[u8], computed: &Computed) -> (Vec<u8>, Vec<Finding>) {
    let report = markdown::markdown(
        bytes,
        &computed.notebook,
        &computed.results,
        &input.folder,
        computed.template.as_deref(),
    );
    (report.bytes, report.findings)
}
