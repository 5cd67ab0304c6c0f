//! A formula ready to be set: symbols, numbers with units, fractions, brackets. It knows no output form;
//! the report turns it into typeset mathematics and into spoken text.

use crate::quantity::derivation::NodeId;
use crate::quantity::{Printed, Unit};

/// Which value of the derivation graph a number is, where it is one. It has no part in what is set: two numbers that look
/// alike are alike, whatever they are of.
#[derive(Clone, Copy, Debug, Default)]
pub struct Of(pub Option<NodeId>);

impl PartialEq for Of {
    fn eq(&self, _: &Of) -> bool {
        true
    }
}

/// A formula, or a part of one.
#[derive(Clone, Debug, PartialEq)]
pub enum FormulaTree {
    /// A number with its unit; `guard` says that its last digit is a guard digit, set smaller.
    Number {
        /// The digits.
        printed: Printed,
        /// The unit (a pure number has the unit one).
        unit: Unit,
        /// Whether the last digit is a guard digit.
        guard: bool,
        /// Which value it is.
        of: Of,
    },
    /// A symbol with an optional entity: `w(water)`, `M(CuSO4·5H2O)`, `ν(H2O/CO2)`.
    Symbol {
        /// The letters.
        name: String,
        /// The entity as written; a chemical formula where `formula`.
        entity: Option<String>,
        /// Whether the entity is a chemical formula.
        formula: bool,
        /// The one trial meant.
        trial: Option<String>,
    },
    /// `−a`
    Negate(Box<FormulaTree>),
    /// `a + b`
    Add(Box<FormulaTree>, Box<FormulaTree>),
    /// `a − b`
    Subtract(Box<FormulaTree>, Box<FormulaTree>),
    /// `a · b`
    Multiply(Box<FormulaTree>, Box<FormulaTree>),
    /// A fraction.
    Divide(Box<FormulaTree>, Box<FormulaTree>),
    /// `a ^ b`
    Power(Box<FormulaTree>, Box<FormulaTree>),
    /// `√a`
    SquareRoot(Box<FormulaTree>),
    /// `ln a`, `mean w(water)`: a word and its arguments.
    Call(String, Vec<FormulaTree>),
    /// `|a|`
    Magnitude(Box<FormulaTree>),
    /// `(a)`
    Bracket(Box<FormulaTree>),
    /// A dash where a value is missing.
    Missing,
}
