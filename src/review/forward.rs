//! Error carried forward: each claim recomputed from the author's own earlier values, so that one slip costs one
//! mark.
//!
//! Someone who worked on with an earlier value may have kept digits of it that were never written down. So an
//! earlier claim that differs stands for every number that rounds to it, and a later claim is right from it if
//! some such number gives it. Values that were not claimed may have been rounded on the way to the figures the
//! claim has, to one fewer or to one or two more.

use super::derivation::Derivation;
use super::region::{Change, From, Region};
use super::verdict::{Carried, ClaimReview, ValueVerdict};
use crate::quantity::Number;
use crate::quantity::derivation::{NodeId, Operation};

/// Turns `differs` into `carried forward` where it is.
pub(super) fn judge(derivation: &Derivation, claims: &mut [ClaimReview]) {
    for (index, claim) in claims.iter_mut().enumerate() {
        if claim.value != ValueVerdict::Differs {
            continue;
        }
        let Some(carried) = by_any_way(derivation, index) else { continue };
        if let Carried::Claims(from) = &carried {
            claim.rests_on = from.iter().map(|other| place(derivation, *other)).collect();
        }
        claim.value = ValueVerdict::CarriedForward(carried);
    }
}

/// From the nearest earlier claims, from those behind a claimed mean, from the first ones, or from values that were
/// rounded on the way to other digits than were claimed: what was written down may have been gone on with as the
/// calculator had it.
fn by_any_way(derivation: &Derivation, claim: usize) -> Option<Carried> {
    let graph = &derivation.results.graph;
    let mean = |node: NodeId| graph.node(node).operation == Operation::Mean;
    let later = |node: NodeId| derivation.has_claim_below(node);
    let ways: [&dyn Fn(NodeId) -> bool; 4] = [&|_| false, &mean, &later, &|_| true];
    ways.into_iter().find_map(|open| carried(derivation, &Region::through(derivation, claim, open)?))
}

fn place(derivation: &Derivation, claim: usize) -> (crate::span::Span, String) {
    let claim = &derivation.results.claims[claim];
    (claim.span, format!("from the claimed {}", claim.of))
}

/// What a region's claim is right from, if it is.
fn carried(derivation: &Derivation, region: &Region) -> Option<Carried> {
    for from in region.starts(derivation) {
        if from == From::Recomputed || region.steps(derivation, from, &[]) != Some(0) {
            continue;
        }
        let used = standing(derivation, region, from);
        return Some(match from {
            From::Rounded(figures) if used.is_empty() => Carried::Rounded(figures),
            _ => Carried::Claims(used),
        });
    }
    within_rounding(derivation, region)
}

/// The claims that stand for recomputed values: those that differ, or else all.
fn standing(derivation: &Derivation, region: &Region, from: From) -> Vec<usize> {
    let used = region.nodes.iter().filter_map(|local| region.stands(derivation, local, from));
    let used: Vec<usize> = used.collect();
    let differing: Vec<usize> = used.iter().copied().filter(|claim| derivation.differs[*claim]).collect();
    if differing.is_empty() { used } else { differing }
}

/// Whether numbers that round to the earlier claims that differ give this one.
fn within_rounding(derivation: &Derivation, region: &Region) -> Option<Carried> {
    let used: Vec<(usize, usize)> = region
        .nodes
        .iter()
        .enumerate()
        .filter_map(|(at, local)| Some((at, region.stands(derivation, local, From::Differing)?)))
        .collect();
    if used.is_empty() {
        return None;
    }
    let value = |edit: &[(usize, Change)]| {
        let values = region.exact(derivation, From::Differing, edit)?;
        region.comparison.in_unit(values.last()?)
    };
    let middle = value(&[])?;
    let mut spread = Number::zero();
    for (at, claim) in &used {
        let half = derivation.half_place(*claim)?;
        let own = derivation.claimed_number(*claim)?;
        let ends = [own.add(&half).ok()?, own.sub(&half).ok()?];
        let moved = ends.map(|end| Some(value(&[(*at, Change::Becomes(end))])?.sub(&middle).ok()?.abs()));
        let [up, down] = moved;
        spread = spread.add(&up?.max(down?)).ok()?;
    }
    let comparison = &region.comparison;
    let reached = |end: Number| comparison.steps_above(&end);
    let (high, low) = (reached(middle.add(&spread).ok()?)?, reached(middle.sub(&spread).ok()?)?);
    let (least, most) = (high.min(low), high.max(low));
    (least <= 0 && most >= 0).then(|| Carried::Claims(used.into_iter().map(|(_, claim)| claim).collect()))
}
