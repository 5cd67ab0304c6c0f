//! Net masses: what follows for each mass from the loads of each trial, with the checks on readings that
//! are subtracted from each other.

use super::buoyancy::Correction;
use super::{Slot, Value};
use crate::finding::{Code, Finding};
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Number, Quantity, Unit};
use crate::weighing::algebra::{Algebra, Combination};
use crate::weighing::{Load, Nesting, ReadingAt, Role, Trial, Trials, WeighedSeries, Weighings, balance};
use hashbrown::{HashMap, HashSet};
use std::collections::BTreeMap;
use std::sync::Arc;

/// `the readings of crucible and crucible + sample are missing`
pub(super) fn missing_readings(loads: &[String]) -> String {
    match loads.split_last() {
        Some((one, [])) => format!("the reading of {one} is missing"),
        Some((last, others)) => format!("the readings of {} and {last} are missing", others.join(", ")),
        None => "its readings cannot be used".to_owned(),
    }
}

/// The masses of all trials.
pub(super) struct Masses<'a> {
    settings: &'a Settings,
    trials: &'a [Trial],
    /// The weighings.
    pub(super) weighings: &'a Weighings,
    /// Trials whose loads with a reading are the same share one set of equations.
    patterns: Vec<Pattern<'a>>,
    pattern_of: Vec<usize>,
    /// What would follow if every load had its reading, once that was asked.
    written: Option<Pattern<'a>>,
    known: HashMap<Load, Value>,
    /// The first thing that is listed, once it was asked for.
    first: Option<Option<String>>,
    /// Every thing by its key.
    mentioned: HashSet<String>,
    /// The things that are weighed alone and carry others, by key.
    vessels: HashSet<String>,
    /// The correction for air buoyancy, where it is asked for.
    pub(super) buoyancy: Option<Correction>,
    /// The series of the empty pan, where it was read.
    pan: Option<usize>,
    /// Which loads are parts of which others.
    pub(super) nesting: Nesting,
}

struct Pattern<'a> {
    /// The series that have a reading, by index.
    series: Vec<usize>,
    algebra: Algebra<'a>,
}

impl<'a> Masses<'a> {
    pub(super) fn of(settings: &'a Settings, trials: &'a Trials, weighings: &'a Weighings) -> Self {
        let mut patterns: Vec<Pattern> = Vec::new();
        let mut by_series: HashMap<Vec<usize>, usize> = HashMap::new();
        let mut pattern_of = Vec::new();
        for trial in 0..trials.len() {
            let weighed = |index: &usize| {
                let series = &weighings.series[*index];
                series.role == Role::Load && series.standing(trial).is_some()
            };
            let series: Vec<usize> = (0..weighings.series.len()).filter(weighed).collect();
            let index = *by_series.entry(series.clone()).or_insert_with(|| {
                let loads: Vec<&Load> = series.iter().map(|index| &weighings.series[*index].load).collect();
                patterns.push(Pattern { series, algebra: Algebra::of(&loads) });
                patterns.len() - 1
            });
            pattern_of.push(index);
        }
        let mentioned = loads(weighings).flat_map(|series| series.load.things.iter().cloned()).collect();
        Masses {
            settings,
            trials: trials.list(),
            weighings,
            patterns,
            pattern_of,
            written: None,
            known: HashMap::new(),
            first: None,
            mentioned,
            vessels: vessels(weighings),
            buoyancy: None,
            nesting: Nesting::of(weighings),
            pan: weighings.series.iter().position(|series| series.role == Role::EmptyPan),
        }
    }

    /// Corrects every mass for the buoyancy of the air from here on.
    pub(super) fn in_air(&mut self, correction: Option<Correction>, findings: &mut Vec<Finding>) {
        if let Some(correction) = &correction {
            let written: Vec<String> = self.known_things().collect();
            let known = |key: &str| self.mentioned.contains(key);
            correction.check_things(known, written.iter().map(String::as_str), findings);
        }
        self.buoyancy = correction;
    }

    /// The mass of a load in every trial; `None` if nothing of it was ever weighed.
    pub(super) fn mass(&mut self, load: &Load, graph: &mut Graph) -> Option<Value> {
        if let Some(value) = self.known.get(load) {
            return Some(value.clone());
        }
        if !load.things.iter().all(|thing| self.mentioned.contains(thing)) {
            return None;
        }
        let slots = (0..self.trials.len()).map(|trial| self.corrected(load, trial, graph)).collect();
        let value = Value::Trials(slots);
        self.known.insert(load.clone(), value.clone());
        Some(value)
    }

    /// The mass of a load, corrected for the buoyancy of those of its things that have a density. What has none
    /// (a vessel) stays as weighed: it cancels in the difference that a net mass is.
    fn corrected(&mut self, load: &Load, trial: usize, graph: &mut Graph) -> Slot {
        let mut mass = self.in_trial(load, trial, graph)?;
        let factors: Vec<(String, NodeId)> = match &self.buoyancy {
            Some(correction) => {
                let factor = |thing: &String| Some((thing.clone(), correction.factor(thing)?));
                load.things.iter().filter_map(factor).collect()
            }
            None => Vec::new(),
        };
        for (thing, factor) in factors {
            let part = match load.things.len() {
                1 => Ok(mass),
                _ => self.in_trial(&Load { things: vec![thing.clone()] }, trial, graph),
            };
            let part = part.map_err(|_| {
                format!("the air buoyancy of {thing} in it cannot be corrected: its mass does not follow")
            })?;
            mass = exchanged(mass, part, factor, graph)
                .ok_or("its correction for air buoyancy cannot be computed")?;
        }
        Ok(mass)
    }

    fn in_trial(&mut self, load: &Load, trial: usize, graph: &mut Graph) -> Slot {
        let pattern = &mut self.patterns[self.pattern_of[trial]];
        let Some(route) = pattern.algebra.route(load) else {
            return Err(self.lacking(load, trial).into());
        };
        let mut route = by_series(&route, &pattern.series);
        route.extend(self.zero(&route, trial));
        self.combine(&route, trial, graph).ok_or_else(|| "its readings cannot be added up".into())
    }

    /// Why a mass does not follow in a trial.
    fn lacking(&mut self, load: &Load, trial: usize) -> String {
        match self.unread(load, &[trial]) {
            Some(loads) => missing_readings(&loads),
            None => format!("{} does not follow from the readings there are", load.things.join(" + ")),
        }
    }

    /// The loads that lack a reading in one of these trials, of those that a mass would follow from; `None` where it would
    /// not follow even if every load had its readings.
    pub(super) fn unread(&mut self, load: &Load, trials: &[usize]) -> Option<Vec<String>> {
        let weighings = self.weighings;
        let written = self.written.get_or_insert_with(|| {
            let of_load = |index: &usize| weighings.series[*index].role == Role::Load;
            let series: Vec<usize> = (0..weighings.series.len()).filter(of_load).collect();
            let loads: Vec<&Load> = series.iter().map(|index| &weighings.series[*index].load).collect();
            Pattern { algebra: Algebra::of(&loads), series }
        });
        let route = by_series(&written.algebra.route(load)?, &written.series);
        let lacks = |series: &WeighedSeries| trials.iter().any(|trial| series.standing(*trial).is_none());
        let series = route.iter().map(|(index, _)| &weighings.series[*index]);
        Some(series.filter(|series| lacks(series)).map(|series| series.written.clone()).collect())
    }

    /// The zero of the balance, where the empty pan was read: every reading has it, so it stays in the mass of what
    /// is weighed alone, and cancels in a difference.
    fn zero(&self, route: &Combination, trial: usize) -> Option<(usize, Number)> {
        let pan = self.pan?;
        let balance = &self.weighings.series[pan].standing(trial)?.balance;
        let mut sum = Number::zero();
        for (series, coefficient) in route {
            if self.weighings.series[*series].standing(trial)?.balance == *balance {
                sum = sum.add(coefficient).ok()?;
            }
        }
        (!sum.is_zero()).then(|| (pan, sum.neg()))
    }

    /// Σ coefficient × standing reading, as a node (or the reading itself).
    fn combine(&self, route: &Combination, trial: usize, graph: &mut Graph) -> Option<NodeId> {
        let inputs = self.readings(route, trial)?;
        if let ([only], [(_, coefficient)]) = (inputs.as_slice(), route.as_slice())
            && *coefficient == Number::one()
        {
            return Some(*only);
        }
        let coefficients: Vec<Number> = route.iter().map(|(_, coefficient)| coefficient.clone()).collect();
        let quantity = weighted_sum(&coefficients, &inputs, graph)?;
        let operation = Operation::Combination(coefficients);
        Some(graph.add(Node { operation, inputs, quantity, span: None }))
    }

    fn readings(&self, route: &Combination, trial: usize) -> Option<NodeInputs> {
        route.iter().map(|(series, _)| self.weighings.series[*series].standing(trial)?.node).collect()
    }

    /// The things whose masses the report lists, with the unit to show them in: those that follow in some
    /// trial, but not a vessel (weighed alone, and the first thing of some other load).
    pub(super) fn listed(&mut self, graph: &mut Graph) -> Vec<(String, Unit, Value)> {
        let mut listed = Vec::new();
        for (thing, key, unit) in self.things() {
            if self.vessels.contains(&key) {
                continue;
            }
            if let Some(value) = self.mass(&Load { things: vec![key] }, graph)
                && (0..self.trials.len()).any(|trial| value.at(trial).is_ok())
            {
                listed.push((thing.to_owned(), unit.clone(), value));
            }
        }
        listed
    }

    /// The first thing whose mass is listed.
    pub(super) fn first_listed(&mut self, graph: &mut Graph) -> Option<String> {
        if self.first.is_none() {
            self.first = Some(self.listed(graph).into_iter().next().map(|(thing, _, _)| thing));
        }
        self.first.clone().flatten()
    }

    /// Every thing as first written.
    pub(super) fn known_things(&self) -> impl Iterator<Item = String> {
        self.things().into_iter().map(|(thing, _, _)| thing.to_owned())
    }

    /// Every thing as first written, with its key and the unit of the block it first stands in.
    fn things(&self) -> Vec<(&'a str, String, &'a Unit)> {
        let mut seen = HashSet::new();
        let mut things = Vec::new();
        for series in loads(self.weighings) {
            for thing in &series.things {
                let key = crate::notebook::thing_key(thing);
                if seen.insert(key.clone()) {
                    things.push((thing.as_str(), key, &series.unit));
                }
            }
        }
        things
    }

    /// The standard uncertainty of a mass in kilograms, from the balances of the readings it follows from.
    pub(super) fn standard_uncertainty(&mut self, load: &Load, trial: usize) -> Option<f64> {
        let pattern = &mut self.patterns[self.pattern_of[trial]];
        let route = by_series(&pattern.algebra.route(load)?, &pattern.series);
        self.uncertainty_of(&route, trial)
    }

    /// The standard uncertainty of the difference of two masses; what both rest on counts by its net coefficient.
    fn of_difference(&mut self, a: &Load, b: &Load, trial: usize) -> Option<f64> {
        let pattern = &mut self.patterns[self.pattern_of[trial]];
        let (plus, minus) = (pattern.algebra.route(a)?, pattern.algebra.route(b)?);
        let mut route: BTreeMap<usize, Number> = BTreeMap::new();
        let signed = plus.into_iter().chain(minus.into_iter().map(|(index, c)| (index, c.neg())));
        for (index, coefficient) in signed {
            let sum = route.entry(index).or_insert_with(Number::zero);
            *sum = sum.add(&coefficient).ok()?;
        }
        let route = by_series(&route.into_iter().collect(), &pattern.series);
        self.uncertainty_of(&route, trial)
    }

    fn uncertainty_of(&self, route: &Combination, trial: usize) -> Option<f64> {
        let mut variance = 0.0;
        for (series, coefficient) in route {
            let reading = self.weighings.series[*series].standing(trial)?;
            variance += (coefficient.to_f64() * self.reading_uncertainty(reading)?).powi(2);
        }
        Some(variance.sqrt())
    }

    /// The scale interval of a reading in kilograms.
    pub(super) fn scale_interval(&self, reading: &ReadingAt) -> Option<Number> {
        let (decimal, unit) = reading.written.as_ref()?;
        balance::scale_interval(self.balance(reading), decimal, unit)
    }

    pub(super) fn balance(&self, reading: &ReadingAt) -> Option<&crate::notebook::settings::Balance> {
        balance::named(self.settings, reading.balance.as_deref()?)
    }

    fn reading_uncertainty(&self, reading: &ReadingAt) -> Option<f64> {
        Some(balance::standard_uncertainty(self.balance(reading), &self.scale_interval(reading)?))
    }

    /// What can be said of the net masses without any formula.
    pub(super) fn check(&mut self, graph: &mut Graph, findings: &mut Vec<Finding>) {
        let listed = self.listed(graph);
        let several = self.has_several_balances();
        for (thing, unit, value) in &listed {
            for trial in (0..self.trials.len()).filter(|trial| value.at(*trial).is_ok()) {
                self.check_sign(thing, unit, value, trial, graph, findings);
            }
            if several {
                self.check_balances(thing, findings);
            }
            self.check_minimum(thing, unit, value, graph, findings);
        }
        self.check_residue(graph, findings);
        self.check_routes(graph, findings);
    }

    fn check_sign(
        &mut self,
        thing: &str,
        unit: &Unit,
        value: &Value,
        trial: usize,
        graph: &Graph,
        findings: &mut Vec<Finding>,
    ) {
        let Ok(node) = value.at(trial) else { return };
        let quantity = graph.quantity(node);
        if !quantity.number.is_negative() {
            return;
        }
        let load = Load::of([thing]);
        let shown = shown(quantity, unit);
        let name = &self.trials[trial].name;
        let span = self.last_span(&load, trial);
        if self.beyond(&load, trial, quantity.number.to_f64()) {
            let message = format!("the net mass of {thing} in trial {name} is below zero: {shown}");
            let finding = Finding::warning(Code::NetMassBelowZero, span, message);
            findings.push(finding.hint("check the two readings it is the difference of"));
        } else {
            let message =
                format!("the net mass of {thing} in trial {name} is not distinguishable from zero: {shown}");
            findings.push(Finding::note(Code::NetMassBelowZero, span, message));
        }
    }

    /// Net masses below what the balance weighs sensibly; the heaviest trial that is says so.
    fn check_minimum(
        &mut self,
        thing: &str,
        unit: &Unit,
        value: &Value,
        graph: &Graph,
        findings: &mut Vec<Finding>,
    ) {
        if self.settings.balances.iter().all(|balance| balance.further.minimum_weight.is_none()) {
            return;
        }
        let load = Load::of([thing]);
        let mut below: BTreeMap<String, (Number, Vec<usize>)> = BTreeMap::new();
        for trial in (0..self.trials.len()).filter(|trial| !self.trials[*trial].blank) {
            let Ok(node) = value.at(trial) else { continue };
            let pattern = &mut self.patterns[self.pattern_of[trial]];
            let Some(route) = pattern.algebra.route(&load) else { continue };
            let Some((first, _)) = by_series(&route, &pattern.series).into_iter().next() else { continue };
            let reading = self.weighings.series[first].standing(trial);
            let Some(balance) = reading.and_then(|reading| self.balance(reading)) else { continue };
            let Some(minimum) = &balance.further.minimum_weight else { continue };
            if graph.quantity(node).number.abs() < minimum.number {
                let entry = below.entry(balance.name.value.clone());
                entry.or_insert_with(|| (minimum.number.clone(), Vec::new())).1.push(trial);
            }
        }
        for (balance, (minimum, trials)) in below {
            let names: Vec<&str> = trials.iter().map(|trial| self.trials[*trial].name.as_str()).collect();
            let minimum = shown(&Quantity::exact(minimum, Unit::gram().dimension()), unit);
            let message = format!(
                "the net mass of {thing} is below the minimum weight of balance {balance}, {minimum} ({} {})",
                if names.len() == 1 { "trial" } else { "trials" },
                names.join(", ")
            );
            let span = self.last_span(&load, trials[0]);
            let finding = Finding::warning(Code::BelowMinimumWeight, span, message);
            findings
                .push(finding.hint("take more of it, or a finer balance: its relative uncertainty is large"));
        }
    }

    /// Whether a difference (kg) is more than the expanded uncertainty (k = 2) of a mass.
    fn beyond(&mut self, load: &Load, trial: usize, difference: f64) -> bool {
        difference.abs() > 2.0 * self.standard_uncertainty(load, trial).unwrap_or(0.0)
    }

    /// The place of the reading with the positive sign in the route to a mass.
    fn last_span(&mut self, load: &Load, trial: usize) -> Option<crate::span::Span> {
        let pattern = &mut self.patterns[self.pattern_of[trial]];
        let route = by_series(&pattern.algebra.route(load)?, &pattern.series);
        let (series, _) = route.iter().find(|(_, coefficient)| !coefficient.is_negative())?;
        self.span_of(*series, trial)
    }

    fn span_of(&self, series: usize, trial: usize) -> Option<crate::span::Span> {
        let series = &self.weighings.series[series];
        let (row, reading) = series.readings(trial).next_back()?;
        let row = &series.rows[row].row;
        Some(reading.cell.and_then(|cell| row.cells.get(cell)).map_or(row.span, |cell| cell.span))
    }

    /// Whether not all readings are of one balance.
    fn has_several_balances(&self) -> bool {
        let rows = self.weighings.series.iter().flat_map(|series| &series.rows);
        let mut balances = rows.flat_map(|row| &row.readings).filter_map(|reading| reading.balance.as_ref());
        let first = balances.next();
        balances.any(|balance| Some(balance) != first)
    }

    /// Readings that are subtracted from each other but come from different balances.
    fn check_balances(&mut self, thing: &str, findings: &mut Vec<Finding>) {
        let load = Load::of([thing]);
        let mut by_pair: BTreeMap<(Arc<str>, Arc<str>), Vec<usize>> = BTreeMap::new();
        for trial in 0..self.trials.len() {
            let pattern = &mut self.patterns[self.pattern_of[trial]];
            let Some(route) = pattern.algebra.route(&load) else { continue };
            let route = by_series(&route, &pattern.series);
            let balances: Vec<Arc<str>> = route
                .iter()
                .filter_map(|(series, _)| self.weighings.series[*series].standing(trial)?.balance.clone())
                .collect();
            if let Some(first) = balances.first()
                && let Some(other) = balances.iter().find(|other| *other != first)
            {
                by_pair.entry((other.clone(), first.clone())).or_default().push(trial);
            }
        }
        for ((before, after), trials) in by_pair {
            let names: Vec<&str> = trials.iter().map(|trial| self.trials[*trial].name.as_str()).collect();
            let message = format!(
                "the net mass of {thing} subtracts readings of two balances, {before} and {after} ({} {})",
                if names.len() == 1 { "trial" } else { "trials" },
                names.join(", ")
            );
            let span = self.last_span(&load, trials[0]);
            let finding = Finding::warning(Code::BalanceChanged, span, message);
            findings.push(finding.hint("weigh on one balance throughout: an offset cancels only then"));
        }
    }

    /// More residue than sample.
    fn check_residue(&mut self, graph: &mut Graph, findings: &mut Vec<Finding>) {
        let (sample, residue) = (Load::of(["sample"]), Load::of(["residue"]));
        let (Some(put_in), Some(left)) = (self.mass(&sample, graph), self.mass(&residue, graph)) else {
            return;
        };
        for trial in 0..self.trials.len() {
            let (Ok(put_in), Ok(left)) = (put_in.at(trial), left.at(trial)) else { continue };
            let Ok(excess) = graph.quantity(left).number.sub(&graph.quantity(put_in).number) else {
                continue;
            };
            if excess.is_zero() || excess.is_negative() {
                continue;
            }
            let limit = 2.0 * self.of_difference(&residue, &sample, trial).unwrap_or(0.0);
            let name = &self.trials[trial].name;
            let span = self.last_span(&residue, trial);
            let finding = if excess.to_f64() > limit {
                let message = format!("trial {name} has more residue than there was sample");
                let finding = Finding::warning(Code::ResidueAboveSample, span, message);
                finding.hint("check the readings; something may have been taken up, or a load is misnamed")
            } else {
                let message = format!("residue and sample of trial {name} are not distinguishable");
                Finding::note(Code::ResidueAboveSample, span, message)
            };
            findings.push(finding);
        }
    }

    /// Loads that were weighed and also follow from others, but differently.
    fn check_routes(&mut self, graph: &mut Graph, findings: &mut Vec<Finding>) {
        for trial in 0..self.trials.len() {
            let pattern = &mut self.patterns[self.pattern_of[trial]];
            let placed = |(load, others): (usize, Combination)| {
                (pattern.series[load], by_series(&others, &pattern.series))
            };
            let redundant: Vec<_> = pattern.algebra.redundant().into_iter().map(placed).collect();
            for (weighed, route) in redundant {
                self.compare_routes(weighed, &route, trial, graph, findings);
            }
        }
    }

    fn compare_routes(
        &self,
        weighed: usize,
        route: &Combination,
        trial: usize,
        graph: &mut Graph,
        findings: &mut Vec<Finding>,
    ) {
        let series = &self.weighings.series[weighed];
        let Some(reading) = series.standing(trial) else { return };
        let (Some(node), Some(inputs)) = (reading.node, self.readings(route, trial)) else { return };
        let coefficients: Vec<Number> = route.iter().map(|(_, coefficient)| coefficient.clone()).collect();
        let Some(computed) = weighted_sum(&coefficients, &inputs, graph) else { return };
        let Ok(difference) = graph.quantity(node).sub(&computed) else { return };
        let own = self.reading_uncertainty(reading).unwrap_or(0.0);
        let other = self.uncertainty_of(route, trial).unwrap_or(0.0);
        if difference.number.to_f64().abs() <= 2.0 * own.hypot(other) {
            return;
        }
        let names: Vec<&str> =
            route.iter().map(|(series, _)| self.weighings.series[*series].written.as_str()).collect();
        let message = format!(
            "two ways to the mass of {} in trial {} differ by {}: weighed {}, from {} {}",
            series.written,
            self.trials[trial].name,
            shown(&difference, &series.unit),
            shown(graph.quantity(node), &series.unit),
            names.join(" and "),
            shown(&computed, &series.unit),
        );
        let mut finding = Finding::warning(Code::RoutesDisagree, self.span_of(weighed, trial), message);
        for (series, _) in route {
            if let Some(span) = self.span_of(*series, trial) {
                finding = finding.label(span, "the other way rests on this");
            }
        }
        findings
            .push(finding.hint("one name is one portion per trial: give different portions different names"));
    }
}

/// A mass with one of its parts, as weighed, exchanged for the part times its factor. The last place stays that of
/// the readings: the factor's few figures are those of a correction.
fn exchanged(mass: NodeId, part: NodeId, factor: NodeId, graph: &mut Graph) -> Option<NodeId> {
    let product = step(Operation::Multiply, Quantity::mul, [part, factor], mass, graph)?;
    if mass == part {
        return Some(product);
    }
    let more = step(Operation::Subtract, Quantity::sub, [product, part], mass, graph)?;
    step(Operation::Add, Quantity::add, [mass, more], mass, graph)
}

/// A node of two inputs with the last place of another.
fn step(
    operation: Operation,
    of: fn(&Quantity, &Quantity) -> Result<Quantity, crate::quantity::QuantityError>,
    [a, b]: [NodeId; 2],
    place_of: NodeId,
    graph: &mut Graph,
) -> Option<NodeId> {
    let quantity = of(graph.quantity(a), graph.quantity(b)).ok()?;
    let quantity = Quantity { digits: graph.quantity(place_of).digits, ..quantity };
    Some(graph.add(Node { operation, inputs: NodeInputs::from_slice(&[a, b]), quantity, span: None }))
}

/// The series of the experiment: not those of check weights and the empty pan.
fn loads(weighings: &Weighings) -> impl Iterator<Item = &WeighedSeries> {
    weighings.series.iter().filter(|series| series.role == Role::Load)
}

/// The things weighed alone that are the first thing of some other load, or stand in several.
fn vessels(weighings: &Weighings) -> HashSet<String> {
    let first = |series: &WeighedSeries| series.things.first().map(|thing| crate::notebook::thing_key(thing));
    let carrying: HashSet<String> =
        loads(weighings).filter(|series| series.things.len() > 1).filter_map(first).collect();
    let mut in_loads: HashMap<&str, usize> = HashMap::new();
    for thing in loads(weighings).filter(|s| s.things.len() > 1).flat_map(|s| &s.load.things) {
        *in_loads.entry(thing.as_str()).or_default() += 1;
    }
    let several = |thing: &String| in_loads.get(thing.as_str()).is_some_and(|count| *count > 1);
    let alone = loads(weighings).filter(|series| series.things.len() == 1).filter_map(first);
    alone.filter(|thing| carrying.contains(thing) || several(thing)).collect()
}

fn by_series(route: &Combination, series: &[usize]) -> Combination {
    route.iter().map(|(index, coefficient)| (series[*index], coefficient.clone())).collect()
}

/// Σ coefficient × value, exactly, with the coarsest last place.
fn weighted_sum(coefficients: &[Number], inputs: &[NodeId], graph: &Graph) -> Option<Quantity> {
    let mut sum: Option<Quantity> = None;
    for (coefficient, input) in coefficients.iter().zip(inputs) {
        let quantity = graph.quantity(*input);
        let term = if *coefficient == Number::one() {
            quantity.clone()
        } else if *coefficient == Number::one().neg() {
            quantity.neg()
        } else {
            quantity.mul(&Quantity::exact(coefficient.clone(), Unit::one().dimension())).ok()?
        };
        sum = Some(match sum {
            None => term,
            Some(sum) => sum.add(&term).ok()?,
        });
    }
    sum
}

/// A quantity as printed with its unit, for a message.
pub(super) fn shown(quantity: &Quantity, unit: &Unit) -> String {
    match quantity.number_in(unit) {
        Ok(number) => {
            let digits = quantity.digits_in(unit);
            let printed =
                crate::quantity::print(&number, digits, crate::quantity::Rounding::HalfEven).ascii();
            if unit.is_one() { printed } else { format!("{printed} {}", unit.symbol()) }
        }
        Err(_) => "a value of another kind".to_string(),
    }
}
