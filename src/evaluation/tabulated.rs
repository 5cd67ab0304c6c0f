//! Values fixed by chemistry, as leaves: molar masses, gravimetric factors, stoichiometric ratios.
//!
//! All follow the atomic-weight table in force: the default one, with the atomic weights and molar masses that
//! the notebook states.

use super::Slot;
use super::reactions::Reactions;
use super::uncertainty::{Input, Inputs};
use crate::chemistry::{AtomicWeights, ElementShare, Factor, Formula, FormulaError, MolarMass, factor};
use crate::finding::{Code, Finding};
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, Node, NodeId, Operation};
use crate::quantity::{Number, Quantity, Unit};
use crate::span::{Span, Spanned};
use std::collections::{BTreeMap, HashMap};

/// The table and the reactions in force.
pub(super) struct Tabulated {
    weights: AtomicWeights,
    pub(super) reactions: Reactions,
    /// Molar masses used before, by the text as written.
    known: HashMap<String, Slot>,
}

impl Tabulated {
    pub(super) fn of(settings: &Settings, reactions: Reactions, findings: &mut Vec<Finding>) -> Self {
        let weights = with_molar_masses(with_changes(settings, findings), settings, findings);
        Tabulated { weights, reactions, known: HashMap::new() }
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

    /// `factor(analyte, weighed form)`.
    pub(super) fn factor(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        inputs: &mut Inputs,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        let factor = self.factor_of(text);
        let quantity = factor.as_ref().map(Factor::quantity).map_err(Clone::clone);
        let slot = stoichiometry(quantity, format!("factor({})", text.value), text, graph, findings);
        if let (Ok(node), Ok(factor)) = (&slot, &factor) {
            uncertain_factor(inputs, *node, factor);
        }
        slot
    }

    fn factor_of(&self, text: &Spanned<String>) -> Result<Factor, Box<Finding>> {
        let Some((analyte, weighed)) = text.value.split_once([',', ';']) else {
            let message = "`factor` takes the analyte and the weighed form";
            let finding = Finding::error(Code::SyntaxError, text.span, message);
            return Err(Box::new(finding.hint("write it as `factor(Fe, Fe2O3)`")));
        };
        let (analyte, weighed) = (parse_part(text, analyte)?, parse_part(text, weighed)?);
        factor(&analyte, &weighed, &self.weights).map_err(|problem| {
            let finding = Finding::error(Code::NoFactor, text.span, problem.message());
            Box::new(problem.hint().into_iter().fold(finding, Finding::hint))
        })
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

/// A molar mass is made of atomic weights, kg/mol of g/mol; one that is stated stands for itself.
fn uncertain(inputs: &mut Inputs, node: NodeId, mass: &MolarMass) {
    if mass.parts.is_empty() {
        inputs.leaf(node, mass.uncertainty / 1000.0);
        return;
    }
    let part = |part: &ElementShare| {
        let count = part.count.to_f64().value();
        (Input::AtomicWeight(part.symbol.clone()), count / 1000.0, part.weight.standard_uncertainty)
    };
    inputs.made_of(node, mass.parts.iter().map(part));
}

/// A factor f = ratio · M / M′ changes with an atomic weight by (ratio · n − f · n′) / M′.
fn uncertain_factor(inputs: &mut Inputs, node: NodeId, factor: &Factor) {
    let (upper, lower) = (&factor.analyte_molar_mass, &factor.weighed_molar_mass);
    if upper.parts.is_empty() || lower.parts.is_empty() {
        inputs.leaf(node, factor.uncertainty());
        return;
    }
    let (value, total) = (factor.value().to_f64(), lower.grams_per_mole.to_f64());
    let ratio = factor.ratio.to_f64().value();
    let mut parts: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for (share, scale) in
        upper.parts.iter().map(|share| (share, ratio)).chain(lower.parts.iter().map(|share| (share, -value)))
    {
        let entry = parts.entry(&share.symbol).or_insert((0.0, share.weight.standard_uncertainty));
        entry.0 += scale * share.count.to_f64().value() / total;
    }
    let part = |(symbol, (sensitivity, uncertainty)): (&str, (f64, f64))| {
        (Input::AtomicWeight(symbol.to_string()), sensitivity, uncertainty)
    };
    inputs.made_of(node, parts.into_iter().map(part));
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
    graph.add(Node { operation, inputs: Vec::new(), quantity, span: Some(span) })
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

/// A formula that is a part of a text, with errors at its own characters.
pub(super) fn parse_part(text: &Spanned<String>, part: &str) -> Result<Formula, Box<Finding>> {
    let trimmed = part.trim();
    let offset = (trimmed.as_ptr() as usize).saturating_sub(text.value.as_ptr() as usize);
    let start = text.span.start + offset;
    let placed = Spanned::new(trimmed.to_string(), Span::new(start, start + trimmed.len()));
    Formula::parse(trimmed).map_err(|error| Box::new(formula_finding(error, &placed)))
}

/// A formula's error at its character in the notebook.
pub(super) fn formula_finding(error: FormulaError, text: &Spanned<String>) -> Finding {
    let span = Span::new(text.span.start + error.range.start, text.span.start + error.range.end);
    let span = if text.span.contains(span) { span } else { text.span };
    let finding = Finding::error(Code::UnknownFormula, span, error.message);
    error.hint.into_iter().fold(finding, Finding::hint)
}
