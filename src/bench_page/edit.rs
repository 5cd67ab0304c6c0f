//! Edits of a text: bytes taken out of it at some places and others put in, everything else as it was.

use crate::span::Span;

/// One edit: the bytes of a range give way to a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Edit {
    place: Span,
    text: String,
}

impl Edit {
    /// Replaces a range.
    pub(super) fn replace(place: Span, text: impl Into<String>) -> Edit {
        Edit { place, text: text.into() }
    }

    /// Puts a text before a byte.
    pub(super) fn insert(at: usize, text: impl Into<String>) -> Edit {
        Edit::replace(Span::new(at, at), text)
    }

    /// Puts a line behind the one that holds a byte, ended as that one is.
    pub(super) fn insert_line(text: &str, at: usize, line: &str) -> Edit {
        let rest = text.get(at..).unwrap_or("");
        let Some(length) = rest.find(['\n', '\r']) else {
            return Edit::insert(text.len(), format!("{}{line}", usual_ending(text)));
        };
        let ending = if rest[length..].starts_with("\r\n") { "\r\n" } else { &rest[length..length + 1] };
        Edit::insert(at + length + ending.len(), format!("{line}{ending}"))
    }
}

/// How the first line of a text ends.
fn usual_ending(text: &str) -> &'static str {
    match text.find(['\n', '\r']) {
        Some(at) if text[at..].starts_with("\r\n") => "\r\n",
        Some(at) if text[at..].starts_with('\r') => "\r",
        _ => "\n",
    }
}

/// The text with its edits; they do not overlap.
pub(super) fn applied(text: &str, mut edits: Vec<Edit>) -> String {
    edits.sort_by_key(|edit| edit.place);
    let (mut result, mut from) = (String::with_capacity(text.len() + 64), 0);
    for edit in edits {
        result.push_str(text.get(from..edit.place.start).unwrap_or(""));
        result.push_str(&edit.text);
        from = edit.place.end;
    }
    result.push_str(text.get(from..).unwrap_or(""));
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edits_keep_what_they_do_not_touch() {
        let edits = vec![Edit::insert(3, "!"), Edit::replace(Span::new(1, 2), "BB")];
        assert_eq!(applied("abcd", edits), "aBBc!d");
    }

    #[test]
    fn a_line_ends_as_the_one_before_it() {
        let with = |text: &str| applied(text, vec![Edit::insert_line(text, 1, "new")]);
        assert_eq!(with("ab\ncd"), "ab\nnew\ncd");
        assert_eq!(with("ab\r\ncd\r\n"), "ab\r\nnew\r\ncd\r\n");
        assert_eq!(with("ab\rcd"), "ab\rnew\rcd");
        assert_eq!(with("ab"), "ab\nnew");
    }
}
