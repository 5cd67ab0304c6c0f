//! Standard atomic weights by named tables.
//!
//! A table is chosen by its name, and the name is printed with every result that rests on it. A course or
//! a notebook may change single values; the table's name then says so. What has no standard atomic weight
//! (technetium, polonium and the like) has none here until a notebook states one.

use std::str::FromStr;

use dashu_int::IBig;

use super::element_table::{BEFORE_2024, ELEMENTS, Row};
use super::formula::{FormulaError, element_of};
use crate::finding::nearest;
use crate::quantity::Decimal;

/// The built-in tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Table {
    AbridgedRevised,
    Abridged2021,
    ConventionalRevised,
}

impl Table {
    const ALL: [Table; 3] = [Table::AbridgedRevised, Table::Abridged2021, Table::ConventionalRevised];

    fn name(self) -> &'static str {
        match self {
            Table::AbridgedRevised => "CIAAW 2021 abridged, revised 2024",
            Table::Abridged2021 => "CIAAW 2021 abridged",
            Table::ConventionalRevised => "CIAAW 2021 conventional, revised 2024",
        }
    }

    /// Value and half-width, as text.
    fn figures(self, row: &Row) -> Option<(&'static str, String)> {
        match self {
            Table::AbridgedRevised => row.abridged.map(|(value, half)| (value, half.to_owned())),
            Table::Abridged2021 => BEFORE_2024
                .iter()
                .find(|(symbol, ..)| *symbol == row.symbol)
                .map(|(_, value, half)| (*value, (*half).to_owned()))
                .or_else(|| Table::AbridgedRevised.figures(row)),
            Table::ConventionalRevised => Table::AbridgedRevised.figures(row),
        }
    }
}

/// A table of atomic weights: a built-in one, with the changes a course or notebook makes.
#[derive(Clone, Debug, PartialEq)]
pub struct AtomicWeights {
    table: Table,
    changes: Vec<(String, Decimal)>,
}

/// Why an atomic weight cannot be changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WeightError {
    /// What was found and expected, lower case.
    pub message: String,
    /// How to mend it, where that is clear.
    pub hint: Option<String>,
}

/// An atomic weight (relative atomic mass; the molar mass in g/mol has the same number).
#[derive(Clone, Debug, PartialEq)]
pub struct Weight {
    /// The value as tabulated, trailing zeros kept.
    pub value: Decimal,
    /// Half the width of the interval that holds it; the distribution in it is taken as rectangular.
    pub half_width: f64,
}

impl Weight {
    /// The standard uncertainty: half-width/√3 (JCGM 100:2008, 4.3.7, rectangular distribution).
    pub fn standard_uncertainty(&self) -> f64 {
        self.half_width / 3f64.sqrt()
    }
}

impl Default for AtomicWeights {
    fn default() -> Self {
        AtomicWeights::abridged()
    }
}

impl AtomicWeights {
    /// `CIAAW 2021 abridged, revised 2024`: five figures at most, for general use. The default.
    pub fn abridged() -> Self {
        AtomicWeights { table: Table::AbridgedRevised, changes: Vec::new() }
    }

    /// The table of a name (case and blanks at the ends do not matter).
    pub fn by_name(name: &str) -> Option<Self> {
        let same = |table: &Table| table.name().eq_ignore_ascii_case(name.trim());
        Table::ALL.into_iter().find(same).map(|table| AtomicWeights { table, changes: Vec::new() })
    }

    /// The names of the built-in tables, the default first.
    pub fn names() -> impl Iterator<Item = &'static str> {
        Table::ALL.into_iter().map(Table::name)
    }

    /// The name, with the changes: `CIAAW 2021 abridged, revised 2024, with O = 16.00`.
    pub fn name(&self) -> String {
        let mut name = self.table.name().to_owned();
        for (index, (symbol, value)) in self.changes.iter().enumerate() {
            name.push_str(if index == 0 { ", with " } else { " and " });
            name.push_str(&format!("{symbol} = {}", written(value)));
        }
        name
    }

    /// The same table with the weight of one element (or isotope: `D`, `^13C`) stated by a course or notebook.
    ///
    /// # Errors
    /// What is no element, and values that are not above zero.
    pub fn with_change(mut self, symbol: &str, value: &Decimal) -> Result<Self, WeightError> {
        if !is_element(element_of(symbol)) {
            let hint = nearest_symbol(symbol).map(|near| format!("did you mean `{near}`?"));
            return Err(WeightError { message: format!("there is no element `{symbol}`"), hint });
        }
        if value.coefficient <= IBig::ZERO {
            let message =
                format!("an atomic weight of {} for {symbol}, expected one above zero", written(value));
            return Err(WeightError { message, hint: None });
        }
        self.changes.retain(|(changed, _)| changed != symbol);
        self.changes.push((symbol.to_owned(), value.clone()));
        Ok(self)
    }

    /// Why an element (or isotope) has no atomic weight here.
    pub(super) fn no_weight(&self, symbol: &str) -> FormulaError {
        let name =
            element_name(symbol).map_or_else(|| format!("`{symbol}`"), |name| format!("{name} ({symbol})"));
        FormulaError {
            message: format!("{name} has no standard atomic weight in the table {}", self.name()),
            range: 0..0,
            hint: Some(format!("state one under [atomic-weights], as {symbol} = \"…\"")),
        }
    }

    /// The atomic weight of an element; `None` where it has no standard one or is no element.
    pub fn weight(&self, symbol: &str) -> Option<Weight> {
        if let Some((_, value)) = self.changes.iter().find(|(changed, _)| changed == symbol) {
            return Some(Weight { value: value.clone(), half_width: half_of_last_place(value) });
        }
        let (value, half_width) = self.table.figures(element(symbol)?)?;
        Some(Weight { value: decimal(value)?, half_width: half_width.parse().ok()? })
    }
}

/// Whether a text is the symbol of an element.
pub fn is_element(symbol: &str) -> bool {
    element(symbol).is_some()
}

/// The symbol as the table holds it.
pub(super) fn symbol_of(text: &str) -> Option<&'static str> {
    element(text).map(|row| row.symbol)
}

/// The element's name, in IUPAC's spelling.
pub fn element_name(symbol: &str) -> Option<&'static str> {
    element(symbol).map(|row| row.name)
}

/// The symbol nearest to a text that is none.
pub fn nearest_symbol(text: &str) -> Option<&'static str> {
    nearest(text, ELEMENTS.iter().map(|row| row.symbol))
}

fn element(symbol: &str) -> Option<&'static Row> {
    ELEMENTS.iter().find(|row| row.symbol == symbol)
}

fn decimal(text: &str) -> Option<Decimal> {
    let places = text.split_once('.').map_or(0, |(_, after)| after.len());
    let coefficient = IBig::from_str(&text.replace('.', "")).ok()?;
    Some(Decimal { coefficient, exponent: -i32::try_from(places).ok()?, negative: false })
}

/// A value stated without an uncertainty is taken as rounded: half a unit of its last place.
fn half_of_last_place(value: &Decimal) -> f64 {
    0.5 * 10f64.powi(value.exponent)
}

fn written(value: &Decimal) -> String {
    let digits = value.coefficient.to_string();
    let places = usize::try_from(-value.exponent).unwrap_or(0);
    let padded = format!("{digits:0>width$}", width = places + 1);
    match places {
        0 => padded,
        _ => format!("{}.{}", &padded[..padded.len() - places], &padded[padded.len() - places..]),
    }
}
