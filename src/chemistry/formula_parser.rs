//! Reads formulas.
//!
//! ```text
//! formula  = "e" charge | part { dot part } [ charge ] [ state ]
//! dot      = "·" | "." | "*" | "•" | "⋅" | "∙"
//! part     = [ count ] item { item }            the first part has a count only before a dot
//! item     = atom [ count ] | "(" item { item } ")" [ count ] | "[" … "]" | "{" … "}"
//! atom     = [ "^" digits | superscript digits ] symbol
//! count    = digits [ "." digits ] | subscript digits | digits "/" digits | [ digits ] "½" …
//! charge   = "^" [ digits ] sign | "^" sign digits | sign [ digits ] | "(" [ digits ] sign ")"
//!          | superscript digits and sign;  a run of signs counts them
//! state    = "(s)" | "(l)" | "(g)" | "(aq)"
//! ```
//!
//! Behind an atom or bracket, `.` ends the count and starts a hydrate part (`CuSO4.5H2O` holds five), unless
//! the count begins with `0.` (`Fe0.95O`). What could be read in two ways is either echoed
//! ([`Formula::ambiguity`]) or refused with both spellings; it is never guessed in silence. Nesting is
//! bounded, so the recursion is too.

use std::ops::Range;

use dashu_ratio::RBig;

use super::atom::Atom;
use super::count::Count;
use super::elements::{is_element, nearest_symbol, symbol_of_letters};
use super::formula::{Bracket, Counts, Formula, FormulaError, Item, Part, State, count_atoms};

/// Deepest nesting of brackets.
const MOST_DEPTH: usize = 16;
/// Most digits of a count.
const MOST_COUNT_DIGITS: usize = 9;
/// Most atoms of one kind in a formula, and the largest denominator of a broken count: what keeps the
/// numbers of a hostile text small.
const MOST_ATOMS: u64 = 1_000_000_000;
/// Longest text, in bytes.
const MOST_BYTES: usize = 4096;

type Read<T> = Result<T, FormulaError>;

impl Formula {
    /// Reads a formula; blanks at the ends are ignored.
    ///
    /// # Errors
    /// What is wrong, at the bytes it is about.
    pub fn parse(text: &str) -> Result<Formula, FormulaError> {
        if text.len() > MOST_BYTES {
            return Err(error(0..text.len(), format!("a formula of more than {MOST_BYTES} bytes"), None));
        }
        let mut reader = Reader { text, at: 0, dotted_number: false };
        reader.formula()
    }
}

/// The number before a species in an equation, and how many bytes it takes with the blanks behind it.
pub(super) fn leading_count(text: &str) -> Read<(Option<RBig>, usize)> {
    let mut reader = Reader { text, at: 0, dotted_number: false };
    let count = reader.coefficient()?;
    if reader.at == 0 {
        return Ok((None, 0));
    }
    reader.skip_blanks();
    Ok((Some(count.fraction()), reader.at))
}

/// Whether a state symbol comes next, after blanks.
pub(super) fn state_follows(text: &str) -> bool {
    Reader { text, at: 0, dotted_number: false }.state_ahead()
}

fn small_letter(start: usize, rest: &str, first: char) -> FormulaError {
    let word: String = rest.chars().take_while(char::is_ascii_lowercase).collect();
    let symbol = capitalised(&word);
    let hint = match is_element(&symbol) {
        true => format!("an element begins with a capital letter, as `{symbol}` does"),
        false => "a formula is made of the symbols of elements, as `H2O` is".to_owned(),
    };
    let message = format!("no element begins with `{first}`");
    error(start..start + first.len_utf8(), message, Some(hint))
}

fn error(range: Range<usize>, message: impl Into<String>, hint: Option<String>) -> FormulaError {
    FormulaError { message: message.into(), range, hint }
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
    /// Whether a `.` directly before digits was read as a dot between parts.
    dotted_number: bool,
}

impl<'a> Reader<'a> {
    fn rest(&self) -> &'a str {
        self.text.get(self.at..).unwrap_or("")
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn peek_second(&self) -> Option<char> {
        self.rest().chars().nth(1)
    }

    fn take(&mut self, wanted: impl Fn(char) -> bool) -> Option<char> {
        let next = self.peek().filter(|c| wanted(*c))?;
        self.at += next.len_utf8();
        Some(next)
    }

    fn take_while(&mut self, wanted: impl Fn(char) -> bool) -> &'a str {
        let start = self.at;
        while self.take(&wanted).is_some() {}
        self.text.get(start..self.at).unwrap_or("")
    }

    fn take_text(&mut self, wanted: &str) -> bool {
        let found = self.rest().starts_with(wanted);
        if found {
            self.at += wanted.len();
        }
        found
    }

    fn skip_blanks(&mut self) {
        self.take_while(is_blank);
    }

    /// The range of the next character (empty at the end).
    fn here(&self) -> Range<usize> {
        self.at..self.at + self.peek().map_or(0, char::len_utf8)
    }

    fn formula(&mut self) -> Read<Formula> {
        self.skip_blanks();
        if let Some(electron) = self.electron()? {
            return Ok(electron);
        }
        let parts = self.parts()?;
        let (charge, state) = (self.charge(&parts)?, self.state());
        self.end()?;
        let atoms = self.counted(&parts)?;
        let mut formula = Formula { parts, atoms, charge, state, ambiguity: None };
        formula.ambiguity = self.dotted_number.then(|| self.dot_reading(&formula));
        Ok(formula)
    }

    fn dot_reading(&self, formula: &Formula) -> String {
        let written = self.text.trim();
        let read = formula.text();
        format!("`{written}` was read as {read}: whole digits behind a dot count the part that follows")
    }

    fn counted(&self, parts: &[Part]) -> Read<Counts> {
        let within = |counts: &Counts| counts.iter().all(|(_, count)| count.within(MOST_ATOMS));
        let too_large = || error(0..self.text.len(), "counts beyond what the program takes on", None);
        count_atoms(parts).filter(within).ok_or_else(too_large)
    }

    fn end(&mut self) -> Read<()> {
        self.skip_blanks();
        match self.peek() {
            None => Ok(()),
            Some(_) => Err(self.unexpected()),
        }
    }

    fn electron(&mut self) -> Read<Option<Formula>> {
        let start = self.at;
        if self.take(|c| c == 'e').is_some() {
            let charge = self.charge(&[])?;
            self.skip_blanks();
            if charge == -1 && self.peek().is_none() {
                let (parts, atoms) = (Vec::new(), Vec::new());
                return Ok(Some(Formula { parts, atoms, charge, state: None, ambiguity: None }));
            }
        }
        self.at = start;
        Ok(None)
    }

    fn parts(&mut self) -> Read<Vec<Part>> {
        let start = self.at;
        let mut parts = vec![self.part()?];
        let counted = parts.first().is_some_and(|part| part.count != Count::ONE);
        while self.dot() {
            parts.push(self.part()?);
        }
        if counted && parts.len() == 1 {
            let range = start..self.at;
            let hint = "a formula is of one formula unit; write the number before it, as in 5 M(H2O)";
            return Err(error(range, "a number before the formula", Some(hint.to_owned())));
        }
        Ok(parts)
    }

    /// Takes a dot between parts, with blanks round it.
    fn dot(&mut self) -> bool {
        let start = self.at;
        self.skip_blanks();
        let Some(dot) = self.take(is_dot) else {
            self.at = start;
            return false;
        };
        self.dotted_number |= dot == '.' && self.peek().is_some_and(|c| c.is_ascii_digit());
        self.skip_blanks();
        true
    }

    fn part(&mut self) -> Read<Part> {
        self.refuse_unknown_count()?;
        let count = self.coefficient()?;
        self.skip_blanks();
        let items = self.items(0)?;
        match items.is_empty() {
            true => Err(self.expected_element()),
            false => Ok(Part { count, items }),
        }
    }

    /// `CuSO4·xH2O`: a molar mass needs the number.
    fn refuse_unknown_count(&self) -> Read<()> {
        let unknown = matches!(self.peek(), Some('x' | 'n' | 'y'));
        if unknown && self.peek_second().is_some_and(|c| c.is_ascii_uppercase() || c == '(') {
            let hint = "a formula needs the number itself, as in `CuSO4·5H2O`";
            return Err(error(self.here(), "a count that is a letter", Some(hint.to_owned())));
        }
        Ok(())
    }

    fn items(&mut self, depth: usize) -> Read<Vec<Item>> {
        let mut items = Vec::new();
        while let Some(item) = self.item(depth)? {
            items.push(item);
        }
        Ok(items)
    }

    fn item(&mut self, depth: usize) -> Read<Option<Item>> {
        // Neither a charge nor a state begins with a capital letter.
        let capital = self.peek().is_some_and(|c| c.is_ascii_uppercase());
        if !capital && (self.state_ahead() || self.charge_ahead()) {
            return Ok(None);
        }
        match self.peek() {
            Some('(' | '[' | '{') => self.group(depth).map(Some),
            Some(c) if c.is_alphabetic() || c == '^' || superscript_digit(c).is_some() => {
                self.atom().map(Some)
            }
            _ => Ok(None),
        }
    }

    fn group(&mut self, depth: usize) -> Read<Item> {
        let opening = self.here();
        if depth >= MOST_DEPTH {
            return Err(error(opening, format!("brackets nested more than {MOST_DEPTH} deep"), None));
        }
        let bracket = match self.take(|_| true) {
            Some('[') => Bracket::Square,
            Some('{') => Bracket::Curly,
            _ => Bracket::Round,
        };
        let items = self.items(depth + 1)?;
        let closing = bracket.pair().1;
        if self.take(|c| c == closing).is_none() {
            return Err(self.not_closed(opening, closing));
        }
        if items.is_empty() {
            return Err(error(opening.start..self.at, "brackets with nothing in them", None));
        }
        Ok(Item::Group { bracket, items, count: self.subscript()? })
    }

    fn not_closed(&self, opening: Range<usize>, closing: char) -> FormulaError {
        match self.peek() {
            None => error(opening, format!("a bracket without its closing `{closing}`"), None),
            Some(_) => self.unexpected(),
        }
    }

    fn atom(&mut self) -> Read<Item> {
        let mass_number = self.mass_number()?;
        let (symbol, implied) = self.symbol()?;
        let count = self.subscript()?;
        Ok(Item::Atom { atom: Atom { symbol, mass_number: mass_number.or(implied) }, count })
    }

    fn mass_number(&mut self) -> Read<Option<u16>> {
        let start = self.at;
        let digits = match self.take(|c| c == '^') {
            Some(_) => self.braced_digits(),
            None => self
                .take_while(|c| superscript_digit(c).is_some())
                .chars()
                .filter_map(superscript_digit)
                .collect(),
        };
        if self.at == start {
            return Ok(None);
        }
        match digits.parse::<u16>() {
            Ok(number) if (1..=300).contains(&number) => Ok(Some(number)),
            _ => Err(error(
                start..self.at.max(start + 1),
                "expected a charge (`^2-`) or the mass number of an isotope (`^13C`)",
                None,
            )),
        }
    }

    fn braced_digits(&mut self) -> String {
        let brace = self.take(|c| c == '{').is_some();
        let digits = self.take_while(|c| c.is_ascii_digit()).to_owned();
        if brace {
            self.take(|c| c == '}');
        }
        digits
    }

    /// The symbol, and the mass number that `D` and `T` stand for.
    fn symbol(&mut self) -> Read<(&'static str, Option<u16>)> {
        let start = self.at;
        let Some(first) = self.take(|c| c.is_ascii_uppercase()) else {
            return Err(self.no_element(start));
        };
        let second = self.peek().filter(char::is_ascii_lowercase);
        let long = second.and_then(|second| symbol_of_letters(first, Some(second)));
        if let Some(symbol) = long {
            self.at += 1;
            return Ok((symbol, None));
        }
        match (second, first, symbol_of_letters(first, None)) {
            (None, 'D', _) => Ok(("H", Some(2))),
            (None, 'T', _) => Ok(("H", Some(3))),
            (None, _, Some(symbol)) => Ok((symbol, None)),
            _ => Err(self.no_element(start)),
        }
    }

    /// No element begins at `start`: says what stands there and what may have been meant.
    fn no_element(&self, start: usize) -> FormulaError {
        let rest = self.text.get(start..).unwrap_or("");
        let Some(first) = rest.chars().next() else {
            return error(start..start, "the formula ends where an element should stand", None);
        };
        if !first.is_ascii_uppercase() {
            return small_letter(start, rest, first);
        }
        let found: String = rest
            .chars()
            .enumerate()
            .take_while(|(i, c)| *i == 0 || (*i == 1 && c.is_ascii_lowercase()))
            .map(|(_, c)| c)
            .collect();
        let hint = self.meant(start, &found).map(|symbol| format!("did you mean `{symbol}`?"));
        error(start..start + found.len(), format!("there is no element `{found}`"), hint)
    }

    /// `FE` was meant as `Fe`; else the nearest symbol.
    fn meant(&self, start: usize, found: &str) -> Option<String> {
        let before = self.text.get(..start).and_then(|before| before.chars().last());
        let joined = before.map(|before| format!("{before}{}", found.to_lowercase()));
        joined.filter(|joined| is_element(joined)).or_else(|| nearest_symbol(found).map(str::to_owned))
    }

    /// The count behind an atom or bracket; one where there is none.
    fn subscript(&mut self) -> Read<Count> {
        let start = self.at;
        let small = self.take_while(|c| subscript_digit(c).is_some());
        if !small.is_empty() {
            let digits: String = small.chars().filter_map(subscript_digit).collect();
            return self.count(start, &digits, "");
        }
        match self.take_while(|c| c.is_ascii_digit()) {
            "" => Ok(Count::ONE),
            "0" => {
                let decimals = self.decimals();
                self.count(start, "0", decimals)
            }
            digits => self.count(start, digits, ""),
        }
    }

    /// The digits after a decimal point, if there are any.
    fn decimals(&mut self) -> &'a str {
        match (self.peek(), self.peek_second()) {
            (Some('.'), Some(digit)) if digit.is_ascii_digit() => {
                self.at += 1;
                self.take_while(|c| c.is_ascii_digit())
            }
            _ => "",
        }
    }

    /// The count before a part: `5`, `0.5`, `1/2`, `½`, `1½`; one where there is none.
    fn coefficient(&mut self) -> Read<Count> {
        let start = self.at;
        let digits = self.take_while(|c| c.is_ascii_digit());
        let decimals = if digits.is_empty() { "" } else { self.decimals() };
        if let Some((upper, lower)) = self.peek().and_then(vulgar_fraction) {
            self.take(|_| true);
            let whole = if digits.is_empty() { 0 } else { self.number(start, digits)? };
            let upper = u128::from(whole) * lower + upper;
            return self.short(start, Count::of(upper, lower));
        }
        if digits.is_empty() {
            return Ok(Count::ONE);
        }
        let upper = self.count(start, digits, decimals)?;
        match self.take(|c| c == '/') {
            None => Ok(upper),
            Some(_) => {
                let lower = self.denominator()?;
                self.short(start, upper.over(lower))
            }
        }
    }

    /// A fraction that can be written as one of short numbers.
    fn short(&self, start: usize, count: Option<Count>) -> Read<Count> {
        let most = 10u64.pow(MOST_COUNT_DIGITS as u32);
        let short = |count: &Count| count.parts().0 < most && count.parts().1 < most;
        count.filter(short).ok_or_else(|| self.too_large(start))
    }

    fn denominator(&mut self) -> Read<Count> {
        let start = self.at;
        match self.take_while(|c| c.is_ascii_digit()) {
            "" => Err(error(self.here(), "expected a number after `/`", None)),
            digits => self.count(start, digits, ""),
        }
    }

    fn count(&self, start: usize, digits: &str, decimals: &str) -> Read<Count> {
        if digits.len() > 1 && digits.starts_with('0') {
            let hint = "is the letter O meant, not the digit 0?".to_owned();
            return Err(error(start..self.at, "a count that begins with 0", Some(hint)));
        }
        let number = match decimals {
            "" => self.number(start, digits)?,
            decimals => self.number(start, &format!("{digits}{decimals}"))?,
        };
        if number == 0 {
            let hint = "is the letter O meant, not the digit 0?".to_owned();
            return Err(error(start..self.at, "a count of zero", Some(hint)));
        }
        // No more decimals than digits, so the power of ten is in range.
        Count::of(number.into(), 10u128.pow(decimals.len() as u32)).ok_or_else(|| self.too_large(start))
    }

    fn number(&self, start: usize, digits: &str) -> Read<u64> {
        let number = digits.parse().ok().filter(|_| digits.len() <= MOST_COUNT_DIGITS);
        number.ok_or_else(|| self.too_large(start))
    }

    fn too_large(&self, start: usize) -> FormulaError {
        error(start..self.at, format!("a count of more than {MOST_COUNT_DIGITS} digits"), None)
    }

    fn state_ahead(&self) -> bool {
        let rest = self.rest().trim_start_matches(is_blank);
        rest.starts_with('(') && STATES.iter().any(|(text, _)| rest.starts_with(text))
    }

    fn state(&mut self) -> Option<State> {
        self.skip_blanks();
        STATES.iter().find(|(text, _)| self.take_text(text)).map(|(_, state)| *state)
    }

    fn charge_ahead(&self) -> bool {
        let mut ahead = Reader { text: self.text, at: self.at, dotted_number: false };
        matches!(ahead.charge_text(), Some((_, charge)) if charge.is_some())
    }

    /// A charge at this place: how it was written, and its value where it makes sense.
    fn charge_text(&mut self) -> Option<(Written, Option<i64>)> {
        let (written, closing) = match self.peek()? {
            '^' => (Written::Raised, self.opening_after_hat()),
            '(' => (Written::Raised, self.take(|c| c == '(').map(|_| ')')),
            c if superscript_digit(c).is_some() || superscript_sign(c).is_some() => (Written::Raised, None),
            _ => (Written::Plain, None),
        };
        let charge = self.signed_number(written == Written::Plain);
        let closed = closing.is_none_or(|closing| self.take(|c| c == closing).is_some());
        Some((written, charge.filter(|_| closed)))
    }

    fn opening_after_hat(&mut self) -> Option<char> {
        self.take(|c| c == '^');
        match self.take(|c| matches!(c, '{' | '(')) {
            Some('{') => Some('}'),
            Some(_) => Some(')'),
            None => None,
        }
    }

    /// `2-`, `-2`, `--`, `²⁻`; `None` without a sign. A plain charge does not begin with its number.
    fn signed_number(&mut self, sign_first: bool) -> Option<i64> {
        let before = if sign_first { String::new() } else { self.charge_digits() };
        let sign = self.take(|c| charge_sign(c).is_some()).and_then(charge_sign)?;
        let more = self.take_while(|c| charge_sign(c) == Some(sign)).chars().count() as i64;
        let after = if before.is_empty() && more == 0 { self.charge_digits() } else { String::new() };
        let digits = format!("{before}{after}");
        let size = if digits.is_empty() { more + 1 } else { digits.parse().ok()? };
        ((1..=99).contains(&size) && (more == 0 || digits.is_empty())).then_some(sign * size)
    }

    fn charge_digits(&mut self) -> String {
        let digits = self.take_while(|c| c.is_ascii_digit() || superscript_digit(c).is_some());
        digits.chars().map(|c| superscript_digit(c).unwrap_or(c)).collect()
    }

    fn charge(&mut self, parts: &[Part]) -> Read<i64> {
        let start = self.at;
        if !self.charge_ahead() {
            return Ok(0);
        }
        let (written, charge) = self.charge_text().unwrap_or((Written::Plain, None));
        if written == Written::Plain {
            self.refuse_digits_before_sign(parts, start)?;
        }
        Ok(charge.unwrap_or(0))
    }

    /// `Fe3+` may mean Fe^3+ or Fe3^+, `SO42-` may mean SO4^2- or SO42^-, `[Fe(CN)6]4-` may mean four brackets:
    /// refused, with both spellings.
    fn refuse_digits_before_sign(&self, parts: &[Part], sign_at: usize) -> Read<()> {
        let before = self.text.get(..sign_at).unwrap_or("").trim_start();
        let stem = before.trim_end_matches(|c: char| c.is_ascii_digit());
        let digits = before.get(stem.len()..).unwrap_or("");
        let sign = self.text.get(sign_at..self.at).unwrap_or("");
        let alone = matches!(parts, [part] if part.items.len() == 1);
        if digits.is_empty() || sign.chars().count() != 1 || !(alone || digits.len() > 1) {
            return Ok(());
        }
        let (kept, moved) = digits.split_at(digits.len() - 1);
        let text = format!("`{before}{sign}` can be read in two ways");
        let hint = format!("write `{stem}{kept}^{moved}{sign}` or `{before}^{sign}`");
        Err(error(sign_at - digits.len()..self.at, text, Some(hint)))
    }

    fn expected_element(&self) -> FormulaError {
        match self.peek() {
            None if self.text.trim().is_empty() => error(0..self.text.len(), "expected a formula", None),
            None => error(self.here(), "the formula ends where an element should stand", None),
            Some(_) => self.unexpected(),
        }
    }

    fn unexpected(&self) -> FormulaError {
        let found = self.peek().map_or_else(String::new, |c| format!("`{c}`"));
        let hint = self.hint_at_unexpected().map(str::to_owned);
        error(self.here(), format!("{found} does not belong here in a formula"), hint)
    }

    fn hint_at_unexpected(&self) -> Option<&'static str> {
        let before = self.text.get(..self.at).and_then(|before| before.chars().last());
        match (before, self.peek()?) {
            (Some(before), _) if is_blank(before) => {
                Some("the parts of a formula are joined by `·`, not by blanks")
            }
            (Some(before), _) if charge_sign(before).is_some() => {
                Some("a charge stands at the end, as in `SO4^2-`")
            }
            (_, c) if is_blank(c) => Some("the parts of a formula are joined by `·`, not by blanks"),
            (_, ',' | ';') => Some("the parts of a formula are joined by `·` or `.`"),
            (_, c) if c.is_ascii_digit() => Some("a charge is written behind `^`, as in `SO4^2-`"),
            _ => None,
        }
    }
}

/// Whether a charge was raised by `^`, brackets or superscripts, or stands plain behind the atoms.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Written {
    Raised,
    Plain,
}

const STATES: [(&str, State); 4] =
    [("(s)", State::Solid), ("(l)", State::Liquid), ("(g)", State::Gas), ("(aq)", State::Aqueous)];

fn is_blank(c: char) -> bool {
    c.is_whitespace()
}

fn is_dot(c: char) -> bool {
    matches!(c, '·' | '.' | '*' | '•' | '⋅' | '∙' | '‧' | '・')
}

fn subscript_digit(c: char) -> Option<char> {
    let value = (c as u32).checked_sub('₀' as u32)?;
    char::from_digit(value, 10)
}

fn superscript_digit(c: char) -> Option<char> {
    match c {
        '¹' => Some('1'),
        '²' => Some('2'),
        '³' => Some('3'),
        _ => char::from_digit((c as u32).checked_sub('⁰' as u32)?, 10).filter(|_| !matches!(c, 'ⁱ')),
    }
}

fn superscript_sign(c: char) -> Option<i64> {
    match c {
        '⁺' => Some(1),
        '⁻' => Some(-1),
        _ => None,
    }
}

fn charge_sign(c: char) -> Option<i64> {
    match c {
        '+' => Some(1),
        '-' | '−' | '–' => Some(-1),
        _ => superscript_sign(c),
    }
}

fn vulgar_fraction(c: char) -> Option<(u128, u128)> {
    Some(match c {
        '½' => (1, 2),
        '⅓' => (1, 3),
        '⅔' => (2, 3),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅕' => (1, 5),
        '⅖' => (2, 5),
        '⅗' => (3, 5),
        '⅘' => (4, 5),
        '⅙' => (1, 6),
        '⅚' => (5, 6),
        _ => return None,
    })
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .chain(letters.flat_map(char::to_lowercase))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> String {
        Formula::parse(text).map_or_else(|error| format!("refused: {error}"), |formula| formula.text())
    }

    /// What was refused, at which part of the text, and the hint.
    fn refused(text: &str) -> (String, String, String) {
        let error = Formula::parse(text).expect_err(text);
        let place = text.get(error.range).expect("a range of the text").to_owned();
        (error.message, place, error.hint.unwrap_or_default())
    }

    #[test]
    fn spellings_of_one_formula_read_alike() {
        for text in ["CuSO4.5H2O", "CuSO4*5H2O", "CuSO4•5H2O", "CuSO₄·5H₂O", " CuSO4 · 5 H2O ", "CuSO4⋅5H2O"]
        {
            assert_eq!(read(text), "CuSO4·5H2O", "{text}");
        }
        for text in ["CaSO4·½H2O", "CaSO4·0.5H2O", "CaSO4.0.5H2O", "CaSO4·1/2H2O", "CaSO4*½ H2O"] {
            assert_eq!(read(text), "CaSO4·0.5H2O", "{text}");
        }
        for text in ["Fe^3+", "Fe+3", "Fe³⁺", "Fe^{3+}", "Fe^(3+)", "Fe(3+)", "Fe^+3", "Fe+++"] {
            assert_eq!(read(text), "Fe^3+", "{text}");
        }
        for text in ["SO4^2-", "SO4-2", "SO₄²⁻", "SO4^2−", "SO4--", "SO4^-2"] {
            assert_eq!(read(text), "SO4^2-", "{text}");
        }
        for text in ["e-", "e^-", "e⁻", "e−", "e^-1"] {
            assert_eq!(read(text), "e^-", "{text}");
        }
        assert_eq!(read("NH4+"), "NH4^+");
        assert_eq!(read("CaCO3 (s)"), "CaCO3(s)");
        assert_eq!(read("Na^+(aq)"), "Na^+(aq)");
        assert_eq!(read("3CdSO4·8H2O"), "3CdSO4·8H2O");
        assert_eq!(read("Fe0.95O"), "Fe0.95O");
        assert_eq!(read("CaSO4·1½H2O"), "CaSO4·1.5H2O");
        assert_eq!(read("[Cr(N2H4CO)6]4[Cr(CN)6]3"), "[Cr(N2H4CO)6]4[Cr(CN)6]3");
        assert_eq!(read("^{13}CO2"), "^13CO2");
    }

    /// `Co` is cobalt and `CO` is carbon monoxide; two letters are taken where they are an element.
    #[test]
    fn capitals_decide() {
        let kinds = |text: &str| -> Vec<String> {
            let formula = Formula::parse(text).expect("a formula");
            formula.composition_as_written().into_iter().map(|(kind, _)| kind).collect()
        };
        assert_eq!(kinds("CO"), ["C", "O"]);
        assert_eq!(kinds("Co"), ["Co"]);
        assert_eq!(kinds("HSCN"), ["H", "S", "C", "N"]);
        assert_eq!(kinds("DTO"), ["D", "T", "O"]);
        assert_eq!(kinds("DyTi"), ["Dy", "Ti"]);
    }

    #[test]
    fn a_number_behind_a_full_stop_is_echoed() {
        let ambiguity = |text: &str| Formula::parse(text).expect("a formula").ambiguity();
        let echo = ambiguity("CuSO4.5H2O").expect("an echo");
        assert!(echo.starts_with("`CuSO4.5H2O` was read as CuSO4·5H2O"), "{echo}");
        assert_eq!(ambiguity("CuSO4·5H2O"), None);
        assert_eq!(ambiguity("CuSO4*5H2O"), None);
        assert_eq!(ambiguity("CaC2O4.H2O"), None);
    }

    #[test]
    fn charges_that_may_be_counts_are_refused() {
        for (text, place, hint) in [
            ("Fe3+", "3+", "write `Fe^3+` or `Fe3^+`"),
            ("SO42-", "42-", "write `SO4^2-` or `SO42^-`"),
            ("Hg22+", "22+", "write `Hg2^2+` or `Hg22^+`"),
            ("[Fe(CN)6]4-", "4-", "write `[Fe(CN)6]^4-` or `[Fe(CN)6]4^-`"),
        ] {
            let message = format!("`{text}` can be read in two ways");
            assert_eq!(refused(text), (message, place.to_owned(), hint.to_owned()));
        }
    }

    #[test]
    fn refusals_point_at_their_place() {
        for (text, message, place) in [
            ("", "expected a formula", ""),
            ("water", "no element begins with `w`", "w"),
            ("NaCL", "there is no element `L`", "L"),
            ("H2Xx", "there is no element `Xx`", "Xx"),
            ("5H2O", "a number before the formula", "5H2O"),
            ("CuSO4·xH2O", "a count that is a letter", "x"),
            ("CuSO4·", "the formula ends where an element should stand", ""),
            ("Ca(OH", "a bracket without its closing `)`", "("),
            ("Ca(OH]2", "`]` does not belong here in a formula", "]"),
            ("CaOH)2", "`)` does not belong here in a formula", ")"),
            ("Ca()2", "brackets with nothing in them", "()"),
            ("H0", "a count of zero", "0"),
            ("H1234567890", "a count of more than 9 digits", "1234567890"),
            ("H·999999999½O", "a count of more than 9 digits", "999999999½"),
            ("CuSO4 5H2O", "`5` does not belong here in a formula", "5"),
            ("Na-Cl", "`C` does not belong here in a formula", "C"),
            ("SO₄2-", "`2` does not belong here in a formula", "2"),
            ("^13", "the formula ends where an element should stand", ""),
            ("Fe^", "expected a charge (`^2-`) or the mass number of an isotope (`^13C`)", "^"),
            ("CaSO4·1/H2O", "expected a number after `/`", "H"),
            ("((((((((((((((((((H))))))))))))))))))", "brackets nested more than 16 deep", "("),
        ] {
            let (found, at, _) = refused(text);
            assert_eq!((found.as_str(), at.as_str()), (message, place), "{text}");
        }
    }

    #[test]
    fn hints_name_what_was_meant() {
        for (text, hint) in [
            ("NaCL", "did you mean `Cl`?"),
            ("FE2O3", "did you mean `Fe`?"),
            ("fe", "an element begins with a capital letter, as `Fe` does"),
            ("water", "a formula is made of the symbols of elements, as `H2O` is"),
            ("CuSO4 5H2O", "the parts of a formula are joined by `·`, not by blanks"),
            ("SO₄2-", "a charge is written behind `^`, as in `SO4^2-`"),
            ("Na-Cl", "a charge stands at the end, as in `SO4^2-`"),
        ] {
            assert_eq!(refused(text).2, hint, "{text}");
        }
    }

    /// Bounded recursion and bounded numbers, whatever is written.
    #[test]
    fn hostile_texts_are_refused() {
        assert_eq!(refused(&"(".repeat(10_000)).0, "a formula of more than 4096 bytes");
        assert_eq!(refused(&"(".repeat(4_000)).0, "brackets nested more than 16 deep");
        assert_eq!(refused("((H999999999)999999999)9").0, "counts beyond what the program takes on");
        let tiny = "((H0.00000001)0.00000001)0.00000001";
        assert_eq!(refused(tiny).0, "counts beyond what the program takes on");
    }
}
