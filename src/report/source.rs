//! The generated document: data, body, and the calls that put them together.

use super::code::{self, Fields};
use super::document::Document;
use super::images::Pictures;
use super::layouts::{self, Layout, Obligation};
use super::prose_typst::{self, Place};
use super::words::{Glyph, Ink};
use super::{Attachment, part, placing, record, summary};
use crate::evaluation::results::{Results, TemplateUsed};
use crate::finding::{Finding, Severity};
use crate::notebook::Notebook;
use crate::notebook::settings::Date;
use crate::span::Span;
use crate::template::Template;
use std::ops::Range;

/// The document's date where the notebook states none, so that the same notebook gives the same bytes.
const NO_DATE: Date = Date { year: 1970, month: 1, day: 1 };
/// Most characters of a fact under the title that is kept on one line.
const SHORT_FACT: usize = 60;
/// Most characters of the title in the head of a page.
const SHORT_TITLE: usize = 70;
/// The path of the layout as the generated document imports it.
pub const LAYOUT_PATH: &str = "report.typ";
/// The path of the generated document.
pub const MAIN_PATH: &str = "main.typ";

/// What a document is made with besides the notebook and its results.
pub struct Means<'a> {
    /// The images of the prose.
    pub pictures: &'a Pictures,
    /// The files to attach.
    pub attachments: &'a [Attachment],
    /// Whether the fonts have a character.
    pub glyph: &'a dyn Fn(char) -> Glyph,
    /// The template that was applied, for its cautions.
    pub template: Option<&'a Template>,
}

/// A generated document.
#[derive(Clone, Debug)]
pub struct Source {
    /// The document, in the typesetter's language.
    pub main: String,
    /// Where its parts came from.
    pub places: Vec<Place>,
    /// The statements of its body, one after the other, which stand for themselves: what sets one version after
    /// another may keep each in a file of its own, so that a change of one is none of the others.
    pub statements: Vec<Range<usize>>,
    /// What there is to say about the prose.
    pub findings: Vec<Finding>,
}

impl Source {
    /// The place in the notebook of a byte of the document.
    pub fn notebook_place(&self, byte: usize) -> Option<Span> {
        let holds = |place: &&Place| place.source.contains(&byte);
        self.places.iter().filter(holds).min_by_key(|place| place.source.len()).map(|place| place.notebook)
    }
}

/// The document of a notebook and its results. A pure function: no file is read.
pub fn typst_source(notebook: &Notebook, results: &Results, means: &Means) -> Source {
    source_with(notebook, results, means, Ink::new(means.glyph))
}

/// The same document, in which values stand between marks that say which node of the derivation graph they are: for
/// a page on which they can be chosen.
pub fn marked_typst_source(notebook: &Notebook, results: &Results, means: &Means) -> Source {
    let ink = Ink::new(means.glyph).marking(true).counting(Layout::of(means.template).plain);
    source_with(notebook, results, means, ink)
}

fn source_with(notebook: &Notebook, results: &Results, means: &Means, ink: Ink) -> Source {
    let mark = results.settings.decimal;
    let document = Document::of(notebook, results, means.pictures, means.template);
    let context =
        prose_typst::Context { results, ink: &ink, pictures: means.pictures, parts: &document.placed.blocks };
    let (body, places) = prose_typst::write(&document.prose.statements, &context);
    let ends = [&document.placed.end, &document.placed.checks, &document.placed.record];
    let tail: Vec<String> = ends.into_iter().flatten().map(|part| part.set(&ink, mark)).collect();
    let foot = record::set_entries("foot", &record::foot(results), &ink);
    let parts = if Layout::of(means.template).plain {
        None
    } else {
        let parts = placing::parts(notebook, results, means.template).into_iter();
        let set = |(name, parts): (&'static str, Vec<_>)| (name, part::set_all(&parts, &ink, mark));
        Some(parts.map(set).collect::<Vec<_>>())
    };
    let mut findings = document.findings();
    findings.extend(ink.findings());
    let all: Vec<Finding> = results.findings.iter().chain(&findings).cloned().collect();
    let said = record::set_findings(&record::findings(&all, &notebook.text), &ink);
    let said =
        if said.is_empty() { said } else { said + &layouts::told(means.template, Obligation::Findings) };
    let parts = parts.map(|mut parts| {
        parts.extend([("findings", said.clone()), ("foot", foot.clone())]);
        parts
    });

    let mut written = Written::default();
    written.push(&format!("#import {} as layout\n\n", code::string(LAYOUT_PATH)));
    let data = data(&document.title, results, &all, parts, &ink);
    written.push(&format!("#let data = {data}\n\n#let body = {{\n"));
    written.body(&body, places);
    for statement in tail.iter().chain([&said, &foot]) {
        written.statement(statement);
    }
    written.push("}\n\n#layout.report(data, body)\n");
    written.push(&layouts::refusal(means.template, !all.is_empty()));
    written.push(&attachments(means.attachments));
    Source { main: written.code, places: written.places, statements: written.statements, findings }
}

/// A title as it fits in the head of a page.
fn shortened(title: &str) -> String {
    match title.char_indices().nth(SHORT_TITLE) {
        None => title.to_owned(),
        Some((end, _)) => format!("{}…", title.get(..end).unwrap_or(title).trim_end()),
    }
}

/// The data that the layout's `report` is given.
fn data(
    title: &str,
    results: &Results,
    findings: &[Finding],
    parts: Option<Vec<(&str, String)>>,
    ink: &Ink,
) -> String {
    let settings = &results.settings;
    let date = settings.date.as_ref().map(|date| date.value);
    let authors = || settings.authors.iter();
    Fields::new()
        .aside("title", title)
        .code("title-content", ink.plain(title, None))
        .code("short-title", ink.text(&shortened(title), None))
        .code("authors", code::array(authors().map(|author| code::short_string(author))))
        .code("author-contents", code::array(authors().map(|author| ink.plain(author, None))))
        .code("date", date.map_or("none".to_owned(), date_dictionary))
        .code("document-date", datetime(date.unwrap_or(NO_DATE)))
        .code("facts", code::array(facts(results).map(|known| fact(known, ink))))
        .code("counts", counts(findings))
        .code("name", ink.plain(&results.name, None))
        .optional("template", results.template.as_ref().map(|template| template_dictionary(template, ink)))
        .optional("summary", parts.as_ref().map(|_| summary::summary(results, ink)))
        .optional("parts", parts.map(parts_dictionary))
        .tall_dictionary()
}

/// What a layout may say of the template.
fn template_dictionary(template: &TemplateUsed, ink: &Ink) -> String {
    let institution = template.institution.as_ref().map(|text| ink.plain(text, None));
    let reviewed = template.reviewed.as_ref().map(|(by, on)| {
        Fields::new().code("by", ink.plain(by, None)).code("on", date_dictionary(*on)).dictionary()
    });
    Fields::new()
        .code("id", ink.plain(&template.id, None))
        .code("version", ink.plain(&template.version, None))
        .code("title", ink.plain(&template.title, None))
        .optional("institution", institution)
        .optional("reviewed", reviewed)
        .dictionary()
}

/// The parts as functions, so that only those a layout asks for are made.
fn parts_dictionary(parts: Vec<(&str, String)>) -> String {
    let fields = parts
        .into_iter()
        .fold(Fields::new(), |fields, (name, code)| fields.code(name, format!("() => {{\n{code}}}")));
    fields.tall_dictionary()
}

fn date_dictionary(date: Date) -> String {
    format!("(year: {}, month: {}, day: {})", date.year, date.month, date.day)
}

fn datetime(date: Date) -> String {
    format!("datetime(year: {}, month: {}, day: {})", date.year, date.month, date.day)
}

fn counts(findings: &[Finding]) -> String {
    let number = |severity| record::count(findings, severity).to_string();
    Fields::new()
        .code("errors", number(Severity::Error))
        .code("warnings", number(Severity::Warning))
        .code("notes", number(Severity::Note))
        .dictionary()
}

/// What stands under the title besides authors and date: a label (may be empty) and a text.
pub(super) fn facts(results: &Results) -> impl Iterator<Item = (&'static str, String)> {
    let settings = &results.settings;
    let recorded =
        |key: &str| settings.record.iter().find(|entry| entry.key == key).map(|entry| entry.lines.join("; "));
    let known = [
        ("Report", recorded("report-number")),
        ("", recorded("course")),
        ("Section", recorded("section")),
        ("", recorded("laboratory")),
        ("Unknown", settings.unknown.clone()),
    ];
    known.into_iter().filter_map(|(label, text)| Some((label, text?)))
}

fn fact((label, text): (&str, String), ink: &Ink) -> String {
    let short = text.chars().count() <= SHORT_FACT;
    Fields::new()
        .text("label", label)
        .code("text", ink.plain(&text, None))
        .code("short", short.to_string())
        .dictionary()
}

fn attachments(attachments: &[Attachment]) -> String {
    let attach = |(number, attachment): (usize, &Attachment)| {
        let data = format!("read({}, encoding: none)", code::string(&attachment_path(number)));
        let fields = Fields::new()
            .text("relationship", attachment.relationship.word())
            .text("mime-type", &attachment.mime)
            .text("description", &attachment.description);
        format!("#{}\n", fields.call_with("pdf.attach", &[code::string(&attachment.name), data]))
    };
    attachments.iter().enumerate().map(attach).collect()
}

/// The path under which the typesetter reads an attachment.
pub(super) fn attachment_path(number: usize) -> String {
    format!("attached/{number}")
}

/// The document while it is put together.
#[derive(Default)]
struct Written {
    code: String,
    places: Vec<Place>,
    statements: Vec<Range<usize>>,
}

impl Written {
    fn push(&mut self, code: &str) {
        self.code.push_str(code);
    }

    fn body(&mut self, body: &str, places: Vec<Place>) {
        let offset = self.code.len();
        self.code.push_str(body);
        let moved = |place: Place| Place {
            source: place.source.start + offset..place.source.end + offset,
            notebook: place.notebook,
        };
        let places = places.into_iter().map(moved);
        self.statements.extend(places.clone().map(|place| place.source).filter(|range| !range.is_empty()));
        self.places.extend(places);
    }

    fn statement(&mut self, code: &str) {
        let start = self.code.len();
        self.code.push_str(code);
        self.statements.extend((!code.is_empty()).then_some(start..self.code.len()));
    }
}
