//! Quantiles of Student's t.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The two-sided quantile of Student's t: the half-width, in standard deviations of the mean, of an interval
/// that holds `probability` of the distribution. `None` for no degree of freedom or a probability outside 0 … 1.
///
/// Degrees of freedom above 1000 count as 1000 (the quantile at 95 % differs from the normal one by 0.1 %).
pub fn student_t(degrees_of_freedom: usize, probability: f64) -> Option<f64> {
    if degrees_of_freedom == 0 || !(probability > 0.0 && probability < 1.0) {
        return None;
    }
    let distribution = StudentsT::new(0.0, 1.0, degrees_of_freedom.min(1000) as f64).ok()?;
    Some(distribution.inverse_cdf(0.5 + probability / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Vogel, Textbook of Quantitative Chemical Analysis, 5th ed., 4.11, example 3: t = 3.18 (ν = 3, 95 %).
    // Harris, Quantitative Chemical Analysis, problem 4-3: t = 3.707 (ν = 6, 99 %), and 2.306 (ν = 8, 95 %).
    #[test]
    fn published_quantiles() {
        for (df, probability, published) in
            [(3, 0.95, 3.182), (4, 0.90, 2.132), (6, 0.99, 3.707), (8, 0.95, 2.306)]
        {
            let quantile = student_t(df, probability).unwrap();
            assert!((quantile - published).abs() < 5e-4, "{quantile} is not {published}");
        }
    }

    #[test]
    fn nothing_to_say_without_a_degree_of_freedom() {
        assert_eq!(student_t(0, 0.95), None);
        assert_eq!(student_t(3, 1.0), None);
    }
}
