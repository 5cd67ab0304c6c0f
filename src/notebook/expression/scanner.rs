//! The scanner under the formula parser: words, numbers, operators and text in balanced brackets, each
//! with its place. It looks at characters only; what they mean is the parser's business.

use super::BinaryOperator;
use crate::notebook::passage::{Passage, closing_bracket};
use crate::span::Span;

/// A place in one line of a formula.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scanner<'a> {
    /// The line.
    pub line: Passage<'a>,
    /// The next byte of it.
    pub at: usize,
}

impl<'a> Scanner<'a> {
    /// At the start of a line.
    pub fn new(line: Passage<'a>) -> Self {
        Scanner { line, at: 0 }
    }

    /// What is left.
    pub fn rest(&self) -> &'a str {
        self.line.text.get(self.at..).unwrap_or("")
    }

    /// The next character.
    pub fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    /// Goes on by a number of bytes (whole characters).
    pub fn advance(&mut self, bytes: usize) {
        self.at += bytes;
    }

    /// Skips blanks and shows the character after them.
    pub fn next(&mut self) -> Option<char> {
        let rest = self.rest();
        self.at += rest.len() - rest.trim_start().len();
        self.peek()
    }

    /// Takes a character if it comes next after blanks.
    pub fn take(&mut self, wanted: char) -> bool {
        let found = self.next() == Some(wanted);
        if found {
            self.at += wanted.len_utf8();
        }
        found
    }

    /// The place from a byte of the line to here.
    pub fn since(&self, from: usize) -> Span {
        self.line.place(from..self.at)
    }

    /// The place of the next character, empty at the end of the line.
    pub fn here(&self) -> Span {
        let length = self.peek().map_or(0, char::len_utf8);
        self.line.place(self.at..self.at + length)
    }

    /// The word that comes next: a letter, then letters, digits and `_`.
    pub fn peek_word(&self) -> &'a str {
        let rest = self.rest();
        if !rest.starts_with(char::is_alphabetic) {
            return "";
        }
        let end = rest.find(|c: char| !(c.is_alphabetic() || c.is_ascii_digit() || c == '_'));
        rest.get(..end.unwrap_or(rest.len())).unwrap_or("")
    }

    /// Whether the word, which starts here, stands directly or after blanks before an opening bracket.
    pub fn opens_after(&self, word: &str) -> bool {
        self.rest().get(word.len()..).unwrap_or("").trim_start().starts_with('(')
    }

    /// The number that comes next, its decimal marks, grouping spaces and exponent included.
    pub fn peek_number(&self) -> &'a str {
        let rest = self.rest();
        rest.get(..number_length(rest)).unwrap_or("")
    }

    /// The text up to the bracket that closes the one which comes next; goes behind it.
    pub fn bracketed(&mut self) -> Option<Passage<'a>> {
        let close = closing_bracket(self.line.text, self.at)?;
        let inside = self.line.slice(self.at + 1..close);
        self.at = close + 1;
        Some(inside)
    }

    /// The operator that comes next after blanks, with its length in bytes.
    pub fn operator(&mut self) -> Option<(BinaryOperator, usize)> {
        let found = self.next()?;
        let operator = match found {
            '+' => BinaryOperator::Add,
            '-' | '−' | '–' => BinaryOperator::Subtract,
            '*' | '·' | '⋅' | '×' => BinaryOperator::Multiply,
            '/' | '÷' | '∕' => BinaryOperator::Divide,
            '^' => BinaryOperator::Power,
            _ => return None,
        };
        Some((operator, found.len_utf8()))
    }

    /// A whole number in superscripts (`⁻³`), as plain text; empty where there is none.
    pub fn peek_superscript(&self) -> String {
        self.rest().chars().map_while(plain_superscript).collect()
    }
}

/// How many bytes of a text belong to the number it starts with. Marks count where a digit follows, and a
/// no-break or thin space where three digits do.
pub(in crate::notebook) fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let mut at = 0;
    loop {
        let found = text.get(at..).and_then(|rest| rest.chars().next());
        match found {
            Some('0'..='9') => at += 1,
            Some('.' | ',') if digit(at + 1) => at += 1,
            Some(c @ ('\u{202f}' | '\u{2009}' | '\u{a0}'))
                if at > 0 && three_digits(bytes, at + c.len_utf8()) =>
            {
                at += c.len_utf8();
            }
            _ => return at + exponent_length(bytes, at),
        }
    }
}

fn three_digits(bytes: &[u8], at: usize) -> bool {
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    digit(at) && digit(at + 1) && digit(at + 2) && !digit(at + 3)
}

/// The length of `e-3` after a number, 0 where none follows.
fn exponent_length(bytes: &[u8], at: usize) -> usize {
    if at == 0 || !matches!(bytes.get(at), Some(b'e' | b'E')) {
        return 0;
    }
    let sign = sign_length(bytes.get(at + 1..).unwrap_or(&[]));
    let digits = bytes.iter().skip(at + 1 + sign).take_while(|b| b.is_ascii_digit()).count();
    if digits == 0 { 0 } else { 1 + sign + digits }
}

/// The length of a sign: `+`, `-` or the typographic minus of three bytes.
fn sign_length(bytes: &[u8]) -> usize {
    match bytes {
        [b'+' | b'-', ..] => 1,
        _ if bytes.starts_with("−".as_bytes()) => "−".len(),
        _ => 0,
    }
}

fn plain_superscript(c: char) -> Option<char> {
    match c {
        '⁻' => Some('-'),
        '⁰' => Some('0'),
        '¹' => Some('1'),
        '²' => Some('2'),
        '³' => Some('3'),
        '⁴'..='⁹' => char::from_digit(u32::from(c) - u32::from('⁰'), 10),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_end_where_they_end() {
        for (text, length) in
            [("18.2749 g", 7), ("1.2e-3x", 6), ("5e", 1), ("2.", 1), ("1,5; 2", 3), (".5", 2)]
        {
            assert_eq!(number_length(text), length, "{text}");
        }
        assert_eq!(number_length("12\u{202f}345.6 7"), 10);
    }

    #[test]
    fn words_hold_letters_of_any_script_digits_and_underscores() {
        let word = |text| Scanner::new(Passage { text, start: 0 }).peek_word();
        assert_eq!(word("log10(x)"), "log10");
        assert_eq!(word("ν_1 + x"), "ν_1");
        assert_eq!(word("2x"), "");
    }
}
