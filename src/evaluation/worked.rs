//! The worked calculation of one trial: each formula, the numbers put in, the result.

use super::Value;
use super::calculator::Calculator;
use super::formula_tree::{FormulaTree, Of};
use super::mixture::{Made, Solved, Term};
use super::outcomes::Collector;
use super::reasons;
use super::results::{MixtureResult, Origin, Outcome, SolvedMixture, WorkedLine};
use super::scope::Side;
use super::trees::{self, Leaves};
use crate::notebook::blocks::{Definition, Total};
use crate::notebook::expression::{Expression, ExpressionKind, Symbol};
use crate::quantity::{Digits, Rounding, Unit};
use dashu_int::IBig;
use dashu_ratio::RBig;
use std::collections::BTreeSet;

/// The lines of the worked calculation, and the trial they are of (`None` if all are scalars).
pub(super) fn lines(collector: &Collector, calculator: &mut Calculator) -> (Vec<WorkedLine>, Option<usize>) {
    let trial = choose_trial(collector);
    let scope = calculator.scope;
    let mut lines = Vec::new();
    let mut explained = BTreeSet::new();
    for group in &scope.groups {
        let Some((quantity, _)) = collector.quantity(&group.symbol.to_string()) else { continue };
        for definition in &group.definitions {
            if let Some(expression) = &definition.expression {
                reasons::of(expression, group.side, &mut explained, &mut lines, calculator);
                let trial = trial.unwrap_or(0);
                reasons::of_yield(definition, group.side, trial, &mut lines, collector, calculator);
            }
            lines.extend(line(quantity, definition, group.side, trial.unwrap_or(0), collector, calculator));
        }
    }
    let quantity = |line: &WorkedLine| collector.quantities.get(line.quantity);
    let per_trial = |line: &WorkedLine| quantity(line).is_some_and(|quantity| !quantity.trials.is_empty());
    let trial = trial.filter(|_| lines.iter().any(per_trial));
    (lines, trial)
}

/// The equations of the mixtures, in one trial.
pub(super) fn mixtures(
    trial: usize,
    collector: &Collector,
    calculator: &mut Calculator,
) -> Vec<MixtureResult> {
    let mixtures = calculator.scope.mixtures.clone();
    let mut results = Vec::new();
    for (index, (mixture, span)) in mixtures.into_iter().enumerate() {
        let Some(solved) = calculator.solved(index).cloned() else { continue };
        let lines = mixture.totals.iter().zip(&solved.totals);
        let lines = lines.filter_map(|(total, (value, terms))| {
            total_line(total, value, terms, trial, collector, calculator)
        });
        let lines: Vec<WorkedLine> = lines.collect();
        let masses = solved.totals.first().map_or(&[][..], |(_, terms)| terms).iter().zip(&solved.masses);
        let masses = masses
            .map(|(term, value)| mass_line(&term.component, value, trial, collector, calculator))
            .collect();
        let solved = equations(&solved, calculator.trials.len());
        results.push(MixtureResult { span, lines, masses, solved });
    }
    results
}

/// The equations of a mixture in every trial that has its masses.
fn equations(solved: &Solved, trials: usize) -> Vec<SolvedMixture> {
    let all = |values: &mut dyn Iterator<Item = &Value>, trial: usize| {
        values.map(|value| value.at(trial).ok()).collect::<Option<Vec<_>>>()
    };
    let in_trial = |trial: usize| {
        Some(SolvedMixture {
            totals: all(&mut solved.totals.iter().map(|(total, _)| total), trial)?,
            coefficients: solved
                .totals
                .iter()
                .map(|(_, terms)| terms.iter().map(|term| term.coefficient).collect())
                .collect(),
            masses: all(&mut solved.masses.iter(), trial)?,
        })
    };
    (0..trials.max(1)).filter_map(in_trial).collect()
}

fn total_line(
    total: &Total,
    value: &Value,
    terms: &[Term],
    trial: usize,
    collector: &Collector,
    calculator: &Calculator,
) -> Option<WorkedLine> {
    let symbol = trees::tree(total.known.as_ref()?, &mut Leaves::Symbols);
    let present = || terms.iter().filter(|term| term.itself.is_some() || !term.products.is_empty());
    let formula = sum(present().map(|term| times_mass(counted(term, calculator), &term.component)))?;
    let number = |term: &Term| trees::number(term.coefficient, &Unit::one(), calculator);
    let with_numbers = sum(present().map(|term| {
        let number = (!term.products.is_empty()).then(|| number(term));
        times_mass(number, &term.component)
    }))?;
    let substituted = (with_numbers != formula).then_some(with_numbers);
    let (result, missing) = value_tree(value, trial, collector, calculator);
    Some(WorkedLine {
        quantity: usize::MAX,
        symbol,
        formula,
        substituted,
        result,
        missing,
        theory: false,
        reason: None,
    })
}

/// What stands before the mass of a component: ν M(product)/M(component) for each product, times the fraction that
/// becomes it, and the share that stays itself.
fn counted(term: &Term, calculator: &Calculator) -> Option<FormulaTree> {
    let molar_mass =
        |formula: &str| trees::symbol(&Symbol { name: "M".into(), entity: Some(formula.into()) }, None);
    let times = |a: FormulaTree, b: FormulaTree| FormulaTree::Multiply(Box::new(a), Box::new(b));
    let share = |node| trees::number(node, &Unit::one(), calculator);
    let fraction = |made: &Made| {
        let upper = molar_mass(&made.formula);
        let upper = if made.ratio == RBig::ONE { upper } else { times(exact(&made.ratio), upper) };
        let whole = FormulaTree::Divide(Box::new(upper), Box::new(molar_mass(&term.component)));
        made.extent.map_or(whole.clone(), |extent| times(share(extent), whole))
    };
    let itself = term.itself.filter(|_| !term.products.is_empty()).map(share);
    let count = usize::from(itself.is_some()) + term.products.len();
    let whole = sum(itself.into_iter().chain(term.products.iter().map(fraction)))?;
    Some(if count > 1 { FormulaTree::Bracket(Box::new(whole)) } else { whole })
}

/// An exact number of moles; a fraction stays one.
pub(super) fn exact(ratio: &RBig) -> FormulaTree {
    let whole = |number: crate::quantity::Number| FormulaTree::Number {
        printed: crate::quantity::print(&number, Digits::Exact, Rounding::HalfEven),
        unit: Unit::one(),
        guard: false,
        of: Of::default(),
    };
    let part = |part: IBig| crate::quantity::Number::from_fraction(RBig::from(part));
    let (over, under) = (ratio.numerator().clone(), IBig::from(ratio.denominator().clone()));
    if under == IBig::ONE {
        return whole(part(over));
    }
    FormulaTree::Divide(Box::new(whole(part(over))), Box::new(whole(part(under))))
}

fn times_mass(coefficient: Option<FormulaTree>, component: &str) -> FormulaTree {
    let mass = trees::symbol(&Symbol { name: "m".into(), entity: Some(component.into()) }, None);
    match coefficient {
        Some(coefficient) => FormulaTree::Multiply(Box::new(coefficient), Box::new(mass)),
        None => mass,
    }
}

fn sum(terms: impl Iterator<Item = FormulaTree>) -> Option<FormulaTree> {
    terms.reduce(|sum, term| FormulaTree::Add(Box::new(sum), Box::new(term)))
}

fn mass_line(
    component: &str,
    value: &Value,
    trial: usize,
    collector: &Collector,
    calculator: &Calculator,
) -> WorkedLine {
    let symbol = times_mass(None, component);
    let (result, missing) = value_tree(value, trial, collector, calculator);
    let formula = result.clone().unwrap_or(FormulaTree::Missing);
    WorkedLine {
        quantity: usize::MAX,
        symbol,
        formula,
        substituted: None,
        result,
        missing,
        theory: false,
        reason: None,
    }
}

fn value_tree(
    value: &Value,
    trial: usize,
    collector: &Collector,
    calculator: &Calculator,
) -> (Option<FormulaTree>, Option<String>) {
    match value.at(trial) {
        Ok(node) => {
            let unit = collector.own_unit(calculator.graph.quantity(node).dimension);
            let figure = calculator.printer().figure(node, &unit);
            (figure.map(|figure| trees::result(&figure.printed, &unit, Some(node))), None)
        }
        Err(reason) => (None, Some(reason.to_string())),
    }
}

/// The first valid trial that has the most values.
fn choose_trial(collector: &Collector) -> Option<usize> {
    let results = || collector.quantities.iter().filter(|quantity| quantity.origin == Origin::Working);
    let has =
        |trial: usize| results().filter(|q| q.trials.get(trial).is_some_and(|o| o.value().is_some())).count();
    let valid = (0..collector.trials.len()).filter(|trial| collector.trials[*trial].counts());
    valid.max_by_key(|trial| (has(*trial), std::cmp::Reverse(*trial)))
}

fn line(
    index: usize,
    definition: &Definition,
    side: Side,
    trial: usize,
    collector: &Collector,
    calculator: &mut Calculator,
) -> Option<WorkedLine> {
    let expression = definition.expression.as_ref()?;
    if let ExpressionKind::Parts(_) = expression.kind {
        let (result, missing) = result(index, side, trial, collector);
        return reasons::yield_line(index, definition, side, trial, result, missing, calculator);
    }
    let formula = trees::tree(expression, &mut Leaves::Symbols);
    let substituted = if puts_in(expression) {
        Some(trees::tree(expression, &mut Leaves::Numbers { trial, side, collector, calculator }))
    } else {
        None
    };
    let (result, missing) = result(index, side, trial, collector);
    Some(WorkedLine {
        quantity: index,
        symbol: trees::symbol(&definition.symbol.value, None),
        formula,
        substituted,
        result,
        missing,
        theory: side == Side::Theory,
        reason: None,
    })
}

/// Whether a formula has anything to put numbers in for.
fn puts_in(expression: &Expression) -> bool {
    match &expression.kind {
        ExpressionKind::Number { .. } | ExpressionKind::Constant(_) => false,
        ExpressionKind::Negate(of) | ExpressionKind::Bracket(of) => puts_in(of),
        ExpressionKind::Binary(_, left, right) => puts_in(left) || puts_in(right),
        ExpressionKind::Call(_, arguments) => arguments.iter().any(puts_in),
        _ => true,
    }
}

fn result(
    index: usize,
    side: Side,
    trial: usize,
    collector: &Collector,
) -> (Option<FormulaTree>, Option<String>) {
    let quantity = &collector.quantities[index];
    let (scalar, trials) = match (side, &quantity.theory) {
        (Side::Theory, Some(theory)) => (&theory.scalar, &theory.trials),
        _ => (&quantity.scalar, &quantity.trials),
    };
    match scalar.as_ref().or_else(|| trials.get(trial)) {
        Some(Outcome::Value(value)) => {
            (Some(trees::result(&value.printed, &quantity.unit, Some(value.node))), None)
        }
        Some(Outcome::Missing(reason)) => (None, Some(reason.clone())),
        None => (None, Some("there is no trial".into())),
    }
}
