//! Standard atomic weights by named tables.
use crate::quantity::Decimal;

/// A table of atomic weights: a built-in one, with the changes a course or notebook makes.
#[derive(Clone, Debug)]
pub struct AtomicWeights {
    name: String,
    changes: Vec<(String, Decimal)>,
}
