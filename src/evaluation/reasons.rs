//! Why a value fixed by chemistry is what it is, as lines of the worked calculation: a gravimetric factor as the
//! quotient of two molar masses, a mass fraction of a formula, each before the first line that uses it; and the
//! comparison of the reagents before a theoretical yield.

use super::calculator::Calculator;
use super::formula_tree::FormulaTree;
use super::limiting;
use super::outcomes::Collector;
use super::results::WorkedLine;
use super::scope::Side;
use super::tabulated::Reasoned;
use super::trees::{self, Leaves};
use super::worked::exact;
use crate::chemistry::Formula;
use crate::notebook::blocks::Definition;
use crate::notebook::expression::{Expression, ExpressionKind, Symbol};
use crate::quantity::Unit;
use crate::quantity::derivation::NodeId;
use crate::span::{Span, Spanned};
use dashu_ratio::RBig;
use std::collections::BTreeSet;

/// Adds the lines that explain parts of a formula, each once in the whole calculation.
pub(super) fn of(
    expression: &Expression,
    side: Side,
    explained: &mut BTreeSet<String>,
    lines: &mut Vec<WorkedLine>,
    calculator: &mut Calculator,
) {
    let mut parts = Vec::new();
    to_explain(expression, &mut parts);
    for part in parts {
        let symbol = symbol_of(part);
        let Some(reasoned) = calculator.reason(&symbol).cloned() else { continue };
        if explained.insert(symbol) {
            lines.push(line(part, &reasoned, side, calculator));
        }
    }
}

fn symbol_of(expression: &Expression) -> String {
    match &expression.kind {
        ExpressionKind::Factor(text) => format!("factor({})", text.value),
        ExpressionKind::Quantity { symbol, .. } => symbol.to_string(),
        _ => String::new(),
    }
}

/// The factors and quantities of a formula, from left to right.
fn to_explain<'e>(expression: &'e Expression, found: &mut Vec<&'e Expression>) {
    match &expression.kind {
        ExpressionKind::Factor(_) | ExpressionKind::Quantity { .. } => found.push(expression),
        ExpressionKind::Negate(of)
        | ExpressionKind::Bracket(of)
        | ExpressionKind::Blank(of)
        | ExpressionKind::Word(_, of) => to_explain(of, found),
        ExpressionKind::Binary(_, left, right) => {
            to_explain(left, found);
            to_explain(right, found);
        }
        ExpressionKind::Call(_, arguments) => {
            arguments.iter().for_each(|argument| to_explain(argument, found));
        }
        ExpressionKind::Parts(parts) => parts.iter().for_each(|(_, amount)| to_explain(amount, found)),
        _ => {}
    }
}

/// `factor(MgCO3, Mg2P2O7) = 2 M(MgCO3)/M(Mg2P2O7) = 2 × 84.313 g/mol / 222.551 g/mol = 0.75770`
fn line(of: &Expression, reasoned: &Reasoned, side: Side, calculator: &mut Calculator) -> WorkedLine {
    let factor = &reasoned.factor;
    let value = calculator.value(of, side).at(0);
    let value = value.map_or(FormulaTree::Missing, |node| trees::number(node, &Unit::one(), calculator));
    let numbers = quotient(
        &factor.ratio,
        molar_mass(&factor.analyte, of.span, calculator),
        molar_mass(&factor.weighed, of.span, calculator),
    );
    WorkedLine {
        quantity: usize::MAX,
        symbol: trees::tree(of, &mut Leaves::Symbols),
        formula: quotient(&factor.ratio, symbol(&factor.analyte), symbol(&factor.weighed)),
        substituted: Some(numbers),
        result: Some(value),
        missing: None,
        theory: side == Side::Theory,
        reason: Some(reasoned.reason.clone()),
    }
}

/// n/ν of each reagent of a yield, with the verdict beside the one that limits.
pub(super) fn of_yield(
    definition: &Definition,
    side: Side,
    trial: usize,
    lines: &mut Vec<WorkedLine>,
    collector: &Collector,
    calculator: &mut Calculator,
) {
    let Some(ExpressionKind::Parts(parts)) = definition.expression.as_ref().map(|e| &e.kind) else { return };
    let Some(yielding) = calculator.yielding(&definition.symbol.value.to_string()).cloned() else { return };
    let verdict = limiting::verdict(&yielding, trial, calculator);
    for (index, ((_, amount), reagent)) in parts.iter().zip(&yielding.reagents).enumerate() {
        let under = |molar_mass: FormulaTree| match (reagent.by_mass, reagent.nu == RBig::ONE) {
            (true, true) => Some(molar_mass),
            (true, false) => Some(times(exact(&reagent.nu), molar_mass)),
            (false, true) => None,
            (false, false) => Some(exact(&reagent.nu)),
        };
        let over = |over, under| match under {
            Some(under) => FormulaTree::Divide(Box::new(over), Box::new(under)),
            None => over,
        };
        let mass = molar_mass(&reagent.formula, definition.span, calculator);
        let formula = over(trees::tree(amount, &mut Leaves::Symbols), under(symbol(&reagent.formula)));
        let mut leaves = Leaves::Numbers { trial, side, collector, calculator };
        let substituted = over(trees::tree(amount, &mut leaves), under(mass));
        let node = reagent.per_nu.at(trial);
        let shown = |node| shown(node, calculator);
        let said = verdict.as_ref().filter(|verdict| verdict.limiting.first() == Some(&index));
        let said = said.map(|verdict| limiting::said(&yielding, verdict, calculator));
        lines.push(WorkedLine {
            quantity: usize::MAX,
            symbol: per_nu(&reagent.formula),
            formula,
            substituted: Some(substituted),
            result: node.clone().ok().and_then(shown),
            missing: node.err().map(|reason| reason.to_string()),
            theory: side == Side::Theory,
            reason: said,
        });
    }
}

/// The yield itself: ν(product) M(product) times the smallest n/ν.
#[allow(clippy::too_many_arguments)] // what a worked line is made of
pub(super) fn yield_line(
    index: usize,
    definition: &Definition,
    side: Side,
    trial: usize,
    result: Option<FormulaTree>,
    missing: Option<String>,
    calculator: &mut Calculator,
) -> Option<WorkedLine> {
    let yielding = calculator.yielding(&definition.symbol.value.to_string()).cloned()?;
    let verdict = limiting::verdict(&yielding, trial, calculator);
    let reagent = verdict.and_then(|verdict| yielding.reagents.get(*verdict.limiting.first()?));
    let least = |tree| times_nu(&yielding.nu, tree);
    let mass = molar_mass(&yielding.product, definition.span, calculator);
    let number =
        yielding.least.at(trial).ok().map(|node| trees::number(node, &limiting::millimole(), calculator));
    let substituted = number.map(|number| times(least(number), mass));
    let smallest = reagent.map_or(FormulaTree::Missing, |reagent| per_nu(&reagent.formula));
    Some(WorkedLine {
        quantity: index,
        symbol: trees::named("yield", definition.symbol.value.entity.as_deref().unwrap_or("")),
        formula: times(least(smallest), symbol(&yielding.product)),
        substituted,
        result,
        missing,
        theory: side == Side::Theory,
        reason: Some(yielding.equation.clone()).filter(|_| definition.remark.is_none()),
    })
}

fn times_nu(nu: &RBig, tree: FormulaTree) -> FormulaTree {
    if *nu == RBig::ONE { tree } else { times(exact(nu), tree) }
}

fn times(a: FormulaTree, b: FormulaTree) -> FormulaTree {
    FormulaTree::Multiply(Box::new(a), Box::new(b))
}

/// `n(BaCl2)/ν(BaCl2)`
fn per_nu(formula: &Formula) -> FormulaTree {
    let of = |name: &str| Box::new(trees::named(name, &formula.text()));
    FormulaTree::Divide(of("n"), of("ν"))
}

/// n/ν as it is printed in results.
fn shown(node: NodeId, calculator: &Calculator) -> Option<FormulaTree> {
    let figure = calculator.printer().figure(node, &limiting::millimole())?;
    Some(trees::result(&figure.printed, &limiting::millimole(), None))
}

fn quotient(ratio: &RBig, over: FormulaTree, under: FormulaTree) -> FormulaTree {
    let fraction = |over| FormulaTree::Divide(Box::new(over), Box::new(under));
    if *ratio == RBig::ONE {
        return fraction(over);
    }
    let whole = *ratio.denominator() == 1u8.into();
    if whole { fraction(times(exact(ratio), over)) } else { times(exact(ratio), fraction(over)) }
}

fn symbol(formula: &Formula) -> FormulaTree {
    trees::symbol(&Symbol { name: "M".into(), entity: Some(formula.text()) }, None)
}

/// The molar mass of a formula as a number.
fn molar_mass(formula: &Formula, place: Span, calculator: &mut Calculator) -> FormulaTree {
    let node = calculator.molar_mass_of(&Spanned::new(formula.text(), place));
    match (node, Unit::parse("g/mol")) {
        (Ok(node), Ok(unit)) => trees::number(node, &unit, calculator),
        _ => FormulaTree::Missing,
    }
}
