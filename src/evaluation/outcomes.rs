//! From names with values to the results: each quantity with its unit, agreement and theory.

use super::advice;
use super::agreement;
use super::calculator::Calculator;
use super::picked::{Picks, is_own};
use super::printer::Printer;
use super::results::{
    Claim, Computed, InlineResult, MixtureResult, Origin, Outcome, QuantityResult, TheoryResult, WorkedLine,
};
use super::scope::{Side, load_of, symbol_of};
use super::uncertainty::Inputs;
use super::verdicts::TheoryTest;
use super::{Slot, Value, claims, inline, judging, repeatability, theory, worked};
use crate::finding::Finding;
use crate::notebook::Notebook;
use crate::notebook::blocks::BlockKind;
use crate::notebook::expression::{ExpressionKind, Word};
use crate::notebook::settings::RepeatabilityLimit;
use crate::quantity::Unit;
use crate::quantity::derivation::{Graph, NodeId, Operation};
use crate::span::Span;
use crate::weighing::{Load, Trial};
use hashbrown::HashMap;

/// What is shown of a notebook's values.
pub(super) struct Shown {
    pub(super) quantities: Vec<QuantityResult>,
    pub(super) claims: Vec<Claim>,
    pub(super) inline: Vec<InlineResult>,
    pub(super) worked: Vec<WorkedLine>,
    pub(super) worked_trial: Option<usize>,
    pub(super) mixtures: Vec<MixtureResult>,
}

/// Puts the values in the form they are shown in.
pub(super) fn collect(
    notebook: &Notebook,
    unfinished: &[(NodeId, usize)],
    calculator: &mut Calculator,
) -> Shown {
    repeatability::register(calculator);
    let mut collector = Collector {
        notebook,
        trials: calculator.trials.list(),
        in_full: calculator.in_full,
        unfinished: Unfinished::of(unfinished, calculator.trials.list(), &calculator.picks, calculator.graph),
        inputs: calculator.inputs.clone(),
        quantities: Vec::new(),
        values: Vec::new(),
        by_symbol: HashMap::new(),
        by_load: HashMap::new(),
    };
    collector.measured(calculator);
    collector.net_masses(calculator);
    collector.working(calculator);
    collector.agreements(calculator.graph, calculator.findings);
    collector.check_limits(calculator.findings);
    theory::attach(&mut collector, calculator);
    judging::limits(&mut collector, calculator);
    advice::give(&mut collector, calculator);
    let inline = inline::all(&mut collector, calculator);
    let claims = claims::all(&collector, calculator);
    let (worked, worked_trial) =
        if collector.in_full { worked::lines(&collector, calculator) } else { (Vec::new(), None) };
    let mixtures = worked::mixtures(worked_trial.unwrap_or(0), &collector, calculator);
    Shown { quantities: collector.quantities, claims, inline, worked, worked_trial, mixtures }
}

/// Which values rest on an unfinished series: one pass over the graph.
/// A set of trials is one bit each; a notebook has at most 64.
pub(super) struct Unfinished {
    flags: Vec<u64>,
    /// The trials that a mean or a range is taken of.
    counted: u64,
}

impl Unfinished {
    fn of(readings: &[(NodeId, usize)], trials: &[Trial], picks: &Picks, graph: &Graph) -> Self {
        let mut flags = vec![0u64; graph.len()];
        for (node, trial) in readings {
            flags[node.0 as usize] |= if is_own(*node, *trial, graph) { ALL } else { bit(*trial) };
        }
        let counted = trials.iter().enumerate().filter(|(_, trial)| trial.counts());
        let counted = counted.fold(0, |set, (trial, _)| set | bit(trial));
        let mut unfinished = Unfinished { flags, counted };
        unfinished.spread(graph, picks, 0);
        unfinished
    }

    /// Takes in the nodes that were added since.
    fn extend(&mut self, graph: &Graph, picks: &Picks) {
        let from = self.flags.len();
        self.flags.resize(graph.len(), 0);
        self.spread(graph, picks, from);
    }

    /// What rests on an unfinished series, from a node on; inputs come before what rests on them.
    fn spread(&mut self, graph: &Graph, picks: &Picks, from: usize) {
        for (id, node) in graph.nodes().skip(from) {
            let rests = node.inputs.iter().fold(0, |rests, input| rests | self.flags[input.0 as usize]);
            self.flags[id.0 as usize] |= match picks.provisional(id) {
                Some(provisional) => u64::from(provisional) * ALL,
                None if is_across_trials(&node.operation) => self.across(rests),
                None => rests,
            };
        }
    }

    /// What holds of a mean or a range of values that rest on this: a trial that is not counted brings nothing by a
    /// reading it shares.
    fn across(&self, rests: u64) -> u64 {
        if rests == ALL || rests & self.counted != 0 { ALL } else { 0 }
    }

    /// Whether a value rests on a series that is unfinished in this trial; in any, for a scalar. A reading that
    /// two trials share may be the last of a finished series in one and of an unfinished one in the other.
    fn holds(&self, node: NodeId, trial: Option<usize>) -> bool {
        let flags = self.flags.get(node.0 as usize).copied().unwrap_or(0);
        trial.map_or(flags, |trial| flags & bit(trial)) != 0
    }
}

/// Every trial.
const ALL: u64 = u64::MAX;

fn is_across_trials(operation: &Operation) -> bool {
    matches!(
        operation,
        Operation::Mean | Operation::StandardDeviation | Operation::Range | Operation::AverageDeviation
    )
}

fn bit(trial: usize) -> u64 {
    1u64.checked_shl(trial as u32).unwrap_or(0)
}

/// The quantities as they come together.
pub(super) struct Collector<'a> {
    pub(super) notebook: &'a Notebook,
    pub(super) trials: &'a [Trial],
    /// See [`Calculator::in_full`].
    pub(super) in_full: bool,
    unfinished: Unfinished,
    inputs: Inputs,
    pub(super) quantities: Vec<QuantityResult>,
    /// The values, in the order of the quantities.
    values: Vec<Value>,
    /// The index of the quantity of a symbol; a measured one comes before what the readings give.
    by_symbol: HashMap<String, usize>,
    /// The index of a net mass by what it is the mass of.
    by_load: HashMap<Load, usize>,
}

/// What a quantity is called, shown in and defined by.
struct Heading {
    symbol: String,
    unit: Unit,
    origin: Origin,
    span: Option<Span>,
    remark: Option<String>,
}

impl<'a> Collector<'a> {
    /// Prints values by the notebook's policies.
    pub(super) fn printer<'p>(&'p self, graph: &'p Graph) -> Printer<'p> {
        Printer { graph, inputs: &self.inputs, settings: &self.notebook.settings }
    }

    fn measured(&mut self, calculator: &Calculator) {
        for (measured, value) in calculator.scope.measured.iter().zip(&calculator.measured) {
            let BlockKind::Measured(block) = &self.notebook.blocks[measured.block].kind else { continue };
            let own = measured.row.cells.iter().find_map(|cell| cell.unit.as_ref()).or(block.unit.as_ref());
            let unit = own.map_or_else(Unit::one, |unit| unit.value.clone());
            let symbol = symbol_of(&measured.row.symbol.value).to_string();
            let span = Some(measured.row.span);
            self.add(
                Heading { symbol, unit, origin: Origin::Measured, span, remark: None },
                value,
                calculator.graph,
            );
        }
    }

    fn net_masses(&mut self, calculator: &mut Calculator) {
        for (thing, unit, value) in calculator.masses.listed(calculator.graph) {
            let heading = Heading {
                symbol: format!("m({thing})"),
                unit,
                origin: Origin::NetMass,
                span: None,
                remark: None,
            };
            self.add(heading, &value, calculator.graph);
        }
    }

    fn working(&mut self, calculator: &Calculator) {
        for (index, group) in calculator.scope.groups.iter().enumerate() {
            let symbol = group.symbol.to_string();
            let measured = calculator.scope.measured(&group.symbol).is_some();
            let listed = measured || (calculator.net_mass_groups[index] && self.quantity(&symbol).is_some());
            if group.side == Side::Theory || listed || group.symbol.name == "formula" {
                continue;
            }
            let value = calculator.group_value(index);
            let heading = match group.definitions.first() {
                Some(line) => self.heading(line, &symbol, &value, calculator.graph),
                None => self.of_mixture(&symbol, group.place, &value, calculator.graph),
            };
            self.add(heading, &value, calculator.graph);
        }
    }

    /// A component's mass in the unit of the masses, its share in per cent.
    fn of_mixture(&self, symbol: &str, place: Span, value: &Value, graph: &Graph) -> Heading {
        let percent = symbol.starts_with('w').then(Unit::percent);
        let unit = self.fitting(percent, value, graph);
        Heading { symbol: symbol.to_string(), unit, origin: Origin::Working, span: Some(place), remark: None }
    }

    fn heading(
        &self,
        line: &crate::notebook::blocks::Definition,
        symbol: &str,
        value: &Value,
        graph: &Graph,
    ) -> Heading {
        let unit = line.unit.as_ref().map(|unit| unit.value.clone());
        // What is computed is a difference where it is shown in °C, unless it is a temperature as written.
        let as_written = line.expression.as_ref().is_some_and(|e| {
            matches!(
                e.kind,
                ExpressionKind::Number { .. }
                    | ExpressionKind::Quantity { .. }
                    | ExpressionKind::Word(Word::Mean, _)
            )
        });
        let unit = unit.map(|unit| if as_written { unit } else { unit.interval() });
        Heading {
            symbol: symbol.to_string(),
            unit: self.fitting(unit, value, graph),
            origin: Origin::Working,
            span: Some(line.span),
            remark: line.remark.clone(),
        }
    }

    /// The unit asked for where it fits, else the one the value is shown in by itself.
    pub(super) fn fitting(&self, wanted: Option<Unit>, value: &Value, graph: &Graph) -> Unit {
        let Some(node) = any_node(value) else { return wanted.unwrap_or_else(Unit::one) };
        let dimension = graph.quantity(node).dimension;
        wanted.filter(|unit| unit.dimension() == dimension).unwrap_or_else(|| self.own_unit(dimension))
    }

    /// Masses in the unit of the (first) block of masses, others in what their units reduce to.
    pub(super) fn own_unit(&self, dimension: crate::quantity::Dimension) -> Unit {
        let of_masses = self.notebook.blocks.iter().find_map(|block| match &block.kind {
            BlockKind::Masses(masses) => masses.unit.as_ref().map(|unit| unit.value.clone()),
            _ => None,
        });
        of_masses.filter(|unit| unit.dimension() == dimension).unwrap_or_else(|| Unit::from_base(dimension))
    }

    fn add(&mut self, heading: Heading, value: &Value, graph: &Graph) {
        let result = self.result(heading, value, graph);
        self.by_symbol.entry(result.symbol.clone()).or_insert(self.quantities.len());
        if let Some(load) = load_of(&result.symbol).filter(|_| result.origin == Origin::NetMass) {
            self.by_load.entry(load).or_insert(self.quantities.len());
        }
        self.values.push(value.clone());
        self.quantities.push(result);
    }

    fn result(&self, heading: Heading, value: &Value, graph: &Graph) -> QuantityResult {
        let Heading { symbol, unit, origin, span, remark } = heading;
        let outcome = |slot: &Slot, trial| self.outcome(slot, trial, &unit, graph);
        let (scalar, trials) = match value {
            Value::Scalar(slot) => (Some(outcome(slot, None)), Vec::new()),
            Value::Trials(slots) => {
                let hidden = |trial: &Trial| trial.blank && origin == Origin::Working;
                let one = |(index, (slot, trial)): (usize, (&Slot, &Trial))| {
                    if hidden(trial) {
                        Outcome::Missing("not computed for a blank".into())
                    } else {
                        outcome(slot, Some(index))
                    }
                };
                (None, slots.iter().zip(self.trials).enumerate().map(one).collect())
            }
        };
        let provisional = |outcome: &Outcome| outcome.value().is_some_and(|value| value.provisional);
        let provisional = trials.iter().chain(&scalar).any(provisional);
        QuantityResult {
            symbol,
            unit,
            origin,
            span,
            remark,
            scalar,
            trials,
            provisional,
            agreement: None,
            agreement_with_all: None,
            theory: None,
            conformity: Vec::new(),
            outliers: None,
            scatter: None,
        }
    }

    /// A value in a unit as it is printed.
    pub(super) fn outcome(&self, slot: &Slot, trial: Option<usize>, unit: &Unit, graph: &Graph) -> Outcome {
        let node = match slot {
            Ok(node) => *node,
            Err(reason) => return Outcome::Missing(reason.to_string()),
        };
        match self.printer(graph).figure_and_uncertainty(node, unit, self.in_full) {
            Some((figure, evaluated)) => Outcome::Value(Computed {
                node,
                number: figure.number,
                printed: figure.printed,
                uncertainty: figure.uncertainty,
                by_figures: figure.by_figures,
                provisional: self.unfinished.holds(node, trial),
                evaluated,
            }),
            None => Outcome::Missing("its units do not fit".into()),
        }
    }

    /// Takes in the values that were added since the last time.
    pub(super) fn take_in(&mut self, graph: &Graph, picks: &Picks) {
        self.unfinished.extend(graph, picks);
    }

    /// Whether a value rests on an unfinished series, in one trial or in any.
    pub(super) fn is_provisional(&self, node: NodeId, trial: Option<usize>) -> bool {
        self.unfinished.holds(node, trial)
    }

    /// The number of a quantity by its symbol, with its value. A net mass is known by what it is the mass of,
    /// however that is written.
    pub(super) fn quantity(&self, symbol: &str) -> Option<(usize, &Value)> {
        let of_load = || self.by_load.get(&load_of(symbol)?).copied();
        let index = self.by_symbol.get(symbol).copied().or_else(of_load)?;
        Some((index, &self.values[index]))
    }

    /// Repeatability limits of names that nothing has.
    fn check_limits(&self, findings: &mut Vec<Finding>) {
        for limit in &self.notebook.settings.repeatability {
            if self.quantity(&symbol_of(&limit.symbol.value).to_string()).is_none() {
                let message =
                    format!("a repeatability limit of {}, which nothing defines", limit.symbol.value);
                let finding = Finding::warning(crate::finding::Code::BadSetting, limit.symbol.span, message);
                let known = self.quantities.iter().map(|quantity| quantity.symbol.as_str());
                findings.push(match crate::finding::nearest(&limit.symbol.value, known) {
                    Some(near) => finding.hint(format!("did you mean {near}?")),
                    None => finding,
                });
            }
        }
    }

    /// The repeatability limit of a quantity, the first where there are several, by the quantity's number.
    fn limits(&self) -> HashMap<usize, &'a RepeatabilityLimit> {
        let mut limits = HashMap::new();
        for limit in &self.notebook.settings.repeatability {
            if let Some((index, _)) = self.quantity(&symbol_of(&limit.symbol.value).to_string()) {
                limits.entry(index).or_insert(limit);
            }
        }
        limits
    }

    fn agreements(&mut self, graph: &mut Graph, findings: &mut Vec<Finding>) {
        let limits = self.limits();
        let set_aside = self.trials.iter().any(|trial| trial.set_aside.is_some());
        for (index, (quantity, value)) in self.quantities.iter_mut().zip(&self.values).enumerate() {
            let settings = &self.notebook.settings;
            let (trials, inputs, in_full) = (self.trials, &self.inputs, self.in_full);
            let mut of = |counts: &dyn Fn(&Trial) -> bool| {
                let values = agreement::values(value, trials, counts);
                let mean = agreement::mean_node(&values, graph)?;
                agreement::of(&values, mean, &quantity.unit, in_full, &Printer { graph, inputs, settings })
            };
            let mut valid = of(&Trial::counts);
            let mut with_all = if set_aside { of(&|trial: &Trial| !trial.blank) } else { None };
            if valid.is_none() && !agreement::values(value, trials, Trial::counts).is_empty() {
                let message =
                    format!("the agreement of {} needs fractions beyond the size limit", quantity.symbol);
                findings.push(Finding::error(crate::finding::Code::TooLarge, quantity.span, message));
            }
            if let (Some(result), Some(limit)) = (&mut valid, limits.get(&index)) {
                let QuantityResult { symbol, unit, span, .. } = &*quantity;
                agreement::compare(
                    result,
                    limit,
                    symbol,
                    unit,
                    *span,
                    &Printer { graph, inputs, settings },
                    findings,
                );
            }
            let provisional = |counts: &dyn Fn(&Trial) -> bool| {
                let counted = quantity.trials.iter().zip(self.trials).filter(|(_, trial)| counts(trial));
                counted.filter_map(|(outcome, _)| outcome.value()).any(|value| value.provisional)
            };
            valid.iter_mut().for_each(|result| result.provisional = provisional(&Trial::counts));
            with_all
                .iter_mut()
                .for_each(|result| result.provisional = provisional(&|trial: &Trial| !trial.blank));
            quantity.agreement = valid;
            quantity.agreement_with_all = with_all;
        }
    }

    /// Adds a theory to the quantity of its symbol, or as a quantity of its own.
    pub(super) fn add_theory(
        &mut self,
        line: &crate::notebook::blocks::Definition,
        value: &Value,
        difference: Option<(NodeId, NodeId)>,
        test: Option<TheoryTest>,
        graph: &Graph,
    ) {
        let symbol = line.symbol.value.to_string();
        let Some((index, _)) = self.quantity(&symbol) else {
            let mut heading = self.heading(line, &symbol, value, graph);
            heading.origin = Origin::Theory;
            self.add(heading, value, graph);
            return;
        };
        let unit = match any_node(&self.values[index]) {
            Some(_) => self.fitting(Some(self.quantities[index].unit.clone()), value, graph),
            None => {
                // The result has no value to take a unit from; the theory gives it one.
                let wanted = line.unit.as_ref().map(|unit| unit.value.clone());
                let unit = self.fitting(wanted, value, graph);
                self.quantities[index].unit = unit.clone();
                unit
            }
        };
        let outcome = |slot: &Slot, trial| self.outcome(slot, trial, &unit, graph);
        let (scalar, trials) = match value {
            Value::Scalar(slot) => (Some(outcome(slot, None)), Vec::new()),
            Value::Trials(slots) => {
                (None, slots.iter().enumerate().map(|(trial, slot)| outcome(slot, Some(trial))).collect())
            }
        };
        let (printer, percent) = (self.printer(graph), Unit::percent());
        let percent_error = difference.and_then(|(_, relative)| printer.figure(relative, &percent));
        let points = difference.filter(|_| unit.is_percent());
        let difference = points.and_then(|(difference, _)| printer.figure(difference, &percent));
        let theory = TheoryResult { scalar, trials, percent_error, difference, test, span: Some(line.span) };
        self.quantities[index].theory = Some(theory);
    }
}

/// Any node of a value, for its dimension.
pub(super) fn any_node(value: &Value) -> Option<NodeId> {
    match value {
        Value::Scalar(slot) => slot.as_ref().ok().copied(),
        Value::Trials(slots) => slots.iter().find_map(|slot| slot.as_ref().ok().copied()),
    }
}
