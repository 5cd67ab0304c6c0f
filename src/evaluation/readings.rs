//! What every weighing is uncertain by: the model of a balance, one set of inputs for each reading.
//!
//! | effect | how it counts |
//! | --- | --- |
//! | scatter (repeatability, or the scale interval where that is larger) | each weighing its own |
//! | linearity, calibration as a mass | one near each load, the same in every trial |
//! | calibration as a fraction, adjustment by a check weight | one of the balance, in proportion to the load |
//! | drift by a check weight, temperature | one in each line of readings, in proportion to the load |
//!
//! The deviation from linearity is a smooth property of the balance: near one load it is the same in every trial, so
//! it does not shrink with their number. Gross and tare are different loads and count each for itself (Eurachem/CITAC
//! QUAM, example A2). A line is weighed in one sitting, so what changes with time is the same along it.

use super::masses::Masses;
use super::uncertainty::{Input, Inputs, Source};
use crate::notebook::blocks::Uncertainty;
use crate::quantity::derivation::{Graph, NodeId};
use crate::quantity::{Dimension, Unit};
use crate::statistics::Distribution;
use crate::weighing::{ReadingAt, Role, WeighedSeries, balance};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Says what every reading is made of.
pub(super) fn uncertain(masses: &Masses, graph: &Graph, inputs: &mut Inputs) {
    let checks = Check::all(masses, graph);
    for series in &masses.weighings.series {
        Readings::of(series, masses, graph, &checks).say(inputs);
    }
}

/// What the check weights say of a balance, over their mass.
#[derive(Clone, Copy)]
struct Check {
    least: f64,
    most: f64,
    sum: f64,
    count: usize,
}

impl Check {
    /// By the balance's name, empty where it has none.
    fn all(masses: &Masses, graph: &Graph) -> BTreeMap<String, Check> {
        let mut checks: BTreeMap<String, Check> = BTreeMap::new();
        for series in &masses.weighings.series {
            let Role::CheckWeight(mass) = &series.role else { continue };
            let mass = mass.to_f64();
            for (node, reading) in series.rows.iter().flat_map(|row| &row.readings).filter_map(with_node) {
                let off = graph.quantity(node).number.to_f64() / mass - 1.0;
                let empty = Check { least: off, most: off, sum: 0.0, count: 0 };
                let check = checks.entry(name(reading).to_owned()).or_insert(empty);
                (check.least, check.most) = (check.least.min(off), check.most.max(off));
                (check.sum, check.count) = (check.sum + off, check.count + 1);
            }
        }
        checks
    }
}

fn with_node(reading: &ReadingAt) -> Option<(NodeId, &ReadingAt)> {
    Some((reading.node?, reading))
}

fn name(reading: &ReadingAt) -> &str {
    reading.balance.as_deref().unwrap_or("")
}

fn shared_name(reading: &ReadingAt) -> Arc<str> {
    reading.balance.clone().unwrap_or_default()
}

/// The readings of one load.
struct Readings<'a> {
    series: &'a WeighedSeries,
    masses: &'a Masses<'a>,
    checks: &'a BTreeMap<String, Check>,
    unit: Arc<Unit>,
    /// The load as first written.
    load: Arc<str>,
    fraction: Arc<Unit>,
    list: Vec<Reading<'a>>,
}

struct Reading<'a> {
    node: NodeId,
    at: &'a ReadingAt,
    /// The trial, where the reading serves one alone.
    trial: Option<usize>,
    row: usize,
    /// The mass in kilograms.
    mass: f64,
}

impl<'a> Readings<'a> {
    fn of(
        series: &'a WeighedSeries,
        masses: &'a Masses<'a>,
        graph: &Graph,
        checks: &'a BTreeMap<String, Check>,
    ) -> Self {
        let mut list: Vec<Reading> = Vec::new();
        for (row, line) in series.rows.iter().enumerate() {
            for (trial, at) in line.readings.iter().enumerate() {
                let Some(node) = at.node else { continue };
                let first = list.iter_mut().rev().take(line.readings.len()).find(|known| known.node == node);
                match first {
                    Some(known) => known.trial = None,
                    None => {
                        let mass = graph.quantity(node).number.to_f64();
                        list.push(Reading { node, at, trial: Some(trial), row, mass });
                    }
                }
            }
        }
        let fraction = Arc::new(Unit::parse("ppm").unwrap_or_else(|_| Unit::one()));
        let (unit, load) = (Arc::new(series.unit.clone()), series.written.as_str().into());
        Readings { series, masses, checks, unit, load, fraction, list }
    }

    fn say(&self, inputs: &mut Inputs) {
        for (reading, group) in self.list.iter().zip(groups(&self.list)) {
            let mut parts: Vec<(Source, f64)> = self.scatter(reading).into_iter().collect();
            if self.series.role == Role::Load {
                parts.extend(self.near_the_load(reading, group));
                parts.extend(self.in_proportion(reading));
            }
            inputs.leaf(reading.node, parts);
        }
    }

    fn scatter(&self, reading: &Reading) -> Option<(Source, f64)> {
        let balance = self.masses.balance(reading.at);
        let scatter = balance::scatter(balance, &self.masses.scale_interval(reading.at)?);
        let degrees_of_freedom = scatter.degrees_of_freedom();
        let source = Source::of(Input::Weighing(reading.node), reading.mass, self.unit.clone(), scatter);
        Some((Source { degrees_of_freedom, ..source.random().of_trial(reading.trial) }, 1.0))
    }

    /// Effects that are one near each load.
    fn near_the_load(&self, reading: &Reading, group: usize) -> impl Iterator<Item = (Source, f64)> {
        let balance = self.masses.balance(reading.at);
        let (name, load) = (shared_name(reading.at), self.load.clone());
        let linearity = balance::linearity(balance).map(|distribution| {
            let input = Input::Linearity { balance: name.clone(), load: load.clone(), group };
            (Source::of(input, 0.0, self.unit.clone(), distribution), 1.0)
        });
        let calibration = self.calibration(reading).filter(|stated| !is_fraction(stated)).map(|stated| {
            let input = Input::Calibration { balance: name, load, group };
            (
                with_dof(Source::of(input, 0.0, self.unit.clone(), stated.distribution(&self.unit)), stated),
                1.0,
            )
        });
        linearity.into_iter().chain(calibration)
    }

    fn calibration(&self, reading: &Reading) -> Option<&'a Uncertainty> {
        self.masses.balance(reading.at)?.further.calibration.as_ref()
    }

    /// Effects in proportion to the load.
    fn in_proportion(&self, reading: &Reading) -> Vec<(Source, f64)> {
        let balance = shared_name(reading.at);
        let line = |balance: &Arc<str>| (balance.clone(), self.load.clone(), reading.row);
        let rectangular = |half_width: f64| Distribution::Rectangular { half_width };
        let mut effects: Vec<(Input, Distribution)> = Vec::new();
        if let Some(check) = self.checks.get(&*balance) {
            let mean = check.sum / check.count as f64;
            effects.push((Input::Adjustment(balance.clone()), rectangular(mean.abs())));
            effects.push((Input::Drift(line(&balance)), rectangular((check.most - check.least) / 2.0)));
        }
        if let Some(half_width) = self.masses.balance(reading.at).and_then(|b| b.further.temperature) {
            effects.push((Input::Temperature(line(&balance)), rectangular(half_width)));
        }
        let mut sources: Vec<Source> =
            effects.into_iter().map(|(input, distribution)| self.relative(input, distribution)).collect();
        if let Some(stated) = self.calibration(reading).filter(|stated| is_fraction(stated)) {
            let distribution = stated.distribution(&Unit::one());
            sources.push(with_dof(self.relative(Input::CalibrationFactor(balance), distribution), stated));
        }
        let certain = |source: &Source| source.standard_uncertainty() > 0.0;
        sources.into_iter().filter(certain).map(|source| (source, reading.mass)).collect()
    }

    fn relative(&self, input: Input, distribution: Distribution) -> Source {
        Source::of(input, 0.0, self.fraction.clone(), distribution)
    }
}

fn is_fraction(stated: &Uncertainty) -> bool {
    stated.unit.as_ref().is_none_or(|unit| unit.dimension() == Dimension::PURE)
}

fn with_dof(source: Source, stated: &Uncertainty) -> Source {
    Source { degrees_of_freedom: stated.degrees_of_freedom(), ..source }
}

/// How far apart two weighings of one load may be to be near it: a tenth of the larger.
const NEAR: f64 = 0.9;

/// Which readings of one load are near each other, by group.
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
