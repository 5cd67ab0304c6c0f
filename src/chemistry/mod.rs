//! Elements, chemical formulas and their molar masses.

mod element_table;
pub mod elements;
pub mod formula;
mod formula_parser;
mod formula_print;
mod molar_mass;

pub use elements::{AtomicWeights, Weight, WeightError};
pub use formula::{Formula, FormulaError, State, looks_like_formula};
pub use molar_mass::{ElementShare, MolarMass};
