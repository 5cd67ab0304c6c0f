//! Statistics of a few trials or of a section's results, exact where fractions allow it.

mod agreement;
mod cells;
mod distribution;
mod draws;
mod histogram;
mod interval;
mod lanes;
mod ordered;
mod outliers;
mod rank_sum;
mod robust;
mod student;

pub use agreement::{Agreement, critical_range_factor};
pub use distribution::Distribution;
pub use draws::{GENERATOR, Stream};
pub use histogram::Histogram;
pub use interval::{TTest, interval_of_mean, pooled_s};
pub use lanes::vectorised;
pub use ordered::{CoverageInterval, Ordered, symmetric_interval};
pub use outliers::{
    DIXON_TABLE, Dixon, DixonLevel, DixonVerdict, GRUBBS_TABLE, Grubbs, GrubbsVerdict, Suspect,
    dixon_critical, grubbs_critical,
};
pub use rank_sum::{RankSum, holm};
pub use robust::{Robust, ZVerdict, horwitz, median, scaled_median_deviation, z_score, z_verdict};
pub use student::{student_t, student_t_share};
