//! Significant figures: the last place of a value, tracked through every operation.

/// How far a value can be trusted, by the teaching rule of significant figures. Places are powers of ten
/// in the value's coherent SI unit: a mass read to 0.1 mg has the place −7, for kilograms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Digits {
    /// No limit: whole-number literals, coefficients, counts, unit factors.
    Exact,
    /// A tabulated value (molar mass) down to this place; it limits only where nothing measured enters.
    Tabulated(i32),
    /// A reading, a decimal literal or something computed from one, down to this place.
    Measured(i32),
}
