//! Does a template hold together? Its files, its skeleton, its method on its own sample data.

use super::marks::MarkItem;
use super::model::Template;
use super::skeleton::{SKELETON, Student, fill};
use super::{Origin, apply, finish};
use crate::evaluation::results::Results;
use crate::evaluation::{count, evaluate};
use crate::files::Memory;
use crate::finding::{Code, Finding, Severity};
use crate::notebook;

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

/// Checks all of a template but its layout.
pub fn check(template: &Template) -> Report {
    check_filled(template, fill(template, &Student::default()))
}

/// Checks all of a template but its layout, with its skeleton filled elsewhere (a foreign one may take long).
pub fn check_filled(template: &Template, filled: Result<String, Box<Finding>>) -> Report {
    let mut report = Report { findings: template.said(), ..Report::default() };
    report.steps.push(identity(template));
    report.steps.extend(overlays(template));
    skeleton(template, filled, &mut report);
    sample(template, &mut report);
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

/// Reads the skeleton filled for nobody.
fn skeleton(template: &Template, filled: Result<String, Box<Finding>>, report: &mut Report) {
    let text = match filled {
        Ok(text) => text,
        Err(finding) => return report.findings.push(*finding),
    };
    let mut notebook = notebook::read("notebook.md", text.as_bytes(), &Memory::default());
    let name = format!("{} (filled)", template.path(SKELETON));
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
    let applied = apply(&mut notebook, template, super::Purpose::Author);
    let results = evaluate(&notebook);
    let lacks = super::required::check_form(&notebook, template, &applied, &results);
    // A blank skeleton has no values, but a name in its prose that nothing defines stays one when it is filled.
    let undefined = results
        .findings
        .into_iter()
        .filter(|finding| finding.code == Code::UnknownSymbol && finding.file.is_none());
    let all: Vec<Finding> =
        read.into_iter().chain(lacks).chain(undefined).map(|finding| finding.in_text(&name, &text)).collect();
    let (errors, warnings) = count(&all);
    report.steps.push(format!("skeleton: filled and read, {}", words(errors, warnings)));
    report.findings.extend(all);
}

/// Evaluates the sample data: every error and warning counts against the template.
fn sample(template: &Template, report: &mut Report) {
    let Some(bytes) = template.marking.get(SAMPLE) else {
        let finding = Finding::error(Code::BadTemplate, None, "the template has no sample data");
        let hint = "fill the skeleton with invented readings, so that the method can be tried";
        report.findings.push(finding.hint(hint).in_file(template.path("marking/sample.md")));
        return;
    };
    let mut notebook = notebook::read(SAMPLE, bytes, &Memory(template.marking.clone()));
    let text = notebook.text.clone();
    let name = template.path("marking/sample.md");
    report.findings.extend(other_template(&notebook, template).map(|finding| finding.in_text(&name, &text)));
    let applied = apply(&mut notebook, template, super::Purpose::Author);
    let mut results = evaluate(&notebook);
    finish(&notebook, template, &applied, super::Purpose::Author, &mut results);
    marks(template, &results, report);
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
}

/// Reads the marks; what they are given for has to be among the results of the sample data.
fn marks(template: &Template, results: &Results, report: &mut Report) {
    let (marks, said) = super::marks::marks(template);
    report.findings.extend(said);
    if marks.items.is_empty() {
        return;
    }
    let quantities = results.quantities.iter().map(|quantity| quantity.symbol.as_str());
    let formulas = results.formulas.iter().map(|formula| formula.symbol.as_str());
    let known: Vec<&str> = quantities.chain(formulas).collect();
    for of in marks.items.iter().filter_map(MarkItem::of) {
        let symbol = crate::evaluation::symbol_of(of.strip_prefix("mean ").unwrap_or(of)).to_string();
        if !known.contains(&symbol.as_str()) {
            let message = format!("marks are given for {of}, which the sample data do not come to");
            let finding = Finding::warning(Code::UnknownSymbol, None, message);
            let finding = finding.in_file(template.path("marking/marks.toml"));
            let meant = crate::finding::nearest(&symbol, known.iter().copied());
            report.findings.push(match meant {
                Some(meant) => finding.hint(format!("did you mean {meant}?")),
                None => finding,
            });
        }
    }
    let points = marks.points().to_figures(6);
    report.steps.push(format!("marks: {points} points for {} items", marks.items.len()));
}

/// Sample data copied from another template still names that one, and would be computed by it.
fn other_template(notebook: &notebook::Notebook, template: &Template) -> Option<Finding> {
    let named = notebook.settings.template.as_ref().filter(|named| named.value != template.id)?;
    let message = format!("the sample data name the template `{}`, not `{}`", named.value, template.id);
    let hint = format!("write `template = \"{}\"`", template.id);
    Some(Finding::warning(Code::BadTemplate, named.span, message).hint(hint))
}

fn template_said(template: &Template, finding: &Finding) -> bool {
    template.said().contains(finding)
}

fn words(errors: usize, warnings: usize) -> String {
    match (errors, warnings) {
        (0, 0) => "in order".to_owned(),
        (errors, warnings) => format!("{errors} errors, {warnings} warnings"),
    }
}
