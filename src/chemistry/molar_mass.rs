//! Molar masses and mass fractions of the elements, with the place and the uncertainty of the atomic weights.

use dashu_ratio::RBig;

use super::elements::{AtomicWeights, Weight};
use super::formula::{Formula, FormulaError};
use crate::quantity::{Decimal, Number};

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
    /// The elements in Hill order.
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
    /// The molar mass by a table of atomic weights; the electron counts as massless (its mass, 0.00055 g/mol,
    /// is beyond the tables' digits, and an ion's molar mass is taken as that of its atoms).
    ///
    /// # Errors
    /// An element without a standard atomic weight in the table, by name.
    pub fn molar_mass(&self, table: &AtomicWeights) -> Result<MolarMass, FormulaError> {
        let shares = self.composition().into_iter().map(|(symbol, count)| share(symbol, count, table));
        let parts = shares.collect::<Result<Vec<_>, _>>()?;
        let sum = parts.iter().fold(RBig::ZERO, |sum, part| sum + part.grams_per_mole.fraction());
        Ok(MolarMass {
            grams_per_mole: Number::from_fraction(sum),
            place: parts.iter().map(|part| part.weight.value.exponent).max().unwrap_or(0),
            uncertainty: parts.iter().map(|part| part.variance()).sum::<f64>().sqrt(),
            parts,
        })
    }

    /// The mass fraction of each element in per cent, exact, in Hill order.
    ///
    /// # Errors
    /// An element without a standard atomic weight in the table.
    pub fn percent_composition(&self, table: &AtomicWeights) -> Result<Vec<(String, Number)>, FormulaError> {
        let molar_mass = self.molar_mass(table)?;
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
        (self.count.to_f64().value() * self.weight.standard_uncertainty()).powi(2)
    }
}

fn share(symbol: String, count: RBig, table: &AtomicWeights) -> Result<ElementShare, FormulaError> {
    let weight = table.weight(&symbol).ok_or_else(|| table.no_weight(&symbol))?;
    let grams_per_mole = Number::from_fraction(&count * fraction(&weight.value));
    Ok(ElementShare { symbol, count, weight, grams_per_mole })
}

/// The exact value of a tabulated decimal.
fn fraction(decimal: &Decimal) -> RBig {
    RBig::from(decimal.coefficient.clone()) * RBig::from(10).pow(decimal.exponent as isize)
}
