//! A number with its dimension and its digits.
use super::{Digits, Dimension, Number, NumberError};

/// A value: its number in coherent SI units, its dimension and its last place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Quantity {
    /// The number in coherent SI units (kg, m³, mol, 1).
    pub number: Number,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// How far it can be trusted.
    pub digits: Digits,
}

/// Why an operation on quantities has no result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum QuantityError {
    /// The numbers do not allow it.
    Number(NumberError),
    /// Two dimensions that should be the same.
    Mismatch(Dimension, Dimension),
    /// An argument that should be a pure number; says of which operation.
    NotPure(&'static str, Dimension),
    /// A dimension whose exponents do not come out whole, or out of range.
    FractionalDimension,
}
