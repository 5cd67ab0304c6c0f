//! Numbers of a derivation as text: with their units, and one guard digit where they are put into a formula.

use crate::evaluation::results::Results;
use crate::notebook::settings::DecimalMark;
use crate::quantity::derivation::NodeId;
use crate::quantity::{Printed, Unit, print_guarded};

/// How a notebook prints its numbers.
pub(super) struct Numbers<'a> {
    results: &'a Results,
    comma: bool,
}

impl<'a> Numbers<'a> {
    pub(super) fn of(results: &'a Results) -> Self {
        Numbers { results, comma: results.settings.decimal == DecimalMark::Comma }
    }

    /// A printed number with its unit.
    pub(super) fn with_unit(&self, printed: &Printed, unit: &Unit) -> String {
        joined(printed.typographic(self.comma), unit)
    }

    /// A reading as it was written (decimal point), with its unit.
    pub(super) fn written(&self, digits: &str, unit: &Unit) -> String {
        let digits = if self.comma { digits.replace('.', ",") } else { digits.to_owned() };
        joined(digits.replace('-', "−"), unit)
    }

    /// The value of a node in a unit, with a guard digit where it has more digits than it is shown with.
    pub(super) fn guarded(&self, node: NodeId, unit: &Unit) -> String {
        let quantity = self.results.graph.quantity(node);
        match quantity.number_in(unit) {
            Ok(value) => {
                let (printed, _) =
                    print_guarded(&value, quantity.digits_in(unit), self.results.settings.rounding);
                self.with_unit(&printed, unit)
            }
            Err(_) => "–".to_owned(),
        }
    }

    /// The same in a unit by its spelling.
    pub(super) fn in_unit(&self, node: NodeId, spelling: &str) -> String {
        let own = || Unit::from_base(self.results.graph.quantity(node).dimension);
        self.guarded(node, &Unit::parse(spelling).unwrap_or_else(|_| own()))
    }
}

fn joined(number: String, unit: &Unit) -> String {
    if unit.is_one() { number } else { format!("{number} {}", unit.typographic()) }
}
