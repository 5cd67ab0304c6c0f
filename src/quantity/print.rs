//! Printed forms of a value, by its digits.

use super::{Digits, Number, Rounding};

/// A printed number: ASCII digits with `-` and `.`, and a power of ten where one is split off.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Printed {
    /// The digits, trailing zeros kept (`36.09`, `1.4`).
    pub digits: String,
    /// The power of ten (`2` for 1.4 × 10²).
    pub exponent: Option<i32>,
}

/// Prints a number by its digits (places in the unit of the number).
pub fn print(number: &Number, digits: Digits, rounding: Rounding) -> Printed {
    let _ = (number, digits, rounding);
    todo!()
}

/// The same with one more digit, for numbers put into a worked calculation. Exact numbers get none. The
/// second value says whether the last digit is a guard digit.
pub fn print_guarded(number: &Number, digits: Digits, rounding: Rounding) -> (Printed, bool) {
    let _ = (number, digits, rounding);
    todo!()
}
