//! Typst code as text: literals, dictionaries, calls.
//!
//! Everything a notebook says reaches the typesetter as a string literal in code mode, never as markup, so
//! that `#`, `$`, `@`, `<`, `*` and their like come out as themselves. This file is the only place where
//! literals are written.

use std::fmt::Write;

/// A string literal. Quotes, backslashes and control characters are escaped; nothing else needs to be.
pub(super) fn string(text: &str) -> String {
    let mut literal = String::with_capacity(text.len() + 2);
    literal.push('"');
    if text.bytes().all(|byte| matches!(byte, b' '..=b'~') && !matches!(byte, b'"' | b'\\')) {
        literal.push_str(text);
        literal.push('"');
        return literal;
    }
    for c in text.chars() {
        match c {
            '"' => literal.push_str("\\\""),
            '\\' => literal.push_str("\\\\"),
            '\n' => literal.push_str("\\n"),
            c if needs_escape(c) => write!(literal, "\\u{{{:x}}}", c as u32).unwrap_or(()),
            c => literal.push(c),
        }
    }
    literal.push('"');
    literal
}

/// Most characters of a text that a PDF keeps as one string (title, text alternative): PDF/A allows 32767 bytes.
const LONGEST_STRING: usize = 6000;

/// A string literal for what is kept beside the page: control characters become blanks, and what is too long
/// for one string of a PDF ends in an ellipsis.
pub(super) fn short_string(text: &str) -> String {
    let clean = |c: char| if c.is_control() { ' ' } else { c };
    match text.char_indices().nth(LONGEST_STRING) {
        None => string(&text.chars().map(clean).collect::<String>()),
        Some((end, _)) => {
            let kept: String = text.get(..end).unwrap_or("").chars().map(clean).collect();
            string(&format!("{kept} …"))
        }
    }
}

/// Characters that an editor or a reader of the generated source could not see or would take for a line end.
fn needs_escape(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}')
}

/// An array of expressions.
pub(super) fn array(items: impl IntoIterator<Item = String>) -> String {
    let mut code = String::from("(");
    for item in items {
        code.push_str(&item);
        code.push_str(", ");
    }
    if code.ends_with(' ') {
        code.pop();
    }
    code.push(')');
    code
}

/// An array with one expression a line.
pub(super) fn lines(items: impl IntoIterator<Item = String>) -> String {
    let items: Vec<String> = items.into_iter().collect();
    if items.is_empty() { "()".to_owned() } else { format!("(\n  {},\n)", items.join(",\n  ")) }
}

/// A dictionary or a list of named arguments, built field by field.
#[derive(Clone, Debug, Default)]
pub(super) struct Fields(Vec<String>);

impl Fields {
    pub(super) fn new() -> Self {
        Fields::default()
    }

    /// Adds a field whose value is an expression.
    pub(super) fn code(mut self, key: &str, expression: impl Into<String>) -> Self {
        self.0.push(format!("{key}: {}", expression.into()));
        self
    }

    /// Adds a field whose value is a string.
    pub(super) fn text(self, key: &str, text: &str) -> Self {
        self.code(key, string(text))
    }

    /// Adds a field whose value is kept beside the page (a title, a text alternative).
    pub(super) fn aside(self, key: &str, text: &str) -> Self {
        self.code(key, short_string(text))
    }

    /// Adds a field if there is a value for it.
    pub(super) fn optional(self, key: &str, expression: Option<String>) -> Self {
        match expression {
            Some(expression) => self.code(key, expression),
            None => self,
        }
    }

    /// Adds a field that is a string, if there is one.
    pub(super) fn optional_text(self, key: &str, text: Option<&str>) -> Self {
        self.optional(key, text.map(string))
    }

    /// Adds a field `true` if it is.
    pub(super) fn flag(self, key: &str, on: bool) -> Self {
        if on { self.code(key, "true") } else { self }
    }

    /// The dictionary.
    pub(super) fn dictionary(self) -> String {
        if self.0.is_empty() { "(:)".to_owned() } else { format!("({})", self.0.join(", ")) }
    }

    /// The dictionary with one field a line.
    pub(super) fn tall_dictionary(self) -> String {
        format!("(\n  {},\n)", self.0.join(",\n  "))
    }

    /// A call with the fields as named arguments.
    pub(super) fn call(self, function: &str) -> String {
        self.call_with(function, &[])
    }

    /// A call with other arguments before the named ones.
    pub(super) fn call_with(self, function: &str, first: &[String]) -> String {
        let arguments: Vec<String> = first.iter().cloned().chain(self.0).collect();
        format!("{function}({})", arguments.join(", "))
    }
}

/// A coordinate or length, in a fixed form so that the same drawing gives the same bytes.
pub(super) fn decimal(value: f64) -> String {
    let value = if value.is_finite() { value } else { 0.0 };
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Pieces of content joined into one.
pub(super) fn joined(pieces: &[String]) -> String {
    match pieces {
        [] => "[]".to_owned(),
        [one] => one.clone(),
        many => format!("{{ {} }}", many.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strings_escape_what_would_end_them_and_nothing_else() {
        assert_eq!(string("a \"b\" \\ #c $d$ é"), "\"a \\\"b\\\" \\\\ #c $d$ é\"");
        assert_eq!(string("\u{7}\u{202e}"), "\"\\u{7}\\u{202e}\"");
    }

    #[test]
    fn what_is_kept_beside_the_page_is_not_too_long() {
        assert_eq!(short_string("a\u{7}b"), "\"a b\"");
        assert_eq!(short_string(&"é".repeat(LONGEST_STRING)).chars().count(), LONGEST_STRING + 2);
        let cut = short_string(&"é".repeat(LONGEST_STRING + 1));
        assert!(cut.ends_with(" …\"") && cut.len() < 32767);
    }

    #[test]
    fn arrays_of_one_keep_their_comma() {
        assert_eq!(array(["1".to_owned()]), "(1,)");
        assert_eq!(array([]), "()");
        assert_eq!(array(["1".to_owned(), "2".to_owned()]), "(1, 2,)");
    }

    #[test]
    fn decimals_have_one_form() {
        assert_eq!(decimal(0.5), "0.5");
        assert_eq!(decimal(-0.00001), "0");
        assert_eq!(decimal(f64::NAN), "0");
    }
}
