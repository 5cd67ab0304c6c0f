//! Exact fractions, and 50-digit values where no fraction will do.
use dashu_ratio::RBig;

/// An exact fraction, or a value of 50 digits marked inexact (roots that do not come out, logarithms).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Number {
    value: RBig,
    exact: bool,
}

/// Why an operation has no result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NumberError {
    /// A division by zero.
    DivisionByZero,
    /// A fraction beyond the size limit; never rounded silently.
    TooLarge,
    /// No real result; says which operation on what (`the square root of a negative number`).
    NotReal(&'static str),
}

impl Number {
    /// An exact number.
    pub fn from_fraction(value: RBig) -> Number {
        Number { value, exact: true }
    }

    /// The fraction.
    pub fn fraction(&self) -> &RBig {
        &self.value
    }
}
