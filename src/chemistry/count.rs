//! How many atoms: small exact fractions.
//!
//! Counts are whole for nearly every formula and halves or decimals for a few (`CaSO4·½H2O`, `Fe0.95O`). They are kept
//! in two machine words, so that reading a formula needs no big numbers; what does not fit is refused, never rounded.

use dashu_int::{IBig, UBig};
use dashu_ratio::RBig;

/// A fraction above zero, in lowest terms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Count {
    upper: u64,
    lower: u64,
}

impl Count {
    /// 1
    pub const ONE: Count = Count { upper: 1, lower: 1 };

    /// `upper/lower`; `None` where one of them is zero or, in lowest terms, too large.
    pub fn of(upper: u128, lower: u128) -> Option<Count> {
        let divisor = if lower == 1 { 1 } else { common(upper, lower) };
        let word = |value: u128| u64::try_from(value / divisor).ok().filter(|word| *word > 0);
        Some(Count { upper: word(upper)?, lower: word(lower)? })
    }

    /// The product; `None` where it is too large.
    pub fn times(self, other: Count) -> Option<Count> {
        Count::of(
            u128::from(self.upper) * u128::from(other.upper),
            u128::from(self.lower) * u128::from(other.lower),
        )
    }

    /// The quotient; `None` where it is too large.
    pub fn over(self, other: Count) -> Option<Count> {
        self.times(Count { upper: other.lower, lower: other.upper })
    }

    /// The sum; `None` where it is too large.
    pub fn plus(self, other: Count) -> Option<Count> {
        let cross = |a: Count, b: Count| u128::from(a.upper) * u128::from(b.lower);
        let upper = cross(self, other).checked_add(cross(other, self))?;
        Count::of(upper, u128::from(self.lower) * u128::from(other.lower))
    }

    /// Whether neither it nor its denominator is above a bound.
    pub fn within(self, most: u64) -> bool {
        self.lower <= most && u128::from(self.upper) <= u128::from(most) * u128::from(self.lower)
    }

    /// Numerator and denominator.
    pub fn parts(self) -> (u64, u64) {
        (self.upper, self.lower)
    }

    /// The nearest `f64`, for uncertainties.
    pub fn to_f64(self) -> f64 {
        self.upper as f64 / self.lower as f64
    }

    /// The same as a fraction of big numbers.
    pub fn fraction(self) -> RBig {
        match self.lower {
            1 => RBig::from(self.upper),
            lower => RBig::from_parts(IBig::from(self.upper), UBig::from(lower)),
        }
    }
}

fn common(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_kept_in_lowest_terms() {
        let half = Count::of(5, 10).expect("a count");
        assert_eq!(Some(half), Count::of(1, 2));
        assert_eq!(half.plus(half), Some(Count::ONE));
        assert_eq!(half.times(Count::of(4, 1).expect("a count")), Count::of(2, 1));
        assert_eq!(half.fraction(), RBig::ONE / RBig::from(2));
    }

    #[test]
    fn nothing_is_zero_and_nothing_wraps_round() {
        let large = Count::of(u128::from(u64::MAX), 1).expect("a count");
        assert_eq!((Count::of(0, 1), large.plus(Count::ONE), large.times(large)), (None, None, None));
        assert!(large.within(u64::MAX) && !large.within(1_000_000_000));
        assert!(Count::of(1, 3).expect("a count").within(3) && !Count::of(1, 3).expect("a count").within(2));
    }
}
