//! Which line of the skeleton a line of the filled notebook comes from, so that what is wrong with the filled one is
//! said where it can be mended.
//!
//! The skeleton is filled a second time with a mark before the text of each of its lines. A skeleton whose marks
//! change what it gives (it measures or cuts its own text) is not traced.

use super::model::Template;
use super::skeleton::SKELETON;
use crate::finding::Finding;
use crate::span::{Lines, Span};

/// Around the number of a line: characters for private use, which no font and no notebook has.
const OPEN: char = '\u{F1000}';
const CLOSE: char = '\u{F1001}';
/// The skeleton's delimiters: how a tag begins, how it ends, and whether blanks before it are left out.
const TAGS: [(&str, &str, bool); 3] = [("<%", "%>", true), ("<#", "#>", true), ("<<", ">>", false)];

/// The template with marks in its skeleton; `None` where the skeleton has such characters of its own.
pub(super) fn marked(template: &Template) -> Option<Template> {
    let source = skeleton_of(template);
    if source.contains([OPEN, CLOSE]) {
        return None;
    }
    let mut traced = template.clone();
    traced.files.insert(SKELETON.to_owned(), with_marks(&source).into_bytes());
    Some(traced)
}

fn skeleton_of(template: &Template) -> String {
    template.files.get(SKELETON).map_or(String::new(), |bytes| String::from_utf8_lossy(bytes).into_owned())
}

/// A mark before the first text of each line that is not blank. Blanks before an instruction get none: they are left
/// out with the line.
fn with_marks(source: &str) -> String {
    let mut marked = String::with_capacity(source.len() * 2);
    let mut inside: Option<&str> = None;
    for (index, line) in source.split_inclusive('\n').enumerate() {
        let mut rest = line;
        let mut has_mark = false;
        while !rest.is_empty() {
            let Some(end) = inside else {
                let tag = next_tag(rest);
                let (text, is_left_out) =
                    tag.map_or((rest, true), |(at, _, left_out)| (&rest[..at], left_out));
                let is_blank = text.trim().is_empty() && is_left_out;
                if !(has_mark || is_blank) {
                    marked.push_str(&format!("{OPEN}{}{CLOSE}", index + 1));
                    has_mark = true;
                }
                let through = tag.map_or(rest.len(), |(at, ..)| at + 2);
                inside = tag.map(|(_, end, _)| end);
                marked.push_str(&rest[..through]);
                rest = &rest[through..];
                continue;
            };
            let through = rest.find(end).map_or(rest.len(), |at| at + end.len());
            if through < rest.len() || rest.ends_with(end) {
                inside = None;
            }
            marked.push_str(&rest[..through]);
            rest = &rest[through..];
        }
    }
    marked
}

/// The next tag of a text: where it begins, how it ends, whether blanks before it are left out. All delimiters are two
/// bytes long.
fn next_tag(text: &str) -> Option<(usize, &'static str, bool)> {
    let at = |(begin, end, left_out): (&str, &'static str, bool)| Some((text.find(begin)?, end, left_out));
    TAGS.into_iter().filter_map(at).min_by_key(|(at, ..)| *at)
}

/// From the filled notebook back to the skeleton.
pub(super) struct Trace {
    source: String,
    filled: String,
    /// For each line of the filled notebook the line of the skeleton, from 1.
    lines: Vec<usize>,
}

impl Trace {
    /// Reads the marks of a skeleton that was filled with them; `None` where it is not the same otherwise.
    pub(super) fn of(template: &Template, filled: &str, with_marks: &str) -> Option<Self> {
        let mut text = String::with_capacity(filled.len());
        let mut lines = Vec::new();
        let mut last = 1;
        for line in with_marks.split_inclusive('\n') {
            let mut pieces = line.split(OPEN);
            text.push_str(pieces.next().unwrap_or_default());
            let mut first = None;
            for piece in pieces {
                let (number, rest) = piece.split_once(CLOSE)?;
                // A filter of the skeleton may have changed the number.
                first = first.or(number.parse::<usize>().ok().filter(|number| *number > 0));
                text.push_str(rest);
            }
            last = first.unwrap_or(last);
            lines.push(last);
        }
        (text == filled).then(|| Trace { source: skeleton_of(template), filled: text, lines })
    }

    /// A finding of the filled notebook at its line of the skeleton; `path` is the skeleton's.
    pub(super) fn back(&self, mut finding: Finding, path: &str) -> Finding {
        let filled = Lines::of(&self.filled);
        if let Some(span) = finding.span {
            let written = line_at(&self.filled, filled.place(&self.filled, span.start).0);
            let moved = self.place(span, &filled);
            let source = line_at(&self.source, Lines::of(&self.source).place(&self.source, moved.start).0);
            finding.span = Some(moved);
            if written.trim() != source.trim() && !written.trim().is_empty() {
                finding.hints.push(format!("filled, the line reads `{}`", written.trim()));
            }
        }
        for (span, _) in &mut finding.labels {
            *span = self.place(*span, &filled);
        }
        finding.in_text(path, &self.source)
    }

    /// The same words in the line of the skeleton, else the whole line.
    fn place(&self, span: Span, filled: &Lines) -> Span {
        let (line, _) = filled.place(&self.filled, span.start);
        let number = self.lines.get(line - 1).copied().unwrap_or(1);
        let before: usize =
            self.source.split_inclusive('\n').take(number.saturating_sub(1)).map(str::len).sum();
        let text = line_at(&self.source, number);
        let words = span.text(&self.filled).lines().next().unwrap_or_default().trim();
        match text.find(words).filter(|_| !words.is_empty()) {
            Some(at) => Span::new(before + at, before + at + words.len()),
            None => Span::new(before, before + text.len()),
        }
    }
}

/// A line by its number, without its end.
fn line_at(text: &str, number: usize) -> &str {
    text.lines().nth(number.saturating_sub(1)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_have_marks_where_text_begins() {
        let marks = |source: &str| with_marks(source).replace(OPEN, "[").replace(CLOSE, "]");
        assert_eq!(marks("a\n\n  b\n"), "[1]a\n\n[3]  b\n");
        assert_eq!(
            marks("  <% for x in y %>\n- <<x>>\n<% endfor %>\n"),
            "  <% for x in y %>\n[2]- <<x>>\n<% endfor %>\n"
        );
        assert_eq!(marks("<<x>> a\n"), "[1]<<x>> a\n");
        assert_eq!(marks("<% if a %>b<% endif %> c\n"), "<% if a %>[1]b<% endif %> c\n");
        assert_eq!(marks("<# one\n two #>\nc"), "<# one\n two #>\n[3]c");
    }
}
