//! What the typesetter is given, and what comes back: plain data, so that another process can do the work.
//!
//! A layout that is not shipped is a program by someone else. It can ask for no file but those of its job, it has
//! no clock and no network; but it can run for long or ask for much memory. [`Press`] is where such limits go:
//! the command line sets foreign layouts in a process of their own.

use super::layouts::{PARTS_PATH, RESULTS_PATH};
use super::source::{LAYOUT_PATH, MAIN_PATH};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::sync::LazyLock;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source as File, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World, WorldExt};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

/// One report to set: texts and files by path, nothing else.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Job {
    /// The generated document.
    pub main: String,
    /// The layout.
    pub layout: String,
    /// The parts it may import.
    pub parts: String,
    /// Every other file: pictures, attachments, signs, the results, the template's own.
    pub files: BTreeMap<String, Vec<u8>>,
    /// What identifies the report.
    pub ident: String,
    /// Whether the layout is someone else's.
    pub foreign: bool,
}

impl Job {
    /// The job as bytes: one line of JSON (texts, and the paths and lengths of the files), then the files.
    pub fn to_bytes(&self) -> Vec<u8> {
        let lengths: Vec<(&str, usize)> =
            self.files.iter().map(|(path, bytes)| (path.as_str(), bytes.len())).collect();
        let head = (&self.main, &self.layout, &self.parts, &self.ident, self.foreign, lengths);
        let mut bytes = serde_json::to_vec(&head).unwrap_or_default();
        bytes.push(b'\n');
        self.files.values().for_each(|file| bytes.extend_from_slice(file));
        bytes
    }

    /// The job that [`Job::to_bytes`] wrote; `None` where the bytes are something else.
    pub fn from_bytes(bytes: &[u8]) -> Option<Job> {
        type Head = (String, String, String, String, bool, Vec<(String, usize)>);
        let end = bytes.iter().position(|byte| *byte == b'\n')?;
        let (main, layout, parts, ident, foreign, lengths): Head =
            serde_json::from_slice(bytes.get(..end)?).ok()?;
        let mut rest = bytes.get(end + 1..)?;
        let mut files = BTreeMap::new();
        for (path, length) in lengths {
            files.insert(path, rest.get(..length)?.to_vec());
            rest = rest.get(length..)?;
        }
        Some(Job { main, layout, parts, files, ident, foreign })
    }
}

/// Why a document was not set.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What the typesetter says.
    pub message: String,
    /// How it may be mended.
    pub hints: Vec<String>,
    /// The file it is about.
    pub file: String,
    /// Bytes of the generated document, where it leads there.
    pub in_main: Option<Range<usize>>,
    /// The text of the generated document there.
    pub text: String,
    /// File and bytes in the layout or another file of the template, where it leads there.
    pub in_template: Option<(String, Range<usize>)>,
}

impl Problem {
    /// A problem without a place.
    pub fn saying(message: impl Into<String>) -> Self {
        Problem { message: message.into(), ..Problem::default() }
    }
}

/// Whoever sets a report.
pub trait Press {
    /// The bytes of the PDF.
    ///
    /// # Errors
    ///
    /// Why it could not be set.
    fn set(&self, job: &Job) -> Result<Vec<u8>, Vec<Problem>>;
}

/// Sets in this process, without limits: for layouts that are shipped.
#[derive(Clone, Copy, Debug, Default)]
pub struct InProcess;

impl Press for InProcess {
    fn set(&self, job: &Job) -> Result<Vec<u8>, Vec<Problem>> {
        let outcome = set(job);
        comemo::evict(1);
        outcome
    }
}

/// What every report shares.
pub(super) struct Desk {
    library: LazyHash<Library>,
    pub(super) fonts: FontStore,
}

pub(super) static DESK: LazyLock<Desk> = LazyLock::new(|| {
    let mut fonts = FontStore::new();
    fonts.extend(typst_kit::fonts::embedded());
    // Row heads of tables are marked up through functions behind this feature.
    let features = [Feature::A11yExtras].into_iter().collect();
    let library = LazyHash::new(Library::builder().with_features(features).build());
    Desk { library, fonts }
});

/// Forgets what the typesetter has not used for so many rounds.
pub(super) fn evict(most_age: usize) {
    comemo::evict(most_age);
}

/// The files of one report.
pub(super) struct Report {
    main: FileId,
    sources: HashMap<FileId, File>,
    files: HashMap<FileId, Bytes>,
    /// Files of the program itself, at whose places nobody can mend anything.
    own: Vec<FileId>,
}

impl Report {
    pub(super) fn new(job: &Job) -> Option<Self> {
        Report::after(job, HashMap::new())
    }

    /// The files of the next version: a text that was there before is changed where it differs, so that the
    /// typesetter knows again what stayed.
    pub(super) fn next(self, job: &Job) -> Option<Self> {
        Report::after(job, self.sources)
    }

    fn after(job: &Job, mut before: HashMap<FileId, File>) -> Option<Self> {
        let mut source = |id: FileId, text: &str| match before.remove(&id) {
            Some(mut file) => {
                file.replace(text);
                file
            }
            None => File::new(id, text.to_owned()),
        };
        let main = id(MAIN_PATH)?;
        let (layout, parts) = (id(LAYOUT_PATH)?, id(PARTS_PATH)?);
        let mut sources = HashMap::from([
            (main, source(main, &job.main)),
            (layout, source(layout, &job.layout)),
            (parts, source(parts, &job.parts)),
        ]);
        let mut files = HashMap::new();
        for (path, bytes) in &job.files {
            let id = id(path)?;
            if path.ends_with(".typ")
                && !sources.contains_key(&id)
                && let Ok(text) = std::str::from_utf8(bytes)
            {
                sources.insert(id, source(id, text));
            }
            files.insert(id, Bytes::new(bytes.clone()));
        }
        let own = if job.foreign { vec![main, parts] } else { vec![main, parts, layout] };
        Some(Report { main, sources, files, own })
    }
}

/// The typesetter's id of a path.
fn id(path: &str) -> Option<FileId> {
    Some(RootedPath::new(VirtualRoot::Project, VirtualPath::new(path).ok()?).intern())
}

/// The path of an id, without a slash before it.
fn path_of(id: FileId) -> String {
    id.vpath().get_without_slash().to_owned()
}

impl World for Report {
    fn library(&self) -> &LazyHash<Library> {
        &DESK.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        DESK.fonts.book()
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<File> {
        self.sources.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if let Some(probed) = super::probes::passed(&path_of(id)) {
            return Ok(probed);
        }
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        DESK.fonts.font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

fn set(job: &Job) -> Result<Vec<u8>, Vec<Problem>> {
    let saying = |message: &str| vec![Problem::saying(message)];
    let report = Report::new(job).ok_or_else(|| saying("a path that it cannot name"))?;
    let document =
        typst::compile::<PagedDocument>(&report).output.map_err(|errors| problems(errors, &report))?;
    let standards = PdfStandards::new(&[PdfStandard::A_3a, PdfStandard::Ua_1])
        .map_err(|error| saying(error.message()))?;
    let options = PdfOptions {
        ident: Smart::Custom(job.ident.clone()),
        creator: Smart::Custom(Some(format!("Reweigh {}", env!("CARGO_PKG_VERSION")))),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|errors| problems(errors, &report))
}

pub(super) fn problems(
    diagnostics: impl IntoIterator<Item = SourceDiagnostic>,
    report: &Report,
) -> Vec<Problem> {
    diagnostics.into_iter().map(|diagnostic| problem(&diagnostic, report)).collect()
}

/// A diagnostic with its place, or that of the call that led to it: in the generated document, and in a file of
/// the template.
fn problem(diagnostic: &SourceDiagnostic, report: &Report) -> Problem {
    let own = (diagnostic.span.id(), report.range(diagnostic.span));
    let calls = diagnostic.trace.iter().map(|point| (point.span.id(), report.range(point.span)));
    let places: Vec<(Option<FileId>, Option<Range<usize>>)> = std::iter::once(own).chain(calls).collect();
    let in_main =
        places.iter().filter(|(id, _)| *id == Some(report.main)).find_map(|(_, range)| range.clone());
    let in_template = places.iter().find_map(|(id, range)| {
        let id = id.filter(|id| !report.own.contains(id))?;
        Some((path_of(id), range.clone()?))
    });
    let main = report.sources.get(&report.main);
    let text = in_main.clone().and_then(|place| main.and_then(|main| main.text().get(place)));
    Problem {
        message: diagnostic.message.to_string(),
        hints: diagnostic.hints.iter().map(|hint| hint.v.to_string()).collect(),
        file: diagnostic.span.id().map_or(String::new(), path_of),
        text: text.unwrap_or_default().to_owned(),
        in_main,
        in_template,
    }
}

/// Whether a path of a template's file is one that the program itself gives to every report.
pub(super) fn is_taken(path: &str) -> bool {
    matches!(path, MAIN_PATH | LAYOUT_PATH | PARTS_PATH | RESULTS_PATH)
        || ["attached/", "pictures/", "signs/", "probe/"].iter().any(|folder| path.starts_with(folder))
}
