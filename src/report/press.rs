//! What the typesetter is given, and what comes back: plain data, so that another process can do the work.
//!
//! A layout that is not shipped is a program by someone else. It can ask for no file but those of its job, it has
//! no clock and no network; but it can run for long or ask for much memory. [`Press`] is where such limits go:
//! the command line sets foreign layouts in a process of their own.

use super::layouts::{PARTS_PATH, RESULTS_PATH};
use super::source::{LAYOUT_PATH, MAIN_PATH};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap, HashSet, VecDeque};
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
    /// The statements of its body ([`super::Source::statements`]).
    pub statements: Vec<Range<usize>>,
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
        let texts = (&self.main, &self.layout, &self.parts);
        let head = (texts, &self.statements, &self.ident, self.foreign, lengths);
        let mut bytes = serde_json::to_vec(&head).unwrap_or_default();
        bytes.push(b'\n');
        self.files.values().for_each(|file| bytes.extend_from_slice(file));
        bytes
    }

    /// The job that [`Job::to_bytes`] wrote; `None` where the bytes are something else.
    pub fn from_bytes(bytes: &[u8]) -> Option<Job> {
        type Head = ((String, String, String), Vec<Range<usize>>, String, bool, Vec<(String, usize)>);
        let end = bytes.iter().position(|byte| *byte == b'\n')?;
        let (texts, statements, ident, foreign, lengths): Head =
            serde_json::from_slice(bytes.get(..end)?).ok()?;
        let (main, layout, parts) = texts;
        let mut rest = bytes.get(end + 1..)?;
        let mut files = BTreeMap::new();
        for (path, length) in lengths {
            files.insert(path, rest.get(..length)?.to_vec());
            rest = rest.get(length..)?;
        }
        Some(Job { main, statements, layout, parts, files, ident, foreign })
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
    /// Files of the program itself, at whose places nobody can mend anything.
    own: Vec<FileId>,
    /// The generated document.
    document: String,
    kept: Kept,
}

/// Files from one version of a report to the next.
#[derive(Default)]
struct Kept {
    sources: HashMap<FileId, File>,
    files: HashMap<FileId, Bytes>,
    /// Where in the document each statement stands that is a file of its own.
    statements: HashMap<FileId, Range<usize>>,
}

impl Report {
    pub(super) fn new(job: &Job) -> Option<Self> {
        let main = id(MAIN_PATH)?;
        let mut kept = Kept::default();
        kept.sources.insert(main, File::new(main, job.main.clone()));
        Report::with_files(main, job, kept, Kept::default())
    }

    /// The files of the next version. Each statement of the document has a file of its own, and what was there before
    /// is kept or changed only where it differs: so the typesetter knows again what stayed.
    pub(super) fn after(before: Option<Report>, job: &Job) -> Option<Self> {
        let mut before = before.map(|report| report.kept).unwrap_or_default();
        let main = id(MAIN_PATH)?;
        let mut kept = Kept::default();
        for (range, file) in job.statements.iter().zip(before.statement_files(job)?) {
            kept.statements.insert(file.id(), range.clone());
            kept.sources.insert(file.id(), file);
        }
        let text = kept.with_statements(&job.main, usize::MAX)?;
        kept.sources.insert(main, before.changed(main, &text));
        Report::with_files(main, job, kept, before)
    }

    /// The report with the first so many statements of its body, some of them replaced by others.
    pub(super) fn beginning(
        &self,
        statements: usize,
        instead: HashMap<FileId, File>,
    ) -> Option<Beginning<'_>> {
        let text = self.kept.with_statements(&self.document, statements)?;
        let mut main = self.kept.sources.get(&self.main)?.clone();
        main.replace(&text);
        Some(Beginning { report: self, main, instead })
    }

    /// The files of its statements, in the order of the document.
    pub(super) fn statements(&self) -> Vec<File> {
        let files = self.kept.in_order().into_iter();
        files.filter_map(|(id, _)| self.kept.sources.get(id).cloned()).collect()
    }

    /// Adds the files of a job besides the document.
    fn with_files(main: FileId, job: &Job, mut kept: Kept, mut before: Kept) -> Option<Self> {
        let (layout, parts) = (id(LAYOUT_PATH)?, id(PARTS_PATH)?);
        kept.sources.insert(layout, before.changed(layout, &job.layout));
        kept.sources.insert(parts, before.changed(parts, &job.parts));
        for (path, bytes) in &job.files {
            let id = id(path)?;
            if path.ends_with(".typ")
                && !kept.sources.contains_key(&id)
                && let Ok(text) = std::str::from_utf8(bytes)
            {
                kept.sources.insert(id, before.changed(id, text));
            }
            let same = before.files.remove(&id).filter(|known| known.as_slice() == bytes.as_slice());
            kept.files.insert(id, same.unwrap_or_else(|| Bytes::new(bytes.clone())));
        }
        let mut own: Vec<FileId> = kept.statements.keys().copied().chain([main, parts]).collect();
        own.extend((!job.foreign).then_some(layout));
        Some(Report { main, own, document: job.main.clone(), kept })
    }

    /// Bytes of the generated document for bytes of one of its files.
    fn in_document(&self, id: Option<FileId>, range: Option<&Range<usize>>) -> Option<Range<usize>> {
        let (id, range) = (id?, range?);
        if let Some(statement) = self.kept.statements.get(&id) {
            let at =
                |byte: usize| (statement.start + byte.saturating_sub(STATEMENT.len())).min(statement.end);
            return Some(at(range.start)..at(range.end));
        }
        (id == self.main && self.kept.statements.is_empty()).then(|| range.clone())
    }
}

/// What a file of one statement begins with: the layout, and a mark that says where the statement has come to stand.
const STATEMENT: &str = "#import \"report.typ\" as layout;#{\nmetadata(\"statement\")\n";
/// The mark.
pub(super) const STATEMENT_MARK: &str = "statement";

impl Kept {
    /// The document with a file for each of its first so many statements, and without the others.
    fn with_statements(&self, document: &str, most: usize) -> Option<String> {
        let (mut text, mut at) = (String::new(), 0);
        for (number, (id, range)) in self.in_order().into_iter().enumerate() {
            text.push_str(document.get(at..range.start)?);
            if number < most {
                text.push_str(&format!("include {}\n", super::code::string(&path_of(*id))));
            } else if number == most {
                text.push_str("pagebreak()\n");
            }
            at = range.end;
        }
        text.push_str(document.get(at..)?);
        Some(text)
    }

    /// The files of the statements and where each stands in the document, in its order.
    fn in_order(&self) -> Vec<(&FileId, &Range<usize>)> {
        let mut statements: Vec<(&FileId, &Range<usize>)> = self.statements.iter().collect();
        statements.sort_unstable_by_key(|(_, range)| range.start);
        statements
    }

    /// Takes a text out of the files, changed into this one.
    fn changed(&mut self, id: FileId, text: &str) -> File {
        match self.sources.remove(&id) {
            Some(mut file) => {
                file.replace(text);
                file
            }
            None => File::new(id, text.to_owned()),
        }
    }

    /// A file for every statement of a document: the one with the same text, else one that is no longer wanted, else a
    /// new one.
    fn statement_files(&mut self, job: &Job) -> Option<Vec<File>> {
        let text = |range: &Range<usize>| Some(format!("{STATEMENT}{}}}", job.main.get(range.clone())?));
        let texts: Vec<String> = job.statements.iter().map(text).collect::<Option<_>>()?;
        let mut known: HashMap<&str, VecDeque<FileId>> = HashMap::new();
        let standing: Vec<FileId> = self.in_order().into_iter().map(|(id, _)| *id).collect();
        for id in &standing {
            known.entry(self.sources.get(id)?.text()).or_default().push_back(*id);
        }
        let same: Vec<Option<FileId>> =
            texts.iter().map(|text| known.get_mut(text.as_str())?.pop_front()).collect();
        let stays: HashSet<FileId> = same.iter().flatten().copied().collect();
        let mut left = standing.iter().filter(|id| !stays.contains(id));
        let fresh = (0..).filter_map(|number| id(&format!("main-{number}.typ")));
        let mut fresh = fresh.filter(|id| !standing.contains(id));
        let files = same.into_iter().zip(&texts).map(|(same, text)| {
            let id = same.or_else(|| left.next().copied()).or_else(|| fresh.next())?;
            Some(self.changed(id, text))
        });
        files.collect()
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
        self.kept.sources.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if let Some(probed) = super::probes::passed(&path_of(id)) {
            return Ok(probed);
        }
        self.kept.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        DESK.fonts.font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// A report that ends early.
pub(super) struct Beginning<'a> {
    report: &'a Report,
    main: File,
    instead: HashMap<FileId, File>,
}

impl World for Beginning<'_> {
    fn library(&self) -> &LazyHash<Library> {
        self.report.library()
    }

    fn book(&self) -> &LazyHash<FontBook> {
        self.report.book()
    }

    fn main(&self) -> FileId {
        self.report.main
    }

    fn source(&self, id: FileId) -> FileResult<File> {
        match self.instead.get(&id) {
            _ if id == self.report.main => Ok(self.main.clone()),
            Some(file) => Ok(file.clone()),
            None => self.report.source(id),
        }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.report.file(id)
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.report.font(index)
    }

    fn today(&self, offset: Option<Duration>) -> Option<Datetime> {
        self.report.today(offset)
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
    let in_main = places.iter().find_map(|(id, range)| report.in_document(*id, range.as_ref()));
    let in_template = places.iter().find_map(|(id, range)| {
        let id = id.filter(|id| !report.own.contains(id))?;
        Some((path_of(id), range.clone()?))
    });
    let text = in_main.clone().and_then(|place| report.document.get(place));
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
    let is_statement = path.starts_with("main-") && path.ends_with(".typ");
    is_statement
        || matches!(path, MAIN_PATH | LAYOUT_PATH | PARTS_PATH | RESULTS_PATH)
        || ["attached/", "pictures/", "signs/", "probe/"].iter().any(|folder| path.starts_with(folder))
}
