//! Statistics of a few trials, exact where fractions allow it.

mod agreement;

pub use agreement::{Agreement, critical_range_factor};
