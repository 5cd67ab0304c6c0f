//! A decimal number exactly as it was written, trailing zeros and all.
//!
//! The reader takes what people and tablets write (typographic minus, no-break spaces between groups of
//! three, `× 10⁻³`), and refuses what could mean two things: the decimal mark is one character, agreed
//! beforehand, and the other mark is an error rather than a guess. It does not round and knows no unit.
//!
//! ```text
//! number   = [sign] mantissa [power]
//! mantissa = digits [mark [digits]] | mark digits      digits may be grouped by no-break or thin spaces
//! power    = ("e" | "E") [sign] digit+
//!          | [blanks] ("×" | "·" | "*" | "x") [blanks] "10" ("^" [sign] digit+ | superscripts)
//! sign     = "-" | "+" | "−"
//! ```

use super::Number;
use dashu_int::IBig;
use dashu_int::ops::UnsignedAbs;
use std::fmt;

/// `coefficient × 10^exponent`; `18.2740` is `182740 × 10^-4`, so its last place is kept.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Decimal {
    /// All written digits as one whole number, with the sign.
    pub coefficient: IBig,
    /// The power of ten of the last written digit (its last place).
    pub exponent: i32,
    /// Whether the number was written negative (`-0.0002`, and `-0.0` too).
    pub negative: bool,
    /// Whether it was written as a whole number, without decimal mark and without a power of ten.
    pub whole: bool,
}

/// Why a text is not a decimal number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DecimalError {
    /// Nothing there.
    Empty,
    /// A character that no number has, at this byte of the text.
    Unexpected(usize, char),
    /// A comma between digits where the decimal mark is a point, or the other way round.
    WrongMark(usize),
    /// More digits, or a larger exponent, than the program takes on.
    TooLarge,
}

impl fmt::Display for DecimalError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DecimalError::Empty => f.write_str("no digits where a number was expected"),
            DecimalError::Unexpected(_, found) if found.is_whitespace() => {
                f.write_str("a blank in a number that does not part groups of three digits")
            }
            DecimalError::Unexpected(_, found) => write!(f, "unexpected '{found}' in a number"),
            DecimalError::WrongMark(_) => {
                f.write_str("a decimal mark other than the declared one (comma and point are never guessed)")
            }
            DecimalError::TooLarge => write!(
                f,
                "a number of more than {MOST_DIGITS} digits or with a power of ten beyond {MOST_EXPONENT}"
            ),
        }
    }
}

impl std::error::Error for DecimalError {}

/// Most digits a written number may have.
pub const MOST_DIGITS: usize = 400;
/// Largest magnitude of a written exponent.
pub const MOST_EXPONENT: i32 = 400;

impl Decimal {
    /// Reads a number; blanks at its ends are ignored. The decimal mark is a point, or a comma if `comma`.
    ///
    /// Errors name the byte of `text` they are about. The other mark is [`DecimalError::WrongMark`], so
    /// `1,234.5` is never taken for a thousand or for one.
    pub fn parse(text: &str, comma: bool) -> Result<Decimal, DecimalError> {
        match plain(text, if comma { b',' } else { b'.' }) {
            Some(decimal) => Ok(decimal),
            None => Decimal::parse_any(text, comma),
        }
    }

    /// Reads whatever a number may be written as.
    fn parse_any(text: &str, comma: bool) -> Result<Decimal, DecimalError> {
        let mut reader =
            Reader { text, at: text.len() - text.trim_start().len(), end: text.trim_end().len() };
        let negative = reader.sign();
        let mantissa = reader.mantissa(if comma { ',' } else { '.' })?;
        let power = reader.power()?;
        if let Some(found) = reader.peek() {
            return Err(reader.unexpected(found));
        }
        let magnitude = whole_number(&mantissa.digits).ok_or(DecimalError::Empty)?;
        Ok(Decimal {
            coefficient: if negative { -magnitude } else { magnitude },
            exponent: power.unwrap_or(0) - mantissa.decimals,
            negative,
            whole: power.is_none() && !mantissa.marked,
        })
    }

    /// The power of ten of the last written digit: −4 for `18.2740`, 1 for `1.20e3`.
    pub fn place(&self) -> i32 {
        self.exponent
    }

    /// Whether it was written without a decimal mark and without a power of ten: exact by the digits rule
    /// where it stands in a formula.
    pub fn is_integer_literal(&self) -> bool {
        self.whole
    }

    /// How many digits stand after the decimal mark when it is written out.
    pub fn decimals(&self) -> u32 {
        if self.exponent < 0 { self.exponent.unsigned_abs() } else { 0 }
    }

    /// The exact value.
    pub fn to_number(&self) -> Number {
        Number::from_decimal(&self.coefficient, self.exponent)
    }

    /// The digits of the coefficient without its sign.
    pub(super) fn digits(&self) -> DigitText {
        match i64::try_from(&self.coefficient) {
            Ok(small) => DigitText::short(small.unsigned_abs()),
            Err(_) => DigitText::Long(self.coefficient.clone().unsigned_abs().to_string()),
        }
    }

    /// What it is printed as: plain ASCII digits, trailing zeros kept; a power of ten only where the last place is
    /// above the units.
    pub fn text(&self) -> String {
        self.text_of(&self.digits())
    }

    /// The same, where its [`Self::digits`] are known already.
    pub(super) fn text_of(&self, digits: &str) -> String {
        let sign = if self.negative { "-" } else { "" };
        if self.exponent <= 0 {
            return with_point(sign, digits, self.decimals() as usize);
        }
        let after = digits.len() - 1;
        let power = i64::from(self.exponent) + after as i64;
        format!("{}e{power}", with_point(sign, digits, after))
    }

    /// Whether the value is zero.
    pub(super) fn is_zero(&self) -> bool {
        self.coefficient == IBig::ZERO
    }
}

impl From<i64> for Decimal {
    fn from(value: i64) -> Self {
        Decimal { coefficient: IBig::from(value), exponent: 0, negative: value < 0, whole: true }
    }
}

impl fmt::Display for Decimal {
    /// [`Decimal::text`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text())
    }
}

/// A sign and digits with a decimal point before the last `decimals` of them, zeros put before where there are too
/// few.
pub(super) fn with_point(sign: &str, digits: &str, decimals: usize) -> String {
    let mut text = String::with_capacity(sign.len() + digits.len().max(decimals.saturating_add(1)) + 1);
    text.push_str(sign);
    let (whole, fraction) = digits.split_at(digits.len().saturating_sub(decimals));
    text.push_str(if whole.is_empty() { "0" } else { whole });
    if decimals > 0 {
        text.push('.');
        (fraction.len()..decimals).for_each(|_| text.push('0'));
        text.push_str(fraction);
    }
    text
}

/// Most digits that a machine word surely holds.
const WORD_DIGITS: usize = 19;
/// Most digits of a machine word.
const MOST_WORD_DIGITS: usize = 20;

/// The digits of a whole number, which seldom take memory of their own.
pub(super) enum DigitText {
    /// Those of a machine word, at the end of the bytes, from this place on.
    Short([u8; MOST_WORD_DIGITS], usize),
    /// Any.
    Long(String),
}

impl DigitText {
    fn short(mut number: u64) -> Self {
        let mut bytes = [b'0'; MOST_WORD_DIGITS];
        let mut from = MOST_WORD_DIGITS;
        for byte in bytes.iter_mut().rev() {
            // A digit fits a byte.
            *byte = b'0' + (number % 10) as u8;
            from -= 1;
            number /= 10;
            if number == 0 {
                break;
            }
        }
        DigitText::Short(bytes, from)
    }
}

impl std::ops::Deref for DigitText {
    type Target = str;

    fn deref(&self) -> &str {
        match self {
            DigitText::Short(bytes, from) => {
                bytes.get(*from..).and_then(|digits| std::str::from_utf8(digits).ok()).unwrap_or("")
            }
            DigitText::Long(text) => text,
        }
    }
}

/// A number as balances show it: a sign, digits, at most one mark, nothing else, and few enough digits for a machine word.
fn plain(text: &str, mark: u8) -> Option<Decimal> {
    let (negative, text) = match text.as_bytes() {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        all => (false, all),
    };
    let (mut value, mut digits, mut decimals) = (0u64, 0usize, None);
    for byte in text {
        match byte {
            b'0'..=b'9' if digits < WORD_DIGITS => {
                value = value * 10 + u64::from(byte - b'0');
                digits += 1;
                decimals = decimals.map(|decimals| decimals + 1);
            }
            byte if *byte == mark && decimals.is_none() => decimals = Some(0),
            _ => return None,
        }
    }
    let magnitude = IBig::from(value);
    (digits > 0).then(|| Decimal {
        coefficient: if negative { -magnitude } else { magnitude },
        exponent: -decimals.unwrap_or(0),
        negative,
        whole: decimals.is_none(),
    })
}

/// ASCII digits as a whole number.
fn whole_number(digits: &str) -> Option<IBig> {
    match digits.len() {
        0..=WORD_DIGITS => digits.parse::<u64>().ok().map(IBig::from),
        _ => IBig::from_str_radix(digits, 10).ok(),
    }
}

/// The mantissa as read: its digits without mark and groups.
struct Mantissa {
    digits: String,
    decimals: i32,
    marked: bool,
}

/// A place in the text.
struct Reader<'a> {
    text: &'a str,
    at: usize,
    end: usize,
}

impl<'a> Reader<'a> {
    fn rest(&self) -> &'a str {
        self.text.get(self.at..self.end).unwrap_or("")
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn unexpected(&self, found: char) -> DecimalError {
        match found {
            ',' | '.' => DecimalError::WrongMark(self.at),
            _ => DecimalError::Unexpected(self.at, found),
        }
    }

    /// What is wrong here, where something has to follow.
    fn missing(&self) -> DecimalError {
        self.peek().map_or(DecimalError::Empty, |found| self.unexpected(found))
    }

    fn skip(&mut self, wanted: impl Fn(char) -> bool) -> Option<char> {
        let found = self.peek().filter(|c| wanted(*c))?;
        self.at += found.len_utf8();
        Some(found)
    }

    fn sign(&mut self) -> bool {
        matches!(self.skip(|c| matches!(c, '-' | '+' | '−')), Some('-' | '−'))
    }

    fn mantissa(&mut self, mark: char) -> Result<Mantissa, DecimalError> {
        let mut digits = self.whole_digits()?;
        let whole = digits.len();
        let marked = self.skip(|c| c == mark).is_some();
        if marked {
            self.fraction_digits(&mut digits)?;
        }
        if digits.is_empty() {
            return Err(self.missing());
        }
        if digits.len() > MOST_DIGITS {
            return Err(DecimalError::TooLarge);
        }
        // At most MOST_DIGITS, so it fits.
        let decimals = (digits.len() - whole) as i32;
        match self.peek() {
            Some(second) if marked && second == mark => Err(DecimalError::Unexpected(self.at, second)),
            _ => Ok(Mantissa { digits, decimals, marked }),
        }
    }

    /// Digits before the mark: a first group of up to three, then groups of three, or one run.
    fn whole_digits(&mut self) -> Result<String, DecimalError> {
        let mut digits = String::with_capacity(self.rest().len());
        digits.push_str(self.run());
        if self.group_follows() && !(1..=3).contains(&digits.len()) {
            return Err(self.missing());
        }
        while self.group_follows() {
            digits.push_str(self.group(|length| length == 3)?);
        }
        Ok(digits)
    }

    /// Digits after the mark: groups of three, the last of one to three, or one run.
    fn fraction_digits(&mut self, digits: &mut String) -> Result<(), DecimalError> {
        let run = self.run();
        digits.push_str(run);
        let mut last = run.len();
        while self.group_follows() {
            if last != 3 {
                return Err(self.missing());
            }
            let group = self.group(|length| (1..=3).contains(&length))?;
            last = group.len();
            digits.push_str(group);
        }
        Ok(())
    }

    /// Whether a grouping space and a digit come next.
    fn group_follows(&self) -> bool {
        let mut ahead = self.rest().chars();
        ahead.next().is_some_and(is_group_space) && ahead.next().is_some_and(|c| c.is_ascii_digit())
    }

    fn group(&mut self, fits: impl Fn(usize) -> bool) -> Result<&'a str, DecimalError> {
        let space = self.at;
        let found = self.skip(is_group_space).unwrap_or(' ');
        let group = self.run();
        if fits(group.len()) { Ok(group) } else { Err(DecimalError::Unexpected(space, found)) }
    }

    fn run(&mut self) -> &'a str {
        let rest = self.rest();
        let length = rest.bytes().take_while(u8::is_ascii_digit).count();
        self.at += length;
        rest.get(..length).unwrap_or("")
    }

    /// The power of ten, if one is written.
    fn power(&mut self) -> Result<Option<i32>, DecimalError> {
        if self.skip(|c| matches!(c, 'e' | 'E')).is_some() {
            return self.signed_power().map(Some);
        }
        let before = self.at;
        while self.skip(char::is_whitespace).is_some() {}
        if self.skip(|c| matches!(c, '×' | '·' | '*' | 'x')).is_none() {
            self.at = before;
            return Ok(None);
        }
        while self.skip(char::is_whitespace).is_some() {}
        self.skip(|c| c == '1').ok_or_else(|| self.missing())?;
        self.skip(|c| c == '0').ok_or_else(|| self.missing())?;
        if self.skip(|c| c == '^').is_some() { self.signed_power() } else { self.superscript_power() }
            .map(Some)
    }

    fn signed_power(&mut self) -> Result<i32, DecimalError> {
        let negative = self.sign();
        let digits = self.run();
        if digits.is_empty() {
            return Err(self.missing());
        }
        bounded_power(negative, digits)
    }

    fn superscript_power(&mut self) -> Result<i32, DecimalError> {
        let negative = self.skip(|c| matches!(c, '⁻' | '⁺')) == Some('⁻');
        let mut digits = String::new();
        while let Some(digit) = self.skip(|c| superscript_digit(c).is_some()).and_then(superscript_digit) {
            digits.push(digit);
        }
        if digits.is_empty() {
            return Err(self.missing());
        }
        bounded_power(negative, &digits)
    }
}

/// No-break and thin spaces, which group digits (ISO 80000-1, 7.3.1).
fn is_group_space(c: char) -> bool {
    matches!(c, '\u{a0}' | '\u{202f}' | '\u{2009}')
}

/// The ASCII digit of a superscript one.
pub(super) fn superscript_digit(c: char) -> Option<char> {
    "⁰¹²³⁴⁵⁶⁷⁸⁹".chars().position(|s| s == c).and_then(|value| char::from_digit(value as u32, 10))
}

fn bounded_power(negative: bool, digits: &str) -> Result<i32, DecimalError> {
    let significant = digits.trim_start_matches('0');
    let value = match significant {
        "" => 0,
        _ => significant.parse::<i32>().map_err(|_| DecimalError::TooLarge)?,
    };
    if value > MOST_EXPONENT {
        return Err(DecimalError::TooLarge);
    }
    Ok(if negative { -value } else { value })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_short_way_and_the_long_way_read_alike() {
        let numbers = [
            "0",
            "-0",
            "+7",
            "18.2740",
            "-0.0",
            "5.",
            ".5",
            "-.25",
            "9999999999999999999",
            "000.100",
            "1234567890.123456789",
            "",
            "-",
            ".",
            "+.",
            "1.2.3",
            "1,5",
            " 2",
            "2 ",
            "--1",
            "1e3",
            "12345678901234567890",
            "−3",
            "1 000",
            "²",
        ];
        for (text, comma) in numbers.iter().flat_map(|text| [(text, false), (text, true)]) {
            assert_eq!(Decimal::parse(text, comma), Decimal::parse_any(text, comma), "{text:?}");
        }
        assert_eq!(plain("18.2740", b'.').map(|decimal| decimal.text()).as_deref(), Some("18.2740"));
    }

    #[test]
    fn digits_are_those_of_the_number() {
        for number in [0, 1, 9, 10, 4_096, 10_000_000_000_000_000_000, u64::MAX] {
            assert_eq!(&*DigitText::short(number), number.to_string());
        }
    }
}
