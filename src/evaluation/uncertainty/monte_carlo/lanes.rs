//! The steps of a tape for many draws at once. Each register is a row of numbers, one for each draw.
//!
//! A draw that has no value (a division by zero, the logarithm of a negative number) is not a number from there on,
//! through minimum and maximum too, and is counted at the end.

use super::super::several::{average_deviation, largest, power, range, smallest, standard_deviation};
use super::super::tape::{Register, Step, Sum};
use crate::statistics::vectorised;

/// Draws worked out at once: so many that the steps cost little beside them, so few that the rows stay in the
/// processor's nearest memory.
pub(in super::super) const LANES: usize = 200;

/// One number of each draw.
pub(in super::super) type Row = [f64; LANES];

/// Works out one step from the rows before it.
pub(in super::super) fn work_out(step: &Step, rows: &[Row], out: &mut Row) {
    match step {
        Step::Sum(sum) => weighted(sum, rows, out),
        Step::Multiply(a, b) => product(&rows[*a], &rows[*b], out),
        Step::Divide(a, b) => quotient(&rows[*a], &rows[*b], out),
        Step::DivideConstant(a, b) => quotient(&[*a; LANES], &rows[*b], out),
        Step::Power(a, n) => each(&rows[*a], out, |x| power(x, *n)),
        Step::RealPower(a, b) => pairs(&rows[*a], &rows[*b], out, libm::pow),
        Step::SquareRoot(a) => square_root(&rows[*a], out),
        Step::NaturalLogarithm(a) => each(&rows[*a], out, libm::log),
        Step::DecimalLogarithm(a) => each(&rows[*a], out, libm::log10),
        Step::Exponential(a) => each(&rows[*a], out, libm::exp),
        Step::Magnitude(a) => each(&rows[*a], out, f64::abs),
        Step::Minimum(x) => across(x, rows, out, smallest),
        Step::Maximum(x) => across(x, rows, out, largest),
        Step::StandardDeviation(x) => across(x, rows, out, standard_deviation),
        Step::Range(x) => across(x, rows, out, range),
        Step::AverageDeviation(x) => across(x, rows, out, average_deviation),
    }
}

fn weighted(sum: &Sum, rows: &[Row], out: &mut Row) {
    out.fill(sum.constant);
    for terms in sum.terms.chunks(2) {
        match terms {
            [(a, x), (b, y)] => add_two((*a, &rows[*x]), (*b, &rows[*y]), out),
            [(a, x)] => add_one((*a, &rows[*x]), out),
            _ => {}
        }
    }
}

fn add_two((a, x): (f64, &Row), (b, y): (f64, &Row), out: &mut Row) {
    vectorised(
        #[inline(always)]
        || out.iter_mut().zip(x).zip(y).for_each(|((out, x), y)| *out += a * x + b * y),
    );
}

fn add_one((a, x): (f64, &Row), out: &mut Row) {
    vectorised(
        #[inline(always)]
        || out.iter_mut().zip(x).for_each(|(out, x)| *out += a * x),
    );
}

fn product(x: &Row, y: &Row, out: &mut Row) {
    vectorised(
        #[inline(always)]
        || out.iter_mut().zip(x).zip(y).for_each(|((out, x), y)| *out = x * y),
    );
}

fn quotient(x: &Row, y: &Row, out: &mut Row) {
    vectorised(
        #[inline(always)]
        || out.iter_mut().zip(x).zip(y).for_each(|((out, x), y)| *out = x / y),
    );
}

fn square_root(x: &Row, out: &mut Row) {
    vectorised(
        #[inline(always)]
        || out.iter_mut().zip(x).for_each(|(out, x)| *out = x.sqrt()),
    );
}

fn each(x: &Row, out: &mut Row, of: impl Fn(f64) -> f64) {
    out.iter_mut().zip(x).for_each(|(out, x)| *out = of(*x));
}

fn pairs(x: &Row, y: &Row, out: &mut Row, of: impl Fn(f64, f64) -> f64) {
    out.iter_mut().zip(x).zip(y).for_each(|((out, x), y)| *out = of(*x, *y));
}

/// One draw after the other, its operands together.
fn across(operands: &[Register], rows: &[Row], out: &mut Row, of: impl Fn(&[f64]) -> f64) {
    let mut values = vec![0.0; operands.len()];
    for (lane, out) in out.iter_mut().enumerate() {
        values.iter_mut().zip(operands).for_each(|(value, operand)| *value = rows[*operand][lane]);
        *out = of(&values);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_take_any_number_of_terms() {
        let rows = [[1.0; LANES], [10.0; LANES], [100.0; LANES]];
        let mut out = [0.0; LANES];
        let terms = vec![(1.0, 0), (2.0, 1), (3.0, 2)];
        work_out(&Step::Sum(Sum { constant: 0.5, terms }), &rows, &mut out);
        assert_eq!(out, [321.5; LANES]);
    }
}
