//! Rules written as text in `experiment`: constant mass, repeatability limits, amounts with a unit.
//!
//! ```text
//! rule   = [ "not more than" | "less than" ] limit | "fixed time"
//! limit  = [ "the" ] ( "larger" | "smaller" ) "of" limit "and" limit
//!        | number ( "scale interval" | "scale intervals" )
//!        | number unit                          a mass, a mass per mass (per gram of sample), or a fraction
//! share  = number "%" [ "gross" | "net" | "of the gross mass" | "of the net mass" ]
//! ```

use super::context;
use super::expression::number_length;
use super::passage::{Passage, fold_blanks};
use super::settings::{ConstantMassRule, MassLimit};
use crate::quantity::{Decimal, Dimension, Quantity, Unit};
use dashu_int::IBig;

/// Deepest nesting of `larger of … and …`.
const MOST_NESTING: usize = 8;

/// Why a text is no rule: what was found and what was expected.
type Problem = String;

/// Reads a constant-mass rule.
pub(super) fn constant_mass(text: &str, comma: bool) -> Result<ConstantMassRule, Problem> {
    let text = fold_blanks(text).into_owned();
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    if words.is_empty() {
        return Err("an empty rule".to_owned());
    }
    let mut reader = Reader { words: &words, comma, depth: 0 };
    if reader.take(&["fixed", "time"]) {
        reader.end()?;
        return Ok(ConstantMassRule { text, limit: MassLimit::FixedTime, strict: false });
    }
    let strict = reader.take(&["less", "than"]);
    if !strict {
        reader.take(&["not", "more", "than"]);
    }
    let limit = reader.limit()?;
    reader.end()?;
    Ok(ConstantMassRule { text: text.clone(), limit, strict })
}

/// Reads `0.2 %`, `2 % relative` or `relative 2 %`: the limit, its unit, and whether it is relative to the
/// mean. An absolute limit of a pure number may stand without a unit; a relative one is a fraction that says so.
pub(super) fn repeatability(text: &str, comma: bool) -> Result<(Quantity, Unit, bool), Problem> {
    let text = fold_blanks(text);
    let before = text.strip_prefix("relative ").unwrap_or(&text);
    let after = ["relative", "of the mean", "of mean"].iter().find_map(|words| before.strip_suffix(words));
    let relative = before.len() != text.len() || after.is_some();
    let read = if relative { amount } else { amount_or_number };
    let (number, unit) = read(after.unwrap_or(before), comma)?;
    if relative && !unit.dimension().is_pure() {
        return Err(format!("a relative limit is a fraction such as `2 %`, not in `{unit}`"));
    }
    Ok((quantity(&number, &unit)?, unit, relative))
}

/// Reads a number with its unit, such as `0.1 mg`; not below zero.
pub(super) fn amount(text: &str, comma: bool) -> Result<(Decimal, Unit), Problem> {
    let text = text.trim();
    let (number, unit) = text.split_at(number_length(text));
    if number.is_empty() {
        return Err(format!("`{text}` does not start with a number; expected one such as `0.1 mg`"));
    }
    let number = context::number(Passage { text: number, start: 0 }, comma, "a number with a unit");
    let number = number.map_err(|finding| finding.message)?;
    if unit.trim().is_empty() {
        return Err(format!("`{text}` has no unit; expected one such as `0.1 mg`"));
    }
    let unit = Unit::parse(unit).map_err(|error| match error.suggestion {
        Some(meant) => format!("{}; did you mean `{meant}`?", error.message),
        None => error.message,
    })?;
    Ok((number, unit))
}

/// Reads an amount, or a pure number without a unit.
pub(super) fn amount_or_number(text: &str, comma: bool) -> Result<(Decimal, Unit), Problem> {
    let length = text.trim().len();
    if number_length(text.trim()) < length || length == 0 {
        return amount(text, comma);
    }
    let number = context::number(Passage { text: text.trim(), start: 0 }, comma, "a number");
    Ok((number.map_err(|finding| finding.message)?, Unit::one()))
}

/// An exact amount: a limit is what it says.
pub(super) fn quantity(number: &Decimal, unit: &Unit) -> Result<Quantity, Problem> {
    Quantity::from_decimal(number, unit, false).map_err(|error| error.to_string())
}

struct Reader<'a> {
    words: &'a [&'a str],
    comma: bool,
    depth: usize,
}

impl<'a> Reader<'a> {
    /// Takes words if they come next, whatever their case.
    fn take(&mut self, wanted: &[&str]) -> bool {
        let found = self.words.get(..wanted.len()).is_some_and(|words| {
            words.iter().zip(wanted).all(|(word, wanted)| word.eq_ignore_ascii_case(wanted))
        });
        if found {
            self.words = self.words.get(wanted.len()..).unwrap_or(&[]);
        }
        found
    }

    fn end(&self) -> Result<(), Problem> {
        match self.words.first() {
            None => Ok(()),
            Some(word) => Err(format!("unexpected `{word}`; expected nothing more")),
        }
    }

    fn limit(&mut self) -> Result<MassLimit, Problem> {
        self.depth += 1;
        if self.depth > MOST_NESTING {
            return Err("limits nested too deeply".to_owned());
        }
        self.take(&["the"]);
        let limit = if self.take(&["larger", "of"]) {
            let (one, other) = self.two()?;
            MassLimit::Larger(one, other)
        } else if self.take(&["smaller", "of"]) {
            let (one, other) = self.two()?;
            MassLimit::Smaller(one, other)
        } else {
            self.plain()?
        };
        self.depth -= 1;
        Ok(limit)
    }

    fn two(&mut self) -> Result<(Box<MassLimit>, Box<MassLimit>), Problem> {
        let one = Box::new(self.limit()?);
        if !self.take(&["and"]) {
            return Err(format!("expected `and` and a second limit, found {}", self.found()));
        }
        Ok((one, Box::new(self.limit()?)))
    }

    fn found(&self) -> String {
        self.words.first().map_or_else(|| "nothing".to_owned(), |word| format!("`{word}`"))
    }

    /// A number and its unit.
    fn plain(&mut self) -> Result<MassLimit, Problem> {
        let expected = "expected a limit such as `0.5 mg`, `0.50 mg/g`, `0.1 %` or `2 scale intervals`";
        let (first, rest) = self.words.split_first().ok_or_else(|| format!("found nothing; {expected}"))?;
        self.words = rest;
        let (number, attached) = first.split_at(number_length(first));
        let number = match small_number(first) {
            Some(number) => number,
            None if number.is_empty() => return Err(format!("found `{first}`; {expected}")),
            None => context::number(Passage { text: number, start: 0 }, self.comma, "a limit")
                .map_err(|finding| finding.message)?,
        };
        if self.take(&["scale", "intervals"]) || self.take(&["scale", "interval"]) {
            return Ok(MassLimit::ScaleIntervals(number));
        }
        let unit = match (small_number(first), attached) {
            (None, unit) if !unit.is_empty() => unit,
            _ => self.word().ok_or_else(|| format!("`{first}` has no unit; {expected}"))?,
        };
        self.with_unit(&number, unit)
    }

    fn word(&mut self) -> Option<&'a str> {
        let (word, rest) = self.words.split_first()?;
        self.words = rest;
        Some(word)
    }

    fn with_unit(&mut self, number: &Decimal, unit: &str) -> Result<MassLimit, Problem> {
        let unit = Unit::parse(unit).map_err(|error| error.message)?;
        let limit = quantity(number, &unit)?;
        if unit.dimension() == Dimension::MASS {
            return Ok(MassLimit::Absolute(limit, unit));
        }
        if !unit.dimension().is_pure() {
            return Err(format!("a limit in `{unit}`; expected a mass, a mass per mass or a fraction"));
        }
        if unit.symbol().contains('/') {
            let _ = self.take(&["of", "the", "sample"]) || self.take(&["of", "sample"]);
            return Ok(MassLimit::PerSample(limit, unit));
        }
        let gross = self.take(&["gross"]) || self.take(&["of", "the", "gross", "mass"]);
        if !gross {
            let _ = self.take(&["net"]) || self.take(&["of", "the", "net", "mass"]);
        }
        Ok(MassLimit::Relative { fraction: limit, gross })
    }
}

/// Small numbers written as words (`two scale intervals`).
fn small_number(word: &str) -> Option<Decimal> {
    let value =
        ["one", "two", "three", "four", "five"].iter().position(|name| word.eq_ignore_ascii_case(name))?;
    Some(Decimal::from(i64::try_from(value).ok()? + 1))
}

/// Whether a number is above zero.
pub(super) fn is_positive(number: &Decimal) -> bool {
    number.coefficient > IBig::ZERO
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> ConstantMassRule {
        constant_mass(text, false).unwrap()
    }

    fn absolute(number: &str, unit: &str) -> MassLimit {
        let unit = Unit::parse(unit).unwrap();
        MassLimit::Absolute(quantity(&Decimal::parse(number, false).unwrap(), &unit).unwrap(), unit)
    }

    #[test]
    fn the_kinds_of_limit() {
        assert_eq!(read("0.5 mg").limit, absolute("0.5", "mg"));
        assert_eq!(read("0.5mg").limit, absolute("0.5", "mg"));
        assert!(read("less than 0.0005 g").strict && !read("not more than 0.0005 g").strict);
        assert!(matches!(read("0.50 mg/g").limit, MassLimit::PerSample(..)));
        assert!(matches!(read("0.1 %").limit, MassLimit::Relative { gross: false, .. }));
        assert!(matches!(read("0.1 % gross").limit, MassLimit::Relative { gross: true, .. }));
        assert!(matches!(read("0.1 % of the gross mass").limit, MassLimit::Relative { gross: true, .. }));
        assert_eq!(read("2 scale intervals").limit, MassLimit::ScaleIntervals(Decimal::from(2)));
        assert_eq!(read("fixed time").limit, MassLimit::FixedTime);
    }

    #[test]
    fn the_larger_and_the_smaller_of_two() {
        let MassLimit::Larger(one, other) =
            read("not more than the larger of 0.5 mg and two scale intervals").limit
        else {
            panic!("not the larger of two")
        };
        assert_eq!((*one, *other), (absolute("0.5", "mg"), MassLimit::ScaleIntervals(Decimal::from(2))));
        let MassLimit::Smaller(one, _) = read("smaller of 4 % and 0.5 mg").limit else {
            panic!("not the smaller of two")
        };
        assert!(matches!(*one, MassLimit::Relative { .. }));
    }

    #[test]
    fn what_is_no_rule_says_what_was_expected() {
        for text in ["", "mg", "0.5", "0.5 mL", "larger of 0.5 mg", "0.5 mg twice", "-0.5 mg", "less than"] {
            assert!(constant_mass(text, false).is_err(), "{text}");
        }
        let nested = "larger of ".repeat(50);
        assert_eq!(constant_mass(&nested, false).unwrap_err(), "limits nested too deeply");
    }

    #[test]
    fn repeatability_limits_are_absolute_or_relative() {
        let (limit, unit, relative) = repeatability("0.2 %", false).unwrap();
        assert!(!relative && unit.is_percent());
        assert!(repeatability("2 % relative", false).unwrap().2);
        assert_eq!(repeatability("relative 0.2 %", false).unwrap(), (limit, unit, true));
        assert!(repeatability("2 mg relative", false).is_err());
        let (number, unit, relative) = repeatability("0.05", false).unwrap();
        assert!(unit.is_one() && !relative && number.number.to_f64() == 0.05);
        assert!(repeatability("relative 0.05", false).is_err() && repeatability("", false).is_err());
    }
}
