//! Degrees of freedom and the coverage factor (JCGM 100:2008, annex G).

use super::inputs::Inputs;
use super::model::Covers;
use crate::notebook::settings::Coverage;
use crate::statistics::Distribution;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The uncertainty of one value as it was evaluated, in the unit it is shown in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evaluated {
    /// The combined standard uncertainty u.
    pub standard: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite); `None` for infinitely many.
    pub degrees_of_freedom: Option<f64>,
    /// The coverage factor k.
    pub coverage_factor: f64,
    /// The expanded uncertainty U = k u.
    pub expanded: f64,
    /// What it covers.
    pub covers: Covers,
}

impl Evaluated {
    /// A standard uncertainty with its degrees of freedom, expanded as the settings ask.
    pub fn new(standard: f64, degrees_of_freedom: Option<f64>, coverage: Coverage) -> Self {
        let coverage_factor = match coverage {
            Coverage::Factor(k) => k,
            Coverage::Probability(p) => coverage_factor(p, degrees_of_freedom),
        };
        let expanded = coverage_factor * standard;
        Evaluated { standard, degrees_of_freedom, coverage_factor, expanded, covers: Covers::Inputs }
    }

    /// Of contributions by the index of their input, and of effects beside the inputs (standard uncertainty, below
    /// zero for one that makes the variance smaller, and degrees of freedom); `scale` coherent SI units are one shown.
    pub(super) fn of(
        inputs: &Inputs,
        contributions: &[(usize, f64)],
        beside: &[(f64, Option<f64>)],
        scale: f64,
        coverage: Coverage,
    ) -> Self {
        let own = inputs.combined(contributions);
        let beside = beside.iter().map(|(u, dof)| (u * u.abs(), *dof));
        let standard = beside.clone().fold(own * own, |sum, (variance, _)| sum + variance).max(0.0).sqrt();
        let mut groups = groups(inputs, contributions);
        groups.extend(beside);
        Evaluated::new(standard / scale, effective(&groups, standard), coverage)
    }

    /// Nothing uncertain enters.
    pub fn is_zero(&self) -> bool {
        self.standard == 0.0
    }

    /// The share of a normal (Student's t with the effective degrees of freedom) distribution that ± U holds:
    /// about 0.95 for k = 2 with many degrees of freedom, less with few.
    pub fn coverage_probability(&self) -> f64 {
        let below = match self.degrees_of_freedom.map(whole) {
            None => Normal::standard().cdf(self.coverage_factor),
            Some(dof) => StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |t| t.cdf(self.coverage_factor)),
        };
        2.0 * below - 1.0
    }
}

/// Effective degrees of freedom by the Welch–Satterthwaite formula, u⁴ / Σ (uᵢ⁴/νᵢ) (JCGM 100:2008, G.4.1).
/// The formula is for independent inputs; inputs that are correlated count as one, with what they contribute
/// together and the fewest degrees of freedom among them, which is the cautious side.
fn effective(groups: &[(f64, Option<f64>)], standard: f64) -> Option<f64> {
    let of = |(variance, dof): &(f64, Option<f64>)| dof.map(|dof| variance.max(0.0).powi(2) / dof);
    let sum: f64 = groups.iter().filter_map(of).sum();
    let effective = standard.powi(4) / sum;
    (sum > 0.0 && effective.is_finite()).then_some(effective)
}

/// Variance and degrees of freedom of each input, or of each set of correlated inputs.
fn groups(inputs: &Inputs, contributions: &[(usize, f64)]) -> Vec<(f64, Option<f64>)> {
    if inputs.correlations().is_empty() {
        let alone = |(index, contribution): &(usize, f64)| {
            (contribution * contribution, inputs.sources()[*index].degrees_of_freedom)
        };
        return contributions.iter().map(alone).collect();
    }
    let mut of: Vec<usize> = (0..contributions.len()).collect();
    let position = |index: usize| contributions.binary_search_by_key(&index, |(index, _)| *index).ok();
    let covariances: Vec<_> = inputs.covariances(contributions).collect();
    let mut extra = vec![0.0; contributions.len()];
    for (correlation, variance) in &covariances {
        let (Some(a), Some(b)) = (position(correlation.a), position(correlation.b)) else { continue };
        let (into, from) = (of[a].min(of[b]), of[a].max(of[b]));
        of.iter_mut().filter(|group| **group == from).for_each(|group| *group = into);
        extra[a] += variance;
    }
    let mut groups: Vec<(f64, Option<f64>)> = vec![(0.0, None); contributions.len()];
    for (at, (index, contribution)) in contributions.iter().enumerate() {
        let group = &mut groups[of[at]];
        group.0 += contribution * contribution + extra[at];
        group.1 = fewest(group.1, inputs.sources()[*index].degrees_of_freedom);
    }
    groups
}

fn fewest(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

/// The two-sided coverage factor for a probability: Student's t with the effective degrees of freedom cut to a
/// whole number (JCGM 100:2008, G.4.1, note 1, and G.6.4), or the normal one.
fn coverage_factor(probability: f64, degrees_of_freedom: Option<f64>) -> f64 {
    let distribution = match degrees_of_freedom.map(whole) {
        Some(degrees_of_freedom) => Distribution::StudentT { scale: 1.0, degrees_of_freedom },
        None => Distribution::Normal { standard_deviation: 1.0 },
    };
    distribution.quantile(0.5 + probability / 2.0).unwrap_or(f64::NAN)
}

/// Cut to a whole number; below one it stays as it is.
fn whole(degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom < 1.0 { degrees_of_freedom } else { degrees_of_freedom.floor() }
}

#[cfg(test)]
mod tests {
    use super::*;

    // JCGM 100:2008, table G.1 and G.2 (as in H.1.6: k = 2.92 for 99 % and 16 degrees of freedom; 1.96 and 2.576
    // for the normal distribution).
    #[test]
    fn coverage_factors_of_the_guide() {
        for (probability, dof, expected) in
            [(0.99, Some(16.7), 2.92), (0.95, None, 1.96), (0.99, None, 2.576), (0.95, Some(4.0), 2.776)]
        {
            let k = coverage_factor(probability, dof);
            assert!((k - expected).abs() < 5e-3, "{probability} {dof:?}: {k}");
        }
    }

    // 95.45 % is the normal probability of k = 2 (JCGM 100:2008, table G.1).
    #[test]
    fn few_degrees_of_freedom_cover_less() {
        let u = |dof| Evaluated::new(1.0, dof, Coverage::Factor(2.0)).coverage_probability();
        assert!((u(None) - 0.9545).abs() < 5e-5);
        assert!(u(Some(2.0)) < 0.82 && u(Some(2.0)) > 0.81);
    }
}
