//! The uncertainty budget of one value: every input with its sensitivity, contribution and share.

use super::coverage::Evaluated;
use super::inputs::{Evaluation, Input, Inputs, Source};
use super::model::{Covers, Model, Scatter, second_order_variance};
use crate::evaluation::results::{Outcome, Results, Series, SeriesRow};
use crate::quantity::derivation::{Graph, NodeId, Operation};
use crate::quantity::{Number, Unit};
use crate::statistics::Distribution;
use std::sync::Arc;

/// A budget.
#[derive(Clone, Debug)]
pub struct Budget {
    /// The unit of the value, its uncertainty and the contributions.
    pub unit: Unit,
    /// The value.
    pub value: Number,
    /// Combined and expanded uncertainty.
    pub evaluated: Evaluated,
    /// What it covers in words: `uncertainty of the result`, or `contribution of weighing and atomic weights`.
    pub title: String,
    /// The inputs and effects, the largest share first (by its magnitude), then in the order of the notebook.
    pub entries: Vec<BudgetEntry>,
}

/// One line of a budget.
#[derive(Clone, Debug)]
pub struct BudgetEntry {
    /// What it is, in words: `weighing of crucible + residue, heating 3 (A): repeatability`.
    pub name: String,
    /// What kind of thing it is.
    pub kind: EntryKind,
    /// The estimate, its unit, and how the result changes with it; `None` for scatter, correlations and
    /// second-order terms.
    pub input: Option<EntryInput>,
    /// Its contribution to the standard uncertainty (not below zero), in the unit of the budget; of a correlation the
    /// square root of the magnitude of what it adds to the variance.
    pub contribution: f64,
    /// Its share of the variance in per cent; below zero for a correlation that makes it smaller.
    pub share: f64,
    /// How it was evaluated; `None` for correlations and second-order terms.
    pub evaluation: Option<Evaluation>,
    /// The name of the distribution assigned.
    pub distribution: Option<&'static str>,
    /// Degrees of freedom; `None` for infinitely many.
    pub degrees_of_freedom: Option<f64>,
}

/// What kind of thing a line of a budget is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EntryKind {
    /// A weighing, or something about its balance.
    Weighing,
    /// A measured quantity.
    Measured,
    /// An atomic weight or a molar mass.
    AtomicWeight,
    /// The scatter of trials, or a pooled standard deviation.
    Scatter,
    /// A declared correlation.
    Correlation,
    /// Second-order terms.
    SecondOrder,
}

/// The input behind a line of a budget.
#[derive(Clone, Debug)]
pub struct EntryInput {
    /// Its estimate, in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: Arc<Unit>,
    /// Its standard uncertainty, in `unit`.
    pub standard_uncertainty: f64,
    /// ∂result/∂input, in the unit of the budget per `unit`.
    pub sensitivity: f64,
}

/// Which value of a quantity a budget is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// The value of a quantity that does not depend on the trial.
    Scalar,
    /// The value of one trial, by index.
    Trial(usize),
    /// The mean of the valid trials.
    Mean,
}

impl Results {
    /// The budget of a value of a quantity (by its index in [`Results::quantities`]); `None` where it has no value
    /// or nothing uncertain enters, and in results for a review.
    pub fn budget(&self, quantity: usize, at: At) -> Option<Budget> {
        let quantity = self.quantities.get(quantity)?;
        let of = |outcome: &Outcome| {
            outcome.value().map(|value| (value.node, value.number.clone(), value.evaluated))
        };
        let (node, number, evaluated) = match at {
            At::Scalar => of(quantity.scalar.as_ref()?)?,
            At::Trial(trial) => of(quantity.trials.get(trial)?)?,
            At::Mean => {
                let agreement = quantity.agreement.as_ref()?;
                (agreement.mean_node, agreement.numbers.mean.clone(), agreement.evaluated)
            }
        };
        let writer = Writer { results: self, inputs: &self.inputs, unit: &quantity.unit };
        let evaluated = evaluated.filter(|evaluated| evaluated.standard > 0.0)?;
        Some(writer.budget(node, number, evaluated))
    }
}

struct Writer<'a> {
    results: &'a Results,
    inputs: &'a Inputs,
    unit: &'a Unit,
}

impl Writer<'_> {
    fn budget(&self, node: NodeId, value: Number, evaluated: Evaluated) -> Budget {
        let graph = &self.results.graph;
        let model = Model::of(self.inputs, graph, node);
        let variance = evaluated.standard.powi(2);
        let mut entries: Vec<BudgetEntry> = model
            .sensitivities
            .iter()
            .map(|(index, sensitivity)| self.entry(&self.inputs.sources()[*index], *sensitivity, variance))
            // What cancels leaves no more than the rounding of doubles.
            .filter(|entry| entry.contribution > 1e-9 * evaluated.standard)
            .collect();
        entries.extend(self.correlations(&model, variance));
        entries.extend(model.scatter.iter().map(|scatter| self.scatter(*scatter, variance)));
        let second_order = second_order_variance(&model, self.inputs, graph, node, &self.results.settings);
        if second_order != 0.0 {
            entries.push(self.beside("second-order terms", EntryKind::SecondOrder, second_order, variance));
        }
        entries.sort_by(|a, b| b.share.abs().total_cmp(&a.share.abs()));
        let title = title(evaluated.covers, &entries);
        Budget { unit: self.unit.clone(), value, evaluated, title, entries }
    }

    fn scale(&self) -> f64 {
        self.unit.factor().to_f64()
    }

    fn entry(&self, source: &Source, sensitivity: f64, variance: f64) -> BudgetEntry {
        let factor = source.unit.factor().to_f64();
        let zero = source.unit.zero().map_or(0.0, Number::to_f64);
        let contribution = (sensitivity * source.standard_uncertainty()).abs() / self.scale();
        let (name, kind) = self.name(source);
        let estimate = if source.estimate == 0.0 { 0.0 } else { (source.estimate - zero) / factor };
        BudgetEntry {
            name,
            kind,
            input: Some(EntryInput {
                value: estimate,
                unit: source.unit.clone(),
                standard_uncertainty: source.standard_uncertainty() / factor,
                sensitivity: sensitivity * factor / self.scale(),
            }),
            contribution,
            share: share(contribution * contribution, variance),
            evaluation: Some(source.evaluation),
            distribution: Some(source.distribution.name()),
            degrees_of_freedom: source.degrees_of_freedom,
        }
    }

    fn beside(&self, name: &str, kind: EntryKind, added: f64, variance: f64) -> BudgetEntry {
        let added = added / self.scale().powi(2);
        BudgetEntry {
            name: name.to_string(),
            kind,
            input: None,
            contribution: added.abs().sqrt(),
            share: share(added, variance),
            evaluation: None,
            distribution: None,
            degrees_of_freedom: None,
        }
    }

    fn scatter(&self, scatter: Scatter, variance: f64) -> BudgetEntry {
        let name = match scatter.trials {
            Some(trials) => format!("scatter of {trials} trials"),
            None => "repeatability of the method".to_string(),
        };
        let line = self.beside(&name, EntryKind::Scatter, scatter.standard.powi(2), variance);
        BudgetEntry {
            evaluation: Some(Evaluation::A),
            distribution: Some("normal"),
            degrees_of_freedom: scatter.degrees_of_freedom,
            ..line
        }
    }

    fn correlations(&self, model: &Model, variance: f64) -> Vec<BudgetEntry> {
        let contributions = model.contributions(self.inputs);
        let line = |(correlation, added): (super::Correlation, f64)| {
            let name = |index: usize| self.name(&self.inputs.sources()[index]).0;
            let name = format!("correlation of {} and {}", name(correlation.a), name(correlation.b));
            self.beside(&name, EntryKind::Correlation, added, variance)
        };
        self.inputs.covariances(&contributions).map(line).filter(|line| line.contribution != 0.0).collect()
    }

    /// What an input is, in words, and its kind.
    fn name(&self, source: &Source) -> (String, EntryKind) {
        let graph = &self.results.graph;
        let named = |name: String, kind: EntryKind| {
            let label = source.label.as_ref().map_or(String::new(), |label| format!(": {label}"));
            (format!("{name}{}{label}", self.trial(source)), kind)
        };
        match &source.input {
            Input::Weighing(node) => {
                let what = match source.distribution {
                    Distribution::Rectangular { .. } => "scale interval",
                    _ => "repeatability",
                };
                let name = format!("weighing of {}{}: {what}", self.weighing(*node), self.trial(source));
                (name, EntryKind::Weighing)
            }
            Input::Linearity { balance, load, .. } => {
                named(format!("linearity of {}, {load}", balance_words(balance)), EntryKind::Weighing)
            }
            Input::Calibration { balance, load, .. } => {
                named(format!("calibration of {}, {load}", balance_words(balance)), EntryKind::Weighing)
            }
            Input::CalibrationFactor(balance) => {
                named(format!("calibration of {}", balance_words(balance)), EntryKind::Weighing)
            }
            Input::Adjustment(balance) => named(
                format!("adjustment of {} by check weight", balance_words(balance)),
                EntryKind::Weighing,
            ),
            Input::Drift((balance, load, line)) => {
                let what = self.line(load, *line);
                named(format!("drift of {}, {what}", balance_words(balance)), EntryKind::Weighing)
            }
            Input::Temperature((balance, load, line)) => {
                let what = self.line(load, *line);
                named(format!("temperature of {}, {what}", balance_words(balance)), EntryKind::Weighing)
            }
            Input::Stated(node, _) => named(leaf_words(graph, *node), EntryKind::Measured),
            Input::LastPlace(node) => {
                let name = format!("{}{}: last place", leaf_words(graph, *node), self.trial(source));
                (name, EntryKind::Measured)
            }
            Input::AtomicWeight(symbol) => {
                named(format!("atomic weight of {symbol}"), EntryKind::AtomicWeight)
            }
            Input::Leaf(node) => {
                let kind = match graph.node(*node).operation {
                    Operation::MolarMass(_) | Operation::Stoichiometry(_) => EntryKind::AtomicWeight,
                    _ => EntryKind::Measured,
                };
                named(leaf_words(graph, *node), kind)
            }
        }
    }

    /// ` (A)` where several trials have such an input.
    fn trial(&self, source: &Source) -> String {
        let trial = source.trial.and_then(|trial| self.results.trials.get(trial));
        trial.filter(|_| self.results.trials.len() > 1).map_or(String::new(), |t| format!(" ({})", t.name))
    }

    /// A line of readings by its load and place.
    fn line(&self, load: &str, line: usize) -> String {
        let series = self.results.series.iter().find(|series| series.load == load);
        series.and_then(|series| series.rows.get(line)).map_or(load.to_string(), |row| as_written(load, row))
    }

    /// A weighing as its line is written: load and treatment.
    fn weighing(&self, node: NodeId) -> String {
        let row = |series: &Series| {
            let holds = |row: &&SeriesRow| row.readings.iter().any(|cell| cell.node == Some(node));
            let row = series.rows.iter().find(holds)?;
            Some(as_written(&series.load, row))
        };
        let found = self.results.series.iter().find_map(row);
        found.unwrap_or_else(|| leaf_words(&self.results.graph, node))
    }
}

fn as_written(load: &str, row: &SeriesRow) -> String {
    if row.treatment.is_empty() { load.to_string() } else { format!("{load}, {}", row.treatment) }
}

fn share(added: f64, variance: f64) -> f64 {
    if variance > 0.0 { 100.0 * added / variance } else { 0.0 }
}

fn balance_words(balance: &str) -> &str {
    if balance.is_empty() { "the balance" } else { balance }
}

fn leaf_words(graph: &Graph, node: NodeId) -> String {
    match &graph.node(node).operation {
        Operation::Reading { load, .. } => load.to_string(),
        Operation::Measured { symbol, .. } => symbol.clone(),
        Operation::MolarMass(formula) => format!("molar mass of {formula}"),
        Operation::Stoichiometry(name) => name.clone(),
        Operation::Literal => format!("the number {}", graph.quantity(node).number.to_f64()),
        _ => "a stated value".to_string(),
    }
}

/// What an uncertainty covers, in words.
fn title(covers: Covers, entries: &[BudgetEntry]) -> String {
    if covers == Covers::Result {
        return "uncertainty of the result".to_string();
    }
    let kinds = [
        (EntryKind::Weighing, "weighing"),
        (EntryKind::Measured, "measured quantities"),
        (EntryKind::AtomicWeight, "atomic weights"),
    ];
    let there = |kind: EntryKind| entries.iter().any(|entry| entry.kind == kind);
    let words: Vec<&str> = kinds.iter().filter(|(kind, _)| there(*kind)).map(|(_, word)| *word).collect();
    match words.split_last() {
        Some((last, [])) => format!("contribution of {last}"),
        Some((last, others)) => format!("contribution of {} and {last}", others.join(", ")),
        None => "contribution of the inputs".to_string(),
    }
}
