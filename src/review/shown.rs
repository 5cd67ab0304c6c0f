//! Explanations in words, with the recomputation that gives the claimed value.
//!
//! Only the steps that lead to the slip are written out; everything else stands as its value.

use super::derivation::Derivation;
use super::region::{Change, Region};
use super::slips::{Explanation, Family, Told, Weighed};
use crate::notebook::settings::DecimalMark;
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Number, Printed, Unit, print, print_guarded};
use crate::span::Span;

/// An explanation of a region's claim.
pub(super) fn explanation(derivation: &Derivation, region: &Region, weighed: &Weighed) -> Explanation {
    let family = weighed.fit.candidate.family;
    let shown = Shown { derivation, region, weighed };
    Explanation {
        kind: family.kind(),
        what: shown.what(),
        recomputation: shown.recomputation(),
        exact: weighed.fit.off == 0,
        supports: weighed.supports.clone(),
        place: shown.place(),
    }
}

struct Shown<'a, 'r> {
    derivation: &'a Derivation<'r>,
    region: &'a Region<'r>,
    weighed: &'a Weighed,
}

/// How tightly a text binds.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
enum Binding {
    Sum,
    Product,
    Atom,
}

impl Shown<'_, '_> {
    fn what(&self) -> String {
        let candidate = &self.weighed.fit.candidate;
        match (&candidate.told, candidate.family) {
            (Told::Reading(node, text), family) => self.reading(*node, text, family),
            (Told::Instead(node, other), _) => {
                format!("{} taken for {}", self.named_reading(*other), self.named_reading(*node))
            }
            (Told::Formula(node, text), Family::FactorRatio) => format!("{text}, {}", self.tabulated(*node)),
            (Told::Formula(node, text), _) if text.contains(" for ") => {
                format!("{} in {}", text.replace(" for ", " taken for "), self.tabulated(*node))
            }
            (Told::Formula(node, text), _) => format!("{text} taken for {}", self.tabulated(*node)),
            (Told::Divisor(node, other), _) => {
                let own = self.derivation.first(self.derivation.results.graph.node(*node).inputs[1]);
                format!("a division by {} instead of {}", self.named(*other), self.named(own))
            }
            (Told::Rounded(weights, decimals, which), _) => self.rounded(*weights, *decimals, *which),
            (Told::Power(node, power), _) => self.power(*node, *power),
            (Told::Copied, _) => "two digits swapped when the result was written down".to_string(),
            (Told::At(node, input), family) => self.at(*node, *input, family),
        }
    }

    fn reading(&self, node: NodeId, text: &str, family: Family) -> String {
        let deed = match family {
            Family::Misread => "one digit misread",
            _ => "two digits swapped",
        };
        format!("{deed}: {} taken as {}", self.named_reading(node), self.comma(text))
    }

    fn at(&self, node: NodeId, input: usize, family: Family) -> String {
        let graph = &self.derivation.results.graph;
        let inputs = &graph.node(node).inputs;
        let of_input =
            || inputs.get(input).map_or(String::new(), |node| self.named(self.derivation.first(*node)));
        let of = self.named(node);
        match family {
            Family::Vessel => format!("{} not subtracted in {of}", of_input()),
            Family::NotSubtracted => format!("{} not subtracted in {of}", of_input()),
            Family::UpsideDown => format!("a ratio upside down in {of}"),
            Family::Multiplied => format!("a product where {of} is a ratio"),
            Family::Added => format!("{} added instead of subtracted in {of}", of_input()),
            _ => format!("the difference taken the other way round in {of}"),
        }
    }

    fn rounded(&self, weights: bool, decimals: i32, which: Option<NodeId>) -> String {
        let what = if weights { "atomic weights" } else { "molar masses" };
        let to = match decimals {
            0 => "whole numbers".to_string(),
            1 => "one decimal".to_string(),
            more => format!("{more} decimals"),
        };
        match which {
            Some(node) => format!("{what} rounded to {to} in {}", self.tabulated(node)),
            None => format!("{what} rounded to {to} before use"),
        }
    }

    fn power(&self, node: NodeId, power: i32) -> String {
        let factor = 10i64.pow(power.unsigned_abs());
        let deed = if power < 0 { "lost" } else { "too many" };
        format!("a factor {factor} {deed} in {}", self.named(node))
    }

    /// A molar mass or factor as written.
    fn tabulated(&self, node: NodeId) -> String {
        match &self.derivation.results.graph.node(node).operation {
            Operation::MolarMass(text) => format!("M({text})"),
            Operation::Stoichiometry(text) => text.clone(),
            _ => self.named(node),
        }
    }

    /// A reading with its load, trial and number.
    fn named_reading(&self, node: NodeId) -> String {
        let Some(written) = self.derivation.written.get(&node) else { return self.named(node) };
        let number = self.comma(&written.decimal.to_string());
        format!("{}{} ({number} {})", written.label, self.trial(written.trial), written.unit.symbol())
    }

    fn trial(&self, trial: Option<usize>) -> String {
        let name = trial.and_then(|trial| self.derivation.results.trials.get(trial));
        name.map_or(String::new(), |trial| format!(" [{}]", trial.name))
    }

    /// What a node is called: its symbol, its reading, or else its own formula's place in the claim.
    fn named(&self, node: NodeId) -> String {
        if let Some(name) = self.derivation.name(node) {
            return name.symbol.clone();
        }
        if let Some(written) = self.derivation.written.get(&node) {
            return written.label.clone();
        }
        match &self.derivation.results.graph.node(node).operation {
            Operation::MolarMass(text) => format!("M({text})"),
            Operation::Stoichiometry(text) => text.clone(),
            Operation::Mean => "the mean".to_string(),
            Operation::Magnitude => {
                self.named(self.derivation.first(self.derivation.results.graph.node(node).inputs[0]))
            }
            _ => self.owner(node),
        }
    }

    /// The named value a nameless node is part of, or the claim.
    fn owner(&self, node: NodeId) -> String {
        let at = self.region.nodes.iter().position(|local| local.node == node && !local.by_hand);
        let users = |at: usize| self.region.nodes.iter().position(|local| local.inputs.contains(&at));
        let mut place = at;
        while let Some(user) = place.and_then(users) {
            if let Some(name) = self.derivation.name(self.region.nodes[user].node) {
                return name.symbol.clone();
            }
            place = Some(user);
        }
        self.derivation.results.claims[self.region.claim].of.clone()
    }

    /// Where the slip may have been made.
    fn place(&self) -> Option<Span> {
        let graph = &self.derivation.results.graph;
        match &self.weighed.fit.candidate.told {
            Told::Reading(node, _) | Told::Instead(_, node) => self.derivation.written.get(node)?.span,
            Told::At(node, _) | Told::Formula(node, _) | Told::Divisor(node, _) | Told::Power(node, _) => {
                graph.node(*node).span
            }
            Told::Rounded(_, _, node) => graph.node((*node)?).span,
            Told::Copied => None,
        }
    }

    fn comma(&self, text: &str) -> String {
        match self.derivation.results.settings.decimal {
            DecimalMark::Comma => text.replace('.', ","),
            DecimalMark::Point => text.to_string(),
        }
    }

    fn is_comma(&self) -> bool {
        self.derivation.results.settings.decimal == DecimalMark::Comma
    }

    /// The steps that give the claimed value.
    fn recomputation(&self) -> String {
        let comparison = &self.region.comparison;
        let unit = with_unit(comparison.unit);
        let fit = &self.weighed.fit;
        let number = |printed: &Printed| format!("{}{unit}", printed.typographic(self.is_comma()));
        if let Some(meant) = &fit.candidate.meant {
            let (meant, claimed) = (Printed::of_decimal(meant), Printed::of_decimal(comparison.claimed));
            return format!("{} with two digits swapped is {}", number(&meant), number(&claimed));
        }
        let Some(values) = self.region.exact(self.derivation, fit.from, &fit.candidate.edit) else {
            return String::new();
        };
        let Some(last) = self.region.nodes.len().checked_sub(1) else { return String::new() };
        let (text, _) = self.step(last, &values, true);
        let result =
            comparison.in_unit(&values[last]).map(|value| Printed::of_decimal(&comparison.rounded(&value)));
        format!("{text} = {}", result.as_ref().map_or("–".to_string(), number))
    }

    fn change(&self, at: usize) -> Option<&Change> {
        let edit = &self.weighed.fit.candidate.edit;
        edit.iter().find(|(place, _)| *place == at).map(|(_, change)| match change {
            Change::Scaled(change, _) => &**change,
            change => change,
        })
    }

    fn is_changed_below(&self, at: usize) -> bool {
        self.change(at).is_some()
            || self.region.nodes[at].inputs.iter().any(|input| self.is_changed_below(*input))
    }

    /// A node as text, written out where the slip is in it.
    fn step(&self, at: usize, values: &[Number], open: bool) -> (String, Binding) {
        let local = &self.region.nodes[at];
        let own_change = self.change(at);
        let open = open || local.by_hand;
        let whole = local.inputs.is_empty() || matches!(own_change, Some(Change::Becomes(_)));
        if whole || !(open || self.is_changed_below(at)) {
            return match own_change {
                Some(Change::Times(factor)) => {
                    (self.times(factor, &self.value(at, local.number)), Binding::Product)
                }
                _ => (self.value(at, &values[at]), Binding::Atom),
            };
        }
        let (text, binding) = self.operation(at, values, own_change);
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
            && let Some(values) = self.region.exact(self.derivation, self.weighed.fit.from, edit)
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

    /// A value with its unit, with a guard digit where it has more digits than it is shown with.
    fn value(&self, at: usize, number: &Number) -> String {
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

fn with_unit(unit: &Unit) -> String {
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
