//! Advice on the trials of a result: outlier tests, and whether the balance explains their scatter. Notes only;
//! nothing is left out by them.

use super::calculator::Calculator;
use super::outcomes::Collector;
use super::results::{Origin, QuantityResult};
use super::uncertainty::Covers;
use super::verdicts::{OutlierAdvice, ScatterRatio};
use crate::finding::{Code, Finding};
use crate::quantity::{Dimension, Number};
use crate::statistics::{DIXON_TABLE, Dixon, DixonVerdict, GRUBBS_TABLE, Grubbs, GrubbsVerdict, Suspect};
use crate::weighing::balance;

/// Fewest trials an outlier test looks at.
const FEWEST: usize = 3;
/// From here on the scatter is not what the readings bring. Even of two trials it is larger by chance in less than
/// one case of two hundred (χ² = 9 with one degree of freedom).
const FAR: f64 = 3.0;

/// Looks at every result that its trials repeat.
pub(super) fn give(collector: &mut Collector, calculator: &mut Calculator) {
    let mut dominated = Vec::new();
    let known = balances_are_known(calculator);
    for index in 0..collector.quantities.len() {
        let quantity = &collector.quantities[index];
        if !is_repeated(quantity) {
            continue;
        }
        let values = values(quantity, collector, calculator);
        let outliers = outliers(quantity, &values);
        let scatter = scatter(quantity, &values).filter(|_| known);
        if let Some(finding) = outliers.as_ref().and_then(|advice| outlier_note(advice, quantity, collector))
        {
            calculator.report(finding);
        }
        if let Some(ratio) = scatter.filter(|scatter| scatter.dominates) {
            dominated.push((index, ratio.ratio));
        }
        collector.quantities[index].outliers = outliers;
        collector.quantities[index].scatter = scatter;
    }
    if let Some(finding) = scatter_note(&dominated, collector) {
        calculator.report(finding);
    }
}

/// Whether every balance that was read states its repeatability. Without it, the last place of the readings stands for
/// it, which no scatter is rightly held against.
fn balances_are_known(calculator: &Calculator) -> bool {
    let settings = &calculator.notebook.settings;
    let readings = calculator.masses.weighings.series.iter().flat_map(|series| &series.rows);
    let stated = |name: &str| balance::named(settings, name).is_some_and(|b| b.repeatability.is_some());
    readings
        .flat_map(|row| &row.readings)
        .filter(|reading| reading.node.is_some())
        .all(|reading| reading.balance.as_deref().is_some_and(stated))
}

/// A result that every trial should give again. What grows with the portion taken does not, unless a theory or a limit
/// says so.
fn is_repeated(quantity: &QuantityResult) -> bool {
    let expected = quantity.theory.as_ref().is_some_and(|theory| theory.scalar.is_some())
        || quantity.agreement.as_ref().is_some_and(|agreement| agreement.repeatability.is_some())
        || !quantity.conformity.is_empty();
    quantity.origin == Origin::Working && (expected || !grows_with_the_portion(quantity.unit.dimension()))
}

pub(super) fn grows_with_the_portion(dimension: Dimension) -> bool {
    [Dimension::MASS, Dimension::VOLUME, Dimension::AMOUNT, Dimension::TIME].contains(&dimension)
}

/// The value of a trial that counts.
struct Valued {
    trial: usize,
    number: Number,
    u: f64,
    covers: Covers,
}

fn values(quantity: &QuantityResult, collector: &Collector, calculator: &Calculator) -> Vec<Valued> {
    let printer = collector.printer(calculator.graph);
    let trials = collector.trials.iter().enumerate().filter(|(_, trial)| trial.counts());
    let valued = |(index, _): (usize, _)| {
        let value = quantity.trials.get(index)?.value()?;
        let evaluated = value.evaluated.unwrap_or_else(|| printer.evaluated(value.node, &quantity.unit));
        Some(Valued {
            trial: index,
            number: value.number.clone(),
            u: evaluated.standard,
            covers: evaluated.covers,
        })
    };
    trials.filter_map(valued).collect()
}

fn outliers(quantity: &QuantityResult, values: &[Valued]) -> Option<OutlierAdvice> {
    let numbers = &quantity.agreement.as_ref().filter(|agreement| agreement.numbers.n >= FEWEST)?.numbers;
    if numbers.range.is_zero() {
        return None;
    }
    let list: Vec<Number> = values.iter().map(|value| value.number.clone()).collect();
    let (dixon, grubbs) = (Dixon::of(&list), Grubbs::of(&list));
    let suspects = [dixon.as_ref().map(|dixon| dixon.suspect), grubbs.as_ref().map(|grubbs| grubbs.suspect)];
    let within_readings = suspects.into_iter().flatten().all(|suspect| is_within_readings(suspect, values));
    let trials = values.iter().map(|value| value.trial).collect();
    (dixon.is_some() || grubbs.is_some()).then_some(OutlierAdvice { trials, dixon, grubbs, within_readings })
}

/// Whether a value is no farther from its nearest neighbour than the expanded uncertainty (k = 2) of their difference.
fn is_within_readings(suspect: Suspect, values: &[Valued]) -> bool {
    let Some(own) = values.get(suspect.index) else { return false };
    let others = values.iter().enumerate().filter(|(index, _)| *index != suspect.index);
    let gap = |(_, other): (usize, &Valued)| {
        let distance = own.number.sub(&other.number).ok()?.to_f64().abs();
        Some((distance, 2.0 * own.u.hypot(other.u)))
    };
    let nearest = others.filter_map(gap).min_by(|a, b| a.0.total_cmp(&b.0));
    nearest.is_some_and(|(distance, allowed)| distance <= allowed)
}

fn outlier_note(advice: &OutlierAdvice, quantity: &QuantityResult, collector: &Collector) -> Option<Finding> {
    let name = |suspect: Suspect| {
        let trial = advice.trials.get(suspect.index).and_then(|trial| collector.trials.get(*trial));
        trial.map_or(String::new(), |trial| trial.name.clone())
    };
    let dixon = advice.dixon.as_ref().filter(|dixon| dixon.verdict == DixonVerdict::Beyond).map(|dixon| {
        let (q, critical) = (dixon.q.to_f64(), dixon.critical.to_f64());
        (name(dixon.suspect), format!("Q = {q:.3}, above {critical:.3} ({DIXON_TABLE})"))
    });
    let grubbs =
        advice.grubbs.as_ref().filter(|grubbs| grubbs.verdict != GrubbsVerdict::Within).map(|grubbs| {
            let (critical, level) = match grubbs.verdict {
                GrubbsVerdict::Outlier => (grubbs.critical_1, "at 1 %"),
                _ => (grubbs.critical_5, "at 5 %"),
            };
            (
                name(grubbs.suspect),
                format!("G = {:.3}, above {critical:.3} {level} ({GRUBBS_TABLE})", grubbs.g),
            )
        });
    let (trial, _) = dixon.as_ref().or(grubbs.as_ref()).filter(|_| !advice.within_readings)?;
    let said: Vec<&str> = dixon.iter().chain(&grubbs).map(|(_, said)| said.as_str()).collect();
    let message = format!(
        "trial {trial} lies far from the other {} trials in {}: {}",
        advice.trials.len().saturating_sub(1),
        quantity.symbol,
        said.join("; ")
    );
    let finding = Finding::note(Code::Outlier, quantity.span, message);
    Some(finding.hint("nothing was left out: look for a reason in the record before you set a trial aside"))
}

/// s beside the uncertainty of a single trial, where that is of weighing and the other inputs alone.
fn scatter(quantity: &QuantityResult, values: &[Valued]) -> Option<ScatterRatio> {
    let s = quantity.agreement.as_ref()?.numbers.s_as_double()?;
    let squares: f64 = values.iter().map(|value| value.u * value.u).sum();
    let of_one = (squares / values.len() as f64).sqrt();
    let known = values.iter().all(|value| value.covers == Covers::Inputs);
    let ratio = s / of_one;
    (known && of_one > 0.0 && ratio.is_finite()).then_some(ScatterRatio { ratio, dominates: ratio >= FAR })
}

/// One note for all results whose scatter the readings do not explain.
fn scatter_note(dominated: &[(usize, f64)], collector: &Collector) -> Option<Finding> {
    let (first, _) = dominated.first()?;
    let list: Vec<String> = dominated
        .iter()
        .map(|(index, ratio)| format!("{} ({ratio:.1} times)", collector.quantities[*index].symbol))
        .collect();
    let message = format!(
        "the trials scatter far more than their readings explain: {}; something other than the balance dominates",
        list.join(", ")
    );
    let finding = Finding::note(Code::Scatter, collector.quantities[*first].span, message);
    Some(finding.hint("look at the sample, the heating and the handling; a better balance would not help"))
}
