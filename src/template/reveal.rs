//! What a student's own `compute` and `report` show. A course's choice, not security: whoever knows the rules
//! can work everything out without the program.

use super::model::Reveal;
use crate::evaluation::results::{InlineResult, Origin, Outcome, QuantityResult, Results};
use crate::evaluation::symbol_of;
use crate::finding::Code;
use crate::notebook::Notebook;
use crate::notebook::expression::{Expression, ExpressionKind};
use std::collections::BTreeSet;

/// What is said in place of a value that is not shown.
fn reason(reveal: Reveal) -> &'static str {
    match reveal {
        Reveal::AfterClaim => "shown once it is claimed",
        _ => "not shown by the course's choice",
    }
}

/// Findings that would tell what is not shown.
const TELLING: [Code; 4] =
    [Code::MethodDiffers, Code::DefinitionDiffers, Code::Repeatability, Code::RoutesDisagree];

/// Whether a finding of this kind would tell a result that a template does not show.
pub(crate) fn tells_results(code: Code) -> bool {
    TELLING.contains(&code)
}

/// Takes out of the results what the template does not show.
pub(super) fn hide(notebook: &Notebook, reveal: Reveal, results: &mut Results) {
    if reveal == Reveal::All {
        return;
    }
    let claimed = if reveal == Reveal::AfterClaim { claimed(notebook) } else { BTreeSet::new() };
    let hidden = |quantity: &QuantityResult| {
        quantity.origin != Origin::Measured && !claimed.contains(&quantity.symbol)
    };
    let hidden_symbols: BTreeSet<String> = results
        .quantities
        .iter()
        .filter(|quantity| hidden(quantity))
        .map(|quantity| quantity.symbol.clone())
        .collect();
    let why = reason(reveal);
    results
        .quantities
        .iter_mut()
        .filter(|quantity| hidden(quantity))
        .for_each(|quantity| cover(quantity, why));
    let shown = |index: usize| results.quantities.get(index).is_some_and(|quantity| !hidden(quantity));
    results.worked.retain(|line| shown(line.quantity));
    results
        .mixtures
        .retain(|mixture| mixture.lines.iter().chain(&mixture.masses).all(|line| shown(line.quantity)));
    results.formulas.retain(|formula| claimed.contains(&formula.symbol));
    results.whole_numbers.retain(|whole| claimed.contains(&whole.symbol));
    results.yields.retain(|found| claimed.contains(&found.symbol));
    for (inline, result) in notebook.inline.iter().zip(&mut results.inline) {
        if inline.expression.as_ref().is_some_and(|expression| names_any(expression, &hidden_symbols)) {
            *result = InlineResult { values: Vec::new(), missing: Some(why.to_owned()) };
        }
    }
    results.findings.retain(|finding| !tells_results(finding.code));
}

fn cover(quantity: &mut QuantityResult, why: &str) {
    let cover = |outcome: &mut Outcome| *outcome = Outcome::Missing(why.to_owned());
    quantity.scalar.iter_mut().chain(&mut quantity.trials).for_each(cover);
    quantity.provisional = false;
    quantity.agreement = None;
    quantity.agreement_with_all = None;
    quantity.theory = None;
}

/// Every symbol that a claim is about.
fn claimed(notebook: &Notebook) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for block in &notebook.blocks {
        if let crate::notebook::blocks::BlockKind::Claimed(claimed) = &block.kind {
            // `mean w(water)`: the last word is the symbol.
            let symbol = |text: &str| symbol_of(text.rsplit(' ').next().unwrap_or(text)).to_string();
            found.extend(claimed.rows.iter().map(|row| symbol(&row.symbol.value)));
        }
    }
    let inline = notebook.inline.iter().filter(|inline| inline.claimed.is_some());
    for expression in inline.filter_map(|inline| inline.expression.as_ref()) {
        each_symbol(expression, &mut |symbol| {
            found.insert(symbol);
        });
    }
    found
}

fn names_any(expression: &Expression, symbols: &BTreeSet<String>) -> bool {
    let mut any = false;
    each_symbol(expression, &mut |symbol| any |= symbols.contains(&symbol));
    any
}

fn each_symbol(expression: &Expression, with: &mut impl FnMut(String)) {
    expression.clone().each(&mut |node| {
        if let ExpressionKind::Quantity { symbol, .. } = &node.kind {
            with(symbol.to_string());
        }
    });
}
