//! Exact fractions, and 50-digit values where no fraction will do.
//!
//! `+ − × ÷` and whole powers are exact; roots are exact where they come out. Other roots, `ln`, `log10`
//! and `exp` have [`INEXACT_FIGURES`] correctly rounded digits and are marked inexact, and so is whatever
//! is computed from them. A fraction beyond [`MOST_BITS`] is an error, never a silent rounding. Nothing
//! here rounds for display.

use super::fraction::Fraction;
use super::rounding::{MOST_PLACE, Rounding, round_to_figures};
use dashu_float::round::mode::HalfEven;
use dashu_float::{Context, FBig, FpError, Repr};
use dashu_int::ops::{BitTest, DivRem, UnsignedAbs};
use dashu_int::{IBig, UBig};
use dashu_ratio::RBig;
use std::cmp::Ordering;
use std::fmt;
use std::sync::LazyLock;

/// Most bits that numerator and denominator of a fraction may have together (some 12,000 digits).
pub const MOST_BITS: usize = 40_000;
/// Significant digits of values that are no fractions.
pub const INEXACT_FIGURES: u32 = 50;
/// Up to this degree a root is looked for that comes out; the search slows down steeply with the degree.
const MOST_DEGREE: usize = 64;
/// Digits of a root beyond those, to round it by.
const SPARE_FIGURES: u32 = 11;
/// Digits carried while such a value is computed, so that its 50 digits are right.
const WORKING_FIGURES: u32 = 100;

/// The natural logarithm of ten, computed once.
static LN_TEN: LazyLock<Result<Number, NumberError>> = LazyLock::new(|| Number::from_i64(10).working_ln());

/// An exact fraction, or a value of 50 digits marked inexact (roots that do not come out, logarithms).
/// Numbers compare by value, whether exact or not.
#[derive(Clone)]
pub struct Number {
    value: Fraction,
    exact: bool,
}

impl fmt::Debug for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Number({}/{}, {})", self.value.numerator(), self.value.denominator(), self.exact)
    }
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

impl fmt::Display for NumberError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NumberError::DivisionByZero => f.write_str("a division by zero"),
            NumberError::TooLarge => {
                write!(f, "a number too large or too small to be kept exactly (more than {MOST_BITS} bits)")
            }
            NumberError::NotReal(operation) => write!(f, "{operation} has no real value"),
        }
    }
}

impl std::error::Error for NumberError {}

impl PartialEq for Number {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

impl Eq for Number {}

impl PartialOrd for Number {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Number {
    fn cmp(&self, other: &Self) -> Ordering {
        self.value.cmp(&other.value)
    }
}

impl Number {
    /// 0
    pub fn zero() -> Number {
        Number::exactly(Fraction::ZERO)
    }

    /// 1
    pub fn one() -> Number {
        Number::exactly(Fraction::ONE)
    }

    /// A whole number.
    pub fn from_i64(value: i64) -> Number {
        Number::exactly(Fraction::whole(value))
    }

    /// `numerator / denominator`, for fractions known beforehand.
    ///
    /// # Panics
    ///
    /// With a denominator of zero. Where it depends on input, use [`Number::div`].
    pub fn from_ratio(numerator: i64, denominator: i64) -> Number {
        Number::from_fraction(RBig::from_parts_signed(numerator.into(), denominator.into()))
    }

    /// An exact fraction.
    pub fn from_fraction(value: RBig) -> Number {
        Number::exactly(Fraction::from_big(value))
    }

    fn exactly(value: Fraction) -> Number {
        Number { value, exact: true }
    }

    /// 10^`power`, with `power` held within ±[`MOST_PLACE`].
    pub fn power_of_ten(power: i32) -> Number {
        Number::from_decimal(&IBig::ONE, power)
    }

    /// `coefficient × 10^exponent`, with the exponent held within ±[`MOST_PLACE`].
    pub(crate) fn from_decimal(coefficient: &IBig, exponent: i32) -> Number {
        Number::exactly(Fraction::decimal(coefficient, exponent.clamp(-MOST_PLACE, MOST_PLACE)))
    }

    /// The fraction.
    pub fn fraction(&self) -> RBig {
        self.value.to_big()
    }

    /// Whether the fraction is all there is to the value.
    pub fn is_exact(&self) -> bool {
        self.exact
    }

    /// Whether it is zero.
    pub fn is_zero(&self) -> bool {
        self.value.is_zero()
    }

    /// Whether it is below zero.
    pub fn is_negative(&self) -> bool {
        self.signum() < 0
    }

    /// −1, 0 or 1.
    pub fn signum(&self) -> i32 {
        self.value.signum()
    }

    /// Whether it is a whole number.
    pub fn is_whole(&self) -> bool {
        self.value.is_whole()
    }

    /// The whole number it is, if it is one that fits.
    pub fn to_i64(&self) -> Option<i64> {
        self.value.to_i64()
    }

    /// The sum.
    pub fn add(&self, other: &Number) -> Result<Number, NumberError> {
        bounded(self.value.add(&other.value), self.exact && other.exact)
    }

    /// The difference.
    pub fn sub(&self, other: &Number) -> Result<Number, NumberError> {
        bounded(self.value.sub(&other.value), self.exact && other.exact)
    }

    /// The largest less the smallest; `None` of nothing. Where several values are the smallest or the largest and one of them
    /// is not exact, neither is the range: it may be another in truth.
    pub fn range(values: &[&Number]) -> Option<Result<Number, NumberError>> {
        let smallest = values.iter().min_by(|a, b| a.cmp(b).then(a.exact.cmp(&b.exact)))?;
        let largest = values.iter().max_by(|a, b| a.cmp(b).then(b.exact.cmp(&a.exact)))?;
        Some(largest.sub(smallest))
    }

    /// The product.
    pub fn mul(&self, other: &Number) -> Result<Number, NumberError> {
        bounded(self.value.mul(&other.value), self.exact && other.exact)
    }

    /// The quotient; an error where the divisor is zero.
    pub fn div(&self, other: &Number) -> Result<Number, NumberError> {
        if other.is_zero() {
            return Err(NumberError::DivisionByZero);
        }
        bounded(self.value.div(&other.value), self.exact && other.exact)
    }

    /// The number with the other sign.
    pub fn neg(&self) -> Number {
        Number { value: self.value.neg(), exact: self.exact }
    }

    /// The magnitude.
    pub fn abs(&self) -> Number {
        if self.is_negative() { self.neg() } else { self.clone() }
    }

    /// A whole power; 0^0 is 1, a negative power of zero an error. The size of the result is judged before
    /// it is computed.
    pub fn pow(&self, exponent: i64) -> Result<Number, NumberError> {
        if self.is_zero() {
            return match exponent.cmp(&0) {
                Ordering::Less => Err(NumberError::DivisionByZero),
                Ordering::Equal => Ok(Number::one()),
                Ordering::Greater => Ok(self.clone()),
            };
        }
        if let Some(power) = u32::try_from(exponent).ok().and_then(|times| self.value.small_power(times)) {
            return Ok(Number { value: power, exact: self.exact });
        }
        let times = usize::try_from(exponent.unsigned_abs()).map_err(|_| NumberError::TooLarge)?;
        let (sign, numerator) = self.value.numerator().into_parts();
        let denominator = self.value.denominator();
        // A number of b bits is at least 2^(b − 1), so its power has at least (b − 1) × times bits.
        let least_bits = (numerator.bit_len() - 1 + denominator.bit_len() - 1).saturating_mul(times);
        if least_bits > MOST_BITS {
            return Err(NumberError::TooLarge);
        }
        let sign = if times % 2 == 0 { dashu_int::Sign::Positive } else { sign };
        let (above, below) = (small_pow(&numerator, times), small_pow(&denominator, times));
        let (above, below) = if exponent < 0 { (below, above) } else { (above, below) };
        bounded(Fraction::of(IBig::from_parts(sign, above), below), self.exact)
    }

    /// The square root: exact where it comes out, else 50 digits.
    pub fn sqrt(&self) -> Result<Number, NumberError> {
        if self.is_negative() {
            return Err(NumberError::NotReal("the square root of a negative number"));
        }
        if let Some(root) = self.exact_root(2) {
            return Ok(Number { value: root, exact: self.exact });
        }
        // A few digits more than wanted, cut off. An irrational root is never half-way, so where they say half, it
        // is more.
        let leading = self.leading_power().unwrap_or(0).div_euclid(2);
        let wanted = leading - INEXACT_FIGURES as i32 + 1;
        let (numerator, denominator) = self.scaled(2 * (wanted - SPARE_FIGURES as i32));
        let (digits, spare) =
            (numerator.unsigned_abs() / denominator).nth_root(2).div_rem(ten_to(SPARE_FIGURES));
        let up = (spare << 1usize) >= ten_to(SPARE_FIGURES);
        let rounded = IBig::from(if up { digits + UBig::ONE } else { digits });
        Ok(Number { exact: false, ..Number::from_decimal(&rounded, wanted) })
    }

    /// The natural logarithm, to 50 digits; ln 1 is exact.
    pub fn ln(&self) -> Result<Number, NumberError> {
        if self.signum() <= 0 {
            return Err(NumberError::NotReal("the logarithm of zero or a negative number"));
        }
        if self.value.is_one() {
            return Ok(Number { value: Fraction::ZERO, exact: self.exact });
        }
        Ok(self.working_ln()?.inexact())
    }

    /// The logarithm to base ten, to 50 digits; exact for powers of ten.
    pub fn log10(&self) -> Result<Number, NumberError> {
        if self.signum() <= 0 {
            return Err(NumberError::NotReal("the logarithm of zero or a negative number"));
        }
        let leading = self.leading_power().unwrap_or(0);
        if *self == Number::power_of_ten(leading) {
            return Ok(Number { value: Fraction::whole(leading.into()), exact: self.exact });
        }
        let ten = LN_TEN.clone()?;
        Ok(self.working_ln()?.div(&ten)?.inexact())
    }

    /// The exponential, to 50 digits; e^0 is exact.
    pub fn exp(&self) -> Result<Number, NumberError> {
        if self.is_zero() {
            return Ok(Number { value: Fraction::ONE, exact: self.exact });
        }
        Ok(self.working_exp()?.inexact())
    }

    /// A power that need not be whole: exact where it is a root up to the 64th that comes out, else 50
    /// digits.
    pub fn powf(&self, exponent: &Number) -> Result<Number, NumberError> {
        let exact = self.exact && exponent.exact;
        if exponent.is_whole() {
            return self.whole_power(exponent);
        }
        if self.is_zero() {
            return if exponent.is_negative() { Err(NumberError::DivisionByZero) } else { Ok(self.clone()) };
        }
        if self.is_negative() {
            return Err(NumberError::NotReal("a broken power of a negative number"));
        }
        if self.value.is_one() {
            return Ok(Number { exact, ..self.clone() });
        }
        if let Some(power) = self.exact_power(exponent) {
            return Ok(Number { exact, ..power? });
        }
        let exponential = self.working_ln()?.mul(exponent)?;
        Ok(exponential.working_exp()?.inexact())
    }

    fn whole_power(&self, exponent: &Number) -> Result<Number, NumberError> {
        let exact = self.exact && exponent.exact;
        // Only 0, 1 and −1 have powers of such size; their parity decides.
        let whole = exponent.to_i64().unwrap_or_else(|| {
            let odd = exponent.value.numerator().trailing_zeros() == Some(0);
            let magnitude = i64::MAX - i64::from(!odd);
            if exponent.is_negative() { -magnitude } else { magnitude }
        });
        self.pow(whole).map(|power| Number { exact: exact && power.exact, ..power })
    }

    /// The power by a root that comes out; `None` where it does not.
    fn exact_power(&self, exponent: &Number) -> Option<Result<Number, NumberError>> {
        let degree = usize::try_from(exponent.value.denominator()).ok()?;
        let root = Number::exactly(self.exact_root(degree)?);
        let times = Number::exactly(Fraction::of(exponent.value.numerator(), UBig::ONE));
        Some(root.whole_power(&times))
    }

    /// The root of a positive number, if it is a fraction.
    fn exact_root(&self, degree: usize) -> Option<Fraction> {
        let numerator = exact_root(&self.value.numerator().unsigned_abs(), degree)?;
        let denominator = exact_root(&self.value.denominator(), degree)?;
        Some(Fraction::of(IBig::from(numerator), denominator))
    }

    /// floor(log10 |v|), exactly: the power of ten of the leading digit. `None` for zero.
    pub fn leading_power(&self) -> Option<i32> {
        self.value.leading_power()
    }

    /// Numerator and denominator of the number divided by 10^`place`.
    pub(super) fn scaled(&self, place: i32) -> (IBig, UBig) {
        self.value.scaled(place)
    }

    /// The magnitude in whole multiples of 10^`place`, and how twice the rest compares with one more of them.
    pub(super) fn multiples(&self, place: i32) -> (UBig, Ordering) {
        self.value.multiples(place)
    }

    /// The nearest double, for statistics tables and plots; infinite or zero beyond its range.
    pub fn to_f64(&self) -> f64 {
        self.value.to_f64()
    }

    /// The number to `figures` significant figures, half even, as ASCII: plain for ordinary magnitudes,
    /// else `1.2e-7`. Where that is all of the number, zeros at the end of its decimals are dropped.
    pub fn to_figures(&self, figures: u32) -> String {
        super::print::figures(self, figures)
    }

    /// Whether [`Self::to_figures`] of so many figures is exactly the number.
    pub fn terminates_within(&self, figures: u32) -> bool {
        self.exact && round_to_figures(self, figures, Rounding::HalfEven).to_number() == *self
    }

    /// The number to 50 digits, marked inexact.
    fn inexact(self) -> Number {
        let rounded = round_to_figures(&self, INEXACT_FIGURES, Rounding::HalfEven).to_number();
        Number { value: rounded.value, exact: false }
    }

    /// The natural logarithm of a positive number to the working digits. Near one it is taken of the
    /// difference from one, so that its digits are significant ones.
    fn working_ln(&self) -> Result<Number, NumberError> {
        let context = Context::<HalfEven>::new(WORKING_FIGURES as usize);
        let excess = Number::exactly(self.value.sub(&Fraction::ONE));
        let result = if excess.leading_power().is_none_or(|power| power < -1) {
            context.ln_1p::<10>(&excess.working(), None)
        } else {
            context.ln::<10>(&self.working(), None)
        };
        finished(result)
    }

    /// The exponential to the working digits; too large where its digits would not fit.
    fn working_exp(&self) -> Result<Number, NumberError> {
        // e^x has x / ln 10 digits before or after the mark: beyond 27,000 they are more than the limit.
        if self.abs() > Number::from_i64(27_000) {
            return Err(NumberError::TooLarge);
        }
        // Below that, e^x is 1 to all working digits, and its digits need not be computed.
        if self.leading_power().is_none_or(|power| power < -(WORKING_FIGURES as i32)) {
            return Ok(Number::one());
        }
        finished(Context::<HalfEven>::new(WORKING_FIGURES as usize).exp::<10>(&self.working(), None))
    }

    /// The number as a float with more than the working digits.
    fn working(&self) -> Repr<10> {
        let rounded = round_to_figures(self, WORKING_FIGURES + 20, Rounding::HalfEven);
        Repr::new(rounded.coefficient, rounded.exponent as isize)
    }
}

/// The float's exact value as a number.
fn finished(
    result: Result<dashu_float::round::Rounded<FBig<HalfEven, 10>>, FpError>,
) -> Result<Number, NumberError> {
    let float = result.map_err(|_| NumberError::TooLarge)?.value();
    if float.repr().is_infinite() {
        return Err(NumberError::TooLarge);
    }
    let (coefficient, exponent) = float.into_repr().into_parts();
    let exponent = i32::try_from(exponent).map_err(|_| NumberError::TooLarge)?;
    bounded(Number::from_decimal(&coefficient, exponent).value, false)
}

fn bounded(value: Fraction, exact: bool) -> Result<Number, NumberError> {
    if !value.fits() && value.bits() > MOST_BITS {
        return Err(NumberError::TooLarge);
    }
    Ok(Number { value, exact })
}

/// 10^power.
pub(super) fn ten_to(power: u32) -> UBig {
    match 10u128.checked_pow(power) {
        Some(small) => UBig::from(small),
        None => UBig::from(10u8).pow(power as usize),
    }
}

/// A power where the base may be one and the exponent huge.
fn small_pow(base: &UBig, times: usize) -> UBig {
    if base.is_one() { UBig::ONE } else { base.pow(times) }
}

/// The root of a whole number, if it is one.
fn exact_root(value: &UBig, degree: usize) -> Option<UBig> {
    if value.is_one() || value.is_zero() {
        return Some(value.clone());
    }
    // A number above one with no more bits than the degree lies between 1 and 2^degree.
    if degree > MOST_DEGREE || value.bit_len() <= degree {
        return None;
    }
    let root = value.nth_root(degree);
    (root.pow(degree) == *value).then_some(root)
}

/// The circle's number to 60 decimals (OEIS A000796).
const PI: &str = "3.141592653589793238462643383279502884197169399375105820974944";

impl Number {
    /// The circle's number, to 50 digits and more, marked inexact.
    pub fn pi() -> Number {
        let digits =
            super::Decimal::parse(PI, false).map_or_else(|_| Number::zero(), |decimal| decimal.to_number());
        Number { value: digits.value, exact: false }
    }

    /// Euler's number, to 50 digits, marked inexact.
    pub fn e() -> Number {
        Number::one().exp().unwrap_or_else(|_| Number::one())
    }
}
