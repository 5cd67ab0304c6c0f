//! The limiting reagent and the theoretical yield: `yield(BaSO4) = BaCl2: m(chloride), Na2SO4: m(sulfate)`.
//!
//! Of the reagents stated, the one with the smallest n/ν limits; the theoretical yield is ν(product) M(product) times
//! that (common practice of stoichiometry). Reactants not stated are taken to be in excess. Amounts may be masses
//! or amounts of substance.

use super::calculator::Calculator;
use super::reactions::{NamedReaction, split_name};
use super::results::{ReagentResult, YieldResult};
use super::scope::Side;
use super::tabulated::parse_whole;
use super::uncertainty::two_figures;
use super::{Slot, Value};
use crate::chemistry::{Balanced, Formula};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::Definition;
use crate::notebook::expression::{BinaryOperator, Expression, Function};
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Dimension, Number, Quantity, Unit};
use crate::span::{Span, Spanned};
use dashu_ratio::RBig;

/// A theoretical yield with what it rests on.
#[derive(Clone, Debug)]
pub(super) struct Yielding {
    /// The symbol (`yield(BaSO4)`).
    pub(super) symbol: String,
    /// The line.
    pub(super) span: Span,
    /// The product and its coefficient.
    pub(super) product: Formula,
    pub(super) nu: RBig,
    /// The equation, balanced.
    pub(super) equation: String,
    /// Reactants that are not stated.
    pub(super) in_excess: Vec<String>,
    pub(super) reagents: Vec<Reagent>,
    /// The smallest n/ν.
    pub(super) least: Value,
}

/// A reagent with its amount.
#[derive(Clone, Debug)]
pub(super) struct Reagent {
    pub(super) formula: Formula,
    pub(super) nu: RBig,
    /// Whether its amount is stated as a mass.
    pub(super) by_mass: bool,
    /// n/ν.
    pub(super) per_nu: Value,
}

type Parts = [(Spanned<String>, Expression)];
type Problem = Box<Finding>;

/// The theoretical yield of a line, with what it rests on where it could be worked out.
pub(super) fn theoretical_yield(
    line: &Definition,
    parts: &Parts,
    side: Side,
    calculator: &mut Calculator,
) -> (Value, Option<Yielding>) {
    match worked_out(line, parts, side, calculator) {
        Ok((value, yielding)) => (value, Some(yielding)),
        Err(finding) => {
            calculator.report(*finding);
            (Value::missing("its reaction or an amount is not known"), None)
        }
    }
}

fn worked_out(
    line: &Definition,
    parts: &Parts,
    side: Side,
    calculator: &mut Calculator,
) -> Result<(Value, Yielding), Problem> {
    let (product, balanced) = reaction_of(line, parts, calculator)?;
    let nu = of_substance(&balanced, &product, line.symbol.span)?;
    let mut reagents = Vec::new();
    for (part, amount) in parts {
        reagents.push(reagent(part, amount, &balanced, side, calculator)?);
    }
    let all: Vec<Value> = reagents.iter().map(|reagent| reagent.per_nu.clone()).collect();
    let least = calculator.call(Function::Min, &all, line.span);
    let count = exact(&nu, format!("ν({})", product.text()), line.span, calculator);
    let text = Spanned::new(product.text(), line.symbol.span);
    let molar_mass = Value::Scalar(calculator.molar_mass_of(&text));
    let amount = calculator.binary(BinaryOperator::Multiply, count, least.clone(), line.span);
    let mass = calculator.binary(BinaryOperator::Multiply, amount, molar_mass, line.span);
    let stated = |formula: &Formula| reagents.iter().any(|reagent| reagent.formula.same_substance(formula));
    let left = balanced.reaction.left.iter().map(|term| &term.formula);
    let in_excess = left.filter(|formula| !stated(formula)).map(Formula::unicode).collect();
    let (symbol, equation) = (line.symbol.value.to_string(), balanced.reaction.unicode());
    Ok((mass, Yielding { symbol, span: line.span, product, nu, equation, in_excess, reagents, least }))
}

/// The product in the brackets, and the reaction that makes it of the reagents.
fn reaction_of(
    line: &Definition,
    parts: &Parts,
    calculator: &Calculator,
) -> Result<(Formula, Balanced), Problem> {
    let place = line.symbol.span;
    let entity = line.symbol.value.entity.clone().unwrap_or_default();
    let (name, product, _) = split_name(&entity);
    let inside = place.text(&calculator.notebook.text).find(product);
    let span = inside.map_or(place, |at| Span::new(place.start + at, place.start + at + product.len()));
    let product = parse_whole(&Spanned::new(product.to_owned(), span))?;
    let reagents: Vec<Formula> = parts.iter().map(|(part, _)| parse_whole(part)).collect::<Result<_, _>>()?;
    let fits = |reaction: &&NamedReaction| {
        let Some(balanced) = &reaction.balanced else { return false };
        let holds = |terms: &[crate::chemistry::Term], formula: &Formula| {
            terms.iter().any(|term| term.formula.same_substance(formula))
        };
        let (left, right) = (&balanced.reaction.left, &balanced.reaction.right);
        (name.is_none() || reaction.name == name)
            && holds(right, &product)
            && reagents.iter().all(|reagent| holds(left, reagent))
    };
    let mut found = calculator.reaction_list().iter().filter(fits);
    let missing = |message: String, hint: &str| {
        Box::new(Finding::error(Code::UnknownReaction, place, message).hint(hint))
    };
    match (found.next(), found.next()) {
        (Some(NamedReaction { balanced: Some(balanced), .. }), None) => Ok((product, balanced.clone())),
        (Some(_), Some(_)) => Err(missing(
            format!("several reactions make {} of these reagents", product.unicode()),
            "name the one that is meant, as in `yield(stage 1: BaSO4) = …`",
        )),
        _ => Err(missing(
            format!("no balanced reaction makes {} of these reagents", product.unicode()),
            "write the equation in a `reaction` block, reagents on the left, the product on the right",
        )),
    }
}

fn of_substance(balanced: &Balanced, formula: &Formula, span: Span) -> Result<RBig, Problem> {
    balanced.coefficient(formula).ok_or_else(|| {
        let message = format!("{} does not take part in the reaction", formula.unicode());
        Box::new(Finding::error(Code::UnknownReaction, span, message))
    })
}

fn reagent(
    part: &Spanned<String>,
    amount: &Expression,
    balanced: &Balanced,
    side: Side,
    calculator: &mut Calculator,
) -> Result<Reagent, Problem> {
    let formula = parse_whole(part)?;
    let nu = of_substance(balanced, &formula, part.span)?;
    let value = calculator.value(amount, side);
    let dimension = super::outcomes::any_node(&value).map(|node| calculator.graph.quantity(node).dimension);
    let by_mass = dimension == Some(Unit::gram().dimension());
    if !by_mass && dimension.is_some_and(|dimension| dimension != amount_of_substance()) {
        let message = format!("the amount of {} is neither a mass nor an amount of substance", part.value);
        let finding = Finding::error(Code::DimensionMismatch, amount.span, message);
        return Err(Box::new(finding.hint("for a solution write c · V: `0.100 mol/L * V(acid)`")));
    }
    let n = if by_mass {
        let molar_mass = Value::Scalar(calculator.molar_mass_of(part));
        calculator.binary(BinaryOperator::Divide, value, molar_mass, amount.span)
    } else {
        value
    };
    let count = exact(&nu, format!("ν({})", part.value), part.span, calculator);
    let per_nu = calculator.binary(BinaryOperator::Divide, n, count, amount.span);
    Ok(Reagent { formula, nu, by_mass, per_nu })
}

/// The dimension of an amount of substance.
fn amount_of_substance() -> Dimension {
    millimole().dimension()
}

/// The unit n/ν is shown in.
pub(super) fn millimole() -> Unit {
    Unit::parse("mmol").unwrap_or_else(|_| Unit::one())
}

fn exact(nu: &RBig, name: String, span: Span, calculator: &mut Calculator) -> Value {
    let quantity = Quantity::exact(Number::from_fraction(nu.clone()), Unit::one().dimension());
    Value::Scalar(calculator.leaf(Ok(quantity), Operation::Stoichiometry(name), span))
}

/// Which reagents limit in one trial.
#[derive(Clone, Debug)]
pub(super) struct Verdict {
    /// The reagent with the smallest n/ν, then those that cannot be told from it.
    pub(super) limiting: Vec<usize>,
    /// The excess of each reagent over the smallest n/ν, as a fraction of that.
    pub(super) excess: Vec<Option<NodeId>>,
}

/// Compares n/ν of the reagents in a trial; `None` where one is missing.
pub(super) fn verdict(yielding: &Yielding, trial: usize, calculator: &mut Calculator) -> Option<Verdict> {
    let nodes: Vec<NodeId> =
        yielding.reagents.iter().map(|reagent| reagent.per_nu.at(trial)).collect::<Result<_, _>>().ok()?;
    let number = |node: NodeId, calculator: &Calculator| calculator.graph.quantity(node).number.clone();
    let first = (0..nodes.len()).reduce(|least, one| {
        let smaller = number(nodes[one], calculator).sub(&number(nodes[least], calculator));
        if smaller.is_ok_and(|difference| difference.is_negative()) { one } else { least }
    })?;
    let mut verdict = Verdict { limiting: vec![first], excess: vec![None; nodes.len()] };
    for (index, node) in nodes.iter().enumerate().filter(|(index, _)| *index != first) {
        let (one, least) = (Value::Scalar(Ok(*node)), Value::Scalar(Ok(nodes[first])));
        let over = calculator.binary(BinaryOperator::Subtract, one, least.clone(), yielding.span);
        let Ok(over_node) = over.at(0) else { continue };
        let expanded = 2.0 * calculator.inputs.standard_uncertainty(calculator.graph, over_node);
        if number(over_node, calculator).to_f64() <= expanded {
            verdict.limiting.push(index);
        }
        if !number(nodes[first], calculator).is_zero() {
            let share = calculator.binary(BinaryOperator::Divide, over, least, yielding.span);
            verdict.excess[index] = share.at(0).ok();
        }
    }
    Some(verdict)
}

/// The verdict in a sentence.
pub(super) fn said(yielding: &Yielding, verdict: &Verdict, calculator: &Calculator) -> String {
    let name = |index: &usize| yielding.reagents[*index].formula.unicode();
    let limiting: Vec<String> = verdict.limiting.iter().map(name).collect();
    let mut sentence = match limiting.as_slice() {
        [one] => format!("{one} limits: its n/ν is the smallest"),
        many => {
            format!("{} cannot be told apart within the uncertainty: none is in excess", many.join(" and "))
        }
    };
    for (index, excess) in verdict.excess.iter().enumerate() {
        let Some(excess) = excess.filter(|_| !verdict.limiting.contains(&index)) else { continue };
        if let Some(figure) = calculator.printer().figure(excess, &Unit::percent()) {
            sentence += &format!("; {} is {} % in excess", name(&index), figure.printed.ascii());
        }
    }
    if !yielding.in_excess.is_empty() {
        sentence += &format!("; {} is taken to be in excess", yielding.in_excess.join(" and "));
    }
    sentence
}

/// What is shown of a yield: n/ν of each reagent, and which one limits.
pub(super) fn result(yielding: &Yielding, calculator: &mut Calculator) -> YieldResult {
    let per_trial = matches!(yielding.least, Value::Trials(_));
    let count = if per_trial { calculator.trials.len() } else { 1 };
    let verdicts: Vec<Option<Verdict>> =
        (0..count).map(|trial| verdict(yielding, trial, calculator)).collect();
    let shown = |slot: Slot, unit: &Unit| calculator.printer().figure(slot.ok()?, unit);
    let unit = millimole();
    let of = |(index, reagent): (usize, &Reagent)| ReagentResult {
        formula: reagent.formula.text(),
        coefficient: reagent.nu.to_string(),
        per_coefficient: (0..count).map(|trial| shown(reagent.per_nu.at(trial), &unit)).collect(),
        expanded: (0..count).map(|trial| expanded(reagent, trial, calculator)).collect(),
        limits: verdicts.iter().map(|v| v.as_ref().map(|v| v.limiting.contains(&index))).collect(),
    };
    YieldResult {
        symbol: yielding.symbol.clone(),
        equation: yielding.equation.clone(),
        reagents: yielding.reagents.iter().enumerate().map(of).collect(),
        verdicts: verdicts.iter().map(|v| v.as_ref().map(|v| said(yielding, v, calculator))).collect(),
        span: yielding.span,
    }
}

fn expanded(reagent: &Reagent, trial: usize, calculator: &Calculator) -> Option<String> {
    let u = calculator.inputs.standard_uncertainty(calculator.graph, reagent.per_nu.at(trial).ok()?);
    two_figures(2000.0 * u)
}
