//! Cautions as Markdown, for the top of a notebook, and the place where the report prints them.

use super::model::{Cautions, Hazard, Line, Template};
use super::required::{folded, headings};
use crate::notebook::blocks::{Block, BlockKind};
use crate::notebook::{Item, Notebook};
use crate::span::Span;
use pulldown_cmark::{Event, Tag, TagEnd};

/// How cautions end, everywhere.
pub const CLOSING: &str = "This is not a risk assessment. Check the current safety data sheet, and follow your \
    local rules and your instructor.";

/// The cautions as Markdown: a list and the closing lines; empty where there is none.
pub fn markdown(cautions: &Cautions) -> String {
    if cautions.is_empty() {
        return String::new();
    }
    let mut entries: Vec<String> = cautions.hazards.iter().map(hazard).collect();
    entries.extend(cautions.signs.iter().map(|sign| format!("**{}.** {}", sign.kind.label, sign.text)));
    entries.extend(cautions.gases.iter().map(line));
    entries.extend(cautions.general.iter().map(line));
    entries.extend(cautions.spills.iter().map(|spill| format!("**Spill.** {}", line(spill))));
    entries.extend(cautions.disposal.iter().map(|waste| format!("**Waste.** {}", line(waste))));
    let list: String = entries.iter().map(|entry| format!("- {}\n", escaped(entry))).collect();
    format!("{list}\n*{CLOSING}*\n")
}

/// `**Danger:** barium chloride dihydrate (solid). Toxic if swallowed. …`
fn hazard(hazard: &Hazard) -> String {
    let signal = hazard.signal.map_or(String::new(), |signal| format!("**{}:** ", signal.word()));
    let statements = hazard.statements.iter().chain(&hazard.precautions).map(|text| sentence(text));
    let statements: Vec<String> = statements.collect();
    format!("{signal}{} ({}). {}", hazard.substance, hazard.concentration, statements.join(" "))
}

fn line(line: &Line) -> String {
    if line.about.is_empty() { line.text.clone() } else { format!("{}: {}", capital(&line.about), line.text) }
}

/// A statement as a sentence.
fn sentence(text: &str) -> String {
    if text.ends_with(['.', '!']) { text.to_owned() } else { format!("{text}.") }
}

/// With its first letter large.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// Characters that Markdown or a notebook would take for something else, except the bold marks put here.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(c, '{' | '}' | '[' | ']' | '<' | '>' | '`' | '_' | '$' | '~') {
            escaped.push('\\');
        }
        escaped.push(c);
    }
    escaped
}

/// Makes room for the cautions in the report: under the heading of the procedure, else where the notebook has
/// them, else under the first heading. The lines that `start` wrote are not printed a second time; a changed one
/// is the notebook's own text and stays.
pub(super) fn place(notebook: &mut Notebook, template: &Template) {
    if template.cautions.is_empty() {
        return;
    }
    let written = markdown(&template.cautions);
    let own = notebook.text.find(written.trim_end()).map(|at| Span::new(at, at + written.len()));
    let at = place_under_procedure(notebook, &template.procedure)
        .or_else(|| own.and_then(|own| item_at(notebook, own)));
    let at = at.or_else(|| headings(notebook).first().map(|(_, index)| *index)).unwrap_or(0);
    let block = Block { span: Span::default(), content: Span::default(), kind: BlockKind::Cautions };
    notebook.items.insert(at, Item::Block(notebook.blocks.len()));
    notebook.blocks.push(block);
    if let Some(own) = own {
        let lone = lone_heading(notebook, own);
        let gone = |span: Span| own.contains(span) || lone.is_some_and(|heading| heading.contains(span));
        notebook.items.retain(|item| !matches!(item, Item::Event(_, span) if gone(*span)));
    }
}

/// The heading above a place, where nothing else stands below it.
fn lone_heading(notebook: &Notebook, place: Span) -> Option<Span> {
    let is_in = |item: &Item| matches!(item, Item::Event(_, span) if place.contains(*span));
    let first = notebook.items.iter().position(is_in)?;
    let last = notebook.items.iter().rposition(is_in)?;
    let heading = match notebook.items.get(first.checked_sub(1)?)? {
        Item::Event(Event::End(TagEnd::Heading(_)), span) => *span,
        _ => return None,
    };
    let next = notebook.items.get(last + 1);
    next.is_none_or(|item| matches!(item, Item::Event(Event::Start(Tag::Heading { .. }), _)))
        .then_some(heading)
}

/// The first byte of the heading of the procedure.
pub(super) fn procedure_at(notebook: &Notebook, procedure: &str) -> Option<usize> {
    let behind = place_under_procedure(notebook, procedure)?;
    match notebook.items.get(behind.checked_sub(1)?)? {
        Item::Event(_, span) => Some(span.start),
        _ => None,
    }
}

fn place_under_procedure(notebook: &Notebook, procedure: &str) -> Option<usize> {
    let found = headings(notebook).into_iter().find(|(text, _)| folded(text) == folded(procedure));
    found.map(|(_, index)| index)
}

/// The index of the first item within a place.
fn item_at(notebook: &Notebook, place: Span) -> Option<usize> {
    notebook.items.iter().position(|item| matches!(item, Item::Event(_, span) if place.contains(*span)))
}
