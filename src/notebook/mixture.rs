//! `mixture`: totals that are known, what each is the sum of, and what becomes of each component.
//!
//! ```text
//! line     = total | equation
//! total    = [ label ":" ] formula "=" part { " + " part }
//! equation = reactants "->" products [ "," formula ]     the fraction that changes, where it is not all
//! ```
//!
//! The equations are kept as written: balancing belongs to the evaluation.

use super::blocks::{Mixture, MixtureChange, Total};
use super::context::Context;
use super::expression::Parser;
use super::passage::{Passage, fold_blanks, outside_brackets};
use crate::finding::{Code, Finding};
use crate::span::Spanned;

/// Reads the lines of a block.
pub(super) fn read(lines: &[Passage], cx: &mut Context) -> Mixture {
    let mut mixture = Mixture::default();
    for line in lines {
        if line.is_blank() || !cx.take_line(line.span()) {
            continue;
        }
        let line = line.trim();
        if ["->", "→", "⟶"].iter().any(|arrow| line.text.contains(arrow)) {
            mixture.changes.extend(change(line, cx));
        } else {
            mixture.totals.extend(total(line, cx));
        }
    }
    mixture
}

/// An equation and the fraction after the separator of arguments.
fn change(line: Passage, cx: &mut Context) -> Option<MixtureChange> {
    let separator = if cx.comma { ';' } else { ',' };
    let as_written = |text: Passage| Spanned::new(text.text.to_string(), text.span());
    let end = outside_brackets(line.text, separator).next();
    let extent = match end.map(|at| Parser::new(line.after(at + 1).trim(), cx.comma).formula(cx)) {
        Some(Err(finding)) => {
            cx.push(finding.hint("after the equation stands the fraction that changes, as in `, 92 %`"));
            return None;
        }
        Some(Ok(extent)) => Some(extent),
        None => None,
    };
    let equation = end.map_or(line, |at| line.before(at)).trim();
    Some(MixtureChange { written: as_written(line), equation: as_written(equation), extent })
}

fn total(line: Passage, cx: &mut Context) -> Option<Total> {
    let label = outside_brackets(line.text, ':').next();
    let body = label.map_or(line, |at| line.after(at + 1)).trim();
    let Some(equals) = outside_brackets(body.text, '=').next() else {
        let message = "expected a total `m(sample) = A + B` or an equation `A -> C + D`";
        cx.push(Finding::error(Code::BadLine, line.span(), message));
        return None;
    };
    let mut parser = Parser::new(body.before(equals).trim(), cx.comma);
    let known = match parser.formula(cx) {
        Ok(known) => Some(known),
        Err(finding) => {
            cx.push(*finding);
            None
        }
    };
    let parts = parts(body.after(equals + 1));
    if parts.is_empty() {
        let message = "expected what the total is the sum of";
        cx.push(
            Finding::error(Code::BadLine, line.span(), message)
                .hint("write it as `m(sample) = MgCO3 + CaCO3`"),
        );
    }
    Some(Total { span: line.span(), known, parts })
}

/// The parts of a sum, joined by ` + `.
fn parts(sum: Passage) -> Vec<Spanned<String>> {
    let mut parts = Vec::new();
    let mut start = 0;
    let joins = |at: usize| {
        let blank = |c: Option<char>| c.is_none_or(char::is_whitespace);
        blank(sum.text[..at].chars().last()) && blank(sum.text[at + 1..].chars().next())
    };
    let joints: Vec<usize> = outside_brackets(sum.text, '+').filter(|at| joins(*at)).collect();
    for end in joints.into_iter().chain([sum.text.len()]) {
        let part = sum.slice(start..end).trim();
        if !part.is_blank() {
            parts.push(Spanned::new(fold_blanks(part.text).into_owned(), part.span()));
        }
        start = (end + 1).min(sum.text.len());
    }
    parts
}
