//! Explanations in words: what was done differently, after “consistent with”, and the recomputation.

use super::derivation::Derivation;
use super::region::Region;
use super::slips::{Explanation, Family, Told, Weighed};
use super::written_out::{Style, WrittenOut, with_unit};
use crate::quantity::Printed;
use crate::quantity::derivation::{NodeId, Operation};
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
            (Told::Value(user, own, other), _) => self.taken_for(*user, *own, *other),
            (Told::LeftOut(node), _) => format!("{} left out", self.tabulated(*node)),
            (Told::NoMolarMasses(node), _) => {
                format!("masses compared instead of amounts in {}, without molar masses", self.named(*node))
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
        format!("{deed}: {} taken as {}", self.named_reading(node), comma(text, self.is_comma()))
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

    fn taken_for(&self, user: NodeId, own: NodeId, other: NodeId) -> String {
        let other = self.named(other);
        if user == own {
            return format!("{other} taken for {}", self.named(own));
        }
        match self.derivation.name(own) {
            Some(name) => format!("{other} taken for {} in {}", name.symbol, self.named(user)),
            None => format!("{other} put in where a difference belongs in {}", self.named(user)),
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
        let number = comma(&written.decimal.to_string(), self.is_comma());
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
            Told::Value(node, _, _) | Told::LeftOut(node) | Told::NoMolarMasses(node) => {
                graph.node(*node).span
            }
            Told::Rounded(_, _, node) => graph.node((*node)?).span,
            Told::Copied => None,
        }
    }

    fn is_comma(&self) -> bool {
        self.derivation.is_comma()
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
        if let Told::Value(user, own, other) = &fit.candidate.told
            && user == own
            && self.region.nodes.last().is_some_and(|last| last.node == *own)
        {
            return format!("{} = {}", self.named(*other), number(&Printed::of_decimal(comparison.claimed)));
        }
        let Some(values) = self.region.exact(self.derivation, fit.from, &fit.candidate.edit) else {
            return String::new();
        };
        let Some(last) = self.region.nodes.len().checked_sub(1) else { return String::new() };
        let done = (fit.from, &fit.candidate.edit);
        let text = WrittenOut::new(self.derivation, self.region, done, Style::Slip).written(last, &values);
        let result =
            comparison.in_unit(&values[last]).map(|value| Printed::of_decimal(&comparison.rounded(&value)));
        format!("{text} = {}", result.as_ref().map_or("–".to_string(), number))
    }
}

fn comma(text: &str, comma: bool) -> String {
    if comma { text.replace('.', ",") } else { text.to_string() }
}
