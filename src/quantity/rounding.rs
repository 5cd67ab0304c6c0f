//! The one place where numbers are rounded.
//!
//! Rounding divides whole numbers and compares twice the remainder with the divisor, so a tie is a tie of
//! the number as written (0.051065) and not of a binary neighbour. Nothing else in the crate rounds what
//! is shown; other modules ask here for a [`Decimal`].

use super::number::ten_to;
use super::{Decimal, Number};
use dashu_int::ops::UnsignedAbs;
use dashu_int::{IBig, Sign, UBig};
use std::cmp::Ordering;

/// What happens to a value exactly half-way between two neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Rounding {
    /// To the neighbour whose last digit is even (ISO 80000-1 rule A, ASTM E29). The default.
    #[default]
    HalfEven,
    /// Away from zero.
    HalfAwayFromZero,
}

/// Places and numbers of figures are held within this magnitude: no number the program takes on has digits
/// further from the decimal mark ([`MOST_BITS`](super::MOST_BITS) bits are 12,042 digits).
pub const MOST_PLACE: i32 = 13_000;

/// The number rounded to a multiple of 10^`place`. A zero comes out without a sign. Places beyond
/// ±[`MOST_PLACE`] are taken as that.
pub fn round_to_place(number: &Number, place: i32, rounding: Rounding) -> Decimal {
    let place = place.clamp(-MOST_PLACE, MOST_PLACE);
    let (quotient, rest) = number.multiples(place);
    let up = match rest {
        Ordering::Less => false,
        Ordering::Greater => true,
        Ordering::Equal => rounding == Rounding::HalfAwayFromZero || is_odd(&quotient),
    };
    let rounded = if up { quotient + UBig::ONE } else { quotient };
    let negative = number.is_negative() && !rounded.is_zero();
    let sign = if negative { Sign::Negative } else { Sign::Positive };
    Decimal { coefficient: IBig::from_parts(sign, rounded), exponent: place, negative, whole: false }
}

/// The number rounded to so many significant figures (at least one): 9.996 to three is 10.0. Zero gets
/// the digit before the mark and `figures − 1` after it.
pub fn round_to_figures(number: &Number, figures: u32, rounding: Rounding) -> Decimal {
    let figures = figures.clamp(1, MOST_PLACE as u32) as i32;
    let leading = number.leading_power().unwrap_or(0);
    let rounded = round_to_place(number, leading - figures + 1, rounding);
    let carried = rounded.coefficient.clone().unsigned_abs() == ten_to(figures.unsigned_abs());
    // A carry into a new leading digit leaves 10…0, one digit too many, and the last is dropped exactly.
    if carried { without_last_digit(rounded) } else { rounded }
}

fn without_last_digit(decimal: Decimal) -> Decimal {
    Decimal { coefficient: decimal.coefficient / 10, exponent: decimal.exponent + 1, ..decimal }
}

fn is_odd(value: &UBig) -> bool {
    value.trailing_zeros() == Some(0)
}

/// An uncertainty (not below zero) rounded to a multiple of 10^`place`, ties to even. Where rounding would take
/// more than 5 % off, it goes up instead (the rule of EA-4/02, 6.3, from memory): what is left of an
/// uncertainty is never much smaller than it, and never nothing.
pub fn round_uncertainty(uncertainty: &Number, place: i32) -> Decimal {
    let rounded = round_to_place(uncertainty, place, Rounding::HalfEven);
    let least = uncertainty.mul(&Number::from_ratio(95, 100));
    if least.is_ok_and(|least| rounded.to_number() < least) { next(rounded) } else { rounded }
}

fn next(decimal: Decimal) -> Decimal {
    Decimal { coefficient: decimal.coefficient + IBig::ONE, ..decimal }
}
