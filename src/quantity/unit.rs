//! Units: SI with prefixes and the few others of the bench, as exact factors to coherent SI.
use super::Number;

/// Exponents of the base units kg, m, s, A, K, mol, cd.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub struct Dimension(pub [i8; 7]);

/// A unit: its spelling, dimension, exact factor to the coherent SI unit, and for °C the zero point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unit {
    symbol: String,
    dimension: Dimension,
    factor: Number,
    zero: Option<Number>,
}

/// Why a text is not a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitError {
    /// What is wrong, lower case.
    pub message: String,
    /// The nearest known unit, if one is near.
    pub suggestion: Option<String>,
}
