//! Taylor polynomials in two variables up to the third degree.

use std::ops::{Add, Mul, Sub};

/// The exponents of the two variables, in the order of the coefficients.
const EXPONENTS: [(usize, usize); 10] =
    [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2), (3, 0), (2, 1), (1, 2), (0, 3)];

/// Where the product of two coefficients goes; 10 is nowhere (above the third degree).
const PRODUCT: [[usize; 10]; 10] = products();

const fn products() -> [[usize; 10]; 10] {
    let mut table = [[10; 10]; 10];
    let mut i = 0;
    while i < 10 {
        let mut j = 0;
        while j < 10 {
            let wanted = (EXPONENTS[i].0 + EXPONENTS[j].0, EXPONENTS[i].1 + EXPONENTS[j].1);
            let mut k = 0;
            while k < 10 {
                if EXPONENTS[k].0 == wanted.0 && EXPONENTS[k].1 == wanted.1 {
                    table[i][j] = k;
                }
                k += 1;
            }
            j += 1;
        }
        i += 1;
    }
    table
}

/// A polynomial in the deviations of two inputs from their estimates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Taylor([f64; 10]);

impl Taylor {
    pub(super) fn constant(value: f64) -> Self {
        Taylor::linear(value, 0.0, 0.0)
    }

    pub(super) fn linear(value: f64, along_a: f64, along_b: f64) -> Self {
        let mut coefficients = [0.0; 10];
        coefficients[..3].copy_from_slice(&[value, along_a, along_b]);
        Taylor(coefficients)
    }

    pub(super) fn value(&self) -> f64 {
        self.0[0]
    }

    pub(super) fn is_constant(&self) -> bool {
        self.0[1..].iter().all(|coefficient| *coefficient == 0.0)
    }

    pub(super) fn scaled(self, factor: f64) -> Self {
        Taylor(self.0.map(|coefficient| coefficient * factor))
    }

    /// ½ f″² + f′ f‴ along the first variable: the terms with i = j.
    pub(super) fn own_terms(&self) -> f64 {
        let [first, second, third] = [self.0[1], 2.0 * self.0[3], 6.0 * self.0[6]];
        0.5 * second * second + first * third
    }

    /// f_ab² + f_a f_abb + f_b f_aab: the terms (i, j) and (j, i) together.
    pub(super) fn cross_terms(&self) -> f64 {
        let [a, b, ab] = [self.0[1], self.0[2], self.0[4]];
        let [aab, abb] = [2.0 * self.0[7], 2.0 * self.0[8]];
        ab * ab + a * abb + b * aab
    }

    /// g(self), by the value and the first three derivatives of g at the constant term.
    fn composed(self, [g, first, second, third]: [f64; 4]) -> Self {
        let deviation = Taylor({
            let mut coefficients = self.0;
            coefficients[0] = 0.0;
            coefficients
        });
        let square = deviation * deviation;
        let sum = deviation.scaled(first) + square.scaled(second / 2.0);
        sum + (square * deviation).scaled(third / 6.0) + Taylor::constant(g)
    }

    /// A constant power.
    pub(super) fn power(self, exponent: f64) -> Self {
        let x = self.value();
        let derivative = |order: i32| {
            let factor: f64 = (0..order).map(|step| exponent - f64::from(step)).product();
            if factor == 0.0 { 0.0 } else { factor * x.powf(exponent - f64::from(order)) }
        };
        self.composed([derivative(0), derivative(1), derivative(2), derivative(3)])
    }

    pub(super) fn ln(self) -> Self {
        let x = self.value();
        self.composed([x.ln(), 1.0 / x, -1.0 / (x * x), 2.0 / (x * x * x)])
    }

    pub(super) fn exp(self) -> Self {
        self.composed([self.value().exp(); 4])
    }
}

impl Add for Taylor {
    type Output = Taylor;

    fn add(self, other: Taylor) -> Taylor {
        let mut sum = self.0;
        sum.iter_mut().zip(other.0).for_each(|(sum, other)| *sum += other);
        Taylor(sum)
    }
}

impl Sub for Taylor {
    type Output = Taylor;

    fn sub(self, other: Taylor) -> Taylor {
        self + other.scaled(-1.0)
    }
}

impl Mul for Taylor {
    type Output = Taylor;

    fn mul(self, other: Taylor) -> Taylor {
        // The last place takes what is above the third degree.
        let mut product = [0.0; 11];
        for (i, a) in self.0.iter().enumerate().filter(|(_, a)| **a != 0.0) {
            for (j, b) in other.0.iter().enumerate() {
                product[PRODUCT[i][j]] += a * b;
            }
        }
        let mut kept = [0.0; 10];
        kept.copy_from_slice(&product[..10]);
        Taylor(kept)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn a(value: f64) -> Taylor {
        Taylor::linear(value, 1.0, 0.0)
    }

    fn b(value: f64) -> Taylor {
        Taylor::linear(value, 0.0, 1.0)
    }

    // By hand: f = x y has f_xy = 1 and nothing else beyond the first order; f = x² has ½ f″² = 2; f = x³ at
    // x = 1 has ½ 36 + 3 · 6 = 36; f = eˣ at 0 has ½ + 1; f = x y² has f_xy² + f_x f_xyy = 4 y² + 2 y².
    #[test]
    fn terms_by_hand() {
        assert_eq!((a(3.0) * b(5.0)).cross_terms(), 1.0);
        assert_eq!((a(3.0) * a(3.0)).own_terms(), 2.0);
        assert_eq!(a(1.0).power(3.0).own_terms(), 36.0);
        assert_eq!(a(0.0).exp().own_terms(), 1.5);
        assert_eq!((a(3.0) * b(5.0) * b(5.0)).cross_terms(), 6.0 * 25.0);
    }

    #[test]
    fn powers_of_zero_have_derivatives() {
        assert_eq!(a(0.0).power(2.0), a(0.0) * a(0.0));
        assert_eq!(a(0.0).power(1.0), a(0.0));
    }

    #[test]
    fn quotients_and_logarithms_undo_each_other() {
        let close = |x: Taylor, y: Taylor| x.0.iter().zip(y.0).all(|(x, y)| (x - y).abs() < 1e-12);
        let x = a(2.0) * b(0.5) + a(1.0);
        assert!(close(x * x.power(-1.0), Taylor::constant(1.0)));
        assert!(close(x.ln().exp(), x));
        assert!(close(x.power(0.5) * x.power(0.5), x));
    }
}
