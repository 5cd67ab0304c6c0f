//! Whether a first-order evaluation may stand, judged by Monte Carlo draws (JCGM 101:2008, clause 8).

use super::adaptive::{Drawn, tolerance};
use crate::statistics::CoverageInterval;

/// The comparison of the two coverage intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Validation {
    /// u of the first-order evaluation.
    pub standard: f64,
    /// The interval of the first-order evaluation, y ± U for the same coverage probability.
    pub first_order: CoverageInterval,
    /// The difference at the lower end, |y − U − y_low|.
    pub low: f64,
    /// The difference at the upper end, |y + U − y_high|.
    pub high: f64,
    /// δ: the numerical tolerance of the standard uncertainty.
    pub tolerance: f64,
    /// The verdict.
    pub verdict: Verdict,
}

/// What the comparison comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Neither difference is larger than δ.
    Agrees,
    /// One of them is.
    Differs,
    /// The draws ended before they were good enough to tell, and the differences are near δ.
    NotShown,
}

impl Verdict {
    /// The word of the results file.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Agrees => "agrees",
            Verdict::Differs => "differs",
            Verdict::NotShown => "not shown",
        }
    }
}

impl Validation {
    /// Compares y ± U with the probabilistically symmetric interval of the draws. δ is that of the first-order u
    /// (8.1 a), or of the draws' where that is zero. `None` where the draws have no interval.
    pub fn of(value: f64, standard: f64, expanded: f64, digits: u32, drawn: &Drawn) -> Option<Self> {
        let interval = drawn.symmetric?;
        let tolerance = if standard > 0.0 { tolerance(standard, digits) } else { drawn.tolerance };
        let first_order = CoverageInterval { low: value - expanded, high: value + expanded };
        let (low, high) = ((first_order.low - interval.low).abs(), (first_order.high - interval.high).abs());
        let largest = low.max(high);
        // Draws that are not stable are good to a few δ only; what is far beyond that differs all the same.
        let verdict = match largest <= tolerance {
            _ if !drawn.stable && largest <= 3.0 * tolerance => Verdict::NotShown,
            true => Verdict::Agrees,
            false => Verdict::Differs,
        };
        Some(Validation { standard, first_order, low, high, tolerance, verdict })
    }
}
