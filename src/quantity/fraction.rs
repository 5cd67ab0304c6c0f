//! Exact fractions: in machine words where they fit, else of big integers.
//!
//! Readings, molar masses, unit factors and nearly all that follows from them fit in 127 bits above and below the
//! line. There an operation takes some tens of nanoseconds and no memory; what does not fit goes to `dashu_ratio`
//! and comes back as soon as it fits again. Both hold the same fraction in lowest terms, so nothing depends on
//! which of them it is.

use dashu_int::ops::{BitTest, UnsignedAbs};
use dashu_int::{IBig, Sign, UBig};
use dashu_ratio::RBig;
use std::cmp::Ordering;

/// A fraction in lowest terms with a denominator above zero. One that fits in words is in words, so equal fractions
/// are equal by their parts.
#[derive(Clone, PartialEq, Eq)]
pub(super) enum Fraction {
    /// Numerator and denominator, both of magnitude at most [`MOST_WORDS`].
    Words(i128, u128),
    /// What does not fit.
    Big(Box<RBig>),
}

use Fraction::{Big, Words};

/// The largest magnitude of a part in words.
const MOST_WORDS: u128 = i128::MAX as u128;
/// Whole numbers up to this are exact doubles.
const MOST_EXACT_DOUBLE: u128 = 1 << 53;
/// Bits of a quotient that decide a double together with a mark for the rest.
const DECIDING_BITS: u32 = 60;
/// Powers of ten that fit.
const TENS: [u128; 39] = tens();

const fn tens() -> [u128; 39] {
    let mut tens = [1; 39];
    let mut power = 1;
    while power < tens.len() {
        tens[power] = tens[power - 1] * 10;
        power += 1;
    }
    tens
}

impl Fraction {
    pub(super) const ZERO: Fraction = Words(0, 1);
    pub(super) const ONE: Fraction = Words(1, 1);

    pub(super) fn whole(value: i64) -> Fraction {
        Words(value.into(), 1)
    }

    /// A fraction in any terms; the denominator is above zero.
    pub(super) fn of(numerator: IBig, denominator: UBig) -> Fraction {
        match (i128::try_from(&numerator), u128::try_from(&denominator)) {
            (Ok(above), Ok(below)) => reduced(above, below),
            _ => None,
        }
        .unwrap_or_else(|| Fraction::from_big(RBig::from_parts(numerator, denominator)))
    }

    pub(super) fn from_big(value: RBig) -> Fraction {
        let parts = (i128::try_from(value.numerator()), u128::try_from(value.denominator()));
        match parts {
            (Ok(above), Ok(below)) if above.unsigned_abs() <= MOST_WORDS && below <= MOST_WORDS => {
                Words(above, below)
            }
            _ => Big(Box::new(value)),
        }
    }

    /// `coefficient × 10^power`.
    pub(super) fn decimal(coefficient: &IBig, power: i32) -> Fraction {
        if let Some(small) = small_decimal(coefficient, power) {
            return small;
        }
        let scale = super::number::ten_to(power.unsigned_abs());
        match power < 0 {
            true => Fraction::of(coefficient.clone(), scale),
            false => Fraction::of(coefficient * IBig::from(scale), UBig::ONE),
        }
    }

    pub(super) fn to_big(&self) -> RBig {
        match self {
            Words(above, below) => RBig::from_parts(IBig::from(*above), UBig::from(*below)),
            Big(value) => (**value).clone(),
        }
    }

    pub(super) fn numerator(&self) -> IBig {
        match self {
            Words(above, _) => IBig::from(*above),
            Big(value) => value.numerator().clone(),
        }
    }

    pub(super) fn denominator(&self) -> UBig {
        match self {
            Words(_, below) => UBig::from(*below),
            Big(value) => value.denominator().clone(),
        }
    }

    /// Whether both parts are in words.
    pub(super) fn fits(&self) -> bool {
        matches!(self, Words(..))
    }

    /// How many bits both parts have together.
    pub(super) fn bits(&self) -> usize {
        match self {
            Words(above, below) => (bits(above.unsigned_abs()) + bits(*below)) as usize,
            Big(value) => value.numerator().bit_len() + value.denominator().bit_len(),
        }
    }

    pub(super) fn is_zero(&self) -> bool {
        matches!(self, Words(0, _))
    }

    pub(super) fn is_one(&self) -> bool {
        matches!(self, Words(1, 1))
    }

    pub(super) fn is_whole(&self) -> bool {
        match self {
            Words(_, below) => *below == 1,
            Big(value) => value.is_int(),
        }
    }

    /// The whole number it is, if it is one that fits.
    pub(super) fn to_i64(&self) -> Option<i64> {
        match self {
            Words(above, 1) => i64::try_from(*above).ok(),
            _ => None,
        }
    }

    pub(super) fn signum(&self) -> i32 {
        match self {
            Words(above, _) => above.signum() as i32,
            Big(value) if value.numerator().sign() == Sign::Negative => -1,
            Big(_) => 1,
        }
    }

    pub(super) fn neg(&self) -> Fraction {
        match self {
            Words(above, below) => Words(-above, *below),
            Big(value) => Big(Box::new(-(**value).clone())),
        }
    }

    /// The reciprocal of a fraction that is not zero.
    fn reciprocal(&self) -> Option<Fraction> {
        match self {
            Words(above, below) => {
                let size = *below as i128;
                Some(Words(if *above < 0 { -size } else { size }, above.unsigned_abs()))
            }
            Big(_) => None,
        }
    }

    pub(super) fn add(&self, other: &Fraction) -> Fraction {
        if let (Words(a, b), Words(c, d)) = (self, other)
            && let Some(sum) = sum(*a, *b, *c, *d)
        {
            return sum;
        }
        Fraction::from_big(self.to_big() + other.to_big())
    }

    pub(super) fn sub(&self, other: &Fraction) -> Fraction {
        if let (Words(a, b), Words(c, d)) = (self, other)
            && let Some(difference) = sum(*a, *b, -*c, *d)
        {
            return difference;
        }
        Fraction::from_big(self.to_big() - other.to_big())
    }

    pub(super) fn mul(&self, other: &Fraction) -> Fraction {
        if let (Words(a, b), Words(c, d)) = (self, other)
            && let Some(product) = product(*a, *b, *c, *d)
        {
            return product;
        }
        Fraction::from_big(self.to_big() * other.to_big())
    }

    /// The quotient; the divisor is not zero.
    pub(super) fn div(&self, other: &Fraction) -> Fraction {
        if let (Words(a, b), Some(Words(c, d))) = (self, other.reciprocal())
            && let Some(quotient) = product(*a, *b, c, d)
        {
            return quotient;
        }
        Fraction::from_big(self.to_big() / other.to_big())
    }

    /// A whole power above zero where the result fits in words.
    pub(super) fn small_power(&self, times: u32) -> Option<Fraction> {
        let Words(above, below) = self else { return None };
        let (above, below) = (above.checked_pow(times)?, below.checked_pow(times)?);
        (above.unsigned_abs() <= MOST_WORDS && below <= MOST_WORDS).then_some(Words(above, below))
    }

    /// floor(log10 |v|), exactly; `None` for zero.
    pub(super) fn leading_power(&self) -> Option<i32> {
        if self.is_zero() {
            return None;
        }
        match self {
            Words(above, below) => {
                let above = above.unsigned_abs();
                let bits = i64::from(bits(above)) - i64::from(bits(*below));
                Some(leading(bits, |power| reaches(above, *below, power)))
            }
            Big(value) => {
                let above = value.numerator().unsigned_abs();
                let bits = above.bit_len() as i64 - value.denominator().bit_len() as i64;
                Some(leading(bits, |power| big_reaches(&above, value.denominator(), power)))
            }
        }
    }

    /// Numerator and denominator of the fraction divided by 10^`place`.
    pub(super) fn scaled(&self, place: i32) -> (IBig, UBig) {
        let scale = super::number::ten_to(place.unsigned_abs());
        match place < 0 {
            true => (self.numerator() * IBig::from(scale), self.denominator()),
            false => (self.numerator(), self.denominator() * scale),
        }
    }

    /// The magnitude in whole multiples of 10^`place`, and how twice the rest compares with one more of them.
    pub(super) fn multiples(&self, place: i32) -> (UBig, Ordering) {
        self.multiples_in_words(place).map_or_else(
            || {
                let (numerator, denominator) = self.scaled(place);
                let magnitude = numerator.unsigned_abs();
                let quotient = &magnitude / &denominator;
                let rest = magnitude - &quotient * &denominator;
                (quotient, (rest << 1usize).cmp(&denominator))
            },
            |(quotient, rest)| (UBig::from(quotient), rest),
        )
    }

    fn multiples_in_words(&self, place: i32) -> Option<(u128, Ordering)> {
        let Words(above, below) = self else { return None };
        let scale = *TENS.get(place.unsigned_abs() as usize)?;
        let (above, below) = match place < 0 {
            true => (times_plain(above.unsigned_abs(), scale)?, *below),
            false => (above.unsigned_abs(), times_plain(*below, scale)?),
        };
        let (quotient, rest) = match (u64::try_from(above), u64::try_from(below)) {
            (Ok(above), Ok(below)) => (u128::from(above / below), u128::from(above % below)),
            _ => (above / below, above % below),
        };
        Some((quotient, rest.cmp(&(below - rest))))
    }

    /// The nearest double, ties to even; infinite or zero beyond its range.
    pub(super) fn to_f64(&self) -> f64 {
        match self {
            Words(above, below)
                if above.unsigned_abs() <= MOST_EXACT_DOUBLE && *below <= MOST_EXACT_DOUBLE =>
            {
                *above as f64 / *below as f64
            }
            Words(above, below) => {
                let size = nearest_double(above.unsigned_abs(), *below);
                if *above < 0 { -size } else { size }
            }
            Big(value) => value.to_f64().value(),
        }
    }
}

impl Ord for Fraction {
    fn cmp(&self, other: &Fraction) -> Ordering {
        match (self, other) {
            (Words(a, b), Words(c, d)) if b == d => a.cmp(c),
            (Words(a, b), Words(c, d)) => {
                let (left, right) = (times(*a, *d as i128), times(*c, *b as i128));
                match (left, right) {
                    (Some(left), Some(right)) => left.cmp(&right),
                    _ => self.to_big().cmp(&other.to_big()),
                }
            }
            _ => self.to_big().cmp(&other.to_big()),
        }
    }
}

impl PartialOrd for Fraction {
    fn partial_cmp(&self, other: &Fraction) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// `coefficient × 10^power` where it fits.
fn small_decimal(coefficient: &IBig, power: i32) -> Option<Fraction> {
    let coefficient = i128::try_from(coefficient).ok()?;
    let scale = *TENS.get(power.unsigned_abs() as usize)?;
    match power < 0 {
        true => reduced(coefficient, scale),
        // Powers of ten that fit are below i128::MAX.
        false => in_words(times(coefficient, scale as i128)?, 1),
    }
}

/// In lowest terms; `None` where a part does not fit.
fn reduced(above: i128, below: u128) -> Option<Fraction> {
    let common = common(above.unsigned_abs(), below);
    if common > MOST_WORDS {
        return None;
    }
    in_words(over(above, common), over_plain(below, common))
}

/// A number over one of its divisors, at most [`MOST_WORDS`]. Most numbers fit in half the word, where a division is one
/// instruction.
fn over(above: i128, divisor: u128) -> i128 {
    match (i64::try_from(above), i64::try_from(divisor)) {
        _ if divisor == 1 => above,
        (Ok(above), Ok(divisor)) => (above / divisor).into(),
        _ => above / divisor as i128,
    }
}

/// The same without a sign.
fn over_plain(above: u128, divisor: u128) -> u128 {
    match (u64::try_from(above), u64::try_from(divisor)) {
        _ if divisor == 1 => above,
        (Ok(above), Ok(divisor)) => (above / divisor).into(),
        _ => above / divisor,
    }
}

/// The product where it fits.
fn times(a: i128, b: i128) -> Option<i128> {
    match (i64::try_from(a), i64::try_from(b)) {
        (Ok(a), Ok(b)) => Some(i128::from(a) * i128::from(b)),
        _ => a.checked_mul(b),
    }
}

/// The same without a sign.
fn times_plain(a: u128, b: u128) -> Option<u128> {
    match (u64::try_from(a), u64::try_from(b)) {
        (Ok(a), Ok(b)) => Some(u128::from(a) * u128::from(b)),
        _ => a.checked_mul(b),
    }
}

/// Parts in lowest terms; `None` where one does not fit.
fn in_words(above: i128, below: u128) -> Option<Fraction> {
    (above != i128::MIN && below <= MOST_WORDS).then_some(Words(above, below))
}

/// a/b + c/d (Knuth, The Art of Computer Programming, vol. 2, 4.5.1): what the denominators share is taken out
/// beforehand, so the parts stay small.
fn sum(a: i128, b: u128, c: i128, d: u128) -> Option<Fraction> {
    if b == d {
        let above = a.checked_add(c)?;
        return if b == 1 { in_words(above, b) } else { reduced(above, b) };
    }
    let shared = common(b, d);
    // Denominators are at most MOST_WORDS.
    let (left, right) = (over_plain(b, shared), over_plain(d, shared));
    let above = times(a, right as i128)?.checked_add(times(c, left as i128)?)?;
    let common = if shared == 1 { 1 } else { common(above.unsigned_abs(), shared) };
    let below = times_plain(left, over_plain(d, common))?;
    in_words(over(above, common), below)
}

/// a/b × c/d, brought to lowest terms crosswise before anything is multiplied.
fn product(a: i128, b: u128, c: i128, d: u128) -> Option<Fraction> {
    if a == 0 || c == 0 {
        return Some(Fraction::ZERO);
    }
    let (first, second) = (common(a.unsigned_abs(), d), common(c.unsigned_abs(), b));
    // Common divisors of parts are at most MOST_WORDS.
    let above = times(over(a, first), over(c, second))?;
    let below = times_plain(over_plain(b, second), over_plain(d, first))?;
    in_words(above, below)
}

/// The greatest common divisor, by halving and subtracting (Knuth, vol. 2, 4.5.2, algorithm B); that with zero is
/// the other number.
fn common(mut a: u128, mut b: u128) -> u128 {
    if a == 1 || b == 1 {
        return 1;
    }
    if a == 0 || b == 0 {
        return a | b;
    }
    if let (Ok(a), Ok(b)) = (u64::try_from(a), u64::try_from(b)) {
        return common_in_half(a, b).into();
    }
    // Numbers of unlike size come near each other in one division.
    if bits(a) > bits(b) + 8 {
        a %= b;
    } else if bits(b) > bits(a) + 8 {
        b %= a;
    }
    if a == 0 || b == 0 {
        return a | b;
    }
    let twos = (a | b).trailing_zeros();
    a >>= a.trailing_zeros();
    b >>= b.trailing_zeros();
    while a != b {
        if let (Ok(a), Ok(b)) = (u64::try_from(a), u64::try_from(b)) {
            return u128::from(common_odd(a, b)) << twos;
        }
        if a > b {
            std::mem::swap(&mut a, &mut b);
        }
        b -= a;
        b >>= b.trailing_zeros();
    }
    a << twos
}

/// The greatest common divisor of two numbers above zero that fit in half the word.
fn common_in_half(mut a: u64, mut b: u64) -> u64 {
    // Numbers of unlike size come near each other in one division.
    if a > b {
        std::mem::swap(&mut a, &mut b);
    }
    b %= a;
    if b == 0 {
        return a;
    }
    let twos = (a | b).trailing_zeros();
    common_odd(a >> a.trailing_zeros(), b >> b.trailing_zeros()) << twos
}

/// The greatest common divisor of two odd numbers.
fn common_odd(mut a: u64, mut b: u64) -> u64 {
    while a != b {
        let (less, more) = if a < b { (a, b) } else { (b, a) };
        let difference = more - less;
        (a, b) = (less, difference >> difference.trailing_zeros());
    }
    a
}

fn bits(value: u128) -> u32 {
    u128::BITS - value.leading_zeros()
}

/// The largest power of ten that a number of about so many bits reaches. The estimate is at most one off; exact
/// comparisons decide.
fn leading(bits: i64, reaches: impl Fn(i32) -> bool) -> i32 {
    let mut power = (bits * 30_103).div_euclid(100_000) as i32;
    while !reaches(power) {
        power -= 1;
    }
    while reaches(power + 1) {
        power += 1;
    }
    power
}

/// Whether above / below ≥ 10^power. A product that does not fit is the larger side, for neither part alone
/// fills the words.
fn reaches(above: u128, below: u128, power: i32) -> bool {
    let scale = TENS.get(power.unsigned_abs() as usize);
    match power < 0 {
        true => scale.and_then(|scale| times_plain(above, *scale)).is_none_or(|above| above >= below),
        false => scale.and_then(|scale| times_plain(below, *scale)).is_some_and(|below| above >= below),
    }
}

fn big_reaches(above: &UBig, below: &UBig, power: i32) -> bool {
    let scale = super::number::ten_to(power.unsigned_abs());
    match power < 0 {
        true => above * scale >= *below,
        false => *above >= below * scale,
    }
}

/// above / below as a double: the first bits of the quotient by long division, with a mark in the last one where
/// something is left, are rounded once.
fn nearest_double(above: u128, below: u128) -> f64 {
    let (mut quotient, mut rest, mut shift) = (above / below, above % below, 0);
    while rest != 0 && bits(quotient) < DECIDING_BITS {
        // Both fit: the quotient has less than 60 bits, and the rest is below a part of at most 127.
        let step = rest.leading_zeros().min(64);
        rest <<= step;
        quotient = (quotient << step) | (rest / below);
        rest %= below;
        shift += step;
    }
    let marked = quotient | u128::from(rest != 0);
    // Halved so many times, at most some 190, which a double's exponent holds: no second rounding.
    marked as f64 * f64::from_bits(u64::from(1023 - shift) << 52)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Parts of every size, from small ones to some beyond the words.
    fn part() -> impl Strategy<Value = IBig> {
        (any::<i128>(), 0u32..127, any::<bool>()).prop_map(|(value, fewer, beyond)| {
            let part = IBig::from(value >> fewer);
            if beyond && fewer == 0 { part * IBig::from(value) } else { part }
        })
    }

    fn fraction() -> impl Strategy<Value = RBig> {
        (part(), part()).prop_map(|(above, below)| RBig::from_parts(above, below.unsigned_abs() + UBig::ONE))
    }

    /// The same fraction, in words exactly where it fits.
    fn same(found: &Fraction, expected: &RBig) {
        assert_eq!(found.to_big(), *expected);
        assert!(*found == Fraction::from_big(expected.clone()));
    }

    proptest! {
        // `dashu_ratio` is the other side.
        #[test]
        fn arithmetic_is_that_of_big_integers(a in fraction(), b in fraction()) {
            let (x, y) = (Fraction::from_big(a.clone()), Fraction::from_big(b.clone()));
            same(&x.add(&y), &(&a + &b));
            same(&x.sub(&y), &(&a - &b));
            same(&x.mul(&y), &(&a * &b));
            same(&x.neg(), &-a.clone());
            prop_assert_eq!(x.cmp(&y), a.cmp(&b));
            prop_assert_eq!(x.to_f64().to_bits(), a.to_f64().value().to_bits());
            if !b.is_zero() {
                same(&x.div(&y), &(&a / &b));
            }
        }

        #[test]
        fn parts_in_any_terms(above in part(), below in part(), shared in 1u64..100_000) {
            let (above, below) = (above * shared, (below.unsigned_abs() + UBig::ONE) * shared);
            same(&Fraction::of(above.clone(), below.clone()), &RBig::from_parts(above, below));
        }

        #[test]
        fn decimals_of_any_size(value in any::<i128>(), fewer in 0u32..127, place in -60i32..60) {
            let fraction = Fraction::from_big(RBig::from(value >> fewer)).mul(&Fraction::decimal(&IBig::ONE, place));
            let (numerator, denominator) = (fraction.numerator().unsigned_abs(), fraction.denominator());
            if let Some(power) = fraction.leading_power() {
                prop_assert!(big_reaches(&numerator, &denominator, power));
                prop_assert!(!big_reaches(&numerator, &denominator, power + 1));
            }
            for at in [-40, -3, 0, 3, 40] {
                let (above, below) = fraction.scaled(at);
                let (quotient, rest) = fraction.multiples(at);
                let left = above.unsigned_abs() - &quotient * &below;
                prop_assert!(left < below);
                prop_assert_eq!(rest, (left << 1usize).cmp(&below));
            }
        }

        #[test]
        fn common_divisors(a in 0u64.., b in 0u64.., shared in 1u64..) {
            use dashu_int::ops::Gcd;
            let (a, b) = (u128::from(a) * u128::from(shared), u128::from(b) * u128::from(shared));
            let expected = if a == 0 && b == 0 { UBig::ZERO } else { UBig::from(a).gcd(UBig::from(b)) };
            prop_assert_eq!(UBig::from(common(a, b)), expected);
        }
    }

    #[test]
    fn powers_of_ten_are_their_own_leading_power() {
        for power in -38..=38 {
            let ten = Fraction::decimal(&IBig::ONE, power);
            assert_eq!(ten.leading_power(), Some(power));
            let less = ten.mul(&Fraction::of(IBig::from(999_999), UBig::from(1_000_000u32)));
            assert_eq!(less.leading_power(), Some(power - 1));
        }
    }
}
