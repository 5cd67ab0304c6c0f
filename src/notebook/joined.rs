//! The lines of a block as one text, as TOML wants it, with the way back to the notebook's bytes.
//!
//! What tablets write for ASCII is put right outside strings: typographic minus, no-break spaces, and curly
//! quotes around a string. Inside a string every character stays as it is.

use super::passage::{Passage, is_dash, is_quote};
use crate::span::Span;
use std::ops::Range;

/// A text and where its bytes come from.
#[derive(Debug, Default)]
pub(super) struct Joined {
    /// The text.
    pub text: String,
    /// Starts of stretches that were copied byte by byte: place in the text, place in the notebook.
    runs: Vec<(usize, usize)>,
    /// Where the last line ends in the notebook; none where the text was not joined. What is said of the end
    /// of the text is said there, for the last line of a notebook may have no line ending.
    end: Option<usize>,
}

/// The string a line begins within.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Within {
    Nothing,
    /// `"""` or `'''`
    Lines(&'static str),
}

impl Joined {
    /// Joins lines.
    pub fn of(lines: &[Passage]) -> Self {
        let mut joined = Joined::default();
        let mut within = Within::Nothing;
        for line in lines {
            within = joined.line(*line, within);
            let end = line.start + line.text.len();
            joined.put("\n", end);
            joined.end = Some(end);
        }
        joined
    }

    /// The way back for a text that was not joined: every byte stands where it stood.
    pub fn plain() -> Self {
        Joined { text: String::new(), runs: vec![(0, 0)], end: None }
    }

    /// The place in the notebook of a range of the text.
    pub fn place(&self, range: Range<usize>) -> Span {
        let last = self.end.unwrap_or(usize::MAX);
        Span::new(self.source(range.start).min(last), self.source_end(range.end).min(last))
    }

    fn source(&self, at: usize) -> usize {
        let after = self.runs.partition_point(|(start, _)| *start <= at);
        let run = after.checked_sub(1).and_then(|index| self.runs.get(index));
        run.map_or(0, |(start, source)| source + (at - start))
    }

    /// The end of a range: right behind the byte before it.
    fn source_end(&self, end: usize) -> usize {
        let after = self.runs.partition_point(|(start, _)| *start <= end);
        match after.checked_sub(1).and_then(|index| self.runs.get(index)) {
            Some((start, source)) => source + (end - start),
            None => 0,
        }
    }

    /// Appends text that was read at a place.
    fn put(&mut self, text: &str, source: usize) {
        let expected = self.runs.last().map(|(start, from)| from + (self.text.len() - start));
        if expected != Some(source) {
            self.runs.push((self.text.len(), source));
        }
        self.text.push_str(text);
    }

    /// Appends one line; what it leaves open comes back.
    fn line(&mut self, line: Passage, mut within: Within) -> Within {
        let plain = line.text.is_ascii() && !line.text.contains("\"\"\"") && !line.text.contains("'''");
        if plain && within == Within::Nothing {
            self.put(line.text, line.start);
            return within;
        }
        let mut at = 0;
        while let Some(found) = line.after(at).text.chars().next() {
            let rest = line.after(at);
            at += match within {
                Within::Lines(marks) => {
                    let end = rest.text.find(marks).map(|end| end + marks.len());
                    within = if end.is_some() { Within::Nothing } else { within };
                    self.copy(rest, end.unwrap_or(rest.text.len()))
                }
                Within::Nothing => {
                    match ["\"\"\"", "'''"].into_iter().find(|marks| rest.text.starts_with(marks)) {
                        Some(marks) => {
                            within = Within::Lines(marks);
                            self.copy(rest, marks.len())
                        }
                        None => self.outside(rest, found),
                    }
                }
            };
        }
        within
    }

    fn copy(&mut self, passage: Passage, bytes: usize) -> usize {
        self.put(passage.before(bytes).text, passage.start);
        bytes
    }

    /// One step outside strings of several lines; returns the bytes used up.
    fn outside(&mut self, rest: Passage, found: char) -> usize {
        let length = found.len_utf8();
        match found {
            '#' => self.copy(rest, rest.text.len()),
            '\'' => {
                self.copy(rest, rest.text.get(1..).and_then(|text| text.find('\'')).map_or(1, |end| end + 2))
            }
            '"' => self.straight(rest),
            '‘' | '’' => self.curly(rest, length, |c| matches!(c, '’' | '\'')),
            _ if is_quote(found) => self.curly(rest, length, is_quote),
            _ if is_dash(found) => self.replace(rest, "-", length),
            _ if found.is_whitespace() && found != '\t' => self.replace(rest, " ", length),
            _ => self.copy(rest, length),
        }
    }

    fn replace(&mut self, rest: Passage, with: &str, length: usize) -> usize {
        self.put(with, rest.start);
        // What follows starts a stretch of its own where the lengths differ.
        if with.len() != length {
            self.runs.push((self.text.len(), rest.start + length));
        }
        length
    }

    /// A string in straight quotes; a curly one closes it where no straight one does.
    fn straight(&mut self, rest: Passage) -> usize {
        let close = closing_straight(rest.text);
        match close {
            Some(end) => self.copy(rest, end + 1),
            None => match rest.text.char_indices().skip(1).filter(|(_, c)| is_quote(*c)).last() {
                Some((end, mark)) => {
                    self.copy(rest, end);
                    end + self.replace(rest.after(end), "\"", mark.len_utf8())
                }
                None => self.copy(rest, rest.text.len()),
            },
        }
    }

    /// A string that opens with a curly quote: the text up to the closing one, taken literally.
    fn curly(&mut self, rest: Passage, open: usize, closes: impl Fn(char) -> bool) -> usize {
        let inside = rest.after(open);
        let Some((end, mark)) = inside.text.char_indices().find(|(_, c)| closes(*c)) else {
            return self.copy(rest, rest.text.len());
        };
        self.replace(rest, "\"", open);
        for (at, c) in inside.before(end).text.char_indices() {
            if c == '\\' {
                self.replace(inside.after(at), "\\", 0);
            }
            self.copy(inside.after(at), c.len_utf8());
        }
        self.replace(inside.after(end), "\"", mark.len_utf8());
        open + end + mark.len_utf8()
    }
}

/// The byte of the straight quote that closes a string, escapes skipped.
fn closing_straight(text: &str) -> Option<usize> {
    let mut escaped = false;
    text.char_indices().skip(1).find_map(|(at, c)| {
        let closes = c == '"' && !escaped;
        escaped = c == '\\' && !escaped;
        closes.then_some(at)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn joined(text: &str) -> Joined {
        Joined::of(&[Passage { text, start: 100 }])
    }

    #[test]
    fn curly_quotes_delimit_a_string_and_stay_inside_one() {
        assert_eq!(joined("title = “Loss \\ on”").text, "title = \"Loss \\\\ on\"\n");
        assert_eq!(joined("title = \"The “best” one\"").text, "title = \"The “best” one\"\n");
        assert_eq!(joined("title = \"mixed”").text, "title = \"mixed\"\n");
        assert_eq!(joined("title = „tief“").text, "title = \"tief\"\n");
    }

    #[test]
    fn dashes_and_no_break_spaces_are_plain_outside_strings() {
        assert_eq!(joined("date\u{a0}= 2026–03−04 # – \u{a0}").text, "date = 2026-03-04 # – \u{a0}\n");
    }

    #[test]
    fn places_lead_back_to_the_notebook() {
        let joined = joined("t\u{a0}= “ab” x");
        let at = joined.text.find('x').unwrap();
        assert_eq!(joined.place(at..at + 1), Span::new(114, 115));
        let value = joined.text.find('"').unwrap();
        assert_eq!(joined.place(value..value + 4), Span::new(105, 113));
    }

    #[test]
    fn what_is_said_of_the_end_is_said_at_the_end_of_the_last_line() {
        let joined = joined("t = \"\"\"x");
        let end = joined.text.len();
        assert_eq!(joined.place(end..end), Span::new(108, 108));
        assert_eq!(joined.place(end - 2..end), Span::new(107, 108));
    }

    #[test]
    fn strings_of_several_lines_are_left_alone() {
        let lines =
            [Passage { text: "a = \"\"\"x –", start: 0 }, Passage { text: "– y\"\"\" # “", start: 50 }];
        assert_eq!(Joined::of(&lines).text, "a = \"\"\"x –\n– y\"\"\" # “\n");
    }
}
