//! HTML as text: elements, attributes, and text that is always escaped.
//!
//! Nothing of a notebook reaches the page but through [`Markup::text`] and attribute values, where `&`, `<`, `>` and quotes
//! are escaped. This file is the only place where tags are written.

/// Attributes of an element.
pub(super) type Attributes<'a> = &'a [(&'static str, &'a str)];

/// A piece of a page.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Markup(String);

impl Markup {
    pub(super) fn new() -> Self {
        Markup::default()
    }

    /// The tags and text so far.
    pub(super) fn into_text(self) -> String {
        self.0
    }

    /// Adds another piece.
    pub(super) fn push(&mut self, other: &Markup) {
        self.0.push_str(&other.0);
    }

    /// Adds text. A character that no page may hold, or that would change the order of those around it, is shown by
    /// its code point.
    pub(super) fn text(&mut self, text: &str) {
        for c in text.chars() {
            match c {
                '&' => self.0.push_str("&amp;"),
                '<' => self.0.push_str("&lt;"),
                '>' => self.0.push_str("&gt;"),
                '\u{a0}' => self.0.push_str("&nbsp;"),
                c if is_hidden(c) => {
                    self.open("span", &[("class", "codepoint")]);
                    self.0.push_str(&format!("U+{:04X}", c as u32));
                    self.close("span");
                }
                c => self.0.push(c),
            }
        }
    }

    pub(super) fn open(&mut self, tag: &str, attributes: Attributes) {
        self.0.push('<');
        self.0.push_str(tag);
        for (name, value) in attributes {
            self.0.push(' ');
            self.0.push_str(name);
            self.0.push_str("=\"");
            self.attribute(value);
            self.0.push('"');
        }
        self.0.push('>');
    }

    fn attribute(&mut self, value: &str) {
        for c in value.chars() {
            match c {
                '&' => self.0.push_str("&amp;"),
                '<' => self.0.push_str("&lt;"),
                '>' => self.0.push_str("&gt;"),
                '"' => self.0.push_str("&quot;"),
                '\n' => self.0.push(' '),
                c if is_hidden(c) => self.0.push('\u{fffd}'),
                c => self.0.push(c),
            }
        }
    }

    pub(super) fn close(&mut self, tag: &str) {
        self.0.push_str("</");
        self.0.push_str(tag);
        self.0.push('>');
    }

    /// A line break of the source, where no text stands.
    pub(super) fn line(&mut self) {
        self.0.push('\n');
    }

    /// An element with what `fill` writes into it.
    pub(super) fn element(&mut self, tag: &str, attributes: Attributes, fill: impl FnOnce(&mut Markup)) {
        self.open(tag, attributes);
        fill(self);
        self.close(tag);
    }

    /// An element that holds text only.
    pub(super) fn text_in(&mut self, tag: &str, attributes: Attributes, text: &str) {
        self.element(tag, attributes, |inside| inside.text(text));
    }

    /// What is said to those who do not see the page, and not shown.
    pub(super) fn said(&mut self, text: &str) {
        self.text_in("span", &[("class", "said")], text);
    }

    /// Data that no browser runs or shows. `json` is JSON; its `<`, `>` and `&` are escaped as JSON allows, so that
    /// nothing in it can end the element.
    pub(super) fn data_block(&mut self, id: &str, json: &str) {
        self.open("script", &[("type", "application/json"), ("id", id)]);
        for c in json.chars() {
            match c {
                '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => self.0.push_str(&format!("\\u{:04x}", c as u32)),
                c => self.0.push(c),
            }
        }
        self.close("script");
        self.line();
    }

    /// Adds a text of the program's own (a style sheet, a drawing it ships) as it is.
    pub(super) fn own(&mut self, text: &str) {
        self.0.push_str(text);
    }
}

/// Controls, noncharacters, and marks that change the order of the characters around them.
fn is_hidden(c: char) -> bool {
    (c.is_control() && !matches!(c, '\t' | '\n'))
        || matches!(c as u32, 0x202A..=0x202E | 0x2066..=0x2069 | 0xFDD0..=0xFDEF | 0xFEFF)
        || (c as u32) & 0xFFFE == 0xFFFE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_escaped() {
        let mut markup = Markup::new();
        markup.text_in("p", &[("title", "\"><script>&\n")], "<b>&\u{a0}");
        assert_eq!(
            markup.into_text(),
            "<p title=\"&quot;&gt;&lt;script&gt;&amp; \">&lt;b&gt;&amp;&nbsp;</p>"
        );
    }

    #[test]
    fn what_is_hidden_is_shown_by_its_code_point() {
        let mut markup = Markup::new();
        markup.text("\u{202e}\u{0}");
        let shown = |code| format!("<span class=\"codepoint\">U+{code}</span>");
        assert_eq!(markup.into_text(), shown("202E") + &shown("0000"));
    }

    #[test]
    fn nothing_ends_a_data_block_early() {
        let mut markup = Markup::new();
        markup.data_block("x", "\"</script><!--\"");
        let text = markup.into_text();
        assert_eq!(text.matches('<').count(), 2);
        assert!(text.contains(r#""\u003c/script\u003e\u003c!--""#));
    }
}
