//! Does a template hold together? Its files, its skeleton, its method on its own sample data.

use super::model::Template;
use super::skeleton::{SKELETON, Student, fill};
use super::traced::{self, Trace};
use super::{Origin, apply, finish, names};
use crate::evaluation::results::Results;
use crate::evaluation::{count, evaluate};
use crate::files::Memory;
use crate::finding::{Code, Finding, Severity};
use crate::notebook::blocks::{Block, BlockKind};
use crate::notebook::{self, Notebook};

/// The sample data in `marking/`.
pub const SAMPLE: &str = "sample.md";

/// What a check came to.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// One line for each thing that was looked at.
    pub steps: Vec<String>,
    /// What was found, each with its file and place.
    pub findings: Vec<Finding>,
    /// The notebook with sample data, where there is one, to set the layout with.
    pub sample: Option<Vec<u8>>,
}

/// What a skeleton filled for nobody gives.
type Filled = Result<String, Box<Finding>>;

/// Checks all of a template but its layout.
pub fn check(template: &Template) -> Report {
    check_with(template, |template| fill(template, &Student::default()))
}

/// Checks all of a template but its layout, with its skeleton filled by `filling` (a foreign one may take long).
pub fn check_with(template: &Template, filling: impl Fn(&Template) -> Filled) -> Report {
    let mut report = Report { findings: template.said(), ..Report::default() };
    report.steps.push(identity(template));
    report.steps.extend(overlays(template));
    report.steps.push(counted(template));
    let headings = skeleton(template, filling, &mut report);
    let sample = sample(template, &mut report);
    report.findings.extend(names::check(template, sample.as_ref(), &headings));
    if template.review.is_none() {
        report.steps.push("review: none; reports print “not reviewed by your institution”".to_owned());
    }
    report
}

fn identity(template: &Template) -> String {
    let files: Vec<&str> = template.files.keys().map(String::as_str).collect();
    let origin = match &template.origin {
        Origin::Shipped => "shipped with the program".to_owned(),
        Origin::Folder(folder) => folder.clone(),
    };
    format!("template {} {} ({origin}): {}", template.id, template.version, files.join(", "))
}

fn overlays(template: &Template) -> Vec<String> {
    let one = |overlay: &super::model::Overlay| match &overlay.was {
        Some(was) => {
            format!("local.toml:{}: {} is {} instead of {was}", overlay.line, overlay.key, overlay.is)
        }
        None => format!(
            "local.toml:{}: {} is {}, which the template leaves open",
            overlay.line, overlay.key, overlay.is
        ),
    };
    template.overlays.iter().map(one).collect()
}

/// Reads the skeleton filled for nobody; returns its headings.
fn skeleton(template: &Template, filling: impl Fn(&Template) -> Filled, report: &mut Report) -> Vec<String> {
    let text = match filling(template) {
        Ok(text) => text,
        Err(finding) => {
            report.findings.push(*finding);
            return Vec::new();
        }
    };
    let marked = traced::marked(template).and_then(|marked| filling(&marked).ok());
    let trace = marked.and_then(|marked| Trace::of(template, &text, &marked));
    let mut notebook = notebook::read("notebook.md", text.as_bytes(), &Memory::default());
    let read: Vec<Finding> =
        notebook.findings.iter().filter(|finding| finding.severity != Severity::Note).cloned().collect();
    let named = notebook.settings.template.as_ref().map(|named| named.value.clone());
    if named.as_deref() != Some(template.id.as_str()) {
        let message =
            format!("the skeleton's `experiment` block does not say `template = \"{}\"`", template.id);
        report
            .findings
            .push(Finding::error(Code::BadTemplate, None, message).in_file(template.path(SKELETON)));
    }
    report.findings.extend(cautions_first(template, &notebook));
    let applied = apply(&mut notebook, template, super::Purpose::Author);
    let results = evaluate(&notebook);
    let lacks = super::required::check_form(&notebook, template, &applied, &results);
    // A blank skeleton has no values, but a name in its prose that nothing defines stays one when it is filled.
    let undefined = results
        .findings
        .into_iter()
        .filter(|finding| finding.code == Code::UnknownSymbol && finding.file.is_none());
    let placed = |finding: Finding| match &trace {
        Some(trace) => trace.back(finding, &template.path(SKELETON)),
        None => finding.in_text(&format!("{} (filled)", template.path(SKELETON)), &text),
    };
    let all: Vec<Finding> = read.into_iter().chain(lacks).chain(undefined).map(placed).collect();
    let (errors, warnings) = count(&all);
    report.steps.push(format!("skeleton: filled and read, {}", words(errors, warnings)));
    report.findings.extend(all);
    applied.headings
}

/// The cautions stand in the skeleton, before the procedure and all readings.
fn cautions_first(template: &Template, notebook: &Notebook) -> Option<Finding> {
    if template.cautions.is_empty() {
        return None;
    }
    let written = super::cautions::markdown(&template.cautions);
    let hint = "put `<<cautions>>` on a line of its own under a heading at the top, before the procedure";
    let said = |message: &str| {
        let finding = Finding::warning(Code::BadTemplate, None, message);
        Some(finding.hint(hint).in_file(template.path(SKELETON)))
    };
    let Some(at) = notebook.text.find(written.trim_end()) else {
        return said("the skeleton does not print the cautions of the template");
    };
    let is_work = |block: &&Block| !matches!(block.kind, BlockKind::Experiment);
    let work = notebook.blocks.iter().filter(is_work).map(|block| block.span.start);
    let checks = notebook.checks.iter().map(|check| check.span.start);
    let procedure = super::cautions::procedure_at(notebook, &template.procedure);
    let begins = work.chain(checks).chain(procedure).min();
    if begins.is_some_and(|begins| begins < at) {
        return said("the skeleton prints the cautions after the work has begun");
    }
    None
}

/// What there is of cautions, counted.
fn counted(template: &Template) -> String {
    let cautions = &template.cautions;
    let kinds = [
        (cautions.hazards.len(), "hazard", "hazards"),
        (cautions.signs.len(), "sign", "signs"),
        (cautions.gases.len(), "gas", "gases"),
        (cautions.general.len(), "caution", "cautions"),
        (cautions.spills.len(), "line on spills", "lines on spills"),
        (cautions.disposal.len(), "line on waste", "lines on waste"),
    ];
    let said = kinds.iter().filter(|(count, ..)| *count > 0);
    let said: Vec<String> =
        said.map(|(count, one, many)| format!("{count} {}", if *count == 1 { one } else { many })).collect();
    match said.is_empty() {
        true => "cautions: none; notebooks and reports of this template print none".to_owned(),
        false => format!("cautions: {}", said.join(", ")),
    }
}

/// Evaluates the sample data: every error and warning counts against the template.
fn sample(template: &Template, report: &mut Report) -> Option<(Notebook, Results)> {
    let Some(bytes) = template.marking.get(SAMPLE) else {
        let finding = Finding::error(Code::BadTemplate, None, "the template has no sample data");
        let hint = "fill the skeleton with invented readings, so that the method can be tried";
        report.findings.push(finding.hint(hint).in_file(template.path("marking/sample.md")));
        return None;
    };
    let mut notebook = notebook::read(SAMPLE, bytes, &Memory(template.marking.clone()));
    let text = notebook.text.clone();
    let name = template.path("marking/sample.md");
    report.findings.extend(other_template(&notebook, template).map(|finding| finding.in_text(&name, &text)));
    let applied = apply(&mut notebook, template, super::Purpose::Author);
    let mut results = evaluate(&notebook);
    finish(&notebook, template, &applied, super::Purpose::Author, &mut results);
    marks(template, report);
    let own = results
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Note && !template_said(template, finding));
    let placed = |finding: &Finding| match finding.file {
        None => finding.clone().in_text(&name, &text),
        Some(_) => finding.clone(),
    };
    let found: Vec<Finding> = own.map(placed).collect();
    let (errors, warnings) = count(&found);
    let values = results
        .quantities
        .iter()
        .filter(|quantity| {
            quantity.scalar.iter().chain(&quantity.trials).any(|outcome| outcome.value().is_some())
        })
        .count();
    report.steps.push(format!(
        "method on the sample data: {values} quantities computed, {}",
        words(errors, warnings)
    ));
    report.findings.extend(found);
    report.sample = Some(bytes.clone());
    Some((notebook, results))
}

/// Reads the marks and counts their points. What they are given for is compared with what there is among the other names.
fn marks(template: &Template, report: &mut Report) {
    let (marks, said) = super::marks::marks(template);
    report.findings.extend(said);
    if !marks.items.is_empty() {
        let points = marks.points().to_figures(6);
        report.steps.push(format!("marks: {points} points for {} items", marks.items.len()));
    }
}

/// Sample data copied from another template still names that one, and would be computed by it.
fn other_template(notebook: &Notebook, template: &Template) -> Option<Finding> {
    let named = notebook.settings.template.as_ref().filter(|named| named.value != template.id)?;
    let message = format!("the sample data name the template `{}`, not `{}`", named.value, template.id);
    let hint = format!("write `template = \"{}\"`", template.id);
    Some(Finding::warning(Code::BadTemplate, named.span, message).hint(hint))
}

fn template_said(template: &Template, finding: &Finding) -> bool {
    template.said().contains(finding)
}

fn words(errors: usize, warnings: usize) -> String {
    let some = |count: usize, one: &str| match count {
        0 => None,
        1 => Some(format!("1 {one}")),
        count => Some(format!("{count} {one}s")),
    };
    let said: Vec<String> =
        [some(errors, "error"), some(warnings, "warning")].into_iter().flatten().collect();
    if said.is_empty() { "in order".to_owned() } else { said.join(", ") }
}
