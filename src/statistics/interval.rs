//! What n values say of their mean: its interval, and the test against a known value.

use super::student::{student_t, student_t_share};

/// The half-width t s/√n of the interval that holds the mean with a probability, for values scattered
/// normally; in the unit of s. `None` for fewer than two values.
pub fn interval_of_mean(s: f64, n: usize, probability: f64) -> Option<f64> {
    let degrees_of_freedom = n.checked_sub(1)? as f64;
    Some(student_t(degrees_of_freedom, probability)? * s / (n as f64).sqrt())
}

/// The one-sample t test of a mean against a known value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TTest {
    /// (mean − known value) / (s/√n).
    pub t: f64,
    /// n − 1.
    pub degrees_of_freedom: usize,
    /// The chance of a deviation at least as large in either direction if the known value were the true mean.
    pub p: f64,
}

impl TTest {
    /// The test of a mean of n values against a value known without uncertainty. `None` for fewer than two
    /// values, or for values without scatter, of which it can say nothing.
    pub fn of(mean: f64, s: f64, n: usize, known: f64) -> Option<Self> {
        let degrees_of_freedom = n.checked_sub(1).filter(|dof| *dof > 0)?;
        let t = (mean - known) / (s / (n as f64).sqrt());
        let beyond = student_t_share(degrees_of_freedom as f64, -t.abs()).filter(|_| s > 0.0)?;
        Some(TTest { t, degrees_of_freedom, p: 2.0 * beyond })
    }

    /// Whether the mean differs from the known value at a level (0.05 for 95 %).
    pub fn differs(&self, level: f64) -> bool {
        self.p < level
    }
}

/// s of several groups taken together: √(Σ (nᵢ − 1) sᵢ² / Σ (nᵢ − 1)), with its degrees of freedom. Each group
/// is its n and s; groups of one value say nothing. `None` where none has two.
pub fn pooled_s(groups: &[(usize, f64)]) -> Option<(f64, usize)> {
    let degrees = |n: usize| n.saturating_sub(1);
    let total: usize = groups.iter().map(|(n, _)| degrees(*n)).sum();
    let squares: f64 = groups.iter().map(|(n, s)| degrees(*n) as f64 * s * s).sum();
    (total > 0).then(|| ((squares / total as f64).sqrt(), total))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, published: f64, half_a_place: f64) {
        assert!((found - published).abs() <= half_a_place, "{found} is not {published}");
    }

    // Vogel, Textbook of Quantitative Chemical Analysis, 5th ed., 4.11, example 3: copper in an alloy, mean 8.27 %,
    // s 0.17 %, n 4: 8.00 to 8.54 % at 95 %.
    #[test]
    fn copper_in_an_alloy() {
        near(interval_of_mean(0.17, 4, 0.95).unwrap(), 0.27, 0.005);
    }

    // Harris, Quantitative Chemical Analysis, problem 4-5: five values with s 7.1 (unrounded 7.140): ± 6.8 at 90 %.
    // Problem 4-3: s 0.00007, n 7: ± 0.00010 at 99 %.
    #[test]
    fn intervals_of_a_problem_set() {
        near(interval_of_mean(7.140, 5, 0.90).unwrap(), 6.8, 0.05);
        near(interval_of_mean(0.00007, 7, 0.99).unwrap(), 0.00010, 0.000_005);
    }

    // With the interval of Vogel's example 3: a known value at its end has p = 0.05, and one inside does not differ.
    #[test]
    fn the_test_and_the_interval_say_the_same() {
        let half_width = interval_of_mean(0.17, 4, 0.95).unwrap();
        let test = |known| TTest::of(8.27, 0.17, 4, known).unwrap();
        near(test(8.27 + half_width).p, 0.05, 1e-9);
        assert!(!test(8.5).differs(0.05));
        assert!(test(8.6).differs(0.05));
        near(test(8.0).t, 0.27 / 0.085, 1e-12);
    }

    #[test]
    fn too_few_values_say_nothing() {
        assert_eq!(interval_of_mean(1.0, 1, 0.95), None);
        assert_eq!(interval_of_mean(1.0, 0, 0.95), None);
        assert_eq!(TTest::of(1.0, 0.1, 1, 2.0), None);
        assert_eq!(TTest::of(1.0, 0.0, 3, 2.0), None);
        assert_eq!(pooled_s(&[(1, 3.0)]), None);
    }

    // By the definition: groups of 3 and 5 values, (2 × 0.04 + 4 × 0.09)/6 = 0.0733….
    #[test]
    fn larger_groups_weigh_more() {
        let (s, dof) = pooled_s(&[(3, 0.2), (5, 0.3), (1, 9.0)]).unwrap();
        near(s * s, 0.44 / 6.0, 1e-15);
        assert_eq!(dof, 6);
    }
}
