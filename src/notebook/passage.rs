//! A stretch of text on one line of the notebook that knows its place, and the small scans every line
//! needs: blanks, brackets, dashes.

use crate::span::Span;
use std::borrow::Cow;
use std::ops::Range;

/// Text with the byte of the notebook it starts at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Passage<'a> {
    /// The text.
    pub text: &'a str,
    /// Its first byte in the notebook.
    pub start: usize,
}

impl<'a> Passage<'a> {
    /// The part of a source that a range covers (empty where the range does not fit).
    pub fn of(source: &'a str, span: Span) -> Self {
        Passage { text: span.text(source), start: span.start }
    }

    /// Its range in the notebook.
    pub fn span(self) -> Span {
        Span::new(self.start, self.start + self.text.len())
    }

    /// A part of it, by bytes of its own text (empty where the range does not fit).
    pub fn slice(self, range: Range<usize>) -> Self {
        Passage { text: self.text.get(range.clone()).unwrap_or(""), start: self.start + range.start }
    }

    /// What stands before a byte.
    pub fn before(self, at: usize) -> Self {
        self.slice(0..at)
    }

    /// What stands from a byte on.
    pub fn after(self, at: usize) -> Self {
        self.slice(at..self.text.len())
    }

    /// The same without blanks at its ends.
    pub fn trim(self) -> Self {
        let rest = self.text.trim_start();
        Passage { text: rest.trim_end(), start: self.start + (self.text.len() - rest.len()) }
    }

    /// Whether nothing but blanks is left.
    pub fn is_blank(self) -> bool {
        self.text.trim().is_empty()
    }

    /// Its words, parted by blanks.
    pub fn words(self) -> impl Iterator<Item = Passage<'a>> {
        let mut rest = self.trim();
        std::iter::from_fn(move || {
            let length = rest.text.find(char::is_whitespace).unwrap_or(rest.text.len());
            let word = rest.before(length);
            rest = rest.after(length).trim();
            (!word.text.is_empty()).then_some(word)
        })
    }

    /// A range of its own bytes as a range of the notebook.
    pub fn place(self, range: Range<usize>) -> Span {
        Span::from(range).shifted(self.start)
    }
}

/// The text with runs of blanks (no-break ones too) as one blank each, none at the ends.
pub(super) fn fold_blanks(text: &str) -> Cow<'_, str> {
    let bytes = text.as_bytes();
    let other = |byte: &u8| !byte.is_ascii() || matches!(byte, b'\t'..=b'\r');
    if !bytes.iter().any(other) && !bytes.windows(2).any(|pair| pair == b"  ") {
        return Cow::Borrowed(text.trim_matches(' '));
    }
    let mut folded = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !folded.is_empty() {
            folded.push(' ');
        }
        folded.push_str(word);
    }
    Cow::Owned(folded)
}

/// The byte of the bracket that closes the one at byte `at`, counting brackets of the same kind only.
pub(super) fn closing_bracket(text: &str, at: usize) -> Option<usize> {
    let rest = text.get(at..)?;
    let open = rest.chars().next()?;
    let close = if open == '(' { ')' } else { ']' };
    let mut depth = 0usize;
    for (offset, found) in rest.char_indices() {
        if found == open {
            depth += 1;
        } else if found == close {
            depth -= 1;
            if depth == 0 {
                return Some(at + offset);
            }
        }
    }
    None
}

/// The first round or square bracket that nothing closes, with its byte.
pub(super) fn unclosed_bracket(text: &str) -> Option<(usize, char)> {
    let mut open: Vec<(usize, char)> = Vec::new();
    for (at, found) in text.char_indices() {
        let closes = |open: &(usize, char)| matches!((open.1, found), ('(', ')') | ('[', ']'));
        if matches!(found, '(' | '[') {
            open.push((at, found));
        } else if open.last().is_some_and(closes) {
            open.pop();
        }
    }
    open.first().copied()
}

/// The bytes where a wanted character stands outside round and square brackets.
pub(super) fn outside_brackets(text: &str, wanted: char) -> impl Iterator<Item = usize> + '_ {
    let mut depth = 0usize;
    text.char_indices().filter_map(move |(at, found)| {
        match found {
            '(' | '[' => depth += 1,
            ')' | ']' => depth = depth.saturating_sub(1),
            _ => {}
        }
        (depth == 0 && found == wanted).then_some(at)
    })
}

/// Whether a character is a dash as people and tablets write it: hyphen, minus, en dash, em dash.
pub(super) fn is_dash(c: char) -> bool {
    matches!(c, '-' | '−' | '–' | '—')
}

/// Whether a character is a double quotation mark, straight or curly.
pub(super) fn is_quote(c: char) -> bool {
    matches!(c, '"' | '“' | '”' | '„' | '«' | '»')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trimming_keeps_the_place() {
        let passage = Passage { text: "  a\u{a0}", start: 10 }.trim();
        assert_eq!((passage.text, passage.span()), ("a", Span::new(12, 13)));
    }

    #[test]
    fn blanks_fold_and_no_break_spaces_are_blanks() {
        assert_eq!(fold_blanks(" a \u{a0} b\tc "), "a b c");
    }

    #[test]
    fn brackets_close_by_kind() {
        assert_eq!(closing_bracket("x(a(b)[)c)", 1), Some(7));
        assert_eq!(closing_bracket("(a", 0), None);
    }

    #[test]
    fn the_first_bracket_left_open_is_named() {
        assert_eq!(unclosed_bracket("a(b)[c(d"), Some((4, '[')));
        assert_eq!(unclosed_bracket("a(b[c])"), None);
    }

    #[test]
    fn only_outside_brackets_counts() {
        assert_eq!(outside_brackets("ν(1: a): b", ':').collect::<Vec<_>>(), vec![8]);
    }
}
