//! Printed forms of a value, by its digits.
//!
//! Decides how many digits are shown and where a power of ten is split off; the rounding itself is asked
//! of [`rounding`](super::rounding). Units are not its business: places are powers of ten in the unit of
//! the number it is given.

use super::decimal::with_point;
use super::rounding::{round_to_figures, round_to_place};
use super::{Decimal, Digits, Number, Rounding};
use std::fmt;

/// Below this leading power a power of ten is split off: 0.0001 is written out, 0.00001 is not.
const LEAST_PLAIN_POWER: i32 = -4;
/// From this leading power on a power of ten is split off (15 integer digits).
const FIRST_SPLIT_POWER: i32 = 14;
/// A zero is written out to so many decimals.
const MOST_ZERO_DECIMALS: i32 = 15;
/// Exact numbers are printed whole if they end within so many decimals …
const EXACT_DECIMALS: i32 = 12;
/// … and this many figures, else with [`UNENDING_FIGURES`].
const EXACT_FIGURES: u32 = 34;
/// Figures of a number without a limit that does not end.
const UNENDING_FIGURES: u32 = 6;
/// Leading powers that [`figures`] writes plainly reach down to this.
const LEAST_FIGURES_POWER: i32 = -7;

/// A printed number: ASCII digits with `-` and `.`, and a power of ten where one is split off.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Printed {
    /// The digits, trailing zeros kept (`36.09`, `1.4`).
    pub digits: String,
    /// The power of ten (`2` for 1.4 × 10²).
    pub exponent: Option<i32>,
}

impl Printed {
    /// The number in ASCII: `36.09`, `-0.0029`, `1.4e2`.
    pub fn ascii(&self) -> String {
        match self.exponent {
            None => self.digits.clone(),
            Some(power) => format!("{}e{power}", self.digits),
        }
    }

    /// The number as set in print: `1.4 × 10²`, with the minus sign U+2212 and a decimal comma if `comma`.
    pub fn typographic(&self, comma: bool) -> String {
        let digits = self.digits.replace('-', "−");
        let digits = if comma { digits.replace('.', ",") } else { digits };
        match self.exponent {
            None => digits,
            Some(power) => format!("{digits} × 10{}", superscript(power)),
        }
    }

    /// The last place, as a power of ten: -2 for `36.09`, 1 for `1.4e2`.
    pub fn place(&self) -> i32 {
        let decimals = self.digits.split_once('.').map_or(0, |(_, after)| after.len() as i32);
        self.exponent.unwrap_or(0).saturating_sub(decimals)
    }

    /// A number that was rounded already, as it is printed.
    pub fn of_decimal(decimal: &Decimal) -> Printed {
        Printed::of(decimal)
    }

    /// A rounded number, with a power of ten split off where its magnitude asks for it.
    pub(super) fn of(decimal: &Decimal) -> Printed {
        let digits = decimal.digits();
        let last = decimal.place();
        let leading = last.saturating_add(digits.len() as i32 - 1);
        if decimal.is_zero() && last > 0 {
            // A zero known to tens only is still a zero; a power of ten beside it says nothing to a reader.
            return Printed { digits: "0".to_owned(), exponent: None };
        }
        let plain = match decimal.is_zero() {
            true => (-MOST_ZERO_DECIMALS..=0).contains(&last),
            false => is_plain(last, leading),
        };
        if plain {
            Printed { digits: decimal.text_of(&digits), exponent: None }
        } else {
            Printed::split(decimal)
        }
    }

    /// The digits with the mark after the first, and the power of ten.
    fn split(decimal: &Decimal) -> Printed {
        let digits = decimal.digits();
        let after = digits.len() - 1;
        let sign = if decimal.negative { "-" } else { "" };
        Printed {
            digits: with_point(sign, &digits, after),
            exponent: Some(decimal.place().saturating_add(after as i32)),
        }
    }

    /// Without the zeros at the end of its decimals.
    fn trimmed(self) -> Printed {
        match self.digits.contains('.') {
            false => self,
            true => {
                Printed { digits: self.digits.trim_end_matches('0').trim_end_matches('.').to_owned(), ..self }
            }
        }
    }
}

/// Whether a number with this last place and leading power is written without a power of ten.
pub(super) fn is_plain(last: i32, leading: i32) -> bool {
    last <= 0 && (LEAST_PLAIN_POWER..FIRST_SPLIT_POWER).contains(&leading)
}

impl fmt::Display for Printed {
    /// [`Printed::ascii`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.ascii())
    }
}

/// Prints a number by its digits (places in the unit of the number).
///
/// A limit by place keeps the place (9.996 to two decimals is 10.00), a limit by count keeps the count
/// (9.996 to three figures is 10.0). Numbers without a limit are printed whole where they end within 12
/// decimals and 34 figures, else with six figures.
pub fn print(number: &Number, digits: Digits, rounding: Rounding) -> Printed {
    match limited(number, digits, rounding, 0) {
        Some(decimal) => Printed::of(&decimal),
        None => print_exact(number, rounding),
    }
}

/// The same with one more digit, for numbers put into a worked calculation. Exact numbers get none, and a
/// number that ends at its last place (a reading) gets none either: a zero behind it would claim a digit
/// that was never read. The second value says whether the last digit is a guard digit.
pub fn print_guarded(number: &Number, digits: Digits, rounding: Rounding) -> (Printed, bool) {
    let guarded = limited(number, digits, rounding, 1);
    match (limited(number, digits, rounding, 0), guarded) {
        (Some(shown), Some(guarded)) if shown.to_number() != *number => (Printed::of(&guarded), true),
        _ => (print(number, digits, rounding), false),
    }
}

/// The number rounded by its limit, with `more` digits than that; `None` where it has no limit.
fn limited(number: &Number, digits: Digits, rounding: Rounding, more: i32) -> Option<Decimal> {
    let place = digits.place()?;
    if more == 0 && matches!(digits, Digits::MeasuredNothing(_)) {
        return Some(round_to_place(&Number::zero(), place, rounding));
    }
    Some(match digits.figures(number) {
        Some(figures) if digits.is_count() && figures > 0 => {
            round_to_figures(number, figures.saturating_add(more).unsigned_abs(), rounding)
        }
        _ => round_to_place(number, place.saturating_sub(more), rounding),
    })
}

fn print_exact(number: &Number, rounding: Rounding) -> Printed {
    let whole = round_to_place(number, -EXACT_DECIMALS, rounding);
    if number.is_exact() && whole.to_number() == *number && number.terminates_within(EXACT_FIGURES) {
        return Printed::of(&written_out(number, &whole)).trimmed();
    }
    let rounded = round_to_figures(number, UNENDING_FIGURES, rounding);
    let printed = Printed::of(&rounded);
    if number.is_exact() && rounded.to_number() == *number { printed.trimmed() } else { printed }
}

/// An exact number that ends at or before the place of `decimal`, without decimals where it is whole.
fn written_out(number: &Number, decimal: &Decimal) -> Decimal {
    if number.is_whole() { round_to_place(number, 0, Rounding::HalfEven) } else { decimal.clone() }
}

/// [`Number::to_figures`].
pub(super) fn figures(number: &Number, figures: u32) -> String {
    let rounded = round_to_figures(number, figures, Rounding::HalfEven);
    let leading = number.leading_power().unwrap_or(0);
    let plain = rounded.place() <= 0 && leading >= LEAST_FIGURES_POWER;
    let printed = match plain || rounded.is_zero() {
        true => Printed { digits: rounded.text(), exponent: None },
        false => Printed::split(&rounded),
    };
    if number.terminates_within(figures) { printed.trimmed().ascii() } else { printed.ascii() }
}

/// A whole number in superscript digits.
pub(super) fn superscript(value: i32) -> String {
    value.to_string().chars().map(superscript_character).collect()
}

fn superscript_character(c: char) -> char {
    match c {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '0' => '⁰',
        // 4 to 9 stand in a row.
        digit => digit.to_digit(10).and_then(|d| char::from_u32(0x2070 + d)).unwrap_or(digit),
    }
}
