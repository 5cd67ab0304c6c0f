//! What stands on the pan, compared without regard to order, blanks and case.

use crate::notebook::{thing_key, things};

/// A load: a set of things, by their keys.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Load {
    /// The keys of the things, sorted.
    pub things: Vec<String>,
}

impl Load {
    /// The load of these things, in any order.
    pub fn of<'a>(things: impl IntoIterator<Item = &'a str>) -> Self {
        let mut things: Vec<String> = things.into_iter().map(thing_key).collect();
        things.sort();
        Load { things }
    }

    /// Reads a load as written in `m(…)`: things joined by ` + `.
    pub fn parse(text: &str) -> Self {
        Load::of(things(text).iter().map(String::as_str))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_blanks_and_case_do_not_matter() {
        assert_eq!(Load::parse("Crucible  +  residue"), Load::parse("residue + crucible"));
    }

    #[test]
    fn formulas_keep_their_case_and_fold_their_dots() {
        assert_ne!(Load::parse("boat + CO"), Load::parse("boat + Co"));
        assert_eq!(Load::parse("dish + CuSO4.5H2O"), Load::parse("dish + CuSO4·5H2O"));
        assert_eq!(Load::parse("dish + CuSO4*5H2O"), Load::parse("dish + CuSO4·5H2O"));
    }
}
