//! After the evaluation: what the template requires, what it shows, and what of it stands in the results.

use super::apply::{Applied, Purpose, Working};
use super::model::{Reveal, Template, When};
use super::{required, reveal};
use crate::evaluation::results::{Results, TemplateUsed};
use crate::evaluation::sort_findings;
use crate::notebook::Notebook;
use crate::span::Spanned;

/// Completes the results of a notebook that a template was applied to.
pub fn finish(
    notebook: &Notebook,
    template: &Template,
    applied: &Applied,
    purpose: Purpose,
    results: &mut Results,
) {
    let missing_checks = required::check(notebook, template, applied, results);
    applied.relocate(&mut results.findings);
    results.findings.extend(template.said());
    if purpose == Purpose::Author {
        reveal::hide(notebook, template.reveal, results);
    }
    results.template = Some(TemplateUsed {
        id: template.id.clone(),
        version: template.version.clone(),
        title: template.title.clone(),
        institution: template.institution.clone(),
        sha256: template.sha256.clone(),
        origin: template.origin.words(),
        reviewed: template.review.as_ref().map(|review| (review.by.clone(), review.on)),
        local: template.overlays.iter().map(|overlay| overlay.key.clone()).collect(),
        reveal: template.reveal.word(),
        working: sentence(&applied.working, purpose, template.reveal),
        missing_checks,
        questions: questions(template, applied, results),
    });
    sort_findings(&mut results.findings);
}

/// Whose formulas the results rest on, as a report says it.
fn sentence(working: &Working, purpose: Purpose, reveal: Reveal) -> String {
    if working.own.is_empty() {
        return match purpose {
            Purpose::Author => "by the template’s method".to_owned(),
            Purpose::Review => "by the template’s method, whatever the notebook’s own formulas".to_owned(),
        };
    }
    let own = format!("by the notebook’s own formulas for {}", working.own.join(", "));
    let rest = match working.method.as_slice() {
        [] => String::new(),
        names => format!(", by the template’s method for {}", names.join(", ")),
    };
    let compared = match working.differing.as_slice() {
        _ if reveal != Reveal::All => "",
        [] => "; the own formulas give the method’s values",
        _ => "; they differ from the method’s as the findings say",
    };
    format!("{own}{rest}{compared}")
}

/// The questions for the discussion that the results ask for.
fn questions(template: &Template, applied: &Applied, results: &Results) -> Vec<String> {
    let error = |of: &Option<Spanned<String>>| {
        let symbol = applied.names.name(&of.as_ref()?.value);
        let quantity = results.quantities.iter().find(|quantity| quantity.symbol == symbol)?;
        let number = &quantity.theory.as_ref()?.percent_error.as_ref()?.number;
        Some(number.to_f64())
    };
    let asked = |question: &&super::model::Question| match question.when {
        When::Always => true,
        When::High => error(&question.of).is_some_and(|error| error > 0.0),
        When::Low => error(&question.of).is_some_and(|error| error < 0.0),
    };
    template.questions.iter().filter(asked).map(|question| question.text.clone()).collect()
}
