//! Molar masses by other means: the other named tables of atomic weights, weights rounded before use, and the
//! formulas one may be taken for.

use super::derivation::Derivation;
use super::region::{Change, Edit, From, Region};
use super::verdict::{ClaimReview, ValueVerdict};
use crate::chemistry::{AtomicWeights, Factor, Formula, factor};
use crate::evaluation::results::Results;
use crate::notebook::settings::Settings;
use crate::quantity::derivation::Operation;
use crate::quantity::rounding::round_to_place;
use crate::quantity::{Number, Rounding};

/// Turns `differs` into `right by another atomic-weight table` where it is.
pub(super) fn judge(derivation: &Derivation, claims: &mut [ClaimReview]) {
    let settings = &derivation.results.settings;
    let in_force = in_force(settings).name();
    for name in AtomicWeights::names() {
        let Some(table) = AtomicWeights::by_name(name).map(|table| with_stated(table, settings)) else {
            continue;
        };
        if table.name() == in_force {
            continue;
        }
        for (index, claim) in claims.iter_mut().enumerate() {
            if claim.value == ValueVerdict::Differs && is_right_by(derivation, index, &table) {
                claim.value = ValueVerdict::OtherTable(name.to_string());
            }
        }
    }
}

fn is_right_by(derivation: &Derivation, claim: usize, table: &AtomicWeights) -> bool {
    let Some(region) = Region::of(derivation, claim) else { return false };
    let edit = edit(&region, |leaf| leaf.value(table));
    if edit.is_empty() {
        return false;
    }
    let starts = region.starts(derivation);
    starts
        .into_iter()
        .filter(|from| !matches!(from, From::Rounded(_)))
        .any(|from| region.steps(derivation, from, &edit) == Some(0))
}

/// The table a notebook asks for, with what it states of its own.
pub(super) fn in_force(settings: &Settings) -> AtomicWeights {
    let named = settings.atomic_weight_table.as_ref().and_then(|name| AtomicWeights::by_name(&name.value));
    with_stated(named.unwrap_or_default(), settings)
}

fn with_stated(mut table: AtomicWeights, settings: &Settings) -> AtomicWeights {
    for (element, value) in &settings.atomic_weights {
        table = table.clone().with_change(&element.value, value).unwrap_or(table);
    }
    for (text, value) in &settings.molar_masses {
        if let Ok(formula) = Formula::parse(&text.value) {
            table = table.clone().with_molar_mass(&formula, value).unwrap_or(table);
        }
    }
    table
}

/// A leaf that is fixed by formulas.
#[derive(Clone, Debug)]
pub(super) enum Leaf {
    /// A molar mass.
    Mass(Formula),
    /// A gravimetric factor: analyte and weighed form.
    Factor(Formula, Formula),
}

impl Leaf {
    /// What a node is, if it is such a leaf.
    pub(super) fn of(operation: &Operation) -> Option<Leaf> {
        match operation {
            Operation::MolarMass(text) => Some(Leaf::Mass(Formula::parse(text).ok()?)),
            Operation::Stoichiometry(text) => {
                let inner = text.strip_prefix("factor(")?.strip_suffix(')')?;
                let (analyte, weighed) = inner.split_once([',', ';'])?;
                let parse = |text: &str| Formula::parse(text.trim()).ok();
                Some(Leaf::Factor(parse(analyte)?, parse(weighed)?))
            }
            _ => None,
        }
    }

    /// The formulas it is fixed by.
    pub(super) fn formulas(&self) -> Vec<&Formula> {
        match self {
            Leaf::Mass(formula) => vec![formula],
            Leaf::Factor(analyte, weighed) => vec![analyte, weighed],
        }
    }

    /// Its value by a table, in coherent SI units.
    pub(super) fn value(&self, table: &AtomicWeights) -> Option<Number> {
        match self {
            Leaf::Mass(formula) => kilograms(formula, table),
            Leaf::Factor(analyte, weighed) => Some(factor(analyte, weighed, table).ok()?.value()),
        }
    }

    /// The same with every molar mass given by a rule.
    pub(super) fn value_by(
        &self,
        table: &AtomicWeights,
        mass: impl Fn(&Formula) -> Option<Number>,
    ) -> Option<Number> {
        match self {
            Leaf::Mass(formula) => mass(formula)?.div(&Number::from_i64(1000)).ok(),
            Leaf::Factor(analyte, weighed) => {
                let ratio = ratio(&factor(analyte, weighed, table).ok()?);
                ratio.mul(&mass(analyte)?).ok()?.div(&mass(weighed)?).ok()
            }
        }
    }
}

fn ratio(factor: &Factor) -> Number {
    Number::from_fraction(factor.ratio.clone())
}

/// A molar mass in kg/mol.
pub(super) fn kilograms(formula: &Formula, table: &AtomicWeights) -> Option<Number> {
    formula.molar_mass(table).ok()?.grams_per_mole.div(&Number::from_i64(1000)).ok()
}

/// Every leaf of a region that is fixed by formulas, given by a rule; those it leaves alone are not in the edit.
pub(super) fn edit(region: &Region, value: impl Fn(&Leaf) -> Option<Number>) -> Edit {
    let changed = |(at, local): (usize, &super::region::Local)| {
        let value = value(&Leaf::of(local.operation).filter(|_| local.claims.is_empty())?)?;
        (value != *local.number).then_some((at, Change::Becomes(value)))
    };
    region.nodes.iter().enumerate().filter_map(changed).collect()
}

/// The molar mass in g/mol with the atomic weights rounded to so many decimals first.
pub(super) fn from_rounded_weights(
    formula: &Formula,
    table: &AtomicWeights,
    decimals: i32,
) -> Option<Number> {
    formula.composition().into_iter().try_fold(Number::zero(), |sum, (symbol, count)| {
        let weight = table.weight(&symbol)?.value.to_number();
        let rounded = round_to_place(&weight, -decimals, Rounding::HalfAwayFromZero).to_number();
        sum.add(&rounded.mul(&Number::from_fraction(count)).ok()?).ok()
    })
}

/// The molar mass in g/mol rounded to so many decimals.
pub(super) fn rounded_mass(formula: &Formula, table: &AtomicWeights, decimals: i32) -> Option<Number> {
    let mass = formula.molar_mass(table).ok()?.grams_per_mole;
    Some(round_to_place(&mass, -decimals, Rounding::HalfAwayFromZero).to_number())
}

/// The formulas of a notebook, as written, each once.
pub(super) fn formulas(results: &Results) -> Vec<(String, Formula)> {
    let mut found: Vec<(String, Formula)> = Vec::new();
    let mut add = |text: &str| {
        if let Ok(formula) = Formula::parse(text)
            && !found.iter().any(|(_, known)| known.same_substance(&formula))
        {
            found.push((text.to_string(), formula));
        }
    };
    for (_, node) in results.graph.nodes() {
        match &node.operation {
            Operation::MolarMass(text) => add(text),
            Operation::Stoichiometry(text) => {
                let inner = text.strip_prefix("factor(").and_then(|inner| inner.strip_suffix(')'));
                inner.into_iter().flat_map(|inner| inner.split([',', ';'])).for_each(|part| add(part.trim()));
            }
            _ => {}
        }
    }
    let reactions = results.reactions.iter().filter_map(|reaction| reaction.balanced.as_ref());
    for reaction in reactions {
        reaction.left.iter().chain(&reaction.right).for_each(|term| add(&term.formula.text()));
    }
    found
}

/// Hydrates of the salts of a notebook in which water is weighed.
fn hydrates(formulas: &[(String, Formula)]) -> Vec<String> {
    let simple = ["H", "C", "N", "O"];
    let is_salt = |formula: &Formula| {
        let elements = formula.composition();
        elements.len() > 1 && elements.iter().any(|(element, _)| !simple.contains(&element.as_str()))
    };
    if !formulas.iter().any(|(text, _)| text == "H2O") {
        return Vec::new();
    }
    let salts = formulas.iter().filter(|(text, formula)| !text.contains('·') && is_salt(formula));
    let of = |text: &String| [1, 2, 3, 4, 5, 6, 7, 10, 12].map(|count| format!("{text}·{count}H2O"));
    salts.flat_map(|(text, _)| of(text)).collect()
}

/// Formulas a formula may be taken for: its hydrates, its parts without the water, its bracketed group, its elements (also in
/// pairs), and the common oxides of its elements.
pub(super) fn related(formulas: &[(String, Formula)]) -> Vec<(String, Formula)> {
    let mut texts: Vec<String> = Vec::new();
    for (text, formula) in formulas {
        texts.extend(text.split(['·', '*']).map(str::to_string));
        texts.extend(bracketed(text));
        for (element, _) in formula.composition() {
            match element.as_str() {
                "H" | "N" | "O" | "F" | "Cl" | "Br" | "I" => texts.push(format!("{element}2")),
                "S" => texts.extend(["SO2", "SO3", "SO4"].map(String::from)),
                "C" => texts.extend(["CO2", "CO3"].map(String::from)),
                "P" => texts.extend(["P2O5", "PO4"].map(String::from)),
                metal => texts.extend(["O", "2O", "2O3", "3O4"].map(|oxide| match oxide {
                    "O" => format!("{metal}O"),
                    other => format!("{metal}{other}"),
                })),
            }
            texts.push(element);
        }
    }
    texts.extend(hydrates(formulas));
    let mut found: Vec<(String, Formula)> = Vec::new();
    for text in texts {
        if let Ok(formula) = Formula::parse(&text)
            && !found.iter().chain(formulas).any(|(_, known)| known.same_substance(&formula))
        {
            found.push((text, formula));
        }
    }
    found
}

/// A formula with one of its numbers left out, for every number (`BaCl` for `BaCl2`).
pub(super) fn without_a_subscript(text: &str) -> Vec<(String, Formula)> {
    let mut found = Vec::new();
    let mut rest = 0;
    while let Some(start) = text[rest..].find(|c: char| c.is_ascii_digit()).map(|at| rest + at) {
        let end = text[start..].find(|c: char| !c.is_ascii_digit()).map_or(text.len(), |at| start + at);
        let shorter = format!("{}{}", &text[..start], &text[end..]);
        if let Ok(formula) = Formula::parse(&shorter) {
            found.push((shorter, formula));
        }
        rest = end;
    }
    found
}

fn bracketed(text: &str) -> Option<String> {
    let (_, rest) = text.split_once('(')?;
    Some(rest.split_once(')')?.0.to_string())
}
