//! The printed forms of a formula: plain text, Unicode, HTML, Typst mathematics, spoken words.
//!
//! Every form is made from one list of pieces, so that they cannot say different things.

use dashu_int::{IBig, UBig};
use dashu_ratio::RBig;

use super::atom::Atom;
use super::count::Count;
use super::formula::{Bracket, Formula, Item, Part, State};

impl Bracket {
    /// The opening and the closing character.
    pub(super) fn pair(self) -> (char, char) {
        match self {
            Bracket::Round => ('(', ')'),
            Bracket::Square => ('[', ']'),
            Bracket::Curly => ('{', '}'),
        }
    }
}

/// A piece of a printed formula.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    /// A mass number before the symbol it belongs to.
    MassNumber(u16),
    /// A symbol.
    Symbol(&'static str),
    Open(char),
    Close(char),
    /// A count behind an atom or bracket.
    Subscript(RBig),
    /// A count before a part.
    Coefficient(RBig),
    Dot,
    Charge(i64),
    State(State),
}

impl State {
    /// As written behind a formula: `(aq)`.
    pub fn text(self) -> &'static str {
        match self {
            State::Solid => "(s)",
            State::Liquid => "(l)",
            State::Gas => "(g)",
            State::Aqueous => "(aq)",
        }
    }

    fn word(self) -> &'static str {
        match self {
            State::Solid => "solid",
            State::Liquid => "liquid",
            State::Gas => "gas",
            State::Aqueous => "aqueous",
        }
    }
}

impl Formula {
    fn pieces(&self) -> Vec<Piece> {
        let mut pieces = Vec::new();
        if self.is_electron() {
            pieces.push(Piece::Symbol("e"));
        }
        for (index, part) in self.parts.iter().enumerate() {
            if index > 0 {
                pieces.push(Piece::Dot);
            }
            part_pieces(part, &mut pieces);
        }
        if self.charge != 0 {
            pieces.push(Piece::Charge(self.charge));
        }
        pieces.extend(self.state.map(Piece::State));
        pieces
    }

    /// The formula in plain text, as it can be read back: `CuSO4·5H2O`, `SO4^2-`, `CaCO3(s)`.
    pub fn text(&self) -> String {
        self.pieces().iter().map(Piece::text).collect()
    }

    /// The formula with raised and lowered characters: `CuSO₄·5H₂O`, `SO₄²⁻`.
    pub fn unicode(&self) -> String {
        self.pieces().iter().map(Piece::unicode).collect()
    }

    /// The formula in HTML: `CuSO<sub>4</sub>·5H<sub>2</sub>O`. Holds no other tags than `sub` and `sup`.
    pub fn html(&self) -> String {
        self.pieces().iter().map(Piece::html).collect()
    }

    /// The formula as an expression of Typst's math mode, upright: `"CuSO"_4 dot.op 5"H"_2"O"`. Every letter
    /// and bracket stands in quotes, and there are none but those of the pieces, so nothing can escape.
    pub fn typst(&self) -> String {
        let mut typst = String::new();
        for piece in self.pieces() {
            let next = piece.typst();
            // Neighbouring texts become one: kerning, and no space between them.
            if typst.ends_with('"') && next.starts_with('"') && !ends_a_script(&typst) {
                typst.pop();
                typst.push_str(next.get(1..).unwrap_or(""));
            } else {
                typst.push_str(&next);
            }
        }
        typst
    }

    /// The formula in words for reading aloud: `Cu S O 4, 5 H 2 O`.
    pub fn spoken(&self) -> String {
        if self.is_electron() {
            return "electron".to_owned();
        }
        let words: Vec<String> = self.pieces().iter().map(Piece::spoken).collect();
        words.join(" ").replace(" ,", ",")
    }
}

fn part_pieces(part: &Part, pieces: &mut Vec<Piece>) {
    if part.count != Count::ONE {
        pieces.push(Piece::Coefficient(part.count.fraction()));
    }
    item_pieces(&part.items, pieces);
}

fn item_pieces(items: &[Item], pieces: &mut Vec<Piece>) {
    for item in items {
        let count = match item {
            Item::Atom { atom, count } => {
                atom_pieces(*atom, pieces);
                count
            }
            Item::Group { bracket, items, count } => {
                let (open, close) = bracket.pair();
                pieces.push(Piece::Open(open));
                item_pieces(items, pieces);
                pieces.push(Piece::Close(close));
                count
            }
        };
        if *count != Count::ONE {
            pieces.push(Piece::Subscript(count.fraction()));
        }
    }
}

fn atom_pieces(atom: Atom, pieces: &mut Vec<Piece>) {
    match (atom.symbol, atom.mass_number) {
        ("H", Some(2)) => pieces.push(Piece::Symbol("D")),
        ("H", Some(3)) => pieces.push(Piece::Symbol("T")),
        (symbol, number) => {
            pieces.extend(number.map(Piece::MassNumber));
            pieces.push(Piece::Symbol(symbol));
        }
    }
}

impl Piece {
    fn text(&self) -> String {
        match self {
            Piece::MassNumber(number) => format!("^{number}"),
            Piece::Symbol(symbol) => (*symbol).to_owned(),
            Piece::Open(bracket) | Piece::Close(bracket) => bracket.to_string(),
            Piece::Subscript(count) | Piece::Coefficient(count) => count_text(count),
            Piece::Dot => "·".to_owned(),
            Piece::Charge(charge) => format!("^{}", charge_text(*charge, "-")),
            Piece::State(state) => state.text().to_owned(),
        }
    }

    fn unicode(&self) -> String {
        match self {
            Piece::MassNumber(number) => raised(&number.to_string()),
            Piece::Subscript(count) => lowered(&count_text(count)),
            Piece::Coefficient(count) => pretty_count(count),
            Piece::Charge(charge) => raised(&charge_text(*charge, "-")),
            other => other.text(),
        }
    }

    fn html(&self) -> String {
        match self {
            Piece::MassNumber(number) => format!("<sup>{number}</sup>"),
            Piece::Subscript(count) => format!("<sub>{}</sub>", count_text(count)),
            Piece::Coefficient(count) => pretty_count(count),
            Piece::Charge(charge) => format!("<sup>{}</sup>", charge_text(*charge, "−")),
            other => other.text(),
        }
    }

    fn typst(&self) -> String {
        match self {
            Piece::MassNumber(number) => format!("\"\"^{number}"),
            Piece::Subscript(count) => format!("_{}", typst_count(count)),
            Piece::Coefficient(count) => typst_count(count),
            Piece::Dot => " dot.op ".to_owned(),
            Piece::Charge(charge) => format!("^\"{}\"", charge_text(*charge, "−")),
            other => format!("\"{}\"", other.text()),
        }
    }

    fn spoken(&self) -> String {
        match self {
            Piece::Open(bracket) => format!("open {}", bracket_word(*bracket)),
            Piece::Close(bracket) => format!("close {}", bracket_word(*bracket)),
            Piece::MassNumber(number) => number.to_string(),
            Piece::Subscript(count) | Piece::Coefficient(count) => spoken_count(count),
            Piece::Dot => ",".to_owned(),
            Piece::Charge(charge) => format!(", charge {}", spoken_charge(*charge)),
            Piece::State(state) => format!(", {}", state.word()),
            Piece::Symbol(symbol) => (*symbol).to_owned(),
        }
    }
}

fn bracket_word(bracket: char) -> &'static str {
    match bracket {
        '[' | ']' => "square bracket",
        '{' | '}' => "curly bracket",
        _ => "bracket",
    }
}

fn spoken_charge(charge: i64) -> String {
    let sign = if charge < 0 { "minus" } else { "plus" };
    format!("{sign} {}", charge.unsigned_abs())
}

fn spoken_count(count: &RBig) -> String {
    if *count == half() { "one half".to_owned() } else { count_text(count) }
}

fn half() -> RBig {
    RBig::from_parts(IBig::from(1), UBig::from(2u8))
}

/// Most digits of a decimal, so that it can be read back.
const MOST_DIGITS: usize = 9;

/// A whole number, a decimal where it ends soon, else a fraction.
pub(super) fn count_text(count: &RBig) -> String {
    if count.is_int() {
        return count.numerator().to_string();
    }
    let scaled = (1..MOST_DIGITS).find_map(|places| {
        let scaled = count * RBig::from(10).pow(places as isize);
        scaled.is_int().then(|| (places, format!("{:0>width$}", scaled.numerator(), width = places + 1)))
    });
    match scaled.filter(|(_, digits)| digits.len() <= MOST_DIGITS) {
        Some((places, digits)) => {
            let (whole, decimals) = digits.split_at(digits.len() - places);
            format!("{whole}.{decimals}")
        }
        None => format!("{}/{}", count.numerator(), count.denominator()),
    }
}

/// Whole numbers as digits, others as text.
fn typst_count(count: &RBig) -> String {
    if count.is_int() { count_text(count) } else { format!("\"{}\"", pretty_count(count)) }
}

/// Whether the last quoted text of a Typst expression is a sub- or superscript.
fn ends_a_script(typst: &str) -> bool {
    let opening = typst.strip_suffix('"').and_then(|text| text.rfind('"'));
    let before = opening.and_then(|at| typst.get(..at)).and_then(|before| before.chars().last());
    matches!(before, Some('_' | '^'))
}

/// A count before a part as it is printed: `5`, `½`, `0.25`.
pub(super) fn pretty_count(count: &RBig) -> String {
    if *count == half() { "½".to_owned() } else { count_text(count) }
}

fn charge_text(charge: i64, minus: &str) -> String {
    let sign = if charge < 0 { minus } else { "+" };
    match charge.unsigned_abs() {
        1 => sign.to_owned(),
        size => format!("{size}{sign}"),
    }
}

fn raised(text: &str) -> String {
    text.chars().map(|c| moved(c, "⁰¹²³⁴⁵⁶⁷⁸⁹", '⁺', '⁻')).collect()
}

fn lowered(text: &str) -> String {
    text.chars().map(|c| moved(c, "₀₁₂₃₄₅₆₇₈₉", '₊', '₋')).collect()
}

fn moved(c: char, digits: &str, plus: char, minus: char) -> char {
    match (c, c.to_digit(10)) {
        (_, Some(value)) => digits.chars().nth(value as usize).unwrap_or(c),
        ('+', _) => plus,
        ('-', _) => minus,
        _ => c,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn formula(text: &str) -> Formula {
        Formula::parse(text).expect("a formula")
    }

    #[test]
    fn one_formula_in_every_form() {
        let hydrate = formula("KAl(SO4)2.12H2O");
        assert_eq!(hydrate.text(), "KAl(SO4)2·12H2O");
        assert_eq!(hydrate.unicode(), "KAl(SO₄)₂·12H₂O");
        assert_eq!(hydrate.html(), "KAl(SO<sub>4</sub>)<sub>2</sub>·12H<sub>2</sub>O");
        assert_eq!(hydrate.typst(), "\"KAl(SO\"_4\")\"_2 dot.op 12\"H\"_2\"O\"");
        assert_eq!(hydrate.spoken(), "K Al open bracket S O 4 close bracket 2, 12 H 2 O");
    }

    /// Found by fuzzing: the decimal had more digits than are read.
    #[test]
    fn a_long_fraction_is_printed_as_it_can_be_read_back() {
        for (text, printed) in [
            ("O3.H.111111111/4O", "O3·H·111111111/4O"),
            ("H.1/500000000O", "H·1/500000000O"),
            ("H.111111½O", "H·111111.5O"),
            ("H.99999999½O", "H·99999999.5O"),
        ] {
            assert_eq!(formula(text).text(), printed);
            assert_eq!(formula(printed).text(), printed);
        }
    }

    #[test]
    fn charges_states_isotopes_and_halves() {
        let ion = formula("SO4^2-(aq)");
        assert_eq!(ion.unicode(), "SO₄²⁻(aq)");
        assert_eq!(ion.html(), "SO<sub>4</sub><sup>2−</sup>(aq)");
        assert_eq!(ion.typst(), "\"SO\"_4^\"2−\"\"(aq)\"");
        assert_eq!(ion.spoken(), "S O 4, charge minus 2, aqueous");
        let isotope = formula("^13CO2");
        assert_eq!((isotope.unicode().as_str(), isotope.typst().as_str()), ("¹³CO₂", "\"\"^13\"CO\"_2"));
        assert_eq!(isotope.html(), "<sup>13</sup>CO<sub>2</sub>");
        let half = formula("CaSO4·½H2O");
        assert_eq!((half.text().as_str(), half.unicode().as_str()), ("CaSO4·0.5H2O", "CaSO₄·½H₂O"));
        assert_eq!(half.typst(), "\"CaSO\"_4 dot.op \"½H\"_2\"O\"");
        assert_eq!(half.spoken(), "Ca S O 4, one half H 2 O");
        assert_eq!((formula("e-").unicode().as_str(), formula("e-").spoken().as_str()), ("e⁻", "electron"));
    }
}
