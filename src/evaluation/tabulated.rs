//! Molar masses and factors: from the atomic-weight table, as the notebook changes it.

use super::Slot;
use crate::chemistry::{AtomicWeights, Formula};
use crate::finding::{Code, Finding};
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, Node, Operation};
use crate::quantity::{Decimal, Digits, Quantity, Unit};
use crate::span::{Span, Spanned};
use std::collections::HashMap;

/// The table in force.
pub(super) struct Tabulated {
    weights: AtomicWeights,
    /// Molar masses stated in `experiment`, by the formula as echoed.
    stated: HashMap<String, Decimal>,
    /// What was computed before, by the text as written.
    known: HashMap<String, Slot>,
}

/// The table of a notebook's settings; changes that cannot be used are findings.
pub(super) fn weights(settings: &Settings, findings: &mut Vec<Finding>) -> AtomicWeights {
    let mut weights = AtomicWeights::abridged();
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

impl Tabulated {
    pub(super) fn of(settings: &Settings, findings: &mut Vec<Finding>) -> Self {
        let mut stated = HashMap::new();
        for (formula, value) in &settings.molar_masses {
            match Formula::parse(&formula.value) {
                Ok(read) => drop(stated.insert(read.text(), value.clone())),
                Err(error) => {
                    findings.push(Finding::error(Code::UnknownFormula, formula.span, error.message));
                }
            }
        }
        Tabulated { weights: weights(settings, findings), stated, known: HashMap::new() }
    }

    pub(super) fn name(&self) -> String {
        self.weights.name()
    }

    /// `M(text)` as a leaf; the same text is the same leaf.
    pub(super) fn molar_mass(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        if let Some(slot) = self.known.get(&text.value) {
            return slot.clone();
        }
        let slot = match self.quantity(&text.value) {
            Ok((quantity, ambiguity)) => {
                if let Some(reading) = ambiguity {
                    findings.push(Finding::note(Code::FormulaReading, text.span, reading));
                }
                let operation = Operation::MolarMass(text.value.clone());
                Ok(graph.add(Node { operation, inputs: Vec::new(), quantity, span: Some(text.span) }))
            }
            Err(error) => {
                findings.push(formula_finding(error, text));
                Err(format!("the molar mass of {} is not known", text.value).into())
            }
        };
        self.known.insert(text.value.clone(), slot.clone());
        slot
    }

    fn quantity(&self, text: &str) -> Result<(Quantity, Option<String>), crate::chemistry::FormulaError> {
        let formula = Formula::parse(text)?;
        let unit = Unit::from_base(molar_mass_dimension());
        let (number, place) = match self.stated.get(&formula.text()) {
            Some(stated) => (stated.to_number(), stated.place()),
            None => {
                let mass = formula.molar_mass(&self.weights)?;
                (mass.grams_per_mole, mass.place)
            }
        };
        // 1 g/mol is 10^-3 kg/mol.
        let number = number.mul(unit.factor()).unwrap_or(number);
        let digits = Digits::Tabulated(place - 3);
        let quantity = Quantity { number, dimension: molar_mass_dimension(), digits };
        Ok((quantity, formula.ambiguity()))
    }

    /// `factor(analyte, weighed form)` as a leaf.
    pub(super) fn factor(
        &mut self,
        text: &Spanned<String>,
        graph: &mut Graph,
        findings: &mut Vec<Finding>,
    ) -> Slot {
        match self.factor_quantity(text) {
            Ok(quantity) => {
                let operation = Operation::Stoichiometry(format!("factor({})", text.value));
                Ok(graph.add(Node { operation, inputs: Vec::new(), quantity, span: Some(text.span) }))
            }
            Err(finding) => {
                findings.push(*finding);
                Err(format!("the factor ({}) is not known", text.value).into())
            }
        }
    }

    fn factor_quantity(&self, text: &Spanned<String>) -> Result<Quantity, Box<Finding>> {
        let Some((analyte, weighed)) = text.value.split_once([',', ';']) else {
            let message = "`factor` takes the analyte and the weighed form";
            let finding = Finding::error(Code::SyntaxError, text.span, message);
            return Err(Box::new(finding.hint("write it as `factor(Fe, Fe2O3)`")));
        };
        let part = |part: &str| {
            let start = part.as_ptr() as usize - text.value.as_ptr() as usize;
            let trimmed = part.trim();
            let start = start + (part.len() - part.trim_start().len());
            let span = Span::new(text.span.start + start, text.span.start + start + trimmed.len());
            let placed = Spanned::new(trimmed.to_string(), span);
            Formula::parse(trimmed).map_err(|error| Box::new(formula_finding(error, &placed)))
        };
        let (analyte, weighed) = (part(analyte)?, part(weighed)?);
        let problem = |message: String| Box::new(Finding::error(Code::UnknownFormula, text.span, message));
        let _ = (analyte, weighed);
        Err(problem("not yet".into()))
    }
}

fn molar_mass_dimension() -> crate::quantity::Dimension {
    // kg and mol^-1.
    crate::quantity::Dimension([1, 0, 0, 0, 0, -1, 0])
}

/// A formula's error at its character in the notebook.
fn formula_finding(error: crate::chemistry::FormulaError, text: &Spanned<String>) -> Finding {
    let span = Span::new(text.span.start + error.range.start, text.span.start + error.range.end);
    let span = if text.span.contains(span) { span } else { text.span };
    let finding = Finding::error(Code::UnknownFormula, span, error.message);
    match error.hint {
        Some(hint) => finding.hint(hint),
        None => finding,
    }
}
