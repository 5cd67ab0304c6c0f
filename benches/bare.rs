//! The other side of a report: the bare typesetter's library, given the generated documents and nothing else to do.
//!
//! `bare jobs FOLDER NOTEBOOK …` keeps what the program would hand to the typesetter; this is not measured.
//! `bare set JOB OUTPUT` sets one of these in a process of its own; `bare many FOLDER OUTPUT` sets all of a folder on every
//! core, one after the other in a process that is warm; `bare phases JOB` tells what the parts of the first take. Standards
//! and attachments are those of a report.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::time::Instant;

use rayon::prelude::*;
use reweigh::evaluation::results_file;
use reweigh::files::Folder;
use reweigh::report::press::{Job, Press, Problem};
use reweigh::report::{Attachment, pdf_with};
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

/// As in the program.
#[cfg(not(target_env = "msvc"))]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| {
    let features = [Feature::A11yExtras].into_iter().collect();
    LazyHash::new(Library::builder().with_features(features).build())
});

static FONTS: LazyLock<FontStore> = LazyLock::new(|| {
    let mut fonts = FontStore::new();
    fonts.extend(typst_kit::fonts::embedded());
    fonts
});

struct Bare {
    main: FileId,
    sources: HashMap<FileId, Source>,
    files: HashMap<FileId, Bytes>,
}

fn id(path: &str) -> FileId {
    let path = VirtualPath::new(path).expect("paths of a job are plain");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

impl Bare {
    fn of(job: &Job) -> Bare {
        let texts = [("main.typ", &job.main), ("report.typ", &job.layout), ("parts.typ", &job.parts)];
        let sources = texts.map(|(path, text)| (id(path), Source::new(id(path), text.clone())));
        let files = job.files.iter().map(|(path, bytes)| (id(path), Bytes::new(bytes.clone())));
        Bare { main: id("main.typ"), sources: HashMap::from(sources), files: files.collect() }
    }

    fn document(&self) -> PagedDocument {
        typst::compile::<PagedDocument>(self).output.expect("the document is sound")
    }

    fn pdf(&self, document: &PagedDocument) -> Vec<u8> {
        let standards =
            PdfStandards::new(&[PdfStandard::A_3a, PdfStandard::Ua_1]).expect("standards that go together");
        let options =
            PdfOptions { ident: Smart::Custom("bare".to_owned()), standards, ..PdfOptions::default() };
        typst_pdf::pdf(document, &options).expect("the document keeps to the standards")
    }
}

impl World for Bare {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        FONTS.book()
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        self.sources.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// Keeps the job instead of setting it.
struct Keep(PathBuf);

impl Press for Keep {
    fn set(&self, job: &Job) -> Result<Vec<u8>, Vec<Problem>> {
        std::fs::write(&self.0, job.to_bytes()).expect("the job can be written");
        Ok(Vec::new())
    }
}

fn keep(folder: &Path, notebook: &Path) {
    let bytes = std::fs::read(notebook).expect("the notebook can be read");
    let name = notebook.file_name().expect("a file").to_string_lossy().into_owned();
    let files = Folder::new(notebook.parent().expect("a folder"));
    let computed = reweigh::compute(&name, &bytes, &files);
    let results = results_file(&computed.results, &computed.notebook.text).into_bytes();
    let attached = [Attachment::source(&name, bytes), Attachment::results("results.json", results)];
    let press = Keep(folder.join(&name).with_extension("job"));
    let template = computed.template.as_deref();
    pdf_with(&computed.notebook, &computed.results, &attached, &files, template, &press)
        .expect("the report can be set");
}

fn read(job: &Path) -> Bare {
    let bytes = std::fs::read(job).expect("the job can be read");
    Bare::of(&Job::from_bytes(&bytes).expect("a job"))
}

fn set(job: &Path, output: &Path) {
    let bare = read(job);
    std::fs::write(output, bare.pdf(&bare.document())).expect("the PDF can be written");
}

/// Prints how long something takes.
fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let made = work();
    println!("{what}: {:.1} ms", start.elapsed().as_secs_f64() * 1e3);
    made
}

fn phases(job: &Path) {
    timed("loading the fonts", || LazyLock::force(&FONTS));
    timed("the typesetter's library", || LazyLock::force(&LIBRARY));
    let bare = read(job);
    let document = timed("setting the document, cold", || bare.document());
    timed("setting it again, warm", || read(job).document());
    timed("writing the PDF", || bare.pdf(&document));
}

fn many(folder: &Path, output: &Path) {
    let entries = std::fs::read_dir(folder).expect("a folder of jobs");
    let mut jobs: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    jobs.sort();
    jobs.par_iter().for_each(|job| {
        let name = Path::new(job.file_name().expect("a file")).with_extension("pdf");
        set(job, &output.join(name));
        comemo::evict(1);
    });
}

fn main() {
    let arguments: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let arguments: Vec<&Path> = arguments.iter().map(PathBuf::as_path).collect();
    match arguments.as_slice() {
        [what, folder, notebooks @ ..] if *what == Path::new("jobs") => {
            notebooks.iter().for_each(|notebook| keep(folder, notebook));
        }
        [what, job] if *what == Path::new("phases") => phases(job),
        [what, job, output] if *what == Path::new("set") => set(job, output),
        [what, folder, output] if *what == Path::new("many") => many(folder, output),
        _ => panic!(
            "bare jobs FOLDER NOTEBOOK … | bare set JOB OUTPUT | bare many FOLDER OUTPUT | bare phases JOB"
        ),
    }
}
