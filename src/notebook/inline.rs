//! Braces in running text: `{formula in unit}` and `{formula claimed 36.06 %}`.
//!
//! Braces that hold no formula at all stay text, with a note; one that was clearly meant as a formula and
//! cannot be read is an error. Meant is what has an operator, a bracket behind a word, `claimed`, a word of
//! the formula language before another word, or a single unit after `in`.

use super::InlineExpression;
use super::blocks::Cell;
use super::cells::{self, CellKind};
use super::context::Context;
use super::expression::reserved;
use super::passage::Passage;
use super::working::formula_with_unit;
use crate::finding::{Code, Finding};
use crate::span::Span;

/// Reads what stands from brace to brace; `None` where it is text.
pub(super) fn read(source: &str, span: Span, cx: &mut Context) -> Option<InlineExpression> {
    let inside = Passage::of(source, Span::new(span.start + 1, span.end.saturating_sub(1)));
    if inside.is_blank() {
        cx.push(text_note(span, "empty braces are text"));
        return None;
    }
    let before = cx.count();
    let (formula, claim) = split_claim(inside);
    let (expression, unit) = formula_with_unit(formula, cx);
    if cx.count() > before && claim.is_none() && !is_meant(inside.text) {
        cx.forget_after(before);
        cx.push(text_note(span, "these braces hold no formula and are text"));
        return None;
    }
    let claimed = claim.and_then(|claim| claimed_cell(claim, cx));
    Some(InlineExpression { span, expression, unit, claimed })
}

/// A note that braces were left as they are.
pub(super) fn text_note(span: Span, message: &str) -> Finding {
    Finding::note(Code::Braces, span, message).hint("write `\\{` for a brace that is meant as text")
}

/// The formula, and what follows the word `claimed` outside brackets.
fn split_claim(inside: Passage) -> (Passage, Option<Passage>) {
    let mut depth = 0usize;
    for word in inside.words() {
        if depth == 0 && word.text == "claimed" {
            let at = word.start - inside.start;
            return (inside.before(at), Some(inside.after(at + word.text.len())));
        }
        for c in word.text.chars() {
            match c {
                '(' | '[' => depth += 1,
                ')' | ']' => depth = depth.saturating_sub(1),
                _ => {}
            }
        }
    }
    (inside, None)
}

/// The one cell after `claimed`.
fn claimed_cell(claim: Passage, cx: &mut Context) -> Option<Cell> {
    let mut cells = cells::read(claim, CellKind::Claim, cx).cells;
    if cells.len() != 1 {
        let message =
            format!("{} values after `claimed`; expected one, such as `claimed 36.06 %`", cells.len());
        cx.push(Finding::error(Code::BadClaim, claim.span(), message));
        return None;
    }
    cells.pop()
}

/// Whether braces that hold no readable formula were meant to hold one.
fn is_meant(text: &str) -> bool {
    let text = text.trim();
    let words: Vec<&str> = text.split_whitespace().collect();
    let first = words.first().copied().unwrap_or("");
    let operator = text.contains(['*', '×', '÷', '^', '='])
        || words.iter().any(|word| matches!(*word, "+" | "-" | "−" | "/"));
    let applied = text.char_indices().any(|(at, c)| {
        c == '(' && text.get(..at).is_some_and(|before| before.ends_with(|c: char| c.is_alphanumeric()))
    });
    let prefix = words.len() == 2 && reserved(first, false) == Some("a word of formulas");
    let shown = matches!(words.as_slice(), [.., _, "in", _]) && words.len() == 3;
    let number = words.len() <= 2 && first.starts_with(|c: char| c.is_ascii_digit());
    operator || applied || prefix || shown || number
}
