//! From a folder to a template: which files there are, where they come from, what is wrong with them.

use super::model::Template;
use super::{method, overlay, reader, shipped};
use crate::files::{Below, Files};
use crate::finding::{Code, Finding, nearest};
use std::collections::BTreeMap;
use toml::de::DeTable;

/// The folder that is neither copied nor attached.
pub const MARKING: &str = "marking";

/// Where a template came from.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub enum Origin {
    /// Built into the program.
    #[default]
    Shipped,
    /// A folder, as it was named.
    Folder(String),
}

impl Origin {
    /// How a report says it.
    pub fn words(&self) -> String {
        match self {
            Origin::Shipped => "shipped with the program".to_owned(),
            Origin::Folder(path) => format!("from the folder {path}"),
        }
    }
}

/// Finds a template by what a notebook calls it: a folder of that path beside the notebook, also below
/// `report-templates/`, else a shipped one.
///
/// # Errors
///
/// A finding without a place that says what was looked for and what there is.
pub fn find(name: &str, beside: &dyn Files) -> Result<Template, Box<Finding>> {
    let folders = [name.trim_end_matches('/').to_owned(), format!("report-templates/{name}")];
    for folder in folders {
        let files = Below::new(beside, &folder);
        if files.read("template.toml").is_ok() {
            return Ok(load(&files, Origin::Folder(folder.clone())));
        }
    }
    match shipped::files(name) {
        Some(files) => Ok(load(&files, Origin::Shipped)),
        None => Err(Box::new(not_found(name))),
    }
}

fn not_found(name: &str) -> Finding {
    let message =
        format!("there is no template {name}: no such folder beside the notebook, and none is shipped");
    let finding = Finding::error(Code::NoTemplate, None, message);
    match nearest(name, shipped::names()) {
        Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
        None => {
            let names: Vec<&str> = shipped::names().collect();
            let own =
                "put a copy of your own template's folder beside the notebook, or name it with `--template`";
            finding.hint(format!("shipped are: {}", names.join(", "))).hint(own)
        }
    }
}

/// Loads a template. Never fails: what is wrong with it is among its findings, each with its file and place.
pub fn load(files: &dyn Files, origin: Origin) -> Template {
    let mut template = Template { origin, ..Template::default() };
    take_files(files, &mut template);
    let toml = text_of(&mut template, "template.toml", true);
    let local = text_of(&mut template, "local.toml", false);
    read_toml(toml.as_deref().unwrap_or_default(), local.as_deref(), &mut template);
    template.method_text = text_of(&mut template, "method.md", true).unwrap_or_default();
    method::read(&mut template);
    text_of(&mut template, "notebook.md", true);
    template.layout = text_of(&mut template, "report.typ", false);
    template.sha256 = hash(&template.files);
    template
}

/// Takes every file of the folder into memory. What lies outside, or is too large, is said.
fn take_files(files: &dyn Files, template: &mut Template) {
    for path in files.list("").unwrap_or_default() {
        match files.read(&path) {
            Ok(bytes) => match path.strip_prefix("marking/") {
                Some(inner) => template.marking.insert(inner.to_owned(), bytes),
                None => template.files.insert(path, bytes),
            },
            Err(problem) => {
                let finding = Finding::error(Code::BadFile, None, format!("cannot read it: {problem}"));
                template.findings.push(finding.in_file(path));
                None
            }
        };
    }
}

/// The text of a file; a missing one that every template needs is a finding.
fn text_of(template: &mut Template, path: &str, needed: bool) -> Option<String> {
    let Some(bytes) = template.files.get(path) else {
        if needed {
            let finding = Finding::error(Code::BadTemplate, None, "the template has no such file");
            template.findings.push(finding.in_file(path));
        }
        return None;
    };
    match std::str::from_utf8(bytes) {
        Ok(text) => Some(text.trim_start_matches('\u{feff}').to_owned()),
        Err(_) => {
            let finding = Finding::error(Code::InvalidText, None, "bytes that are not UTF-8 text");
            template.findings.push(finding.in_file(path));
            None
        }
    }
}

/// Reads `template.toml` with `local.toml` laid over it. The places of `local.toml` are counted on from the end
/// of `template.toml`, so that one place tells the file too.
fn read_toml(toml: &str, local: Option<&str>, template: &mut Template) {
    let offset = toml.len() + 1;
    let moved = format!("{}{}", "\n".repeat(offset), local.unwrap_or(""));
    let (base, errors) = DeTable::parse_recoverable(toml);
    let (over, more) = DeTable::parse_recoverable(&moved);
    let mut findings: Vec<Finding> = errors.iter().chain(&more).map(reader::malformed).collect();
    let mut table = base.into_inner();
    let over = over.into_inner();
    template.overlays = overlay::changes(&over, &table, local.unwrap_or(""), offset);
    overlay::lay(over, &mut table);
    let broken = !findings.is_empty();
    let mut said = Vec::new();
    reader::read(&table, template, &mut said);
    // What was recovered of malformed TOML is not what was written, so nothing more is said of it.
    findings.extend(said.into_iter().filter(|_| !broken));
    let placed = |finding: Finding| placed(finding, toml, local.unwrap_or(""));
    template.findings.extend(findings.into_iter().map(placed));
}

/// A finding at a place of the two texts in the one of them it belongs to.
pub(super) fn placed(mut finding: Finding, toml: &str, local: &str) -> Finding {
    let offset = toml.len() + 1;
    match finding.span {
        Some(span) if span.start >= offset => {
            finding.span = Some(crate::span::Span::new(span.start - offset, span.end - offset));
            finding.in_text("local.toml", local)
        }
        _ => finding.in_text("template.toml", toml),
    }
}

/// SHA-256 over path and hash of every file, in the order of their paths.
fn hash(files: &BTreeMap<String, Vec<u8>>) -> String {
    let line = |(path, bytes): (&String, &Vec<u8>)| format!("{}  {path}\n", crate::sha256(bytes));
    crate::sha256(files.iter().map(line).collect::<String>().as_bytes())
}
