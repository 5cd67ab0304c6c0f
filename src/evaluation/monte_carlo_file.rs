//! Monte Carlo draws in the results file.

use super::results::Results;
use super::uncertainty::monte_carlo::{Checked, MonteCarlo, Validation};
use super::uncertainty::{At, figures_of};
use crate::statistics::CoverageInterval;
use serde_json::{Map, Value, json};

/// Significant figures of a mean and of the ends of intervals.
const FIGURES: u32 = 12;
/// Significant figures of uncertainties and differences.
const OF_U: u32 = 3;

/// The draws of a notebook; null where it does not ask for them.
pub(super) fn object(results: &Results) -> Value {
    let Some(monte_carlo) = &results.monte_carlo else { return Value::Null };
    let MonteCarlo { generator, plan, checked, .. } = monte_carlo;
    json!({
        "generator": generator,
        "seed": plan.seed,
        "coverage_probability": figures_of(plan.probability, FIGURES),
        "digits": plan.digits,
        "values": checked.iter().map(|checked| checked_object(checked, results)).collect::<Vec<_>>(),
    })
}

fn checked_object(checked: &Checked, results: &Results) -> Value {
    let quantity = &results.quantities[checked.quantity];
    let mut object = Map::new();
    object.insert("symbol".into(), json!(quantity.symbol));
    object.insert("unit".into(), json!(quantity.unit.symbol()));
    let trial = match checked.at {
        At::Trial(trial) => results.trials.get(trial).map(|trial| trial.name.as_str()),
        At::Scalar | At::Mean => None,
    };
    match trial {
        Some(trial) => object.insert("trial".into(), json!(trial)),
        None => object.insert("mean_of_trials".into(), json!(checked.at == At::Mean)),
    };
    let drawn = &checked.drawn;
    object.insert("draws".into(), json!(drawn.draws));
    object.insert("without_value".into(), json!(drawn.without_value));
    object.insert("mean".into(), json!(drawn.mean.map(|mean| figures_of(mean, FIGURES))));
    object.insert("u".into(), json!(drawn.standard_uncertainty.map(|u| figures_of(u, OF_U))));
    object.insert("symmetric".into(), interval(drawn.symmetric));
    object.insert("shortest".into(), interval(drawn.shortest));
    object.insert("stable".into(), json!(drawn.stable));
    object.insert("first_order".into(), json!(checked.validation.as_ref().map(validation)));
    Value::Object(object)
}

fn interval(interval: Option<CoverageInterval>) -> Value {
    let end = |end: f64| figures_of(end, FIGURES);
    interval.map_or(Value::Null, |interval| json!([end(interval.low), end(interval.high)]))
}

fn validation(validation: &Validation) -> Value {
    json!({
        "verdict": validation.verdict.word(),
        "interval": interval(Some(validation.first_order)),
        "difference_low": figures_of(validation.low, OF_U),
        "difference_high": figures_of(validation.high, OF_U),
        "tolerance": figures_of(validation.tolerance, OF_U),
    })
}
