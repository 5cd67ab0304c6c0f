//! Chemical formulas: nested groups, hydrates, charges, isotopes, state symbols.

/// A formula that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Formula {
    text: String,
}

/// Why a text is no formula.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormulaError {
    /// What was found and expected, lower case.
    pub message: String,
    /// The bytes of the text it is about.
    pub range: std::ops::Range<usize>,
    /// How to mend it, where that is clear.
    pub hint: Option<String>,
}
