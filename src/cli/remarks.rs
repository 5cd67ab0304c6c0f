//! `reweigh review --remarks`: what each student reads, one file for each notebook. Nothing is replaced unasked.

use super::confined::{reason, run as confined};
use super::findings::Voice;
use super::{Ending, complain};
use crate::files::{write_atomically, write_new};
use crate::finding::{Code, Finding};
use crate::review::formats::Reviewed;
use crate::review::remarks::{Text, fill, html, text_of, values};
use crate::template::{Origin, Template};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Most seconds that filling the remarks of one notebook by a foreign text may take.
const SECONDS: u64 = 20;

/// Options of `review` about remarks.
#[derive(Debug, clap::Args)]
pub(super) struct Remarks {
    /// Also write remarks for the student, one file for each notebook, into this folder: NAME-remarks.md. The text is the
    /// template's `marking/remarks.md`. No file is replaced.
    #[arg(long = "remarks", value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// The form of the remarks.
    #[arg(long = "remarks-as", value_enum, default_value = "markdown", requires = "folder")]
    form: Form,
    /// Replace remarks that are there.
    #[arg(long, requires = "folder")]
    replace: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// Markdown.
    Markdown,
    /// One page, for a browser.
    Html,
    /// A typeset PDF.
    #[cfg(feature = "pdf")]
    Pdf,
}

impl Form {
    fn ending(self) -> &'static str {
        match self {
            Form::Markdown => "md",
            Form::Html => "html",
            #[cfg(feature = "pdf")]
            Form::Pdf => "pdf",
        }
    }
}

/// One notebook's review, and the template whose remarks are trusted: not a copy that was handed in.
pub(super) struct Student<'a> {
    pub(super) reviewed: Reviewed<'a>,
    pub(super) template: Option<&'a Template>,
}

/// Where the remarks of each file go, looked at before any review is done.
pub(super) fn places(options: &Remarks, files: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    let Some(folder) = &options.folder else { return Ok(Vec::new()) };
    if folder.exists() && !folder.is_dir() {
        return Err(format!("{} is no folder", folder.display()));
    }
    let mut places: Vec<PathBuf> = Vec::new();
    let mut seen: BTreeMap<PathBuf, &Path> = BTreeMap::new();
    for file in files {
        let stem = file.file_stem().map_or_else(|| "notebook".into(), |stem| stem.to_string_lossy());
        let place = folder.join(format!("{stem}-remarks.{}", options.form.ending()));
        if let Some(other) = seen.insert(place.clone(), file) {
            let (a, b, to) = (other.display(), file.display(), place.display());
            return Err(format!(
                "the remarks on {a} and {b} would both go to {to}; review one of them at a time"
            ));
        }
        if place.symlink_metadata().is_ok() && !options.replace {
            return Err(format!("{} is there already; `--replace` writes it again", place.display()));
        }
        places.push(place);
    }
    Ok(places)
}

/// Writes the remarks on one notebook.
pub(super) fn write(options: &Remarks, place: &Path, student: &Student, voice: &Voice) -> Ending {
    let bytes = match made(options.form, student) {
        Ok(bytes) => bytes,
        Err(Trouble::Sentence(message)) => return complain(&message),
        Err(Trouble::Finding(finding)) => {
            voice.say(student.reviewed.file, "", &[*finding]);
            return complain(&format!("no remarks were written for {}", student.reviewed.file));
        }
    };
    let written = if options.replace { write_atomically(place, &bytes) } else { write_new(place, &bytes) };
    match written {
        Ok(()) => Ending::Clean,
        Err(error) => complain(&format!("cannot write {}: {error}", place.display())),
    }
}

/// Why there are no remarks.
enum Trouble {
    Sentence(String),
    Finding(Box<Finding>),
}

fn made(form: Form, student: &Student) -> Result<Vec<u8>, Trouble> {
    let values = values(&student.reviewed, None).map_err(Trouble::Finding)?;
    let markdown = filled(student.template, &values).map_err(Trouble::Finding)?;
    let title = student.reviewed.title();
    match form {
        Form::Markdown => Ok(markdown.into_bytes()),
        Form::Html => html(&markdown, title).map(String::into_bytes).map_err(Trouble::Sentence),
        #[cfg(feature = "pdf")]
        Form::Pdf => crate::review::remarks::pdf(&markdown, &student.reviewed)
            .map_err(|message| Trouble::Sentence(format!("{}: {message}", student.reviewed.file))),
    }
}

/// The filled text; one that someone else wrote is filled in a process of its own.
fn filled(template: Option<&Template>, values: &Value) -> Result<String, Box<Finding>> {
    let text = text_of(template);
    if template.is_none_or(|template| template.origin == Origin::Shipped) {
        return fill(&text, values);
    }
    let said =
        |message: String| Box::new(Finding::error(Code::BadRemarks, None, message).in_file(&text.file));
    let question = json!({ "file": text.file, "source": text.source, "values": values });
    let run = confined(&["remarks"], serde_json::to_vec(&question).unwrap_or_default(), SECONDS)
        .map_err(|error| said(format!("the process for the remarks could not be started: {error}")))?;
    let answer = run.answer.as_deref().and_then(|answer| serde_json::from_slice::<Value>(answer).ok());
    let Some(answer) = answer else { return Err(said(reason("the text of the remarks", &run, SECONDS))) };
    if let Some(filled) = answer["filled"].as_str() {
        return Ok(filled.to_owned());
    }
    let mut finding = said(answer["message"].as_str().unwrap_or("it could not be filled").to_owned());
    let number = |key: &str| answer[key].as_u64().and_then(|number| usize::try_from(number).ok());
    finding.place = number("line").zip(number("column"));
    let hints = answer["hints"].as_array().into_iter().flatten();
    finding.hints = hints.filter_map(|hint| hint.as_str().map(str::to_owned)).collect();
    Err(finding)
}

/// What the confined process answers.
pub(super) fn answer(bytes: &[u8]) -> Option<Vec<u8>> {
    let question: Value = serde_json::from_slice(bytes).ok()?;
    let text = |key: &str| question[key].as_str().map(str::to_owned);
    let answer = match fill(&Text { file: text("file")?, source: text("source")? }, &question["values"]) {
        Ok(filled) => json!({ "filled": filled }),
        Err(finding) => json!({
            "message": finding.message,
            "hints": finding.hints,
            "line": finding.place.map(|(line, _)| line),
            "column": finding.place.map(|(_, column)| column),
        }),
    };
    serde_json::to_vec(&answer).ok()
}
