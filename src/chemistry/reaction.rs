//! Chemical equations: reading them and printing them. Balancing is in `balancing`.
//!
//! ```text
//! reaction = side arrow side
//! side     = term { "+" term }
//! term     = [ coefficient ] formula
//! arrow    = "->" | "→" | "=" | "<=>" | "⇌" and their longer forms
//! ```
//!
//! A `+` may also be a charge. It joins terms if a blank stands before it (`Na + Cl2`), or if a letter or a
//! bracket follows it, with or without a number between (`C+2H2`); else it is a charge (`Na+ + Cl-`,
//! `Fe+3`). A number before a term is always its coefficient, before a hydrate too.

use std::ops::Range;

use dashu_ratio::RBig;

use super::formula::{Formula, FormulaError};
use super::formula_parser::{leading_count, state_follows};
use super::formula_print::{count_text, pretty_count};

/// Most species in one equation.
const MOST_TERMS: usize = 64;
/// Longest text of an equation, in bytes.
const MOST_BYTES: usize = 8192;

/// An equation as it was written.
#[derive(Clone, Debug, PartialEq)]
pub struct Reaction {
    /// The left side.
    pub left: Vec<Term>,
    /// The right side.
    pub right: Vec<Term>,
    /// What stands between the sides.
    pub arrow: Arrow,
}

/// One species of an equation.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// The coefficient, where one is written.
    pub coefficient: Option<RBig>,
    /// The species.
    pub formula: Formula,
    /// The bytes of the text it was read from; empty in an equation that was computed.
    pub range: Range<usize>,
}

/// The sign between the sides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrow {
    /// `->`, `→`
    To,
    /// `=`
    Equals,
    /// `<=>`, `⇌`
    Equilibrium,
}

/// A side of an equation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Before the arrow.
    Left,
    /// Behind the arrow.
    Right,
}

impl Side {
    /// `left` or `right`.
    pub fn word(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
        }
    }
}

/// Longer spellings first, so that none is taken for a part of another.
const ARROWS: [(&str, Arrow); 15] = [
    ("<=>", Arrow::Equilibrium),
    ("<->", Arrow::Equilibrium),
    ("<-->", Arrow::Equilibrium),
    ("⇌", Arrow::Equilibrium),
    ("⇋", Arrow::Equilibrium),
    ("↔", Arrow::Equilibrium),
    ("⟷", Arrow::Equilibrium),
    ("-->", Arrow::To),
    ("==>", Arrow::To),
    ("->", Arrow::To),
    ("=>", Arrow::To),
    ("→", Arrow::To),
    ("⟶", Arrow::To),
    ("==", Arrow::Equals),
    ("=", Arrow::Equals),
];

impl Reaction {
    /// Reads an equation.
    ///
    /// # Errors
    /// What is wrong, at the bytes it is about.
    pub fn parse(text: &str) -> Result<Reaction, FormulaError> {
        if text.len() > MOST_BYTES {
            return Err(error(0..text.len(), format!("an equation of more than {MOST_BYTES} bytes"), None));
        }
        let (between, arrow) = find_arrow(text)?;
        let reaction = Reaction {
            left: side(text, 0..between.start)?,
            right: side(text, between.end..text.len())?,
            arrow,
        };
        match reaction.left.len() + reaction.right.len() > MOST_TERMS {
            true => Err(error(0..text.len(), format!("an equation of more than {MOST_TERMS} species"), None)),
            false => Ok(reaction),
        }
    }

    /// All species, left side first.
    pub fn terms(&self) -> impl Iterator<Item = &Term> {
        self.left.iter().chain(&self.right)
    }

    /// How ambiguous formulas in it were read, one sentence each.
    pub fn ambiguities(&self) -> Vec<(Range<usize>, String)> {
        let terms = self.terms();
        terms.filter_map(|term| term.formula.ambiguity().map(|text| (term.range.clone(), text))).collect()
    }

    /// The equation in plain text, as it can be read back: `2 H2 + O2 -> 2 H2O`.
    pub fn text(&self) -> String {
        let arrow = match self.arrow {
            Arrow::To => " -> ",
            Arrow::Equals => " = ",
            Arrow::Equilibrium => " <=> ",
        };
        self.joined(" + ", arrow, |term| prefixed(&term.coefficient, count_text, " ", term.formula.text()))
    }

    /// The equation with raised and lowered characters: `2 H₂ + O₂ → 2 H₂O`.
    pub fn unicode(&self) -> String {
        let print = |term: &Term| prefixed(&term.coefficient, pretty_count, " ", term.formula.unicode());
        self.joined(" + ", &format!(" {} ", self.arrow.sign()), print)
    }

    /// The equation in HTML.
    pub fn html(&self) -> String {
        let print = |term: &Term| prefixed(&term.coefficient, pretty_count, " ", term.formula.html());
        self.joined(" + ", &format!(" {} ", self.arrow.sign()), print)
    }

    /// The equation as an expression of Typst's math mode.
    pub fn typst(&self) -> String {
        let print =
            |term: &Term| prefixed(&term.coefficient, typst_coefficient, " thin ", term.formula.typst());
        self.joined(" + ", &format!(" {} ", self.arrow.sign()), print)
    }

    /// The equation in words for reading aloud: `2 H 2, plus O 2, gives 2 H 2 O`.
    pub fn spoken(&self) -> String {
        let arrow = match self.arrow {
            Arrow::To | Arrow::Equals => ", gives ",
            Arrow::Equilibrium => ", in equilibrium with ",
        };
        self.joined(", plus ", arrow, |term| {
            prefixed(&term.coefficient, count_text, " ", term.formula.spoken())
        })
    }

    fn joined(&self, plus: &str, arrow: &str, print: impl Fn(&Term) -> String) -> String {
        let side = |terms: &[Term]| terms.iter().map(&print).collect::<Vec<_>>().join(plus);
        format!("{}{arrow}{}", side(&self.left), side(&self.right))
    }
}

impl Arrow {
    /// The sign as printed.
    pub fn sign(self) -> &'static str {
        match self {
            Arrow::To => "→",
            Arrow::Equals => " = ",
            Arrow::Equilibrium => "⇌",
        }
    }
}

fn prefixed(
    coefficient: &Option<RBig>,
    print: impl Fn(&RBig) -> String,
    blank: &str,
    formula: String,
) -> String {
    match coefficient {
        Some(count) if *count != RBig::ONE => format!("{}{blank}{formula}", print(count)),
        _ => formula,
    }
}

fn typst_coefficient(count: &RBig) -> String {
    if count.is_int() { count_text(count) } else { format!("\"{}\"", pretty_count(count)) }
}

fn error(range: Range<usize>, message: impl Into<String>, hint: Option<&str>) -> FormulaError {
    FormulaError { message: message.into(), range, hint: hint.map(str::to_owned) }
}

fn find_arrow(text: &str) -> Result<(Range<usize>, Arrow), FormulaError> {
    let Some((range, arrow)) = first_arrow(text, 0) else {
        let hint = "write reactants -> products";
        return Err(error(0..text.len(), "an equation without an arrow", Some(hint)));
    };
    match first_arrow(text, range.end) {
        Some((second, _)) => Err(error(second, "a second arrow", Some("write one equation a line"))),
        None => Ok((range, arrow)),
    }
}

fn first_arrow(text: &str, from: usize) -> Option<(Range<usize>, Arrow)> {
    let rest = text.get(from..)?;
    rest.char_indices().find_map(|(at, _)| {
        let here = rest.get(at..)?;
        let (sign, arrow) = ARROWS.iter().find(|(sign, _)| here.starts_with(sign))?;
        Some((from + at..from + at + sign.len(), *arrow))
    })
}

fn side(text: &str, range: Range<usize>) -> Result<Vec<Term>, FormulaError> {
    let side = text.get(range.clone()).unwrap_or("");
    if side.trim().is_empty() {
        return Err(error(range, "a side of the equation with nothing on it", None));
    }
    split_terms(side)
        .into_iter()
        .map(|part| term(text, range.start + part.start..range.start + part.end))
        .collect()
}

/// The ranges between the joining plus signs.
fn split_terms(side: &str) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    let mut start = 0;
    for (at, _) in side.match_indices('+') {
        if joins(side.get(..at).unwrap_or(""), side.get(at + 1..).unwrap_or("")) {
            ranges.push(start..at);
            start = at + 1;
        }
    }
    ranges.push(start..side.len());
    ranges
}

fn joins(before: &str, after: &str) -> bool {
    if before.chars().last().is_none_or(char::is_whitespace) {
        return true;
    }
    let past_number = after.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | '/' | '½'));
    let begins_formula = |c: char| c.is_alphabetic() || matches!(c, '(' | '[' | '{' | '^');
    let numbered = past_number.len() < after.len();
    let next = if numbered { past_number.trim_start() } else { past_number };
    next.chars().next().is_some_and(begins_formula) && !state_follows(past_number)
}

fn term(text: &str, range: Range<usize>) -> Result<Term, FormulaError> {
    let written = text.get(range.clone()).unwrap_or("");
    let start = range.start + written.len() - written.trim_start().len();
    let range = start..start + written.trim().len();
    if range.is_empty() {
        return Err(error(range, "a plus sign without a species beside it", None));
    }
    let written = written.trim();
    let (coefficient, used) = leading_count(written).map_err(|error| error.shifted(start))?;
    let formula = written.get(used..).unwrap_or("");
    let formula = Formula::parse(formula).map_err(|error| error.shifted(start + used))?;
    Ok(Term { coefficient, formula, range })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> String {
        Reaction::parse(text).map_or_else(|error| format!("refused: {error}"), |reaction| reaction.text())
    }

    #[test]
    fn a_plus_sign_joins_or_charges() {
        assert_eq!(read("C+O2->CO2"), "C + O2 -> CO2");
        assert_eq!(read("2H2+O2=2H2O"), "2 H2 + O2 = 2 H2O");
        assert_eq!(read("Na+Cl2->NaCl"), "Na + Cl2 -> NaCl");
        assert_eq!(read("Na+ + Cl- -> NaCl"), "Na^+ + Cl^- -> NaCl");
        assert_eq!(read("H++OH-→H2O"), "H^+ + OH^- -> H2O");
        assert_eq!(read("Zn+2 + 2 e- -> Zn"), "Zn^2+ + 2 e^- -> Zn");
        assert_eq!(read("Zn +2HCl -> ZnCl2 + H2"), "Zn + 2 HCl -> ZnCl2 + H2");
        assert_eq!(read("Na+(aq) + Cl-(aq) -> NaCl(s)"), "Na^+(aq) + Cl^-(aq) -> NaCl(s)");
        assert_eq!(read("Ca+2(OH)2 -> CaO"), "Ca + 2 (OH)2 -> CaO");
        assert_eq!(read("Fe^{3+} + e^- <=> Fe^{2+}"), "Fe^3+ + e^- <=> Fe^2+");
    }

    #[test]
    fn arrows() {
        for (text, arrow) in [
            ("H2O -> H2O", Arrow::To),
            ("H2O --> H2O", Arrow::To),
            ("H2O → H2O", Arrow::To),
            ("H2O=H2O", Arrow::Equals),
            ("H2O <=> H2O", Arrow::Equilibrium),
            ("H2O ⇌ H2O", Arrow::Equilibrium),
        ] {
            assert_eq!(Reaction::parse(text).map(|reaction| reaction.arrow), Ok(arrow), "{text}");
        }
    }

    #[test]
    fn refusals_point_at_their_place() {
        for (text, message, place) in [
            ("H2 + O2", "an equation without an arrow", "H2 + O2"),
            ("H2 -> O2 -> H2O", "a second arrow", "->"),
            ("H2O ->", "a side of the equation with nothing on it", ""),
            ("H2 + + O2 -> H2O", "a plus sign without a species beside it", ""),
            ("H2 + Oz -> H2O", "there is no element `Oz`", "Oz"),
            ("2 Xy + H2 -> H2", "there is no element `Xy`", "Xy"),
            ("Fe3+ + e- -> Fe", "`Fe3+` can be read in two ways", "3+"),
            ("H2 O2 -> H2O2", "`O` does not belong here in a formula", "O"),
        ] {
            let error = Reaction::parse(text).expect_err(text);
            let at = text.get(error.range).expect("a range of the text");
            assert_eq!((error.message.as_str(), at), (message, place), "{text}");
        }
    }

    #[test]
    fn every_printed_form() {
        let reaction = Reaction::parse("H2 + ½ O2 -> H2O").expect("an equation");
        assert_eq!(reaction.text(), "H2 + 0.5 O2 -> H2O");
        assert_eq!(reaction.unicode(), "H₂ + ½ O₂ → H₂O");
        assert_eq!(reaction.html(), "H<sub>2</sub> + ½ O<sub>2</sub> → H<sub>2</sub>O");
        assert_eq!(reaction.typst(), "\"H\"_2 + \"½\" thin \"O\"_2 → \"H\"_2\"O\"");
        assert_eq!(reaction.spoken(), "H 2, plus 0.5 O 2, gives H 2 O");
    }

    #[test]
    fn an_ambiguous_species_is_echoed_at_its_place() {
        let text = "CuSO4.5H2O -> CuSO4 + 5 H2O";
        let echoes = Reaction::parse(text).expect("an equation").ambiguities();
        let places: Vec<&str> = echoes.iter().filter_map(|(range, _)| text.get(range.clone())).collect();
        assert_eq!(places, ["CuSO4.5H2O"]);
    }

    #[test]
    fn more_species_than_anyone_balances_are_refused() {
        let long = format!("{} -> H2O", ["H2O"; 64].join(" + "));
        assert_eq!(read(&long), "refused: an equation of more than 64 species");
    }
}
