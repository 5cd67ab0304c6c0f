//! Values printed with their uncertainty.
//!
//! Under the policy “digits by the uncertainty” two figures of the expanded uncertainty decide the last place, and
//! value and uncertainty are rounded to that same place (JCGM 100:2008, 7.2.6). A value whose digits follow the
//! rule of significant figures may have its uncertainty beside it too; that is then rounded to fit the value.
//! Rounding is asked of [`rounding`](super::rounding).

use super::print::{Printed, is_plain, print};
use super::rounding::{round_to_figures, round_to_place, round_uncertainty};
use super::{Decimal, Digits, Number, Rounding};

/// Figures of the expanded uncertainty that decide the last place.
const FIGURES: u32 = 2;

/// The uncertainty of a value, in the value's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertainty {
    /// The standard uncertainty u.
    pub standard: Number,
    /// The expanded uncertainty U = k u, above zero.
    pub expanded: Number,
}

impl Uncertainty {
    /// From doubles; `None` where nothing is uncertain, or an uncertainty is no number.
    pub fn of(standard: f64, coverage_factor: f64) -> Option<Uncertainty> {
        let number = |value: f64| number(value).filter(|number| !number.is_zero() && !number.is_negative());
        Some(Uncertainty { standard: number(standard)?, expanded: number(standard * coverage_factor)? })
    }

    /// The last place that two figures of U leave.
    pub fn place(&self) -> i32 {
        round_to_figures(&self.expanded, FIGURES, Rounding::HalfEven).place()
    }
}

/// An uncertainty as it is printed beside a value.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct PrintedUncertainty {
    /// U, in the value's unit and in its power of ten: `0.042`.
    pub expanded: String,
    /// u in units of the value's last place, for `36.085(21)`; only where U has chosen that place and this form is
    /// asked for.
    pub concise: Option<String>,
}

impl PrintedUncertainty {
    /// A printed value with it in ASCII but for `±`: `36.085(21)`, `36.085 ± 0.042`, `(1.23 ± 0.12)e4`.
    pub fn beside(&self, printed: &Printed) -> String {
        let power = printed.exponent.map_or(String::new(), |power| format!("e{power}"));
        match (&self.concise, printed.exponent) {
            (Some(concise), _) => format!("{}({concise}){power}", printed.digits),
            (None, None) => format!("{} ± {}", printed.digits, self.expanded),
            (None, Some(_)) => format!("({} ± {}){power}", printed.digits, self.expanded),
        }
    }

    /// Without the concise form.
    pub fn without_concise(self) -> PrintedUncertainty {
        PrintedUncertainty { concise: None, ..self }
    }
}

/// A value and its uncertainty, both to the place that two figures of U leave and in one power of ten:
/// 36.0851 with U = 0.0423 is 36.085 and 0.042; 12 345 with U = 1234 is 1.23 and 0.12, times 10⁴.
pub fn print_by_uncertainty(
    number: &Number,
    uncertainty: &Uncertainty,
    rounding: Rounding,
) -> (Printed, PrintedUncertainty) {
    let place = uncertainty.place();
    let value = round_to_place(number, place, rounding);
    let expanded = round_uncertainty(&uncertainty.expanded, place);
    let standard = round_uncertainty(&uncertainty.standard, place);
    let leading = leading(&value).into_iter().chain(leading(&expanded)).max().unwrap_or(place);
    let power = (!is_plain(place, leading)).then_some(leading);
    let printed = Printed { digits: in_power(&value, power), exponent: power };
    let concise = Some((*standard.digits()).to_owned());
    (printed, PrintedUncertainty { expanded: in_power(&expanded, power), concise })
}

/// The uncertainty of a value that is `printed` by its figures: U to the value's last place, but with at least one
/// and at most two figures.
pub fn print_beside(
    number: &Number,
    printed: &Printed,
    digits: Digits,
    uncertainty: &Uncertainty,
) -> PrintedUncertainty {
    let finest = uncertainty.place();
    let coarsest = round_to_figures(&uncertainty.expanded, 1, Rounding::HalfEven).place().max(finest);
    let own = digits.place().filter(|_| digits.figures(number) != Some(0));
    let place = own.unwrap_or(finest).clamp(finest, coarsest);
    let expanded = round_uncertainty(&uncertainty.expanded, place);
    PrintedUncertainty { expanded: in_power(&expanded, printed.exponent), concise: None }
}

/// A value and its uncertainty to one last place: that of the value's figures where U has one or two figures down to
/// there, else the nearest at which it has. 1.0862 known to three figures with U = 0.079 is 1.09 and 0.08; with
/// U = 0.0031 it is 1.086 and 0.003.
pub fn print_to_one_place(
    number: &Number,
    printed: &Printed,
    uncertainty: &Uncertainty,
    rounding: Rounding,
) -> (Printed, PrintedUncertainty) {
    let finest = uncertainty.place();
    let coarsest = round_to_figures(&uncertainty.expanded, 1, Rounding::HalfEven).place().max(finest);
    let digits = Digits::Measured(printed.place().clamp(finest, coarsest));
    let shared = print(number, digits, rounding);
    let beside = print_beside(number, &shared, digits, uncertainty);
    (shared, beside)
}

/// The same value with one digit more than its uncertainty leaves it, for a worked calculation; the second value
/// says whether the last digit is a guard digit. A number that ends at that place gets none.
pub fn print_guarded_by_uncertainty(
    number: &Number,
    uncertainty: &Uncertainty,
    rounding: Rounding,
) -> (Printed, bool) {
    let place = uncertainty.place();
    let shown = round_to_place(number, place, rounding);
    if shown.to_number() == *number {
        return (print_by_uncertainty(number, uncertainty, rounding).0, false);
    }
    let guarded = round_to_place(number, place.saturating_sub(1), rounding);
    let leading = leading(&guarded).unwrap_or(place);
    let power = (!is_plain(guarded.place(), leading)).then_some(leading);
    (Printed { digits: in_power(&guarded, power), exponent: power }, true)
}

/// A double rounded to a place, half even, for tables of uncertainty; `None` for what is no number.
pub fn print_double(value: f64, place: i32) -> Option<Printed> {
    Some(Printed::of(&round_to_place(&number(value)?, place, Rounding::HalfEven)))
}

/// Doubles rounded to one place and printed in one power of ten, as a column of a table; what is no number is `None`.
pub fn print_doubles(values: &[f64], place: i32) -> Vec<Option<Printed>> {
    let rounded = |value: &f64| Some(round_to_place(&number(*value)?, place, Rounding::HalfEven));
    let rounded: Vec<Option<Decimal>> = values.iter().map(rounded).collect();
    let most = rounded.iter().flatten().filter_map(leading).max().unwrap_or(place);
    let power = (!is_plain(place, most)).then_some(most);
    let printed = |decimal: Decimal| Printed { digits: in_power(&decimal, power), exponent: power };
    rounded.into_iter().map(|decimal| decimal.map(printed)).collect()
}

/// A double rounded to so many figures.
pub fn print_double_figures(value: f64, figures: u32) -> Option<Printed> {
    Some(Printed::of(&round_to_figures(&number(value)?, figures, Rounding::HalfEven)))
}

/// The last place of two figures of an uncertainty; `None` for zero and for what is no number.
pub fn uncertainty_place(uncertainty: f64) -> Option<i32> {
    let number = number(uncertainty).filter(|number| !number.is_zero())?;
    Some(round_to_figures(&number, FIGURES, Rounding::HalfEven).place())
}

/// A double as the decimal it is to 21 figures.
fn number(value: f64) -> Option<Number> {
    let decimal = Decimal::parse(&format!("{value:.20e}"), false).ok()?;
    value.is_finite().then(|| decimal.to_number())
}

/// The power of ten of the first digit; none of a zero.
fn leading(decimal: &Decimal) -> Option<i32> {
    let digits = decimal.digits().len() as i32;
    (!decimal.is_zero()).then(|| decimal.place().saturating_add(digits - 1))
}

/// The digits of a rounded number in a power of ten (that of the units where none is split off).
fn in_power(decimal: &Decimal, power: Option<i32>) -> String {
    let shifted = decimal.place().saturating_sub(power.unwrap_or(0));
    if shifted <= 0 {
        return Decimal { exponent: shifted, ..decimal.clone() }.to_string();
    }
    let sign = if decimal.negative { "-" } else { "" };
    let zeros = if decimal.is_zero() { 0 } else { shifted as usize };
    format!("{sign}{}{}", &*decimal.digits(), "0".repeat(zeros))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decimal(text: &str) -> Number {
        Decimal::parse(text, false).unwrap().to_number()
    }

    fn uncertainty(standard: &str, expanded: &str) -> Uncertainty {
        Uncertainty { standard: decimal(standard), expanded: decimal(expanded) }
    }

    fn both(value: &str, standard: &str, expanded: &str) -> (String, String, String) {
        let uncertainty = uncertainty(standard, expanded);
        let (printed, with) = print_by_uncertainty(&decimal(value), &uncertainty, Rounding::HalfEven);
        let power = printed.exponent.map_or(String::new(), |power| format!("e{power}"));
        (printed.ascii(), with.expanded + &power, with.concise.unwrap())
    }

    fn said(value: &str, expanded: &str, concise: &str) -> (String, String, String) {
        (value.into(), expanded.into(), concise.into())
    }

    // JCGM 100:2008, 7.2.2 and 7.2.4, from memory: m_S = 100.021 47 g with u = 0.35 mg and U = 0.79 mg (k = 2.26) is
    // 100.021 47(35) g and (100.021 47 ± 0.000 79) g.
    #[test]
    fn the_guides_own_mass() {
        assert_eq!(both("100.02147", "0.00035", "0.00079"), said("100.02147", "0.00079", "35"));
    }

    // JCGM 100:2008, 7.2.6: estimates and their uncertainties are rounded to be consistent with each other.
    #[test]
    fn value_and_uncertainty_end_at_one_place() {
        let one_place = |printed: &str, expanded: &str| {
            let printed = Printed { digits: printed.into(), exponent: None };
            let uncertainty = uncertainty(expanded, expanded);
            let number = decimal("1.08624");
            let (value, with) = print_to_one_place(&number, &printed, &uncertainty, Rounding::HalfEven);
            (value.ascii(), with.expanded)
        };
        let pair = |value: &str, expanded: &str| (value.to_string(), expanded.to_string());
        assert_eq!(one_place("1.09", "0.079"), pair("1.09", "0.08"));
        assert_eq!(one_place("1.0862", "0.079"), pair("1.086", "0.079"));
        assert_eq!(one_place("1.09", "0.0031"), pair("1.086", "0.003"));
        assert_eq!(one_place("1", "0.31"), pair("1.1", "0.3"));
    }

    // JCGM 100:2008, 7.2.6, from memory: 10.057 62 Ω with u = 27 mΩ is rounded to 10.058 Ω.
    #[test]
    fn the_guides_own_resistance() {
        assert_eq!(both("10.05762", "0.027", "0.054"), said("10.058", "0.054", "27"));
    }

    #[test]
    fn a_carry_of_the_uncertainty_moves_the_place() {
        assert_eq!(both("36.0851", "0.0498", "0.0996"), said("36.09", "0.10", "5"));
    }

    #[test]
    fn one_power_of_ten_for_both() {
        assert_eq!(both("12345", "617", "1234"), said("1.23e4", "0.12e4", "6"));
        assert_eq!(both("12", "617", "1234"), said("0.0e3", "1.2e3", "6"));
        assert_eq!(both("0.0000123456", "0.00000006", "0.00000012"), said("1.235e-5", "0.012e-5", "6"));
        assert_eq!(both("-0.001", "0.06", "0.12"), said("0.00", "0.12", "6"));
    }

    #[test]
    fn beside_figures_at_least_one_and_at_most_two() {
        let beside = |value: &str, place, expanded: &str| {
            let (number, digits) = (decimal(value), Digits::Measured(place));
            let printed = super::super::print(&number, digits, Rounding::HalfEven);
            print_beside(&number, &printed, digits, &uncertainty("1", expanded)).expanded
        };
        assert_eq!(beside("36.085", -2, "0.0383"), "0.04");
        assert_eq!(beside("20.85", -2, "0.0042"), "0.004");
        assert_eq!(beside("36.09", -2, "12.34"), "12");
        assert_eq!(beside("-0.4", -1, "0.099"), "0.1");
        assert_eq!(beside("36.09", -2, "0.144"), "0.14");
        // Rounding down by more than 5 % goes up instead.
        assert_eq!(beside("36.09", -2, "0.0142"), "0.02");
        assert_eq!(beside("36.09", -2, "0.0423"), "0.05");
        assert_eq!(beside("36.09", -2, "0.0104"), "0.01");
    }

    #[test]
    fn a_column_has_one_power_of_ten() {
        let column = |values: &[f64], place| -> Vec<String> {
            print_doubles(values, place).iter().map(|printed| printed.as_ref().unwrap().ascii()).collect()
        };
        assert_eq!(column(&[0.00135, 0.00006], -5), ["0.00135", "0.00006"]);
        assert_eq!(column(&[1.35e-6, 6e-8], -8), ["1.35e-6", "0.06e-6"]);
        assert_eq!(column(&[0.0, 1250.0], 1), ["0.00e3", "1.25e3"]);
    }

    #[test]
    fn an_uncertainty_of_nothing_is_none() {
        assert!(Uncertainty::of(0.0, 2.0).is_none());
        assert!(Uncertainty::of(f64::NAN, 2.0).is_none());
        assert!(Uncertainty::of(0.021, 2.0).is_some());
    }
}
