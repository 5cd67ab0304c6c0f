//! Monte Carlo draws along the derivation graph (JCGM 101:2008).
//!
//! 1. The part of the graph that the results rest on becomes one list of steps (`uncertainty::tape`).
//! 2. Every input is drawn from its assigned distribution, a block of draws at a time (`block`), and the steps are
//!    worked out for many draws at once (`lanes`).
//! 3. Blocks are added until the results are stable (`adaptive`, 7.9).
//! 4. The first-order interval is compared with that of the draws (`validation`, clause 8).
//!
//! The same seed gives the same bits on any number of cores. A draw that has no value is counted, and told.

mod adaptive;
mod block;
mod check;
mod correlated;
pub(super) mod lanes;
mod validation;

pub use adaptive::{Drawn, Plan, tolerance};
pub(in crate::evaluation) use check::findings;
pub use check::{Checked, MonteCarlo};
pub use validation::{Validation, Verdict};

pub use super::tape::Output;

use super::inputs::{Inputs, Source};
use super::tape::{Drawing, Tape};
use crate::quantity::derivation::Graph;
use crate::statistics::Distribution;
use block::Model;

/// Why nothing was drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotDrawn {
    /// The results rest on more values than fit.
    TooLarge,
    /// No quantities can have the correlations that are stated.
    ImpossibleCorrelations,
}

/// Most values drawn together: of the first block every draw of each is kept.
const MOST_OUTPUTS: usize = 2_000;

/// Draws some values together: the same deviations for all that share an input. In the order of the outputs, in the
/// units shown.
///
/// # Errors
/// [`NotDrawn`], with nothing drawn.
pub fn draw(graph: &Graph, inputs: &Inputs, outputs: &[Output], plan: &Plan) -> Result<Vec<Drawn>, NotDrawn> {
    if outputs.len() > MOST_OUTPUTS {
        return Err(NotDrawn::TooLarge);
    }
    let (tape, drawings) = Tape::of(graph, inputs, outputs).ok_or(NotDrawn::TooLarge)?;
    let assigned: Vec<Distribution> = drawings.iter().map(|drawing| assigned(inputs, drawing)).collect();
    let moments = tape.with_moments(&assigned);
    let correlated = correlated::groups(inputs, &drawings).ok_or(NotDrawn::ImpossibleCorrelations)?;
    let used = tape.used();
    let drawn = |(distribution, used): (Distribution, bool)| used.then_some(distribution);
    let mut independent: Vec<Option<Distribution>> = assigned.into_iter().zip(used).map(drawn).collect();
    correlated.iter().flat_map(|group| &group.registers).for_each(|register| independent[*register] = None);
    let estimate =
        |output: &Output| (graph.quantity(output.node).number.to_f64() - output.zero) / output.scale;
    let estimates = outputs.iter().map(estimate).collect();
    Ok(adaptive::run(&Model { tape, independent, correlated, estimates }, plan, &moments))
}

fn assigned(inputs: &Inputs, drawing: &Drawing) -> Distribution {
    match drawing {
        Drawing::Source(source) => of_source(&inputs.sources()[*source]),
        Drawing::Scatter(scatter) => of_observations(scatter.standard, scatter.degrees_of_freedom),
    }
}

/// The distribution an input is drawn from. Degrees of freedom of limits do not change the limits.
fn of_source(source: &Source) -> Distribution {
    match source.distribution {
        Distribution::Normal { standard_deviation } => {
            of_observations(standard_deviation, source.degrees_of_freedom)
        }
        distribution => distribution,
    }
}

/// A standard uncertainty that rests on few observations is drawn from Student's t (6.4.9).
fn of_observations(standard: f64, degrees_of_freedom: Option<f64>) -> Distribution {
    match degrees_of_freedom {
        Some(degrees_of_freedom) => Distribution::StudentT { scale: standard, degrees_of_freedom },
        None => Distribution::Normal { standard_deviation: standard },
    }
}
