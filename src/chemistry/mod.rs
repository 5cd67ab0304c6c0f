//! Elements, chemical formulas, reactions and gravimetric factors.
//!
//! Formulas are counts of atoms; nothing here knows structures, names or oxidation states. All counts and
//! molar masses are exact fractions; only uncertainties are floating-point numbers.

mod atom;
mod balancing;
mod count;
mod element_table;
pub mod elements;
pub mod factor;
pub mod formula;
mod formula_parser;
mod formula_print;
mod group;
mod isotope_table;
mod molar_mass;
mod null_space;
mod older_tables;
pub mod reaction;
pub mod whole_numbers;

pub use balancing::{BalanceProblem, Balanced, Given, Imbalance};
pub use elements::{AtomicWeights, Weight, WeightError};
pub use factor::{Factor, FactorProblem, factor, factor_by_ratio, shared_ratio};
pub use formula::{Formula, FormulaError, State, formula_pair, looks_like_formula};
pub use group::count_in;
pub use molar_mass::{ElementShare, MolarMass};
pub use reaction::{Arrow, Reaction, Side, Term};
