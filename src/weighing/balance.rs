//! What a balance says about one weighing.

use crate::notebook::settings::{Balance, Settings};
use crate::quantity::{Decimal, Number, Quantity, Unit};
use crate::statistics::Distribution;

/// The settings' balance of this name (case folded).
pub fn named<'a>(settings: &'a Settings, name: &str) -> Option<&'a Balance> {
    settings.balances.iter().find(|balance| balance.name.value.eq_ignore_ascii_case(name))
}

/// The scale interval d of a reading in kilograms: its balance's readability, else its last written place.
pub fn scale_interval(balance: Option<&Balance>, reading: &Decimal, unit: &Unit) -> Option<Number> {
    match balance.and_then(|balance| balance.readability.as_ref()) {
        Some(readability) => Some(readability.number.clone()),
        None => Number::power_of_ten(reading.place()).mul(unit.factor()).ok(),
    }
}

/// The scatter of one weighing in kilograms (JCGM 100, 4.3.7 and F.2.2): the balance's repeatability, or the
/// scale interval taken as rectangular where that is larger. Not both: the scatter of readings already holds the
/// rounding of the display.
pub fn scatter(balance: Option<&Balance>, scale_interval: &Number) -> Distribution {
    let rounding = Distribution::Rectangular { half_width: scale_interval.to_f64() / 2.0 };
    let standard_deviation = mass(balance, |balance| &balance.repeatability);
    if standard_deviation < rounding.standard_uncertainty() {
        return rounding;
    }
    match balance.and_then(|balance| balance.further.repeatability_dof) {
        Some(degrees_of_freedom) => Distribution::StudentT { scale: standard_deviation, degrees_of_freedom },
        None => Distribution::Normal { standard_deviation },
    }
}

/// The deviation from linearity in kilograms, as a half-width of limits; `None` where none is stated.
pub fn linearity(balance: Option<&Balance>) -> Option<Distribution> {
    let half_width = mass(balance, |balance| &balance.linearity);
    (half_width > 0.0).then_some(Distribution::Rectangular { half_width })
}

fn mass(balance: Option<&Balance>, pick: fn(&Balance) -> &Option<Quantity>) -> f64 {
    balance.and_then(|balance| pick(balance).as_ref()).map_or(0.0, |quantity| quantity.number.to_f64())
}

/// The standard uncertainty of one weighing in kilograms, both effects together.
pub fn standard_uncertainty(balance: Option<&Balance>, scale_interval: &Number) -> f64 {
    let linearity = linearity(balance).map_or(0.0, |linearity| linearity.standard_uncertainty());
    scatter(balance, scale_interval).standard_uncertainty().hypot(linearity)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Eurachem/CITAC Guide CG 4, example A2: a linearity of ±0.15 mg, counted once for the gross and once for
    // the tare weighing, gives 0.1225 mg (printed 0.13 after rounding 0.15/√3 to 0.09).
    #[test]
    fn linearity_counts_once_per_weighing() {
        let milligram = Unit::parse("mg").unwrap();
        let quantity = |text: &str| {
            Quantity::from_decimal(&Decimal::parse(text, false).unwrap(), &milligram, true).unwrap()
        };
        let balance = Balance {
            name: crate::span::Spanned::new("X".into(), crate::span::Span::default()),
            readability: None,
            readability_text: None,
            repeatability: None,
            linearity: Some(quantity("0.15")),
            further: Default::default(),
            facts: Vec::new(),
        };
        let one = standard_uncertainty(Some(&balance), &Number::zero());
        assert!((one.hypot(one) * 1e6 - 0.1225).abs() < 5e-5);
    }
}
