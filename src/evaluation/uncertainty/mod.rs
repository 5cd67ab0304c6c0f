//! First-order uncertainty along the derivation graph (JCGM 100:2008, 5.1.2 and 5.2.2).
//!
//! Sensitivities are followed back from a value to its leaves, so an input that many results share counts once
//! with its whole sensitivity, and the covariance is right without being written down. An atomic weight is one
//! input however many molar masses it stands in. This is `f64`: uncertainties are good to two digits.

pub mod inputs;
mod sensitivities;

pub use inputs::{Input, Inputs};
pub use sensitivities::sensitivities;

use crate::quantity::rounding::round_to_figures;
use crate::quantity::{Decimal, Rounding};

/// An uncertainty to two figures; `None` for none.
pub(super) fn two_figures(uncertainty: f64) -> Option<String> {
    let decimal = Decimal::parse(&format!("{uncertainty:.20e}"), false).ok()?;
    let positive = uncertainty.is_finite() && uncertainty > 0.0;
    positive.then(|| round_to_figures(&decimal.to_number(), 2, Rounding::HalfEven).to_string())
}
