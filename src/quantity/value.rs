//! A number with its dimension and its digits.
//!
//! Every operation does three things: the exact arithmetic, the dimension, the last place. Values are in
//! coherent SI units; a [`Unit`] matters only when one is read or shown.

use super::{Decimal, Digits, Dimension, Number, NumberError, Unit};
use dashu_int::ops::UnsignedAbs;
use std::cmp::Ordering;
use std::fmt;

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
    /// A unit (its spelling and dimension) that a quantity of another dimension (the last) was asked in.
    NotInUnit(String, Dimension, Dimension),
    /// A statistic of too few values: its name, how many it needs, how many there are.
    TooFew(&'static str, usize, usize),
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            QuantityError::Number(error) => error.fmt(f),
            QuantityError::Mismatch(a, b) => {
                write!(
                    f,
                    "{} and {} cannot be added, subtracted or compared",
                    a.with_article(),
                    b.with_article()
                )
            }
            QuantityError::NotPure(operation, found) => {
                write!(f, "{operation} needs a pure number, not {}", found.with_article())
            }
            QuantityError::FractionalDimension => {
                f.write_str("a power or root whose unit has no whole exponents, or too large ones")
            }
            QuantityError::NotInUnit(unit, wanted, found) => {
                write!(
                    f,
                    "{} cannot be given in {unit}, a unit of {}",
                    found.with_article(),
                    wanted.describe()
                )
            }
            QuantityError::TooFew(name, needed, found) => {
                write!(f, "{name} needs at least {needed} values, and there are {found}")
            }
        }
    }
}

impl std::error::Error for QuantityError {}

impl From<NumberError> for QuantityError {
    fn from(error: NumberError) -> Self {
        QuantityError::Number(error)
    }
}

type Result<T> = std::result::Result<T, QuantityError>;

impl Quantity {
    /// A value without a limit of digits.
    pub fn exact(number: Number, dimension: Dimension) -> Quantity {
        Quantity { number, dimension, digits: Digits::Exact }
    }

    /// A written number in its unit. `measured`: its last place counts (readings, decimal literals); else it
    /// is exact (whole-number literals).
    pub fn from_decimal(decimal: &Decimal, unit: &Unit, measured: bool) -> Result<Quantity> {
        let written = decimal.to_number();
        let scaled = written.mul(unit.factor())?;
        let digits = match measured {
            true => rescaled(Digits::Measured(decimal.place()), &written, &scaled, unit, 1),
            false => Digits::Exact,
        };
        let number = unit.zero().map_or(Ok(scaled.clone()), |zero| scaled.add(zero))?;
        Ok(Quantity { number, dimension: unit.dimension(), digits })
    }

    /// The sum of two quantities of one dimension.
    pub fn add(&self, other: &Quantity) -> Result<Quantity> {
        self.same_dimension(other)?;
        Ok(self.with(self.number.add(&other.number)?, Digits::sum(&[self.digits, other.digits])))
    }

    /// The difference of two quantities of one dimension (of two temperatures in °C: in K).
    pub fn sub(&self, other: &Quantity) -> Result<Quantity> {
        self.same_dimension(other)?;
        Ok(self.with(self.number.sub(&other.number)?, Digits::sum(&[self.digits, other.digits])))
    }

    /// The product.
    pub fn mul(&self, other: &Quantity) -> Result<Quantity> {
        let number = self.number.mul(&other.number)?;
        let digits = Digits::product(self.counted(), other.counted(), &number);
        let dimension = self.dimension.times(other.dimension).ok_or(QuantityError::FractionalDimension)?;
        Ok(Quantity { number, dimension, digits })
    }

    /// The quotient.
    pub fn div(&self, other: &Quantity) -> Result<Quantity> {
        let number = self.number.div(&other.number)?;
        let digits = Digits::quotient(self.counted(), other.counted(), &number);
        let dimension = self.dimension.over(other.dimension).ok_or(QuantityError::FractionalDimension)?;
        Ok(Quantity { number, dimension, digits })
    }

    /// The quantity with the other sign.
    pub fn neg(&self) -> Quantity {
        self.with(self.number.neg(), self.digits)
    }

    /// The magnitude.
    pub fn abs(&self) -> Quantity {
        self.with(self.number.abs(), self.digits)
    }

    /// A whole power, which keeps the figures. A base without figures has its last place raised too.
    pub fn pow(&self, exponent: i64) -> Result<Quantity> {
        let number = self.number.pow(exponent)?;
        let dimension = self.dimension.power(exponent, 1).ok_or(QuantityError::FractionalDimension)?;
        let place = i64::from(self.digits.place().unwrap_or(0)).saturating_mul(exponent);
        let digits = self.digits.kept(&self.number, &number, clamped(place));
        Ok(Quantity { number, dimension, digits: if exponent == 0 { Digits::Exact } else { digits } })
    }

    /// A power that need not be whole; the exponent is a pure number.
    ///
    /// A root or another fixed exponent keeps the figures of the base, and so does any whole or 1/n exponent
    /// of a measured base, however it is written (`x^0.5`). Otherwise a measured exponent limits as an
    /// exponential does: as many figures as it has decimals (`10^-4.74` has two).
    pub fn powf(&self, exponent: &Quantity) -> Result<Quantity> {
        exponent.pure("an exponent")?;
        let number = self.number.powf(&exponent.number)?;
        let digits = self.power_digits(exponent, &number);
        Ok(Quantity { number, dimension: self.power_dimension(&exponent.number)?, digits })
    }

    fn power_dimension(&self, exponent: &Number) -> Result<Dimension> {
        if self.dimension.is_pure() {
            return Ok(Dimension::PURE);
        }
        let (numerator, denominator) = exponent.fraction().into_parts();
        let (numerator, denominator) = (i64::try_from(numerator).ok(), i64::try_from(denominator).ok());
        let dimension = numerator.zip(denominator).and_then(|(n, d)| self.dimension.power(n, d));
        dimension.ok_or(QuantityError::FractionalDimension)
    }

    fn power_digits(&self, exponent: &Quantity, result: &Number) -> Digits {
        let fraction = exponent.number.fraction();
        let root = fraction.is_int() || fraction.numerator().clone().unsigned_abs().is_one();
        let kept = || self.digits.kept(&self.number, result, self.power_place(&exponent.number));
        match (self.digits.place(), exponent.digits.place()) {
            (_, None) => kept(),
            (Some(_), Some(_)) if root => kept(),
            (_, Some(_)) => kept().coarser(exponent.digits.exponential(result)),
        }
    }

    /// Where the last place of a base without figures goes: raised to the power, and up to a whole place.
    fn power_place(&self, exponent: &Number) -> i32 {
        let place = i64::from(self.digits.place().unwrap_or(0));
        match exponent.to_i64() {
            Some(whole) => clamped(place.saturating_mul(whole)),
            None => clamped((place as f64 * exponent.to_f64()).ceil() as i64),
        }
    }

    /// The square root, which keeps the figures.
    pub fn sqrt(&self) -> Result<Quantity> {
        let number = self.number.sqrt()?;
        let dimension = self.dimension.power(1, 2).ok_or(QuantityError::FractionalDimension)?;
        // Half the place, up to a whole one.
        let place = -self.digits.place().unwrap_or(0).saturating_neg().div_euclid(2);
        let digits = self.digits.kept(&self.number, &number, place);
        Ok(Quantity { number, dimension, digits })
    }

    /// The natural logarithm of a pure number: as many decimals as that has figures.
    pub fn ln(&self) -> Result<Quantity> {
        self.pure("ln")?;
        Ok(self.with(self.number.ln()?, self.digits.logarithm(&self.number)))
    }

    /// The logarithm to base ten of a pure number: as many decimals as that has figures.
    pub fn log10(&self) -> Result<Quantity> {
        self.pure("log10")?;
        Ok(self.with(self.number.log10()?, self.digits.logarithm(&self.number)))
    }

    /// The exponential of a pure number: as many figures as that has decimals.
    pub fn exp(&self) -> Result<Quantity> {
        self.pure("exp")?;
        let number = self.number.exp()?;
        let digits = self.digits.exponential(&number);
        Ok(self.with(number, digits))
    }

    /// Compares two quantities of one dimension by their unrounded values.
    pub fn cmp_value(&self, other: &Quantity) -> Result<Ordering> {
        self.same_dimension(other)?;
        Ok(self.number.cmp(&other.number))
    }

    /// The number in a unit, unrounded.
    pub fn number_in(&self, unit: &Unit) -> Result<Number> {
        if self.dimension != unit.dimension() {
            let symbol = unit.symbol().to_owned();
            return Err(QuantityError::NotInUnit(symbol, unit.dimension(), self.dimension));
        }
        let above_zero = unit.zero().map_or(Ok(self.number.clone()), |zero| self.number.sub(zero))?;
        Ok(above_zero.div(unit.factor())?)
    }

    /// The digits with the place in a unit: moved by a decimal factor; the count of figures kept by another.
    /// Without a limit for a unit of another dimension, which has no number either.
    pub fn digits_in(&self, unit: &Unit) -> Digits {
        if let (Some(power), None, true) = (unit.power(), unit.zero(), self.dimension == unit.dimension()) {
            return self.digits.shifted(-power);
        }
        match self.number_in(unit) {
            Ok(number) => rescaled(self.digits, &self.number, &number, unit, -1),
            Err(_) => Digits::Exact,
        }
    }

    /// The arithmetic mean; the last place of the coarsest value.
    pub fn mean(values: &[&Quantity]) -> Result<Quantity> {
        let (first, sum) = total("a mean", values, 1)?;
        let mean = sum.div(&count(values))?;
        Ok(first.with(mean, coarsest(values)))
    }

    /// The standard deviation with divisor n − 1; the last place of the coarsest value.
    pub fn standard_deviation(values: &[&Quantity]) -> Result<Quantity> {
        let (first, sum) = total("a standard deviation", values, 2)?;
        let mean = sum.div(&count(values))?;
        let squares =
            deviations(values, &mean)?.iter().try_fold(Number::zero(), |sum, d| sum.add(&d.mul(d)?))?;
        let variance = squares.div(&count(values).sub(&Number::one())?)?;
        Ok(first.with(variance.sqrt()?, coarsest(values)))
    }

    /// Largest minus smallest; the last place of the coarsest value.
    pub fn range(values: &[&Quantity]) -> Result<Quantity> {
        let largest = Quantity::max(values)?;
        let numbers: Vec<&Number> = values.iter().map(|value| &value.number).collect();
        let range = Number::range(&numbers).unwrap_or_else(|| Ok(Number::zero()))?;
        Ok(largest.with(range, coarsest(values)))
    }

    /// The mean magnitude of the deviations from the mean; the last place of the coarsest value.
    pub fn average_deviation(values: &[&Quantity]) -> Result<Quantity> {
        let (first, sum) = total("an average deviation", values, 1)?;
        let mean = sum.div(&count(values))?;
        let magnitudes =
            deviations(values, &mean)?.iter().try_fold(Number::zero(), |sum, d| sum.add(&d.abs()))?;
        Ok(first.with(magnitudes.div(&count(values))?, coarsest(values)))
    }

    /// The smallest, with its digits; the first of equals.
    pub fn min(values: &[&Quantity]) -> Result<Quantity> {
        chosen("min", values, Ordering::Less)
    }

    /// The largest, with its digits; the first of equals.
    pub fn max(values: &[&Quantity]) -> Result<Quantity> {
        chosen("max", values, Ordering::Greater)
    }

    fn with(&self, number: Number, digits: Digits) -> Quantity {
        Quantity { number, dimension: self.dimension, digits }
    }

    fn counted(&self) -> (&Number, Digits) {
        (&self.number, self.digits)
    }

    fn same_dimension(&self, other: &Quantity) -> Result<()> {
        if self.dimension == other.dimension {
            return Ok(());
        }
        Err(QuantityError::Mismatch(self.dimension, other.dimension))
    }

    fn pure(&self, operation: &'static str) -> Result<()> {
        if self.dimension.is_pure() { Ok(()) } else { Err(QuantityError::NotPure(operation, self.dimension)) }
    }
}

/// The digits of a number after its unit has changed: `direction` 1 from the unit to SI, −1 back.
fn rescaled(digits: Digits, from: &Number, to: &Number, unit: &Unit, direction: i32) -> Digits {
    if unit.zero().is_some() {
        // A count of figures does not outlast another zero, its last place does.
        return Digits::sum(&[digits]);
    }
    if let Some(power) = unit.power() {
        return digits.shifted(power * direction);
    }
    let power = unit.factor().leading_power().unwrap_or(0) * direction;
    digits.kept(from, to, digits.place().unwrap_or(0).saturating_add(power))
}

fn clamped(place: i64) -> i32 {
    let most = i64::from(super::rounding::MOST_PLACE);
    place.clamp(-most, most) as i32
}

fn count(values: &[&Quantity]) -> Number {
    Number::from_i64(values.len() as i64)
}

fn coarsest(values: &[&Quantity]) -> Digits {
    Digits::sum(&values.iter().map(|value| value.digits).collect::<Vec<_>>())
}

/// The first value and the sum of all, which must be of one dimension and at least `needed`.
fn total<'a>(name: &'static str, values: &[&'a Quantity], needed: usize) -> Result<(&'a Quantity, Number)> {
    let first = values.first().filter(|_| values.len() >= needed);
    let first = first.ok_or(QuantityError::TooFew(name, needed, values.len()))?;
    let mut sum = Number::zero();
    for value in values {
        first.same_dimension(value)?;
        sum = sum.add(&value.number)?;
    }
    Ok((first, sum))
}

fn deviations(values: &[&Quantity], mean: &Number) -> Result<Vec<Number>> {
    values.iter().map(|value| Ok(value.number.sub(mean)?)).collect()
}

fn chosen(name: &'static str, values: &[&Quantity], wanted: Ordering) -> Result<Quantity> {
    let mut chosen = *values.first().ok_or(QuantityError::TooFew(name, 1, 0))?;
    for value in values {
        if value.cmp_value(chosen)? == wanted {
            chosen = value;
        }
    }
    Ok(chosen.clone())
}

#[cfg(test)]
mod tests {
    use super::super::{Rounding, print};
    use super::*;

    fn q(text: &str, unit: &str) -> Quantity {
        let decimal = Decimal::parse(text, false).unwrap();
        let unit = Unit::parse(unit).unwrap();
        Quantity::from_decimal(&decimal, &unit, !decimal.is_integer_literal()).unwrap()
    }

    fn shown(quantity: &Quantity, unit: &str) -> String {
        let unit = Unit::parse(unit).unwrap();
        let number = quantity.number_in(&unit).unwrap();
        print(&number, quantity.digits_in(&unit), Rounding::HalfEven).ascii()
    }

    #[test]
    fn a_hydrate_by_hand() {
        let water = q("19.3127", "g").sub(&q("18.9381", "g")).unwrap();
        let sample = q("19.3127", "g").sub(&q("18.2746", "g")).unwrap();
        assert_eq!(shown(&water, "mg"), "374.6");
        assert_eq!(shown(&water.div(&sample).unwrap(), "%"), "36.09");
    }

    #[test]
    fn a_count_of_figures_survives_a_carry() {
        let product = q("2.499", "1").mul(&q("4.00", "1")).unwrap();
        assert_eq!(shown(&product, "1"), "10.0");
        assert_eq!(shown(&product.mul(&q("1.111", "1")).unwrap(), "1"), "11.1");
        assert_eq!(shown(&q("9.9964", "1").add(&q("0.00", "1")).unwrap(), "1"), "10.00");
    }
}
