//! Kinds of atom: an element, or one isotope of it.

use std::borrow::Cow;

use super::elements::symbol_of;

/// An element as it occurs in nature, or one isotope of it where a mass number is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Atom {
    /// The element's symbol, from the table of elements.
    pub symbol: &'static str,
    /// The mass number of an isotope.
    pub mass_number: Option<u16>,
}

impl Atom {
    /// The key it is counted under: `C`, `^13C`, `D`.
    pub fn key(self) -> Cow<'static, str> {
        match (self.symbol, self.mass_number) {
            ("H", Some(2)) => "D".into(),
            ("H", Some(3)) => "T".into(),
            (symbol, Some(number)) => format!("^{number}{symbol}").into(),
            (symbol, None) => symbol.into(),
        }
    }

    /// The same as a text of its own.
    pub fn text(self) -> String {
        self.key().into_owned()
    }

    /// The atom of such a key.
    pub fn of_text(text: &str) -> Option<Atom> {
        let of = |symbol: &str, mass_number| Some(Atom { symbol: symbol_of(symbol)?, mass_number });
        match text {
            "D" => of("H", Some(2)),
            "T" => of("H", Some(3)),
            text => match text.strip_prefix('^') {
                None => of(text, None),
                Some(rest) => {
                    let symbol = rest.trim_start_matches(|c: char| c.is_ascii_digit());
                    let number = rest.get(..rest.len() - symbol.len())?;
                    of(symbol, Some(number.parse().ok()?))
                }
            },
        }
    }

    /// Its place in Hill order: with carbon in the formula C and H first and the rest by letter, an element before its
    /// isotopes (E. A. Hill, J. Am. Chem. Soc. 22 (1900) 478).
    pub fn hill_key(self, carbon: bool) -> (u8, &'static str, Option<u16>) {
        let rank = match self.symbol {
            "C" if carbon => 0,
            "H" if carbon => 1,
            _ => 2,
        };
        (rank, self.symbol, self.mass_number)
    }
}
