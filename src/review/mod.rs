//! The reviewer's side: claimed values against recomputed ones.
//!
//! Every claimed value gets two verdicts, [`ValueVerdict`] and [`DigitsVerdict`], each the first that holds, with
//! the places it rests on. A value that differs is recomputed from the author's own earlier values
//! (`forward`), by the other tables of atomic weights (`tables`), and then looked at for a likely slip
//! ([`slips`]). Nothing here knows the author: a slip is something a claimed value is consistent with.
//!
//! Arithmetic that decides is exact. `f64` only sorts out which of many possible slips are worth an exact look,
//! and weighs how likely it is that one fits by chance.

mod derivation;
mod derived;
pub mod findings;
pub mod formats;
mod forward;
pub mod marks;
mod region;
pub mod remarks;
pub mod report_file;
pub mod section;
mod shown;
pub mod slips;
mod tables;
pub mod template_copy;
mod verdict;
mod written_out;

pub use derived::{Derived, DerivedStep, ReadingUsed, derivations};
pub use verdict::{Carried, ClaimReview, DigitsVerdict, Review, ValueVerdict};

use crate::evaluation::results::{ClaimTarget, Results};
use derivation::Derivation;
pub(crate) use derivation::equal_nodes;
use verdict::Comparison;

/// Reviews every claimed value of a notebook that was evaluated.
///
/// 1. Each claim is compared with its recomputed value, by the digits it was written with and the rounding in
///    force.
/// 2. Where one differs, the derivation graph is looked at: carried forward from the author's own values, right by
///    another table of atomic weights, or else
/// 3. consistent with a slip, where one explanation stands out.
pub fn review(results: &Results) -> Review {
    let mut claims: Vec<ClaimReview> =
        results.claims.iter().map(|claim| verdict::first(claim, results)).collect();
    if claims.iter().any(|claim| claim.value == ValueVerdict::Differs) {
        let derivation = Derivation::of(results, &claims);
        forward::judge(&derivation, &mut claims);
        tables::judge(&derivation, &mut claims);
        slips::search(&derivation, &mut claims);
    }
    Review { claims }
}

/// The comparison a claim asks for; `None` for a formula or a claim of nothing.
fn comparison<'a>(results: &'a Results, claim: usize) -> Option<Comparison<'a>> {
    match &results.claims[claim].target {
        ClaimTarget::Value { node, claimed, unit, by_magnitude, .. } => Some(Comparison {
            node: *node,
            claimed,
            unit,
            by_magnitude: *by_magnitude,
            rounding: results.settings.rounding,
        }),
        _ => None,
    }
}
