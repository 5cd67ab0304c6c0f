//! The agreement of the trials of one quantity, printed by its digits.

use super::printer::{Printer, by_figures};
use super::results::{AgreementResult, Figure};
use super::{Slot, Value};
use crate::finding::{Code, Finding};
use crate::notebook::settings::{RepeatabilityLimit, Settings};
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::rounding::round_to_figures;
use crate::quantity::{Digits, Number, Quantity, Unit, print};
use crate::span::Span;
use crate::statistics::{Agreement, critical_range_factor};
use crate::weighing::Trial;

/// The values of the trials that `counts` lets in.
pub(super) fn values(value: &Value, trials: &[Trial], counts: impl Fn(&Trial) -> bool) -> Vec<NodeId> {
    let Value::Trials(slots) = value else { return Vec::new() };
    nodes(slots, trials, counts).into_iter().map(|(node, _)| node).collect()
}

/// The same, each with its trial.
pub(super) fn nodes(
    slots: &[Slot],
    trials: &[Trial],
    counts: impl Fn(&Trial) -> bool,
) -> Vec<(NodeId, Option<usize>)> {
    let counted = slots.iter().zip(trials).enumerate().filter(|(_, (_, trial))| counts(trial));
    counted.filter_map(|(index, (slot, _))| Some((*slot.as_ref().ok()?, Some(index)))).collect()
}

/// The mean of some values, as a node.
pub(super) fn mean_node(values: &[NodeId], graph: &mut Graph) -> Option<NodeId> {
    let quantities: Vec<&Quantity> = values.iter().map(|value| graph.quantity(*value)).collect();
    let quantity = Quantity::mean(&quantities).ok()?;
    Some(graph.add(Node {
        operation: Operation::Mean,
        inputs: NodeInputs::from_slice(values),
        quantity,
        span: None,
    }))
}

/// The agreement of some values in a unit, with their mean as a node and, if `in_full`, the uncertainty of the mean; `None`
/// for no value or one that does not fit the unit.
pub(super) fn of(
    values: &[NodeId],
    mean: NodeId,
    unit: &Unit,
    in_full: bool,
    printer: &Printer,
) -> Option<AgreementResult> {
    let refs: Vec<&Quantity> = values.iter().map(|value| printer.graph.quantity(*value)).collect();
    let numbers: Vec<Number> = refs.iter().map(|value| value.number_in(unit).ok()).collect::<Option<_>>()?;
    let numbers = Agreement::of(&numbers).ok()??;
    let (middle, evaluated) = printer.figure_and_uncertainty(mean, unit, in_full)?;
    Some(AgreementResult {
        mean: middle,
        mean_node: mean,
        evaluated,
        values: values.to_vec(),
        repeatability: None,
        provisional: false,
        numbers,
    })
}

/// Largest − smallest of some values in a unit, as printed.
pub(super) fn range(values: &[NodeId], unit: &Unit, printer: &Printer) -> Option<Figure> {
    let refs: Vec<&Quantity> = values.iter().map(|value| printer.graph.quantity(*value)).collect();
    // A difference of temperatures has no zero point.
    printer.scatter_of(&Quantity::range(&refs).ok()?, &unit.interval(), values)
}

/// Compares the range with the repeatability limit that the settings state for the symbol.
pub(super) fn compare(
    result: &mut AgreementResult,
    limit: &RepeatabilityLimit,
    symbol: &str,
    unit: &Unit,
    span: Option<Span>,
    printer: &Printer,
    findings: &mut Vec<Finding>,
) {
    let settings = printer.settings;
    if result.numbers.n < 2 {
        return;
    }
    if critical_range_factor(result.numbers.n).is_none() {
        let message = format!(
            "the repeatability limit of {symbol} is not judged: the critical range is tabulated up to n = 10, here n = {}",
            result.numbers.n
        );
        findings.push(Finding::note(Code::Repeatability, limit.symbol.span, message));
        return;
    }
    if lacks_unit(&limit.unit, unit) {
        findings.push(unit_lacking("repeatability limit", symbol, limit.symbol.span, unit));
        return;
    }
    let Some((allowed, figure)) = allowed(result, limit, unit, settings) else {
        let message =
            format!("the repeatability limit of {symbol} is not in a unit that fits {}", unit.symbol());
        findings.push(Finding::error(Code::BadSetting, limit.symbol.span, message));
        return;
    };
    let keeps = result.numbers.range <= allowed;
    if !keeps {
        let message = format!(
            "the trials of {symbol} are {} apart, more than the {} allowed for n = {}",
            with_unit(range(&result.values, unit, printer).as_ref(), unit),
            with_unit(Some(&figure), unit),
            result.numbers.n
        );
        findings
            .push(Finding::warning(Code::Repeatability, span, message).label(limit.symbol.span, "the limit"));
    }
    result.repeatability = Some((figure, keeps));
}

/// Whether a number without a unit is held against a fraction that is shown in per cent or the like: 0.2 may then mean
/// 0.2 % or 20 %.
pub(super) fn lacks_unit(stated: &Unit, shown: &Unit) -> bool {
    stated.is_one() && !shown.is_one() && shown.dimension() == stated.dimension()
}

/// What is said of it.
pub(super) fn unit_lacking(what: &str, symbol: &str, place: Span, shown: &Unit) -> Finding {
    let shown = shown.symbol();
    let message = format!("the {what} of {symbol} has no unit, and {symbol} is shown in {shown}");
    Finding::error(Code::BadSetting, place, message)
        .hint(format!("write the number with `{shown}` behind it"))
}

fn with_unit(figure: Option<&Figure>, unit: &Unit) -> String {
    let printed = figure.map_or_else(|| "–".to_string(), |figure| figure.printed.ascii());
    if unit.is_one() { printed } else { format!("{printed} {}", unit.symbol()) }
}

/// The limit on the range of n values in a unit, and its printed form: no finer than the last place of the mean or
/// two figures, whichever is finer.
fn allowed(
    result: &AgreementResult,
    limit: &RepeatabilityLimit,
    unit: &Unit,
    settings: &Settings,
) -> Option<(Number, Figure)> {
    let factor = critical_range_factor(result.numbers.n)?;
    let quantity = if limit.relative {
        let mean = Quantity::exact(result.numbers.mean.abs().mul(unit.factor()).ok()?, unit.dimension());
        limit.limit.mul(&mean).ok()?
    } else {
        limit.limit.clone()
    };
    let quantity = quantity.mul(&Quantity::exact(factor, Unit::one().dimension())).ok()?;
    let mut figure = by_figures(&quantity, &unit.interval(), settings)?;
    if figure.number.signum() > 0 {
        // A factor of n or an exact mean would leave the limit with digits nobody stated.
        let two = round_to_figures(&figure.number, 2, settings.rounding).place();
        let place = two.min(result.mean.printed.place());
        if figure.printed.place() < place {
            figure.printed = print(&figure.number, Digits::Measured(place), settings.rounding);
        }
    }
    Some((figure.number.clone(), figure))
}
