//! Whether one group lies higher or lower than another, by ranks: a few wild values do not decide.

/// The rank-sum test of two groups (F. Wilcoxon, Biometrics Bulletin 1 (1945) 80; H. B. Mann and D. R. Whitney, Annals of
/// Mathematical Statistics 18 (1947) 50).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RankSum {
    /// How many pairs have the value of the first group above that of the second; a tie counts one half.
    pub u: f64,
    /// The two-sided probability of a U at least as far from its mean, were both groups of one distribution.
    pub p: f64,
    /// Whether `p` is exact, by counting; else by the normal distribution, with the corrections for ties and continuity.
    pub exact: bool,
    /// The median of the differences first − second over all pairs (J. L. Hodges and E. L. Lehmann, Annals of Mathematical
    /// Statistics 34 (1963) 598).
    pub shift: f64,
}

/// From so many values in a group on, the normal distribution is taken.
const MOST_EXACT: usize = 50;

impl RankSum {
    /// The test; `None` where a group is empty, a value is not finite, or all values are equal.
    pub fn of(first: &[f64], second: &[f64]) -> Option<Self> {
        let finite = first.iter().chain(second).all(|value| value.is_finite());
        if first.is_empty() || second.is_empty() || !finite {
            return None;
        }
        let (m, n) = (first.len() as f64, second.len() as f64);
        let mut all: Vec<(f64, bool)> = first.iter().map(|value| (*value, true)).collect();
        all.extend(second.iter().map(|value| (*value, false)));
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (rank_sum, ties) = ranks(&all);
        if ties.contains(&all.len()) {
            return None;
        }
        let u = rank_sum - m * (m + 1.0) / 2.0;
        let exact = ties.is_empty() && first.len() < MOST_EXACT && second.len() < MOST_EXACT;
        let p = if exact {
            exact_p(u, first.len(), second.len())
        } else {
            let total = m + n;
            let ties: f64 = ties.iter().map(|tie| (*tie as f64).powi(3) - *tie as f64).sum();
            let variance = m * n / 12.0 * (total + 1.0 - ties / (total * (total - 1.0)));
            let away = ((u - m * n / 2.0).abs() - 0.5).max(0.0) / variance.sqrt();
            2.0 * upper_tail(away)
        };
        Some(RankSum { u, p: p.min(1.0), exact, shift: shift(first, second) })
    }
}

/// The sum of the ranks of the first group, and how many values share each tied one.
fn ranks(all: &[(f64, bool)]) -> (f64, Vec<usize>) {
    let (mut sum, mut ties, mut start) = (0.0, Vec::new(), 0);
    while start < all.len() {
        let same = all[start..].iter().take_while(|(value, _)| *value == all[start].0).count();
        let rank = start as f64 + (same as f64 + 1.0) / 2.0;
        let own = all[start..start + same].iter().filter(|(_, first)| *first).count();
        sum += rank * own as f64;
        if same > 1 {
            ties.push(same);
        }
        start += same;
    }
    (sum, ties)
}

/// The share of the normal distribution above z.
fn upper_tail(z: f64) -> f64 {
    0.5 * libm::erfc(z / std::f64::consts::SQRT_2)
}

/// Twice the smaller tail of U for m and n values without ties.
fn exact_p(u: f64, m: usize, n: usize) -> f64 {
    let distribution = distribution_of_u(m, n);
    let at = u.round() as usize;
    let lower: f64 = distribution.iter().take(at + 1).sum();
    let upper: f64 = distribution.iter().skip(at).sum();
    2.0 * lower.min(upper)
}

/// The probability of each U from 0 to m n: the largest value is one of the first group (then it is above all n) with
/// the chance m/(m + n). Only sums of positive numbers, so nothing is lost.
fn distribution_of_u(m: usize, n: usize) -> Vec<f64> {
    // One row for each count of the first group; within it one distribution for each count of the second.
    let mut row: Vec<Vec<f64>> = (0..=n).map(|_| vec![1.0]).collect();
    for i in 1..=m {
        let mut next: Vec<Vec<f64>> = vec![vec![1.0]];
        for j in 1..=n {
            let (of_first, of_second) = (i as f64 / (i + j) as f64, j as f64 / (i + j) as f64);
            let mut own = vec![0.0; i * j + 1];
            row[j].iter().enumerate().for_each(|(u, p)| own[u + j] += of_first * p);
            next[j - 1].iter().enumerate().for_each(|(u, p)| own[u] += of_second * p);
            next.push(own);
        }
        row = next;
    }
    row.pop().unwrap_or_default()
}

/// The median of all differences, found by halving: the differences themselves may be too many to hold.
fn shift(first: &[f64], second: &[f64]) -> f64 {
    let sorted = |values: &[f64]| {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        sorted
    };
    let (first, second) = (sorted(first), sorted(second));
    let pairs = first.len() as u64 * second.len() as u64;
    (nth(&first, &second, pairs.div_ceil(2)) + nth(&first, &second, pairs / 2 + 1)) / 2.0
}

/// The difference that is the `rank`th from below.
fn nth(first: &[f64], second: &[f64], rank: u64) -> f64 {
    let mut low = first[0] - second[second.len() - 1];
    let mut high = first[first.len() - 1] - second[0];
    while low < high {
        let middle = low + (high - low) / 2.0;
        // No number lies between the two any more.
        if middle <= low || middle >= high {
            return if not_above(first, second, low) >= rank { low } else { high };
        }
        if not_above(first, second, middle) >= rank { high = middle } else { low = middle }
    }
    low
}

/// How many differences are not above `limit`.
fn not_above(first: &[f64], second: &[f64], limit: f64) -> u64 {
    let mut from = 0;
    let of = |value: &f64| {
        while from < second.len() && value - second[from] > limit {
            from += 1;
        }
        (second.len() - from) as u64
    };
    first.iter().map(of).sum()
}

/// Probabilities of several tests, each made larger so that by chance one of all falls below a level no more often than
/// the level says (S. Holm, Scandinavian Journal of Statistics 6 (1979) 65).
pub fn holm(probabilities: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..probabilities.len()).collect();
    order.sort_by(|a, b| probabilities[*a].total_cmp(&probabilities[*b]));
    let mut adjusted = vec![0.0; probabilities.len()];
    let mut least = 0.0f64;
    for (done, index) in order.iter().enumerate() {
        least = least.max((probabilities.len() - done) as f64 * probabilities[*index]).min(1.0);
        adjusted[*index] = least;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    // M. Hollander and D. A. Wolfe, Nonparametric Statistical Methods (1973), p. 69 ff.: permeability of membranes, as in the
    // help of R's wilcox.test (from memory): W = 35, one-sided p = 0.1272.
    #[test]
    fn permeability_of_membranes() {
        let first = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
        let second = [1.15, 0.88, 0.90, 0.74, 1.21];
        let test = RankSum::of(&first, &second).unwrap();
        assert_eq!((test.u, test.exact), (35.0, true));
        assert!((test.p - 2.0 * 0.1272).abs() < 1e-4, "{test:?}");
    }

    // R's `airquality`, ozone in May and August (data from memory; New York State Department of Conservation, 1973): the help
    // of wilcox.test gives W = 127.5, p = 0.0001208 with ties and the correction for continuity (from memory).
    #[test]
    fn ozone_with_ties() {
        let may = [
            41., 36., 12., 18., 28., 23., 19., 8., 7., 16., 11., 14., 18., 14., 34., 6., 30., 11., 1., 11.,
            4., 32., 23., 45., 115., 37.,
        ];
        let august = [
            39., 9., 16., 78., 35., 66., 122., 89., 110., 44., 28., 65., 22., 59., 23., 31., 44., 21., 9.,
            45., 168., 73., 76., 118., 84., 85.,
        ];
        let test = RankSum::of(&may, &august).unwrap();
        assert_eq!((test.u, test.exact), (127.5, false));
        assert!((test.p - 0.000_120_8).abs() < 5e-8, "{test:?}");
    }

    // By counting: of the 20 ways to choose 3 of 6 ranks, one has U = 0, one U = 1, two U = 2, three U = 3, three U = 4.
    #[test]
    fn the_distribution_of_u_is_that_of_all_choices() {
        let counts: Vec<f64> = distribution_of_u(3, 3).iter().map(|p| (p * 20.0).round()).collect();
        assert_eq!(counts, [1., 1., 2., 3., 3., 3., 3., 2., 1., 1.]);
    }

    #[test]
    fn the_shift_is_the_median_of_all_differences() {
        // Differences 1 − 0, 1 − 4, 3 − 0, 3 − 4, 8 − 0, 8 − 4: sorted −3, −1, 1, 3, 4, 8.
        let test = RankSum::of(&[1.0, 3.0, 8.0], &[0.0, 4.0]).unwrap();
        assert!((test.shift - 2.0).abs() < 1e-9, "{test:?}");
        let reversed = RankSum::of(&[0.0, 4.0], &[1.0, 3.0, 8.0]).unwrap();
        assert!((reversed.shift + 2.0).abs() < 1e-9 && (reversed.p - test.p).abs() < 1e-12);
    }

    #[test]
    fn groups_without_scatter_have_no_test() {
        assert_eq!(RankSum::of(&[1.0, 1.0], &[1.0]), None);
        assert_eq!(RankSum::of(&[], &[1.0]), None);
        assert_eq!(RankSum::of(&[f64::NAN], &[1.0]), None);
    }

    // By hand: 0.01 × 4, 0.02 × 3, 0.03 × 2 stays at 0.06, 0.5 × 1.
    #[test]
    fn holm_in_steps() {
        let adjusted = holm(&[0.03, 0.5, 0.01, 0.02]);
        let expected = [0.06, 0.5, 0.04, 0.06];
        assert!(adjusted.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{adjusted:?}");
        assert_eq!(holm(&[]), Vec::<f64>::new());
    }
}
