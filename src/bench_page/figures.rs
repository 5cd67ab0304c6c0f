//! Figures of the results that are no values of the derivation graph: how far the trials are apart, how far a result is
//! from its theory. They have names and formulas here, so that they can be chosen like values.

use super::derivation::Tree;
use super::numbers::Numbers;
use crate::evaluation::results::{AgreementResult, Outcome, QuantityResult, Results};
use crate::evaluation::spread::{FigureKind, with_all};
use crate::quantity::derivation::NodeId;
use crate::quantity::{Printed, Unit};
use std::collections::BTreeMap;

/// A figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What it is called, for people and for the page: `s w(water)`.
    pub name: String,
    /// As the report prints it, with its unit.
    pub value: String,
    /// The formula it follows by.
    pub formula: Formula,
    /// The values that the formula puts in.
    pub inputs: Vec<NodeId>,
}

/// The formula of a figure.
#[derive(Clone, Debug, PartialEq)]
pub enum Formula {
    /// A function of the trials (`range`, `s`, `average deviation`), over the mean where there is one.
    Scatter(&'static str, Vec<NodeId>, Option<NodeId>),
    /// Result − theory, over the magnitude of the theory where it is relative. A theory for each trial counts by its mean.
    Difference {
        /// The result.
        result: NodeId,
        /// The theory, one value or one for each trial.
        theory: Vec<NodeId>,
        /// Whether it is divided by the theory.
        relative: bool,
    },
}

impl Formula {
    /// The formula with its values as `part` writes them.
    pub(super) fn tree(&self, part: &dyn Fn(NodeId) -> Tree) -> Tree {
        let all = |nodes: &[NodeId]| nodes.iter().map(|node| part(*node)).collect::<Vec<_>>();
        match self {
            Formula::Scatter(function, values, None) => Tree::Function(function, all(values)),
            Formula::Scatter(function, values, Some(mean)) => {
                Tree::Fraction(Box::new(Tree::Function(function, all(values))), Box::new(part(*mean)))
            }
            Formula::Difference { result, theory, relative } => {
                let theory = || match theory.as_slice() {
                    [one] => part(*one),
                    several => Tree::Function("mean", all(several)),
                };
                let difference = Tree::Sum(vec![(false, part(*result)), (true, theory())]);
                match relative {
                    true => {
                        let under = Tree::Function("abs", vec![theory()]);
                        Tree::Fraction(Box::new(difference), Box::new(under))
                    }
                    false => difference,
                }
            }
        }
    }

    fn inputs(&self) -> Vec<NodeId> {
        match self {
            Formula::Scatter(_, values, mean) => values.iter().chain(mean).copied().collect(),
            Formula::Difference { result, theory, .. } => [*result].iter().chain(theory).copied().collect(),
        }
    }
}

/// The figures of all results, by their names.
pub(super) fn all(results: &Results, numbers: &Numbers) -> BTreeMap<String, Figure> {
    let mut figures = BTreeMap::new();
    for quantity in &results.quantities {
        let spreads = [
            (quantity.agreement.as_ref(), quantity.symbol.clone()),
            (quantity.agreement_with_all.as_ref(), with_all(&quantity.symbol)),
        ];
        let mut found: Vec<Figure> = Vec::new();
        for (agreement, symbol) in spreads {
            let agreement = agreement.filter(|agreement| agreement.numbers.n > 1);
            found.extend(
                agreement
                    .into_iter()
                    .flat_map(|agreement| scatter(results, numbers, quantity, agreement, &symbol)),
            );
        }
        found.extend(against_theory(numbers, quantity));
        figures.extend(found.into_iter().map(|figure| (figure.name.clone(), figure)));
    }
    figures
}

fn figure(name: String, value: String, formula: Formula) -> Figure {
    let inputs = formula.inputs();
    Figure { name, value, formula, inputs }
}

fn scatter(
    results: &Results,
    numbers: &Numbers,
    quantity: &QuantityResult,
    agreement: &AgreementResult,
    symbol: &str,
) -> Vec<Figure> {
    let spread = results.spread(quantity, agreement);
    let own = quantity.unit.interval();
    let per = |unit: &str| Unit::parse(unit).unwrap_or_else(|_| Unit::one());
    let shown = FigureKind::ALL.into_iter().filter_map(|kind| Some((kind, &spread.figure(kind)?.printed)));
    let figure_of = |(kind, printed): (FigureKind, &Printed)| {
        let (function, unit, mean) = match kind {
            FigureKind::Range => ("range", own.clone(), None),
            FigureKind::S => ("s", own.clone(), None),
            FigureKind::RelativeS => ("s", per("%"), Some(agreement.mean_node)),
            FigureKind::RelativeDifference => ("range", per("%"), Some(agreement.mean_node)),
            _ => ("average deviation", per("‰"), Some(agreement.mean_node)),
        };
        let formula = Formula::Scatter(function, agreement.values.clone(), mean);
        figure(kind.of(symbol), numbers.with_unit(printed, &unit), formula)
    };
    shown.map(figure_of).collect()
}

fn against_theory(numbers: &Numbers, quantity: &QuantityResult) -> Vec<Figure> {
    let Some(theory) = &quantity.theory else { return Vec::new() };
    let node = |outcome: &Outcome| outcome.value().map(|value| value.node);
    let mean = quantity.agreement.as_ref().map(|agreement| agreement.mean_node);
    let result = mean.or_else(|| quantity.scalar.as_ref().and_then(node));
    let nodes: Vec<NodeId> = theory.scalar.iter().chain(&theory.trials).filter_map(node).collect();
    let Some(result) = result.filter(|_| !nodes.is_empty()) else { return Vec::new() };
    let kinds = [
        (FigureKind::Difference, &theory.difference, " percentage points", false),
        (FigureKind::PercentError, &theory.percent_error, " %", true),
    ];
    let shown = kinds
        .into_iter()
        .filter_map(|(kind, figure, unit, relative)| Some((kind, &figure.as_ref()?.printed, unit, relative)));
    shown
        .map(|(kind, printed, unit, relative)| {
            let formula = Formula::Difference { result, theory: nodes.clone(), relative };
            let value = format!("{}{unit}", numbers.with_unit(printed, &Unit::one()));
            figure(kind.of(&quantity.symbol), value, formula)
        })
        .collect()
}
