//! Statistics that a few wild values do not move, for a section of results: ISO 13528.

/// The middle value, or the mean of the two in the middle; `None` for no value.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        n if n % 2 == 1 => Some(sorted[middle]),
        _ => Some(sorted[middle - 1].midpoint(sorted[middle])),
    }
}

/// The factor that makes the median of the deviations from the median an estimate of the standard deviation of
/// normally scattered values: 1/Φ⁻¹(3/4), as ISO 13528 has it.
const MEDIAN_DEVIATION_FACTOR: f64 = 1.483;

/// The scaled median of the deviations from the median (ISO 13528, C.2.2); `None` for no value.
pub fn scaled_median_deviation(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    Some(MEDIAN_DEVIATION_FACTOR * median(&deviations)?)
}

/// Robust mean and standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Robust {
    /// x*, in the unit of the values.
    pub mean: f64,
    /// s*, in the unit of the values.
    pub s: f64,
    /// How many values.
    pub n: usize,
    /// The steps taken until neither changed any more in its third figure.
    pub steps: usize,
}

/// Values beyond so many s* from x* are pulled in.
const WINSORISED: f64 = 1.5;
/// Makes s* that of a normal distribution again after its tails were pulled in.
const TAILS: f64 = 1.134;
/// Most steps; some dozen are usual.
const MOST_STEPS: usize = 10_000;

impl Robust {
    /// Algorithm A of ISO 13528:2015, C.3.1 (also ISO 5725-5): starting from the median and the scaled median
    /// deviation, values farther than 1.5 s* from x* count as if they lay there, until nothing changes (here to
    /// the last bits, not only in the third figure as the standard asks). `None` for fewer than two values, and where
    /// one of them, or what it comes to, is beyond the numbers of the machine.
    ///
    /// Where more than half of the values are equal, the start has no scatter and nothing can move it: s* is zero.
    pub fn algorithm_a(values: &[f64]) -> Option<Self> {
        if values.len() < 2 {
            return None;
        }
        let start = (median(values)?, scaled_median_deviation(values)?);
        let mut now = Robust { mean: start.0, s: start.1, n: values.len(), steps: 0 };
        if !values.iter().all(|value| value.is_finite()) {
            return None;
        }
        while now.steps < MOST_STEPS {
            if !(now.mean.is_finite() && now.s.is_finite()) {
                return None;
            }
            let next = now.step(values);
            let still = |a: f64, b: f64| (a - b).abs() <= 1e-13 * now.s;
            if still(next.mean, now.mean) && still(next.s, now.s) {
                return Some(now);
            }
            now = next;
        }
        Some(now)
    }

    fn step(&self, values: &[f64]) -> Self {
        let reach = WINSORISED * self.s;
        let pulled: Vec<f64> =
            values.iter().map(|value| value.clamp(self.mean - reach, self.mean + reach)).collect();
        let n = pulled.len() as f64;
        // Sums of deviations from the mean so far: nothing is lost where the values share their first figures.
        let mean = self.mean + pulled.iter().map(|value| value - self.mean).sum::<f64>() / n;
        let squares: f64 = pulled.iter().map(|value| (value - mean).powi(2)).sum();
        Robust { mean, s: TAILS * (squares / (n - 1.0)).sqrt(), steps: self.steps + 1, ..*self }
    }

    /// The standard uncertainty of x* (ISO 13528:2015, 7.7.3): 1.25 s*/√n.
    pub fn standard_uncertainty(&self) -> f64 {
        1.25 * self.s / (self.n as f64).sqrt()
    }
}

/// The z score of a result (ISO 13528, 9.4): (result − assigned value)/σ. `None` unless σ is above zero.
pub fn z_score(result: f64, assigned: f64, sigma: f64) -> Option<f64> {
    (sigma > 0.0).then(|| (result - assigned) / sigma)
}

/// What a z score means (ISO 13528, 9.4.2).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ZVerdict {
    /// |z| ≤ 2
    Acceptable,
    /// 2 < |z| < 3: a warning signal.
    Warning,
    /// |z| ≥ 3: an action signal.
    Action,
}

/// What a z score means.
pub fn z_verdict(z: f64) -> ZVerdict {
    match z.abs() {
        z if z <= 2.0 => ZVerdict::Acceptable,
        z if z < 3.0 => ZVerdict::Warning,
        _ => ZVerdict::Action,
    }
}

/// The relative standard deviation between laboratories that W. Horwitz's curve predicts at a mass fraction c,
/// in per cent: 2^(1 − 0.5 log10 c), with c as a number (0.01 for 1 %). Below 1.2e-7 it is 22 %, above 0.138
/// 1/√c % (M. Thompson, Analyst 125 (2000) 385; from memory), where `thompson` is set. `None` unless 0 < c ≤ 1.
pub fn horwitz(mass_fraction: f64, thompson: bool) -> Option<f64> {
    if !(mass_fraction > 0.0 && mass_fraction <= 1.0) {
        return None;
    }
    Some(match mass_fraction {
        c if thompson && c < 1.2e-7 => 22.0,
        c if thompson && c > 0.138 => 1.0 / c.sqrt(),
        c => 2f64.powf(1.0 - 0.5 * c.log10()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_beyond_those_of_the_machine_have_no_robust_mean() {
        let (huge, beyond) = (f64::MAX, f64::INFINITY);
        assert_eq!(median(&[huge, huge]), Some(huge));
        for values in [
            vec![f64::NAN, 1.0, 2.0],
            vec![huge, -huge, huge, -huge],
            vec![1.0, 1.1, huge, beyond],
            vec![1.0, 2.0, 3.0, huge],
        ] {
            let robust = Robust::algorithm_a(&values);
            assert!(
                robust.is_none_or(|robust| robust.mean.is_finite() && robust.s.is_finite()),
                "{values:?}"
            );
        }
        assert_eq!(Robust::algorithm_a(&[beyond, 1.0]), None);
    }

    // Analytical Methods Committee, Analyst 114 (1989) 1693, copper in wholemeal flour, as in the R package MASS
    // (`chem`): median 3.385, scaled median deviation 0.526 (factor 1.4826; 1.483 of the standard gives the same three
    // figures); mean 4.28 and s 5.30 for one wild value.
    const FLOUR: [f64; 24] = [
        2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2, 5.28, 3.37, 3.03, 3.03, 28.95, 3.77, 3.4,
        2.2, 3.5, 3.6, 3.7, 3.7,
    ];

    #[test]
    fn copper_in_flour() {
        assert_eq!(median(&FLOUR), Some(3.385));
        assert!((scaled_median_deviation(&FLOUR).unwrap() - 0.526).abs() < 5e-4);
    }

    // Algorithm A is P. J. Huber's proposal 2 with k = 1.5. The help of the R package MASS gives 3.2055 and 0.6737 for
    // it on these data (`hubers`; from memory; its factor is 1.1335, the standard's 1.134). The wild value moves neither.
    #[test]
    fn a_wild_value_does_not_move_the_robust_mean() {
        let robust = Robust::algorithm_a(&FLOUR).unwrap();
        assert!((robust.mean - 3.2055).abs() < 5e-4 && (robust.s - 0.6737).abs() < 2e-3, "{robust:?}");
        let mut wilder = FLOUR;
        wilder[16] = 1e6;
        let other = Robust::algorithm_a(&wilder).unwrap();
        assert!((other.mean - robust.mean).abs() < 1e-9 && (other.s - robust.s).abs() < 1e-9);
    }

    #[test]
    fn without_wild_values_it_is_near_the_plain_one() {
        let values: Vec<f64> = (0..101).map(|i| 1e6 + f64::from(i) / 100.0).collect();
        let robust = Robust::algorithm_a(&values).unwrap();
        assert!((robust.mean - 1_000_000.5).abs() < 1e-9);
    }

    #[test]
    fn equal_values_have_no_scatter() {
        let robust = Robust::algorithm_a(&[5.0, 5.0, 5.0, 7.0]).unwrap();
        assert_eq!((robust.mean, robust.s), (5.0, 0.0));
        assert_eq!(Robust::algorithm_a(&[5.0]), None);
        assert_eq!(median(&[]), None);
    }

    // ISO 13528, 9.4.2 (common practice): 2 warns, 3 asks for action.
    #[test]
    fn z_scores_warn_above_two_and_ask_for_action_from_three() {
        assert_eq!(z_score(36.3, 36.1, 0.1).map(|z| z.round()), Some(2.0));
        assert_eq!(z_score(1.0, 1.0, 0.0), None);
        assert_eq!(z_verdict(-2.0), ZVerdict::Acceptable);
        assert_eq!(z_verdict(2.01), ZVerdict::Warning);
        assert_eq!(z_verdict(-3.0), ZVerdict::Action);
    }

    // W. Horwitz's curve (from memory, values by arithmetic): 2, 2.83, 4, 5.66, 16 and 45.3 % at mass fractions of
    // 1, 0.1, 0.01, 1e-3, 1e-6 and 1e-9.
    #[test]
    fn horwitz_halves_with_every_two_decades() {
        let published = [(1.0, 2.0), (0.1, 2.83), (0.01, 4.0), (1e-3, 5.66), (1e-6, 16.0), (1e-9, 45.3)];
        for (c, rsd) in published {
            assert!((horwitz(c, false).unwrap() - rsd).abs() < 0.005 * rsd.max(1.0), "{c}");
        }
        assert_eq!(horwitz(1e-9, true), Some(22.0));
        assert!((horwitz(1.0, true).unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(horwitz(0.0, false), None);
        assert_eq!(horwitz(1.5, false), None);
    }
}
