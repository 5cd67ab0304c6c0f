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
    pub fn all(values: Vec<f64>) -> Self {
        let count = values.len();
        Ordered::tails(values, Vec::new(), count)
    }

    /// The smallest and the largest of `count` values, in any order; every value left out lies between them.
    pub fn tails(smallest: Vec<f64>, largest: Vec<f64>, count: usize) -> Self {
        Ordered { smallest: ascending(smallest), largest: ascending(largest), count }
    }

    /// How many values there are, those left out counted.
    pub fn count(&self) -> usize {
        self.count
    }

    /// The value of a rank, from 1; `None` outside, and for one that was left out.
    pub fn of_rank(&self, rank: usize) -> Option<f64> {
        match place(rank, self.smallest.len(), self.largest.len(), self.count)? {
            Place::Smallest(at) => self.smallest.get(at).copied(),
            Place::Largest(at) => self.largest.get(at).copied(),
        }
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

/// Fewer values than this are ordered by comparing alone.
const FEW: usize = 256;

/// Values in ascending order. Those of a smooth distribution lie evenly enough in equal cells for each cell to hold a
/// few, and then one pass puts them in order; a cell that holds many is ordered by itself. None of them is a NaN.
fn ascending(mut values: Vec<f64>) -> Vec<f64> {
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let cells = 2 * values.len();
    let per_unit = cells as f64 / (high - low);
    if values.len() < FEW || !(per_unit.is_finite() && per_unit > 0.0) {
        values.sort_unstable_by(f64::total_cmp);
        return values;
    }
    let cell = |value: f64| (((value - low) * per_unit) as usize).min(cells - 1);
    let mut ends = vec![0u32; cells];
    values.iter().for_each(|value| ends[cell(*value)] += 1);
    let many = in_turn(&mut ends);
    let mut placed = vec![0.0; values.len()];
    for value in values {
        let end = &mut ends[cell(value)];
        placed[*end as usize] = value;
        *end += 1;
    }
    for (start, length) in many {
        placed[start..start + length].sort_unstable_by(f64::total_cmp);
    }
    insert(&mut placed);
    placed
}

/// Turns the number of values in each cell into the place of its first one; the cells of many, as start and length.
fn in_turn(cells: &mut [u32]) -> Vec<(usize, usize)> {
    const MANY: u32 = 16;
    let (mut next, mut many) = (0, Vec::new());
    for cell in cells {
        let count = std::mem::replace(cell, next);
        if count > MANY {
            many.push((next as usize, count as usize));
        }
        next += count;
    }
    many
}

/// Orders what is nearly in order, by insertion.
fn insert(values: &mut [f64]) {
    for at in 1..values.len() {
        let value = values[at];
        let mut to = at;
        while to > 0 && values[to - 1] > value {
            values[to] = values[to - 1];
            to -= 1;
        }
        values[to] = value;
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
        let mut held: Vec<f64> = values.iter().copied().filter(|v| *v <= 0.02).collect();
        let mut largest: Vec<f64> = values.iter().copied().filter(|v| *v >= 0.7).collect();
        let tails = Ordered::tails(held.clone(), largest.clone(), values.len());
        assert_eq!(tails.symmetric(0.95), all.symmetric(0.95));
        assert_eq!(tails.shortest(0.95), all.shortest(0.95));
        assert!(tails.symmetric(0.5).is_none() && all.symmetric(0.5).is_some());
        assert_eq!(symmetric_interval(&mut held, &mut largest, values.len(), 0.95), all.symmetric(0.95));
        assert_eq!(symmetric_interval(&mut held, &mut largest, values.len(), 0.5), None);
    }

    /// Even, heavy-tailed, with steps, in two heaps, of one value: the order is that of comparing alone.
    #[test]
    fn any_values_come_in_order() {
        let unit = |i: u32| (f64::from(i) * 0.618_033_988_749_895).fract();
        let shapes: [fn(f64) -> f64; 6] = [
            |u| u,
            |u| (std::f64::consts::PI * (u - 0.5)).tan(),
            |u| (8.0 * u).floor(),
            |u| if u < 0.5 { u } else { 1e6 + u },
            |u| u * 1e-310,
            |_| 3.0,
        ];
        for (at, shape) in shapes.into_iter().enumerate() {
            for count in [0, 1, 2, 255, 256, 5000] {
                let values: Vec<f64> = (0..count).map(|i| shape(unit(i))).collect();
                let mut expected = values.clone();
                expected.sort_unstable_by(f64::total_cmp);
                assert_eq!(ascending(values), expected, "shape {at}, {count} values");
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
