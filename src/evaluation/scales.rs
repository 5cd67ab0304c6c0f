//! Units that are no plain multiples of SI: temperatures with a zero of their own, and times in min or h.
//!
//! °C is shown and subtracted, never calculated with. A sum of times keeps the coarsest last place in the unit it
//! is written in, which no power of ten of a second is.

use super::Value;
use super::calculator::Calculator;
use super::scope::Side;
use crate::finding::{Code, Finding};
use crate::notebook::blocks::BlockKind;
use crate::notebook::expression::{BinaryOperator, Expression, ExpressionKind, Word};
use crate::quantity::derivation::Operation;
use crate::quantity::{Digits, Unit};
use crate::span::Span;

impl Calculator<'_, '_> {
    /// The unit a formula is written in, where its factor is no power of ten (`min`, `h`).
    pub(super) fn uneven_unit(&self, expression: &Expression, side: Side, depth: usize) -> Option<Unit> {
        let uneven =
            |unit: Option<&Unit>| unit.filter(|unit| !unit.is_decimal() && unit.zero().is_none()).cloned();
        match &expression.kind {
            ExpressionKind::Number { unit, .. } => uneven(unit.as_ref()),
            ExpressionKind::Bracket(of) => self.uneven_unit(of, side, depth),
            ExpressionKind::Binary(BinaryOperator::Add | BinaryOperator::Subtract, left, _) => {
                self.uneven_unit(left, side, depth)
            }
            ExpressionKind::Quantity { symbol, .. } => match self.scope.resolve(side, symbol) {
                Some(group) if depth < 16 && !self.scope.cyclic[group] => {
                    let line = self.scope.groups[group].definitions.first()?;
                    self.uneven_unit(line.expression.as_ref()?, self.scope.groups[group].side, depth + 1)
                }
                Some(_) => None,
                None => {
                    let row = self.scope.measured[self.scope.measured(symbol)?].row;
                    uneven(row.cells.iter().find_map(|cell| cell.unit.as_ref()).map(|unit| &unit.value))
                }
            },
            _ => None,
        }
    }

    /// A sum of two values written in one such unit: its last place is the coarser one in that unit.
    pub(super) fn sum_in(
        &mut self,
        operator: BinaryOperator,
        unit: &Unit,
        values: &[Value],
        span: Span,
    ) -> Value {
        self.apply(values, span, |q| {
            let (operation, mut sum) = match operator {
                BinaryOperator::Add => (Operation::Add, q[0].add(q[1])?),
                _ => (Operation::Subtract, q[0].sub(q[1])?),
            };
            let place = q[0].digits_in(unit).place().max(q[1].digits_in(unit).place());
            let leading = sum.number_in(unit)?.leading_power().zip(sum.number.leading_power());
            if let (Some(place), Some((in_unit, in_si)), true) = (place, leading, sum.digits.is_measured())
                && in_unit >= place
            {
                sum.digits = Digits::MeasuredFigures(in_si - (in_unit - place));
            }
            Ok((operation, sum))
        })
    }

    /// Whether a formula is a temperature on a scale with a zero of its own (°C), not a difference.
    pub(super) fn is_temperature(&self, expression: &Expression, side: Side) -> bool {
        self.is_scaled(expression, side, 0)
    }

    fn is_scaled(&self, expression: &Expression, side: Side, depth: usize) -> bool {
        let scale = |unit: Option<&Unit>| unit.is_some_and(|unit| unit.zero().is_some());
        match &expression.kind {
            ExpressionKind::Number { unit, .. } => scale(unit.as_ref()),
            ExpressionKind::Bracket(of) | ExpressionKind::Word(Word::Mean, of) => {
                self.is_scaled(of, side, depth)
            }
            ExpressionKind::Binary(BinaryOperator::Subtract, left, right) => {
                self.is_scaled(left, side, depth) && !self.is_scaled(right, side, depth)
            }
            ExpressionKind::Quantity { symbol, .. } => match self.scope.resolve(side, symbol) {
                // A name for a temperature is one; a circle of names was told before and has no value.
                Some(group) if depth < 16 && !self.scope.cyclic[group] => {
                    let lines = self.scope.groups[group].definitions.iter();
                    let side = self.scope.groups[group].side;
                    lines
                        .filter_map(|line| line.expression.as_ref())
                        .any(|e| self.is_scaled(e, side, depth + 1))
                }
                Some(_) => false,
                None => self.scope.measured(symbol).is_some_and(|index| self.measured_in_scale(index)),
            },
            _ => false,
        }
    }

    fn measured_in_scale(&self, index: usize) -> bool {
        let measured = &self.scope.measured[index];
        let of_block = match &self.notebook.blocks[measured.block].kind {
            BlockKind::Measured(block) => block.unit.as_ref(),
            _ => None,
        };
        let own = measured.row.cells.iter().filter_map(|cell| cell.unit.as_ref());
        own.chain(of_block).any(|unit| unit.value.zero().is_some())
    }

    pub(super) fn no_arithmetic(&mut self, span: Span) -> Value {
        let message = "a temperature in °C can only be shown or subtracted from another one";
        let finding = Finding::error(Code::DimensionMismatch, span, message);
        self.report(finding.hint("write it in K, or take the difference of two temperatures"));
        Value::missing("°C cannot be calculated with")
    }
}
