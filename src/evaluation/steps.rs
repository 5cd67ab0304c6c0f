//! The table of steps: a residue weighed after each of several stages, with the change each stage should bring.
//!
//! A stage ends at an `event:` line of a load that is weighed again, or is a thing of its own that names the reaction
//! (`residue of stage 1`) or is its product (`CaCO3`). Changes are told as mass and as a share of the sample. What a
//! stage should change follows from the reaction it names, or from the reactions in their order where there are
//! just as many, for a pure sample: what leaves the pan is what is written with (g) or (aq), or one of the gases
//! of the bench (common practice).

use super::calculator::Calculator;
use super::mixture::apply;
use super::reactions::NamedReaction;
use super::results::{Figure, StepResult, StepTable, StepTrial};
use super::{Slot, Value};
use crate::chemistry::{Balanced, Formula, State, Term};
use crate::notebook::blocks::{BlockKind, Row};
use crate::notebook::thing_key;
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Number, Quantity, Unit};
use crate::span::{Span, Spanned};
use crate::weighing::{Load, WeighedSeries};
use dashu_ratio::RBig;

/// What leaves a hot crucible as a gas where no state is written (common practice).
const GASES: [&str; 20] = [
    "H2O", "CO2", "CO", "SO2", "SO3", "NH3", "O2", "N2", "NO", "NO2", "N2O", "H2", "HCl", "HF", "HBr", "HI",
    "H2S", "Cl2", "Br2", "SiF4",
];

/// A stage, perhaps before its reaction is known.
struct Stage {
    name: String,
    mass: Value,
    /// Which of the reactions it is of, where a thing tells.
    reaction: Option<usize>,
}

/// Every table of steps of a notebook.
pub(super) fn tables(calculator: &mut Calculator) -> Vec<StepTable> {
    let weighings = calculator.masses.weighings;
    let mut found: Vec<StepTable> = Vec::new();
    for (index, weighed) in weighings.series.iter().enumerate() {
        if let Some((stages, contents)) = by_events(index, weighed, calculator) {
            found.extend(table(weighed.written.clone(), stages, &contents, weighed.unit.clone(), calculator));
        }
    }
    if found.is_empty()
        && let Some((stages, things)) = by_things(calculator)
    {
        let unit = weighings.series.first().map_or_else(Unit::gram, |weighed| weighed.unit.clone());
        found.extend(table(String::new(), stages, &things, unit, calculator));
    }
    found
}

/// The stages of a load between its events, with the things that are in the vessel.
fn by_events(
    index: usize,
    weighed: &WeighedSeries,
    calculator: &mut Calculator,
) -> Option<(Vec<Stage>, Vec<String>)> {
    let mut segments = segments(weighed);
    if segments.len() < 2 {
        return None;
    }
    if let (Some((name, _)), Some(event)) = (segments.first_mut(), first_event(weighed, calculator)) {
        *name = event;
    }
    let contents = contents(index, weighed, calculator)?;
    let net = calculator.masses.mass(&contents, calculator.graph)?;
    let stage = |(name, rows): (String, Vec<usize>)| {
        let trials = 0..calculator.trials.len();
        let slots = trials.map(|trial| mass_after(weighed, &rows, trial, &net, &contents.things, calculator));
        Stage { name, mass: Value::Trials(slots.collect()), reaction: None }
    };
    Some((segments.into_iter().map(stage).collect(), contents.things))
}

/// What was done last before a load was first on the pan.
fn first_event(weighed: &WeighedSeries, calculator: &Calculator) -> Option<String> {
    for block in &calculator.notebook.blocks {
        let BlockKind::Masses(masses) = &block.kind else { continue };
        let mut last = None;
        for row in &masses.rows {
            match row {
                Row::Event(event) => last = Some(event.value.clone()),
                Row::Load(row) if Load::of(row.things.iter().map(String::as_str)) == weighed.load => {
                    return last;
                }
                Row::Load(_) => {}
            }
        }
    }
    None
}

/// The rows between events, each with what was done before it.
fn segments(weighed: &WeighedSeries) -> Vec<(String, Vec<usize>)> {
    let mut segments: Vec<(String, Vec<usize>)> = Vec::new();
    for (index, row) in weighed.rows.iter().enumerate().filter(|(_, row)| !row.row.struck) {
        match segments.last_mut() {
            Some((_, rows)) if row.events.is_empty() => rows.push(index),
            _ => {
                let treatment = row.row.treatment.as_ref().map(|treatment| treatment.name.clone());
                // Events long before the load was first on the pan are not its own.
                let last = row.events.last().cloned();
                segments.push((last.or(treatment).unwrap_or_else(|| "at first".into()), vec![index]));
            }
        }
    }
    segments
}

/// What a load holds besides the smallest other load within it; itself where it is one thing on the bare pan.
fn contents(index: usize, weighed: &WeighedSeries, calculator: &Calculator) -> Option<Load> {
    let masses = &calculator.masses;
    if masses.nesting.is_held(index) {
        return None;
    }
    let parts = masses.nesting.parts(index).iter().map(|part| &masses.weighings.series[*part]);
    match parts.min_by_key(|other| other.load.things.len()) {
        Some(vessel) => {
            let things = weighed.load.things.iter().filter(|thing| !vessel.load.things.contains(thing));
            Some(Load::of(things.map(String::as_str)))
        }
        None => (weighed.load.things.len() == 1).then(|| weighed.load.clone()),
    }
}

/// The net mass after the last weighing of some rows: the net mass in the end, less what changed since.
fn mass_after(
    weighed: &WeighedSeries,
    rows: &[usize],
    trial: usize,
    net: &Value,
    contents: &[String],
    calculator: &mut Calculator,
) -> Slot {
    let reading = rows.iter().rev().find_map(|row| weighed.rows[*row].readings.get(trial)?.node);
    let last = weighed.standing(trial).and_then(|reading| reading.node);
    let (Some(reading), Some(last)) = (reading, last) else { return Err("it was not weighed".into()) };
    let end = net.at(trial)?;
    if reading == last {
        return Ok(end);
    }
    let value = |node| Value::Scalar(Ok(node));
    let since = quiet(calculator, Operation::Subtract, value(reading), value(last));
    // What one residue gains or loses is corrected for the air as the residue is.
    let factor = match contents {
        [one] => calculator.masses.buoyancy.as_ref().and_then(|correction| correction.factor(one)),
        _ => None,
    };
    let since = match factor {
        Some(factor) => quiet(calculator, Operation::Multiply, since, value(factor)),
        None => since,
    };
    quiet(calculator, Operation::Add, value(end), since).at(0)
}

/// Things that name the reaction they come from, or are its product.
fn by_things(calculator: &mut Calculator) -> Option<(Vec<Stage>, Vec<String>)> {
    let reactions = calculator.reaction_list().to_vec();
    let mut things: Vec<Thing> = calculator.masses.known_things().map(Thing::of).collect();
    let mut stages: Vec<Stage> = Vec::new();
    let mut used = Vec::new();
    for (index, reaction) in reactions.iter().enumerate() {
        let Some(at) = things.iter().position(|thing| thing.is_after(reaction)) else { continue };
        let thing = things.remove(at).written;
        let mass = calculator.masses.mass(&Load::of([thing.as_str()]), calculator.graph);
        let weighed = |mass: &Value| (0..calculator.trials.len()).any(|trial| mass.at(trial).is_ok());
        let Some(mass) = mass.filter(weighed) else { continue };
        used.push(thing_key(&thing));
        let name = match &reaction.name {
            Some(name) if !names(&thing, name) => format!("{name}: {thing}"),
            _ => thing,
        };
        stages.push(Stage { name, mass, reaction: Some(index) });
    }
    (stages.len() > 1).then_some((stages, used))
}

/// A thing that was weighed, read once.
struct Thing {
    written: String,
    formula: Option<Formula>,
}

impl Thing {
    fn of(written: String) -> Self {
        Thing { formula: Formula::parse(&written).ok(), written }
    }

    fn is_after(&self, reaction: &NamedReaction) -> bool {
        if reaction.name.as_ref().is_some_and(|name| names(&self.written, name)) {
            return true;
        }
        let (Some(formula), Some(balanced)) = (&self.formula, &reaction.balanced) else { return false };
        balanced.reaction.right.iter().any(|term| stays(term) && term.formula.same_substance(formula))
    }
}

/// Whether a text holds a reaction's name as words of its own, whatever the case.
fn names(text: &str, name: &str) -> bool {
    let (text, name) = (text.to_lowercase(), name.to_lowercase());
    places(&text, &name).next().is_some()
}

/// Whether a stage is said to be that of a reaction: its name stands at the beginning, or as a stage (`stage 2`, `end of
/// stage drying`). A name anywhere else is one that the words happen to hold: "ten drops of water", with a reaction
/// called "water".
fn is_stage_of(stage: &str, name: &str) -> bool {
    const WORD: &str = "stage ";
    let (stage, name) = (stage.trim_start().to_lowercase(), name.to_lowercase());
    let said = |at: usize| at == 0 || stage[..at].ends_with(WORD) || name.starts_with(WORD);
    places(&stage, &name).any(said)
}

/// Where a text (in lower case) holds a name as words of its own.
fn places(text: &str, name: &str) -> impl Iterator<Item = usize> {
    let edge = |c: Option<char>| !c.is_some_and(char::is_alphanumeric);
    let whole = move |(at, found): &(usize, &str)| {
        edge(text[..*at].chars().next_back()) && edge(text[at + found.len()..].chars().next())
    };
    text.match_indices(name).filter(whole).map(|(at, _)| at)
}

/// Whether a substance stays on the pan.
fn stays(term: &Term) -> bool {
    let text = term.formula.text();
    let gas = GASES.contains(&text.trim_end_matches("(l)"));
    match term.formula.state() {
        Some(State::Solid) => true,
        Some(State::Gas | State::Aqueous) => false,
        Some(State::Liquid) | None => !gas,
    }
}

/// The sample: what is called so, else the first thing weighed that is none of the residues.
fn sample(contents: &[String], calculator: &mut Calculator) -> Option<(String, Value)> {
    let of = |name: &str, calculator: &mut Calculator| {
        let value = calculator.masses.mass(&Load::of([name]), calculator.graph)?;
        (0..calculator.trials.len()).any(|trial| value.at(trial).is_ok()).then(|| (name.to_owned(), value))
    };
    if !contents.contains(&thing_key("sample"))
        && let Some(found) = of("sample", calculator)
    {
        return Some(found);
    }
    let listed = calculator.masses.listed(calculator.graph);
    let other = listed.into_iter().find(|(thing, _, _)| !contents.contains(&thing_key(thing)));
    other.map(|(thing, _, value)| (thing, value))
}

fn table(
    of: String,
    stages: Vec<Stage>,
    contents: &[String],
    unit: Unit,
    calculator: &mut Calculator,
) -> Option<StepTable> {
    let sample = sample(contents, calculator);
    let reactions = calculator.reaction_list().to_vec();
    let assigned = assign(&stages, &reactions);
    let expected = Expected::along(&assigned, calculator);
    let mut before = sample.as_ref().map(|(_, mass)| mass.clone());
    let mut steps = Vec::new();
    for ((stage, reaction), theory) in stages.iter().zip(&assigned).zip(&expected.changes) {
        let found =
            Found::of(&stage.mass, before.as_ref(), sample.as_ref().map(|(_, mass)| mass), calculator);
        steps.push(StepResult {
            stage: stage.name.clone(),
            reaction: reaction.and_then(|r| r.balanced.as_ref()).map(|balanced| balanced.reaction.clone()),
            theory: theory.and_then(|node| calculator.printer().figure(node, &Unit::percent())),
            trials: found.printed(*theory, &unit, calculator),
        });
        before = Some(stage.mass.clone());
    }
    Some(StepTable { of, sample: sample.map(|(name, _)| name), pure: expected.start, unit, steps })
}

/// The reaction of each stage, by its thing or its name; where none has one, the reactions in their order if there are as
/// many.
fn assign<'r>(stages: &[Stage], reactions: &'r [NamedReaction]) -> Vec<Option<&'r NamedReaction>> {
    let named = |stage: &Stage| {
        let fits = |reaction: &&NamedReaction| {
            reaction.name.as_ref().is_some_and(|name| is_stage_of(&stage.name, name))
        };
        reactions.iter().filter(fits).max_by_key(|reaction| reaction.name.as_ref().map(String::len))
    };
    let of = |stage: &Stage| stage.reaction.and_then(|index| reactions.get(index)).or_else(|| named(stage));
    let found: Vec<_> = stages.iter().map(of).collect();
    let none = found.iter().all(Option::is_none);
    if none && reactions.len() == stages.len() { reactions.iter().map(Some).collect() } else { found }
}

/// The change each stage should bring, over the mass of a pure sample.
struct Expected {
    /// The substance the sample is.
    start: Option<String>,
    changes: Vec<Option<NodeId>>,
}

impl Expected {
    fn along(reactions: &[Option<&NamedReaction>], calculator: &mut Calculator) -> Expected {
        let mut changes = Vec::new();
        let mut pan: Vec<(Formula, RBig)> = Vec::new();
        let mut start = None;
        for reaction in reactions {
            let Some((balanced, place)) = reaction.and_then(|r| Some((r.balanced.as_ref()?, r.span))) else {
                changes.push(None);
                continue;
            };
            if start.is_none() {
                start =
                    balanced.reaction.left.iter().find(|term| stays(term)).map(|term| term.formula.clone());
                pan.extend(start.clone().map(|formula| (formula, RBig::ONE)));
            }
            let change = step(balanced, &mut pan);
            let whole = start.as_ref();
            changes
                .push(change.zip(whole).and_then(|(change, whole)| share(&change, whole, place, calculator)));
        }
        Expected { start: start.map(|formula| formula.unicode()), changes }
    }
}

/// What a reaction takes off the pan and puts on it, in moles per mole of the sample; the pan afterwards.
fn step(balanced: &Balanced, pan: &mut Vec<(Formula, RBig)>) -> Option<Vec<(Formula, RBig)>> {
    let on_pan = |term: &Term, pan: &[(Formula, RBig)]| {
        pan.iter().position(|(formula, _)| formula.same_substance(&term.formula))
    };
    let left = &balanced.reaction.left;
    let (at, term) = left.iter().find_map(|term| Some((on_pan(term, pan)?, term)))?;
    let extent = pan[at].1.clone() / term.coefficient.clone()?;
    let mut change = Vec::new();
    for term in left {
        if let (Some(at), Some(count)) = (on_pan(term, pan), term.coefficient.clone()) {
            let used = count * &extent;
            pan[at].1 -= &used;
            change.push((term.formula.clone(), -used));
        }
    }
    for term in balanced.reaction.right.iter().filter(|term| stays(term)) {
        let made = term.coefficient.clone()? * &extent;
        pan.push((term.formula.clone(), made.clone()));
        change.push((term.formula.clone(), made));
    }
    pan.retain(|(_, amount)| !amount.is_zero());
    Some(change)
}

/// Σ amount · M / M(sample).
fn share(
    change: &[(Formula, RBig)],
    whole: &Formula,
    place: Span,
    calculator: &mut Calculator,
) -> Option<NodeId> {
    let molar_mass = |formula: &Formula, calculator: &mut Calculator| {
        Value::Scalar(calculator.molar_mass_of(&Spanned::new(formula.text(), place)))
    };
    let mut sum: Option<Value> = None;
    for (formula, amount) in change {
        let quantity = Quantity::exact(Number::from_fraction(amount.clone()), Unit::one().dimension());
        let name = format!("ν({})", formula.text());
        let amount = Value::Scalar(calculator.leaf(Ok(quantity), Operation::Stoichiometry(name), place));
        let mass = molar_mass(formula, calculator);
        let term = quiet(calculator, Operation::Multiply, amount, mass);
        sum = Some(match sum {
            Some(sum) => quiet(calculator, Operation::Add, sum, term),
            None => term,
        });
    }
    let whole = molar_mass(whole, calculator);
    quiet(calculator, Operation::Divide, sum?, whole).at(0).ok()
}

/// One operation, in every trial or once for scalars; what has no result is missing, and nothing is said of it.
fn quiet(calculator: &mut Calculator, operation: Operation, a: Value, b: Value) -> Value {
    let mut at = |trial: usize| -> Slot {
        let (a, b) = (a.at(trial)?, b.at(trial)?);
        apply(calculator.graph, operation.clone(), a, b).map_err(|_| "it cannot be computed".into())
    };
    match (&a, &b) {
        (Value::Scalar(_), Value::Scalar(_)) => Value::Scalar(at(0)),
        (Value::Trials(slots), _) | (_, Value::Trials(slots)) => {
            Value::Trials((0..slots.len()).map(at).collect())
        }
    }
}

/// What was found of a stage.
struct Found {
    mass: Value,
    change: Option<Value>,
    share: Option<Value>,
}

impl Found {
    fn of(
        mass: &Value,
        before: Option<&Value>,
        sample: Option<&Value>,
        calculator: &mut Calculator,
    ) -> Found {
        let change =
            before.map(|before| quiet(calculator, Operation::Subtract, mass.clone(), before.clone()));
        let share = change
            .as_ref()
            .zip(sample)
            .map(|(change, sample)| quiet(calculator, Operation::Divide, change.clone(), sample.clone()));
        Found { mass: mass.clone(), change, share }
    }

    fn printed(&self, theory: Option<NodeId>, unit: &Unit, calculator: &mut Calculator) -> Vec<StepTrial> {
        let percent = Unit::percent();
        let difference = self.share.as_ref().zip(theory).map(|(share, theory)| {
            let theory = Value::Scalar(Ok(theory));
            quiet(calculator, Operation::Subtract, share.clone(), theory)
        });
        let printer = calculator.printer();
        let figure = |value: Option<&Value>, trial: usize, unit: &Unit| -> Option<Figure> {
            printer.figure(value?.at(trial).ok()?, unit)
        };
        let trial = |trial: usize| StepTrial {
            mass: figure(Some(&self.mass), trial, unit),
            change: figure(self.change.as_ref(), trial, unit),
            share: figure(self.share.as_ref(), trial, &percent),
            difference: figure(difference.as_ref(), trial, &percent),
        };
        (0..calculator.trials.len()).map(trial).collect()
    }
}
