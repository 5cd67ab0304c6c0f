//! Byte ranges in a source text, and the lines they stand on.
//!
//! Everything a notebook holds knows its range, so that whatever is said about it can be shown at its
//! place. Ranges are bytes of the text as read (after the byte-order mark, if there was one).

/// A half-open range of bytes `start..end` in one source text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Span {
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

impl Span {
    /// The range `start..end`; an end before the start is taken as empty at `start`.
    pub fn new(start: usize, end: usize) -> Self {
        Span { start, end: end.max(start) }
    }

    /// The smallest range that holds both.
    pub fn join(self, other: Span) -> Span {
        Span::new(self.start.min(other.start), self.end.max(other.end))
    }

    /// The text of the range, or an empty text where the range does not fit the source.
    pub fn text(self, source: &str) -> &str {
        source.get(self.start..self.end).unwrap_or("")
    }

    /// The same range moved right by `offset` bytes.
    pub fn shifted(self, offset: usize) -> Span {
        Span::new(self.start + offset, self.end + offset)
    }

    /// Whether `other` lies within this range.
    pub fn contains(self, other: Span) -> bool {
        self.start <= other.start && other.end <= self.end
    }
}

impl From<std::ops::Range<usize>> for Span {
    fn from(range: std::ops::Range<usize>) -> Self {
        Span::new(range.start, range.end)
    }
}

/// A value with the place it was written at.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub span: Span,
}

impl<T> Spanned<T> {
    /// A value at a place.
    pub fn new(value: T, span: Span) -> Self {
        Spanned { value, span }
    }
}

/// The starts of the lines of a text, to turn bytes into lines and columns.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    /// Finds the lines of a text (ended by `\n`; a `\r` before it belongs to the ending).
    pub fn of(text: &str) -> Self {
        let after_newlines = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(i, _)| i + 1);
        Lines { starts: std::iter::once(0).chain(after_newlines).collect() }
    }

    /// Line and column of a byte, both from 1; the column counts characters.
    pub fn place(&self, text: &str, byte: usize) -> (usize, usize) {
        let line = self.starts.partition_point(|start| *start <= byte).max(1);
        let start = self.starts.get(line - 1).copied().unwrap_or(0);
        let column = text.get(start..byte).map_or(0, |before| before.chars().count());
        (line, column + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_from_one_and_in_characters() {
        let text = "a\nµg x\n";
        let lines = Lines::of(text);
        assert_eq!(lines.place(text, 0), (1, 1));
        assert_eq!(lines.place(text, 2), (2, 1));
        assert_eq!(lines.place(text, text.find('x').unwrap()), (2, 4));
    }
}
