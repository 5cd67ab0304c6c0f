//! How well trials agree (repeatability): mean, range, s, relative measures.
use crate::quantity::Number;

/// The agreement of n values, unrounded.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// How many values.
    pub n: usize,
    /// The arithmetic mean.
    pub mean: Number,
    /// Largest − smallest.
    pub range: Number,
    /// The standard deviation (divisor n − 1); with n ≥ 2.
    pub s: Option<Number>,
    /// The average magnitude of the deviations from the mean.
    pub average_deviation: Number,
}
