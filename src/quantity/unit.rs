//! Units: SI with prefixes and the few others of the bench, as exact factors to coherent SI.
//!
//! Spellings follow the SI Brochure (9th edition, tables 2, 4, 7 and 8), with UCUM's codes for °C (`Cel`)
//! and powers (`m-3`) read as well. `µ` may be written `u`. °C is a unit of its own only when it stands
//! alone, where it converts to kelvin; inside a product (`J/(g °C)`) a degree is a difference, and so K.
//! Prefixes reach from femto to tera. Numbers inside a unit (mg per 100 mL) are not read.
//!
//! ```text
//! unit    = product ("/" factor)*              after a "/" a product needs brackets: J/(mol K)
//! product = factor ((blank | "·" | "*" | ".") factor)*
//! factor  = ("(" unit ")" | "1" | word) [power]
//! power   = ["^"] [sign] digit+ | superscripts
//! word    = [prefix] atom | "%" | "‰"
//! ```

use super::Number;
use super::decimal::superscript_digit;
use super::print::superscript;
use crate::finding::nearest;
use dashu_int::{IBig, UBig};
use dashu_ratio::RBig;
use hashbrown::HashMap;
use std::borrow::Cow;
use std::fmt;
use std::sync::{Arc, LazyLock};

/// Exponents of the base units kg, m, s, A, K, mol, cd.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub struct Dimension(pub [i8; 7]);

/// A unit: its spelling, dimension, exact factor to the coherent SI unit, and for °C the zero point. Every value
/// that is read or shown has one, so copies share what they hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unit(Arc<Parts>);

#[derive(Debug, PartialEq, Eq)]
struct Parts {
    symbol: String,
    dimension: Dimension,
    factor: Number,
    zero: Option<Number>,
    /// Which power of ten the factor is, if it is one.
    power: Option<i32>,
}

/// Why a text is not a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitError {
    /// What is wrong, lower case.
    pub message: String,
    /// The nearest known unit, if one is near.
    pub suggestion: Option<String>,
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for UnitError {}

/// Most bytes a unit's spelling may have.
const MOST_BYTES: usize = 200;
/// Largest magnitude of a power in a unit.
const MOST_POWER: i32 = 12;
/// Deepest nesting of brackets.
const MOST_NESTING: usize = 8;

impl Dimension {
    /// A pure number.
    pub const PURE: Dimension = Dimension([0; 7]);
    /// Mass.
    pub const MASS: Dimension = Dimension([1, 0, 0, 0, 0, 0, 0]);
    /// Length.
    pub const LENGTH: Dimension = Dimension([0, 1, 0, 0, 0, 0, 0]);
    /// Volume.
    pub const VOLUME: Dimension = Dimension([0, 3, 0, 0, 0, 0, 0]);
    /// Time.
    pub const TIME: Dimension = Dimension([0, 0, 1, 0, 0, 0, 0]);
    /// Thermodynamic temperature.
    pub const TEMPERATURE: Dimension = Dimension([0, 0, 0, 0, 1, 0, 0]);
    /// Amount of substance.
    pub const AMOUNT: Dimension = Dimension([0, 0, 0, 0, 0, 1, 0]);
    /// Molar mass.
    pub const MOLAR_MASS: Dimension = Dimension([1, 0, 0, 0, 0, -1, 0]);
    /// Amount of substance per volume.
    pub const CONCENTRATION: Dimension = Dimension([0, -3, 0, 0, 0, 1, 0]);
    /// Mass per volume.
    pub const DENSITY: Dimension = Dimension([1, -3, 0, 0, 0, 0, 0]);
    /// Pressure.
    pub const PRESSURE: Dimension = Dimension([1, -1, -2, 0, 0, 0, 0]);

    /// Whether it is that of a pure number.
    pub fn is_pure(self) -> bool {
        self == Dimension::PURE
    }

    /// The dimension of a product; `None` where an exponent does not fit.
    pub fn times(self, other: Dimension) -> Option<Dimension> {
        self.combined(other, i8::checked_add)
    }

    /// The dimension of a quotient; `None` where an exponent does not fit.
    pub fn over(self, other: Dimension) -> Option<Dimension> {
        self.combined(other, i8::checked_sub)
    }

    /// The dimension of the power `numerator / denominator`; `None` where an exponent does not come out
    /// whole or does not fit.
    pub fn power(self, numerator: i64, denominator: i64) -> Option<Dimension> {
        self.mapped(|exponent| {
            let times = i64::from(exponent).checked_mul(numerator)?;
            let whole = times.checked_rem(denominator)? == 0;
            if whole { i8::try_from(times.checked_div(denominator)?).ok() } else { None }
        })
    }

    fn combined(self, other: Dimension, join: impl Fn(i8, i8) -> Option<i8>) -> Option<Dimension> {
        let mut others = other.0.into_iter();
        self.mapped(|exponent| others.next().and_then(|second| join(exponent, second)))
    }

    fn mapped(self, mut change: impl FnMut(i8) -> Option<i8>) -> Option<Dimension> {
        let mut exponents = self.0;
        for exponent in &mut exponents {
            *exponent = change(*exponent)?;
        }
        Some(Dimension(exponents))
    }

    /// The kind of quantity in words: `mass`, `amount of substance`, else by what its units reduce to:
    /// `quantity in g/m`.
    pub fn describe(self) -> String {
        match customary(self) {
            Some((_, Some(words))) => words.to_owned(),
            _ => format!("quantity in {}", Unit::from_base(self)),
        }
    }

    /// [`Self::describe`] with its article: `a mass`, `an amount of substance`.
    pub fn with_article(self) -> String {
        let words = self.describe();
        let article = if words.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" };
        format!("{article} {words}")
    }
}

impl Unit {
    /// Reads a unit; blanks at its ends are ignored.
    pub fn parse(text: &str) -> Result<Unit, UnitError> {
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return Err(error("no unit where one was expected"));
        }
        if trimmed.len() > MOST_BYTES {
            return Err(error("a unit longer than the program takes on"));
        }
        if let Some(known) = OFTEN.get(trimmed) {
            return Ok(known.clone());
        }
        if let Some(celsius) = celsius(trimmed) {
            return Ok(celsius);
        }
        Unit::read(trimmed)
    }

    fn new(symbol: impl Into<String>, dimension: Dimension, factor: Number, zero: Option<Number>) -> Unit {
        let power = factor.leading_power().filter(|power| factor == Number::power_of_ten(*power));
        Unit(Arc::new(Parts { symbol: symbol.into(), dimension, factor, zero, power }))
    }

    fn read(trimmed: &str) -> Result<Unit, UnitError> {
        let mut reader = Reader { rest: trimmed, depth: 0 };
        let (dimension, factor) = reader.unit()?;
        if let Some(found) = reader.rest.chars().next() {
            return Err(error(format!("unexpected '{found}' in a unit")));
        }
        if dimension == Dimension::TEMPERATURE && CELSIUS.iter().any(|name| trimmed.contains(name)) {
            return Err(error("'°C' as a temperature stands alone; a difference is in K"));
        }
        Ok(Unit::new(trimmed, dimension, factor, None))
    }

    /// The unit of a pure number.
    pub fn one() -> Unit {
        static ONE: LazyLock<Unit> = LazyLock::new(|| Unit::new("1", Dimension::PURE, Number::one(), None));
        ONE.clone()
    }

    /// The gram.
    pub fn gram() -> Unit {
        static GRAM: LazyLock<Unit> =
            LazyLock::new(|| Unit::new("g", Dimension::MASS, Number::power_of_ten(-3), None));
        GRAM.clone()
    }

    /// The per cent.
    pub fn percent() -> Unit {
        static PERCENT: LazyLock<Unit> =
            LazyLock::new(|| Unit::new("%", Dimension::PURE, Number::power_of_ten(-2), None));
        PERCENT.clone()
    }

    /// What units of a dimension reduce to, spelled as at the bench: g, mol, L, g/mol, mol/L, g/cm³, J …,
    /// else base units with the gram for the kilogram: `g/(m^2 s)`.
    pub fn from_base(dimension: Dimension) -> Unit {
        if dimension.is_pure() {
            return Unit::one();
        }
        let spelled = customary(dimension).map(|(spelling, _)| Cow::from(spelling));
        let symbol = spelled.unwrap_or_else(|| Cow::from(reduced_spelling(dimension)));
        // Every spelling of the table and every reduced spelling is a unit, which a test shows; the
        // coherent unit with its reduced name stands in should one ever not be.
        Unit::parse(&symbol).unwrap_or_else(|_| Unit::new(symbol, dimension, Number::one(), None))
    }

    /// Its spelling, as written.
    pub fn symbol(&self) -> &str {
        &self.0.symbol
    }

    /// Its dimension.
    pub fn dimension(&self) -> Dimension {
        self.0.dimension
    }

    /// How many coherent SI units it is (exact): 1/1000 for g.
    pub fn factor(&self) -> &Number {
        &self.0.factor
    }

    /// Its zero in kelvin, for °C only: 273.15.
    pub fn zero(&self) -> Option<&Number> {
        self.0.zero.as_ref()
    }

    /// The unit of differences: the same without its zero point (K for °C).
    pub fn interval(&self) -> Unit {
        match self.0.zero {
            Some(_) => Unit::from_base(self.0.dimension),
            None => self.clone(),
        }
    }

    /// Whether it is the unit one, which is not printed.
    pub fn is_one(&self) -> bool {
        self.0.symbol == "1"
    }

    /// Whether it is the per cent.
    pub fn is_percent(&self) -> bool {
        self.0.symbol == "%"
    }

    /// Whether its factor is a power of ten, so that decimals stay decimals.
    pub fn is_decimal(&self) -> bool {
        self.0.power.is_some()
    }

    /// Which power of ten its factor is, if it is one.
    pub(super) fn power(&self) -> Option<i32> {
        self.0.power
    }

    /// Whether a single word (or `%`, `‰`) is a unit.
    pub fn known(name: &str) -> bool {
        celsius(name).is_some() || word(name).is_some()
    }

    /// The spelling as set in print: superscripts, `µ`, `°C`, `·` between factors. Empty for the unit one.
    pub fn typographic(&self) -> String {
        if self.is_one() { String::new() } else { typographic(&self.0.symbol) }
    }
}

impl fmt::Display for Unit {
    /// The spelling, as written.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.symbol)
    }
}

/// Dimension and factor while a unit is read.
type Value = (Dimension, Number);

/// A place in a unit's text.
struct Reader<'a> {
    rest: &'a str,
    depth: usize,
}

impl Reader<'_> {
    fn unit(&mut self) -> Result<Value, UnitError> {
        let mut value = self.product(false)?;
        while self.skip_between('/') {
            let divisor = self.product(true)?;
            value = divided(value, divisor)?;
        }
        Ok(value)
    }

    /// Factors with product signs or blanks between; after a `/` only one may stand.
    fn product(&mut self, divisor: bool) -> Result<Value, UnitError> {
        let mut value = self.factor()?;
        while self.next_factor() {
            if divisor {
                return Err(error("a product after '/' in a unit needs brackets, as in J/(mol K)"));
            }
            value = multiplied(value, self.factor()?)?;
        }
        Ok(value)
    }

    /// Whether another factor follows; moves to it.
    fn next_factor(&mut self) -> bool {
        let after_blanks = self.rest.trim_start();
        let after_sign = after_blanks.strip_prefix(['·', '*', '.', '⋅', '×']).map(str::trim_start);
        let blank = after_blanks.len() < self.rest.len();
        let follows = after_sign.is_some() || blank && after_blanks.starts_with(starts_factor);
        if follows {
            self.rest = after_sign.unwrap_or(after_blanks);
        }
        follows
    }

    fn skip_between(&mut self, sign: char) -> bool {
        let found = self.rest.trim_start().strip_prefix(sign);
        self.rest = found.map_or(self.rest, str::trim_start);
        found.is_some()
    }

    fn factor(&mut self) -> Result<Value, UnitError> {
        let value = match self.rest.chars().next() {
            None => return Err(error("a unit that breaks off")),
            Some('(') => self.bracket()?,
            Some('1') => return self.one(),
            Some(_) => self.word()?,
        };
        let power = self.power()?;
        raised(value, power)
    }

    /// The digit 1 alone, as in `1/s`.
    fn one(&mut self) -> Result<Value, UnitError> {
        self.rest = self.rest.get(1..).unwrap_or("");
        match self.rest.chars().next() {
            Some(digit) if digit.is_ascii_digit() => Err(error("a number inside a unit")),
            _ => Ok((Dimension::PURE, Number::one())),
        }
    }

    fn bracket(&mut self) -> Result<Value, UnitError> {
        self.depth += 1;
        if self.depth > MOST_NESTING {
            return Err(error("brackets nested too deeply in a unit"));
        }
        self.rest = self.rest.get(1..).unwrap_or("").trim_start();
        let value = self.unit()?;
        self.depth -= 1;
        if self.skip_between_trimmed(')') {
            Ok(value)
        } else {
            Err(error("a bracket that is not closed in a unit"))
        }
    }

    /// Like `skip_between`, but leaves what follows as it is: a blank behind a bracket is a product.
    fn skip_between_trimmed(&mut self, sign: char) -> bool {
        let found = self.rest.trim_start().strip_prefix(sign);
        self.rest = found.unwrap_or(self.rest);
        found.is_some()
    }

    fn word(&mut self) -> Result<Value, UnitError> {
        let length = self.rest.find(|c| !is_word_character(c)).unwrap_or(self.rest.len());
        let (name, rest) = self.rest.split_at(length);
        if name.is_empty() {
            let found = self.rest.chars().next().unwrap_or(' ');
            return Err(error(format!("unexpected '{found}' in a unit")));
        }
        let value = word(name).ok_or_else(|| unknown(name))?;
        self.rest = rest;
        Ok(value)
    }

    fn power(&mut self) -> Result<i32, UnitError> {
        if let Some(rest) = self.rest.strip_prefix('^') {
            self.rest = rest;
            return self.plain_power()?.ok_or_else(|| error("no power after '^' in a unit"));
        }
        if self.rest.starts_with(is_superscript) {
            return self.superscript_power();
        }
        Ok(self.plain_power()?.unwrap_or(1))
    }

    /// A signed whole number right here; `None` where there is none.
    fn plain_power(&mut self) -> Result<Option<i32>, UnitError> {
        let unsigned = self.rest.strip_prefix(['-', '−', '+']);
        let negative = unsigned.is_some() && !self.rest.starts_with('+');
        let digits = unsigned.unwrap_or(self.rest);
        let length = digits.find(|c: char| !c.is_ascii_digit()).unwrap_or(digits.len());
        let (digits, rest) = digits.split_at(length);
        if digits.is_empty() {
            return Ok(None);
        }
        self.rest = rest;
        bounded_power(negative, digits).map(Some)
    }

    fn superscript_power(&mut self) -> Result<i32, UnitError> {
        let length = self.rest.find(|c| !is_superscript(c)).unwrap_or(self.rest.len());
        let (text, rest) = self.rest.split_at(length);
        let digits: String = text.chars().filter_map(superscript_digit).collect();
        self.rest = rest;
        bounded_power(text.starts_with('⁻'), &digits)
    }
}

fn starts_factor(c: char) -> bool {
    is_word_character(c) || c == '(' || c == '1'
}

fn is_word_character(c: char) -> bool {
    c.is_alphabetic() || matches!(c, '%' | '‰' | '°' | '℃')
}

fn is_superscript(c: char) -> bool {
    superscript_digit(c).is_some() || matches!(c, '⁻' | '⁺')
}

fn bounded_power(negative: bool, digits: &str) -> Result<i32, UnitError> {
    let power = digits.parse::<i32>().ok().filter(|power| *power <= MOST_POWER);
    let power = power.ok_or_else(|| error(format!("a power beyond {MOST_POWER} in a unit")))?;
    Ok(if negative { -power } else { power })
}

fn multiplied(a: Value, b: Value) -> Result<Value, UnitError> {
    let dimension = a.0.times(b.0).ok_or_else(too_large)?;
    Ok((dimension, a.1.mul(&b.1).map_err(|_| too_large())?))
}

fn divided(a: Value, b: Value) -> Result<Value, UnitError> {
    multiplied(a, raised(b, -1)?)
}

fn raised(value: Value, power: i32) -> Result<Value, UnitError> {
    let dimension = value.0.power(power.into(), 1).ok_or_else(too_large)?;
    Ok((dimension, value.1.pow(power.into()).map_err(|_| too_large())?))
}

fn too_large() -> UnitError {
    error("powers in a unit beyond what the program takes on")
}

fn error(message: impl Into<String>) -> UnitError {
    UnitError { message: message.into(), suggestion: None }
}

/// A word that is no unit, with what may have been meant.
fn unknown(name: &str) -> UnitError {
    let spelled = MEANT.iter().find(|(other, _)| *other == name).map(|(_, unit)| *unit);
    let folded = COMMON.iter().copied().find(|unit| unit.eq_ignore_ascii_case(name));
    // One edit turns any letter into `g`: a single one is compared with nothing.
    let long = |unit: &str| unit.chars().count() > 1;
    let near =
        || if long(name) { nearest(name, COMMON.iter().copied().filter(|unit| long(unit))) } else { None };
    let suggestion = spelled.or(folded).or_else(near);
    UnitError { message: format!("unknown unit '{name}'"), suggestion: suggestion.map(str::to_owned) }
}

/// Spellings that are no units, and the unit meant.
const MEANT: &[(&str, &str)] = &[
    ("M", "mol/L"),
    ("mM", "mmol/L"),
    ("cc", "cm^3"),
    ("ccm", "cm^3"),
    ("gm", "g"),
    ("gms", "g"),
    ("gr", "g"),
    ("gram", "g"),
    ("grams", "g"),
    ("mgs", "mg"),
    ("sec", "s"),
    ("secs", "s"),
    ("mins", "min"),
    ("minutes", "min"),
    ("hr", "h"),
    ("hrs", "h"),
    ("hours", "h"),
    ("days", "d"),
    ("litre", "L"),
    ("liter", "L"),
    ("mole", "mol"),
    ("moles", "mol"),
    ("percent", "%"),
    ("pct", "%"),
    ("mcg", "µg"),
    ("deg", "°C"),
];

/// Units that a misspelling is compared with.
const COMMON: &[&str] = &[
    "g", "kg", "mg", "µg", "t", "mol", "mmol", "µmol", "L", "mL", "µL", "m", "cm", "mm", "s", "min", "h",
    "d", "K", "°C", "Pa", "kPa", "hPa", "bar", "mbar", "J", "kJ", "ppm", "ppb", "A", "V", "W", "N", "Hz",
];

/// Spellings of the degree Celsius: with the degree sign, as one character, with the ordinal sign that
/// tablets offer, in letters, and UCUM's code.
const CELSIUS: &[&str] = &["°C", "℃", "ºC", "degC", "Cel"];

/// °C alone, with its zero (SI Brochure, 2.3.1: t/°C = T/K − 273.15).
fn celsius(text: &str) -> Option<Unit> {
    let zero = || Some(Number::from_ratio(27_315, 100));
    CELSIUS.contains(&text).then(|| Unit::new(text, Dimension::TEMPERATURE, Number::one(), zero()))
}

/// The units met all the time, read once.
static OFTEN: LazyLock<HashMap<&'static str, Unit>> = LazyLock::new(|| {
    let customary = CUSTOMARY.iter().map(|(_, spelling, _)| *spelling);
    let spellings = COMMON.iter().copied().chain(customary).chain(["%", "‰", "mmol/L", "kg/m^3"]);
    let spellings = spellings.filter(|spelling| celsius(spelling).is_none());
    spellings.filter_map(|spelling| Some((spelling, Unit::read(spelling).ok()?))).collect()
});

/// A word with its prefix, if it has one. Whole words come first: `min` is the minute, `cd` the candela.
fn word(name: &str) -> Option<Value> {
    if let Some(atom) = atom(name) {
        return Some(atom.value(0));
    }
    let (power, atom) = PREFIXES.iter().find_map(|(prefix, power)| {
        let rest = name.strip_prefix(prefix)?;
        atom(rest).filter(|atom| atom.prefixed).map(|atom| (*power, atom))
    })?;
    Some(atom.value(power))
}

/// The prefixes of SI from femto to tera, `da` before `d`. The rest are left out: at the bench `as` or `Em`
/// is rather a word or a symbol than a unit.
const PREFIXES: &[(&str, i32)] = &[
    ("da", 1),
    ("T", 12),
    ("G", 9),
    ("M", 6),
    ("k", 3),
    ("h", 2),
    ("d", -1),
    ("c", -2),
    ("m", -3),
    ("µ", -6),
    ("μ", -6),
    ("u", -6),
    ("n", -9),
    ("p", -12),
    ("f", -15),
];

/// A named unit: spellings, exponents of kg m s A K mol cd, the factor as a fraction and a power of ten,
/// and whether it takes prefixes.
struct Atom {
    names: &'static [&'static str],
    dimension: [i8; 7],
    factor: (u64, u64, i32),
    prefixed: bool,
}

impl Atom {
    fn value(&self, prefix: i32) -> Value {
        let (numerator, denominator, power) = self.factor;
        let fraction = RBig::from_parts(IBig::from(numerator), UBig::from(denominator));
        let scale = Number::power_of_ten(power + prefix);
        (Dimension(self.dimension), Number::from_fraction(fraction * scale.fraction()))
    }
}

fn atom(name: &str) -> Option<&'static Atom> {
    ATOMS.iter().find(|atom| atom.names.contains(&name))
}

const fn si(names: &'static [&'static str], dimension: [i8; 7], power: i32) -> Atom {
    Atom { names, dimension, factor: (1, 1, power), prefixed: true }
}

const fn other(names: &'static [&'static str], dimension: [i8; 7], factor: (u64, u64, i32)) -> Atom {
    Atom { names, dimension, factor, prefixed: false }
}

/// Base and named derived units (SI Brochure, tables 2 and 4), units used with SI (table 8), bar,
/// atmosphere and the columns of mercury (conventional values), and parts of one.
const ATOMS: &[Atom] = &[
    si(&["g"], [1, 0, 0, 0, 0, 0, 0], -3),
    si(&["m"], [0, 1, 0, 0, 0, 0, 0], 0),
    si(&["s"], [0, 0, 1, 0, 0, 0, 0], 0),
    si(&["A"], [0, 0, 0, 1, 0, 0, 0], 0),
    si(&["K"], [0, 0, 0, 0, 1, 0, 0], 0),
    si(&["mol"], [0, 0, 0, 0, 0, 1, 0], 0),
    si(&["cd"], [0, 0, 0, 0, 0, 0, 1], 0),
    si(&["L", "l"], [0, 3, 0, 0, 0, 0, 0], -3),
    si(&["Hz"], [0, 0, -1, 0, 0, 0, 0], 0),
    si(&["N"], [1, 1, -2, 0, 0, 0, 0], 0),
    si(&["Pa"], [1, -1, -2, 0, 0, 0, 0], 0),
    si(&["J"], [1, 2, -2, 0, 0, 0, 0], 0),
    si(&["W"], [1, 2, -3, 0, 0, 0, 0], 0),
    si(&["C"], [0, 0, 1, 1, 0, 0, 0], 0),
    si(&["V"], [1, 2, -3, -1, 0, 0, 0], 0),
    si(&["Ω", "Ω", "Ohm", "ohm"], [1, 2, -3, -2, 0, 0, 0], 0),
    si(&["S"], [-1, -2, 3, 2, 0, 0, 0], 0),
    si(&["bar"], [1, -1, -2, 0, 0, 0, 0], 5),
    other(&["min"], [0, 0, 1, 0, 0, 0, 0], (60, 1, 0)),
    other(&["h"], [0, 0, 1, 0, 0, 0, 0], (3600, 1, 0)),
    other(&["d"], [0, 0, 1, 0, 0, 0, 0], (86_400, 1, 0)),
    other(&["t"], [1, 0, 0, 0, 0, 0, 0], (1, 1, 3)),
    other(CELSIUS, [0, 0, 0, 0, 1, 0, 0], (1, 1, 0)),
    other(&["atm"], [1, -1, -2, 0, 0, 0, 0], (101_325, 1, 0)),
    other(&["mmHg"], [1, -1, -2, 0, 0, 0, 0], (133_322_387_415, 1, -9)),
    other(&["Torr", "torr"], [1, -1, -2, 0, 0, 0, 0], (101_325, 760, 0)),
    other(&["%"], [0; 7], (1, 1, -2)),
    other(&["‰"], [0; 7], (1, 1, -3)),
    other(&["ppm"], [0; 7], (1, 1, -6)),
    other(&["ppb"], [0; 7], (1, 1, -9)),
];

/// The customary unit of a dimension, and its kind in words where it has a name.
fn customary(dimension: Dimension) -> Option<(&'static str, Option<&'static str>)> {
    CUSTOMARY.iter().find(|(exponents, ..)| *exponents == dimension.0).map(|(_, unit, words)| (*unit, *words))
}

/// Dimension, customary unit, words.
type Customary = ([i8; 7], &'static str, Option<&'static str>);

const CUSTOMARY: &[Customary] = &[
    ([0, 0, 0, 0, 0, 0, 0], "1", Some("pure number")),
    ([1, 0, 0, 0, 0, 0, 0], "g", Some("mass")),
    ([0, 1, 0, 0, 0, 0, 0], "m", Some("length")),
    ([0, 2, 0, 0, 0, 0, 0], "m^2", Some("area")),
    ([0, 3, 0, 0, 0, 0, 0], "L", Some("volume")),
    ([0, 0, 1, 0, 0, 0, 0], "s", Some("time")),
    ([0, 0, 0, 1, 0, 0, 0], "A", Some("electric current")),
    ([0, 0, 0, 0, 1, 0, 0], "K", Some("temperature")),
    ([0, 0, 0, 0, 0, 1, 0], "mol", Some("amount of substance")),
    ([0, 0, 0, 0, 0, 0, 1], "cd", Some("luminous intensity")),
    ([1, 0, 0, 0, 0, -1, 0], "g/mol", Some("molar mass")),
    ([-1, 0, 0, 0, 0, 1, 0], "mol/g", None),
    ([0, -3, 0, 0, 0, 1, 0], "mol/L", Some("concentration")),
    ([0, 3, 0, 0, 0, -1, 0], "L/mol", Some("molar volume")),
    ([1, -3, 0, 0, 0, 0, 0], "g/cm^3", Some("density")),
    ([-1, 3, 0, 0, 0, 0, 0], "cm^3/g", None),
    ([1, 0, -1, 0, 0, 0, 0], "g/s", None),
    ([0, 3, -1, 0, 0, 0, 0], "L/s", None),
    ([0, -3, 0, 0, 0, 0, 0], "1/L", None),
    ([0, 0, -1, 0, 0, 0, 0], "1/s", None),
    ([0, 1, -1, 0, 0, 0, 0], "m/s", Some("speed")),
    ([1, 1, -2, 0, 0, 0, 0], "N", Some("force")),
    ([1, -1, -2, 0, 0, 0, 0], "Pa", Some("pressure")),
    ([1, 2, -2, 0, 0, 0, 0], "J", Some("energy")),
    ([1, 2, -3, 0, 0, 0, 0], "W", Some("power")),
    ([0, 0, 1, 1, 0, 0, 0], "C", Some("electric charge")),
    ([1, 2, -3, -1, 0, 0, 0], "V", Some("voltage")),
    ([1, 2, -3, -2, 0, 0, 0], "Ω", Some("electric resistance")),
    ([0, 0, 1, 1, 0, -1, 0], "C/mol", None),
    ([1, 2, -2, 0, 0, -1, 0], "J/mol", Some("molar energy")),
    ([1, 2, -2, 0, -1, 0, 0], "J/K", Some("heat capacity")),
    ([1, 2, -2, 0, -1, -1, 0], "J/(mol K)", Some("molar heat capacity")),
    ([0, 2, -2, 0, -1, 0, 0], "J/(g K)", Some("specific heat capacity")),
    ([0, 2, -2, 0, 0, 0, 0], "J/g", Some("specific energy")),
];

/// Base units with the gram for the kilogram, positive powers before the `/`.
fn reduced_spelling(dimension: Dimension) -> String {
    const NAMES: [&str; 7] = ["g", "m", "s", "A", "K", "mol", "cd"];
    let factors = |wanted: fn(i8) -> bool| -> Vec<String> {
        let present = NAMES.iter().zip(dimension.0).filter(|(_, exponent)| wanted(*exponent));
        present.map(|(name, exponent)| power_spelling(name, exponent.unsigned_abs())).collect()
    };
    let (above, below) = (factors(|exponent| exponent > 0), factors(|exponent| exponent < 0));
    let above = if above.is_empty() { "1".to_owned() } else { above.join(" ") };
    match below.len() {
        0 => above,
        1 => format!("{above}/{}", below.join("")),
        _ => format!("{above}/({})", below.join(" ")),
    }
}

fn power_spelling(name: &str, power: u8) -> String {
    if power == 1 { name.to_owned() } else { format!("{name}^{power}") }
}

/// A spelling that is known to be a unit, as set in print.
fn typographic(symbol: &str) -> String {
    let mut printed = String::new();
    let mut rest = symbol;
    while let Some(c) = rest.chars().next() {
        let length = match is_word_character(c) {
            true => push_word(&mut printed, rest),
            false => push_sign(&mut printed, rest, c),
        };
        rest = rest.get(length..).unwrap_or("");
    }
    printed
}

/// Adds the word that `rest` starts with; returns its length.
fn push_word(printed: &mut String, rest: &str) -> usize {
    let length = rest.find(|c| !is_word_character(c)).unwrap_or(rest.len());
    let name = rest.get(..length).unwrap_or("");
    match name {
        _ if CELSIUS.contains(&name) => printed.push_str("°C"),
        _ if name.starts_with(['u', 'μ']) && atom(name).is_none() => {
            printed.push('µ');
            printed.extend(name.chars().skip(1));
        }
        _ => printed.push_str(name),
    }
    length
}

/// Adds what stands between words: powers as superscripts, product signs as `·`; returns its length.
fn push_sign(printed: &mut String, rest: &str, first: char) -> usize {
    let power = rest.strip_prefix('^').unwrap_or(rest);
    let digits =
        power.find(|c: char| !c.is_ascii_digit() && !matches!(c, '-' | '−' | '+')).unwrap_or(power.len());
    let number = power.get(..digits).unwrap_or("").replace('−', "-");
    let after_word = printed.chars().next_back().is_some_and(|c| is_word_character(c) || c == ')');
    if let (true, Ok(number)) = (after_word, number.parse::<i32>()) {
        printed.push_str(&superscript(number));
        return rest.len() - power.len() + digits;
    }
    let between =
        rest.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, '·' | '*' | '.' | '⋅' | '×'));
    if between.len() == rest.len() || between.starts_with(['/', ')']) || printed.ends_with(['/', '(']) {
        if !first.is_whitespace() {
            printed.push(first);
        }
        return first.len_utf8();
    }
    printed.push('·');
    rest.len() - between.len()
}
