//! Setting the generated document as a PDF, in process and without the outside world.
//!
//! Fonts and the typesetter's library are set up once per process. A report's files (the generated
//! document, the layout, its images and attachments) are given to the typesetter from memory; it can ask
//! for nothing else. There is no clock: dates come from the notebook.

use std::collections::HashMap;
use std::sync::LazyLock;

use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::layout::Abs;
use typst::syntax::{FileId, RootedPath, Source as File, VirtualPath, VirtualRoot};
use typst::text::{
    Font, FontBook, FontInstance, FontStretch, FontStyle, FontVariant, FontVariations, FontWeight,
};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World, WorldExt};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use super::PLAIN_LAYOUT;
use super::attachment::{Attachment, distinct};
use super::images::{Picture, Pictures};
use super::source::{LAYOUT_PATH, MAIN_PATH, Means, Source, attachment_path, typst_source};
use super::words::Glyph;
use crate::evaluation::results::Results;
use crate::files::Files;
use crate::finding::{Code, Finding};
use crate::notebook::Notebook;
use crate::template::Template;

/// A report.
#[derive(Clone, Debug)]
pub struct Pdf {
    /// The file.
    pub bytes: Vec<u8>,
    /// What was found while it was made, beyond the findings of the results.
    pub findings: Vec<Finding>,
}

/// Sets the report of a notebook.
///
/// The attachments are the caller's (the notebook's bytes, the results file); files that the notebook names
/// and this room reads are added to them.
///
/// # Errors
///
/// The findings that say why the typesetter could not set the document ([`Code::LayoutFailed`]).
pub fn pdf(
    notebook: &Notebook,
    results: &Results,
    attachments: &[Attachment],
    files: &dyn Files,
) -> Result<Pdf, Vec<Finding>> {
    pdf_with(notebook, results, attachments, files, None)
}

/// Sets the report of a notebook that a template was applied to: with its cautions, and its files attached.
///
/// # Errors
///
/// As [`pdf`].
pub fn pdf_with(
    notebook: &Notebook,
    results: &Results,
    attachments: &[Attachment],
    files: &dyn Files,
    template: Option<&Template>,
) -> Result<Pdf, Vec<Finding>> {
    let mut pictures = Pictures::of(notebook, files);
    let read: Vec<Attachment> =
        pictures.read().map(|picture| Attachment::file(&picture.name, picture.bytes.clone())).collect();
    let beside = notebook.files.iter().map(|(name, bytes)| Attachment::file(name, bytes.clone()));
    let attachments = distinct(
        attachments.iter().cloned().chain(of_template(template)).chain(beside).chain(read).collect(),
    );
    let outcome = loop {
        let means = Means { pictures: &pictures, attachments: &attachments, glyph: &glyph, template };
        let source = typst_source(notebook, results, &means);
        match set(&source, &pictures, &attachments, &results.sha256) {
            Ok(bytes) => break Ok(Pdf { bytes, findings: source.findings }),
            Err(failure) => {
                if !refuse_picture(&mut pictures, &failure) {
                    break Err(failure.findings(&source));
                }
            }
        }
    };
    comemo::evict(1);
    outcome
}

/// The template's files, as attachments: `hydrate.method.md`. Nothing of `marking/` is among them.
fn of_template(template: Option<&Template>) -> impl Iterator<Item = Attachment> {
    let files = template.into_iter().flat_map(|template| {
        template
            .files
            .iter()
            .map(move |(path, bytes)| (format!("{}.{}", template.id, path.replace('/', ".")), bytes))
    });
    files.map(|(name, bytes)| Attachment::file(&name, bytes.clone()))
}

/// Whether the built-in fonts have a character and an archived PDF may hold it.
pub fn glyph(c: char) -> Glyph {
    if matches!(c, ' '..='~') {
        return Glyph::Everywhere;
    }
    let private = matches!(c as u32, 0xE000..=0xF8FF | 0xF0000..=0xFFFFD | 0x100000..=0x10FFFD);
    let forbidden =
        c.is_control() || matches!(c, '\u{FEFF}' | '\u{FFFE}' | '\u{FFFC}' | '\u{2028}' | '\u{2029}');
    let has = |families: &Vec<FontInstance>| {
        families.iter().any(|font| font.ttf().glyph_index(c).is_some_and(|glyph| glyph.0 != 0))
    };
    match STYLE_FONTS.as_slice() {
        _ if private || forbidden => Glyph::Missing,
        styles if styles.iter().all(has) => Glyph::Everywhere,
        [upright, ..] if has(upright) && !is_joining(c) => Glyph::Upright,
        _ => Glyph::Missing,
    }
}

/// Marks and letters that take their form from their neighbours cannot stand alone in another style:
/// combining marks, and the scripts from Arabic on that join or stack their letters.
fn is_joining(c: char) -> bool {
    matches!(c as u32, 0x300..=0x36F | 0x483..=0x489 | 0x591..=0x5C7 | 0x600..=0xDFF | 0x1AB0..=0x1AFF
        | 0x1DC0..=0x1DFF | 0x200B..=0x200F | 0x20D0..=0x20FF | 0xFB50..=0xFDFF | 0xFE00..=0xFE2F
        | 0xFE70..=0xFEFE | 0x102E0)
}

/// What every report shares.
struct Desk {
    library: LazyHash<Library>,
    fonts: FontStore,
}

static DESK: LazyLock<Desk> = LazyLock::new(|| {
    let mut fonts = FontStore::new();
    fonts.extend(typst_kit::fonts::embedded());
    // Row heads of tables are marked up through functions behind this feature.
    let features = [Feature::A11yExtras].into_iter().collect();
    let library = LazyHash::new(Library::builder().with_features(features).build());
    Desk { library, fonts }
});

/// The fonts of every family, for each style; looked at only where a text leaves ASCII.
static STYLE_FONTS: LazyLock<Vec<Vec<FontInstance>>> =
    LazyLock::new(|| STYLES.iter().map(|style| families(&DESK.fonts, *style)).collect());

/// The font of every family in one style, as the typesetter chooses it.
fn families(fonts: &FontStore, (style, weight): (FontStyle, FontWeight)) -> Vec<FontInstance> {
    let variant = FontVariant::new(style, weight, FontStretch::NORMAL);
    let chosen = FAMILIES.iter().filter_map(|family| fonts.book().select(family, variant));
    let instance = |font: Font| font.instantiate(variant, Abs::pt(10.0), &FontVariations::default());
    chosen.filter_map(|index| fonts.font(index)).map(instance).collect()
}

/// The families a report is set in, in the order they are asked for a character (as in the layout).
const FAMILIES: [&str; 3] = ["libertinus serif", "new computer modern math", "dejavu sans mono"];

/// The styles a report uses.
const STYLES: [(FontStyle, FontWeight); 6] = [
    (FontStyle::Normal, FontWeight::REGULAR),
    (FontStyle::Normal, FontWeight::SEMIBOLD),
    (FontStyle::Normal, FontWeight::BOLD),
    (FontStyle::Italic, FontWeight::REGULAR),
    (FontStyle::Italic, FontWeight::SEMIBOLD),
    (FontStyle::Italic, FontWeight::BOLD),
];

/// The files of one report.
struct Report {
    main: FileId,
    sources: HashMap<FileId, File>,
    files: HashMap<FileId, Bytes>,
}

impl Report {
    fn new(source: &Source, pictures: &Pictures, attachments: &[Attachment]) -> Option<Self> {
        let main = id(MAIN_PATH)?;
        let layout = id(LAYOUT_PATH)?;
        let sources = HashMap::from([
            (main, File::new(main, source.main.clone())),
            (layout, File::new(layout, PLAIN_LAYOUT.to_owned())),
        ]);
        let mut files = HashMap::new();
        for picture in pictures.read() {
            files.insert(id(&picture.path)?, Bytes::new(picture.bytes.clone()));
        }
        for (number, attachment) in attachments.iter().enumerate() {
            files.insert(id(&attachment_path(number))?, Bytes::new(attachment.bytes.clone()));
        }
        Some(Report { main, sources, files })
    }
}

/// The typesetter's id of a path. The paths are ours and few, so they are always good.
fn id(path: &str) -> Option<FileId> {
    Some(RootedPath::new(VirtualRoot::Project, VirtualPath::new(path).ok()?).intern())
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
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        DESK.fonts.font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// Why a document was not set: messages, and the places of the generated document they are about.
struct Failure(Vec<Problem>);

struct Problem {
    message: String,
    hints: Vec<String>,
    /// Bytes of the generated document.
    place: Option<std::ops::Range<usize>>,
    /// The text at the place.
    text: String,
    /// The path of the file it is about.
    file: String,
}

impl Failure {
    fn saying(message: &str) -> Self {
        Failure(vec![Problem {
            message: message.to_owned(),
            hints: Vec::new(),
            place: None,
            text: String::new(),
            file: String::new(),
        }])
    }

    fn of(diagnostics: impl IntoIterator<Item = SourceDiagnostic>, report: &Report) -> Self {
        Failure(diagnostics.into_iter().map(|diagnostic| problem(&diagnostic, report)).collect())
    }

    fn findings(self, source: &Source) -> Vec<Finding> {
        let finding = |problem: Problem| {
            let place = problem.place.and_then(|place| source.notebook_place(place.start));
            let message = format!("the typesetter could not set the report: {}", problem.message);
            let finding = Finding::error(Code::LayoutFailed, place, message);
            problem.hints.into_iter().fold(finding, Finding::hint)
        };
        self.0.into_iter().map(finding).collect()
    }
}

/// A diagnostic with its place in the generated document: its own, or that of the call that led to it.
fn problem(diagnostic: &SourceDiagnostic, report: &Report) -> Problem {
    let own = (diagnostic.span.id() == Some(report.main)).then(|| report.range(diagnostic.span)).flatten();
    let called = || {
        let in_main = diagnostic.trace.iter().filter(|point| point.span.id() == Some(report.main));
        in_main.filter_map(|point| report.range(point.span)).next()
    };
    let place = own.or_else(called);
    let main = report.sources.get(&report.main);
    let text = place.clone().and_then(|place| main.and_then(|main| main.text().get(place)));
    Problem {
        message: diagnostic.message.to_string(),
        hints: diagnostic.hints.iter().map(|hint| hint.v.to_string()).collect(),
        place,
        text: text.unwrap_or_default().to_owned(),
        file: diagnostic.span.id().map_or(String::new(), |id| id.vpath().get_without_slash().to_owned()),
    }
}

/// Takes the first image that is at fault out of the pictures; says whether there was one.
fn refuse_picture(pictures: &mut Pictures, failure: &Failure) -> bool {
    for problem in &failure.0 {
        let at_fault = |picture: &&Picture| {
            problem.file == picture.path || problem.text.contains(&format!("\"{}\"", picture.path))
        };
        let named = pictures.read().find(at_fault);
        if let Some(path) = named.map(|picture| picture.path.clone()) {
            return pictures.refuse(&path, &problem.message);
        }
    }
    false
}

fn set(
    source: &Source,
    pictures: &Pictures,
    attachments: &[Attachment],
    ident: &str,
) -> Result<Vec<u8>, Failure> {
    let report =
        Report::new(source, pictures, attachments).ok_or_else(|| Failure::saying("a path it cannot name"))?;
    let document =
        typst::compile::<PagedDocument>(&report).output.map_err(|errors| Failure::of(errors, &report))?;
    let standards = PdfStandards::new(&[PdfStandard::A_3a, PdfStandard::Ua_1])
        .map_err(|error| Failure::saying(error.message()))?;
    let options = PdfOptions {
        ident: Smart::Custom(ident.to_owned()),
        creator: Smart::Custom(Some(format!("Reweigh {}", env!("CARGO_PKG_VERSION")))),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|errors| Failure::of(errors, &report))
}
