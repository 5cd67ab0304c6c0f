//! Formulas with their numbers put in, as text: a region of the derivation written out.
//!
//! Where a slip is shown, only the steps that lead to it are written out and everything else stands as its value;
//! where a derivation is asked for, every named value has a line of its own, in numbers or in symbols.

use super::derivation::Derivation;
use super::region::{Change, Edit, From, Region};
use crate::quantity::derivation::Operation;
use crate::quantity::{Number, Unit, print, print_guarded};
use std::cell::Cell;

/// So many steps within one another are written out; what lies deeper stands as its value.
const DEEPEST: usize = 60;
/// So many steps of one formula are written out; the others stand as their values.
const MOST_STEPS: usize = 300;

/// How tightly a text binds.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
pub(super) enum Binding {
    Sum,
    Product,
    Atom,
}

/// A region with what was done differently in it, to be written out.
pub(super) struct WrittenOut<'a, 'r> {
    derivation: &'a Derivation<'r>,
    region: &'a Region<'r>,
    from: From,
    edit: &'a Edit,
    style: Style,
    /// Of every node of the region, whether it or something that it rests on is changed.
    changed: Vec<bool>,
    /// How many steps the one that is written stands within.
    depth: Cell<usize>,
    /// How many steps have been written.
    steps: Cell<usize>,
}

/// How a region is written out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Style {
    /// Numbers, and only what leads to the slip.
    Slip,
    /// Numbers, with everything that has no name.
    Numbers,
    /// The same in symbols.
    Symbols,
}

impl<'a, 'r> WrittenOut<'a, 'r> {
    /// A region with this done differently in it.
    pub(super) fn new(
        derivation: &'a Derivation<'r>,
        region: &'a Region<'r>,
        (from, edit): (From, &'a Edit),
        style: Style,
    ) -> Self {
        let changed = changed(region, edit);
        WrittenOut {
            derivation,
            region,
            from,
            edit,
            style,
            changed,
            depth: Cell::new(0),
            steps: Cell::new(0),
        }
    }

    /// A node as text, its own step written out.
    pub(super) fn written(&self, at: usize, values: &[Number]) -> String {
        self.steps.set(0);
        self.step(at, values, true).0
    }
}

/// Of every node of a region, whether it or something that it rests on is changed.
fn changed(region: &Region, edit: &Edit) -> Vec<bool> {
    let mut changed: Vec<bool> = Vec::with_capacity(region.nodes.len());
    for (at, local) in region.nodes.iter().enumerate() {
        let itself = edit.iter().any(|(place, _)| *place == at);
        let below = local.inputs.iter().any(|input| changed.get(*input) == Some(&true));
        changed.push(itself || below);
    }
    changed
}

impl WrittenOut<'_, '_> {
    fn is_comma(&self) -> bool {
        self.derivation.is_comma()
    }

    fn change(&self, at: usize) -> Option<&Change> {
        self.edit.iter().find(|(place, _)| *place == at).map(|(_, change)| match change {
            Change::Scaled(change, _) => &**change,
            change => change,
        })
    }

    /// Whether no more is written out.
    fn is_enough(&self) -> bool {
        self.depth.get() >= DEEPEST || self.steps.get() >= MOST_STEPS
    }

    /// A node as text, written out where the slip is in it.
    fn step(&self, at: usize, values: &[Number], open: bool) -> (String, Binding) {
        let local = &self.region.nodes[at];
        let own_change = self.change(at);
        let unnamed = self.style != Style::Slip && self.derivation.name(local.node).is_none();
        let open = open || local.by_hand || unnamed;
        let whole = local.inputs.is_empty() || matches!(own_change, Some(Change::Becomes(_)));
        if whole || self.is_enough() || !(open || self.changed[at]) {
            return match own_change {
                Some(Change::Times(factor)) => {
                    (self.times(factor, &self.value(at, local.number)), Binding::Product)
                }
                _ => (self.value(at, &values[at]), Binding::Atom),
            };
        }
        self.steps.set(self.steps.get() + 1);
        self.depth.set(self.depth.get() + 1);
        let (text, binding) = self.operation(at, values, own_change);
        self.depth.set(self.depth.get() - 1);
        match own_change {
            Some(Change::Times(factor)) => {
                (self.times(factor, &bracketed(text, binding, Binding::Atom)), Binding::Product)
            }
            _ => (text, binding),
        }
    }

    fn times(&self, factor: &Number, text: &str) -> String {
        let power = factor.leading_power().unwrap_or(0);
        match factor.is_negative() {
            true => format!("−{text}"),
            false if power < 0 => format!("{text} / {}", 10i64.pow(power.unsigned_abs())),
            false => format!("{text} × {}", 10i64.pow(power.unsigned_abs())),
        }
    }

    fn operation(&self, at: usize, values: &[Number], change: Option<&Change>) -> (String, Binding) {
        let local = &self.region.nodes[at];
        let mut inputs: Vec<(String, Binding)> =
            local.inputs.iter().map(|input| self.step(*input, values, false)).collect();
        if let Some(Change::Input(input, number)) = change {
            inputs[*input] = (self.value(local.inputs[*input], number), Binding::Atom);
        }
        if let Some(Change::InputBy(position, node, edit)) = change
            && let Some(values) = self.region.exact(self.derivation, self.from, edit)
        {
            inputs[*position] = (self.value(*node, &values[*node]), Binding::Atom);
        }
        if change == Some(&Change::Reversed) {
            inputs.reverse();
        }
        let operation = match change {
            Some(Change::By(operation)) => operation,
            _ => local.operation,
        };
        let joined = |sign: &str, binding: Binding, right: Binding| {
            let left = bracketed(inputs[0].0.clone(), inputs[0].1, binding);
            let right = bracketed(inputs[1].0.clone(), inputs[1].1, right);
            (format!("{left} {sign} {right}"), binding)
        };
        match operation {
            Operation::Combination(coefficients) => {
                (self.combination(coefficients, &inputs, change), Binding::Sum)
            }
            Operation::Subtract if matches!(change, Some(Change::Without(_))) => inputs[0].clone(),
            Operation::Add | Operation::Multiply | Operation::Divide
                if let Some(other) = beside_neutral(operation, &inputs) =>
            {
                other
            }
            Operation::Add => joined("+", Binding::Sum, Binding::Sum),
            Operation::Subtract => joined("−", Binding::Sum, Binding::Product),
            Operation::Multiply => joined("×", Binding::Product, Binding::Product),
            Operation::Divide => joined("/", Binding::Product, Binding::Atom),
            Operation::Negate => {
                (format!("−{}", bracketed(inputs[0].0.clone(), inputs[0].1, Binding::Atom)), Binding::Sum)
            }
            other => {
                let list: Vec<&str> = inputs.iter().map(|(text, _)| text.as_str()).collect();
                (format!("{}({})", word(other), list.join("; ")), Binding::Atom)
            }
        }
    }

    fn combination(
        &self,
        coefficients: &[Number],
        inputs: &[(String, Binding)],
        change: Option<&Change>,
    ) -> String {
        let mut terms: Vec<(bool, String)> = Vec::new();
        for (index, (coefficient, (text, binding))) in coefficients.iter().zip(inputs).enumerate() {
            if change == Some(&Change::Without(index)) {
                continue;
            }
            let negative = coefficient.is_negative() != (change == Some(&Change::Added(index)));
            let size = coefficient.abs();
            let text = bracketed(text.clone(), *binding, Binding::Product);
            let text = if size == Number::one() { text } else { format!("{} × {text}", size.to_figures(6)) };
            terms.push((negative, text));
        }
        // What is added comes first, as one writes it.
        terms.sort_by_key(|(negative, _)| *negative);
        let mut sum = String::new();
        for (negative, text) in terms {
            match (sum.is_empty(), negative) {
                (true, false) => sum = text,
                (true, true) => sum = format!("−{text}"),
                (false, false) => sum.push_str(&format!(" + {text}")),
                (false, true) => sum.push_str(&format!(" − {text}")),
            }
        }
        sum
    }

    /// What a node is called: its symbol with the trial where the claim is of several, or the mass that was read.
    pub(super) fn symbol(&self, at: usize) -> String {
        let node = self.region.nodes[at].node;
        let results = self.derivation.results;
        let across = results.claims[self.region.claim].trial.is_none();
        let of_trial = |text: String, trial: Option<usize>| match trial.and_then(|at| results.trials.get(at))
        {
            Some(trial) if across => format!("{text}[{}]", trial.name),
            _ => text,
        };
        if let Some(name) = self.derivation.name(node) {
            return of_trial(name.symbol.clone(), name.trial);
        }
        if let Some(written) = self.derivation.written.get(&node) {
            let load = written.load.and_then(|load| results.series.get(load));
            return of_trial(
                format!("m({})", load.map_or(&written.label, |series| &series.load)),
                written.trial,
            );
        }
        match &results.graph.node(node).operation {
            Operation::MolarMass(text) => format!("M({text})"),
            Operation::Stoichiometry(text) => text.clone(),
            _ => self.number(at, &results.graph.quantity(node).number),
        }
    }

    /// A value in the style asked for.
    pub(super) fn value(&self, at: usize, number: &Number) -> String {
        match self.style {
            Style::Symbols => self.symbol(at),
            _ => self.number(at, number),
        }
    }

    /// A value with its unit, with a guard digit where it has more digits than it is shown with.
    fn number(&self, at: usize, number: &Number) -> String {
        let local = &self.region.nodes[at];
        let quantity = self.derivation.results.graph.quantity(local.node);
        if let Some(written) = self.derivation.written.get(&local.node)
            && let Ok(value) = number.div(written.unit.factor())
        {
            let digits = crate::quantity::Digits::Measured(written.decimal.place());
            let printed = print(&value, digits, self.region.comparison.rounding);
            return format!("{}{}", printed.typographic(self.is_comma()), with_unit(&written.unit));
        }
        let name = self.derivation.name(local.node).map(|name| name.unit.clone());
        let unit = name.unwrap_or_else(|| Unit::from_base(quantity.dimension));
        let Ok(value) = number.div(unit.factor()) else { return "–".to_string() };
        let (printed, _) = print_guarded(&value, quantity.digits_in(&unit), self.region.comparison.rounding);
        format!("{}{}", printed.typographic(self.is_comma()), with_unit(&unit))
    }
}

/// The other input, where one adds nothing or multiplies by one (coefficients of mixtures).
fn beside_neutral(operation: &Operation, inputs: &[(String, Binding)]) -> Option<(String, Binding)> {
    let neutral = if *operation == Operation::Add { "0" } else { "1" };
    match inputs {
        [left, (right, _)] if right == neutral => Some(left.clone()),
        [(left, _), right] if left == neutral && *operation != Operation::Divide => Some(right.clone()),
        _ => None,
    }
}

pub(super) fn with_unit(unit: &Unit) -> String {
    if unit.is_one() { String::new() } else { format!(" {}", unit.typographic()) }
}

fn bracketed(text: String, own: Binding, needed: Binding) -> String {
    if own < needed { format!("({text})") } else { text }
}

fn word(operation: &Operation) -> &'static str {
    match operation {
        Operation::Mean => "mean",
        Operation::StandardDeviation => "s",
        Operation::Range => "range",
        Operation::AverageDeviation => "average deviation",
        Operation::Magnitude => "abs",
        Operation::Minimum => "min",
        Operation::Maximum => "max",
        Operation::SquareRoot => "sqrt",
        Operation::NaturalLogarithm => "ln",
        Operation::DecimalLogarithm => "log10",
        Operation::Exponential => "exp",
        _ => "power",
    }
}
