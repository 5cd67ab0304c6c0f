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
    smallest: Vec<f64>,
    largest: Vec<f64>,
    count: usize,
}

impl Ordered {
    /// All of some values.
    pub fn all(mut values: Vec<f64>) -> Self {
        values.sort_by(f64::total_cmp);
        Ordered { count: values.len(), smallest: values, largest: Vec::new() }
    }

    /// The smallest and the largest of so many values; every value left out lies between them.
    pub fn tails(mut smallest: Vec<f64>, mut largest: Vec<f64>, count: usize) -> Self {
        // Runs that are ascending already, as those of blocks put together, are found and merged.
        smallest.sort_by(f64::total_cmp);
        largest.sort_by(f64::total_cmp);
        Ordered { smallest, largest, count }
    }

    /// How many values there are, those left out counted.
    pub fn count(&self) -> usize {
        self.count
    }

    /// The smallest values that are held, in ascending order.
    pub fn smallest(&self) -> &[f64] {
        &self.smallest
    }

    /// The largest values that are held, in ascending order; empty where all are among the smallest.
    pub fn largest(&self) -> &[f64] {
        &self.largest
    }

    /// The value of a rank, from 1; `None` outside, and for one that was left out.
    pub fn of_rank(&self, rank: usize) -> Option<f64> {
        let from_above = self.count.checked_sub(rank)?;
        match self.smallest.get(rank.checked_sub(1)?) {
            Some(value) => Some(*value),
            None => self.largest.get(self.largest.len().checked_sub(from_above + 1)?).copied(),
        }
    }

    /// The probabilistically symmetric interval (7.7.2): as many values below it as above. `None` where there
    /// are too few values, or those it needs were left out.
    pub fn symmetric(&self, probability: f64) -> Option<CoverageInterval> {
        let inside = self.inside(probability)?;
        let below = (self.count - inside).div_ceil(2);
        self.between(below, inside)
    }

    /// The shortest interval (7.7.3); the lowest of several. `None` as for [`Self::symmetric`].
    pub fn shortest(&self, probability: f64) -> Option<CoverageInterval> {
        let inside = self.inside(probability)?;
        let mut shortest = self.between(1, inside)?;
        for below in 2..=self.count - inside {
            let interval = self.between(below, inside)?;
            if interval.length() < shortest.length() {
                shortest = interval;
            }
        }
        Some(shortest)
    }

    /// q: how many of the values an interval spans, pM rounded.
    fn inside(&self, probability: f64) -> Option<usize> {
        let inside = (probability * self.count as f64).round() as usize;
        (probability > 0.0 && inside > 0 && inside < self.count).then_some(inside)
    }

    fn between(&self, rank: usize, inside: usize) -> Option<CoverageInterval> {
        Some(CoverageInterval { low: self.of_rank(rank)?, high: self.of_rank(rank + inside)? })
    }
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
        let pick = |keep: &dyn Fn(f64) -> bool| values.iter().copied().filter(|v| keep(*v)).collect();
        let tails = Ordered::tails(pick(&|v| v <= 0.02), pick(&|v| v >= 0.7), values.len());
        assert_eq!(tails.symmetric(0.95), all.symmetric(0.95));
        assert_eq!(tails.shortest(0.95), all.shortest(0.95));
        assert!(tails.symmetric(0.5).is_none() && all.symmetric(0.5).is_some());
    }

    #[test]
    fn too_few_values_have_no_interval() {
        assert_eq!(Ordered::all(vec![]).symmetric(0.95), None);
        assert_eq!(Ordered::all(vec![1.0, 2.0]).shortest(0.95), None);
        assert_eq!(Ordered::all(vec![1.0; 40]).shortest(0.95).unwrap().length(), 0.0);
    }
}
