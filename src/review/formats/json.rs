//! `reweigh/review/1`: the verdicts as one JSON document with a published schema; numbers as decimal strings.

use super::Reviewed;
use crate::evaluation::{digits_word, rounding_word};
use crate::finding::{Finding, in_json};
use crate::review::findings;
use crate::review::slips::Explanation;
use crate::review::{Carried, ClaimReview, DigitsVerdict, ValueVerdict};
use crate::span::{Lines, Span};
use serde_json::{Value, json};

/// The name of the document's form.
pub const SCHEMA: &str = "reweigh/review/1";

/// Significant figures of `difference`.
const FIGURES: u32 = 34;

/// The reviews of some files as they are written (ends with a newline).
pub fn json(reviews: &[Reviewed]) -> String {
    let document = json!({
        "schema": SCHEMA,
        "program": { "name": "reweigh", "version": env!("CARGO_PKG_VERSION") },
        "reviews": reviews.iter().map(of_file).collect::<Vec<_>>(),
    });
    let mut text = in_json(serde_json::to_string_pretty(&document).unwrap_or_default());
    text.push('\n');
    text
}

fn of_file(reviewed: &Reviewed) -> Value {
    let lines = Lines::of(&reviewed.notebook.text);
    let results = reviewed.results;
    let claims = (0..results.claims.len()).map(|index| claim(reviewed, &lines, index));
    let findings =
        results.findings.iter().chain(reviewed.of_report).map(|found| finding(reviewed, &lines, found));
    json!({
        "file": reviewed.file,
        "notebook": {
            "name": results.name,
            "title": results.settings.title.as_ref().map(|title| &title.value),
            "date": results.settings.date.as_ref().map(|date| date.value.to_string()),
            "sha256": results.sha256,
        },
        "template": reviewed.template.map(|template| json!({
            "id": template.id, "version": template.version, "origin": template.origin.words(),
        })),
        "atomic_weights": results.atomic_weights,
        "digits": digits_word(results.settings.digits),
        "rounding": rounding_word(results.settings.rounding),
        "summary": summary(reviewed),
        "claims": claims.collect::<Vec<_>>(),
        "findings": findings.collect::<Vec<_>>(),
    })
}

fn summary(reviewed: &Reviewed) -> Value {
    let count = |verdict: &ValueVerdict| reviewed.review.count(verdict);
    let digits =
        |verdict| reviewed.review.claims.iter().filter(|claim| claim.digits == Some(verdict)).count();
    json!({
        "claims": reviewed.review.claims.len(),
        "agrees": count(&ValueVerdict::Agrees),
        "off_by_one": count(&ValueVerdict::OffByOne),
        "carried_forward": count(&ValueVerdict::CarriedForward(Carried::Rounded(0))),
        "other_table": count(&ValueVerdict::OtherTable(String::new())),
        "differs": count(&ValueVerdict::Differs),
        "cannot_be_checked": count(&ValueVerdict::CannotBeChecked(String::new())),
        "digits_fitting": digits(DigitsVerdict::Fitting),
        "digits_too_many": digits(DigitsVerdict::TooMany),
        "digits_too_few": digits(DigitsVerdict::TooFew),
    })
}

fn claim(reviewed: &Reviewed, lines: &Lines, index: usize) -> Value {
    let (claim, review) = (&reviewed.results.claims[index], &reviewed.review.claims[index]);
    let (line, column) = reviewed.place(lines, claim.span);
    let trial = claim.trial.map(|trial| &reviewed.results.trials[trial].name);
    json!({
        "of": claim.of,
        "trial": trial,
        "written": claim.written,
        "unit": claim.unit,
        "line": line,
        "column": column,
        "value": value(&review.value),
        "digits": review.digits.map(|digits| digits.word()),
        "recomputed": review.recomputed.as_ref().map(|printed| printed.ascii()),
        "printed": review.printed.as_ref().map(|printed| printed.ascii()),
        "difference": review.difference.as_ref().map(|number| number.to_figures(FIGURES)),
        "relative_difference": review.relative.map(|relative| format!("{relative:.3e}")),
        "slip": review.slip.as_ref().map(|slip| explanation(reviewed, lines, slip)),
        "possible": review.possible.iter().map(|slip| explanation(reviewed, lines, slip)).collect::<Vec<_>>(),
        "same_slip_as": review.same_slip_as,
        "rests_on": rests_on(reviewed, lines, review),
    })
}

fn value(verdict: &ValueVerdict) -> Value {
    let word = verdict.word();
    match verdict {
        ValueVerdict::CarriedForward(Carried::Claims(from)) => {
            json!({ "verdict": word, "from_claims": from })
        }
        ValueVerdict::CarriedForward(Carried::Rounded(figures)) => {
            json!({ "verdict": word, "rounded_to_figures": figures })
        }
        ValueVerdict::OtherTable(table) => json!({ "verdict": word, "table": table }),
        ValueVerdict::CannotBeChecked(reason) => json!({ "verdict": word, "reason": reason }),
        _ => json!({ "verdict": word }),
    }
}

fn explanation(reviewed: &Reviewed, lines: &Lines, slip: &Explanation) -> Value {
    json!({
        "kind": slip.kind.word(),
        "consistent_with": slip.what,
        "recomputation": slip.recomputation,
        "exact": slip.exact,
        "also_gives_claims": slip.supports,
        "line": reviewed.line(lines, slip.place),
    })
}

fn rests_on(reviewed: &Reviewed, lines: &Lines, review: &ClaimReview) -> Value {
    let place = |(span, what): &(Span, String)| {
        let (line, column) = reviewed.place(lines, *span);
        json!({ "line": line, "column": column, "what": what })
    };
    let own = review.rests_on.iter().filter(|(span, _)| span.start < reviewed.own);
    Value::Array(own.map(place).collect())
}

fn finding(reviewed: &Reviewed, lines: &Lines, finding: &Finding) -> Value {
    let place = finding.span.filter(|_| finding.file.is_none()).map(|span| reviewed.place(lines, span));
    json!({
        "code": finding.code.text(),
        "severity": finding.severity.word(),
        "message": finding.message,
        "file": finding.file,
        "line": place.map(|(line, _)| line),
        "column": place.map(|(_, column)| column),
        "hints": finding.hints,
    })
}

/// The verdicts as findings, used by the other open formats.
pub(super) fn verdict_findings(reviewed: &Reviewed) -> Vec<Finding> {
    findings::findings(reviewed.review, reviewed.results)
}
