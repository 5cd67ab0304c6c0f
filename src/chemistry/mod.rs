//! Elements, chemical formulas and their molar masses.

pub mod elements;
pub mod formula;

pub use elements::AtomicWeights;
pub use formula::{Formula, FormulaError};
