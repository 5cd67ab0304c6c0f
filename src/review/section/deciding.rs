//! What a person decided, applied to a review and to its marks.

use super::decisions::{Decided, Decision, Decisions, fits};
use super::row::DecidedOfRow;
use crate::evaluation::results::Claim;
use crate::finding::Finding;
use crate::review::formats::Reviewed;
use crate::review::marks::{Award, points_text};
use crate::review::{Review, ValueVerdict, findings};
use crate::template::marks::Marks;

/// A review with a person's verdicts in it.
pub struct AsDecided {
    /// The verdicts as they stand now.
    pub review: Review,
    /// The decisions that were applied.
    pub applied: Vec<DecidedOfRow>,
    /// The decisions about this notebook, as places in their list.
    pub used: Vec<usize>,
    /// What there is to say of those that do not fit.
    pub said: Vec<Finding>,
}

/// Verdicts as a person has decided them. `marks` are the items there are points for.
pub fn as_decided(reviewed: &Reviewed, marks: Option<&Marks>, decisions: &Decisions) -> AsDecided {
    let review = reviewed.review.clone();
    let mut decided = AsDecided { review, applied: Vec::new(), used: Vec::new(), said: Vec::new() };
    for (at, decision) in decisions.of(&reviewed.results.sha256) {
        decided.used.push(at);
        match problem(decision, reviewed, marks, &mut decided.review) {
            Some(problem) => {
                decided.said.push(decisions.say(at, format!("{problem}; the decision is not applied")))
            }
            None => decided.applied.push(DecidedOfRow {
                about: decision.what.about().to_owned(),
                decision: match &decision.what {
                    Decided::Verdict { right: true, .. } => "agrees".to_owned(),
                    Decided::Verdict { .. } => "differs".to_owned(),
                    Decided::Points { points, .. } => format!("{} points", points_text(points)),
                },
                reason: decision.reason.clone(),
            }),
        }
    }
    decided
}

/// Applies the verdict of a decision; why it, or its points, cannot be.
fn problem(
    decision: &Decision,
    reviewed: &Reviewed,
    marks: Option<&Marks>,
    review: &mut Review,
) -> Option<String> {
    match &decision.what {
        Decided::Verdict { claim, right } => {
            let results = reviewed.results;
            let named = |other: &Claim| same_name(&findings::name(other, results), claim);
            let each = results.claims.iter().enumerate();
            let found: Vec<usize> = each.filter(|(_, other)| named(other)).map(|(at, _)| at).collect();
            found.iter().for_each(|at| overrule(review, *at, *right));
            found.is_empty().then(|| format!("{} claims no {claim}", reviewed.file))
        }
        Decided::Points { .. } => match marks {
            Some(marks) => fits(decision, marks),
            None => Some(format!("there are no marks for {}", reviewed.file)),
        },
    }
}

fn same_name(a: &str, b: &str) -> bool {
    let plain = |text: &str| text.split_whitespace().collect::<String>();
    plain(a) == plain(b)
}

/// A claim that a person has judged has no slip; other claims of the same slip keep it.
fn overrule(review: &mut Review, at: usize, right: bool) {
    let Some(claim) = review.claims.get_mut(at) else { return };
    claim.value = if right { ValueVerdict::Agrees } else { ValueVerdict::Differs };
    claim.same_slip_as = None;
    claim.slip = None;
    let mut first = None;
    for (index, claim) in review.claims.iter_mut().enumerate() {
        if claim.same_slip_as == Some(at) {
            claim.same_slip_as = first;
            first = first.or(Some(index));
        }
    }
}

/// Points that a person gave stand in place of those worked out. `sha256` is that of the notebook.
pub fn points_by_hand(awards: &mut [Award], sha256: &str, decisions: &Decisions) {
    for (_, decision) in decisions.of(sha256) {
        let Decided::Points { mark, points } = &decision.what else { continue };
        let award = awards.iter_mut().find(|award| award.item == *mark && *points <= award.possible);
        if let Some(award) = award {
            award.points = Some(points.clone());
            award.by_hand = true;
            award.why = decision.reason.clone().unwrap_or_else(|| "by hand".to_owned());
        }
    }
}
