//! The review as one HTML page: claimed and recomputed side by side, each value's derivation on demand.
//!
//! The page needs no network and no script, so it works from a file; what opens and closes is HTML's own. Verdicts
//! are words with a mark before them, so colour is never needed. Everything from a notebook is escaped.

use super::{Reviewed, counted, counted_word};
use crate::evaluation::results::Claim;
use crate::notebook::settings::DecimalMark;
use crate::review::findings::{explained, name, with_unit, written};
use crate::review::{
    ClaimReview, Derived, DerivedStep, DigitsVerdict, ReadingUsed, ValueVerdict, derivations,
};
use crate::span::Lines;
use minijinja::{Environment, Value, context};

/// The page's template, which [`html`] fills.
const PAGE: &str = include_str!("page.html");

/// The page of some reviews.
///
/// The error is the template's, in words: the page that ships has none.
pub fn html(reviews: &[Reviewed]) -> Result<String, String> {
    let mut environment = Environment::new();
    environment.set_formatter(super::visible_value);
    environment.add_template("page.html", PAGE).map_err(|error| error.to_string())?;
    let page = environment.get_template("page.html").map_err(|error| error.to_string())?;
    let files: Vec<Value> = reviews.iter().map(of_file).collect();
    let title = match reviews {
        [only] => only.title().to_string(),
        many => format!("{} notebooks", many.len()),
    };
    let version = env!("CARGO_PKG_VERSION");
    let claims = || reviews.iter().flat_map(|reviewed| &reviewed.review.claims);
    let (has_fine, has_other) = (claims().any(is_fine), claims().any(|claim| !is_fine(claim)));
    page.render(context! { title, files, version, has_fine, has_other }).map_err(|error| error.to_string())
}

fn of_file(reviewed: &Reviewed) -> Value {
    let lines = Lines::of(&reviewed.notebook.text);
    let steps = derivations(reviewed.results, &reviewed.review.claims);
    let claims: Vec<Value> =
        steps.iter().enumerate().map(|(index, derived)| claim(reviewed, &lines, index, derived)).collect();
    let differing =
        reviewed.review.claims.iter().enumerate().filter(|(_, claim)| claim.value == ValueVerdict::Differs);
    let differing = differing.map(|(index, _)| {
        context! { index, name => name(&reviewed.results.claims[index], reviewed.results) }
    });
    let template = reviewed.template.map(|template| format!("{} {}", template.id, template.version));
    let counts: Vec<String> =
        counted(reviewed.review).iter().map(|(count, word)| counted_word(*count, word)).collect();
    let findings = reviewed.of_report.iter().chain(&reviewed.results.findings).map(|finding| {
        let line = finding.span.filter(|_| finding.file.is_none()).map(|span| reviewed.place(&lines, span).0);
        context! { severity => finding.severity.word(), message => finding.message.clone(), line, hints => finding.hints.clone() }
    });
    context! {
        file => reviewed.file,
        title => reviewed.title(),
        authors => reviewed.results.settings.authors.clone(),
        date => reviewed.results.settings.date.as_ref().map(|date| date.value.to_string()),
        sha256 => reviewed.results.sha256.clone(),
        atomic_weights => reviewed.results.atomic_weights.clone(),
        summary => counts.join(", "),
        claims,
        differing => differing.collect::<Vec<Value>>(),
        template,
        findings => findings.collect::<Vec<Value>>(),
    }
}

/// Whether there is nothing to look at: the value agrees and its digits fit.
fn is_fine(review: &ClaimReview) -> bool {
    review.value == ValueVerdict::Agrees
        && !matches!(review.digits, Some(DigitsVerdict::TooMany | DigitsVerdict::TooFew))
}

fn claim(reviewed: &Reviewed, lines: &Lines, index: usize, derived: &Derived) -> Value {
    let (claim, review) = (&reviewed.results.claims[index], &reviewed.review.claims[index]);
    let comma = reviewed.results.settings.decimal == DecimalMark::Comma;
    let slip = review.slip.as_ref().map(|slip| {
        context! {
            what => slip.what.clone(),
            recomputation => slip.recomputation.clone(),
            line => reviewed.line(lines, slip.place),
        }
    });
    let same = review.same_slip_as.map(|other| name(&reviewed.results.claims[other], reviewed.results));
    context! {
        line => reviewed.place(lines, claim.span).0,
        name => name(claim, reviewed.results),
        claimed => written(claim),
        recomputed => recomputed(claim, review, comma),
        mark => mark(&review.value),
        verdict => review.value.word(),
        why => why(reviewed, review),
        digits => digits(claim, review, comma),
        slip,
        same,
        possible => review.possible.iter().map(|slip| slip.what.clone()).collect::<Vec<_>>(),
        is_fine => is_fine(review),
        index,
        steps => derived.steps.iter().map(step).collect::<Vec<_>>(),
        readings => derived.readings.iter().map(|used| reading(reviewed, lines, used)).collect::<Vec<_>>(),
    }
}

fn step(step: &DerivedStep) -> Value {
    context! {
        name => step.name.clone(),
        formula => step.formula.clone(),
        numbers => step.numbers.clone(),
        value => step.value.clone(),
    }
}

fn reading(reviewed: &Reviewed, lines: &Lines, used: &ReadingUsed) -> Value {
    context! {
        label => used.label.clone(),
        trial => used.trial.clone(),
        value => used.value.clone(),
        line => reviewed.line(lines, used.span),
    }
}

fn recomputed(claim: &Claim, review: &ClaimReview, comma: bool) -> String {
    review
        .recomputed
        .as_ref()
        .map_or("–".to_string(), |printed| with_unit(&printed.typographic(comma), claim))
}

/// A mark that says the verdict without colour.
fn mark(verdict: &ValueVerdict) -> &'static str {
    match verdict {
        ValueVerdict::Agrees => "✓",
        ValueVerdict::OffByOne | ValueVerdict::CarriedForward(_) | ValueVerdict::OtherTable(_) => "≈",
        ValueVerdict::Differs => "≠",
        ValueVerdict::CannotBeChecked(_) => "?",
    }
}

fn why(reviewed: &Reviewed, review: &ClaimReview) -> Option<String> {
    match &review.value {
        ValueVerdict::CarriedForward(_) | ValueVerdict::OtherTable(_) => {
            Some(explained(&review.value, reviewed.results))
        }
        ValueVerdict::CannotBeChecked(reason) => Some(reason.clone()),
        _ => None,
    }
}

fn digits(claim: &Claim, review: &ClaimReview, comma: bool) -> String {
    match (review.digits, &review.printed) {
        (Some(digits @ (DigitsVerdict::TooMany | DigitsVerdict::TooFew)), Some(printed)) => {
            format!(
                "{} digits: {} is worth writing",
                digits.word(),
                with_unit(&printed.typographic(comma), claim)
            )
        }
        _ => String::new(),
    }
}
