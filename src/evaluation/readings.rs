//! What every weighing is uncertain by: the model of a balance, one set of inputs for each reading.

use super::masses::Masses;
use super::uncertainty::{Input, Inputs, Source};
use crate::quantity::Unit;
use crate::quantity::derivation::{Graph, NodeId};
use crate::weighing::{ReadingAt, WeighedSeries, balance};
use std::sync::Arc;

/// Says what every reading is made of.
pub(super) fn uncertain(masses: &Masses, graph: &Graph, inputs: &mut Inputs) {
    for series in &masses.weighings.series {
        Readings::of(series, masses, graph).say(inputs);
    }
}

/// The readings of one load.
struct Readings<'a> {
    series: &'a WeighedSeries,
    masses: &'a Masses<'a>,
    unit: Arc<Unit>,
    list: Vec<Reading<'a>>,
}

struct Reading<'a> {
    node: NodeId,
    at: &'a ReadingAt,
    /// The trial, where the reading serves one alone.
    trial: Option<usize>,
    /// The mass in kilograms.
    mass: f64,
}

impl<'a> Readings<'a> {
    fn of(series: &'a WeighedSeries, masses: &'a Masses<'a>, graph: &Graph) -> Self {
        let mut list: Vec<Reading> = Vec::new();
        for row in &series.rows {
            for (trial, at) in row.readings.iter().enumerate() {
                let Some(node) = at.node else { continue };
                let first = list.iter_mut().rev().take(row.readings.len()).find(|known| known.node == node);
                match first {
                    Some(known) => known.trial = None,
                    None => {
                        let mass = graph.quantity(node).number.to_f64();
                        list.push(Reading { node, at, trial: Some(trial), mass });
                    }
                }
            }
        }
        Readings { series, masses, unit: Arc::new(series.unit.clone()), list }
    }

    fn say(&self, inputs: &mut Inputs) {
        let groups = groups(&self.list);
        for (reading, group) in self.list.iter().zip(groups) {
            let Some(interval) = self.masses.scale_interval(reading.at) else { continue };
            let balance = self.masses.balance(reading.at);
            let scatter = balance::scatter(balance, &interval);
            let source = Source::of(Input::Weighing(reading.node), reading.mass, self.unit.clone(), scatter);
            let own = (source.random().of_trial(reading.trial), 1.0);
            let linearity = balance::linearity(balance).map(|linearity| {
                let input = Input::Linearity {
                    balance: reading.at.balance.clone().unwrap_or_default(),
                    load: self.series.written.clone(),
                    group,
                };
                (Source::of(input, 0.0, self.unit.clone(), linearity), 1.0)
            });
            inputs.leaf(reading.node, std::iter::once(own).chain(linearity));
        }
    }
}

/// How far apart two weighings of one load may be to be near it: a tenth of the larger.
const NEAR: f64 = 0.9;

/// Which readings of one load are near each other, by group. The deviation from linearity is a smooth property of
/// the balance: near one load it is the same in every trial, so it does not shrink with their number. Gross and
/// tare are different loads and count each for itself (Eurachem/CITAC QUAM, example A2).
fn groups(readings: &[Reading]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..readings.len()).collect();
    order.sort_by(|a, b| readings[*b].mass.total_cmp(&readings[*a].mass));
    let mut groups = vec![0; readings.len()];
    let (mut group, mut largest) = (0, order.first().map_or(0.0, |first| readings[*first].mass));
    for index in order {
        if readings[index].mass < NEAR * largest {
            group += 1;
            largest = readings[index].mass;
        }
        groups[index] = group;
    }
    groups
}
