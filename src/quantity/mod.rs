//! Numbers as they were written, exact arithmetic, units, significant figures and rounding.
//!
//! A reading is the decimal that was written ([`Decimal`]); values computed from readings are exact
//! fractions ([`Number`]) with a dimension and a last place ([`Quantity`]). Only [`rounding`] rounds, and
//! only when something is printed. The [`derivation`] graph remembers what each value was computed from.

mod decimal;
pub mod derivation;
mod digits;
mod fraction;
mod number;
mod print;
pub mod rounding;
mod uncertain;
mod unit;
mod value;

pub use decimal::{Decimal, DecimalError};
pub use decimal::{MOST_DIGITS, MOST_EXPONENT};
pub use digits::Digits;
pub use number::{INEXACT_FIGURES, MOST_BITS, Number, NumberError};
pub use print::{Printed, print, print_guarded};
pub use rounding::Rounding;
pub use uncertain::{
    PrintedUncertainty, Uncertainty, print_beside, print_by_uncertainty, print_double, print_double_figures,
    print_doubles, print_guarded_by_uncertainty, print_to_one_place, uncertainty_place,
};
pub use unit::{Dimension, Unit, UnitError};
pub use value::{Quantity, QuantityError};
