//! How well trials agree (repeatability): mean, range, s, relative measures.

use crate::quantity::{Number, NumberError};

/// The agreement of n values, unrounded, in the unit of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// How many values.
    pub n: usize,
    /// The arithmetic mean.
    pub mean: Number,
    /// Largest − smallest.
    pub range: Number,
    /// The square of the standard deviation (divisor n − 1); with n ≥ 2.
    pub variance: Option<Number>,
}

impl Agreement {
    /// The agreement of some values; `None` for no value.
    ///
    /// # Errors
    /// [`NumberError::TooLarge`] where the fractions grow beyond the size limit.
    pub fn of(values: &[Number]) -> Result<Option<Self>, NumberError> {
        let Some(range) = Number::range(&values.iter().collect::<Vec<_>>()) else { return Ok(None) };
        let sum = sum(values)?;
        let variance = variance(values, &sum)?;
        let mean = sum.div(&count(values.len()))?;
        Ok(Some(Agreement { n: values.len(), range: range?, variance, mean }))
    }

    /// The standard deviation (divisor n − 1); with n ≥ 2. Exact where the root comes out, else 50 digits.
    pub fn s(&self) -> Option<Number> {
        self.variance.as_ref()?.sqrt().ok()
    }

    /// The same as a double, without the 50 digits.
    pub fn s_as_double(&self) -> Option<f64> {
        Some(self.variance.as_ref()?.to_f64().sqrt())
    }
}

/// By halves: the denominators of unlike fractions multiply, and so the long ones come last.
fn sum(values: &[Number]) -> Result<Number, NumberError> {
    match values {
        [] => Ok(Number::zero()),
        [value] => Ok(value.clone()),
        _ => {
            let (first, second) = values.split_at(values.len() / 2);
            sum(first)?.add(&sum(second)?)
        }
    }
}

/// (Σ x² − (Σ x)²/n)/(n − 1): with fractions nothing is lost by it, and a square of a value is a far shorter fraction than one of its
/// deviation from the mean.
fn variance(values: &[Number], sum_of_values: &Number) -> Result<Option<Number>, NumberError> {
    if values.len() < 2 {
        return Ok(None);
    }
    let squares = values.iter().map(|value| value.mul(value)).collect::<Result<Vec<_>, _>>()?;
    let of_sum = sum_of_values.mul(sum_of_values)?.div(&count(values.len()))?;
    Ok(Some(sum(&squares)?.sub(&of_sum)?.div(&count(values.len() - 1))?))
}

fn count(n: usize) -> Number {
    Number::from_i64(i64::try_from(n).unwrap_or(i64::MAX))
}

/// The factor by which the repeatability limit r (of two results) grows to the critical range of n results
/// at 95 %: ISO 5725-6, table 1, f(n) over f(2) = 2.8 (values from memory). `None` outside 2 … 10.
pub fn critical_range_factor(n: usize) -> Option<Number> {
    const TENTHS: [i64; 9] = [28, 33, 36, 39, 40, 42, 43, 44, 45];
    let tenths = TENTHS.get(n.checked_sub(2)?)?;
    Some(Number::from_ratio(*tenths, 28))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Decimal;

    fn numbers(texts: &[&str]) -> Vec<Number> {
        texts.iter().map(|text| Decimal::parse(text, false).unwrap().to_number()).collect()
    }

    // D. Harvey, Modern Analytical Chemistry (2000), table 4.1: seven pennies; mean 3.117 g, s 0.051 g,
    // range 0.142 g.
    #[test]
    fn pennies() {
        let pennies = numbers(&["3.080", "3.094", "3.107", "3.056", "3.112", "3.174", "3.198"]);
        let agreement = Agreement::of(&pennies).unwrap().unwrap();
        assert_eq!(agreement.n, 7);
        assert_eq!(agreement.mean, Number::from_ratio(21_821, 7_000));
        assert!((agreement.s().unwrap().to_f64() - 0.051).abs() < 0.0005);
        assert_eq!(agreement.range, numbers(&["0.142"])[0]);
    }

    // Two roots of 2 are one to 50 digits: whether they are to all of them is not said by these.
    #[test]
    fn a_range_of_nothing_is_as_exact_as_all_that_are_equal() {
        let one = Number::one();
        let root = Number::from_i64(2).sqrt().unwrap();
        let nearly = root.div(&root).unwrap();
        assert!(nearly == one && !nearly.is_exact());
        let is_exact =
            |values: &[&Number]| Number::range(values).unwrap().is_ok_and(|range| range.is_exact());
        assert!(is_exact(&[&one, &one]));
        for values in [[&one, &nearly, &one], [&nearly, &one, &one], [&one, &one, &nearly]] {
            assert!(!is_exact(&values));
            let values: Vec<Number> = values.into_iter().cloned().collect();
            assert!(!Agreement::of(&values).unwrap().unwrap().range.is_exact());
        }
    }

    // NIST Statistical Reference Datasets, NumAcc1: 10000001, 10000003, 10000002 have mean 10000002 and s 1.
    #[test]
    fn a_root_that_comes_out_is_exact() {
        let agreement = Agreement::of(&numbers(&["10000001", "10000003", "10000002"])).unwrap().unwrap();
        assert_eq!(agreement.mean, Number::from_i64(10_000_002));
        assert_eq!(agreement.s(), Some(Number::one()));
    }
}
