//! `reweigh review --remarks`: what each student reads, one file for each notebook. Nothing is replaced unasked.

use super::confined::{reason, run as confined};
use super::findings::{Voice, ending};
use super::{Ending, complain, input};
use crate::files::{write_atomically, write_new};
use crate::finding::{Code, Finding};
use crate::review::formats::Reviewed;
use crate::review::marks::{Award, FromReference, Marking};
use crate::review::remarks::{Marked, Text, fill, html, text_of, values};
use crate::review::section::deciding::{as_decided, points_by_hand};
use crate::review::section::decisions::{self, Decisions};
use crate::template::marks::{Marks, marks};
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
    /// What you decided by hand, for the remarks: verdicts and points, as `section` takes them.
    #[arg(long, value_name = "FILE", requires = "folder")]
    decisions: Option<PathBuf>,
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

/// The remarks of one run: where they go, and what was decided by hand.
pub(super) struct Desk<'a> {
    options: &'a Remarks,
    places: Vec<PathBuf>,
    decisions: Decisions,
    used: Vec<bool>,
    /// The notebooks so far, with their hashes.
    seen: Vec<(String, String)>,
}

/// Looks at everything that remarks need before any review is done, with what there is to say of it.
pub(super) fn desk<'a>(
    options: &'a Remarks,
    files: &[PathBuf],
    template: Option<&Template>,
) -> Result<(Desk<'a>, Vec<Finding>), String> {
    let places = places(options, files)?;
    let mut said = Vec::new();
    let mut decisions = Decisions::default();
    if options.folder.is_some() {
        said.extend(template.map(|template| marks(template).1).unwrap_or_default());
    }
    if let Some(path) = &options.decisions {
        let (name, text, _) = input::text(path)?;
        let (read, of_file) = decisions::read(&name, &text);
        said.extend(of_file);
        decisions = read;
    }
    let used = vec![false; decisions.list.len()];
    Ok((Desk { options, places, decisions, used, seen: Vec::new() }, said))
}

/// Where the remarks of each file go, looked at before any review is done.
fn places(options: &Remarks, files: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
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

impl Desk<'_> {
    /// Writes the remarks on the notebook with this place in the list of files.
    pub(super) fn write(&mut self, index: usize, student: &Student, voice: &Voice) -> Ending {
        let Some(place) = self.places.get(index) else { return Ending::Clean };
        let file = student.reviewed.file;
        let marks = student.template.map(|template| marks(template).0).unwrap_or_default();
        let given = Some(&marks).filter(|marks| !marks.items.is_empty());
        let decided = as_decided(&student.reviewed, given, &self.decisions);
        self.seen.push((file.to_owned(), student.reviewed.results.sha256.clone()));
        decided.used.iter().for_each(|at| self.used[*at] = true);
        voice.say(file, "", &decided.said);
        let student =
            Student { reviewed: Reviewed { review: &decided.review, ..student.reviewed }, ..*student };
        let bytes = match made(self.options.form, &student, &marks, &self.decisions) {
            Ok(bytes) => bytes,
            Err(Trouble::Sentence(message)) => return complain(&message),
            Err(Trouble::Finding(finding)) => {
                voice.say(file, "", &[*finding]);
                return complain(&format!("no remarks were written for {file}"));
            }
        };
        let replace = self.options.replace;
        let written = if replace { write_atomically(place, &bytes) } else { write_new(place, &bytes) };
        match written {
            Ok(()) => ending(&decided.said),
            Err(error) => complain(&format!("cannot write {}: {error}", place.display())),
        }
    }

    /// What there is to say of decisions that name a notebook which has changed since. Those about others are left alone:
    /// one file may hold the decisions of a whole section.
    pub(super) fn left_over(&self) -> Vec<Finding> {
        let others =
            (0..self.used.len()).map(|at| self.used[at] || !self.decisions.names_any(at, &self.seen));
        self.decisions.left_over(&others.collect::<Vec<_>>(), &self.seen)
    }
}

/// Why there are no remarks.
enum Trouble {
    Sentence(String),
    Finding(Box<Finding>),
}

fn made(form: Form, student: &Student, marks: &Marks, decisions: &Decisions) -> Result<Vec<u8>, Trouble> {
    let values = told(student, marks, decisions).map_err(Trouble::Finding)?;
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

/// What is put into the text, with marks where the template gives some.
fn told(student: &Student, marks: &Marks, decisions: &Decisions) -> Result<Value, Box<Finding>> {
    let reviewed = &student.reviewed;
    let mut awards = awards(reviewed, marks);
    points_by_hand(&mut awards, &reviewed.results.sha256, decisions);
    values(reviewed, Some(&Marked { marks, awards: &awards }))
}

/// What the items come to without a reference value: those are for `section` alone.
pub(super) fn awards(reviewed: &Reviewed, marks: &Marks) -> Vec<Award> {
    let reference = |_: &str| FromReference::None("no list of unknowns".to_owned());
    let (results, review) = (reviewed.results, reviewed.review);
    Marking { marks, template: reviewed.template, results, review, reference: &reference }.awards()
}

/// The filled text; one that someone else wrote is filled in a process of its own.
pub(super) fn filled(template: Option<&Template>, values: &Value) -> Result<String, Box<Finding>> {
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
