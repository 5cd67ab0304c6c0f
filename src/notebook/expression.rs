//! Formulas of `working`, `theory` and inline expressions: the tree and its grammar.
//!
//! ```text
//! formula   = sum                              ends at the end of the line, `#`, or a word `in`, `claimed`
//! sum       = product { ("+" | "-") product }
//! product   = signed { ("*" | "·" | "×" | "/" | "÷") signed }
//! signed    = "-" signed | multiple
//! multiple  = number power | power             `5 M(H2O)`, `2 (a + b)`: no sign after a number
//! power     = value [ "^" signed | superscripts ]          right-associative, so -2^2 = -4
//! value     = number | quantity | chemistry | constant | call | word quantity | "(" sum ")"
//! number    = digits [unit]                    the unit binds tighter than any operator
//! quantity  = symbol [ "(" entity ")" ] [ "[" trial "]" ]
//! symbol    = letter { letter | digit | "_" }  letters of any script
//! entity    = any text with balanced brackets
//! chemistry = ("M" | "ν" | "nu" | "factor") "(" text with balanced brackets ")"
//! constant  = "e" | "pi"
//! call      = ("sqrt" | "ln" | "log10" | "exp" | "abs" | "min" | "max") "(" sum { "," sum } ")"
//!           | "blank" "(" sum ")"              `;` parts the arguments where the decimal mark is a comma
//! word      = "mean" | "s" | "range" | "theory" | "percent error" | "relative s"
//!           | "relative difference" | "average deviation"
//! unit      = unit words joined by "/", "·", "*" or a blank, each with an optional exponent
//! ```
//!
//! A word before a bracket is never a unit. Unit names alone are not names of quantities, except `V`,
//! which is the usual name of a volume, and prefixes no bench uses (`TS`, `MW`). `s` is the second after a number and the standard deviation before
//! a quantity. The parser is written by hand because every error has to stand at its exact bytes, and
//! because entities and formulas are free text that a general tokenizer would cut up.

mod parser;
mod scanner;

pub(super) use parser::{Parser, reserved};
pub(super) use scanner::number_length;

use crate::quantity::{Decimal, Unit};
use crate::span::{Span, Spanned};

/// A symbol, optionally with an entity: `x`, `w(water)`.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Symbol {
    /// The letters (`w`).
    pub name: String,
    /// What stands in the brackets (`water`), ends trimmed, inner blanks folded.
    pub entity: Option<String>,
}

impl std::fmt::Display for Symbol {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.entity {
            Some(entity) => write!(f, "{}({entity})", self.name),
            None => f.write_str(&self.name),
        }
    }
}

/// A node of a formula with its range.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression {
    /// What it is.
    pub kind: ExpressionKind,
    /// Where it stands in the notebook.
    pub span: Span,
}

/// The kinds of node.
#[derive(Clone, Debug, PartialEq)]
pub enum ExpressionKind {
    /// A number with an optional unit: `5`, `250.0 mL`, `36.09 %`. Whole literals are exact.
    Number {
        /// The number as written.
        value: Decimal,
        /// Its unit.
        unit: Option<Unit>,
    },
    /// A quantity by its symbol; `trial` for `w(water)[A]`.
    Quantity {
        /// The symbol.
        symbol: Symbol,
        /// The one trial that is meant.
        trial: Option<Spanned<String>>,
    },
    /// `M(formula)`: the text in the brackets.
    MolarMass(Spanned<String>),
    /// `ν(product/reactant)`: the text in the brackets.
    Coefficient(Spanned<String>),
    /// `factor(analyte, weighed form)`: the text in the brackets.
    Factor(Spanned<String>),
    /// `pi`, `e`.
    Constant(Constant),
    /// `-a`
    Negate(Box<Expression>),
    /// `a + b` …
    Binary(BinaryOperator, Box<Expression>, Box<Expression>),
    /// `sqrt(a)`, `min(a, b)` …
    Call(Function, Vec<Expression>),
    /// `mean w(water)`, `relative s x`, `theory x`, `percent error x`: a word before a quantity.
    Word(Word, Box<Expression>),
    /// `blank(…)`
    Blank(Box<Expression>),
    /// `CuSO4: n(salt), H2O: n(water)`: the parts of a formula that is sought, with their amounts. Only as the
    /// whole right-hand side of `formula(…) = …`.
    Parts(Vec<(Spanned<String>, Expression)>),
    /// `( a )`: kept, so that the formula can be shown as it was written.
    Bracket(Box<Expression>),
}

/// Named constants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Constant {
    /// The circle's number.
    Pi,
    /// Euler's number.
    E,
}

/// Operators between two values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BinaryOperator {
    /// `+`
    Add,
    /// `-`
    Subtract,
    /// `*`, `·`, `×`
    Multiply,
    /// Nothing between a number and what follows (`5 M(H2O)`).
    Juxtapose,
    /// `/`, `÷`
    Divide,
    /// `^`, right-associative.
    Power,
}

/// Functions of values of one trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Function {
    /// The square root.
    Sqrt,
    /// The natural logarithm.
    Ln,
    /// The logarithm to base ten.
    Log10,
    /// The exponential.
    Exp,
    /// The magnitude.
    Abs,
    /// The smallest argument.
    Min,
    /// The largest argument.
    Max,
}

/// Words that take one quantity across its trials (or its theory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// `mean`
    Mean,
    /// `s`: the standard deviation.
    StandardDeviation,
    /// `range`
    Range,
    /// `theory`
    Theory,
    /// `percent error`
    PercentError,
    /// `relative s`
    RelativeStandardDeviation,
    /// `relative difference`
    RelativeDifference,
    /// `average deviation`
    AverageDeviation,
}
