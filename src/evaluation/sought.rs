//! Formulas sought from amounts: `formula(oxide) = Mg: n(magnesium), O: n(oxygen)`.
//!
//! Element symbols make an empirical formula, with the scarcest element as the reference. Anything else is a
//! compound of parts (a salt and its water), with the first part as the reference. The uncertainty of a ratio
//! combines the scatter of the trials (Student's t, 95 %) with what weighing and atomic weights contribute
//! (k = 2).

use super::Value;
use super::agreement;
use super::calculator::Calculator;
use super::results::{Figure, FormulaFound, PartFound, WholeNumberResult};
use super::scope::Side;
use super::uncertainty::two_figures;
use crate::chemistry::elements::is_element;
use crate::chemistry::whole_numbers::{MOST_MULTIPLIER, MOST_WHOLE, Ratio, WholeNumbers, whole_numbers};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::Definition;
use crate::notebook::expression::{BinaryOperator, Expression, ExpressionKind};
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Number, Quantity, Rounding, Uncertainty, Unit, print_to_one_place};
use crate::span::Spanned;
use crate::statistics::{Agreement, student_t};
use crate::weighing::Trial;

type Parts = [(Spanned<String>, Expression)];

/// The coverage factor of what weighing and atomic weights contribute.
const COVERAGE_FACTOR: f64 = 2.0;

/// Seeks the formula of a line; `None` where an amount is missing (what it rests on has said why).
pub(super) fn formula(
    line: &Definition,
    parts: &Parts,
    side: Side,
    calculator: &mut Calculator,
) -> Option<FormulaFound> {
    let amounts: Vec<Value> = parts.iter().map(|(_, amount)| calculator.value(amount, side)).collect();
    let empirical = parts.iter().all(|(part, _)| is_element(&part.value));
    let reference = if empirical { scarcest(&amounts, line, calculator)? } else { 0 };
    let mut ratios = Vec::new();
    let mut found = Vec::new();
    for (index, (part, _)) in parts.iter().enumerate() {
        let (ratio, figure) =
            ratio(&amounts[index], &amounts[reference], index == reference, line, calculator)?;
        let rounding = calculator.printer().settings.rounding;
        let (figure, expanded) = match (index == reference, with_expanded(&figure, ratio.expanded, rounding))
        {
            (false, Some((shared, expanded))) => (shared, Some(expanded)),
            _ => (figure, None),
        };
        found.push(PartFound { part: part.value.clone(), ratio: figure, expanded });
        ratios.push(ratio);
    }
    let multipliers = if empirical { 1..=MOST_MULTIPLIER } else { 1..=halves(&ratios) };
    let names: Vec<&str> = parts.iter().map(|(part, _)| part.value.as_str()).collect();
    let verdict = whole_numbers(&ratios, multipliers);
    Some(told(line, &names, empirical, found, &ratios, &verdict, calculator))
}

/// Whether the data name the whole number of a theory (`x = 5`): says so, or that they cannot, with a note.
pub(super) fn whole_number(line: &Definition, result: &Value, calculator: &mut Calculator) {
    let Some(expected) = literal(line).filter(|expected| (1..=MOST_WHOLE).contains(expected)) else { return };
    let Some(node) = mean_of(result, line, calculator) else { return };
    let quantity = calculator.graph.quantity(node).clone();
    let expanded = expanded_uncertainty(result, node, calculator);
    let value = quantity.number.to_f64();
    if !quantity.dimension.is_pure() || !expanded.is_finite() || expanded <= 0.0 || value <= 0.0 {
        return;
    }
    let verdict = whole_numbers(&[Ratio { value, expanded }], [1]);
    let as_expected = matches!(&verdict, WholeNumbers::One(set) if set.first() == Some(&expected));
    if as_expected && !calculator.in_full {
        return;
    }
    let uncertainty = Uncertainty::of(expanded / COVERAGE_FACTOR, COVERAGE_FACTOR);
    let figure = calculator.printer().by_policy(&quantity, &Unit::one(), uncertainty.as_ref());
    let rounding = calculator.printer().settings.rounding;
    let Some((figure, shown)) = figure.and_then(|figure| with_expanded(&figure, expanded, rounding)) else {
        return;
    };
    let symbol = line.symbol.value.to_string();
    let said = format!("{symbol} = {} ± {shown}", figure.printed.ascii());
    let (whole, candidates, sentence) = match &verdict {
        WholeNumbers::One(set) => {
            let whole = set.first().copied().unwrap_or(0);
            let against = match whole == expected {
                true => ", as the theory says".to_string(),
                false => format!(", not the {expected} of the theory"),
            };
            (Some(whole), Vec::new(), format!("the only whole number that fits is {whole}{against}"))
        }
        WholeNumbers::Several { sets, needed } => {
            let all: Vec<u32> = sets.iter().filter_map(|set| set.first().copied()).collect();
            let listed: Vec<String> = all.iter().map(u32::to_string).collect();
            let needed = two_figures(expanded * needed).unwrap_or_else(|| "0".into());
            let sentence = format!(
                "the data cannot tell {} apart; {symbol} would have to be known to better than ± {needed}",
                listed.join(" and ")
            );
            (None, all, sentence)
        }
        WholeNumbers::Nothing { nearest } => {
            let nearest = nearest.first().copied().unwrap_or(0);
            let sentence = format!(
                "no whole number up to {MOST_WHOLE} fits (the nearest is {nearest}), so more than weighing, atomic weights \
                 and the scatter of the trials is at work"
            );
            (None, Vec::new(), sentence)
        }
    };
    if whole != Some(expected) {
        calculator.report(Finding::note(Code::NoFormula, line.span, format!("{said}: {sentence}")));
    }
    calculator.whole_numbers.push(WholeNumberResult {
        symbol,
        ratio: figure,
        expanded: shown,
        whole,
        candidates,
        verdict: sentence,
        span: line.span,
    });
}

/// A value and its expanded uncertainty as printed beside each other, to one last place.
fn with_expanded(figure: &Figure, expanded: f64, rounding: Rounding) -> Option<(Figure, String)> {
    let uncertainty = Uncertainty::of(expanded / COVERAGE_FACTOR, COVERAGE_FACTOR)?;
    let (printed, beside) = print_to_one_place(&figure.number, &figure.printed, &uncertainty, rounding);
    Some((Figure { printed, ..figure.clone() }, beside.expanded))
}

/// The whole number a line consists of.
fn literal(line: &Definition) -> Option<u32> {
    match &line.expression.as_ref()?.kind {
        ExpressionKind::Number { value, unit: None } if value.is_integer_literal() => {
            value.to_number().to_i64().and_then(|whole| whole.try_into().ok())
        }
        _ => None,
    }
}

/// A part below one (half a molecule of water) may need two formula units.
fn halves(ratios: &[Ratio]) -> u32 {
    if ratios.iter().any(|ratio| ratio.value < 0.9) { 2 } else { 1 }
}

fn mean_of(value: &Value, line: &Definition, calculator: &mut Calculator) -> Option<NodeId> {
    let mean = calculator.across(value, line.span, |q| Ok((Operation::Mean, Quantity::mean(q)?)));
    mean.at(0).ok()
}

fn scarcest(amounts: &[Value], line: &Definition, calculator: &mut Calculator) -> Option<usize> {
    let mut least: Option<(usize, f64)> = None;
    for (index, amount) in amounts.iter().enumerate() {
        let node = mean_of(amount, line, calculator)?;
        let value = calculator.graph.quantity(node).number.to_f64();
        if least.is_none_or(|(_, other)| value < other) {
            least = Some((index, value));
        }
    }
    least.map(|(index, _)| index)
}

fn ratio(
    amount: &Value,
    reference: &Value,
    is_reference: bool,
    line: &Definition,
    calculator: &mut Calculator,
) -> Option<(Ratio, Figure)> {
    let quotient = calculator.binary(BinaryOperator::Divide, amount.clone(), reference.clone(), line.span);
    let node = mean_of(&quotient, line, calculator)?;
    let quantity = calculator.graph.quantity(node).clone();
    if !quantity.dimension.is_pure() {
        let message = "the amounts of a formula have to be of one kind, as amounts of substance are";
        calculator.report(Finding::error(Code::DimensionMismatch, line.span, message));
        return None;
    }
    let expanded = if is_reference { 0.0 } else { expanded_uncertainty(&quotient, node, calculator) };
    let uncertainty = Uncertainty::of(expanded / COVERAGE_FACTOR, COVERAGE_FACTOR);
    let figure = calculator.printer().by_policy(&quantity, &Unit::one(), uncertainty.as_ref())?;
    Some((Ratio { value: quantity.number.to_f64(), expanded }, figure))
}

/// √((t s/√n)² + (2 u)²).
fn expanded_uncertainty(quotient: &Value, mean: NodeId, calculator: &Calculator) -> f64 {
    let weighing = COVERAGE_FACTOR * calculator.inputs.standard_uncertainty(calculator.graph, mean);
    let values = agreement::values(quotient, calculator.trials.list(), Trial::counts);
    let n = values.len();
    let Some(t) = n.checked_sub(1).and_then(|df| student_t(df as f64, 0.95)) else { return weighing };
    let numbers: Vec<Number> =
        values.iter().map(|node| calculator.graph.quantity(*node).number.clone()).collect();
    let agreement = Agreement::of(&numbers).ok().flatten();
    let s = agreement.and_then(|agreement| agreement.s_as_double()).unwrap_or(0.0);
    weighing.hypot(t * s / (n as f64).sqrt())
}

fn told(
    line: &Definition,
    names: &[&str],
    empirical: bool,
    parts: Vec<PartFound>,
    ratios: &[Ratio],
    verdict: &WholeNumbers,
    calculator: &mut Calculator,
) -> FormulaFound {
    let written = |set: &Vec<u32>| written(names, set, empirical);
    let limits = match empirical {
        true => {
            format!("whole numbers up to {MOST_WHOLE}, at most {MOST_MULTIPLIER} of the scarcest element")
        }
        false => format!("whole numbers up to {MOST_WHOLE}"),
    };
    let (formula, candidates, sentence) = match verdict {
        WholeNumbers::One(set) => {
            let formula = written(set);
            let sentence =
                format!("{formula} is the smallest formula that fits within the uncertainty ({limits})");
            (Some(formula), Vec::new(), sentence)
        }
        WholeNumbers::Several { sets, needed } => {
            let all: Vec<String> = sets.iter().map(written).collect();
            let widest = ratios.iter().map(|ratio| ratio.expanded).fold(0.0, f64::max);
            let needed = two_figures(widest * needed).unwrap_or_else(|| "0".into());
            let sentence = format!(
                "the data cannot tell {} apart: the ratios would have to be known to better than ± {needed}",
                all.join(" and ")
            );
            (None, all, sentence)
        }
        WholeNumbers::Nothing { nearest } => {
            let sentence = format!(
                "no formula fits within the uncertainty ({limits}); the nearest is {}",
                written(nearest)
            );
            (None, Vec::new(), sentence)
        }
    };
    if formula.is_none() {
        let message = format!("{}: {sentence}", line.symbol.value);
        calculator.report(Finding::note(Code::NoFormula, line.span, message));
    }
    let symbol = line.symbol.value.to_string();
    FormulaFound { symbol, parts, formula, candidates, verdict: sentence, span: line.span }
}

/// `Fe2O3` of elements; `CuSO4·5H2O` of compounds.
fn written(names: &[&str], set: &[u32], empirical: bool) -> String {
    let one = |(index, (name, count)): (usize, (&&str, &u32))| match (empirical, count) {
        (true, 1) => (*name).to_string(),
        (true, count) => format!("{name}{count}"),
        (false, count) => {
            let joint = if index == 0 { "" } else { "·" };
            let count = if *count == 1 { String::new() } else { count.to_string() };
            format!("{joint}{count}{name}")
        }
    };
    names.iter().zip(set).enumerate().map(one).collect()
}
