//! A decimal number exactly as it was written, trailing zeros and all.

use dashu_int::IBig;

/// `coefficient × 10^exponent`; `18.2740` is `182740 × 10^-4`, so its last place is kept.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Decimal {
    /// All written digits as one whole number, with the sign.
    pub coefficient: IBig,
    /// The power of ten of the last written digit (its last place).
    pub exponent: i32,
    /// Whether the number was written negative (`-0.0002`, and `-0.0` too).
    pub negative: bool,
}

/// Why a text is not a decimal number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DecimalError {
    /// Nothing there.
    Empty,
    /// A character that no number has, at this byte of the text.
    Unexpected(usize, char),
    /// A comma between digits where the decimal mark is a point, or the other way round.
    WrongMark(usize),
    /// More digits, or a larger exponent, than the program takes on.
    TooLarge,
}

/// Most digits a written number may have.
pub const MOST_DIGITS: usize = 400;
/// Largest magnitude of a written exponent.
pub const MOST_EXPONENT: i32 = 400;
