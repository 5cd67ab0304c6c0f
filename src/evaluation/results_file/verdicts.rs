//! Verdicts on results in the results file: theory, limits, outliers, scatter.

use super::figure_object;
use crate::evaluation::results::{QuantityResult, Results};
use crate::evaluation::uncertainty::{Evaluated, two_figures};
use crate::evaluation::verdicts::{Conformity, OutlierAdvice, TheoryTest, TheoryVerdict};
use crate::statistics::{DIXON_TABLE, DixonVerdict, GRUBBS_TABLE, GrubbsVerdict, Suspect};
use serde_json::{Map, Value, json};

/// Adds what is judged of a quantity.
pub(super) fn into(object: &mut Map<String, Value>, quantity: &QuantityResult, results: &Results) {
    if let Some(test) = quantity.theory.as_ref().and_then(|theory| theory.test.as_ref()) {
        object.insert("theory_test".into(), theory_test(test));
    }
    if !quantity.conformity.is_empty() {
        let list: Vec<Value> = quantity.conformity.iter().map(conformity).collect();
        object.insert("conformity".into(), Value::Array(list));
    }
    if let Some(advice) = &quantity.outliers {
        object.insert("outliers".into(), outliers(advice, results));
    }
    if let Some(scatter) = &quantity.scatter {
        let ratio = two_figures(scatter.ratio);
        object.insert("scatter".into(), json!({ "ratio": ratio, "dominates": scatter.dominates }));
    }
}

fn theory_test(test: &TheoryTest) -> Value {
    let reason = match &test.verdict {
        TheoryVerdict::NotJudged(reason) => Some(reason),
        _ => None,
    };
    let mut object = Map::new();
    object.insert("verdict".into(), json!(test.verdict.word()));
    object.insert("reason".into(), json!(reason));
    object
        .insert("difference".into(), json!(test.printed.as_ref().map(|(difference, _)| difference.ascii())));
    expanded_into(&mut object, &test.evaluated, test.probability);
    Value::Object(object)
}

fn expanded_into(object: &mut Map<String, Value>, evaluated: &Evaluated, probability: f64) {
    object.insert("u".into(), json!(two_figures(evaluated.standard)));
    object.insert("U".into(), json!(two_figures(evaluated.expanded)));
    object.insert("k".into(), json!(format!("{:.2}", evaluated.coverage_factor)));
    object.insert("degrees_of_freedom".into(), json!(evaluated.degrees_of_freedom.and_then(two_figures)));
    object.insert("probability".into(), json!(probability.to_string()));
}

fn conformity(conformity: &Conformity) -> Value {
    let mut object = Map::new();
    object.insert("limit".into(), json!(conformity.limit));
    object.insert("decision".into(), json!(conformity.decision.words()));
    object.insert("verdict".into(), json!(conformity.verdict.word()));
    object.insert("result".into(), figure_object(&conformity.result));
    expanded_into(&mut object, &conformity.evaluated, conformity.probability);
    let probability = conformity.probability_of_conformity.map(|p| format!("{p:.4}"));
    object.insert("probability_of_conformity".into(), json!(probability));
    Value::Object(object)
}

fn outliers(advice: &OutlierAdvice, results: &Results) -> Value {
    let name = |index: usize| advice.trials.get(index).and_then(|trial| results.trials.get(*trial));
    let suspect = |suspect: Suspect| name(suspect.index).map(|trial| trial.name.clone());
    let dixon = advice.dixon.as_ref().map(|dixon| {
        json!({
            "suspect": suspect(dixon.suspect),
            "q": format!("{:.3}", dixon.q.to_f64()),
            "critical": format!("{:.3}", dixon.critical.to_f64()),
            "verdict": dixon_word(dixon.verdict),
            "table": DIXON_TABLE,
        })
    });
    let grubbs = advice.grubbs.as_ref().map(|grubbs| {
        json!({
            "suspect": suspect(grubbs.suspect),
            "g": format!("{:.3}", grubbs.g),
            "critical_5": format!("{:.3}", grubbs.critical_5),
            "critical_1": format!("{:.3}", grubbs.critical_1),
            "verdict": grubbs_word(grubbs.verdict),
            "table": GRUBBS_TABLE,
        })
    });
    json!({
        "trials": (0..advice.trials.len()).filter_map(|index| Some(name(index)?.name.clone())).collect::<Vec<_>>(),
        "dixon": dixon,
        "grubbs": grubbs,
        "within_readings": advice.within_readings,
    })
}

/// What a Q means.
pub(crate) fn dixon_word(verdict: DixonVerdict) -> &'static str {
    match verdict {
        DixonVerdict::Within => "within",
        DixonVerdict::Borderline => "borderline",
        DixonVerdict::Beyond => "beyond",
    }
}

/// What a G means.
pub(crate) fn grubbs_word(verdict: GrubbsVerdict) -> &'static str {
    match verdict {
        GrubbsVerdict::Within => "within",
        GrubbsVerdict::Straggler => "straggler",
        GrubbsVerdict::Outlier => "outlier",
    }
}
