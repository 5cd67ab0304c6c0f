//! One block of draws: its random numbers, the values of each output, and what is kept of them.

use super::super::tape::Tape;
use super::adaptive::Plan;
use super::lanes::{LANES, Row, work_out};
use crate::statistics::{CoverageInterval, Distribution, Stream, symmetric_interval, vectorised};

/// Inputs that are correlated: normal, with the lower triangular root of their covariance (JCGM 101, 6.4.8 and C.5).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Correlated {
    /// Their registers.
    pub(super) registers: Vec<usize>,
    /// Row i: the factors of the first i + 1 independent deviates.
    pub(super) root: Vec<Vec<f64>>,
}

/// What is drawn.
#[derive(Clone, Debug, Default)]
pub(super) struct Model {
    pub(super) tape: Tape,
    /// The distribution of each input that is independent of the others, by register; `None` for a correlated one.
    pub(super) independent: Vec<Option<Distribution>>,
    pub(super) correlated: Vec<Correlated>,
    /// The estimate of each output: sums are of deviations from it.
    pub(super) estimates: Vec<f64>,
}

/// Which values of an output are kept: those not above `low` and those not below `high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Keep {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Keep {
    /// Every value, among the low ones.
    pub(super) const ALL: Keep = Keep { low: f64::INFINITY, high: f64::INFINITY };
}

/// What a block says of one output.
#[derive(Clone, Debug)]
pub(super) struct OfBlock {
    /// Draws that have a value.
    pub(super) count: usize,
    /// Draws that have none.
    pub(super) without_value: usize,
    /// Σ (value − estimate)
    pub(super) sum: f64,
    /// Σ (value − estimate)²
    pub(super) squares: f64,
    /// The values not above the lower limit, in no order.
    pub(super) smallest: Vec<f64>,
    /// Those not below the upper limit alone.
    pub(super) largest: Vec<f64>,
    /// The block's own symmetric interval.
    pub(super) interval: Option<CoverageInterval>,
}

/// Draws a block; the same seed and block number give the same bits wherever and whenever it is drawn.
pub(super) fn draw(model: &Model, plan: &Plan, block: u64, draws: usize, keep: &[Keep]) -> Vec<OfBlock> {
    let mut stream = Stream::of(plan.seed, block);
    let mut rows = vec![[0.0; LANES]; model.tape.registers()];
    let mut gathered: Vec<Gathered> = vec![Gathered::default(); model.tape.outputs.len()];
    let mut left = draws;
    while left > 0 {
        let lanes = left.min(LANES);
        deviates(model, &mut stream, &mut rows);
        for (at, step) in model.tape.steps.iter().enumerate() {
            let (before, after) = rows.split_at_mut(model.tape.inputs + at);
            work_out(step, before, &mut after[0]);
        }
        for (output, gathered) in gathered.iter_mut().enumerate() {
            let row = &rows[model.tape.outputs[output]];
            gathered.take(&row[..lanes], model.estimates[output], keep[output]);
        }
        left -= lanes;
    }
    gathered.into_iter().zip(keep).map(|(gathered, keep)| gathered.finish(*keep, plan.probability)).collect()
}

/// Fills the rows of the inputs.
fn deviates(model: &Model, stream: &mut Stream, rows: &mut [Row]) {
    for (row, distribution) in rows.iter_mut().zip(&model.independent) {
        if let Some(distribution) = distribution {
            stream.fill(distribution, row);
        }
    }
    for group in &model.correlated {
        let unit = Distribution::Normal { standard_deviation: 1.0 };
        let mut independent = vec![[0.0; LANES]; group.registers.len()];
        independent.iter_mut().for_each(|row| stream.fill(&unit, row));
        for (register, factors) in group.registers.iter().zip(&group.root) {
            let out = &mut rows[*register];
            out.fill(0.0);
            for (factor, row) in factors.iter().zip(&independent) {
                out.iter_mut().zip(row).for_each(|(out, x)| *out += factor * x);
            }
        }
    }
}

/// Numbers added up side by side, so that the order of adding does not depend on the processor.
const SIDE_BY_SIDE: usize = 8;

#[derive(Clone, Debug, Default)]
struct Gathered {
    count: usize,
    without_value: usize,
    sum: f64,
    squares: f64,
    kept: Vec<f64>,
}

impl Gathered {
    fn take(&mut self, values: &[f64], estimate: f64, keep: Keep) {
        let (sum, squares) = sums(values, estimate);
        if (sum + squares).is_finite() {
            self.add(values.len(), sum, squares);
            self.keep(values, keep);
            return;
        }
        // Some draw has no value, or one so far off that its square has none.
        let finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
        self.without_value += values.len() - finite.len();
        let (sum, squares) = sums(&finite, estimate);
        self.add(finite.len(), sum, squares);
        self.keep(&finite, keep);
    }

    fn add(&mut self, count: usize, sum: f64, squares: f64) {
        self.count += count;
        self.sum += sum;
        self.squares += squares;
    }

    /// Every value of one row or less is written, and the place moves on only where it is kept: quicker than asking first.
    fn keep(&mut self, values: &[f64], keep: Keep) {
        let Keep { low, high } = keep;
        let (mut kept, mut count) = ([0.0; LANES], 0);
        for value in values {
            kept[count] = *value;
            count += usize::from((*value <= low) | (*value >= high));
        }
        self.kept.extend_from_slice(&kept[..count]);
    }

    fn finish(self, keep: Keep, probability: f64) -> OfBlock {
        let (mut smallest, mut largest) = split(&self.kept, keep.low);
        let interval = symmetric_interval(&mut smallest, &mut largest, self.count, probability);
        OfBlock {
            count: self.count,
            without_value: self.without_value,
            sum: self.sum,
            squares: self.squares,
            smallest,
            largest,
            interval,
        }
    }
}

/// Values not above a limit, and the others; written to both places, as in [`Gathered::keep`].
pub(super) fn split(values: &[f64], low: f64) -> (Vec<f64>, Vec<f64>) {
    let (mut below, mut above) = (vec![0.0; values.len()], vec![0.0; values.len()]);
    let (mut at_below, mut at_above) = (0, 0);
    for value in values {
        below[at_below] = *value;
        above[at_above] = *value;
        at_below += usize::from(*value <= low);
        at_above += usize::from(*value > low);
    }
    below.truncate(at_below);
    above.truncate(at_above);
    (below, above)
}

/// Σ (value − estimate) and Σ (value − estimate)²
fn sums(values: &[f64], estimate: f64) -> (f64, f64) {
    let (groups, rest) = values.as_chunks::<SIDE_BY_SIDE>();
    let mut sums = [[0.0; SIDE_BY_SIDE]; 2];
    vectorised(
        #[inline(always)]
        || {
            for group in groups {
                for (lane, value) in group.iter().enumerate() {
                    let deviation = value - estimate;
                    sums[0][lane] += deviation;
                    sums[1][lane] += deviation * deviation;
                }
            }
        },
    );
    let rest = rest.iter().map(|value| value - estimate);
    let (sum, squares) = rest.fold((0.0, 0.0), |(sum, squares), d| (sum + d, squares + d * d));
    (sums[0].iter().sum::<f64>() + sum, sums[1].iter().sum::<f64>() + squares)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_without_a_value_are_counted() {
        let mut gathered = Gathered::default();
        gathered.take(&[1.0, f64::NAN, 3.0, f64::INFINITY, 5.0], 2.0, Keep::ALL);
        let mut block = gathered.finish(Keep::ALL, 0.95);
        block.smallest.sort_unstable_by(f64::total_cmp);
        assert_eq!((block.count, block.without_value), (3, 2));
        assert_eq!((block.sum, block.squares), (3.0, 11.0));
        assert_eq!((block.smallest, block.largest), (vec![1.0, 3.0, 5.0], vec![]));
    }

    #[test]
    fn only_the_tails_are_kept() {
        let mut gathered = Gathered::default();
        let keep = Keep { low: 2.0, high: 9.0 };
        gathered.take(&[5.0, 9.0, 1.0, 7.0, 10.0, 2.0], 5.0, keep);
        let mut block = gathered.finish(keep, 0.6);
        block.smallest.sort_unstable_by(f64::total_cmp);
        block.largest.sort_unstable_by(f64::total_cmp);
        assert_eq!((block.smallest, block.largest, block.count), (vec![1.0, 2.0], vec![9.0, 10.0], 6));
        assert_eq!(block.interval, Some(CoverageInterval { low: 1.0, high: 9.0 }));
    }
}
