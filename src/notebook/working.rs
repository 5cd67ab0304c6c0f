//! `working` and `theory`: one definition a line.
//!
//! ```text
//! line   = symbol "=" formula [ "in" unit ] [ "#" remark ]
//!        | "formula(" name ")" "=" part { "," part } [ "#" remark ]
//!        | "yield(" product ")" "=" part { "," part } [ "in" unit ] [ "#" remark ]
//! part   = chemical formula ":" formula
//! ```
//!
//! A line that cannot be read becomes a finding at its place; where at least the symbol is clear, the
//! definition stays with no formula, so that whatever needs it can say so.

use super::blocks::{Cell, CellValue, Definition, Uncertainty};
use super::cells::{self, CellKind};
use super::context::{self, Context};
use super::expression::{Expression, ExpressionKind, Parser, Symbol, reserved};
use super::passage::{Passage, outside_brackets};
use crate::chemistry::looks_like_formula;
use crate::finding::{Code, Finding};
use crate::quantity::Unit;
use crate::span::Spanned;

/// Reads the lines of a block.
pub(super) fn read(lines: &[Passage], cx: &mut Context) -> Vec<Definition> {
    let mut definitions = Vec::new();
    for line in lines {
        if !line.is_blank() && cx.take_line(line.span()) {
            definitions.extend(definition(line.trim(), cx));
        }
    }
    definitions
}

/// One line; `None` where no symbol is defined.
fn definition(line: Passage, cx: &mut Context) -> Option<Definition> {
    let (body, remark) = split_remark(line);
    if body.is_blank() {
        return None;
    }
    let Some(equals) = outside_brackets(body.text, '=').next() else {
        cx.push(no_equals(body));
        return None;
    };
    let symbol = defined_symbol(body.before(equals).trim(), cx)?;
    let mut cell = None;
    let (expression, unit) = match symbol.value.name.as_str() {
        "formula" => (sought(body.after(equals + 1).trim(), cx), None),
        "yield" if outside_brackets(body.after(equals + 1).text, ':').next().is_some() => {
            let (parts, unit) = split_unit(body.after(equals + 1));
            (sought(parts.trim(), cx), unit.and_then(|unit| shown_unit(unit.trim(), cx)))
        }
        _ if is_stated(body.after(equals + 1)) => {
            let stated = stated(body.after(equals + 1), cx);
            cell = stated.cell;
            (stated.expression, stated.unit)
        }
        _ => formula_with_unit(body.after(equals + 1), cx),
    };
    Some(Definition { span: line.span(), symbol, expression, stated: cell, unit, remark })
}

/// Whether a right-hand side holds `±`.
fn is_stated(text: Passage) -> bool {
    outside_brackets(text.text, '±').next().is_some() || text.text.contains("+/-")
}

/// A number with its uncertainty.
#[derive(Default)]
struct Stated {
    expression: Option<Expression>,
    cell: Option<Box<Cell>>,
    unit: Option<Spanned<Unit>>,
}

/// `36.1 ± 0.2 %  in %`, in the form of a cell of `measured`.
fn stated(text: Passage, cx: &mut Context) -> Stated {
    let (text, unit) = split_unit(text);
    let unit = unit.and_then(|unit| shown_unit(unit.trim(), cx));
    let said = cx.count();
    let mut found = cells::read(text.trim(), CellKind::Measured, cx).cells;
    match (found.pop(), found.is_empty()) {
        (Some(mut cell), true)
            if matches!(cell.value, CellValue::Number(_)) && !cell.uncertainty.is_empty() =>
        {
            // `36.1 ± 0.2 %`: the unit behind the uncertainty is that of both.
            let other = cell.uncertainty.iter().find_map(|uncertainty| uncertainty.unit.clone());
            let span = cell.span;
            let own = cell.unit.get_or_insert_with(|| Spanned::new(other.unwrap_or_else(Unit::one), span));
            let own = own.value.clone();
            let unlike = |uncertainty: &&Uncertainty| {
                uncertainty.unit.as_ref().is_some_and(|unit| unit.dimension() != own.dimension())
            };
            if let Some(uncertainty) = cell.uncertainty.iter().find(unlike) {
                let message = format!("an uncertainty of another kind than its value in {}", own.symbol());
                cx.push(Finding::error(Code::DimensionMismatch, uncertainty.span, message));
                return Stated { unit, ..Stated::default() };
            }
            let CellValue::Number(value) = cell.value.clone() else { return Stated::default() };
            let number = text.before(outside_brackets(text.text, '±').next().unwrap_or(text.text.len()));
            let kind = ExpressionKind::Number { value, unit: Some(own).filter(|own| !own.is_one()) };
            let expression = Expression { kind, span: number.trim().span() };
            Stated { expression: Some(expression), cell: Some(Box::new(cell)), unit }
        }
        _ => {
            if cx.count() == said {
                let message = "`±` stands only behind a number";
                let finding = Finding::error(Code::SyntaxError, text.trim().span(), message);
                cx.push(finding.hint("write `w(water) = 36.1 ± 0.2 %`, and formulas without it"));
            }
            Stated { unit, ..Stated::default() }
        }
    }
}

/// The parts of a yield and what follows the last ` in `.
fn split_unit(text: Passage) -> (Passage, Option<Passage>) {
    match text.text.rfind(" in ") {
        Some(at) => (text.before(at), Some(text.after(at + " in ".len()))),
        None => (text, None),
    }
}

/// A line without `=`.
fn no_equals(body: Passage) -> Finding {
    let finding =
        Finding::error(Code::BadLine, body.trim().span(), "expected `symbol = formula`, found no `=`");
    if outside_brackets(body.text, ':').next().is_some() {
        return finding.hint(
            "readings and claimed values (`label: values`) stand in `masses`, `measured` or `claimed`",
        );
    }
    finding.hint("text for the reader stands outside the block, or after `#`")
}

/// The line and what follows the first `#` outside brackets.
fn split_remark(line: Passage) -> (Passage, Option<String>) {
    match outside_brackets(line.text, '#').next() {
        Some(at) => {
            let remark = line.after(at + 1).trim().text.to_owned();
            (line.before(at), Some(remark).filter(|remark| !remark.is_empty()))
        }
        None => (line, None),
    }
}

/// The symbol on the left of `=`, if it may be defined.
fn defined_symbol(text: Passage, cx: &mut Context) -> Option<Spanned<Symbol>> {
    let symbol = match Parser::new(text, cx.comma).symbol() {
        Ok(symbol) => symbol,
        Err(finding) => {
            cx.push(*finding);
            return None;
        }
    };
    match cannot_be_defined(&symbol) {
        Some(finding) => {
            cx.push(finding);
            None
        }
        None => Some(symbol),
    }
}

/// Why a symbol means something already.
fn cannot_be_defined(symbol: &Spanned<Symbol>) -> Option<Finding> {
    let Symbol { name, entity } = &symbol.value;
    if let Some(kind) = reserved(name, entity.is_some()) {
        let message = format!("`{}` cannot be defined: it is {kind}", symbol.value);
        let hint =
            format!("choose another name, such as `{name}_1`, or one with an entity, such as `x({name})`");
        return Some(Finding::error(Code::ReservedName, symbol.span, message).hint(hint));
    }
    let formula = entity.as_deref().filter(|text| name == "M" && looks_like_formula(text))?;
    let message = format!("`M({formula})` cannot be defined: it follows from the atomic weights");
    let hint = "state a value of your own under `[molar-masses]` of the `experiment` block";
    Some(Finding::error(Code::ReservedName, symbol.span, message).hint(hint))
}

/// A formula and the unit after `in`; findings say what could not be read.
pub(super) fn formula_with_unit(
    text: Passage,
    cx: &mut Context,
) -> (Option<Expression>, Option<Spanned<Unit>>) {
    let mut parser = Parser::new(text, cx.comma);
    match parser.formula(cx) {
        Ok(expression) if parser.take_word("in") => (Some(expression), shown_unit(parser.rest().trim(), cx)),
        Ok(expression) => {
            let rest = parser.rest().trim();
            if !rest.is_blank() {
                let message = "`claimed` stands only in braces in the text";
                cx.push(Finding::error(Code::SyntaxError, rest.span(), message));
            }
            (Some(expression), None)
        }
        Err(finding) => {
            cx.push(*finding);
            (None, None)
        }
    }
}

/// The parts of a formula that is sought, `part: amount` parted by commas (semicolons where the comma is the
/// decimal mark).
fn sought(text: Passage, cx: &mut Context) -> Option<Expression> {
    let separator = if cx.comma { ';' } else { ',' };
    let ends: Vec<usize> = outside_brackets(text.text, separator).chain([text.text.len()]).collect();
    let mut parts = Vec::new();
    let mut start = 0;
    for end in ends {
        let part = text.slice(start..end).trim();
        start = (end + 1).min(text.text.len());
        let Some(colon) = outside_brackets(part.text, ':').next() else {
            let message = "expected `part: amount`, as in `formula(oxide) = Mg: n(magnesium), O: n(oxygen)` or \
                           `yield(BaSO4) = BaCl2: m(chloride), Na2SO4: m(sulfate)`";
            cx.push(Finding::error(Code::SyntaxError, part.span(), message));
            return None;
        };
        let name = part.before(colon).trim();
        match Parser::new(part.after(colon + 1).trim(), cx.comma).formula(cx) {
            Ok(amount) => parts.push((Spanned::new(name.text.to_owned(), name.span()), amount)),
            Err(finding) => {
                cx.push(*finding);
                return None;
            }
        }
    }
    Some(Expression { kind: ExpressionKind::Parts(parts), span: text.span() })
}

/// The unit after `in`.
pub(super) fn shown_unit(text: Passage, cx: &mut Context) -> Option<Spanned<Unit>> {
    match context::unit(text) {
        Ok(unit) => Some(Spanned::new(unit, text.span())),
        Err(finding) => {
            cx.push(*finding);
            None
        }
    }
}
