//! Loads that say something of the balance and not of the sample: a check weight, the empty pan.

use crate::quantity::{Decimal, Number, Unit};

/// What the readings of a load are for.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum Role {
    /// A load of the experiment.
    #[default]
    Load,
    /// A check weight of this mass in kilograms: it shows how the indication has drifted.
    CheckWeight(Number),
    /// The empty pan, after taring: its reading is the zero of what is weighed alone.
    EmptyPan,
}

impl Role {
    /// By the things of a load: `check weight 20 g` and `empty pan`, each alone on the pan.
    pub fn of(things: &[String]) -> Self {
        let [thing] = things else { return Role::Load };
        let thing = thing.trim().to_lowercase();
        if thing == "empty pan" {
            return Role::EmptyPan;
        }
        thing.strip_prefix("check weight").and_then(mass).map_or(Role::Load, Role::CheckWeight)
    }
}

/// `20 g` in kilograms, above zero.
fn mass(text: &str) -> Option<Number> {
    let (number, unit) = text.trim().split_once(char::is_whitespace)?;
    let number = Decimal::parse(number, false).or_else(|_| Decimal::parse(number, true)).ok()?.to_number();
    let unit = Unit::parse(unit.trim()).ok()?;
    let mass = number.mul(unit.factor()).ok()?;
    let weighs =
        unit.dimension() == crate::quantity::Dimension::MASS && !mass.is_zero() && !mass.is_negative();
    weighs.then_some(mass)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_weights_are_known_by_their_mass() {
        let role = |text: &str| Role::of(&[text.to_owned()]);
        assert_eq!(role("check weight 20 g"), Role::CheckWeight(Number::from_ratio(20, 1000)));
        assert_eq!(role("Check weight 500 mg"), Role::CheckWeight(Number::from_ratio(500, 1_000_000)));
        assert_eq!(role("empty pan"), Role::EmptyPan);
        for other in ["check weight", "check weight 20 mL", "check weight 0 g", "weight", "crucible"] {
            assert_eq!(role(other), Role::Load, "{other}");
        }
        assert_eq!(Role::of(&["check weight 20 g".to_owned(), "cup".to_owned()]), Role::Load);
    }
}
