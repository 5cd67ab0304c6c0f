//! The one place where numbers are rounded.

/// What happens to a value exactly half-way between two neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Rounding {
    /// To the neighbour whose last digit is even (ISO 80000-1 rule A, ASTM E29). The default.
    #[default]
    HalfEven,
    /// Away from zero.
    HalfAwayFromZero,
}
