//! Statistics of a few trials, exact where fractions allow it.

mod agreement;
mod distribution;
mod student;

pub use agreement::{Agreement, critical_range_factor};
pub use distribution::Distribution;
pub use student::student_t;
