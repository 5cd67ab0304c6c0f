//! Molar masses and mass fractions of the elements, with the place and the uncertainty of the atomic weights.

use dashu_int::{IBig, UBig};
use dashu_ratio::{RBig, Relaxed};

use super::atom::Atom;
use super::count::Count;
use super::elements::{AtomicWeights, Weight};
use super::formula::{Formula, FormulaError};
use crate::quantity::{Decimal, Digits, Dimension, Number, Quantity, Rounding, print};

/// A molar mass.
#[derive(Clone, Debug, PartialEq)]
pub struct MolarMass {
    /// The exact sum of counts × atomic weights, in g/mol.
    pub grams_per_mole: Number,
    /// The power of ten of its last place in g/mol: the coarsest last place of the atomic weights in it (the
    /// rule for sums; counts are exact).
    pub place: i32,
    /// Standard uncertainty in g/mol. The atoms of one element share one atomic weight, so their
    /// contributions add before they are squared (Eurachem/CITAC QUAM, example A2).
    pub uncertainty: f64,
    /// The elements in Hill order; empty where a course states the molar mass itself.
    pub parts: Vec<ElementShare>,
}

/// What one element brings to a molar mass.
#[derive(Clone, Debug, PartialEq)]
pub struct ElementShare {
    /// The symbol, or the isotope as written (`D`, `^13C`).
    pub symbol: String,
    /// Atoms per formula unit.
    pub count: RBig,
    /// The atomic weight used.
    pub weight: Weight,
    /// count × weight in g/mol.
    pub grams_per_mole: Number,
}

impl Formula {
    /// The molar mass by a table of atomic weights, or as the table's course states it for this formula (then
    /// without [`MolarMass::parts`]). An ion has the molar mass of its atoms: an electron's 0.00055 g/mol is not
    /// counted, since the tables' atomic weights do not settle it.
    ///
    /// # Errors
    /// An element without an atomic weight in the table, by name; the electron, which has no atoms.
    pub fn molar_mass(&self, table: &AtomicWeights) -> Result<MolarMass, FormulaError> {
        match table.stated_molar_mass(self) {
            Some(stated) => Ok(MolarMass::stated(&stated)),
            None if self.is_electron() => Err(no_atoms()),
            None => self.summed_molar_mass(table),
        }
    }

    fn summed_molar_mass(&self, table: &AtomicWeights) -> Result<MolarMass, FormulaError> {
        let atoms = self.atoms_in_hill_order();
        let shares = atoms.into_iter().map(|(atom, count)| share(atom, count, table));
        let parts = shares.collect::<Result<Vec<_>, _>>()?;
        // Brought to lowest terms once, not with every element.
        let terms = parts.iter().map(|part| part.grams_per_mole.fraction().clone().relax());
        let sum = terms.fold(Relaxed::ZERO, |sum, term| sum + term).canonicalize();
        Ok(MolarMass {
            grams_per_mole: Number::from_fraction(sum),
            place: parts.iter().map(|part| part.weight.value.place()).max().unwrap_or(0),
            uncertainty: parts.iter().map(|part| part.variance()).sum::<f64>().sqrt(),
            parts,
        })
    }

    /// The mass fraction of each element in per cent, exact, in Hill order, by the atomic weights alone.
    ///
    /// # Errors
    /// An element without a standard atomic weight in the table.
    pub fn percent_composition(&self, table: &AtomicWeights) -> Result<Vec<(String, Number)>, FormulaError> {
        let molar_mass = self.summed_molar_mass(table)?;
        let total = molar_mass.grams_per_mole.fraction();
        let percent = |mass: &Number| match total.is_zero() {
            true => RBig::ZERO,
            false => mass.fraction() * RBig::from(100) / total,
        };
        let entry = |part: ElementShare| (part.symbol, Number::from_fraction(percent(&part.grams_per_mole)));
        Ok(molar_mass.parts.iter().cloned().map(entry).collect())
    }
}

impl ElementShare {
    fn variance(&self) -> f64 {
        (self.count.to_f64().value() * self.weight.standard_uncertainty).powi(2)
    }
}

impl MolarMass {
    fn stated(weight: &Weight) -> MolarMass {
        MolarMass {
            grams_per_mole: weight.value.to_number(),
            place: weight.value.place(),
            uncertainty: weight.standard_uncertainty,
            parts: Vec::new(),
        }
    }

    /// The same as a quantity in kg/mol, a tabulated value by the digits rule.
    pub fn quantity(&self) -> Quantity {
        let kilograms = self.grams_per_mole.fraction() / RBig::from(1000);
        Quantity {
            number: Number::from_fraction(kilograms),
            dimension: Dimension::MOLAR_MASS,
            digits: Digits::Tabulated(self.place - 3),
        }
    }

    /// The digits as a table would print them: rounded half to even at [`MolarMass::place`].
    pub fn printed(&self) -> String {
        print(&self.grams_per_mole, Digits::Tabulated(self.place), Rounding::HalfEven).ascii()
    }
}

fn no_atoms() -> FormulaError {
    let message = "the electron has no atoms to take a molar mass from".to_owned();
    FormulaError { message, range: 0..0, hint: None }
}

/// count × weight, brought to lowest terms once.
fn grams(count: Count, weight: &Decimal) -> RBig {
    let (upper, lower) = count.parts();
    let coefficient = &weight.coefficient * IBig::from(upper);
    match u32::try_from(-weight.exponent).ok().and_then(|decimals| 10u64.checked_pow(decimals)) {
        Some(scale) => RBig::from_parts(coefficient, UBig::from(scale) * UBig::from(lower)),
        None => count.fraction() * weight.to_number().fraction(),
    }
}

fn share(atom: Atom, count: Count, table: &AtomicWeights) -> Result<ElementShare, FormulaError> {
    let symbol = atom.text();
    let Some(weight) = table.weight_of(atom) else { return Err(table.no_weight(&symbol)) };
    let grams_per_mole = Number::from_fraction(grams(count, &weight.value));
    Ok(ElementShare { symbol, count: count.fraction(), weight, grams_per_mole })
}
