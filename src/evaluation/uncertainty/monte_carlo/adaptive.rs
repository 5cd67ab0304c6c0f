//! As many blocks of draws as the results need (JCGM 101:2008, 7.9).
//!
//! A block is M = max(J, 10⁴) draws, J the smallest whole number above 100/(1 − p) (7.9.4 a). Blocks are drawn side
//! by side on all cores and put together in their order, and whether there are enough is asked after fixed numbers
//! of blocks: nothing depends on how many cores there are or which was quicker.

use super::block::{Keep, Model, OfBlock, draw, split};
use crate::statistics::{CoverageInterval, Ordered};
use rayon::prelude::*;

/// How draws are made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// The seed of the random numbers.
    pub seed: u64,
    /// The coverage probability of intervals.
    pub probability: f64,
    /// Significant digits of u that have to be stable: n_dig of 7.9.2.
    pub digits: u32,
    /// The numerical tolerance is δ over this: 1 by 7.9.4; 5 where a first-order result is to be validated (8.2).
    pub tolerance_divisor: f64,
    /// Most draws.
    pub most: usize,
    /// So many draws (rounded up to whole blocks) whatever the results need.
    pub fixed: Option<usize>,
}

/// What the draws say of one output, in its coherent SI unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// All draws.
    pub draws: usize,
    /// Draws that have no value (a division by zero, the logarithm of a negative number).
    pub without_value: usize,
    /// The mean of the values; `None` where no draw has one, or the distribution has no mean (Student's t with
    /// few degrees of freedom enters).
    pub mean: Option<f64>,
    /// Their standard deviation: the standard uncertainty. `None` as for the mean.
    pub standard_uncertainty: Option<f64>,
    /// The probabilistically symmetric coverage interval.
    pub symmetric: Option<CoverageInterval>,
    /// The shortest coverage interval.
    pub shortest: Option<CoverageInterval>,
    /// δ of 7.9.2, from the standard uncertainty (from a quarter of the interval's length where there is none).
    pub tolerance: f64,
    /// Whether twice the standard deviation of every average over blocks is below the tolerance asked for.
    pub stable: bool,
}

/// δ: half of ten to the power of the last of so many significant digits of u (7.9.2). Zero for no uncertainty.
pub fn tolerance(standard_uncertainty: f64, digits: u32) -> f64 {
    if !(standard_uncertainty.is_finite() && standard_uncertainty > 0.0) {
        return 0.0;
    }
    // `{:e}` rounds to the digits and moves the exponent on where that carries (0.0996 is 1.0e-1).
    let digits = digits.max(1) as usize;
    let written = format!("{standard_uncertainty:.*e}", digits - 1);
    let exponent = written.rsplit('e').next().and_then(|exponent| exponent.parse::<i32>().ok()).unwrap_or(0);
    0.5 * 10f64.powi(exponent - (digits as i32 - 1))
}

/// Fewest blocks before the draws may end: averages of fewer have too uncertain a scatter.
const FEWEST_BLOCKS: usize = 10;

/// Draws until every output is stable, or there are as many draws as there may be.
pub(super) fn run(model: &Model, plan: &Plan, moments: &[bool]) -> Vec<Drawn> {
    let outputs = model.tape.outputs.len();
    let size = block_size(plan.probability);
    let most = plan.fixed.unwrap_or(plan.most.max(2 * size)).div_ceil(size).max(1);
    let mut keep = vec![Keep::ALL; outputs];
    let mut blocks = vec![draw(model, plan, 0, size, &keep)];
    keep = blocks[0].iter().map(|block| limits(block, plan.probability)).collect();
    blocks[0].iter_mut().zip(&keep).for_each(|(block, keep)| trim(block, *keep));
    let mut wanted = plan.fixed.map_or(FEWEST_BLOCKS, |_| most).min(most);
    loop {
        let next: Vec<u64> = (blocks.len() as u64..wanted as u64).collect();
        let drawn: Vec<_> = next.par_iter().map(|block| draw(model, plan, *block, size, &keep)).collect();
        blocks.extend(drawn);
        let states: Vec<State> =
            (0..outputs).map(|output| State::of(model, plan, &blocks, output, moments[output])).collect();
        let needed = states.iter().map(|state| state.needed(blocks.len())).max().unwrap_or(0);
        if needed <= blocks.len() || blocks.len() >= most || plan.fixed.is_some() {
            let finish = |(output, state)| finish(plan, &blocks, output, state);
            return states.into_par_iter().enumerate().map(finish).collect();
        }
        wanted = needed.min(2 * blocks.len()).min(most);
    }
}

/// M of 7.9.4 a.
fn block_size(probability: f64) -> usize {
    let most = 1_000_000.0;
    ((100.0 / (1.0 - probability)).ceil().min(most) as usize).max(10_000)
}

/// Which values of later blocks may be needed for the intervals: the tails of the first block, wider by six standard
/// deviations of their share. All of them where that is most of them.
fn limits(first: &OfBlock, probability: f64) -> Keep {
    let mut first = Ordered::all(first.smallest.clone());
    let n = first.count() as f64;
    let share = 1.0 - probability;
    let wider = share + 6.0 * (share * probability / n).sqrt();
    let rank = (wider * n).ceil() as usize;
    let ends = (first.of_rank(rank), first.of_rank((first.count() + 1).saturating_sub(rank)));
    match ends {
        (Some(low), Some(high)) if wider < 0.3 && low < high => Keep { low, high },
        _ => Keep::ALL,
    }
}

/// What is kept of the first block, once the limits are known.
fn trim(block: &mut OfBlock, keep: Keep) {
    let mut kept = std::mem::take(&mut block.smallest);
    kept.retain(|value| *value <= keep.low || *value >= keep.high);
    (block.smallest, block.largest) = split(&kept, keep.low);
}

/// How far an output is.
struct State {
    draws: usize,
    without_value: usize,
    mean: Option<f64>,
    standard_uncertainty: Option<f64>,
    tolerance: f64,
    /// The largest ratio of twice the standard deviation of an average over blocks to the tolerance asked for;
    /// `None` where it cannot be told.
    ratio: Option<f64>,
}

impl State {
    fn of(model: &Model, plan: &Plan, blocks: &[Vec<OfBlock>], output: usize, moments: bool) -> State {
        let of = |pick: fn(&OfBlock) -> f64| blocks.iter().map(move |block| pick(&block[output]));
        let count: usize = blocks.iter().map(|block| block[output].count).sum();
        let (sum, squares) = (of(|block| block.sum).sum::<f64>(), of(|block| block.squares).sum::<f64>());
        let n = count as f64;
        let u = ((squares - sum * sum / n).max(0.0) / (n - 1.0)).sqrt();
        let known = moments && count > 1;
        let intervals: Vec<Option<CoverageInterval>> =
            blocks.iter().map(|block| block[output].interval).collect();
        let quarter = intervals.first().copied().flatten().map_or(0.0, |interval| interval.length() / 4.0);
        let tolerance = tolerance(if known { u } else { quarter }, plan.digits);
        let means: Vec<f64> = of(|block| block.sum / block.count as f64).collect();
        let deviations: Vec<f64> = of(of_block).collect();
        let ends = |pick: fn(CoverageInterval) -> f64| -> Option<Vec<f64>> {
            intervals.iter().map(|interval| interval.map(pick)).collect()
        };
        let averages = [
            Some(means).filter(|_| known),
            Some(deviations).filter(|_| known),
            ends(|interval| interval.low),
            ends(|interval| interval.high),
        ];
        let worst = averages.iter().flatten().map(|values| 2.0 * of_average(values)).fold(0.0, f64::max);
        let asked = tolerance / plan.tolerance_divisor;
        let ratio = if worst == 0.0 { 0.0 } else { worst / asked };
        State {
            draws: blocks.iter().map(|block| block[output].count + block[output].without_value).sum(),
            without_value: blocks.iter().map(|block| block[output].without_value).sum(),
            mean: known.then(|| model.estimates[output] + sum / n),
            standard_uncertainty: known.then_some(u),
            tolerance,
            ratio: (blocks.len() >= 2 && ratio.is_finite()).then_some(ratio),
        }
    }

    fn stable(&self) -> bool {
        self.ratio.is_some_and(|ratio| ratio < 1.0)
    }

    /// How many blocks it would take by what is known so far: the ratio falls with the root of their number.
    fn needed(&self, blocks: usize) -> usize {
        match self.ratio {
            _ if self.stable() => blocks,
            Some(ratio) => (blocks as f64 * ratio * ratio * 1.1).min(1e9).ceil() as usize + 1,
            None => 2 * blocks,
        }
    }
}

/// The standard deviation of a block's values.
fn of_block(block: &OfBlock) -> f64 {
    let n = block.count as f64;
    ((block.squares - block.sum * block.sum / n).max(0.0) / (n - 1.0)).sqrt()
}

/// The standard deviation of the average of some values (7.9.4 g).
fn of_average(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / (n * (n - 1.0))).sqrt()
}

fn finish(plan: &Plan, blocks: &[Vec<OfBlock>], output: usize, state: State) -> Drawn {
    let all = |pick: fn(&OfBlock) -> &[f64]| {
        let of = || blocks.iter().map(|block| pick(&block[output]));
        let mut values = Vec::with_capacity(of().map(<[f64]>::len).sum());
        of().for_each(|of_block| values.extend_from_slice(of_block));
        values
    };
    let count = blocks.iter().map(|block| block[output].count).sum();
    let mut ordered = Ordered::tails(all(|block| &block.smallest), all(|block| &block.largest), count);
    Drawn {
        draws: state.draws,
        without_value: state.without_value,
        mean: state.mean,
        standard_uncertainty: state.standard_uncertainty,
        symmetric: ordered.symmetric(plan.probability),
        shortest: ordered.shortest(plan.probability),
        tolerance: state.tolerance,
        stable: state.stable(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // JCGM 101, 7.9.2 (as in its clause 9, from memory): u = 2.0 with two digits has δ = 0.05, u = 0.0754 with one
    // digit 0.005, u = 35 g with two digits 0.5 g.
    #[test]
    fn the_tolerance_is_half_a_unit_of_the_last_digit_of_u() {
        for (u, digits, delta) in [(2.0, 2, 0.05), (0.0754, 1, 0.005), (35.0, 2, 0.5), (0.0996, 2, 0.005)] {
            assert!((tolerance(u, digits) - delta).abs() < 1e-12, "{u}: {}", tolerance(u, digits));
        }
        assert_eq!(tolerance(0.0, 1), 0.0);
    }

    #[test]
    fn blocks_hold_enough_draws_for_the_interval() {
        assert_eq!(block_size(0.95), 10_000);
        assert_eq!(block_size(0.999), 100_000);
    }
}
