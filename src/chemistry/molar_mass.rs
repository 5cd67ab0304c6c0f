//! Molar masses and mass fractions of the elements, with the place and the uncertainty of the atomic weights.

use std::borrow::Cow;

use dashu_int::IBig;
use dashu_ratio::RBig;

use super::atom::Atom;
use super::count::Count;
use super::elements::{AtomicWeights, Weight};
use super::formula::{Formula, FormulaError};
use crate::quantity::{Digits, Dimension, Number, Quantity, Rounding, print};

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
    pub symbol: Cow<'static, str>,
    /// Atoms per formula unit.
    pub count: RBig,
    /// The atomic weight used.
    pub weight: Weight,
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
        let share = |(atom, count): &(Atom, Count)| share(*atom, *count, table);
        let parts = atoms.iter().map(share).collect::<Result<Vec<_>, _>>()?;
        let counts = || atoms.iter().map(|(_, count)| *count);
        let variance = |(count, part): (Count, &ElementShare)| {
            (count.to_f64() * part.weight.standard_uncertainty).powi(2)
        };
        let sum = sum_in_words(counts(), &parts).unwrap_or_else(|| sum_of_shares(&parts));
        Ok(MolarMass {
            grams_per_mole: sum,
            place: parts.iter().map(|part| part.weight.value.place()).max().unwrap_or(0),
            uncertainty: counts().zip(&parts).map(variance).sum::<f64>().sqrt(),
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
            false => mass.fraction() * RBig::from(100) / &total,
        };
        let entry = |part: ElementShare| {
            (part.symbol.to_string(), Number::from_fraction(percent(&part.grams_per_mole())))
        };
        Ok(molar_mass.parts.iter().cloned().map(entry).collect())
    }
}

impl ElementShare {
    /// count × weight in g/mol, exact.
    pub fn grams_per_mole(&self) -> Number {
        Number::from_fraction(&self.count * self.weight.value.to_number().fraction())
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

/// Σ count × weight in machine words, at the finest last place of the weights and brought to lowest terms once;
/// `None` where a count is no whole number or a term does not fit.
fn sum_in_words(counts: impl Iterator<Item = Count>, parts: &[ElementShare]) -> Option<Number> {
    let finest = parts.iter().map(|part| part.weight.value.exponent).min()?;
    let mut sum = 0i128;
    for (count, part) in counts.zip(parts) {
        let (upper, 1) = count.parts() else { return None };
        let weight = &part.weight.value;
        let scale = 10i128.checked_pow(weight.exponent.checked_sub(finest)?.try_into().ok()?)?;
        let term = i128::try_from(&weight.coefficient).ok()?.checked_mul(scale)?;
        sum = sum.checked_add(term.checked_mul(i128::from(upper))?)?;
    }
    Some(Number::from_decimal(&IBig::from(sum), finest))
}

fn sum_of_shares(parts: &[ElementShare]) -> Number {
    let terms = parts.iter().map(|part| part.grams_per_mole().fraction());
    Number::from_fraction(terms.fold(RBig::ZERO, |sum, term| sum + term))
}

fn share(atom: Atom, count: Count, table: &AtomicWeights) -> Result<ElementShare, FormulaError> {
    let symbol = atom.key();
    let Some(weight) = table.weight_of(atom) else { return Err(table.no_weight(&symbol)) };
    Ok(ElementShare { symbol, count: count.fraction(), weight })
}
