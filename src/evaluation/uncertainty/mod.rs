//! First-order uncertainty along the derivation graph (JCGM 100:2008, 5.1.2 and 5.2.2).
//!
//! Sensitivities are followed back from a value to its leaves, so an input that many results share counts once
//! with its whole sensitivity, and the covariance is right without being written down. An atomic weight is one
//! input however many molar masses it stands in. This is `f64`: uncertainties are good to two digits.

mod budget;
mod coverage;
mod inputs;
mod model;
pub mod monte_carlo;
mod prepared;
mod second_order;
mod sensitivities;
mod several;
mod tape;
mod taylor;

pub use budget::{At, Budget, BudgetEntry, EntryInput, EntryKind};
pub use coverage::Evaluated;
pub use inputs::{Correlation, Evaluation, Input, Inputs, Source};
pub use model::{Covers, Method, Methods, Model, Scatter, evaluate};
pub use prepared::Prepared;
pub use sensitivities::{Sensitivities, sensitivities};

use crate::quantity::rounding::round_to_figures;
use crate::quantity::{Decimal, Rounding};

/// An uncertainty to two figures; `None` for none.
pub fn two_figures(uncertainty: f64) -> Option<String> {
    let positive = uncertainty.is_finite() && uncertainty > 0.0;
    positive.then(|| rounded(uncertainty, 2)).flatten()
}

/// A probability in per cent, as it was stated: `95`, `57.7`.
pub fn percent(probability: f64) -> String {
    figures_of(100.0 * probability, 12)
}

/// A number of statistics to at most so many figures, zeros at the end left out.
pub(super) fn figures_of(number: f64, figures: u32) -> String {
    let text = rounded(number, figures).unwrap_or_else(|| number.to_string());
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_string(),
        false => text,
    }
}

fn rounded(number: f64, figures: u32) -> Option<String> {
    let decimal = Decimal::parse(&format!("{number:.20e}"), false).ok()?;
    Some(round_to_figures(&decimal.to_number(), figures, Rounding::HalfEven).to_string())
}

#[cfg(test)]
mod tests {
    use super::percent;

    #[test]
    fn probabilities_are_shown_as_stated() {
        for stated in ["95", "57.7", "68.27", "99.73", "99.99999"] {
            assert_eq!(percent(stated.parse::<f64>().unwrap() / 100.0), stated);
        }
    }
}
