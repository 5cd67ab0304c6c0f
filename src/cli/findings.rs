//! Findings as people read them: over excerpts of the notebook, or plainly, one a line.

use super::Ending;
use crate::evaluation::count;
pub(super) use crate::finding::without_controls;
use crate::finding::{Finding, Severity};
use crate::span::{Lines, Span};
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use std::io::{IsTerminal, Write};

/// Most findings printed of one notebook; the rest are counted.
const MOST: usize = 200;

/// How findings are said on this standard error.
pub(super) struct Voice {
    plain: bool,
    coloured: bool,
}

impl Voice {
    pub(super) fn new(plain: bool) -> Self {
        let no_color = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Voice { plain, coloured: !plain && !no_color && std::io::stderr().is_terminal() }
    }

    /// Prints the findings of a notebook and tells how the command ends.
    pub(super) fn say(&self, name: &str, text: &str, findings: &[Finding]) -> Ending {
        let mut output = String::new();
        let lines = Lines::of(text);
        for finding in findings.iter().take(MOST) {
            let one = if self.plain {
                plain(name, text, &lines, finding)
            } else {
                self.excerpt(name, text, &lines, finding)
            };
            output.push_str(&one);
            output.push('\n');
        }
        if findings.len() > MOST {
            output.push_str(&format!("{name}: {} more findings are not printed\n", findings.len() - MOST));
        }
        output.push_str(&summary(name, findings));
        drop(std::io::stderr().lock().write_all(output.as_bytes()));
        ending(findings)
    }

    fn excerpt(&self, name: &str, text: &str, lines: &Lines, finding: &Finding) -> String {
        let level = match finding.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
            Severity::Note => Level::NOTE,
        };
        let title = level.primary_title(without_controls(&finding.message)).id(finding.code.text());
        let place = finding.span.filter(|_| finding.file.is_none());
        let mut group = match place {
            Some(span) => title.element(snippet(name, text, lines, span, &finding.labels)),
            None => {
                let file = finding.elsewhere().unwrap_or_else(|| name.to_owned());
                title.element(annotate_snippets::Origin::path(without_controls(&file)))
            }
        };
        for hint in &finding.hints {
            group = group.element(Level::HELP.message(without_controls(hint)));
        }
        let report: &[Group] = &[group];
        let renderer = if self.coloured { Renderer::styled() } else { Renderer::plain() };
        let mut rendered = renderer.render(report).to_string();
        rendered.push('\n');
        rendered
    }
}

/// How a command ends with these findings.
pub(super) fn ending(findings: &[Finding]) -> Ending {
    match count(findings) {
        (0, 0) => Ending::Clean,
        _ => Ending::Found,
    }
}

fn summary(name: &str, findings: &[Finding]) -> String {
    let (errors, warnings) = count(findings);
    let notes = findings.len() - errors - warnings;
    let parts = [(errors, "error"), (warnings, "warning"), (notes, "note")];
    let said: Vec<String> = parts
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}{}", if *count == 1 { "" } else { "s" }))
        .collect();
    if said.is_empty() { String::new() } else { format!("{}: {}\n", without_controls(name), said.join(", ")) }
}

/// `name:line:column: severity: message [code]`, hints after it.
fn plain(name: &str, text: &str, lines: &Lines, finding: &Finding) -> String {
    let place = match (finding.elsewhere(), finding.span) {
        (Some(place), _) => place,
        (None, Some(span)) => {
            let (line, column) = lines.place(text, span.start);
            format!("{name}:{line}:{column}")
        }
        (None, None) => name.to_string(),
    };
    let mut said =
        format!("{place}: {}: {} [{}]", finding.severity.word(), finding.message, finding.code.text());
    for (span, label) in &finding.labels {
        let (line, _) = lines.place(text, span.start);
        said.push_str(&format!("; line {line}: {label}"));
    }
    for hint in &finding.hints {
        said.push_str(&format!("; {hint}"));
    }
    without_controls(&said)
}

/// The lines of a place and of its labels, with their ranges clamped to them.
fn snippet<'a>(
    name: &'a str,
    text: &'a str,
    lines: &Lines,
    span: Span,
    labels: &'a [(Span, String)],
) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    let near = |label: &&(Span, String)| {
        let line = |span: Span| lines.place(text, span.start).0;
        line(label.0).abs_diff(line(span)) < 200
    };
    let labels: Vec<&(Span, String)> = labels.iter().filter(near).collect();
    let start =
        labels.iter().map(|(span, _)| span.start).chain([span.start]).min().unwrap_or(0).min(text.len());
    let end = labels.iter().map(|(span, _)| span.end).chain([span.end]).max().unwrap_or(0).min(text.len());
    let start = text.as_bytes()[..start].iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1);
    let end = text.as_bytes()[end..].iter().position(|byte| *byte == b'\n').map_or(text.len(), |at| end + at);
    let source = &text[start..end];
    let mut snippet = Snippet::source(source)
        .path(name)
        .line_start(lines.place(text, start).0)
        .annotation(AnnotationKind::Primary.span(within(source, span, start)));
    for (span, label) in labels {
        snippet = snippet.annotation(AnnotationKind::Context.span(within(source, *span, start)).label(label));
    }
    snippet
}

/// A range relative to an excerpt, within it and on whole characters.
fn within(source: &str, span: Span, offset: usize) -> std::ops::Range<usize> {
    let floor = |mut at: usize| {
        at = at.min(source.len());
        while !source.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let start = floor(span.start.saturating_sub(offset));
    start..floor(span.end.saturating_sub(offset)).max(start)
}
