//! Loads and their series: which trials there are, what was weighed, what follows for each mass, and
//! whether a series has reached constant mass.
//!
//! No word is special here: a load is the set of things on the pan, and every mass that follows uniquely
//! from the loads is known. Formulas belong to the room after this one.

pub mod algebra;
pub mod balance;
pub mod buoyancy;
pub mod constant_mass;
mod load;
mod nesting;
mod role;
mod series;
mod trials;

pub use load::Load;
pub use nesting::Nesting;
pub use role::Role;
pub use series::{ReadingAt, WeighedRow, WeighedSeries, Weighings};
pub use trials::{Trial, Trials};
