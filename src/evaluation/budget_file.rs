//! Budgets in the results file.

use super::results::{Origin, Results};
use super::uncertainty::{At, Budget, BudgetEntry, figures_of, two_figures};
use serde_json::{Map, Value, json};

/// Significant figures of sensitivities and contributions.
const FIGURES: u32 = 5;
/// Significant figures of estimates.
const ESTIMATE: u32 = 12;

/// Adds the budget of a value of a quantity (by its index) of the working to the value's object.
pub(super) fn into(object: &mut Map<String, Value>, results: &Results, quantity: usize, at: At) {
    if results.quantities[quantity].origin != Origin::Working {
        return;
    }
    if let Some(budget) = results.budget(quantity, at) {
        object.insert("budget".into(), budget_object(&budget));
    }
}

fn budget_object(budget: &Budget) -> Value {
    json!({
        "title": budget.title,
        "coverage_probability": figures_of(budget.evaluated.coverage_probability(), 3),
        "entries": budget.entries.iter().map(entry_object).collect::<Vec<_>>(),
    })
}

fn entry_object(entry: &BudgetEntry) -> Value {
    let mut object = Map::new();
    object.insert("name".into(), json!(entry.name));
    if let Some(input) = &entry.input {
        object.insert("value".into(), json!(figures_of(input.value, ESTIMATE)));
        object.insert("unit".into(), json!(input.unit.symbol()));
        object.insert("u".into(), json!(two_figures(input.standard_uncertainty)));
        object.insert("sensitivity".into(), json!(figures_of(input.sensitivity, FIGURES)));
    }
    object.insert("contribution".into(), json!(figures_of(entry.contribution, FIGURES)));
    object.insert("share".into(), json!(figures_of(entry.share, 3)));
    if let Some(evaluation) = entry.evaluation {
        object.insert("evaluation".into(), json!(evaluation.letter()));
    }
    if let Some(distribution) = entry.distribution {
        object.insert("distribution".into(), json!(distribution));
    }
    if let Some(degrees_of_freedom) = entry.degrees_of_freedom {
        object.insert("degrees_of_freedom".into(), json!(figures_of(degrees_of_freedom, FIGURES)));
    }
    Value::Object(object)
}
