//! Values fixed by chemistry, as leaves: molar masses, gravimetric factors, stoichiometric ratios.
//!
//! All follow the atomic-weight table in force: the default one, with the atomic weights and molar masses that
//! the notebook states.

use super::Slot;
use super::reactions::{Reactions, split_name};
use super::uncertainty::{Input, Inputs, Source};
use crate::chemistry::{
    AtomicWeights, ElementShare, Factor, FactorProblem, Formula, FormulaError, MolarMass, count_in, factor,
    factor_by_ratio, shared_ratio,
};
use crate::finding::{Code, Finding};
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Number, Quantity, Unit};
use crate::span::{Span, Spanned};
use crate::statistics::Distribution;
use dashu_ratio::RBig;
use hashbrown::HashMap;
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

/// The table and the reactions in force.
pub(super) struct Tabulated {
    weights: AtomicWeights,
    pub(super) reactions: Reactions,
    /// Molar masses used before, by the text as written.
    known: HashMap<String, Slot>,
    /// Why a factor or a mass fraction is what it is, by its symbol as written.
    reasons: BTreeMap<String, Reasoned>,
}

/// A ratio of two molar masses with the reason of its number of moles.
#[derive(Clone, Debug)]
pub(super) struct Reasoned {
    pub(super) factor: Factor,
    pub(super) reason: String,
}

impl Tabulated {
    pub(super) fn of(settings: &Settings, reactions: Reactions, findings: &mut Vec<Finding>) -> Self {
        let weights = with_molar_masses(with_changes(settings, findings), settings, findings);
        Tabulated { weights, reactions, known: HashMap::new(), reasons: BTreeMap::new() }
    }

    pub(super) fn name(&self) -> String {
        self.weights.name()
    }

    /// `M(text)`; the same text is the same leaf.
    pub(super) fn molar_mass(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        inputs: &mut Inputs,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        if let Some(slot) = self.known.get(&text.value) {
            return slot.clone();
        }
        let slot = match self.quantity(&text.value) {
            Ok((mass, ambiguity)) => {
                if let Some(reading) = ambiguity {
                    findings.push(Finding::note(Code::FormulaReading, text.span, reading));
                }
                let node = leaf(graph, Operation::MolarMass(text.value.clone()), mass.quantity(), text.span);
                uncertain(inputs, node, &mass);
                Ok(node)
            }
            Err(error) => {
                findings.push(formula_finding(error, text));
                Err(format!("the molar mass of {} is not known", text.value).into())
            }
        };
        self.known.insert(text.value.clone(), slot.clone());
        slot
    }

    fn quantity(&self, text: &str) -> Result<(MolarMass, Option<String>), FormulaError> {
        let formula = Formula::parse(text)?;
        Ok((formula.molar_mass(&self.weights)?, formula.ambiguity()))
    }

    /// `factor(analyte, weighed form)`, with the names of reactions before it where it follows those.
    pub(super) fn factor(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        inputs: &mut Inputs,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        let found = self.factor_of(text, findings);
        self.reasoned(found, format!("factor({})", text.value), text, graph, inputs, findings)
    }

    /// `w(Cu in CuSO4·5H2O)`: what share of its mass an element or a group has in a formula.
    pub(super) fn mass_fraction(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        inputs: &mut Inputs,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        let found = self.mass_fraction_of(text);
        self.reasoned(found, format!("w({})", text.value), text, graph, inputs, findings)
    }

    /// Why a factor or mass fraction is what it is.
    pub(super) fn reason(&self, symbol: &str) -> Option<&Reasoned> {
        self.reasons.get(symbol)
    }

    fn reasoned(
        &mut self,
        found: Result<Reasoned, Box<Finding>>,
        name: String,
        text: &Spanned<String>,
        graph: &mut Graph,
        inputs: &mut Inputs,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        let quantity = found.as_ref().map(|found| found.factor.quantity()).map_err(Clone::clone);
        let slot = stoichiometry(quantity, name.clone(), text, graph, findings);
        if let (Ok(node), Ok(found)) = (&slot, found) {
            uncertain_factor(inputs, *node, &found.factor);
            self.reasons.insert(name, found);
        }
        slot
    }

    fn factor_of(
        &self,
        text: &Spanned<String>,
        findings: &mut Vec<Finding>,
    ) -> Result<Reasoned, Box<Finding>> {
        let (names, _, offset) = split_name(&text.value);
        let is_parting = |(at, c): &(usize, char)| *at >= offset && matches!(c, ',' | ';');
        let Some((parting, _)) = text.value.char_indices().find(is_parting) else {
            let message = "`factor` takes the analyte and the weighed form";
            let finding = Finding::error(Code::SyntaxError, text.span, message);
            return Err(Box::new(finding.hint("write it as `factor(Fe, Fe2O3)`")));
        };
        let analyte = parse_part(text, offset..parting)?;
        let weighed = parse_part(text, parting + 1..text.value.len())?;
        match names {
            Some(names) => self.by_reactions(&names, &analyte, &weighed, text, findings),
            None => self.by_elements(&analyte, &weighed, text, findings),
        }
    }

    /// Along named reactions; a note says where the shared elements would give another factor.
    fn by_reactions(
        &self,
        names: &str,
        analyte: &Formula,
        weighed: &Formula,
        text: &Spanned<String>,
        findings: &mut Vec<Finding>,
    ) -> Result<Reasoned, Box<Finding>> {
        let route = self.reactions.route(names, analyte, weighed, text)?;
        let reason = route.steps.join("; ");
        let factor = factor_by_ratio(analyte, weighed, route.ratio.clone(), &self.weights)
            .map_err(|problem| no_factor(problem, text))?;
        if let Some((other, elements)) =
            shared_ratio(analyte, weighed).filter(|(other, _)| *other != route.ratio)
        {
            let taken = format!("by {names}");
            let other = (format!("by the shared {}", elements.join(" and ")), other);
            findings.push(two_routes(&factor, &taken, other, text));
        }
        Ok(Reasoned { factor, reason })
    }

    /// By the shared elements, else by the one reaction with both substances; a note says where such a reaction
    /// would give another factor.
    fn by_elements(
        &self,
        analyte: &Formula,
        weighed: &Formula,
        text: &Spanned<String>,
        findings: &mut Vec<Finding>,
    ) -> Result<Reasoned, Box<Finding>> {
        let route = self.reactions.route_unnamed(analyte, weighed);
        match (factor(analyte, weighed, &self.weights), route) {
            (Ok(factor), route) => {
                if let Some(route) = route.filter(|route| route.ratio != factor.ratio) {
                    let taken = format!("by the shared {}", factor.elements.join(" and "));
                    let other = (format!("by the reaction ({})", route.steps.join("; ")), route.ratio);
                    findings.push(two_routes(&factor, &taken, other, text));
                }
                let reason = shared_reason(&factor);
                Ok(Reasoned { factor, reason })
            }
            (Err(_), Some(route)) => {
                let factor = factor_by_ratio(analyte, weighed, route.ratio, &self.weights)
                    .map_err(|problem| no_factor(problem, text))?;
                Ok(Reasoned { factor, reason: route.steps.join("; ") })
            }
            (Err(problem), None) => Err(no_factor(problem, text)),
        }
    }

    fn mass_fraction_of(&self, text: &Spanned<String>) -> Result<Reasoned, Box<Finding>> {
        let end = text.value.len();
        let (part, whole) = text.value.find(" in ").map_or((0..end, end..end), |at| (0..at, at + 4..end));
        let (part, whole) = (parse_part(text, part)?, parse_part(text, whole)?);
        let Some(count) = count_in(&part, &whole) else {
            let message = format!("{} does not hold {}", whole.unicode(), part.unicode());
            let finding = Finding::error(Code::NoFactor, text.span, message);
            let hint =
                format!("to express one as the other, write `factor({}, {})`", part.text(), whole.text());
            return Err(Box::new(finding.hint(hint)));
        };
        let reason = format!("{} {} in each {}", count, part.unicode(), whole.unicode());
        let factor = factor_by_ratio(&part, &whole, count, &self.weights)
            .map_err(|problem| no_factor(problem, text))?;
        Ok(Reasoned { factor, reason })
    }

    /// `ν(product/reactant)`, from the reactions.
    pub(super) fn coefficient(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        let quantity = self
            .reactions
            .ratio(text)
            .map(|ratio| Quantity::exact(Number::from_fraction(ratio), Unit::one().dimension()));
        stoichiometry(quantity, format!("ν({})", text.value), text, graph, findings)
    }
}

fn no_factor(problem: FactorProblem, text: &Spanned<String>) -> Box<Finding> {
    let finding = Finding::error(Code::NoFactor, text.span, problem.message());
    Box::new(problem.hint().into_iter().fold(finding, Finding::hint))
}

/// `both hold Mg: 2 MgCO3 for Mg2P2O7`
fn shared_reason(factor: &Factor) -> String {
    let number = |count: &RBig, formula: &Formula| {
        if *count == RBig::ONE { formula.unicode() } else { format!("{count} {}", formula.unicode()) }
    };
    format!(
        "both hold {}: {} for {}",
        factor.elements.join(" and "),
        number(&factor.ratio, &factor.analyte),
        factor.weighed.unicode()
    )
}

/// Which of two routes was taken, and what the other would give.
fn two_routes(factor: &Factor, taken: &str, other: (String, RBig), text: &Spanned<String>) -> Finding {
    let (route, ratio) = other;
    let (analyte, weighed) = (factor.analyte.unicode(), factor.weighed.unicode());
    let message = format!(
        "factor({}) is taken {taken}: {} {analyte} for each {weighed}; {route} it would be {ratio}",
        text.value, factor.ratio
    );
    let finding = Finding::note(Code::FactorRoute, text.span, message);
    finding.hint(
        "a reaction is taken where it is named: `factor(stage 1: …)`; without a name, shared elements are",
    )
}

/// A molar mass is made of atomic weights, kg/mol of g/mol; one that is stated stands for itself.
fn uncertain(inputs: &mut Inputs, node: NodeId, mass: &MolarMass) {
    if mass.parts.is_empty() {
        let estimate = mass.grams_per_mole.to_f64() / 1000.0;
        return stated(inputs, node, estimate, mass.uncertainty / 1000.0, "g/mol");
    }
    let part = |part: &ElementShare| (atomic_weight(part), part.count.to_f64().value());
    inputs.leaf(node, mass.parts.iter().map(part));
}

/// The atomic weight of an element, as a molar mass in kg/mol: between its limits every value is equally likely.
/// The mass of an isotope is a measured one with its standard uncertainty.
fn atomic_weight(part: &ElementShare) -> Source {
    let standard_deviation = part.weight.standard_uncertainty / 1000.0;
    let isotope = part.symbol.starts_with('^') || matches!(part.symbol.as_ref(), "D" | "T");
    let distribution = match isotope {
        true => Distribution::Normal { standard_deviation },
        false => Distribution::Rectangular { half_width: standard_deviation * 3f64.sqrt() },
    };
    let estimate = part.weight.value.to_number().to_f64() / 1000.0;
    Source::of(Input::AtomicWeight(part.symbol.to_string()), estimate, unit("g/mol"), distribution)
}

/// A molar mass or a factor that is stated without atomic weights: rounded at its last place.
fn stated(inputs: &mut Inputs, node: NodeId, estimate: f64, standard_uncertainty: f64, shown: &str) {
    let distribution = Distribution::Rectangular { half_width: standard_uncertainty * 3f64.sqrt() };
    inputs.leaf(node, [(Source::of(Input::Leaf(node), estimate, unit(shown), distribution), 1.0)]);
}

fn unit(symbol: &str) -> Arc<Unit> {
    Arc::new(Unit::parse(symbol).unwrap_or_else(|_| Unit::one()))
}

/// A factor f = ratio · M / M′ changes with an atomic weight by (ratio · n − f · n′) / M′.
fn uncertain_factor(inputs: &mut Inputs, node: NodeId, factor: &Factor) {
    let (upper, lower) = (&factor.analyte_molar_mass, &factor.weighed_molar_mass);
    if upper.parts.is_empty() || lower.parts.is_empty() {
        return stated(inputs, node, factor.value().to_f64(), factor.uncertainty(), "1");
    }
    let (value, total) = (factor.value().to_f64(), lower.grams_per_mole.to_f64());
    let ratio = factor.ratio.to_f64().value();
    let mut parts: BTreeMap<&str, (f64, &ElementShare)> = BTreeMap::new();
    for (share, scale) in
        upper.parts.iter().map(|share| (share, ratio)).chain(lower.parts.iter().map(|share| (share, -value)))
    {
        let entry = parts.entry(&share.symbol).or_insert((0.0, share));
        // Per kg/mol: the totals are in g/mol.
        entry.0 += scale * share.count.to_f64().value() / total * 1000.0;
    }
    inputs.leaf(node, parts.into_values().map(|(sensitivity, share)| (atomic_weight(share), sensitivity)));
}

fn stoichiometry(
    quantity: Result<Quantity, Box<Finding>>,
    name: String,
    text: &Spanned<String>,
    graph: &mut Graph,
    findings: &mut Vec<Finding>,
) -> Slot {
    match quantity {
        Ok(quantity) => Ok(leaf(graph, Operation::Stoichiometry(name), quantity, text.span)),
        Err(finding) => {
            findings.push(*finding);
            Err(format!("{name} is not known").into())
        }
    }
}

fn leaf(graph: &mut Graph, operation: Operation, quantity: Quantity, span: Span) -> NodeId {
    graph.add(Node { operation, inputs: NodeInputs::new(), quantity, span: Some(span) })
}

/// The table a notebook names, or the default one.
fn named(settings: &Settings, findings: &mut Vec<Finding>) -> AtomicWeights {
    let Some(name) = &settings.atomic_weight_table else { return AtomicWeights::abridged() };
    AtomicWeights::by_name(&name.value).unwrap_or_else(|| {
        let message =
            format!("no table of atomic weights is named `{}`; the default one is used", name.value);
        let names: Vec<&str> = AtomicWeights::names().collect();
        let finding = Finding::error(Code::BadSetting, name.span, message);
        findings.push(finding.hint(format!("there are: {}", names.join("; "))));
        AtomicWeights::abridged()
    })
}

/// That table with the atomic weights a notebook states.
fn with_changes(settings: &Settings, findings: &mut Vec<Finding>) -> AtomicWeights {
    let mut weights = named(settings, findings);
    for (element, value) in &settings.atomic_weights {
        match weights.clone().with_change(&element.value, value) {
            Ok(changed) => weights = changed,
            Err(error) => {
                let finding = Finding::error(Code::BadSetting, element.span, error.message);
                findings.push(finding.hint("name an element by its symbol, as in `O = \"16.00\"`"));
            }
        }
    }
    weights
}

/// The same with the molar masses it states.
fn with_molar_masses(
    mut weights: AtomicWeights,
    settings: &Settings,
    findings: &mut Vec<Finding>,
) -> AtomicWeights {
    for (text, value) in &settings.molar_masses {
        let formula = match Formula::parse(&text.value) {
            Ok(formula) => formula,
            Err(error) => {
                findings.push(Finding::error(Code::UnknownFormula, text.span, error.message));
                continue;
            }
        };
        match weights.clone().with_molar_mass(&formula, value) {
            Ok(changed) => weights = changed,
            Err(error) => findings.push(Finding::error(Code::BadSetting, text.span, error.message)),
        }
    }
    weights
}

/// The formula that a text is, blanks around it apart, with errors at its own characters.
pub(super) fn parse_whole(text: &Spanned<String>) -> Result<Formula, Box<Finding>> {
    parse_part(text, 0..text.value.len())
}

/// The formula that a part of a text is (bytes of it), blanks around it apart, with errors at its own characters.
pub(super) fn parse_part(text: &Spanned<String>, part: Range<usize>) -> Result<Formula, Box<Finding>> {
    let written = text.value.get(part.clone()).unwrap_or("");
    let trimmed = written.trim();
    let start = part.start + (written.len() - written.trim_start().len());
    Formula::parse(trimmed).map_err(|error| Box::new(formula_finding(error.shifted(start), text)))
}

/// A formula's error at its character in the notebook, where the text stands there as it is; else at its place.
pub(super) fn formula_finding(error: FormulaError, text: &Spanned<String>) -> Finding {
    let is_as_written = text.span.end - text.span.start == text.value.len();
    let span = Span::from(error.range).shifted(text.span.start);
    let span = if is_as_written && text.span.contains(span) { span } else { text.span };
    let finding = Finding::error(Code::UnknownFormula, span, error.message);
    error.hint.into_iter().fold(finding, Finding::hint)
}
