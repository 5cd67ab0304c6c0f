//! The verdicts of a review as findings, for the exit status and for formats that know only findings.
//!
//! A value that differs is a warning: look again. Everything else is a note.

use super::verdict::{Carried, ClaimReview, DigitsVerdict, Review, ValueVerdict};
use crate::evaluation::results::{Claim, ClaimTarget, Results};
use crate::finding::{Code, Finding};

/// One finding for each claim that does not agree, or whose digits do not fit, in the order of the claims.
pub fn findings(review: &Review, results: &Results) -> Vec<Finding> {
    let each = results.claims.iter().zip(&review.claims);
    each.flat_map(|(claim, reviewed)| of_claim(claim, reviewed, results)).collect()
}

fn of_claim(claim: &Claim, reviewed: &ClaimReview, results: &Results) -> Vec<Finding> {
    let name = name(claim, results);
    let mut findings = Vec::new();
    let comparison = || {
        let recomputed =
            reviewed.recomputed.as_ref().map_or("nothing".to_string(), |printed| printed.ascii());
        format!("{name} is claimed as {}, recomputed it is {}", written(claim), with_unit(&recomputed, claim))
    };
    let value = match &reviewed.value {
        ValueVerdict::Agrees => None,
        ValueVerdict::Differs => Some(Finding::warning(Code::ClaimDiffers, claim.span, comparison())),
        ValueVerdict::CannotBeChecked(reason) => {
            let message = format!("the claimed {name} cannot be checked: {reason}");
            Some(Finding::note(Code::ClaimUnchecked, claim.span, message))
        }
        other => {
            let message = format!("{}: {}", comparison(), explained(other, results));
            Some(Finding::note(Code::ClaimNear, claim.span, message))
        }
    };
    if let Some(mut finding) = value {
        if let Some(slip) = &reviewed.slip {
            finding = finding.hint(format!("consistent with {}: {}", slip.what, slip.recomputation));
        }
        for (span, what) in &reviewed.rests_on {
            finding = finding.label(*span, what.clone());
        }
        findings.push(finding);
    }
    if let Some(digits @ (DigitsVerdict::TooMany | DigitsVerdict::TooFew)) = reviewed.digits {
        let printed = reviewed.printed.as_ref().map_or(String::new(), |printed| printed.ascii());
        let message = format!(
            "{name} is claimed with {} digits: {}, where {} is worth writing",
            digits.word(),
            written(claim),
            with_unit(&printed, claim)
        );
        findings.push(Finding::note(Code::ClaimDigits, claim.span, message));
    }
    findings
}

/// A verdict between agreeing and differing, in words.
pub fn explained(verdict: &ValueVerdict, results: &Results) -> String {
    match verdict {
        ValueVerdict::CarriedForward(Carried::Claims(from)) => {
            let mut names: Vec<String> =
                from.iter().filter_map(|index| Some(name(results.claims.get(*index)?, results))).collect();
            names.dedup();
            format!("right from the claimed {}", names.join(", "))
        }
        ValueVerdict::CarriedForward(Carried::Rounded(figures)) => {
            format!("right from values rounded to {figures} figures on the way")
        }
        ValueVerdict::OtherTable(table) => format!("right by the atomic weights of {table}"),
        other => other.word().to_string(),
    }
}

/// A claim's name: what it is of, and the trial.
pub fn name(claim: &Claim, results: &Results) -> String {
    match claim.trial.and_then(|trial| results.trials.get(trial)) {
        Some(trial) => format!("{}[{}]", claim.of, trial.name),
        None => claim.of.clone(),
    }
}

/// A claim as written, with its unit.
pub fn written(claim: &Claim) -> String {
    with_unit(&claim.written, claim)
}

/// A number in a claim's unit: the one written, or else the one it was read in.
pub fn with_unit(number: &str, claim: &Claim) -> String {
    match unit(claim) {
        "" => number.to_string(),
        unit => format!("{number} {unit}"),
    }
}

/// The unit a claim is read in; empty for a pure number.
pub fn unit(claim: &Claim) -> &str {
    match (&claim.unit, &claim.target) {
        (Some(unit), _) => unit,
        (None, ClaimTarget::Value { unit, .. }) if !unit.is_one() => unit.symbol(),
        _ => "",
    }
}
