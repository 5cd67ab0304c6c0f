//! Chemical formulas: what they are made of, whatever way they were written.
//!
//! A formula is one or more parts joined by a dot (`CuSO4·5H2O`), each a list of atoms and bracketed
//! groups, then a charge and a state. It says how many atoms there are; structure, oxidation states and
//! names are not its business. Reading is in `formula_parser`, printing in `formula_print`.

use dashu_ratio::RBig;

use super::atom::Atom;
use super::count::Count;

/// A formula that was read. Two are equal if they read the same ([`Formula::text`]), however they were written.
#[derive(Clone, Debug)]
pub struct Formula {
    pub(super) parts: Vec<Part>,
    /// What the parts come to, counted once.
    pub(super) atoms: Counts,
    pub(super) charge: i64,
    pub(super) state: Option<State>,
    pub(super) ambiguity: Option<String>,
}

impl PartialEq for Formula {
    fn eq(&self, other: &Formula) -> bool {
        self.parts == other.parts && self.charge == other.charge && self.state == other.state
    }
}

impl Eq for Formula {}

/// One part between dots.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Part {
    pub count: Count,
    pub items: Vec<Item>,
}

/// An atom or a group, so many times.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) enum Item {
    Atom { atom: Atom, count: Count },
    Group { bracket: Bracket, items: Vec<Item>, count: Count },
}

/// The three kinds of bracket.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Bracket {
    Round,
    Square,
    Curly,
}

/// The state of aggregation written behind a formula.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// `(s)`
    Solid,
    /// `(l)`
    Liquid,
    /// `(g)`
    Gas,
    /// `(aq)`
    Aqueous,
}

/// Why a text is no formula, or a formula has no molar mass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormulaError {
    /// What was found and expected, lower case.
    pub message: String,
    /// The bytes of the text it is about; `0..0` where it is about no place in it.
    pub range: std::ops::Range<usize>,
    /// How to mend it, where that is clear.
    pub hint: Option<String>,
}

impl FormulaError {
    /// The same error in a longer text that holds this one from byte `by` on.
    pub fn shifted(self, by: usize) -> FormulaError {
        FormulaError { range: self.range.start + by..self.range.end + by, ..self }
    }
}

impl std::fmt::Display for FormulaError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for FormulaError {}

/// Whether a text is a chemical formula and nothing else.
pub fn looks_like_formula(text: &str) -> bool {
    Formula::parse(text).is_ok()
}

/// Two formulas with a sign between them, as in `ν(H2O/CaC2O4·H2O)` and `factor(Fe, Fe2O3)`. A sign between two
/// digits belongs to a count (`CaSO4·1/2H2O`).
///
/// # Errors
/// No such sign, or what is wrong with a formula, at its place in the text.
pub fn formula_pair(text: &str, signs: &[char]) -> Result<(Formula, Formula), FormulaError> {
    let parts = text.match_indices(signs).find(|(at, sign)| !between_digits(text, *at, sign.len()));
    let Some((at, sign)) = parts else {
        let expected = signs.iter().map(|sign| format!("`{sign}`")).collect::<Vec<_>>().join(" or ");
        let message = format!("expected two formulas with {expected} between them");
        return Err(FormulaError { message, range: 0..text.len(), hint: None });
    };
    let behind = at + sign.len();
    let first = Formula::parse(text.get(..at).unwrap_or(""))?;
    let second = Formula::parse(text.get(behind..).unwrap_or("")).map_err(|error| error.shifted(behind))?;
    Ok((first, second))
}

fn between_digits(text: &str, at: usize, length: usize) -> bool {
    let before = text.get(..at).and_then(|before| before.chars().last());
    let after = text.get(at + length..).and_then(|after| after.chars().next());
    before.zip(after).is_some_and(|(before, after)| before.is_ascii_digit() && after.is_ascii_digit())
}

/// How many of each kind of atom.
pub(super) type Counts = Vec<(Atom, Count)>;

impl Formula {
    /// Elements and their counts in Hill order: with carbon, C and H first and the rest by letter; without
    /// carbon, all by letter (E. A. Hill, J. Am. Chem. Soc. 22 (1900) 478). An isotope written as such
    /// counts as its own kind (`D`, `T`, `^13C`).
    pub fn composition(&self) -> Vec<(String, RBig)> {
        listed(&self.atoms_in_hill_order())
    }

    /// The same as kinds of atom.
    pub(super) fn atoms_in_hill_order(&self) -> Counts {
        let mut atoms = self.atoms.clone();
        let carbon = atoms.iter().any(|(atom, _)| atom.symbol == "C");
        atoms.sort_by_key(|(atom, _)| atom.hill_key(carbon));
        atoms
    }

    /// The same in the order of first mention.
    pub fn composition_as_written(&self) -> Vec<(String, RBig)> {
        listed(&self.atoms)
    }

    /// The charge in units of the elementary charge.
    pub fn charge(&self) -> i64 {
        self.charge
    }

    /// Whether both are the same formula, whatever their states and kinds of bracket. Another order of the atoms
    /// is another formula: composition alone does not tell isomers apart.
    pub fn same_substance(&self, other: &Formula) -> bool {
        self.plain_text() == other.plain_text()
    }

    fn plain_text(&self) -> String {
        let stateless = Formula { state: None, ..self.clone() };
        stateless.text().replace(['[', '{'], "(").replace([']', '}'], ")")
    }

    /// The state, where one is written.
    pub fn state(&self) -> Option<State> {
        self.state
    }

    /// Whether it is the electron, `e^-`: a charge without atoms.
    pub fn is_electron(&self) -> bool {
        self.parts.is_empty()
    }

    /// How the text was read where it could have meant something else, in a sentence.
    pub fn ambiguity(&self) -> Option<String> {
        self.ambiguity.clone()
    }
}

fn listed(counts: &Counts) -> Vec<(String, RBig)> {
    counts.iter().map(|(atom, count)| (atom.text(), count.fraction())).collect()
}

/// How many of each kind of atom, in the order of first mention; `None` where a count is too large.
pub(super) fn count_atoms(parts: &[Part]) -> Option<Counts> {
    let mut counts = Counts::new();
    for part in parts {
        count_items(&part.items, part.count, &mut counts)?;
    }
    Some(counts)
}

fn count_items(items: &[Item], times: Count, counts: &mut Counts) -> Option<()> {
    for item in items {
        match item {
            Item::Atom { atom, count } => add(*atom, times.times(*count)?, counts)?,
            Item::Group { items, count, .. } => count_items(items, times.times(*count)?, counts)?,
        }
    }
    Some(())
}

fn add(atom: Atom, count: Count, counts: &mut Counts) -> Option<()> {
    match counts.iter_mut().find(|(other, _)| *other == atom) {
        Some((_, total)) => *total = total.plus(count)?,
        None => counts.push((atom, count)),
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(text: &str) -> Vec<(String, i64)> {
        let formula = Formula::parse(text).expect("a formula");
        let whole = |count: RBig| i64::try_from(count.numerator()).expect("a small count");
        formula.composition().into_iter().map(|(kind, count)| (kind, whole(count))).collect()
    }

    fn named(pairs: &[(&str, i64)]) -> Vec<(String, i64)> {
        pairs.iter().map(|(kind, count)| ((*kind).to_owned(), *count)).collect()
    }

    /// E. A. Hill's system: with carbon, C and H first; without, all by letter.
    #[test]
    fn hill_order() {
        assert_eq!(counts("CH3CO2H"), named(&[("C", 2), ("H", 4), ("O", 2)]));
        assert_eq!(counts("KHC8H4O4"), named(&[("C", 8), ("H", 5), ("K", 1), ("O", 4)]));
        assert_eq!(counts("CuSO4·5H2O"), named(&[("Cu", 1), ("H", 10), ("O", 9), ("S", 1)]));
        assert_eq!(counts("^13CH3CDO"), named(&[("C", 1), ("^13C", 1), ("H", 3), ("D", 1), ("O", 1)]));
    }

    #[test]
    fn groups_multiply() {
        let nested = counts("[Cr(N2H4CO)6]4[Cr(CN)6]3");
        let expected = named(&[("C", 42), ("H", 96), ("Cr", 7), ("N", 66), ("O", 24)]);
        assert_eq!(nested, expected);
    }

    #[test]
    fn the_same_substance_in_another_state_or_bracket() {
        let same = |a: &str, b: &str| {
            let read = |text| Formula::parse(text).expect("a formula");
            read(a).same_substance(&read(b))
        };
        assert!(same("H2O(g)", "H2O"));
        assert!(same("K4[Fe(CN)6]", "K4{Fe[CN]6}"));
        assert!(same("CuSO4.5H2O", "CuSO4·5H2O"));
        assert!(!same("C2H5OH", "CH3OCH3"));
        assert!(!same("Fe^2+", "Fe^3+"));
    }

    #[test]
    fn pairs_split_outside_counts() {
        let pair = |text: &str, signs: &[char]| {
            formula_pair(text, signs).map(|(first, second)| (first.text(), second.text()))
        };
        let texts = |first: &str, second: &str| Ok((first.to_owned(), second.to_owned()));
        assert_eq!(pair("H2O/CaC2O4·H2O", &['/']), texts("H2O", "CaC2O4·H2O"));
        assert_eq!(pair("CaSO4·1/2H2O/H2O", &['/']), texts("CaSO4·0.5H2O", "H2O"));
        assert_eq!(pair("Fe3O4, Fe2O3", &[',', ';']), texts("Fe3O4", "Fe2O3"));
        let error = pair("Fe, Xx", &[',', ';']).expect_err("no element");
        assert_eq!((error.message.as_str(), error.range), ("there is no element `Xx`", 4..6));
        assert!(pair("Fe", &[',', ';']).is_err_and(|error| error.message.contains("`,` or `;`")));
    }

    #[test]
    fn only_whole_formulas_look_like_one() {
        for text in ["H2O", "CuSO4·5H2O", "C", "e^-"] {
            assert!(looks_like_formula(text), "{text}");
        }
        for text in ["water", "salt", "", "H2O + CO2", "5 H2O", "residue 2", "Fe3+"] {
            assert!(!looks_like_formula(text), "{text}");
        }
    }
}
