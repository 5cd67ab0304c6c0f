//! The report as one HTML page that needs nothing else: no network, no script, no font of its own.
//!
//! What stands in it comes from the same tree as the PDF; only the writing differs. Formulas are MathML Core, plots are
//! SVG with their data in words and as a table, tables have captions and heads with a scope. A content-security policy
//! in the page forbids scripts and every address but the images inside it. How it looks is `style.css`.

mod carried;
mod markup;
mod math;
mod parts;
mod plots;
mod prose;
mod tables;
mod words;

use carried::data_address;
pub use carried::{CarriedFile, carried, is_page};
use markup::Markup;

use super::attachment::{Attachment, every};
use super::document::Document;
use super::images::Pictures;
use super::part::Part;
use super::record;
use super::source::facts;
use crate::evaluation::results::Results;
use crate::files::Files;
use crate::finding::{Finding, Severity};
use crate::notebook::Notebook;
use crate::notebook::settings::{Date, DecimalMark};
use crate::template::Template;
use crate::template::model::Cautions;

/// How the page looks.
const STYLE: &str = include_str!("style.css");
/// How cautions look, here and on other pages.
pub const CAUTIONS_STYLE: &str = include_str!("cautions.css");
/// What the page may load and run: nothing but what stands in it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// A report.
#[derive(Clone, Debug)]
pub struct Html {
    /// The page.
    pub text: String,
    /// What was found while it was made, beyond the findings of the results.
    pub findings: Vec<Finding>,
}

/// Writes the report of a notebook as one page. The attachments are the caller's (the notebook's bytes, the results
/// file); files that the notebook names and the template's are added to them, and all travel inside the page.
pub fn html(
    notebook: &Notebook,
    results: &Results,
    attachments: &[Attachment],
    files: &dyn Files,
    template: Option<&Template>,
) -> Html {
    let pictures = Pictures::of(notebook, files);
    let document = Document::of(notebook, results, &pictures, template);
    let findings = document.findings();
    let all: Vec<Finding> = results.findings.iter().chain(&findings).cloned().collect();
    let mut writer = Writer {
        results,
        pictures: &pictures,
        parts: &document.placed.blocks,
        tables: 0,
        figures: 0,
        cautions: 0,
        level: 1,
        notes: prose::Notes::default(),
        in_link: false,
    };
    let mut page = Markup::new();
    head(&mut page, &document.title, results);
    page.own("<body>\n");
    header(&mut page, &document.title, results, &all);
    page.element("main", &[], |page| {
        page.line();
        for statement in &document.prose.statements {
            writer.blocks(page, &statement.blocks);
        }
        writer.parts_of(page, &document.placed.end);
        writer.endnotes(page);
        writer.parts_of(page, &document.placed.checks);
        writer.parts_of(page, &document.placed.record);
        parts::findings(page, &record::findings(&all, &notebook.text));
    });
    page.line();
    page.element("footer", &[], |page| {
        parts::section(page, "How this report was computed", |page| {
            parts::entry_list(page, &record::foot(results));
        });
    });
    page.line();
    carried::write(&mut page, &every(notebook, attachments, &pictures, template));
    page.own("</body>\n</html>\n");
    Html { text: page.into_text(), findings }
}

/// The cautions of a template in a frame, for a page that begins with them.
pub fn cautions(cautions: &Cautions) -> String {
    let mut page = Markup::new();
    parts::caution_box(&mut page, cautions, "h2", "cautions");
    page.into_text()
}

/// Text as HTML.
pub fn escaped(text: &str) -> String {
    let mut page = Markup::new();
    page.text(text);
    page.into_text()
}

/// Data that no browser runs or shows, for a page's own scripts. `json` is JSON.
pub fn data_block(id: &str, json: &str) -> String {
    let mut page = Markup::new();
    page.data_block(id, json);
    page.into_text()
}

/// The walk over a report.
struct Writer<'a> {
    results: &'a Results,
    pictures: &'a Pictures,
    /// For every block of the notebook what stands in its place.
    parts: &'a [Vec<Part<'a>>],
    /// How many tables, figures and boxes of cautions were written.
    tables: usize,
    figures: usize,
    cautions: usize,
    /// The level of the last heading, the title's being 1.
    level: usize,
    notes: prose::Notes,
    /// Whether a link is open, within which no other may stand.
    in_link: bool,
}

/// The headings by level.
const HEADINGS: [&str; 6] = ["h1", "h2", "h3", "h4", "h5", "h6"];

impl Writer<'_> {
    fn mark(&self) -> DecimalMark {
        self.results.settings.decimal
    }

    /// The heading of a level of the prose; the title alone is `h1`.
    fn heading_tag(&mut self, level: usize) -> &'static str {
        self.level = (level + 1).min(HEADINGS.len());
        HEADINGS[self.level - 1]
    }

    /// A heading one level below the last one.
    fn heading_below(&self) -> &'static str {
        HEADINGS[self.level.min(HEADINGS.len() - 1)]
    }
}

fn head(page: &mut Markup, title: &str, results: &Results) {
    page.own("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    page.own("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    page.open("meta", &[("http-equiv", "Content-Security-Policy"), ("content", POLICY)]);
    page.line();
    page.own("<meta name=\"color-scheme\" content=\"light dark\">\n");
    for author in &results.settings.authors {
        page.open("meta", &[("name", "author"), ("content", author)]);
        page.line();
    }
    page.text_in("title", &[], &one_line(title));
    page.line();
    page.own("<style>\n");
    page.own(STYLE);
    page.own(CAUTIONS_STYLE);
    page.own("</style>\n</head>\n");
}

/// A text on one line, without what only markup could show.
fn one_line(text: &str) -> String {
    let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.is_empty() { "Report".to_owned() } else { text }
}

/// Title, authors, date, facts, and how many errors and warnings there are.
fn header(page: &mut Markup, title: &str, results: &Results, findings: &[Finding]) {
    let settings = &results.settings;
    page.element("header", &[], |page| {
        page.text_in("h1", &[], title);
        if !settings.authors.is_empty() {
            page.text_in("p", &[("class", "authors")], &listed(&settings.authors));
        }
        page.element("p", &[("class", "facts")], |page| {
            match &settings.date {
                Some(date) => {
                    page.text_in("time", &[("datetime", &date.value.to_string())], &spelled(date.value));
                }
                None => page.text("no date stated"),
            }
            for (label, text) in facts(results) {
                let label = if label.is_empty() { String::new() } else { format!("{label} ") };
                page.text(&format!("\u{2002}·\u{2002}{label}{text}"));
            }
        });
        alarm(page, findings);
    });
    page.line();
}

/// `4 March 2026`
fn spelled(date: Date) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let month = MONTHS.get(usize::from(date.month).saturating_sub(1)).copied().unwrap_or("");
    format!("{} {month} {}", date.day, date.year)
}

/// `a, b and c`
fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn alarm(page: &mut Markup, findings: &[Finding]) {
    let count = |severity, one: &str, many: &str| match record::count(findings, severity) {
        0 => None,
        1 => Some(format!("one {one}")),
        n => Some(format!("{n} {many}")),
    };
    let errors = count(Severity::Error, "error", "errors");
    let dash = if errors.is_some() { " What could not be computed prints as a dash." } else { "" };
    let parts: Vec<String> =
        errors.into_iter().chain(count(Severity::Warning, "warning", "warnings")).collect();
    if parts.is_empty() {
        return;
    }
    page.element("p", &[("class", "alarm")], |page| {
        page.text("This report has ");
        page.text_in("strong", &[], &parts.join(" and "));
        page.text(", listed at its end under ");
        page.text_in("a", &[("href", "#part-findings")], "Findings");
        page.text(&format!(".{dash}"));
    });
}
