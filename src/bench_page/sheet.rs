//! One version of a notebook as the page shows it: pages, findings, readings.

use super::derivation::Names;
use super::form::{Form, form};
use super::paper::Page;
use crate::Computed;
use crate::finding::Finding;
use crate::span::Lines;
use serde::Serialize;
use std::sync::Arc;
use std::time::Instant;

/// Most findings that are shown.
const MOST_FINDINGS: usize = 500;

/// A version of a notebook.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Its number, counted up from 1.
    pub version: u64,
    /// The bytes it was made from.
    pub bytes: Vec<u8>,
    /// What they come to.
    pub computed: Arc<Computed>,
    /// The pages of the report, the last good ones where this version has none.
    pub pages: Vec<Arc<Page>>,
    /// What the page is sent, as JSON.
    pub state: Arc<str>,
    /// Whether everything could be read and set.
    pub is_whole: bool,
}

/// What the page is sent of a version.
#[derive(Serialize)]
struct State<'a> {
    version: u64,
    name: &'a str,
    title: String,
    /// What is amiss with the pages as a whole; empty where nothing is.
    notice: &'a str,
    pages: Vec<PageEntry<'a>>,
    /// Whether this is all of the version: if not, what stands beside the pages is left until the next.
    complete: bool,
    findings: Vec<FindingEntry>,
    form: Option<Form>,
    /// Microseconds from the first event to this.
    took: u128,
}

#[derive(Serialize)]
struct PageEntry<'a> {
    hash: &'a str,
    width: f64,
    height: f64,
    /// Whether it is a picture that the browser does not draw.
    picture: bool,
}

/// A finding as the page shows it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FindingEntry {
    severity: &'static str,
    code: &'static str,
    message: String,
    hints: Vec<String>,
    /// `line 24`, or the place in another file; empty where it has none.
    place: String,
    line: Option<usize>,
    /// The line as written, and where in it (in characters) the finding points.
    excerpt: Option<(String, usize, usize)>,
}

impl Sheet {
    /// A version with everything that the page is sent. Without `further` findings it is not yet complete: it has the
    /// pages in view, and another version follows.
    pub fn new(
        version: u64,
        bytes: Vec<u8>,
        computed: Arc<Computed>,
        pages: Vec<Arc<Page>>,
        further: Option<&[Finding]>,
        notice: &str,
        since: Instant,
    ) -> Sheet {
        let title = computed.results.settings.title.as_ref().map(|title| title.value.trim().to_owned());
        let title = title.filter(|title| !title.is_empty());
        let state = State {
            version,
            name: &computed.notebook.name,
            title: title.unwrap_or_else(|| computed.notebook.name.clone()),
            notice,
            pages: pages.iter().map(|page| PageEntry::of(page)).collect(),
            complete: further.is_some(),
            findings: further.map_or(Vec::new(), |further| entries(&computed, further)),
            form: further.map(|_| form(&computed)),
            took: since.elapsed().as_micros(),
        };
        let state = serde_json::to_string(&state).unwrap_or_default().into();
        Sheet { version, bytes, computed, pages, state, is_whole: notice.is_empty() && further.is_some() }
    }

    /// The derivation of a value and what rests on it, as JSON.
    pub fn value(&self, key: &str) -> String {
        let names = Names::of(&self.computed);
        let name = names.node(key).and_then(|node| names.name(node));
        let figure = names.figure(key).filter(|_| name.is_none());
        let shown = name.map(|name| (&name.name, &name.value));
        let shown = shown.or_else(|| figure.map(|figure| (&figure.name, &figure.value)));
        let found = serde_json::json!({
            "name": shown.map(|(name, _)| name),
            "value": shown.map(|(_, value)| value),
            "figures": names.figures_on(key),
            "reading": name.is_some_and(|name| name.is_leaf),
            "steps": names.derivation(key),
            "resting": names.resting_on(key),
        });
        found.to_string()
    }
}

impl PageEntry<'_> {
    fn of(page: &Page) -> PageEntry<'_> {
        PageEntry {
            hash: &page.hash,
            width: page.width,
            height: page.height,
            picture: page.picture.is_some(),
        }
    }
}

/// The findings of a version, the gravest first.
fn entries(computed: &Computed, further: &[Finding]) -> Vec<FindingEntry> {
    let text = &computed.notebook.text;
    let lines = Lines::of(text);
    let mut all: Vec<&Finding> = computed.results.findings.iter().chain(further).collect();
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all.into_iter().take(MOST_FINDINGS).map(|finding| entry(finding, text, &lines)).collect()
}

fn entry(finding: &Finding, text: &str, lines: &Lines) -> FindingEntry {
    let span = finding.span.filter(|span| finding.file.is_none() && span.start <= text.len());
    let place = span.map(|span| lines.place(text, span.start));
    let also = finding.labels.iter().map(|(span, label)| {
        let (line, _) = lines.place(text, span.start);
        format!("line {line}: {label}")
    });
    FindingEntry {
        severity: finding.severity.word(),
        code: finding.code.text(),
        message: finding.message.clone(),
        hints: finding.hints.iter().cloned().chain(also).collect(),
        place: finding
            .elsewhere()
            .or_else(|| place.map(|(line, _)| format!("line {line}")))
            .unwrap_or_default(),
        line: place.map(|(line, _)| line),
        excerpt: span.zip(place).map(|(span, (line, column))| {
            let written = text.lines().nth(line - 1).unwrap_or("").to_owned();
            let length = span.text(text).lines().next().map_or(0, |first| first.chars().count());
            (written, column - 1, length)
        }),
    }
}
