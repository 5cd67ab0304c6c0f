//! Coverage intervals from many values of one quantity (JCGM 101:2008, 7.7).
//!
//! Both intervals are fixed by the smallest and the largest values alone, so a set of values may hold only these,
//! and how many there are in all.

use super::cells::Cells;

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

/// The smallest and the largest of many values, by rank; those between are only counted. They are put in order no
/// further than is asked for.
#[derive(Clone, Debug, Default)]
pub struct Ordered {
    smallest: Cells,
    largest: Cells,
    count: usize,
}

impl Ordered {
    /// All of some values, none of them a NaN.
    pub fn all(values: Vec<f64>) -> Self {
        let count = values.len();
        Ordered::tails(values, Vec::new(), count)
    }

    /// The smallest and the largest of `count` values, in any order; every value left out lies between them.
    pub fn tails(smallest: Vec<f64>, largest: Vec<f64>, count: usize) -> Self {
        Ordered { smallest: Cells::of(smallest), largest: Cells::of(largest), count }
    }

    /// How many values there are, those left out counted.
    pub fn count(&self) -> usize {
        self.count
    }

    /// The value of a rank, from 1; `None` outside, and for one that was left out.
    pub fn of_rank(&mut self, rank: usize) -> Option<f64> {
        match self.place(rank)? {
            Place::Smallest(at) => self.smallest.value(at),
            Place::Largest(at) => self.largest.value(at),
        }
    }

    /// The probabilistically symmetric interval (7.7.2): as many values below it as above. `None` where there
    /// are too few values, or those it needs were left out.
    pub fn symmetric(&mut self, probability: f64) -> Option<CoverageInterval> {
        let (low, high) = symmetric_ranks(probability, self.count)?;
        self.between(low, high - low)
    }

    /// The shortest interval (7.7.3); the lowest of several. `None` as for [`Self::symmetric`]. Every lower end that is
    /// possible has to be among the smallest values.
    ///
    /// Of the cells of values, only those are put in order from which an interval could be as short as one that is known.
    pub fn shortest(&mut self, probability: f64) -> Option<CoverageInterval> {
        let inside = inside(probability, self.count)?;
        let last = self.count - inside;
        let mut spans = self.smallest.spans();
        spans.retain(|(first, _)| *first <= last);
        if spans.last().is_none_or(|(_, end)| *end < last) {
            return None;
        }
        let least = spans.iter().map(|(first, _)| self.least_from(*first, inside));
        let least = least.collect::<Option<Vec<f64>>>()?;
        let likely = (0..least.len()).min_by(|a, b| least[*a].total_cmp(&least[*b]))?;
        let known = self.shortest_from(spans[likely], inside, None)?.length();
        let mut shortest = None;
        for (span, least) in spans.into_iter().zip(least) {
            if least <= known {
                shortest = self.shortest_from(span, inside, shortest);
            }
        }
        shortest
    }

    /// No interval whose lower end is in the cell that begins with a rank is shorter than this.
    fn least_from(&self, first: usize, inside: usize) -> Option<f64> {
        let bounds = |rank| match self.place(rank)? {
            Place::Smallest(at) => self.smallest.bounds(at),
            Place::Largest(at) => self.largest.bounds(at),
        };
        let ((_, highest_low), (lowest_high, _)) = (bounds(first)?, bounds(first + inside)?);
        Some(lowest_high - highest_low)
    }

    /// The shortest interval with its lower end at one of these ranks, where it is shorter than another one.
    fn shortest_from(
        &mut self,
        (first, end): (usize, usize),
        inside: usize,
        other: Option<CoverageInterval>,
    ) -> Option<CoverageInterval> {
        let mut shortest = other;
        for rank in first..=end.min(self.count - inside) {
            let interval = self.between(rank, inside)?;
            if shortest.is_none_or(|shortest| interval.length() < shortest.length()) {
                shortest = Some(interval);
            }
        }
        shortest
    }

    fn between(&mut self, rank: usize, inside: usize) -> Option<CoverageInterval> {
        Some(CoverageInterval { low: self.of_rank(rank)?, high: self.of_rank(rank + inside)? })
    }

    fn place(&self, rank: usize) -> Option<Place> {
        place(rank, self.smallest.values.len(), self.largest.values.len(), self.count)
    }
}

/// The probabilistically symmetric interval of values in any order, as [`Ordered::tails`] takes them; they are left in
/// another order. Quicker than ordering them.
pub fn symmetric_interval(
    smallest: &mut [f64],
    largest: &mut [f64],
    count: usize,
    probability: f64,
) -> Option<CoverageInterval> {
    let (low, high) = symmetric_ranks(probability, count)?;
    let mut of_rank = |rank: usize| {
        let (values, at) = match place(rank, smallest.len(), largest.len(), count)? {
            Place::Smallest(at) => (&mut *smallest, at),
            Place::Largest(at) => (&mut *largest, at),
        };
        Some(*values.select_nth_unstable_by(at, f64::total_cmp).1)
    };
    Some(CoverageInterval { low: of_rank(low)?, high: of_rank(high)? })
}

enum Place {
    Smallest(usize),
    Largest(usize),
}

/// Where the value of a rank (from 1) is, among so many smallest and so many largest in ascending order.
fn place(rank: usize, smallest: usize, largest: usize, count: usize) -> Option<Place> {
    let from_above = count.checked_sub(rank)?;
    match rank.checked_sub(1)? {
        at if at < smallest => Some(Place::Smallest(at)),
        _ => largest.checked_sub(from_above + 1).map(Place::Largest),
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
        let mut ordered = Ordered::all((1..=200).rev().map(f64::from).collect());
        assert_eq!(ordered.symmetric(0.95), Some(CoverageInterval { low: 5.0, high: 195.0 }));
    }

    /// Squares lie closer at the lower end: the shortest interval of 100 with p = 0.9 is from the 1st to the 91st.
    #[test]
    fn the_shortest_interval_lies_where_values_are_dense() {
        let mut ordered = Ordered::all((1..=100).map(|i| f64::from(i * i)).collect());
        assert_eq!(ordered.shortest(0.9), Some(CoverageInterval { low: 1.0, high: 8281.0 }));
        let symmetric = ordered.symmetric(0.9).unwrap();
        assert_eq!((symmetric.low, symmetric.high), (25.0, 9025.0));
    }

    #[test]
    fn tails_give_what_all_values_give() {
        let value = |i: u32| (f64::from(i) * 0.618_033_988_749_895).fract().powi(2);
        let values: Vec<f64> = (0..3000).map(value).collect();
        let mut all = Ordered::all(values.clone());
        let mut held: Vec<f64> = values.iter().copied().filter(|v| *v <= 0.02).collect();
        let mut largest: Vec<f64> = values.iter().copied().filter(|v| *v >= 0.7).collect();
        let mut tails = Ordered::tails(held.clone(), largest.clone(), values.len());
        assert_eq!(tails.symmetric(0.95), all.symmetric(0.95));
        assert_eq!(tails.shortest(0.95), all.shortest(0.95));
        assert!(tails.symmetric(0.5).is_none() && all.symmetric(0.5).is_some());
        assert_eq!(symmetric_interval(&mut held, &mut largest, values.len(), 0.95), all.symmetric(0.95));
        assert_eq!(symmetric_interval(&mut held, &mut largest, values.len(), 0.5), None);
    }

    /// Even, heavy-tailed, with steps, in two heaps, of one value: the ranks and the shortest interval are those found by
    /// putting all in order and trying every lower end.
    #[test]
    fn any_values_have_the_shortest_interval() {
        let unit = |i: u32| (f64::from(i) * 0.618_033_988_749_895).fract();
        let shapes: [fn(f64) -> f64; 7] = [
            |u| u,
            |u| (u - 0.5).powi(3),
            |u| (std::f64::consts::PI * (u - 0.5)).tan(),
            |u| (8.0 * u).floor(),
            |u| if u < 0.5 { u } else { 1e6 + u },
            |u| u * 1e-310,
            |_| 3.0,
        ];
        for (at, shape) in shapes.into_iter().enumerate() {
            for count in [2, 40, 255, 5000, 20_000] {
                let values: Vec<f64> = (0..count).map(|i| shape(unit(i))).collect();
                let mut ascending = values.clone();
                ascending.sort_unstable_by(f64::total_cmp);
                let mut ordered = Ordered::all(values);
                for probability in [0.5, 0.9, 0.95] {
                    let inside = (probability * f64::from(count)).round() as usize;
                    let ends = ascending.iter().zip(&ascending[inside.min(ascending.len())..]);
                    let all = ends.map(|(low, high)| CoverageInterval { low: *low, high: *high });
                    let expected =
                        all.reduce(|best, other| if other.length() < best.length() { other } else { best });
                    assert_eq!(ordered.shortest(probability), expected, "shape {at}, {count}, {probability}");
                }
                let ranks: Vec<f64> =
                    (1..=ascending.len()).filter_map(|rank| ordered.of_rank(rank)).collect();
                assert_eq!(ranks, ascending, "shape {at}, {count} values");
            }
        }
    }

    #[test]
    fn too_few_values_have_no_interval() {
        assert_eq!(Ordered::all(vec![]).symmetric(0.95), None);
        assert_eq!(Ordered::all(vec![1.0, 2.0]).shortest(0.95), None);
        assert_eq!(Ordered::all(vec![1.0; 40]).shortest(0.95).unwrap().length(), 0.0);
    }
}
