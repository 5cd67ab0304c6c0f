//! Standard atomic weights by named tables.
//!
//! A table is chosen by its name, and the name is printed with every result that rests on it. A course or
//! a notebook may state single atomic weights and molar masses of its own; the table's name then says so.
//! What has no standard atomic weight (technetium, polonium and the like) has none here until a notebook
//! states one: a half-life is no reason to invent a value.

use std::sync::OnceLock;

use dashu_int::IBig;

use super::atom::Atom;
use super::count::Count;
use super::element_table::{BEFORE_2024, ELEMENTS, Row, Standard};
use super::formula::{Formula, FormulaError};
use super::isotope_table::ISOTOPES;
use super::older_tables::IUPAC_1999;
use crate::finding::nearest;
use crate::quantity::Decimal;

/// The built-in tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Table {
    AbridgedRevised,
    Abridged2021,
    ConventionalRevised,
    Iupac1999,
}

/// A table of atomic weights: a built-in one, with what a course or notebook states of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct AtomicWeights {
    table: Table,
    changes: Vec<(Atom, Decimal)>,
    molar_masses: Vec<(Formula, Decimal)>,
}

/// An atomic weight (relative atomic mass; the molar mass in g/mol has the same number).
#[derive(Clone, Debug, PartialEq)]
pub struct Weight {
    /// The value as tabulated, trailing zeros kept.
    pub value: Decimal,
    /// Its standard uncertainty. A tabulated half-width is taken as that of a rectangular distribution
    /// (half-width/√3; JCGM 100:2008, 4.3.7, and Eurachem/CITAC QUAM, example A2).
    pub standard_uncertainty: f64,
}

/// Why an atomic weight or a molar mass cannot be stated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WeightError {
    /// What was found and expected, lower case.
    pub message: String,
    /// How to mend it, where that is clear.
    pub hint: Option<String>,
}

impl Table {
    const ALL: [Table; 4] =
        [Table::AbridgedRevised, Table::Abridged2021, Table::ConventionalRevised, Table::Iupac1999];

    fn name(self) -> &'static str {
        match self {
            Table::AbridgedRevised => "CIAAW 2021 abridged, revised 2024",
            Table::Abridged2021 => "CIAAW 2021 abridged",
            Table::ConventionalRevised => "CIAAW 2021 conventional, revised 2024",
            Table::Iupac1999 => "IUPAC 1999, revised 2001",
        }
    }

    /// The weights of all elements, read once.
    fn weights(self) -> &'static [Option<Weight>] {
        static READ: [OnceLock<Vec<Option<Weight>>>; Table::ALL.len()] = [const { OnceLock::new() }; 4];
        // A table's number is its place among all.
        READ[self as usize].get_or_init(|| ELEMENTS.iter().map(|row| self.weight(row)).collect())
    }

    fn weight(self, row: &Row) -> Option<Weight> {
        match self {
            Table::AbridgedRevised => row.abridged.and_then(|(value, half)| rectangular(value, half)),
            Table::Abridged2021 => {
                listed(BEFORE_2024, row.symbol).or_else(|| Table::AbridgedRevised.weight(row))
            }
            Table::ConventionalRevised => conventional(row),
            Table::Iupac1999 => listed(&IUPAC_1999, row.symbol),
        }
    }
}

fn listed(list: &[(&str, &str, &str)], symbol: &str) -> Option<Weight> {
    let (_, value, half_width) = list.iter().find(|(listed, ..)| *listed == symbol)?;
    rectangular(value, half_width)
}

fn rectangular(value: &str, half_width: &str) -> Option<Weight> {
    let half_width: f64 = half_width.parse().ok()?;
    Some(Weight { value: decimal(value)?, standard_uncertainty: half_width / 3f64.sqrt() })
}

/// The standard value; where an interval is standard, IUPAC's conventional value, with the larger distance
/// to the interval's ends as half-width. The conventional values are those of the abridged table, but for
/// hydrogen, which has three decimals (that exception is from memory).
fn conventional(row: &Row) -> Option<Weight> {
    match row.standard? {
        Standard::Value(value, half_width) => rectangular(value, half_width),
        Standard::Interval(low, high) => {
            let value = if row.symbol == "H" { "1.008" } else { row.abridged?.0 };
            let (at, low, high): (f64, f64, f64) =
                (value.parse().ok()?, low.parse().ok()?, high.parse().ok()?);
            let half_width = (at - low).max(high - at);
            Some(Weight { value: decimal(value)?, standard_uncertainty: half_width / 3f64.sqrt() })
        }
    }
}

fn isotope(symbol: &str, mass_number: u16) -> Option<Weight> {
    let wanted = |row: &&(&str, u16, &str, &str)| row.0 == symbol && row.1 == mass_number;
    let (_, _, value, uncertainty) = ISOTOPES.iter().find(wanted)?;
    Some(Weight { value: decimal(value)?, standard_uncertainty: uncertainty.parse().ok()? })
}

impl Default for AtomicWeights {
    fn default() -> Self {
        AtomicWeights::abridged()
    }
}

impl AtomicWeights {
    /// `CIAAW 2021 abridged, revised 2024`: five figures at most, for general use. The default.
    pub fn abridged() -> Self {
        AtomicWeights::of(Table::AbridgedRevised)
    }

    fn of(table: Table) -> Self {
        AtomicWeights { table, changes: Vec::new(), molar_masses: Vec::new() }
    }

    /// The table of a name (case and blanks at the ends do not matter).
    pub fn by_name(name: &str) -> Option<Self> {
        let same = |table: &Table| table.name().eq_ignore_ascii_case(name.trim());
        Table::ALL.into_iter().find(same).map(AtomicWeights::of)
    }

    /// The names of the built-in tables, the default first.
    pub fn names() -> impl Iterator<Item = &'static str> {
        Table::ALL.into_iter().map(Table::name)
    }

    /// The name, with what was stated: `CIAAW 2021 abridged, revised 2024, with O = 16.00`.
    pub fn name(&self) -> String {
        let weights = self.changes.iter().map(|(atom, value)| format!("{} = {value}", atom.text()));
        let molar_masses = self.molar_masses.iter();
        let masses = molar_masses.map(|(formula, value)| format!("M({}) = {value}", formula.text()));
        let stated: Vec<String> = weights.chain(masses).collect();
        match stated.split_last() {
            None => self.table.name().to_owned(),
            Some((only, [])) => format!("{}, with {only}", self.table.name()),
            Some((last, others)) => format!("{}, with {} and {last}", self.table.name(), others.join(", ")),
        }
    }

    /// The same table with the weight of one element (or isotope: `D`, `^13C`) stated by a course or
    /// notebook. It counts as rounded: uncertain by half a unit of its last place.
    ///
    /// # Errors
    /// What is no element, and values that are not above zero.
    pub fn with_change(mut self, symbol: &str, value: &Decimal) -> Result<Self, WeightError> {
        let Some(atom) = single_atom(symbol) else {
            let hint = nearest_symbol(symbol).map(|near| format!("did you mean `{near}`?"));
            return Err(WeightError { message: format!("there is no element `{symbol}`"), hint });
        };
        above_zero(value, &format!("an atomic weight of {symbol}"))?;
        self.changes.retain(|(changed, _)| *changed != atom);
        self.changes.push((atom, value.clone()));
        Ok(self)
    }

    /// The same table with the molar mass of one formula stated, in g/mol, in place of the sum of its atoms.
    ///
    /// # Errors
    /// Values that are not above zero.
    pub fn with_molar_mass(mut self, formula: &Formula, value: &Decimal) -> Result<Self, WeightError> {
        above_zero(value, &format!("a molar mass of {}", formula.text()))?;
        self.molar_masses.retain(|(stated, _)| !stated.same_substance(formula));
        self.molar_masses.push((formula.clone(), value.clone()));
        Ok(self)
    }

    /// The molar mass stated for a formula, in g/mol.
    pub(super) fn stated_molar_mass(&self, formula: &Formula) -> Option<Weight> {
        let stated = self.molar_masses.iter().find(|(stated, _)| stated.same_substance(formula));
        stated.map(|(_, value)| rounded(value))
    }

    /// The atomic weight of an element (`Cu`), or the atomic mass of an isotope (`D`, `^13C`); `None` where
    /// there is no standard one, or no such element.
    pub fn weight(&self, symbol: &str) -> Option<Weight> {
        self.weight_of(Atom::of_text(symbol)?)
    }

    /// The same for a kind of atom.
    pub(super) fn weight_of(&self, atom: Atom) -> Option<Weight> {
        if let Some((_, value)) = self.changes.iter().find(|(changed, _)| *changed == atom) {
            return Some(rounded(value));
        }
        match atom.mass_number {
            Some(number) => isotope(atom.symbol, number),
            None => self.table.weights().get(place_of(atom.symbol)?)?.clone(),
        }
    }

    /// Why an element or isotope has no weight here.
    pub(super) fn no_weight(&self, symbol: &str) -> FormulaError {
        let name =
            element_name(symbol).map_or_else(|| format!("`{symbol}`"), |name| format!("{name} ({symbol})"));
        FormulaError {
            message: format!("{name} has no atomic weight in the table {}", self.name()),
            range: 0..0,
            hint: Some(format!("state one under [atomic-weights], as \"{symbol}\" = \"…\"")),
        }
    }
}

/// The atom of a text that is just one: `O`, and ²H for both `D` and `^2H`.
fn single_atom(text: &str) -> Option<Atom> {
    let formula = Formula::parse(text).ok().filter(|formula| formula.charge() == 0)?;
    match formula.atoms.as_slice() {
        [(atom, Count::ONE)] => Some(*atom),
        _ => None,
    }
}

fn above_zero(value: &Decimal, what: &str) -> Result<(), WeightError> {
    if value.coefficient > IBig::ZERO {
        return Ok(());
    }
    let hint = Some("expected a number above zero".to_owned());
    Err(WeightError { message: format!("{what} of {value}"), hint })
}

/// A value stated without its uncertainty counts as rounded: half a unit of its last place either way.
fn rounded(value: &Decimal) -> Weight {
    let half_width = 0.5 * 10f64.powi(value.exponent);
    Weight { value: value.clone(), standard_uncertainty: half_width / 3f64.sqrt() }
}

/// Whether a text is the symbol of an element.
pub fn is_element(symbol: &str) -> bool {
    element(symbol).is_some()
}

/// The element's name, in IUPAC's spelling.
pub fn element_name(symbol: &str) -> Option<&'static str> {
    element(symbol).map(|row| row.name)
}

/// The symbol as the table holds it.
pub(super) fn symbol_of(text: &str) -> Option<&'static str> {
    element(text).map(|row| row.symbol)
}

/// The symbol nearest to a text that is none; one with the same first letter is preferred.
pub fn nearest_symbol(text: &str) -> Option<&'static str> {
    let symbols = || ELEMENTS.iter().map(|row| row.symbol);
    let same_letter = |symbol: &&str| symbol.chars().next() == text.chars().next();
    nearest(text, symbols().filter(same_letter)).or_else(|| nearest(text, symbols()))
}

/// The symbol of one or two letters.
pub(super) fn symbol_of_letters(first: char, second: Option<char>) -> Option<&'static str> {
    place_of_letters(u8::try_from(first).ok()?, second.map(u8::try_from).transpose().ok()?)
        .and_then(|place| ELEMENTS.get(place))
        .map(|row| row.symbol)
}

fn element(symbol: &str) -> Option<&'static Row> {
    ELEMENTS.get(place_of(symbol)?)
}

/// The place of an element in the tables.
fn place_of(symbol: &str) -> Option<usize> {
    match *symbol.as_bytes() {
        [first] => place_of_letters(first, None),
        [first, second] => place_of_letters(first, Some(second)),
        _ => None,
    }
}

fn place_of_letters(first: u8, second: Option<u8>) -> Option<usize> {
    let letter = |letter: u8, of: u8| letter.checked_sub(of).filter(|at| *at < 26);
    let column = second.map_or(Some(0), |second| letter(second, b'a').map(|at| at + 1))?;
    let place = PLACES.get(usize::from(letter(first, b'A')?) * COLUMNS + usize::from(column))?;
    usize::from(*place).checked_sub(1)
}

/// No second letter, or one of 26.
const COLUMNS: usize = 27;

/// By the letters of a symbol: one more than its place in the tables, or zero.
const PLACES: [u8; 26 * COLUMNS] = places();

const fn places() -> [u8; 26 * COLUMNS] {
    let mut places = [0; 26 * COLUMNS];
    let mut at = 0;
    while at < ELEMENTS.len() {
        let symbol = ELEMENTS[at].symbol.as_bytes();
        let column = if symbol.len() > 1 { symbol[1] - b'a' + 1 } else { 0 };
        places[(symbol[0] - b'A') as usize * COLUMNS + column as usize] = at as u8 + 1;
        at += 1;
    }
    places
}

/// A figure of the built-in tables; that each of them is one, a test holds.
fn decimal(text: &str) -> Option<Decimal> {
    Decimal::parse(text, false).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weight(table: &str, symbol: &str) -> Option<String> {
        AtomicWeights::by_name(table)?.weight(symbol).map(|weight| weight.value.to_string())
    }

    #[test]
    fn every_figure_of_the_tables_is_a_number() {
        let figures = |symbol: &str| weight("CIAAW 2021 abridged, revised 2024", symbol);
        for row in &ELEMENTS {
            assert_eq!(
                figures(row.symbol).as_deref(),
                row.abridged.map(|(value, _)| value),
                "{}",
                row.symbol
            );
            let both = row.abridged.is_some() == conventional(row).is_some();
            assert!(both, "{} has one of two weights", row.symbol);
        }
        for (symbol, value, _) in IUPAC_1999 {
            assert_eq!(weight("IUPAC 1999, revised 2001", symbol).as_deref(), Some(value));
        }
        for (symbol, number, value, _) in ISOTOPES {
            let found = isotope(symbol, number).map(|weight| weight.value.to_string());
            assert_eq!(found.as_deref(), Some(value));
        }
    }

    /// The abridged value is the standard one at fewer figures, so the two tables check one another.
    #[test]
    fn abridged_and_standard_values_agree_within_the_abridged_uncertainty() {
        let number = |text: &str| text.parse::<f64>().expect("a number");
        for row in &ELEMENTS {
            let (Some((value, half_width)), Some(standard)) = (row.abridged, row.standard) else { continue };
            let (low, high) = match standard {
                Standard::Value(value, _) => (number(value), number(value)),
                Standard::Interval(low, high) => (number(low), number(high)),
            };
            let middle = (low + high) / 2.0;
            assert!((number(value) - middle).abs() <= number(half_width), "{}", row.symbol);
        }
    }

    /// An isotope's mass lies within 0.1 u of its mass number, save for the heaviest (0.05 u).
    #[test]
    fn isotopes_weigh_about_their_mass_number() {
        for (symbol, number, value, uncertainty) in ISOTOPES {
            let value: f64 = value.parse().expect("a number");
            assert!((value - f64::from(number)).abs() < 0.12, "{symbol}-{number}");
            assert!(uncertainty.parse::<f64>().is_ok_and(|u| u < 1e-4), "{symbol}-{number}");
        }
    }

    #[test]
    fn changes_are_in_the_name_and_in_the_weight() {
        let stated = decimal("16.00").expect("a number");
        let table = AtomicWeights::abridged().with_change("O", &stated).expect("an element");
        assert_eq!(table.name(), "CIAAW 2021 abridged, revised 2024, with O = 16.00");
        assert_eq!(table.weight("O").map(|weight| weight.value), Some(stated.clone()));
        for text in ["Ox", "O2", "^O", "O^2-", ""] {
            assert!(AtomicWeights::abridged().with_change(text, &stated).is_err(), "{text}");
        }
        let heavy = AtomicWeights::abridged().with_change("^2H", &stated).expect("an isotope");
        assert_eq!(heavy.weight("D").map(|weight| weight.value), Some(stated.clone()));
        let zero = decimal("0.00").expect("a number");
        assert!(AtomicWeights::abridged().with_change("O", &zero).is_err());
    }

    #[test]
    fn a_stated_molar_mass_replaces_the_sum() {
        let formula = Formula::parse("BaSO4").expect("a formula");
        let value = decimal("233.43").expect("a number");
        let table = AtomicWeights::abridged().with_molar_mass(&formula, &value).expect("a mass");
        let found = formula.molar_mass(&table).expect("a molar mass");
        assert_eq!((found.grams_per_mole.fraction().to_f64().value(), found.place), (233.43, -2));
        assert_eq!(table.name(), "CIAAW 2021 abridged, revised 2024, with M(BaSO4) = 233.43");
    }

    #[test]
    fn an_element_without_a_weight_can_be_given_one() {
        let technetium = decimal("98").expect("a number");
        let table = AtomicWeights::abridged();
        assert_eq!(table.weight("Tc"), None);
        assert_eq!(table.no_weight("Tc").message.split(" has").next(), Some("technetium (Tc)"));
        let table = table.with_change("Tc", &technetium).expect("an element");
        assert_eq!(table.weight("Tc").map(|weight| weight.value), Some(technetium));
    }
}
