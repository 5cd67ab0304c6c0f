//! From an expression to the tree that is typeset: as written, and with the numbers put in.

use super::calculator::Calculator;
use super::formula_tree::{FormulaTree, Of};
use super::inline::own_unit;
use super::outcomes::Collector;
use super::scope::Side;
use crate::chemistry::Formula;
use crate::notebook::expression::{BinaryOperator, Expression, ExpressionKind, Function, Symbol, Word};
use crate::quantity::derivation::NodeId;
use crate::quantity::{Printed, Unit};

/// How the leaves of a formula are shown.
pub(super) enum Leaves<'a, 'b, 'c, 'n> {
    /// As symbols.
    Symbols,
    /// As numbers with their units, of one trial.
    Numbers {
        /// The trial, by index.
        trial: usize,
        /// Which side the formula stands on.
        side: Side,
        /// The quantities with their units.
        collector: &'a Collector<'b>,
        /// To look values up.
        calculator: &'a mut Calculator<'c, 'n>,
    },
}

/// A symbol with its entity, which is set as a chemical formula where it is one.
pub(super) fn symbol(symbol: &Symbol, trial: Option<&str>) -> FormulaTree {
    let share =
        |entity: &str| entity.split_once(" in ").is_some_and(|(_, whole)| Formula::parse(whole).is_ok());
    let chemical = |entity: &String| Formula::parse(entity).is_ok() || share(entity);
    FormulaTree::Symbol {
        name: symbol.name.clone(),
        entity: symbol.entity.clone(),
        formula: symbol.entity.as_ref().is_some_and(chemical),
        trial: trial.map(str::to_string),
    }
}

/// A symbol of a chemical formula, or of two.
pub(super) fn named(name: &str, entity: &str) -> FormulaTree {
    let (name, entity) = (name.to_string(), Some(entity.to_string()));
    FormulaTree::Symbol { name, entity, formula: true, trial: None }
}

/// The tree of a formula.
pub(super) fn tree(expression: &Expression, leaves: &mut Leaves) -> FormulaTree {
    if let Some(number) = value_of_leaf(expression, leaves) {
        return number;
    }
    match &expression.kind {
        ExpressionKind::Number { value, unit } => {
            let printed = Printed { digits: value.to_string(), exponent: None };
            let printed = split_exponent(printed);
            FormulaTree::Number {
                printed,
                unit: unit.clone().unwrap_or_else(Unit::one),
                guard: false,
                of: Of::default(),
            }
        }
        ExpressionKind::Quantity { symbol: of, trial } => {
            symbol(of, trial.as_ref().map(|t| t.value.as_str()))
        }
        ExpressionKind::MolarMass(text) => named("M", &text.value),
        ExpressionKind::Coefficient(text) => named("ν", &text.value),
        ExpressionKind::Factor(text) => named("factor", &text.value),
        ExpressionKind::Constant(constant) => {
            let name = match constant {
                crate::notebook::expression::Constant::Pi => "π",
                crate::notebook::expression::Constant::E => "e",
            };
            symbol(&Symbol { name: name.into(), entity: None }, None)
        }
        ExpressionKind::Negate(of) => FormulaTree::Negate(Box::new(tree(of, leaves))),
        ExpressionKind::Bracket(of) => FormulaTree::Bracket(Box::new(tree(of, leaves))),
        ExpressionKind::Binary(operator, left, right) => {
            binary(*operator, tree(left, leaves), tree(right, leaves))
        }
        ExpressionKind::Call(function, arguments) => {
            call(*function, arguments.iter().map(|argument| tree(argument, leaves)).collect())
        }
        ExpressionKind::Parts(parts) => FormulaTree::Call(
            "formula".into(),
            parts.iter().map(|(_, amount)| tree(amount, leaves)).collect(),
        ),
        ExpressionKind::Word(word, of) => FormulaTree::Call(word_text(*word).into(), vec![tree(of, leaves)]),
        ExpressionKind::Blank(of) => FormulaTree::Call("blank".into(), vec![tree(of, leaves)]),
    }
}

/// `1.2e3` as written becomes 1.2 × 10³.
fn split_exponent(printed: Printed) -> Printed {
    match printed.digits.split_once(['e', 'E']) {
        Some((digits, exponent)) => Printed { digits: digits.to_string(), exponent: exponent.parse().ok() },
        None => printed,
    }
}

fn binary(operator: BinaryOperator, left: FormulaTree, right: FormulaTree) -> FormulaTree {
    let (left, right) = (Box::new(left), Box::new(right));
    match operator {
        BinaryOperator::Add => FormulaTree::Add(left, right),
        BinaryOperator::Subtract => FormulaTree::Subtract(left, right),
        BinaryOperator::Multiply | BinaryOperator::Juxtapose => FormulaTree::Multiply(left, right),
        BinaryOperator::Divide => FormulaTree::Divide(left, right),
        BinaryOperator::Power => FormulaTree::Power(left, right),
    }
}

fn call(function: Function, mut arguments: Vec<FormulaTree>) -> FormulaTree {
    let name = match function {
        Function::Sqrt if arguments.len() == 1 => {
            return FormulaTree::SquareRoot(Box::new(arguments.remove(0)));
        }
        Function::Abs if arguments.len() == 1 => {
            return FormulaTree::Magnitude(Box::new(arguments.remove(0)));
        }
        Function::Sqrt => "sqrt",
        Function::Abs => "abs",
        Function::Ln => "ln",
        Function::Log10 => "log10",
        Function::Exp => "exp",
        Function::Min => "min",
        Function::Max => "max",
    };
    FormulaTree::Call(name.into(), arguments)
}

/// The word as it is written in a notebook.
pub(super) fn word_text(word: Word) -> &'static str {
    match word {
        Word::Mean => "mean",
        Word::StandardDeviation => "s",
        Word::Range => "range",
        Word::Theory => "theory",
        Word::PercentError => "percent error",
        Word::RelativeStandardDeviation => "relative s",
        Word::RelativeDifference => "relative difference",
        Word::AverageDeviation => "average deviation",
    }
}

/// Where numbers are put in: the value of a symbol, a molar mass or a word's quantity in the trial.
fn value_of_leaf(expression: &Expression, leaves: &mut Leaves) -> Option<FormulaTree> {
    let Leaves::Numbers { trial, side, collector, calculator } = leaves else { return None };
    let is_leaf = matches!(
        expression.kind,
        ExpressionKind::Quantity { .. }
            | ExpressionKind::MolarMass(_)
            | ExpressionKind::Factor(_)
            | ExpressionKind::Coefficient(_)
            | ExpressionKind::Word(..)
            | ExpressionKind::Blank(_)
    );
    if !is_leaf {
        return None;
    }
    let value = calculator.value(expression, *side);
    let unit = collector.fitting(own_unit(expression, collector), &value, calculator.graph);
    match value.at(*trial) {
        Ok(node) => Some(number(node, &unit, calculator)),
        Err(_) => Some(FormulaTree::Missing),
    }
}

/// A value with its unit: one guard digit where it has more digits than it is shown with.
pub(super) fn number(node: NodeId, unit: &Unit, calculator: &Calculator) -> FormulaTree {
    match calculator.printer().put_in(node, unit) {
        Some((printed, guard)) => {
            FormulaTree::Number { printed, unit: unit.clone(), guard, of: Of(Some(node)) }
        }
        None => FormulaTree::Missing,
    }
}

/// A value as printed in results, with its unit.
pub(super) fn result(printed: &Printed, unit: &Unit, node: Option<NodeId>) -> FormulaTree {
    FormulaTree::Number { printed: printed.clone(), unit: unit.clone(), guard: false, of: Of(node) }
}
