//! The files of a document as the typesetter sees them, from one version to the next.
//!
//! Each statement of a version has a file of its own, and what was there before is kept or changed only where it differs: so
//! the typesetter knows again what stayed.

use super::job::Job;
use super::layouts::PARTS_PATH;
use super::source::{LAYOUT_PATH, MAIN_PATH};
use std::collections::{HashMap, HashSet, VecDeque};
use std::ops::Range;
use std::sync::{Arc, LazyLock, OnceLock};
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source as File, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World};
use typst_kit::fonts::FontStore;

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

/// The files of one report.
pub(super) struct Report {
    main: FileId,
    /// Files of the program itself, at whose places nobody can mend anything.
    pub(super) own: Vec<FileId>,
    /// The generated document.
    pub(super) document: String,
    kept: Kept,
}

/// A file of code. It is read into a tree when the typesetter asks for it: what is not in view is asked for only once
/// what is has been shown.
pub(super) struct Code {
    id: FileId,
    text: String,
    /// The file of the version before: only what differs from it is read anew.
    before: Option<File>,
    file: OnceLock<File>,
}

impl Code {
    fn new(id: FileId, text: &str, before: Option<&Code>) -> Self {
        let before = before.and_then(|code| code.file.get().or(code.before.as_ref())).cloned();
        Code { id, text: text.to_owned(), before, file: OnceLock::new() }
    }

    pub(super) fn id(&self) -> FileId {
        self.id
    }

    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// The file, read.
    fn file(&self) -> File {
        let read = || match self.before.clone() {
            Some(mut file) => {
                file.replace(&self.text);
                file
            }
            None => File::new(self.id, self.text.clone()),
        };
        self.file.get_or_init(read).clone()
    }
}

/// Files from one version of a report to the next.
#[derive(Default)]
struct Kept {
    sources: HashMap<FileId, Arc<Code>>,
    files: HashMap<FileId, Bytes>,
    /// Where in the document each statement stands that is a file of its own.
    statements: HashMap<FileId, Range<usize>>,
}

impl Report {
    pub(super) fn new(job: &Job) -> Option<Self> {
        let main = id(MAIN_PATH)?;
        let mut kept = Kept::default();
        kept.sources.insert(main, Arc::new(Code::new(main, &job.main, None)));
        Report::with_files(main, job, kept, Kept::default())
    }

    /// The files of the next version. Each statement of the document has a file of its own, and what was there before
    /// is kept or changed only where it differs: so the typesetter knows again what stayed.
    pub(super) fn after(before: Option<Report>, job: &Job) -> Option<Self> {
        let mut before = before.map(|report| report.kept).unwrap_or_default();
        let main = id(MAIN_PATH)?;
        let mut kept = Kept::default();
        for (range, code) in job.statements.iter().zip(before.statement_files(job)?) {
            kept.statements.insert(code.id, range.clone());
            kept.sources.insert(code.id, code);
        }
        let text = kept.with_statements(&job.main, usize::MAX)?;
        kept.sources.insert(main, before.changed(main, &text));
        Report::with_files(main, job, kept, before)
    }

    /// The report with the first so many statements of its body, some of them replaced by others.
    pub(super) fn beginning<'a>(
        &'a self,
        statements: usize,
        instead: &'a HashMap<FileId, Arc<Code>>,
    ) -> Option<Beginning<'a>> {
        let text = self.kept.with_statements(&self.document, statements)?;
        let main = Code::new(self.main, &text, self.kept.sources.get(&self.main).map(Arc::as_ref));
        Some(Beginning { report: self, main, instead })
    }

    /// The files of its statements, in the order of the document.
    pub(super) fn statements(&self) -> Vec<Arc<Code>> {
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
    pub(super) fn in_document(
        &self,
        id: Option<FileId>,
        range: Option<&Range<usize>>,
    ) -> Option<Range<usize>> {
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
    fn changed(&mut self, id: FileId, text: &str) -> Arc<Code> {
        match self.sources.remove(&id) {
            Some(code) if code.text == text => code,
            before => Arc::new(Code::new(id, text, before.as_deref())),
        }
    }

    /// A file for every statement of a document: the one with the same text, else one that is no longer wanted, else a
    /// new one.
    fn statement_files(&mut self, job: &Job) -> Option<Vec<Arc<Code>>> {
        let text = |range: &Range<usize>| Some(format!("{STATEMENT}{}}}", job.main.get(range.clone())?));
        let texts: Vec<String> = job.statements.iter().map(text).collect::<Option<_>>()?;
        let mut known: HashMap<&str, VecDeque<FileId>> = HashMap::new();
        let standing: Vec<FileId> = self.in_order().into_iter().map(|(id, _)| *id).collect();
        for id in &standing {
            known.entry(&self.sources.get(id)?.text).or_default().push_back(*id);
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
pub(super) fn path_of(id: FileId) -> String {
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
        self.kept.sources.get(&id).map(|code| code.file()).ok_or(FileError::AccessDenied)
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
    main: Code,
    instead: &'a HashMap<FileId, Arc<Code>>,
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
            _ if id == self.report.main => Ok(self.main.file()),
            Some(code) => Ok(code.file()),
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
