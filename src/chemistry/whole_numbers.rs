//! Small whole numbers from measured ratios: empirical formulas and numbers of water per formula unit.
//!
//! The smallest whole numbers that fit within the expanded uncertainties are the answer. Where several fit,
//! all are told, with the uncertainty that would tell them apart; where none fits, that is the answer too.

/// The largest multiplier tried for the atoms of an empirical formula.
pub const MOST_MULTIPLIER: u32 = 6;

/// The largest whole number tried.
pub const MOST_WHOLE: u32 = 24;

/// Most sets of whole numbers that are told.
const MOST_SETS: usize = 8;

/// A ratio to the reference part, with its expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// The ratio; above zero.
    pub value: f64,
    /// Its expanded uncertainty (half-width of the interval).
    pub expanded: f64,
}

/// What the ratios allow.
#[derive(Clone, Debug, PartialEq)]
pub enum WholeNumbers {
    /// One set fits: the numbers in the order of the ratios.
    One(Vec<u32>),
    /// Several fit; the expanded uncertainty of the ratios would have to fall below `needed` times what it is.
    Several {
        /// The sets, nearest first.
        sets: Vec<Vec<u32>>,
        /// The factor, below one.
        needed: f64,
    },
    /// None fits; the set that comes nearest.
    Nothing {
        /// The nearest set at the first multiplier.
        nearest: Vec<u32>,
    },
}

/// Tries the multipliers from the smallest; the first at which something fits decides.
pub fn whole_numbers(ratios: &[Ratio], multipliers: impl IntoIterator<Item = u32>) -> WholeNumbers {
    for multiplier in multipliers {
        let mut sets = fitting(ratios, f64::from(multiplier));
        sets.sort_by(|a, b| a.1.total_cmp(&b.1));
        match sets.as_slice() {
            [] => {}
            [(only, _)] => return WholeNumbers::One(only.clone()),
            [_, (_, second), ..] => {
                let needed = *second;
                return WholeNumbers::Several {
                    sets: sets.into_iter().map(|(set, _)| set).collect(),
                    needed,
                };
            }
        }
    }
    WholeNumbers::Nothing {
        nearest: ratios.iter().map(|ratio| ratio.value.round().max(1.0) as u32).collect(),
    }
}

/// Every set within the uncertainties at a multiplier, with the largest distance as a share of the
/// uncertainty.
fn fitting(ratios: &[Ratio], multiplier: f64) -> Vec<(Vec<u32>, f64)> {
    let mut sets: Vec<(Vec<u32>, f64)> = vec![(Vec::new(), 0.0)];
    for ratio in ratios {
        let (value, expanded) = (ratio.value * multiplier, ratio.expanded * multiplier);
        let candidates: Vec<(u32, f64)> = (1..=MOST_WHOLE)
            .map(|whole| (whole, (f64::from(whole) - value).abs()))
            .filter(|(_, distance)| *distance <= expanded)
            .map(|(whole, distance)| (whole, if expanded > 0.0 { distance / expanded } else { 0.0 }))
            .collect();
        sets = sets
            .iter()
            .flat_map(|(set, worst)| {
                candidates.iter().map(|(whole, share)| {
                    let mut set = set.clone();
                    set.push(*whole);
                    (set, worst.max(*share))
                })
            })
            .take(MOST_SETS * MOST_SETS)
            .collect();
    }
    sets.truncate(MOST_SETS * MOST_SETS);
    sets
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hydrate(value: f64, expanded: f64) -> WholeNumbers {
        whole_numbers(&[Ratio { value, expanded }], [1])
    }

    // The three cases a teaching laboratory meets (common practice): sure, unsure, wrong.
    #[test]
    fn five_four_or_five_and_none() {
        assert_eq!(hydrate(4.98, 0.03), WholeNumbers::One(vec![5]));
        let WholeNumbers::Several { sets, needed } = hydrate(4.5, 0.7) else { panic!("two fit") };
        assert_eq!(sets.len(), 2);
        assert!((needed * 0.7 - 0.5).abs() < 1e-12);
        assert_eq!(hydrate(4.72, 0.08), WholeNumbers::Nothing { nearest: vec![5] });
    }

    // OpenStax Chemistry 2e, section 3.2: nitrogen 0.130 g and oxygen 0.370 g make N2O5 (O/N = 2.492, here with
    // half a unit of the last place of each mass: ± 0.4 % and ± 0.14 %); C 27.29 %, O 72.71 % make CO2.
    #[test]
    fn published_empirical_formulas() {
        let one = Ratio { value: 1.0, expanded: 0.0 };
        let oxygen = Ratio { value: 2.4917, expanded: 0.0132 };
        assert_eq!(whole_numbers(&[one, oxygen], 1..=MOST_MULTIPLIER), WholeNumbers::One(vec![2, 5]));
        let oxygen = Ratio { value: 2.0002, expanded: 0.0005 };
        assert_eq!(whole_numbers(&[one, oxygen], 1..=MOST_MULTIPLIER), WholeNumbers::One(vec![1, 2]));
    }
}
