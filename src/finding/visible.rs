//! Text of a notebook where it is shown: no character of it steers a terminal, or changes the order of those around it.

use std::borrow::Cow;

/// What stands for a character that is not shown.
const STAND_IN: char = '\u{2426}';

/// Controls, and marks that change the direction of writing (Unicode Standard Annex 9, table 4).
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// A text on one line, with a stand-in for every character that is not to be seen.
pub fn without_controls(text: &str) -> String {
    text.chars().map(|c| if is_hidden(c) { STAND_IN } else { c }).collect()
}

/// The same for a text of several lines: line ends and tabs stay.
pub fn visible_lines(text: &str) -> Cow<'_, str> {
    let unwanted = |c: char| is_hidden(c) && !matches!(c, '\n' | '\r' | '\t');
    match text.contains(unwanted) {
        true => Cow::Owned(text.chars().map(|c| if unwanted(c) { STAND_IN } else { c }).collect()),
        false => Cow::Borrowed(text),
    }
}

/// JSON that says the same and can be looked at: such characters stand in strings only, and are written there by their
/// numbers, as JSON allows (RFC 8259, section 7).
pub fn in_json(json: String) -> String {
    let unwanted = |c: char| is_hidden(c) && !matches!(c, '\n' | '\r' | '\t');
    if !json.contains(unwanted) {
        return json;
    }
    let mut written = String::with_capacity(json.len() + 64);
    for c in json.chars() {
        match unwanted(c) {
            true => written.push_str(&format!("\\u{:04x}", u32::from(c))),
            false => written.push(c),
        }
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOSTILE: &str = "a\u{1b}[31m\u{9b}b\u{202e}c\u{2069}\u{7f}\u{7}";

    #[test]
    fn nothing_hidden_is_left() {
        assert_eq!(without_controls(HOSTILE), "a␦[31m␦b␦c␦␦␦");
        assert_eq!(without_controls("a\nb"), "a␦b");
        assert_eq!(visible_lines("a\n\tb\u{1b}"), "a\n\tb␦");
        assert_eq!(visible_lines("µg · 18.27 – é"), "µg · 18.27 – é");
    }

    #[test]
    fn json_says_the_same() {
        let json = serde_json::to_string_pretty(&[HOSTILE, "é"]).unwrap();
        let written = in_json(json);
        assert!(!written.contains(|c| is_hidden(c) && c != '\n'), "{written}");
        let read: Vec<String> = serde_json::from_str(&written).unwrap();
        assert_eq!(read, [HOSTILE, "é"]);
    }
}
