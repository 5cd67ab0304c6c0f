//! Bytes of a file made into text.

use crate::span::Span;
use std::borrow::Cow;

/// The text without a byte-order mark. Bytes that are not UTF-8 become replacement characters; the place of
/// the first one comes with it.
pub(super) fn decode(bytes: &[u8]) -> (Cow<'_, str>, Option<Span>) {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => (Cow::Borrowed(text), None),
        Err(error) => {
            let at = error.valid_up_to();
            let place = Span::new(at, at + char::REPLACEMENT_CHARACTER.len_utf8());
            (String::from_utf8_lossy(bytes), Some(place))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_order_mark_is_no_text() {
        assert_eq!(decode(b"\xEF\xBB\xBFa"), (Cow::Borrowed("a"), None));
    }

    #[test]
    fn the_first_bad_byte_is_placed_in_the_text_as_read() {
        let (text, place) = decode(b"a\xFFb\xFE");
        assert_eq!(text, "a\u{fffd}b\u{fffd}");
        assert_eq!(place, Some(Span::new(1, 4)));
    }
}
