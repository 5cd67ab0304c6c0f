//! Mixtures: as many known totals as components, solved exactly for every trial.
//!
//! A component counts in a total as itself, or as what its equation makes of it: ν(product/component) times the
//! ratio of the molar masses. The equations are solved by elimination along the derivation graph, so digits and
//! uncertainties follow from the totals as they do in any formula.

use super::becoming::{self, Change, Counted};
use super::calculator::Calculator;
use super::masses::shown;
use super::scope::Side;
use super::uncertainty;
use super::{Slot, Value};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{Mixture, Total};
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Digits, Number, Quantity, QuantityError, Unit};
use crate::span::{Span, Spanned};
use dashu_ratio::RBig;

/// A change of a component by more than this times the change of a total is worth a warning.
const MOST_AMPLIFICATION: f64 = 20.0;

/// Most components of one mixture.
const MOST_COMPONENTS: usize = 12;

/// A mixture with its masses.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    /// The mass of each component, in the order of [`components`].
    pub(super) masses: Vec<Value>,
    /// The first total: the whole that shares are taken of.
    pub(super) whole: Value,
    /// Each total with the terms of its equation.
    pub(super) totals: Vec<(Value, Vec<Term>)>,
}

/// What a component counts in a total.
#[derive(Clone, Debug)]
pub(super) struct Term {
    /// The component.
    pub(super) component: String,
    /// The share of it that counts as itself, where any does.
    pub(super) itself: Option<NodeId>,
    /// What is made of it.
    pub(super) products: Vec<Made>,
    /// The coefficient as a number.
    pub(super) coefficient: NodeId,
}

/// A product in a term.
#[derive(Clone, Debug)]
pub(super) struct Made {
    /// The fraction of the component that is made into it; `None` where all is.
    pub(super) extent: Option<NodeId>,
    /// Moles per mole of the component.
    pub(super) ratio: RBig,
    /// Its formula as written.
    pub(super) formula: String,
}

/// The components of a mixture: the parts of its first total.
pub(super) fn components(mixture: &Mixture) -> &[Spanned<String>] {
    mixture.totals.first().map_or(&[], |total| &total.parts)
}

/// Solves a mixture; what is wrong with it is a finding, and its masses are missing.
pub(super) fn solve(mixture: &Mixture, span: Span, calculator: &mut Calculator) -> Solved {
    let components = components(mixture);
    let whole = match mixture.totals.first().and_then(|total| total.known.as_ref()) {
        Some(known) => calculator.value(known, Side::Working),
        None => Value::missing("the total of its mixture is not known"),
    };
    match Matrix::of(mixture, span, calculator) {
        Ok(matrix) => {
            let totals: Vec<Value> = mixture.totals.iter().map(|total| known(total, calculator)).collect();
            let masses = matrix.masses(&totals, calculator);
            matrix.judge(components, &masses, &whole, span, calculator);
            Solved { masses, whole, totals: totals.into_iter().zip(matrix.rows).collect() }
        }
        Err(finding) => {
            calculator.report(*finding);
            let masses = vec![Value::missing("its mixture could not be solved"); components.len()];
            Solved { masses, whole, totals: Vec::new() }
        }
    }
}

fn known(total: &Total, calculator: &mut Calculator) -> Value {
    match &total.known {
        Some(known) => calculator.value(known, Side::Working),
        None => Value::missing("a total of its mixture could not be read"),
    }
}

/// The coefficients: one row per total, one column per component.
struct Matrix {
    rows: Vec<Vec<Term>>,
}

pub(super) type Problem = Box<Finding>;

impl Matrix {
    fn of(mixture: &Mixture, span: Span, calculator: &mut Calculator) -> Result<Self, Problem> {
        let components = components(mixture);
        let (totals, unknown) = (mixture.totals.len(), components.len());
        if totals != unknown || unknown == 0 {
            let message =
                format!("a mixture of {unknown} components needs {unknown} totals, but {totals} are given");
            let finding = Finding::error(Code::BadMixture, span, message);
            return Err(Box::new(finding.hint("one total a line: `after: m(residue) = MgO + CaO`")));
        }
        if unknown > MOST_COMPONENTS {
            let message = format!("a mixture of more than {MOST_COMPONENTS} components");
            return Err(Box::new(Finding::error(Code::TooLarge, span, message)));
        }
        let changes = becoming::changes(mixture, calculator)?;
        becoming::check_parts(mixture, components, &changes)?;
        becoming::idle(components, &changes).into_iter().for_each(|finding| calculator.report(finding));
        let mut rows = Vec::new();
        for (index, total) in mixture.totals.iter().enumerate() {
            let row = components.iter().map(|component| {
                let counted = becoming::counted(total, index == 0, component, components, &changes)?;
                term(total, component, counted, &changes, calculator)
            });
            rows.push(row.collect::<Result<Vec<_>, Problem>>()?);
        }
        let matrix = Matrix { rows };
        if inverse(&matrix.numbers(calculator.graph)).is_none() {
            let message = "the totals do not tell the components apart: the equations are not independent";
            let finding = Finding::error(Code::BadMixture, span, message);
            return Err(Box::new(finding.hint(matrix.alike(calculator.graph))));
        }
        Ok(matrix)
    }

    /// Two components that change alike in every total, or what would help anyway.
    fn alike(&self, graph: &Graph) -> String {
        let numbers = self.numbers(graph);
        let first = self.rows.first().map_or(&[][..], Vec::as_slice);
        let proportional = |a: usize, b: usize| {
            numbers.iter().all(|row| (row[a] * numbers[0][b] - row[b] * numbers[0][a]).abs() < 1e-9)
        };
        for (a, one) in first.iter().enumerate() {
            if let Some(other) = (a + 1..first.len()).find(|b| proportional(a, *b)) {
                return format!(
                    "{} and {} change alike in every total: take them as one component, or add a total in which they \
                     differ",
                    one.component, first[other].component
                );
            }
        }
        "one total follows from the others: take another one, after a further change".into()
    }

    fn numbers(&self, graph: &Graph) -> Vec<Vec<f64>> {
        let number = |term: &Term| graph.quantity(term.coefficient).number.to_f64();
        self.rows.iter().map(|row| row.iter().map(number).collect()).collect()
    }

    /// The mass of each component in every trial.
    fn masses(&self, totals: &[Value], calculator: &mut Calculator) -> Vec<Value> {
        let per_trial = totals.iter().any(|total| matches!(total, Value::Trials(_)));
        let count = if per_trial { calculator.trials.len() } else { 1 };
        let solved: Vec<Vec<Slot>> =
            (0..count).map(|trial| self.in_trial(totals, trial, calculator)).collect();
        let of = |component: usize| {
            let slots: Vec<Slot> = solved.iter().map(|masses| masses[component].clone()).collect();
            match (per_trial, slots.into_iter().next()) {
                (false, Some(slot)) => Value::Scalar(slot),
                _ => Value::Trials(solved.iter().map(|masses| masses[component].clone()).collect()),
            }
        };
        (0..self.rows.len()).map(of).collect()
    }

    fn in_trial(&self, totals: &[Value], trial: usize, calculator: &mut Calculator) -> Vec<Slot> {
        let known: Result<Vec<NodeId>, _> = totals.iter().map(|total| total.at(trial)).collect();
        let solved = known.and_then(|known| {
            let rows =
                self.rows.iter().map(|row| row.iter().map(|term| term.coefficient).collect()).collect();
            let mut elimination = Elimination { rows, totals: known, graph: calculator.graph };
            elimination.solve().map_err(|_| "the equations of its mixture cannot be solved".into())
        });
        match solved {
            Ok(masses) => masses.into_iter().map(Ok).collect(),
            Err(reason) => vec![Err(reason); self.rows.len()],
        }
    }

    /// What to say of the solution: how errors of the readings grow, and components that cannot be.
    fn judge(
        &self,
        components: &[Spanned<String>],
        masses: &[Value],
        whole: &Value,
        span: Span,
        calculator: &mut Calculator,
    ) {
        let Some(inverse) = inverse(&self.numbers(calculator.graph)) else { return };
        for (component, row) in components.iter().zip(&inverse) {
            let largest = row.iter().map(|entry| entry.abs()).fold(0.0, f64::max);
            if largest > MOST_AMPLIFICATION {
                let message = format!(
                    "the mass of {} is sensitive: an error of 0.1 mg in a total becomes {:.1} mg in it",
                    component.value,
                    largest / 10.0
                );
                let finding = Finding::warning(Code::BadMixture, span, message);
                calculator.report(
                    finding.hint("the components change by nearly the same factor; weigh more of the sample"),
                );
                break;
            }
        }
        for (component, mass) in components.iter().zip(masses) {
            for trial in 0..calculator.trials.len() {
                check_range(component, mass, whole, trial, calculator);
            }
        }
    }
}

/// A component below zero, or above the whole.
fn check_range(
    component: &Spanned<String>,
    mass: &Value,
    whole: &Value,
    trial: usize,
    calculator: &mut Calculator,
) {
    let (Ok(mass), Ok(whole)) = (mass.at(trial), whole.at(trial)) else { return };
    let below = calculator.graph.quantity(mass).number.is_negative();
    let Ok(over) = apply(calculator.graph, Operation::Subtract, mass, whole) else { return };
    let over_number = calculator.graph.quantity(over).number.clone();
    let beyond = if below { mass } else { over };
    if !below && (over_number.is_negative() || over_number.is_zero()) {
        return;
    }
    let value = shown(calculator.graph.quantity(mass), &Unit::gram());
    let excess = calculator.graph.quantity(beyond).number.to_f64().abs();
    let expanded = 2.0 * calculator.inputs.standard_uncertainty(calculator.graph, beyond);
    let name = &calculator.trials.list()[trial].name;
    let what = if below { "below zero" } else { "more than the whole" };
    let message = format!("the mass of {} in trial {name} is {what}: {value}", component.value);
    let finding = if excess > expanded {
        Finding::warning(Code::BadMixture, component.span, message).hint(further_data(below))
    } else {
        let from = if below { "zero" } else { "the whole" };
        let expanded = uncertainty::two_figures(expanded * 1e6).unwrap_or_else(|| "0".into());
        let message = format!("{message}; not distinguishable from {from} (U = {expanded} mg)");
        Finding::note(Code::BadMixture, component.span, message)
    };
    calculator.findings.push(finding);
}

/// What would be needed to understand a component that cannot be.
fn further_data(below: bool) -> &'static str {
    if below {
        "the totals do not fit these components: one more total (the residue after a further step, or the gas or \
         water collected) would show a component that is missing here or a change that was not complete"
    } else {
        "the totals do not fit these components: one more total (the residue after a further step, or the gas or \
         water collected) would show what else takes part; check too that the residue was at constant mass"
    }
}

/// Two names of one thing: as written, or as formulas.
pub(super) fn same(a: &str, b: &str) -> bool {
    crate::notebook::thing_key(a) == crate::notebook::thing_key(b)
}

/// What one unit of mass of a component counts in a total.
fn term(
    total: &Total,
    component: &Spanned<String>,
    counted: Counted,
    changes: &[Change],
    calculator: &mut Calculator,
) -> Result<Term, Problem> {
    for part in &total.parts {
        becoming::check_used_up(part, component, changes)?;
    }
    let too_large = |_| too_large(total.span);
    let mut sum = exact(Number::zero(), calculator.graph);
    let mut itself = None;
    if counted.itself {
        let share = remaining(&counted.changed, calculator.graph).map_err(too_large)?;
        let share = share.unwrap_or_else(|| exact(Number::one(), calculator.graph));
        sum = apply(calculator.graph, Operation::Add, sum, share).map_err(too_large)?;
        itself = Some(share);
    }
    let mut products = Vec::new();
    for product in counted.products {
        let mut counts = factor(&product.ratio, &product.part, component, calculator)?;
        let rest = remaining(&product.changed, calculator.graph).map_err(too_large)?;
        let extent = product
            .extents
            .into_iter()
            .chain(rest)
            .map(Ok)
            .reduce(|all, one| apply(calculator.graph, Operation::Multiply, all?, one?));
        let extent = extent.transpose().map_err(too_large)?;
        if let Some(extent) = extent {
            counts = apply(calculator.graph, Operation::Multiply, extent, counts).map_err(too_large)?;
        }
        sum = apply(calculator.graph, Operation::Add, sum, counts).map_err(too_large)?;
        products.push(Made { extent, ratio: product.ratio, formula: product.part.value });
    }
    Ok(Term { component: component.value.clone(), itself, products, coefficient: sum })
}

/// What is left after fractions have changed; `None` where nothing has.
fn remaining(changed: &[NodeId], graph: &mut Graph) -> Result<Option<NodeId>, QuantityError> {
    let mut left = None;
    for extent in changed {
        let one = exact(Number::one(), graph);
        let rest = apply(graph, Operation::Subtract, one, *extent)?;
        left = Some(match left {
            Some(left) => apply(graph, Operation::Multiply, left, rest)?,
            None => rest,
        });
    }
    Ok(left)
}

/// ν(product/component) · M(product) / M(component).
fn factor(
    ratio: &RBig,
    product: &Spanned<String>,
    component: &Spanned<String>,
    calculator: &mut Calculator,
) -> Result<NodeId, Problem> {
    let unknown =
        || Box::new(Finding::error(Code::UnknownFormula, product.span, "its molar mass is not known"));
    let upper = calculator.molar_mass_of(product).map_err(|_| unknown())?;
    let lower = calculator.molar_mass_of(component).map_err(|_| unknown())?;
    let quantity = Quantity::exact(Number::from_fraction(ratio.clone()), Unit::one().dimension());
    let name = format!("ν({}/{})", product.value, component.value);
    let ratio = calculator.graph.add(Node {
        operation: Operation::Stoichiometry(name),
        inputs: NodeInputs::new(),
        quantity,
        span: Some(product.span),
    });
    let quotient =
        apply(calculator.graph, Operation::Divide, upper, lower).map_err(|_| too_large(product.span))?;
    apply(calculator.graph, Operation::Multiply, ratio, quotient).map_err(|_| too_large(product.span))
}

fn too_large(span: Span) -> Problem {
    Box::new(Finding::error(Code::TooLarge, span, "a coefficient too large to be kept exactly"))
}

fn exact(number: Number, graph: &mut Graph) -> NodeId {
    let quantity = Quantity { number, dimension: Unit::one().dimension(), digits: Digits::Exact };
    graph.add(Node { operation: Operation::Literal, inputs: NodeInputs::new(), quantity, span: None })
}

pub(super) fn apply(
    graph: &mut Graph,
    operation: Operation,
    a: NodeId,
    b: NodeId,
) -> Result<NodeId, QuantityError> {
    let (x, y) = (graph.quantity(a), graph.quantity(b));
    let quantity = match operation {
        Operation::Add => x.add(y)?,
        Operation::Subtract => x.sub(y)?,
        Operation::Multiply => x.mul(y)?,
        _ => x.div(y)?,
    };
    Ok(graph.add(Node { operation, inputs: NodeInputs::from_slice(&[a, b]), quantity, span: None }))
}

/// Gauss elimination along the graph, exact.
struct Elimination<'g> {
    rows: Vec<Vec<NodeId>>,
    totals: Vec<NodeId>,
    graph: &'g mut Graph,
}

impl Elimination<'_> {
    fn solve(&mut self) -> Result<Vec<NodeId>, QuantityError> {
        let count = self.rows.len();
        for column in 0..count {
            self.bring_pivot(column);
            for row in (0..count).filter(|row| *row != column) {
                self.eliminate(row, column)?;
            }
        }
        (0..count)
            .map(|row| apply(self.graph, Operation::Divide, self.totals[row], self.rows[row][row]))
            .collect()
    }

    fn is_zero(&self, row: usize, column: usize) -> bool {
        self.graph.quantity(self.rows[row][column]).number.is_zero()
    }

    /// A row whose entry in the column is not zero comes to the diagonal.
    fn bring_pivot(&mut self, column: usize) {
        if let Some(pivot) = (column..self.rows.len()).find(|row| !self.is_zero(*row, column)) {
            self.rows.swap(column, pivot);
            self.totals.swap(column, pivot);
        }
    }

    fn eliminate(&mut self, row: usize, column: usize) -> Result<(), QuantityError> {
        if self.is_zero(row, column) {
            return Ok(());
        }
        let factor = apply(self.graph, Operation::Divide, self.rows[row][column], self.rows[column][column])?;
        for other in 0..self.rows.len() {
            if !self.is_zero(column, other) {
                let part = apply(self.graph, Operation::Multiply, factor, self.rows[column][other])?;
                self.rows[row][other] = apply(self.graph, Operation::Subtract, self.rows[row][other], part)?;
            }
        }
        let part = apply(self.graph, Operation::Multiply, factor, self.totals[column])?;
        self.totals[row] = apply(self.graph, Operation::Subtract, self.totals[row], part)?;
        Ok(())
    }
}

/// The inverse of a small matrix; `None` where it has none.
fn inverse(rows: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let count = rows.len();
    let identity = |row: usize| (0..count).map(move |column| f64::from(u8::from(row == column)));
    let mut work: Vec<Vec<f64>> =
        rows.iter().enumerate().map(|(i, row)| row.iter().copied().chain(identity(i)).collect()).collect();
    for column in 0..count {
        let pivot =
            (column..count).max_by(|a, b| work[*a][column].abs().total_cmp(&work[*b][column].abs()))?;
        if work[pivot][column].abs() < 1e-9 {
            return None;
        }
        work.swap(column, pivot);
        let scale = work[column][column];
        work[column].iter_mut().for_each(|entry| *entry /= scale);
        let pivot_row = work[column].clone();
        for (_, row) in work.iter_mut().enumerate().filter(|(row, _)| *row != column) {
            let factor = row[column];
            row.iter_mut().zip(&pivot_row).for_each(|(entry, pivot)| *entry -= factor * pivot);
        }
    }
    Some(work.into_iter().map(|row| row[count..].to_vec()).collect())
}
