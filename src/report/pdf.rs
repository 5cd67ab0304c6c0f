//! The report as a PDF: the generated document, its layout, images and attachments, handed to the typesetter.
//!
//! A report's files are given to the typesetter from memory ([`super::press`]); it can ask for nothing else. There is no
//! clock: dates come from the notebook.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use typst::layout::Abs;
use typst::text::{Font, FontInstance, FontStretch, FontStyle, FontVariant, FontVariations, FontWeight};
use typst_kit::fonts::FontStore;

use super::PLAIN_LAYOUT;
use super::attachment::{Attachment, every};
use super::images::{Picture, Pictures};
use super::layouts::{self, Layout, RESULTS_PATH, SIGNS};
use super::pages::Page;
use super::press::{InProcess, Job, Press, Problem, is_taken};
use super::source::{Means, Source, attachment_path, marked_typst_source, typst_source};
use super::versions::DESK;
use super::words::Glyph;
use crate::evaluation::results::Results;
use crate::evaluation::results_file;
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
    pdf_with(notebook, results, attachments, files, None, &InProcess)
}

/// Sets the report of a notebook that a template was applied to: with its cautions, in its layout, and with its
/// files attached. `press` sets it: a layout that is not shipped belongs into one with limits on time and memory.
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
    press: &dyn Press,
) -> Result<Pdf, Vec<Finding>> {
    let mut pictures = Pictures::of(notebook, files);
    let attachments = every(notebook, attachments, &pictures, template);
    let set = &mut |job: &Job| press.set(job);
    let document = typst_source;
    let (bytes, findings) =
        set_with(notebook, results, &attachments, &mut pictures, template, document, set)?;
    Ok(Pdf { bytes, findings })
}

/// Whoever makes pages of a job.
pub type SetPages<'a> = dyn FnMut(&Job) -> Result<Vec<Page>, Vec<Problem>> + 'a;

/// The pages of a report in which every value says what it is, as `set` makes them, and what was found on the way. It
/// may be asked for them more than once, each time with one unusable picture fewer. Nothing is attached.
///
/// # Errors
///
/// As [`pdf`].
pub fn pages_with(
    notebook: &Notebook,
    results: &Results,
    files: &dyn Files,
    template: Option<&Template>,
    set: &mut SetPages,
) -> Result<(Vec<Page>, Vec<Finding>), Vec<Finding>> {
    let mut pictures = Pictures::of(notebook, files);
    // A layout of one's own may read the results file; the plain one does not.
    let attachments: Vec<Attachment> = template
        .map(|_| results_file(results, &notebook.text).into_bytes())
        .map(|bytes| Attachment::results(RESULTS_PATH, bytes))
        .into_iter()
        .collect();
    set_with(notebook, results, &attachments, &mut pictures, template, marked_typst_source, set)
}

/// Sets a document with its pictures; one that is at fault is taken out and the rest set again.
fn set_with<T>(
    notebook: &Notebook,
    results: &Results,
    attachments: &[Attachment],
    pictures: &mut Pictures,
    template: Option<&Template>,
    document: fn(&Notebook, &Results, &Means) -> Source,
    set: &mut dyn FnMut(&Job) -> Result<T, Vec<Problem>>,
) -> Result<(T, Vec<Finding>), Vec<Finding>> {
    loop {
        let means = Means { pictures, attachments, glyph: &glyph, template };
        let source = document(notebook, results, &means);
        let job = job(&source, pictures, attachments, results, template);
        match set(&job) {
            Ok(done) => {
                let mut findings = source.findings;
                findings.extend(template.and_then(layouts::check));
                return Ok((done, findings));
            }
            Err(problems) => {
                if !refuse_picture(pictures, &problems) {
                    return Err(findings(problems, &source, template));
                }
            }
        }
    }
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

/// What a problem is about, as a finding: at its place in a file of the template, or in the notebook.
fn findings(problems: Vec<Problem>, source: &Source, template: Option<&Template>) -> Vec<Finding> {
    let finding = |problem: Problem| {
        let said = match problem.message.find(" would escape the project root") {
            Some(at) => format!("{} lies outside", &problem.message[..at]),
            None => problem.message.clone(),
        };
        let message = format!("the typesetter could not set the report: {said}");
        let place = problem.in_main.and_then(|place| source.notebook_place(place.start));
        let finding = Finding::error(Code::LayoutFailed, place, message);
        // What the typesetter says of roots and options is about another program.
        let outside = problem.message.contains("access denied") || problem.message.contains("project root");
        let own =
            "a layout can read the files of its template’s folder, `marking/` left out, and nothing else";
        let hints = if outside { vec![own.to_owned()] } else { problem.hints };
        let finding = hints.into_iter().fold(finding, Finding::hint);
        if let (Some(template), Some(mending)) = (template, layouts::mending(&problem.message)) {
            let finding = Finding { span: Some((0..0).into()), ..finding };
            let text = template.layout.as_deref().unwrap_or_default();
            return finding.hint(mending).in_text(&template.path(super::source::LAYOUT_PATH), text);
        }
        let lacks = problem.message.starts_with("module `report` does not contain");
        match (template, problem.in_template) {
            // The place would be that of the program's own import of it.
            (Some(template), None) if lacks && template.layout.is_some() => {
                let begin =
                    "begin with `#import \"parts.typ\": *`, then write `#let report(data, body) = { … }`";
                let text = template.layout.as_deref().unwrap_or_default();
                let finding = Finding { span: Some((0..0).into()), ..finding };
                finding.hint(begin).in_text(&template.path(super::source::LAYOUT_PATH), text)
            }
            (Some(template), Some((file, place))) => {
                let text = template.files.get(&file).map(|bytes| String::from_utf8_lossy(bytes));
                let finding = Finding { span: Some(place.into()), ..finding };
                finding.in_text(&template.path(&file), &text.unwrap_or_default())
            }
            _ => finding,
        }
    };
    problems.into_iter().map(finding).collect()
}

/// Takes the first image that is at fault out of the pictures; says whether there was one.
fn refuse_picture(pictures: &mut Pictures, problems: &[Problem]) -> bool {
    for problem in problems {
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

/// Everything the typesetter is given.
fn job(
    source: &Source,
    pictures: &Pictures,
    attachments: &[Attachment],
    results: &Results,
    template: Option<&Template>,
) -> Job {
    let layout = Layout::of(template);
    let mut files = BTreeMap::new();
    if let Some(template) = template {
        let own = template.files.iter().filter(|(path, _)| !is_taken(path));
        files.extend(own.map(|(path, bytes)| (path.clone(), bytes.clone())));
        files.extend(SIGNS.iter().map(|(path, bytes)| ((*path).to_owned(), bytes.to_vec())));
        let file = attachments.iter().find(|attachment| attachment.name == RESULTS_PATH);
        files.extend(file.map(|attachment| (RESULTS_PATH.to_owned(), attachment.bytes.clone())));
    }
    files.extend(pictures.read().map(|picture| (picture.path.clone(), picture.bytes.clone())));
    let attached = attachments.iter().enumerate();
    files.extend(attached.map(|(number, attachment)| (attachment_path(number), attachment.bytes.clone())));
    Job {
        main: source.main.clone(),
        statements: source.statements.clone(),
        layout: layout.text.to_owned(),
        parts: PLAIN_LAYOUT.to_owned(),
        files,
        ident: results.sha256.clone(),
        foreign: !layout.shipped,
    }
}
