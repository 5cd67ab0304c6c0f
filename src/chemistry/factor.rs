//! Gravimetric factors: what mass of the analyte one unit of mass of the weighed form stands for.
//!
//! The factor follows the one element that both share. Oxygen and hydrogen come and go with drying and
//! ignition, so they count only where nothing else is shared. Where several shared elements would give
//! different ratios, there is no factor without a reaction, and the answer lists them.

use dashu_ratio::RBig;

use super::elements::AtomicWeights;
use super::formula::{Formula, FormulaError};
use super::formula_print::count_text;
use super::molar_mass::MolarMass;
use crate::quantity::{Digits, Dimension, Number, Quantity};

/// A gravimetric factor.
#[derive(Clone, Debug, PartialEq)]
pub struct Factor {
    /// What is sought.
    pub analyte: Formula,
    /// What is weighed.
    pub weighed: Formula,
    /// The shared elements the ratio follows, in the analyte's order; they all give the same ratio. Empty where
    /// a reaction fixes the ratio.
    pub elements: Vec<String>,
    /// Moles of the analyte per mole of the weighed form.
    pub ratio: RBig,
    /// Molar mass of the analyte.
    pub analyte_molar_mass: MolarMass,
    /// Molar mass of the weighed form.
    pub weighed_molar_mass: MolarMass,
}

/// Why there is no gravimetric factor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FactorProblem {
    /// The two formulas have no element in common.
    NothingShared {
        /// What is sought.
        analyte: String,
        /// What is weighed.
        weighed: String,
    },
    /// Several shared elements, each with another ratio.
    Ambiguous {
        /// What is sought.
        analyte: String,
        /// What is weighed.
        weighed: String,
        /// Element and moles of analyte per mole weighed, as text.
        ratios: Vec<(String, String)>,
    },
    /// A molar mass that cannot be computed.
    MolarMass(FormulaError),
}

impl FactorProblem {
    /// What was found, lower case.
    pub fn message(&self) -> String {
        match self {
            FactorProblem::NothingShared { analyte, weighed } => {
                format!("{analyte} and {weighed} have no element in common to take a factor by")
            }
            FactorProblem::Ambiguous { analyte, weighed, ratios } => {
                let each: Vec<String> =
                    ratios.iter().map(|(element, ratio)| format!("{ratio} by {element}")).collect();
                format!("one {weighed} stands for different numbers of {analyte}: {}", each.join(", "))
            }
            FactorProblem::MolarMass(error) => error.message.clone(),
        }
    }

    /// How to mend it.
    pub fn hint(&self) -> Option<String> {
        match self {
            FactorProblem::NothingShared { .. } | FactorProblem::Ambiguous { .. } => Some(
                "write the reaction with a name in a `reaction` block and name it, as in `factor(stage 1: CaCO3, \
                 CaO)`"
                    .to_owned(),
            ),
            FactorProblem::MolarMass(error) => error.hint.clone(),
        }
    }
}

/// The gravimetric factor of an analyte weighed in another form.
///
/// # Errors
/// Nothing in common, an ambiguous ratio, an element without an atomic weight.
pub fn factor(analyte: &Formula, weighed: &Formula, table: &AtomicWeights) -> Result<Factor, FactorProblem> {
    let shared = deciding(shared_elements(analyte, weighed));
    let Some((_, ratio)) = shared.first().cloned() else {
        return Err(FactorProblem::NothingShared { analyte: analyte.text(), weighed: weighed.text() });
    };
    if shared.iter().any(|(_, other)| *other != ratio) {
        return Err(ambiguous(analyte, weighed, &shared));
    }
    Ok(Factor {
        analyte: analyte.clone(),
        weighed: weighed.clone(),
        elements: shared.into_iter().map(|(element, _)| element).collect(),
        ratio,
        analyte_molar_mass: analyte.molar_mass(table).map_err(FactorProblem::MolarMass)?,
        weighed_molar_mass: weighed.molar_mass(table).map_err(FactorProblem::MolarMass)?,
    })
}

/// The same by moles of the analyte per mole weighed, as a reaction or a chain of reactions fixes them.
///
/// # Errors
/// An element without an atomic weight.
pub fn factor_by_ratio(
    analyte: &Formula,
    weighed: &Formula,
    ratio: RBig,
    table: &AtomicWeights,
) -> Result<Factor, FactorProblem> {
    Ok(Factor {
        analyte: analyte.clone(),
        weighed: weighed.clone(),
        elements: Vec::new(),
        ratio,
        analyte_molar_mass: analyte.molar_mass(table).map_err(FactorProblem::MolarMass)?,
        weighed_molar_mass: weighed.molar_mass(table).map_err(FactorProblem::MolarMass)?,
    })
}

/// Moles of the analyte per mole weighed by the elements both share, with those elements; `None` where they
/// share none or do not agree.
pub fn shared_ratio(analyte: &Formula, weighed: &Formula) -> Option<(RBig, Vec<String>)> {
    let shared = deciding(shared_elements(analyte, weighed));
    let ratio = shared.first()?.1.clone();
    let agree = shared.iter().all(|(_, other)| *other == ratio);
    agree.then(|| (ratio, shared.into_iter().map(|(element, _)| element).collect()))
}

fn ambiguous(analyte: &Formula, weighed: &Formula, shared: &[(String, RBig)]) -> FactorProblem {
    let text = |(element, ratio): &(String, RBig)| (element.clone(), count_text(ratio));
    FactorProblem::Ambiguous {
        analyte: analyte.text(),
        weighed: weighed.text(),
        ratios: shared.iter().map(text).collect(),
    }
}

/// Each element of both, with atoms in the weighed form per atom in the analyte.
fn shared_elements(analyte: &Formula, weighed: &Formula) -> Vec<(String, RBig)> {
    let in_weighed = weighed.composition_as_written();
    let ratio = |(element, count): (String, RBig)| {
        let (_, other) = in_weighed.iter().find(|(other, _)| *other == element)?;
        Some((element, other / count))
    };
    analyte.composition_as_written().into_iter().filter_map(ratio).collect()
}

/// Without oxygen and hydrogen, where anything else is shared.
pub(super) fn deciding(shared: Vec<(String, RBig)>) -> Vec<(String, RBig)> {
    let fleeting = |element: &str| matches!(element, "O" | "H");
    match shared.iter().any(|(element, _)| !fleeting(element)) {
        true => shared.into_iter().filter(|(element, _)| !fleeting(element)).collect(),
        false => shared,
    }
}

impl Factor {
    /// ratio × M(analyte) / M(weighed form), exact.
    pub fn value(&self) -> Number {
        let quotient = self.analyte_molar_mass.grams_per_mole.fraction() * &self.ratio;
        // A molar mass is above zero: its formula has an atom and weights are above zero. An electron has
        // none, and shares no element, so it never gets here.
        Number::from_fraction(quotient / self.weighed_molar_mass.grams_per_mole.fraction())
    }

    /// The value as a pure number; its last place is that of the molar mass with fewer figures.
    pub fn quantity(&self) -> Quantity {
        let value = self.value();
        let analyte =
            (&self.analyte_molar_mass.grams_per_mole, Digits::Tabulated(self.analyte_molar_mass.place));
        let weighed =
            (&self.weighed_molar_mass.grams_per_mole, Digits::Tabulated(self.weighed_molar_mass.place));
        let digits = Digits::quotient(analyte, weighed, &value);
        Quantity { number: value, dimension: Dimension::PURE, digits }
    }

    /// Standard uncertainty from the atomic weights. An element in both formulas has one atomic weight, so
    /// its contributions partly cancel: ∂f/∂A = (ratio·n − f·n′)/M′, with n atoms in the analyte and n′ in
    /// the weighed form of molar mass M′ (JCGM 100:2008, 5.1.2). Molar masses stated by a course count as
    /// independent.
    pub fn uncertainty(&self) -> f64 {
        let (analyte, weighed) = (&self.analyte_molar_mass, &self.weighed_molar_mass);
        let (value, total) = (self.value().to_f64(), weighed.grams_per_mole.to_f64());
        let ratio = self.ratio.to_f64().value();
        if analyte.parts.is_empty() || weighed.parts.is_empty() {
            return (ratio * analyte.uncertainty / total).hypot(value * weighed.uncertainty / total);
        }
        let of = |mass: &MolarMass, symbol: &str| {
            mass.parts
                .iter()
                .find(|part| part.symbol == symbol)
                .map_or(0.0, |part| part.count.to_f64().value())
        };
        let only_analyte = analyte.parts.iter().filter(|part| of(weighed, &part.symbol) == 0.0);
        let variance = |part: &super::molar_mass::ElementShare| {
            let slope = (ratio * of(analyte, &part.symbol) - value * of(weighed, &part.symbol)) / total;
            (slope * part.weight.standard_uncertainty).powi(2)
        };
        weighed.parts.iter().chain(only_analyte).map(variance).sum::<f64>().sqrt()
    }
}
