//! Runs of text with their style: symbols, formulas, units and numbers as they stand in running text.
//!
//! The runs know no output form. The Typst form is made here too, through `Ink`, which looks up every
//! character in the fonts and says which ones they lack.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;

use super::code;
use crate::chemistry::{Formula, Reaction, looks_like_formula};
use crate::finding::{Code, Finding};
use crate::notebook::settings::DecimalMark;
use crate::quantity::derivation::NodeId;
use crate::quantity::{Printed, Unit};
use crate::span::Span;

/// A piece of text in one style.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Run {
    /// Upright text.
    Plain(String),
    /// The letters of a quantity's symbol.
    Italic(String),
    /// Lowered.
    Lowered(String),
    /// Raised.
    Raised(String),
    /// A line break.
    Break,
}

/// Some runs.
pub type Words = Vec<Run>;

/// Upright words.
pub fn plain(text: impl Into<String>) -> Words {
    vec![Run::Plain(text.into())]
}

/// Symbols that stand in sentences about uncertainty.
const SYMBOLS: [&str; 5] = ["u", "U", "k", "t", "ν"];

/// A sentence with the symbols of uncertainty in it set as symbols.
pub fn with_symbols(sentence: &str) -> Words {
    let mut words = Words::new();
    for word in sentence.split_inclusive(' ') {
        let bare = word.trim_end_matches([' ', '.', ',', ';', ':']);
        if SYMBOLS.contains(&bare) {
            words.push(Run::Italic(bare.to_owned()));
            words.push(Run::Plain(word[bare.len()..].to_owned()));
        } else if let Some(Run::Plain(text)) = words.last_mut() {
            text.push_str(word);
        } else {
            words.push(Run::Plain(word.to_owned()));
        }
    }
    words.retain(|run| !run_text(run).is_empty());
    words
}

/// The text alone.
pub fn text_of(words: &[Run]) -> String {
    words.iter().map(run_text).collect()
}

fn run_text(run: &Run) -> &str {
    match run {
        Run::Plain(text) | Run::Italic(text) | Run::Lowered(text) | Run::Raised(text) => text,
        Run::Break => " ",
    }
}

/// A symbol as written (`w(water)`, `M(CuSO4·5H2O)`): its letters italic, its entity upright, chemical
/// formulas with their lowered counts.
pub fn symbol(written: &str) -> Words {
    let written = written.trim();
    let Some((name, rest)) = written.split_once('(') else { return letters(written) };
    let Some(entity) = rest.strip_suffix(')') else { return plain(written) };
    let mut words = letters(name);
    words.push(Run::Plain("(".to_owned()));
    words.extend(entity_words(entity));
    words.push(Run::Plain(")".to_owned()));
    words
}

/// The letters of a symbol; what follows an underscore is lowered.
pub fn letters(name: &str) -> Words {
    match name.split_once('_') {
        Some((before, after)) if !before.is_empty() && !after.is_empty() => {
            vec![Run::Italic(before.to_owned()), Run::Lowered(after.replace('_', ","))]
        }
        _ => vec![Run::Italic(greek(name).to_owned())],
    }
}

/// Greek letters that notebooks may spell out.
fn greek(name: &str) -> &str {
    match name {
        "nu" => "ν",
        "rho" => "ρ",
        "alpha" => "α",
        "beta" => "β",
        "gamma" => "γ",
        "delta" => "δ",
        "epsilon" => "ε",
        "theta" => "θ",
        "lambda" => "λ",
        "mu" => "μ",
        "sigma" => "σ",
        "tau" => "τ",
        "phi" => "φ",
        "omega" => "ω",
        other => other,
    }
}

/// An entity: a chemical formula (or several, `H2O/CO2`), or words.
pub fn entity_words(entity: &str) -> Words {
    let Some((name, pieces)) = chemistry(entity) else { return plain(entity) };
    let mut words = if name.is_empty() { Words::new() } else { plain(name) };
    for (text, is_formula) in pieces {
        words.extend(if is_formula { formula(text) } else { vec![Run::Plain(text.to_owned())] });
    }
    words
}

/// What a text of one or two formulas holds: the name of a reaction with its colon, then formulas and the sign
/// between them (`stage 1: MgCO3, Mg2P2O7`, `H2O/CaC2O4`, `Cu in CuSO4`). `None` for any other text.
fn chemistry(entity: &str) -> Option<(&str, Vec<(&str, bool)>)> {
    let (name, rest) = entity.split_at(entity.find(": ").map_or(0, |at| at + 2));
    if looks_like_formula(rest) {
        return Some((name, vec![(rest, true)]));
    }
    let signs = [", ", "; ", ",", ";", " in ", "/"];
    let splits = signs.iter().flat_map(|sign| rest.match_indices(sign));
    let both = |(at, sign): (usize, &str)| {
        let (upper, lower) = (rest.get(..at)?, rest.get(at + sign.len()..)?);
        let read = looks_like_formula(upper.trim()) && looks_like_formula(lower.trim());
        let sign = rest.get(at..at + sign.len())?;
        read.then(|| (name, vec![(upper.trim(), true), (sign, false), (lower.trim(), true)]))
    };
    splits.into_iter().find_map(both)
}

/// A chemical formula, upright.
pub fn formula(text: &str) -> Words {
    match Formula::parse(text) {
        Ok(formula) => from_html(&formula.html()),
        Err(_) => plain(text),
    }
}

/// A balanced equation.
pub fn equation(reaction: &Reaction) -> Words {
    from_html(&reaction.html())
}

/// Runs of a text that holds no other tags than `sub` and `sup`.
fn from_html(html: &str) -> Words {
    let mut words = Words::new();
    let mut rest = html;
    while let Some((before, after)) = rest.split_once('<') {
        push_plain(&mut words, before);
        let (tag, after) = after.split_once('>').unwrap_or(("", after));
        let (inner, after) = after.split_once('<').unwrap_or((after, ""));
        match tag {
            "sub" => words.push(Run::Lowered(inner.to_owned())),
            _ => words.push(Run::Raised(inner.to_owned())),
        }
        rest = after.split_once('>').map_or("", |(_, after)| after);
    }
    push_plain(&mut words, rest);
    words
}

fn push_plain(words: &mut Words, text: &str) {
    if !text.is_empty() {
        words.push(Run::Plain(text.to_owned()));
    }
}

/// The spelling of a unit; empty for a pure number.
pub fn unit_symbol(unit: &Unit) -> &str {
    unit.symbol()
}

/// A unit by its spelling: exponents raised, `*` and `.` between units as a raised point.
pub fn unit(spelling: &str) -> Words {
    let mut words = Words::new();
    let mut text = String::new();
    let mut chars = spelling.chars().peekable();
    while let Some(c) = chars.next() {
        let after_letter = text.chars().last().is_some_and(char::is_alphabetic);
        match c {
            '^' => push_raised(&mut words, &mut text, &mut chars, None),
            '0'..='9' if after_letter => push_raised(&mut words, &mut text, &mut chars, Some(c)),
            '*' | '.' if after_letter || !words.is_empty() => text.push('·'),
            c => text.push(c),
        }
    }
    push_plain(&mut words, &text);
    words
}

fn push_raised(
    words: &mut Words,
    text: &mut String,
    chars: &mut std::iter::Peekable<std::str::Chars<'_>>,
    first: Option<char>,
) {
    push_plain(words, &std::mem::take(text));
    let mut raised: String = first.into_iter().collect();
    while let Some(c) = chars.next_if(|c| c.is_ascii_digit() || *c == '-') {
        raised.push(if c == '-' { '−' } else { c });
    }
    words.push(Run::Raised(raised));
}

/// `symbol / unit`, the head of a row or column of numbers; the symbol alone for pure numbers.
pub fn over_unit(mut head: Words, spelling: &str) -> Words {
    if spelling.is_empty() || spelling == "1" {
        return head;
    }
    let composed = spelling.contains(['/', '*', '.', ' ']);
    head.push(Run::Plain(if composed { " / (".to_owned() } else { " / ".to_owned() }));
    head.extend(unit(spelling));
    if composed {
        head.push(Run::Plain(")".to_owned()));
    }
    head
}

/// A number's digits with a true minus and the notebook's decimal mark.
pub fn digits(ascii: &str, mark: DecimalMark) -> String {
    let swap = |c| match (c, mark) {
        ('-', _) => '−',
        ('.', DecimalMark::Comma) => ',',
        (c, _) => c,
    };
    ascii.chars().map(swap).collect()
}

/// A power of ten as it is printed.
pub fn power(exponent: i32) -> String {
    exponent.to_string().replace('-', "−")
}

/// A printed number as one text: `36.09`, `1.4 × 10^2`. For text alternatives and messages.
pub fn printed_text(printed: &Printed, mark: DecimalMark) -> String {
    let base = digits(&printed.digits, mark);
    match printed.exponent {
        Some(power) => format!("{base} × 10^{power}"),
        None => base,
    }
}

/// How a unit is said.
pub fn spoken_unit(spelling: &str) -> String {
    if let Some((over, under)) = spelling.split_once('/') {
        return format!("{} per {}", spoken_unit(over), singular(under));
    }
    match spelling {
        "" | "1" => String::new(),
        "kg" => "kilograms".to_owned(),
        "g" => "grams".to_owned(),
        "mg" => "milligrams".to_owned(),
        "µg" | "μg" => "micrograms".to_owned(),
        "mol" => "moles".to_owned(),
        "mmol" => "millimoles".to_owned(),
        "L" => "litres".to_owned(),
        "mL" => "millilitres".to_owned(),
        "%" => "per cent".to_owned(),
        "‰" => "per mille".to_owned(),
        "ppm" => "parts per million".to_owned(),
        "°C" => "degrees Celsius".to_owned(),
        "K" => "kelvins".to_owned(),
        "min" => "minutes".to_owned(),
        "h" => "hours".to_owned(),
        "s" => "seconds".to_owned(),
        "m" => "metres".to_owned(),
        "cm" => "centimetres".to_owned(),
        "mm" => "millimetres".to_owned(),
        other => other.to_owned(),
    }
}

fn singular(spelling: &str) -> String {
    let plural = spoken_unit(spelling);
    plural.strip_suffix('s').map_or(plural.clone(), str::to_owned)
}

/// How a symbol is said: `w of water`, `M of Cu S O 4, 5 H 2 O`.
pub fn spoken_symbol(name: &str, entity: Option<&str>) -> String {
    match entity {
        Some(entity) => format!("{name} of {}", spoken_entity(entity)),
        None => name.to_owned(),
    }
}

fn spoken_entity(entity: &str) -> String {
    let Some((name, pieces)) = chemistry(entity) else { return entity.to_owned() };
    let said = |(text, is_formula): (&str, bool)| match (is_formula, Formula::parse(text)) {
        (true, Ok(formula)) => formula.spoken(),
        _ if text == "/" => " over ".to_owned(),
        _ => text.to_owned(),
    };
    pieces.into_iter().map(said).fold(name.to_owned(), |all, piece| all + &piece)
}

/// Whether the fonts have a character.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Glyph {
    /// In every style a report uses.
    Everywhere,
    /// In upright regular type only.
    Upright,
    /// In none.
    Missing,
}

/// Turns text into Typst content, and remembers the characters that the fonts lack.
pub(super) struct Ink<'a> {
    glyph: &'a dyn Fn(char) -> Glyph,
    /// Whether the fonts have all of ASCII in every style.
    ascii: bool,
    missing: RefCell<BTreeMap<char, Option<Span>>>,
    /// Whether values say which node of the derivation graph they are.
    marking: bool,
    /// How many tables there are so far, where they are counted here and not by the layout.
    tables: Option<Cell<usize>>,
}

/// Longer stretches without a blank get invisible break opportunities, so that they stay on the page.
const LONGEST_UNBROKEN: usize = 40;
/// How far apart those are.
const UNBROKEN_STEP: usize = 10;

impl<'a> Ink<'a> {
    pub(super) fn new(glyph: &'a dyn Fn(char) -> Glyph) -> Self {
        let ascii = (' '..='~').all(|c| glyph(c) == Glyph::Everywhere);
        Ink { glyph, ascii, missing: RefCell::default(), marking: false, tables: None }
    }

    /// The same for a document whose values say which node of the derivation graph they are.
    pub(super) fn marking(self, marking: bool) -> Self {
        Ink { marking, ..self }
    }

    /// The same for a document whose layout leaves every table where it stands: they get their numbers here. Numbers
    /// that the typesetter counts cost it another round over the whole document after each change of a table. Figures
    /// move to where there is room, and are numbered in the order in which they come to stand: by the layout.
    pub(super) fn counting(self, counting: bool) -> Self {
        Ink { tables: counting.then(Cell::default), ..self }
    }

    /// The number of the next table as code, where they are counted here.
    pub(super) fn table_number(&self) -> Option<String> {
        let tables = self.tables.as_ref()?;
        tables.set(tables.get() + 1);
        Some(code::string(&tables.get().to_string()))
    }

    /// The node of a value as code, where that is asked for.
    pub(super) fn node(&self, node: Option<NodeId>) -> Option<String> {
        node.filter(|_| self.marking).map(|node| node.0.to_string())
    }

    /// The name of a figure as code, where that is asked for.
    pub(super) fn figure(&self, name: Option<&str>) -> Option<String> {
        name.filter(|_| self.marking).map(code::string)
    }

    /// Text as content: string literals, and a box with the code point for every character the fonts lack.
    pub(super) fn text(&self, text: &str, span: Option<Span>) -> String {
        code::joined(&self.pieces(text, span, false))
    }

    /// The same for text that is certain to be set in upright regular type.
    pub(super) fn plain(&self, text: &str, span: Option<Span>) -> String {
        code::joined(&self.pieces(text, span, true))
    }

    /// Text as separate pieces; `upright` where it is certain to be set in upright regular type.
    pub(super) fn pieces(&self, text: &str, span: Option<Span>, upright: bool) -> Vec<String> {
        if self.ascii && is_ordinary(text) {
            return vec![code::string(text)];
        }
        let mut pieces = Vec::new();
        let mut run = String::new();
        for stretch in text.split_inclusive(char::is_whitespace) {
            let long = stretch.chars().nth(LONGEST_UNBROKEN).is_some();
            for (index, c) in stretch.chars().enumerate() {
                if long && index > 0 && index % UNBROKEN_STEP == 0 {
                    run.push('\u{200b}');
                }
                if self.has(c, upright) {
                    run.push(c);
                } else {
                    flush(&mut pieces, &mut run);
                    pieces.push(self.boxed(c, span));
                }
            }
        }
        flush(&mut pieces, &mut run);
        pieces
    }

    fn has(&self, c: char, upright: bool) -> bool {
        matches!(c, ' ' | '\n')
            || match (self.glyph)(c) {
                Glyph::Everywhere => true,
                Glyph::Upright => upright,
                Glyph::Missing => false,
            }
    }

    /// The code point of a character that cannot be printed.
    fn boxed(&self, c: char, span: Option<Span>) -> String {
        self.missing.borrow_mut().entry(c).or_insert(span);
        format!("layout.codepoint({})", code::string(&format!("U+{:04X}", c as u32)))
    }

    /// Runs as content.
    pub(super) fn words(&self, words: &[Run], span: Option<Span>) -> String {
        code::joined(&words.iter().map(|run| self.run(run, span)).collect::<Vec<_>>())
    }

    fn run(&self, run: &Run, span: Option<Span>) -> String {
        match run {
            Run::Plain(text) => self.text(text, span),
            Run::Italic(text) => format!("layout.letters({})", self.text(text, span)),
            Run::Lowered(text) => format!("layout.lowered({})", self.text(text, span)),
            Run::Raised(text) => format!("layout.raised({})", self.text(text, span)),
            Run::Break => "linebreak()".to_owned(),
        }
    }

    /// One finding for every character that was not printed so far.
    pub(super) fn findings(&self) -> Vec<Finding> {
        self.missing.borrow().iter().map(|(c, span)| unprintable(*c, *span)).collect()
    }
}

/// Whether a text is some words of ASCII, none of them longer than what stands unbroken: almost every text is, and
/// need not be looked at letter by letter.
fn is_ordinary(text: &str) -> bool {
    let mut unbroken = 0;
    let is_fit = |byte: u8| {
        unbroken = if matches!(byte, b' ' | b'\n') { 0 } else { unbroken + 1 };
        matches!(byte, b' '..=b'~' | b'\n') && unbroken < LONGEST_UNBROKEN
    };
    !text.is_empty() && text.bytes().all(is_fit)
}

fn flush(pieces: &mut Vec<String>, run: &mut String) {
    if !run.is_empty() {
        pieces.push(code::string(run));
        run.clear();
    }
}

fn unprintable(c: char, span: Option<Span>) -> Finding {
    let message = format!(
        "the character U+{:04X} is in none of the built-in fonts; its code point is printed",
        c as u32
    );
    Finding::note(Code::UnprintableCharacter, span, message).hint("write the thing in words")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ascii(c: char) -> Glyph {
        if c.is_ascii() { Glyph::Everywhere } else { Glyph::Missing }
    }

    fn ink_text(text: &str) -> String {
        Ink::new(&ascii).text(text, None)
    }

    #[test]
    fn text_is_a_literal_and_what_fonts_lack_a_box() {
        assert_eq!(ink_text("a #b"), "\"a #b\"");
        assert_eq!(ink_text("a😀b"), "{ \"a\"; layout.codepoint(\"U+1F600\"); \"b\" }");
        assert_eq!(ink_text(""), "[]");
    }

    #[test]
    fn ordinary_text_is_what_it_is_letter_by_letter() {
        let letter_by_letter = |text: &str| {
            // A font without the tilde: no text is taken for an ordinary one.
            let glyph = |c: char| if c == '~' { Glyph::Missing } else { Glyph::Everywhere };
            Ink::new(&glyph).pieces(text, None, false)
        };
        let (long, longest) = ("x".repeat(LONGEST_UNBROKEN), "x".repeat(LONGEST_UNBROKEN - 1));
        for text in ["", "a", "a \"b\" \\ c\nd", &long, &longest, &format!("{longest} {longest}\n{long}")] {
            assert_eq!(Ink::new(&|_| Glyph::Everywhere).pieces(text, None, false), letter_by_letter(text));
        }
    }

    #[test]
    fn each_missing_character_is_said_once() {
        let ink = Ink::new(&ascii);
        ink.text("é", Some(Span::new(3, 5)));
        ink.text("éé", Some(Span::new(9, 13)));
        let findings = ink.findings();
        assert_eq!(findings.len(), 1);
        assert_eq!(findings[0].span, Some(Span::new(3, 5)));
    }

    #[test]
    fn symbols_have_italic_letters_and_upright_entities() {
        assert_eq!(
            symbol("w(water)"),
            [
                Run::Italic("w".into()),
                Run::Plain("(".into()),
                Run::Plain("water".into()),
                Run::Plain(")".into())
            ]
        );
        assert_eq!(letters("m_1"), [Run::Italic("m".into()), Run::Lowered("1".into())]);
    }

    #[test]
    fn symbols_in_a_sentence_are_set_as_symbols() {
        let italic = |text: &str| Run::Italic(text.into());
        let words = with_symbols("The unit is U = k u.");
        let expected = [
            Run::Plain("The unit is ".into()),
            italic("U"),
            Run::Plain(" = ".into()),
            italic("k"),
            Run::Plain(" ".into()),
            italic("u"),
            Run::Plain(".".into()),
        ];
        assert_eq!(words, expected);
    }

    #[test]
    fn formulas_lower_their_counts() {
        assert_eq!(formula("CuSO4"), [Run::Plain("CuSO".into()), Run::Lowered("4".into())]);
    }

    #[test]
    fn units_raise_exponents() {
        assert_eq!(unit("kg/m3"), [Run::Plain("kg/m".into()), Run::Raised("3".into())]);
        assert_eq!(unit("mol^-1"), [Run::Plain("mol".into()), Run::Raised("−1".into())]);
        assert_eq!(text_of(&over_unit(symbol("M(H2O)"), "g/mol")), "M(H2O) / (g/mol)");
        assert_eq!(text_of(&over_unit(symbol("x"), "1")), "x");
    }

    #[test]
    fn units_are_said_in_words() {
        assert_eq!(spoken_unit("g/mol"), "grams per mole");
        assert_eq!(spoken_unit("%"), "per cent");
    }

    #[test]
    fn long_stretches_may_break() {
        let long = "x".repeat(100);
        let code = Ink::new(&|_| Glyph::Everywhere).text(&long, None);
        assert!(code.contains("\\u{200b}"));
    }
}
