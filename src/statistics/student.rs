//! Student's t: quantiles, and the chance of a deviation.

use super::distribution::Distribution;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The two-sided quantile of Student's t: the half-width, in standard deviations of the mean, of an interval
/// that holds `probability` of the distribution. Degrees of freedom need not be whole (effective ones,
/// JCGM 100:2008, G.4) and may be infinite. `None` unless they are above zero and the probability within 0 … 1.
pub fn student_t(degrees_of_freedom: f64, probability: f64) -> Option<f64> {
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 || !(probability > 0.0 && probability < 1.0) {
        return None;
    }
    Distribution::StudentT { scale: 1.0, degrees_of_freedom }.quantile(0.5 + probability / 2.0)
}

/// Degrees of freedom up to which the distribution function is taken as it is; far above it does not end.
const MOST_DIRECT: f64 = 1000.0;

/// The share of Student's t that lies at or below `t`. Above 1000 degrees of freedom by the normal distribution
/// at t (1 − 1/(4ν)) / √(1 + t²/(2ν)) (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.8; from memory).
/// `None` unless the degrees of freedom are above zero.
pub fn student_t_share(degrees_of_freedom: f64, t: f64) -> Option<f64> {
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 || t.is_nan() {
        return None;
    }
    if degrees_of_freedom > MOST_DIRECT {
        let (over, under) = (1.0 - 0.25 / degrees_of_freedom, 1.0 + t * t / (2.0 * degrees_of_freedom));
        return Some(Normal::standard().cdf(t * over / under.sqrt()));
    }
    Some(StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?.cdf(t))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Vogel, Textbook of Quantitative Chemical Analysis, 5th ed., 4.11, example 3: t = 3.18 (ν = 3, 95 %).
    // Harris, Quantitative Chemical Analysis, problem 4-3: t = 3.707 (ν = 6, 99 %), 2.306 (ν = 8, 95 %) and
    // 2.132 (ν = 4, 90 %).
    #[test]
    fn published_quantiles() {
        for (dof, probability, published) in
            [(3.0, 0.95, 3.182), (4.0, 0.90, 2.132), (6.0, 0.99, 3.707), (8.0, 0.95, 2.306)]
        {
            let quantile = student_t(dof, probability).unwrap();
            assert!((quantile - published).abs() < 5e-4, "{quantile} is not {published}");
        }
    }

    #[test]
    fn quantile_and_share_belong_together() {
        for dof in [1.0, 2.5, 7.0, 30.0, 999.0, 1001.0, 1e6, 1e12] {
            for probability in [0.5, 0.95, 0.99] {
                let t = student_t(dof, probability).unwrap();
                let share = student_t_share(dof, t).unwrap();
                assert!((share - 0.5 - probability / 2.0).abs() < 1e-6, "{dof} {probability}: {share}");
            }
        }
    }

    #[test]
    fn no_jump_where_the_expansion_takes_over() {
        let (below, above) = (student_t(1000.0, 0.99).unwrap(), student_t(1000.001, 0.99).unwrap());
        assert!((below - above).abs() < 1e-7);
        let (below, above) = (student_t_share(1000.0, 2.0).unwrap(), student_t_share(1000.001, 2.0).unwrap());
        assert!((below - above).abs() < 1e-7);
    }

    #[test]
    fn infinitely_many_degrees_of_freedom_are_normal() {
        assert!((student_t(f64::INFINITY, 0.95).unwrap() - 1.959_964).abs() < 5e-7);
        assert!((student_t_share(f64::INFINITY, 1.959_964).unwrap() - 0.975).abs() < 5e-8);
    }

    #[test]
    fn nothing_to_say_without_a_degree_of_freedom() {
        assert_eq!(student_t(0.0, 0.95), None);
        assert_eq!(student_t(f64::NAN, 0.95), None);
        assert_eq!(student_t(3.0, 1.0), None);
        assert_eq!(student_t_share(0.0, 1.0), None);
    }
}
