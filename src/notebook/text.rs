//! Bytes of a file made into text.

use crate::span::Span;
use std::borrow::Cow;

/// The text without a byte-order mark. Bytes that are not UTF-8 become replacement characters; the place of
/// the first one comes with it.
pub(super) fn decode(bytes: &[u8]) -> (Cow<'_, str>, Option<Span>) {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => (with_line_feeds(text), None),
        Err(error) => {
            let at = error.valid_up_to();
            let place = Span::new(at, at + char::REPLACEMENT_CHARACTER.len_utf8());
            let text = String::from_utf8_lossy(bytes);
            (Cow::Owned(with_line_feeds(&text).into_owned()), Some(place))
        }
    }
}

/// A carriage return that stands alone ends a line too (CommonMark 0.31, section 2.1); as a line feed it keeps
/// every byte at its place.
fn with_line_feeds(text: &str) -> Cow<'_, str> {
    let bytes = text.as_bytes();
    if !bytes.contains(&b'\r') {
        return Cow::Borrowed(text);
    }
    let lone = |(at, byte): (usize, &u8)| *byte == b'\r' && bytes.get(at + 1) != Some(&b'\n');
    if !bytes.iter().enumerate().any(lone) {
        return Cow::Borrowed(text);
    }
    let mut fed = String::with_capacity(text.len());
    let mut characters = text.chars().peekable();
    while let Some(c) = characters.next() {
        fed.push(if c == '\r' && characters.peek() != Some(&'\n') { '\n' } else { c });
    }
    Cow::Owned(fed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_order_mark_is_no_text() {
        assert_eq!(decode(b"\xEF\xBB\xBFa"), (Cow::Borrowed("a"), None));
    }

    #[test]
    fn a_carriage_return_alone_ends_a_line() {
        assert_eq!(decode(b"a\rb\r\nc").0, "a\nb\r\nc");
        assert_eq!(decode(b"a\xFF\rb").0, "a\u{fffd}\nb", "also where not all is text");
    }

    #[test]
    fn the_first_bad_byte_is_placed_in_the_text_as_read() {
        let (text, place) = decode(b"a\xFFb\xFE");
        assert_eq!(text, "a\u{fffd}b\u{fffd}");
        assert_eq!(place, Some(Span::new(1, 4)));
    }
}
