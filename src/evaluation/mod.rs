//! From a notebook to its results.

pub mod formula_tree;
pub mod results;
