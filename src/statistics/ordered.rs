//! Coverage intervals from many values of one quantity (JCGM 101:2008, 7.7).
//!
//! Both intervals are fixed by the smallest and the largest values alone, so a set of values may hold only these,
//! and how many there are in all.

/// An interval with its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoverageInterval {
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl CoverageInterval {
    /// Its length.
    pub fn length(&self) -> f64 {
        self.high - self.low
    }
}

/// Values in ascending order: the smallest and the largest ones, those between only counted.
#[derive(Clone, Debug, Default)]
pub struct Ordered {
    held: Vec<f64>,
    /// How many of those held are the smallest of all; the others are the largest.
    smallest: usize,
    count: usize,
}

impl Ordered {
    /// All of some values.
    pub fn all(values: Vec<f64>) -> Self {
        let count = values.len();
        Ordered::tails(values, count, count)
    }

    /// The `smallest` smallest and the other largest of `count` values, in any order; every value left out lies
    /// between them.
    pub fn tails(mut held: Vec<f64>, smallest: usize, count: usize) -> Self {
        held.sort_unstable_by(f64::total_cmp);
        Ordered { held, smallest, count }
    }

    /// How many values there are, those left out counted.
    pub fn count(&self) -> usize {
        self.count
    }

    /// The value of a rank, from 1; `None` outside, and for one that was left out.
    pub fn of_rank(&self, rank: usize) -> Option<f64> {
        self.held.get(place(rank, self.held.len(), self.smallest, self.count)?).copied()
    }

    /// The probabilistically symmetric interval (7.7.2): as many values below it as above. `None` where there
    /// are too few values, or those it needs were left out.
    pub fn symmetric(&self, probability: f64) -> Option<CoverageInterval> {
        let (low, high) = symmetric_ranks(probability, self.count)?;
        Some(CoverageInterval { low: self.of_rank(low)?, high: self.of_rank(high)? })
    }

    /// The shortest interval (7.7.3); the lowest of several. `None` as for [`Self::symmetric`].
    pub fn shortest(&self, probability: f64) -> Option<CoverageInterval> {
        let inside = inside(probability, self.count)?;
        let mut shortest = self.between(1, inside)?;
        for below in 2..=self.count - inside {
            let interval = self.between(below, inside)?;
            if interval.length() < shortest.length() {
                shortest = interval;
            }
        }
        Some(shortest)
    }

    fn between(&self, rank: usize, inside: usize) -> Option<CoverageInterval> {
        Some(CoverageInterval { low: self.of_rank(rank)?, high: self.of_rank(rank + inside)? })
    }
}

/// The probabilistically symmetric interval of values in any order, as [`Ordered::tails`] takes them; they are left in
/// another order. Quicker than ordering them.
pub fn symmetric_interval(
    held: &mut [f64],
    smallest: usize,
    count: usize,
    probability: f64,
) -> Option<CoverageInterval> {
    let (low, high) = symmetric_ranks(probability, count)?;
    let low = place(low, held.len(), smallest, count)?;
    let high = place(high, held.len(), smallest, count)?;
    let (_, lower, above) = held.select_nth_unstable_by(low, f64::total_cmp);
    let upper = above.select_nth_unstable_by(high.checked_sub(low + 1)?, f64::total_cmp).1;
    Some(CoverageInterval { low: *lower, high: *upper })
}

/// Where the value of a rank (from 1) is among those held, in ascending order.
fn place(rank: usize, held: usize, smallest: usize, count: usize) -> Option<usize> {
    let from_above = count.checked_sub(rank)?;
    match rank.checked_sub(1)? {
        place if place < smallest => Some(place),
        _ => held.checked_sub(from_above + 1).filter(|place| *place >= smallest),
    }
}

/// q: how many of the values an interval spans, pM rounded.
fn inside(probability: f64, count: usize) -> Option<usize> {
    let inside = (probability * count as f64).round() as usize;
    (probability > 0.0 && inside > 0 && inside < count).then_some(inside)
}

/// r and r + q of the symmetric interval.
fn symmetric_ranks(probability: f64, count: usize) -> Option<(usize, usize)> {
    let inside = inside(probability, count)?;
    let below = (count - inside).div_ceil(2);
    Some((below, below + inside))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 101, 7.7.2 by hand: M = 200 values, p = 0.95: q = 190, r = 5, so the 5th and the 195th.
    #[test]
    fn ranks_of_the_symmetric_interval() {
        let ordered = Ordered::all((1..=200).rev().map(f64::from).collect());
        assert_eq!(ordered.symmetric(0.95), Some(CoverageInterval { low: 5.0, high: 195.0 }));
    }

    /// Squares lie closer at the lower end: the shortest interval of 100 with p = 0.9 is from the 1st to the 91st.
    #[test]
    fn the_shortest_interval_lies_where_values_are_dense() {
        let ordered = Ordered::all((1..=100).map(|i| f64::from(i * i)).collect());
        assert_eq!(ordered.shortest(0.9), Some(CoverageInterval { low: 1.0, high: 8281.0 }));
        let symmetric = ordered.symmetric(0.9).unwrap();
        assert_eq!((symmetric.low, symmetric.high), (25.0, 9025.0));
    }

    #[test]
    fn tails_give_what_all_values_give() {
        let value = |i: u32| (f64::from(i) * 0.618_033_988_749_895).fract().powi(2);
        let values: Vec<f64> = (0..3000).map(value).collect();
        let all = Ordered::all(values.clone());
        let mut held: Vec<f64> = values.iter().copied().filter(|v| *v <= 0.02 || *v >= 0.7).collect();
        let smallest = held.iter().filter(|value| **value <= 0.02).count();
        let tails = Ordered::tails(held.clone(), smallest, values.len());
        assert_eq!(tails.symmetric(0.95), all.symmetric(0.95));
        assert_eq!(tails.shortest(0.95), all.shortest(0.95));
        assert!(tails.symmetric(0.5).is_none() && all.symmetric(0.5).is_some());
        assert_eq!(symmetric_interval(&mut held, smallest, values.len(), 0.95), all.symmetric(0.95));
        assert_eq!(symmetric_interval(&mut held, smallest, values.len(), 0.5), None);
    }

    #[test]
    fn too_few_values_have_no_interval() {
        assert_eq!(Ordered::all(vec![]).symmetric(0.95), None);
        assert_eq!(Ordered::all(vec![1.0, 2.0]).shortest(0.95), None);
        assert_eq!(Ordered::all(vec![1.0; 40]).shortest(0.95).unwrap().length(), 0.0);
    }
}
