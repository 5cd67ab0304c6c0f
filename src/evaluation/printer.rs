//! How a value is printed: by the notebook's digits policy, with the uncertainty that stands beside it.
//!
//! | value | by significant figures | by the uncertainty |
//! | --- | --- | --- |
//! | as written (reading, measured quantity, literal) | as written | as written |
//! | computed | its figures | two figures of U |
//! | s, range, average deviation, over the mean too | its figures | the last place of the coarsest value they are of |
//! | computed, with no uncertainty | its figures | its figures, and that is said |
//!
//! Readings and their changes are what the balance showed: they keep its decimals under both policies.

use super::results::Figure;
use super::uncertainty::{Evaluated, Inputs, evaluate};
use crate::notebook::settings::{DigitsPolicy, Settings, UncertaintyForm};
use crate::quantity::derivation::{Graph, Node, NodeId, Operation};
use crate::quantity::{
    Digits, Number, Printed, Quantity, Uncertainty, Unit, print, print_beside, print_by_uncertainty,
    print_guarded, print_guarded_by_uncertainty,
};

/// Prints the values of a graph.
pub(super) struct Printer<'a> {
    pub(super) graph: &'a Graph,
    pub(super) inputs: &'a Inputs,
    pub(super) settings: &'a Settings,
}

impl Printer<'_> {
    /// A node in a unit; `None` where the unit does not fit.
    pub(super) fn figure(&self, node: NodeId, unit: &Unit) -> Option<Figure> {
        self.figure_beside(node, unit, &|| self.evaluated(node, unit))
    }

    /// The same with its uncertainty, if that is `wanted` beside it.
    pub(super) fn figure_and_uncertainty(
        &self,
        node: NodeId,
        unit: &Unit,
        wanted: bool,
    ) -> Option<(Figure, Option<Evaluated>)> {
        if !wanted {
            return Some((self.figure(node, unit)?, None));
        }
        let evaluated = self.evaluated(node, unit);
        Some((self.figure_beside(node, unit, &|| evaluated)?, Some(evaluated)))
    }

    fn figure_beside(&self, node: NodeId, unit: &Unit, evaluated: &dyn Fn() -> Evaluated) -> Option<Figure> {
        let quantity = self.graph.quantity(node);
        match as_written(&self.graph.node(node).operation) {
            true => by_figures(quantity, unit, self.settings),
            false => {
                let uncertainty = self.uncertainty(|| self.deciding(node, unit, evaluated));
                let figure = self.by_policy(quantity, unit, uncertainty.as_ref())?;
                Some(if self.scatter(node).is_some() { figure.bare() } else { figure })
            }
        }
    }

    /// A figure of the scatter of some values (s, their range, …): to the last place of the coarsest of them.
    pub(super) fn scatter_of(&self, quantity: &Quantity, unit: &Unit, values: &[NodeId]) -> Option<Figure> {
        let uncertainty = self.uncertainty(|| self.largest(values, in_si(unit)));
        Some(self.by_policy(quantity, unit, uncertainty.as_ref())?.bare())
    }

    /// The same over the mean of the values.
    pub(super) fn relative_scatter_of(
        &self,
        quantity: &Quantity,
        unit: &Unit,
        values: &[NodeId],
        mean: &Number,
    ) -> Option<Figure> {
        let uncertainty = self.uncertainty(|| self.largest(values, in_si(unit) * mean.to_f64().abs()));
        Some(self.by_policy(quantity, unit, uncertainty.as_ref())?.bare())
    }

    /// The uncertainty of a value, where it decides its digits or stands beside it.
    fn uncertainty(&self, of: impl Fn() -> Evaluated) -> Option<Uncertainty> {
        let plain = self.settings.form() == UncertaintyForm::Plain;
        let asked = self.settings.digits == DigitsPolicy::Uncertainty || !plain;
        if asked { beside(&of()) } else { None }
    }

    /// A value that has an uncertainty of its own (in the unit), by the policy.
    pub(super) fn by_policy(
        &self,
        quantity: &Quantity,
        unit: &Unit,
        uncertainty: Option<&Uncertainty>,
    ) -> Option<Figure> {
        let number = quantity.number_in(unit).ok()?;
        let digits = quantity.digits_in(unit);
        let form = self.settings.form();
        let shown = form != UncertaintyForm::Plain;
        let rounding = self.settings.rounding;
        Some(match (self.settings.digits, uncertainty) {
            (DigitsPolicy::Uncertainty, Some(uncertainty)) => {
                let (printed, beside) = print_by_uncertainty(&number, uncertainty, rounding);
                let concise = form == UncertaintyForm::Concise;
                let beside = if concise { beside } else { beside.without_concise() };
                Figure { number, printed, uncertainty: shown.then_some(beside), by_figures: false }
            }
            (policy, uncertainty) => {
                let printed = print(&number, digits, rounding);
                let beside = uncertainty.filter(|_| shown);
                let uncertainty = beside.map(|u| print_beside(&number, &printed, digits, u));
                let by_figures = policy == DigitsPolicy::Uncertainty && digits != Digits::Exact;
                Figure { number, printed, uncertainty, by_figures }
            }
        })
    }

    /// A number as it is put into a worked calculation: with a guard digit where it has more digits than it is
    /// shown with. The second value says whether it has one. Tabulated values are put in as tabulated.
    pub(super) fn put_in(&self, node: NodeId, unit: &Unit) -> Option<(Printed, bool)> {
        if self.settings.no_guard_digit {
            return Some((self.figure(node, unit)?.printed, false));
        }
        let quantity = self.graph.quantity(node);
        let number = quantity.number_in(unit).ok()?;
        let operation = &self.graph.node(node).operation;
        let leaf = as_written(operation) || matches!(operation, Operation::MolarMass(_));
        let rounding = self.settings.rounding;
        if !leaf && self.settings.digits == DigitsPolicy::Uncertainty {
            let uncertainty = beside(&self.deciding(node, unit, &|| self.evaluated(node, unit)));
            if let Some(uncertainty) = uncertainty {
                return Some(print_guarded_by_uncertainty(&number, &uncertainty, rounding));
            }
        }
        Some(print_guarded(&number, quantity.digits_in(unit), rounding))
    }

    /// The uncertainty of a node in a unit.
    pub(super) fn evaluated(&self, node: NodeId, unit: &Unit) -> Evaluated {
        evaluate(self.inputs, self.graph, node, in_si(unit), self.settings)
    }

    /// The uncertainty that decides the last place of a node.
    fn deciding(&self, node: NodeId, unit: &Unit, evaluated: &dyn Fn() -> Evaluated) -> Evaluated {
        match self.scatter(node) {
            Some(Scatter { values, over: None }) => self.largest(values, in_si(unit)),
            Some(Scatter { values, over: Some(mean) }) => {
                self.largest(values, in_si(unit) * self.graph.quantity(mean).number.to_f64().abs())
            }
            None => evaluated(),
        }
    }

    /// The largest uncertainty of some values, where so many coherent SI units are one shown.
    fn largest(&self, values: &[NodeId], scale: f64) -> Evaluated {
        let none = Evaluated::new(0.0, None, self.settings.coverage);
        let of = |value: &NodeId| evaluate(self.inputs, self.graph, *value, scale, self.settings);
        let finite = values.iter().map(of).filter(|evaluated| evaluated.expanded.is_finite());
        finite.max_by(|a, b| a.expanded.total_cmp(&b.expanded)).unwrap_or(none)
    }

    /// What a node says of the scatter of some values, if that is what it is.
    fn scatter(&self, node: NodeId) -> Option<Scatter<'_>> {
        let of = |node: NodeId| Some(self.graph.node(node)).filter(|node| is_scatter(node));
        if let Some(node) = of(node) {
            return Some(Scatter { values: &node.inputs, over: None });
        }
        match (&self.graph.node(node).operation, self.graph.node(node).inputs.as_slice()) {
            (Operation::Divide, [top, under]) => {
                of(*top).map(|top| Scatter { values: &top.inputs, over: Some(*under) })
            }
            _ => None,
        }
    }
}

/// A figure of scatter: the values it is of, and what it was divided by.
struct Scatter<'g> {
    values: &'g [NodeId],
    over: Option<NodeId>,
}

fn is_scatter(node: &Node) -> bool {
    use Operation::{AverageDeviation, Range, StandardDeviation};
    matches!(node.operation, StandardDeviation | Range | AverageDeviation)
}

/// Whether a node is what someone wrote down.
fn as_written(operation: &Operation) -> bool {
    use Operation::{Constant, Literal, Measured, Reading, Stoichiometry};
    matches!(operation, Reading { .. } | Measured { .. } | Literal | Stoichiometry(_) | Constant(_))
}

fn beside(evaluated: &Evaluated) -> Option<Uncertainty> {
    Uncertainty::of(evaluated.standard, evaluated.coverage_factor)
}

fn in_si(unit: &Unit) -> f64 {
    unit.factor().to_f64()
}

/// A quantity printed by its figures, with nothing beside it.
pub(super) fn by_figures(quantity: &Quantity, unit: &Unit, settings: &Settings) -> Option<Figure> {
    let number = quantity.number_in(unit).ok()?;
    let printed = print(&number, quantity.digits_in(unit), settings.rounding);
    Some(Figure { number, printed, uncertainty: None, by_figures: false })
}
