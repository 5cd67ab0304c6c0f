//! Digits by the uncertainty: published roundings, properties, and every messy notebook under the policy.

use proptest::prelude::*;
use reweigh::evaluation::results::{Outcome, QuantityResult};
use reweigh::files::Memory;
use reweigh::quantity::{
    Decimal, Digits, Number, Printed, PrintedUncertainty, Rounding, Uncertainty, print, print_beside,
    print_by_uncertainty,
};

fn number(text: &str) -> Number {
    Decimal::parse(text, false).unwrap_or_else(|error| panic!("{text}: {error}")).to_number()
}

fn uncertainty(standard: &str, expanded: &str) -> Uncertainty {
    Uncertainty { standard: number(standard), expanded: number(expanded) }
}

fn printed(value: &str, expanded: &str, rounding: Rounding) -> String {
    print_by_uncertainty(&number(value), &uncertainty(expanded, expanded), rounding).0.ascii()
}

/// The power of ten of the last digit printed.
fn last_place(digits: &str, power: Option<i32>) -> i32 {
    power.unwrap_or(0) - digits.split_once('.').map_or(0, |(_, decimals)| decimals.len() as i32)
}

fn value_of(digits: &str, power: Option<i32>) -> Number {
    number(&format!("{digits}e{}", power.unwrap_or(0)))
}

// ISO 80000-1, annex B, rules A and B (from memory): rounding ranges 0.1 and 10, here chosen by a U of two figures. A tie
// is one of the number as written.
#[test]
fn the_place_that_an_uncertainty_chooses_is_rounded_to_by_rule_a_or_b() {
    let (a, b) = (Rounding::HalfEven, Rounding::HalfAwayFromZero);
    for (value, by_a, by_b) in [
        ("12.223", "12.2", "12.2"),
        ("12.251", "12.3", "12.3"),
        ("12.275", "12.3", "12.3"),
        ("12.25", "12.2", "12.3"),
        ("12.35", "12.4", "12.4"),
        // not in two stages, by 12.25 to 12.2
        ("12.254", "12.3", "12.3"),
    ] {
        assert_eq!(printed(value, "1.5", a), by_a, "{value}");
        assert_eq!(printed(value, "1.5", b), by_b, "{value}");
    }
    for (value, by_a, by_b) in [
        ("1222.3", "1.22e3", "1.22e3"),
        ("1225.1", "1.23e3", "1.23e3"),
        ("1225.0", "1.22e3", "1.23e3"),
        ("1235.0", "1.24e3", "1.24e3"),
    ] {
        assert_eq!(printed(value, "150", a), by_a, "{value}");
        assert_eq!(printed(value, "150", b), by_b, "{value}");
    }
}

// OpenStax Chemistry 2e, 1.5, example fs-idp40552528: numbers that have no exact double. The same places, chosen by U.
#[test]
fn ties_are_those_of_the_decimal() {
    assert_eq!(printed("0.051065", "0.00015", Rounding::HalfEven), "0.05106");
    assert_eq!(printed("0.90275", "0.0015", Rounding::HalfEven), "0.9028");
    assert_eq!(printed("421.25", "1.5", Rounding::HalfEven), "421.2");
    assert_eq!(printed("28683.5", "15", Rounding::HalfEven), "28684");
}

/// A decimal of up to twelve digits with its exponent.
fn any_number() -> impl Strategy<Value = String> {
    (-999_999_999_999i64..=999_999_999_999, -24i32..12)
        .prop_map(|(digits, power)| format!("{digits}e{power}"))
}

fn any_uncertainty() -> impl Strategy<Value = (f64, f64)> {
    (1.0f64..10.0, -15i32..12, 1.0f64..13.0).prop_map(|(digits, power, k)| (digits * 10f64.powi(power), k))
}

fn rounding() -> impl Strategy<Value = Rounding> {
    prop_oneof![Just(Rounding::HalfEven), Just(Rounding::HalfAwayFromZero)]
}

/// What value and U say of each other: the same last place, two figures of U, and no more than half a unit hidden.
fn assert_fitting(value: &Number, uncertainty: &Uncertainty, printed: &Printed, beside: &PrintedUncertainty) {
    let place = last_place(&printed.digits, printed.exponent);
    assert_eq!(place, last_place(&beside.expanded, printed.exponent), "{printed} ± {}", beside.expanded);
    let figures: String = beside.expanded.chars().filter(char::is_ascii_digit).collect();
    assert_eq!(figures.trim_start_matches('0').len(), 2, "{printed} ± {}", beside.expanded);
    let half = Number::power_of_ten(place).mul(&Number::from_ratio(1, 2)).unwrap();
    let off = |shown: &Number, exact: &Number| shown.sub(exact).unwrap().abs();
    assert!(off(&value_of(&printed.digits, printed.exponent), value) <= half, "{printed} hides too much");
    let shown = value_of(&beside.expanded, printed.exponent);
    assert!(off(&shown, &uncertainty.expanded) <= half, "± {} hides too much", beside.expanded);
    let least = uncertainty.expanded.mul(&Number::from_ratio(95, 100)).unwrap();
    assert!(shown >= least, "± {} is much smaller than U", beside.expanded);
}

proptest! {
    #[test]
    fn value_and_uncertainty_share_their_last_place(
        value in any_number(), (u, k) in any_uncertainty(), rounding in rounding(),
    ) {
        let (value, uncertainty) = (number(&value), Uncertainty::of(u, k).unwrap());
        let (printed, beside) = print_by_uncertainty(&value, &uncertainty, rounding);
        assert_fitting(&value, &uncertainty, &printed, &beside);
        // The concise form: u in units of that place, not much smaller than it.
        let units: i64 = beside.concise.unwrap().parse().unwrap();
        let place = last_place(&printed.digits, printed.exponent);
        let shown = Number::from_i64(units).mul(&Number::power_of_ten(place)).unwrap();
        prop_assert!(shown >= uncertainty.standard.mul(&Number::from_ratio(95, 100)).unwrap());
        let above = shown.sub(&uncertainty.standard).unwrap();
        prop_assert!(above <= Number::power_of_ten(place));
    }

    #[test]
    fn beside_figures_the_uncertainty_has_one_or_two(
        value in any_number(), place in -18i32..6, (u, k) in any_uncertainty(),
    ) {
        let (value, uncertainty) = (number(&value), Uncertainty::of(u, k).unwrap());
        let digits = Digits::Measured(place);
        let printed = print(&value, digits, Rounding::HalfEven);
        let beside = print_beside(&value, &printed, digits, &uncertainty);
        let shown = value_of(&beside.expanded, printed.exponent);
        let least = uncertainty.expanded.mul(&Number::from_ratio(95, 100)).unwrap();
        let most = uncertainty.expanded.mul(&Number::from_i64(2)).unwrap();
        prop_assert!(shown >= least && shown <= most, "{} for {}", beside.expanded, uncertainty.expanded.to_f64());
        let figures: String = beside.expanded.chars().filter(char::is_ascii_digit).collect();
        // Zeros at the end may stand for places above the units.
        let figures = figures.trim_start_matches('0').trim_end_matches('0').len();
        prop_assert!(figures <= 2, "{}", beside.expanded);
    }
}

fn outcomes(quantity: &QuantityResult) -> impl Iterator<Item = &Outcome> {
    quantity.trials.iter().chain(&quantity.scalar)
}

/// How many values of a notebook have an uncertainty beside them, each looked at.
fn look_at(name: &str, text: &str) -> usize {
    let text = text.replacen("```experiment", "```experiment\ndigits = \"uncertainty\"", 1);
    let computed = reweigh::compute(name, text.as_bytes(), &Memory::default());
    let mut looked = 0;
    for quantity in &computed.results.quantities {
        let values = outcomes(quantity).filter_map(Outcome::value);
        let values = values.map(|value| (&value.number, &value.printed, &value.uncertainty, value.evaluated));
        let mean = quantity.agreement.as_ref();
        let mean = mean.map(|a| (&a.mean.number, &a.mean.printed, &a.mean.uncertainty, a.evaluated));
        for (number, printed, beside, evaluated) in values.chain(mean) {
            let (Some(beside), Some(evaluated)) = (beside, evaluated) else { continue };
            let uncertainty = Uncertainty::of(evaluated.standard, evaluated.coverage_factor).unwrap();
            assert_fitting(number, &uncertainty, printed, beside);
            looked += 1;
        }
    }
    looked
}

#[test]
fn every_notebook_keeps_it() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut looked = 0;
    for folder in ["notebooks", "notebooks/field", "tests/published"] {
        for entry in std::fs::read_dir(root.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let text = std::fs::read_to_string(&path).unwrap_or_default();
            let sets_digits = text.contains("\ndigits");
            if path.extension().is_some_and(|ending| ending == "md") && !sets_digits {
                looked += look_at(&path.to_string_lossy(), &text);
            }
        }
    }
    assert!(looked > 500, "only {looked} values have an uncertainty");
}
