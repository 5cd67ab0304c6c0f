//! The distributions that an input of an uncertainty evaluation may be assigned (JCGM 101:2008, table 1 and 6.4),
//! each as that of the deviation from the estimate: centred at zero, in the unit of the input.
//!
//! What is known of an input decides which one it is: the scatter of repeated readings (normal, or Student's t
//! where they are few), limits between which every value is equally likely (rectangular), limits that are
//! themselves the sum of two such effects (triangular, trapezoidal), a value that swings between limits (arcsine).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use std::f64::consts::PI;

/// The distribution of an input's deviation from its estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distribution {
    /// Normal (JCGM 101, 6.4.7).
    Normal {
        /// Its standard deviation.
        standard_deviation: f64,
    },
    /// Rectangular: equally likely between limits (6.4.2).
    Rectangular {
        /// Half the distance of the limits.
        half_width: f64,
    },
    /// Symmetric triangular: the sum of two equal rectangular effects (6.4.5).
    Triangular {
        /// Half the distance of the limits.
        half_width: f64,
    },
    /// Symmetric trapezoidal: the sum of two unequal rectangular effects (6.4.4).
    Trapezoidal {
        /// Half the distance of the limits.
        half_width: f64,
        /// The top over the base: 0 is triangular, 1 rectangular.
        top: f64,
    },
    /// Arcsine, also called U-shaped: a value that swings like a sine between limits (6.4.6).
    Arcsine {
        /// Half the distance of the limits.
        half_width: f64,
    },
    /// Student's t, scaled and shifted: a mean of few readings, or u from a certificate with its degrees of
    /// freedom (6.4.9).
    StudentT {
        /// The scale: the standard uncertainty by JCGM 100 (s/√n of readings).
        scale: f64,
        /// The degrees of freedom, above zero.
        degrees_of_freedom: f64,
    },
}

impl Distribution {
    /// The standard uncertainty that enters a first-order evaluation (JCGM 100:2008, 4.2.3, 4.3.7, 4.3.9, H.1.3.2).
    /// Of Student's t it is the scale: there the degrees of freedom are accounted for by the coverage factor.
    pub fn standard_uncertainty(&self) -> f64 {
        match *self {
            Distribution::Normal { standard_deviation } => standard_deviation,
            Distribution::Rectangular { half_width } => half_width / 3f64.sqrt(),
            Distribution::Triangular { half_width } => half_width / 6f64.sqrt(),
            Distribution::Trapezoidal { half_width, top } => half_width * ((1.0 + top * top) / 6.0).sqrt(),
            Distribution::Arcsine { half_width } => half_width / 2f64.sqrt(),
            Distribution::StudentT { scale, .. } => scale,
        }
    }

    /// The standard deviation of the distribution itself, as it enters Monte Carlo draws. It differs from
    /// [`Self::standard_uncertainty`] for Student's t: scale × √(ν/(ν − 2)) (JCGM 101, 6.4.9.4), and `None`
    /// up to two degrees of freedom, where there is none.
    pub fn standard_deviation(&self) -> Option<f64> {
        match *self {
            Distribution::StudentT { scale, degrees_of_freedom: dof } => {
                (dof > 2.0).then(|| scale * (dof / (dof - 2.0)).sqrt())
            }
            _ => Some(self.standard_uncertainty()),
        }
    }

    /// Half the distance of the limits; `None` where there are none.
    pub fn half_width(&self) -> Option<f64> {
        match *self {
            Distribution::Rectangular { half_width }
            | Distribution::Triangular { half_width }
            | Distribution::Trapezoidal { half_width, .. }
            | Distribution::Arcsine { half_width } => Some(half_width),
            Distribution::Normal { .. } | Distribution::StudentT { .. } => None,
        }
    }

    /// The degrees of freedom of Student's t; `None` (infinitely many) for the others.
    pub fn degrees_of_freedom(&self) -> Option<f64> {
        match *self {
            Distribution::StudentT { degrees_of_freedom, .. } => Some(degrees_of_freedom),
            _ => None,
        }
    }

    /// The same distribution, so many times as wide (a unit factor, a sensitivity); the sign does not matter.
    pub fn scaled(self, factor: f64) -> Self {
        let by = factor.abs();
        match self {
            Distribution::Normal { standard_deviation } => {
                Distribution::Normal { standard_deviation: standard_deviation * by }
            }
            Distribution::Rectangular { half_width } => {
                Distribution::Rectangular { half_width: half_width * by }
            }
            Distribution::Triangular { half_width } => {
                Distribution::Triangular { half_width: half_width * by }
            }
            Distribution::Trapezoidal { half_width, top } => {
                Distribution::Trapezoidal { half_width: half_width * by, top }
            }
            Distribution::Arcsine { half_width } => Distribution::Arcsine { half_width: half_width * by },
            Distribution::StudentT { scale, degrees_of_freedom } => {
                Distribution::StudentT { scale: scale * by, degrees_of_freedom }
            }
        }
    }

    /// Its name in a report.
    pub fn name(&self) -> &'static str {
        match self {
            Distribution::Normal { .. } => "normal",
            Distribution::Rectangular { .. } => "rectangular",
            Distribution::Triangular { .. } => "triangular",
            Distribution::Trapezoidal { .. } => "trapezoidal",
            Distribution::Arcsine { .. } => "arcsine",
            Distribution::StudentT { .. } => "Student's t",
        }
    }

    /// The deviation below which a share of all values lies; `None` for a share outside 0 … 1 (both excluded),
    /// or degrees of freedom that are not above zero.
    pub fn quantile(&self, share: f64) -> Option<f64> {
        if !(share > 0.0 && share < 1.0) {
            return None;
        }
        Some(match *self {
            Distribution::Normal { standard_deviation } => standard_deviation * normal_quantile(share),
            Distribution::Rectangular { half_width } => half_width * (2.0 * share - 1.0),
            Distribution::Triangular { half_width } => half_width * trapezoidal_quantile(share, 0.0),
            Distribution::Trapezoidal { half_width, top } => half_width * trapezoidal_quantile(share, top),
            Distribution::Arcsine { half_width } => half_width * (PI * (share - 0.5)).sin(),
            Distribution::StudentT { scale, degrees_of_freedom } => {
                scale * t_quantile(share, degrees_of_freedom)?
            }
        })
    }
}

fn normal_quantile(share: f64) -> f64 {
    Normal::standard().inverse_cdf(share)
}

/// Of half-width one: the density rises from −1 to −top, is level, and falls from top to 1.
fn trapezoidal_quantile(share: f64, top: f64) -> f64 {
    let tail = share.min(1.0 - share);
    let edge = (1.0 - top) / (2.0 * (1.0 + top));
    let from_middle =
        if tail < edge { 1.0 - (2.0 * tail * (1.0 - top * top)).sqrt() } else { (1.0 + top) * (0.5 - tail) };
    if share < 0.5 { -from_middle } else { from_middle }
}

/// Degrees of freedom up to which the quantile of t is found by inversion; above, that is slow or does not end.
const MOST_INVERTED: f64 = 1000.0;

/// Above [`MOST_INVERTED`] by the expansion in 1/ν around the normal quantile (Abramowitz and Stegun, Handbook
/// of Mathematical Functions, 26.7.5, two terms; the third is below 1e-9 there).
fn t_quantile(share: f64, degrees_of_freedom: f64) -> Option<f64> {
    if degrees_of_freedom > MOST_INVERTED {
        let z = normal_quantile(share);
        let first = (z.powi(3) + z) / 4.0;
        let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
        return Some(z + first / degrees_of_freedom + second / degrees_of_freedom.powi(2));
    }
    Some(StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?.inverse_cdf(share))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Distribution; 6] = [
        Distribution::Normal { standard_deviation: 2.0 },
        Distribution::Rectangular { half_width: 2.0 },
        Distribution::Triangular { half_width: 2.0 },
        Distribution::Trapezoidal { half_width: 2.0, top: 0.4 },
        Distribution::Arcsine { half_width: 2.0 },
        Distribution::StudentT { scale: 2.0, degrees_of_freedom: 7.0 },
    ];

    /// The standard deviation by integrating the squared quantile over the share (midpoint rule).
    fn integrated(distribution: Distribution) -> f64 {
        let steps = 400_000;
        let share = |step: usize| (step as f64 + 0.5) / steps as f64;
        let squares = (0..steps).map(|step| distribution.quantile(share(step)).unwrap().powi(2));
        (squares.sum::<f64>() / steps as f64).sqrt()
    }

    #[test]
    fn standard_deviations_follow_from_the_quantiles() {
        for distribution in ALL {
            let (stated, integrated) = (distribution.standard_deviation().unwrap(), integrated(distribution));
            assert!((stated - integrated).abs() < 2e-3 * stated, "{distribution:?}: {integrated}");
        }
    }

    // JCGM 100:2008, 4.3.7 (rectangular: a/√3), 4.3.9 (trapezoidal: a √((1 + β²)/6), triangular: a/√6); JCGM
    // 101:2008, 6.4.6.3 (arcsine: a/√2). GUM H.1.3.4: ±1e-6 rectangular gives 0.58e-6; H.1: an arcsine of
    // half-width 0.5 °C gives 0.35 °C.
    #[test]
    fn standard_uncertainties_of_the_guides() {
        let u = |distribution: Distribution| distribution.standard_uncertainty();
        assert!((u(Distribution::Rectangular { half_width: 1.0 }) - 0.58).abs() < 0.005);
        assert!((u(Distribution::Arcsine { half_width: 0.5 }) - 0.35).abs() < 0.005);
        let trapezoidal = |top| u(Distribution::Trapezoidal { half_width: 1.0, top });
        assert!((trapezoidal(0.0) - u(Distribution::Triangular { half_width: 1.0 })).abs() < 1e-15);
        assert!((trapezoidal(1.0) - u(Distribution::Rectangular { half_width: 1.0 })).abs() < 1e-15);
    }

    // Harris, Quantitative Chemical Analysis, problem 4-3: t = 3.707 (ν = 6, 99 %). GUM table G.2 (the first
    // 3 figures from memory): t = 2.92 for 99 % and 16 degrees of freedom. Normal: 1.96 for 95 %.
    #[test]
    fn published_quantiles() {
        let t = |dof, share| {
            let unit = Distribution::StudentT { scale: 1.0, degrees_of_freedom: dof };
            unit.quantile(share).unwrap()
        };
        assert!((t(6.0, 0.995) - 3.707).abs() < 5e-4);
        assert!((t(16.0, 0.995) - 2.92).abs() < 5e-3);
        assert!((t(1e9, 0.975) - 1.959_964).abs() < 5e-7);
        assert!((t(1000.0, 0.975) - t(1000.1, 0.975)).abs() < 1e-6);
        assert!(
            (Distribution::Normal { standard_deviation: 1.0 }.quantile(0.975).unwrap() - 1.96).abs() < 5e-4
        );
    }

    #[test]
    fn quantiles_are_symmetric_and_within_the_limits() {
        for distribution in ALL {
            for share in [0.001, 0.1, 0.3, 0.499] {
                let (low, high) =
                    (distribution.quantile(share).unwrap(), distribution.quantile(1.0 - share).unwrap());
                assert!((low + high).abs() < 1e-9 * high, "{distribution:?} at {share}: {low} {high}");
                assert!(distribution.half_width().is_none_or(|half| high < half));
            }
            assert_eq!(distribution.quantile(0.0), None);
            assert_eq!(distribution.quantile(f64::NAN), None);
        }
    }

    #[test]
    fn students_t_has_no_standard_deviation_up_to_two_degrees_of_freedom() {
        let t = |dof| Distribution::StudentT { scale: 1.0, degrees_of_freedom: dof };
        assert_eq!(t(2.0).standard_deviation(), None);
        assert_eq!(t(4.0).standard_deviation(), Some(2f64.sqrt()));
        assert_eq!(t(2.0).standard_uncertainty(), 1.0);
    }

    #[test]
    fn scaling_keeps_the_shape() {
        for distribution in ALL {
            let scaled = distribution.scaled(-3.0);
            let ratio = scaled.standard_uncertainty() / distribution.standard_uncertainty();
            assert!((ratio - 3.0).abs() < 1e-15 * 4.0);
            assert_eq!(scaled.name(), distribution.name());
        }
    }
}
