//! Moving what was read to another place, so that a template's text can be counted on from a notebook's.

use super::blocks::{Block, BlockKind, Definition, Mixture, Total};
use super::expression::{Expression, ExpressionKind};
use super::settings::{Air, Buoyancy, Room, Settings};
use crate::span::{Span, Spanned};

fn place(span: &mut Span, offset: usize) {
    *span = span.shifted(offset);
}

fn spanned<T>(value: &mut Spanned<T>, offset: usize) {
    place(&mut value.span, offset);
}

impl Block {
    /// Moves a block of formulas (`working`, `theory`, `reaction`, `mixture`) by some bytes.
    pub fn move_by(&mut self, offset: usize) {
        place(&mut self.span, offset);
        place(&mut self.content, offset);
        match &mut self.kind {
            BlockKind::Working(lines) | BlockKind::Theory(lines) => {
                lines.iter_mut().for_each(|line| line.move_by(offset));
            }
            BlockKind::Reaction(lines) => lines.iter_mut().for_each(|line| spanned(line, offset)),
            BlockKind::Mixture(mixture) => move_mixture(mixture, offset),
            _ => {}
        }
    }
}

fn move_mixture(mixture: &mut Mixture, offset: usize) {
    let total = |total: &mut Total| {
        place(&mut total.span, offset);
        total.known.iter_mut().for_each(|known| known.move_by(offset));
        total.parts.iter_mut().for_each(|part| spanned(part, offset));
    };
    mixture.totals.iter_mut().for_each(total);
    for change in &mut mixture.changes {
        spanned(&mut change.written, offset);
        spanned(&mut change.equation, offset);
        change.extent.iter_mut().for_each(|extent| extent.move_by(offset));
    }
}

impl Definition {
    /// Moves a line by some bytes.
    pub fn move_by(&mut self, offset: usize) {
        place(&mut self.span, offset);
        spanned(&mut self.symbol, offset);
        self.expression.iter_mut().for_each(|expression| expression.move_by(offset));
        self.unit.iter_mut().for_each(|unit| spanned(unit, offset));
    }
}

impl Expression {
    /// Moves a formula by some bytes.
    pub fn move_by(&mut self, offset: usize) {
        self.each(&mut |node| {
            place(&mut node.span, offset);
            match &mut node.kind {
                ExpressionKind::Quantity { trial, .. } => {
                    trial.iter_mut().for_each(|trial| spanned(trial, offset));
                }
                ExpressionKind::MolarMass(text)
                | ExpressionKind::Coefficient(text)
                | ExpressionKind::Factor(text) => spanned(text, offset),
                ExpressionKind::Parts(parts) => parts.iter_mut().for_each(|(part, _)| spanned(part, offset)),
                _ => {}
            }
        });
    }

    /// Does something with every node. Formulas are nested no deeper than their reader allows.
    pub fn each(&mut self, with: &mut impl FnMut(&mut Expression)) {
        with(self);
        match &mut self.kind {
            ExpressionKind::Negate(of)
            | ExpressionKind::Word(_, of)
            | ExpressionKind::Blank(of)
            | ExpressionKind::Bracket(of) => of.each(with),
            ExpressionKind::Binary(_, left, right) => {
                left.each(with);
                right.each(with);
            }
            ExpressionKind::Call(_, arguments) => arguments.iter_mut().for_each(|of| of.each(with)),
            ExpressionKind::Parts(parts) => parts.iter_mut().for_each(|(_, of)| of.each(with)),
            ExpressionKind::Number { .. }
            | ExpressionKind::Quantity { .. }
            | ExpressionKind::MolarMass(_)
            | ExpressionKind::Coefficient(_)
            | ExpressionKind::Factor(_)
            | ExpressionKind::Constant(_) => {}
        }
    }
}

impl Buoyancy {
    fn move_by(&mut self, offset: usize) {
        place(&mut self.span, offset);
        match &mut self.air {
            Some(Air::Given(density)) => place(&mut density.span, offset),
            Some(Air::Room(room)) => {
                let Room { temperature, pressure, humidity, carbon_dioxide } = room.as_mut();
                let measured = [temperature, pressure, humidity].into_iter().chain(carbon_dioxide);
                measured.for_each(|stated| place(&mut stated.span, offset));
            }
            None => {}
        }
        self.weights.iter_mut().for_each(|weights| place(&mut weights.span, offset));
        for (thing, density) in &mut self.densities {
            spanned(thing, offset);
            place(&mut density.span, offset);
        }
    }
}

impl Settings {
    /// Moves the rules that a template may set by some bytes.
    pub fn move_by(&mut self, offset: usize) {
        self.stated.iter_mut().for_each(|stated| spanned(stated, offset));
        self.constant_mass.iter_mut().for_each(|rule| spanned(rule, offset));
        self.uncertainty_form.iter_mut().for_each(|form| spanned(form, offset));
        self.repeatability.iter_mut().for_each(|limit| spanned(&mut limit.symbol, offset));
        self.balances.iter_mut().for_each(|balance| spanned(&mut balance.name, offset));
        self.atomic_weight_table.iter_mut().for_each(|table| spanned(table, offset));
        self.atomic_weights.iter_mut().for_each(|(element, _)| spanned(element, offset));
        self.molar_masses.iter_mut().for_each(|(formula, _)| spanned(formula, offset));
        self.method_repeatability.iter_mut().for_each(|known| spanned(&mut known.symbol, offset));
        self.limits.iter_mut().for_each(|limit| spanned(&mut limit.of, offset));
        for correlation in &mut self.correlations {
            correlation.between.iter_mut().for_each(|symbol| spanned(symbol, offset));
            spanned(&mut correlation.coefficient, offset);
        }
        self.buoyancy.iter_mut().for_each(|buoyancy| buoyancy.move_by(offset));
    }
}
