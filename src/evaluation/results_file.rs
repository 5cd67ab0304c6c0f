//! The results file: one JSON document, numbers as decimal strings so that no digit is lost.
//!
//! Its schema is published beside the program (`reweigh/results/1`). A value has 34 significant figures
//! and `exact` says whether that is all of it; `printed` is ASCII, without unit, trailing zeros kept.

mod air;
mod verdicts;

use super::budget_file;
use super::monte_carlo_file;
use super::results::{
    AgreementResult, Claim, Computed, ConstantMass, Figure, FormulaFound, MeasuredWords, Outcome, PartFound,
    ReactionResult, ReadingCell, ReagentResult, Results, Series, SeriesRow, StepResult, StepTable, StepTrial,
    TemplateUsed, TheoryResult, Trial, WholeNumberResult, YieldResult,
};
use super::spread::Spread;
use super::uncertainty::{At, Evaluated, figures_of, two_figures};
use crate::finding::{Finding, in_json};
use crate::notebook::settings::{DecimalMark, DigitsPolicy, ShownUncertainty, UncertaintyForm};
use crate::quantity::{Decimal, Number, Rounding, Unit};
use crate::span::Lines;
use serde_json::{Map, Value, json};

/// The name of the document's form.
pub const SCHEMA: &str = "reweigh/results/1";

/// Significant figures of `value`.
const FIGURES: u32 = 34;

/// The results file of a notebook, as it is written (ends with a newline).
pub fn results_file(results: &Results, text: &str) -> String {
    let lines = Lines::of(text);
    let place = |finding: &Finding| finding_object(finding, text, &lines);
    let document = json!({
        "schema": SCHEMA,
        "program": { "name": "reweigh", "version": env!("CARGO_PKG_VERSION") },
        "notebook": {
            "name": results.name,
            "title": results.settings.title.as_ref().map(|title| &title.value),
            "date": results.settings.date.as_ref().map(|date| date.value.to_string()),
            "sha256": results.sha256,
        },
        "files": results.files.iter().map(|(path, hash)| json!({ "path": path, "sha256": hash })).collect::<Vec<_>>(),
        "template": results.template.as_ref().map(template_object),
        "atomic_weights": results.atomic_weights,
        "digits": digits_word(results.settings.digits),
        "rounding": rounding_word(results.settings.rounding),
        "uncertainty": {
            "shown": shown_word(results.settings.shown_uncertainty()),
            "form": form_word(results.settings.form()),
        },
        "decimal": if results.settings.decimal == DecimalMark::Comma { "comma" } else { "point" },
        "seed": results.settings.seed,
        "trials": results.trials.iter().map(|trial| &trial.name).collect::<Vec<_>>(),
        "blanks": names(results, |trial| trial.blank),
        "set_aside": set_aside(results),
        "series": results.series.iter().map(|series| series_object(series, results)).collect::<Vec<_>>(),
        "quantities": (0..results.quantities.len()).map(|q| quantity_object(q, results)).collect::<Vec<_>>(),
        "measured_words": results.measured_words.iter().map(|words| words_object(words, results)).collect::<Vec<_>>(),
        "monte_carlo": monte_carlo_file::object(results),
        "reactions": results.reactions.iter().map(reaction_object).collect::<Vec<_>>(),
        "formulas": results.formulas.iter().map(formula_object).collect::<Vec<_>>(),
        "steps": results.steps.iter().map(|steps| steps_object(steps, results)).collect::<Vec<_>>(),
        "whole_numbers": results.whole_numbers.iter().map(whole_number_object).collect::<Vec<_>>(),
        "yields": results.yields.iter().map(|found| yield_object(found, results)).collect::<Vec<_>>(),
        "buoyancy": results.buoyancy.as_ref().map(air::buoyancy_object),
        "checks": results.checks.iter().map(|c| json!({ "text": c.text, "ticked": c.ticked })).collect::<Vec<_>>(),
        "claims": results.claims.iter().map(|c| claim_object(c, results, text, &lines)).collect::<Vec<_>>(),
        "findings": results.findings.iter().map(place).collect::<Vec<_>>(),
    });
    let mut text = in_json(serde_json::to_string_pretty(&document).unwrap_or_default());
    text.push('\n');
    text
}

/// The digits policy as in `experiment`.
pub fn digits_word(policy: DigitsPolicy) -> &'static str {
    match policy {
        DigitsPolicy::SignificantFigures => "significant figures",
        DigitsPolicy::Uncertainty => "uncertainty",
    }
}

/// What is shown of the uncertainty, as in `experiment`.
fn shown_word(shown: ShownUncertainty) -> &'static str {
    match shown {
        ShownUncertainty::Off => "off",
        ShownUncertainty::Short => "short",
        ShownUncertainty::Full => "full",
    }
}

/// The form of the uncertainty beside a value, as in `experiment`.
fn form_word(form: UncertaintyForm) -> &'static str {
    match form {
        UncertaintyForm::PlusMinus => "plus-minus",
        UncertaintyForm::Concise => "concise",
        UncertaintyForm::Plain => "plain",
    }
}

/// The rounding rule as in `experiment`.
pub fn rounding_word(rounding: Rounding) -> &'static str {
    match rounding {
        Rounding::HalfEven => "half even",
        Rounding::HalfAwayFromZero => "half away from zero",
    }
}

fn template_object(template: &TemplateUsed) -> Value {
    let reviewed = template.reviewed.as_ref();
    json!({
        "id": template.id,
        "version": template.version,
        "title": template.title,
        "institution": template.institution,
        "sha256": template.sha256,
        "origin": template.origin,
        "reviewed": reviewed.map(|(by, on)| json!({ "by": by, "on": on.to_string() })),
        "local": template.local,
        "reveal": template.reveal,
        "working": template.working,
        "missing_checks": template.missing_checks,
        "questions": template.questions,
    })
}

fn words_object(words: &MeasuredWords, results: &Results) -> Value {
    let said = |trial: usize| words.trials.get(trial)?.as_ref().map(|said| json!(said));
    json!({ "name": words.name, "all": words.all, "trials": by_trial(results, said) })
}

fn names(results: &Results, pick: impl Fn(&Trial) -> bool) -> Vec<&str> {
    results.trials.iter().filter(|trial| pick(trial)).map(|trial| trial.name.as_str()).collect()
}

fn set_aside(results: &Results) -> Value {
    let aside = results
        .trials
        .iter()
        .filter_map(|trial| Some((trial.name.clone(), json!(trial.set_aside.as_ref()?))));
    Value::Object(aside.collect())
}

/// An object with one entry per trial.
fn by_trial(results: &Results, entry: impl Fn(usize) -> Option<Value>) -> Value {
    let entries = results.trials.iter().enumerate();
    Value::Object(entries.filter_map(|(index, trial)| Some((trial.name.clone(), entry(index)?))).collect())
}

fn series_object(series: &Series, results: &Results) -> Value {
    let rows = || series.rows.iter().filter(|row| !row.struck);
    let readings = |trial: usize| {
        let written: Vec<Value> = rows()
            .map(|row| json!(row.readings.get(trial).and_then(|cell| in_unit(cell, &series.unit))))
            .collect();
        Some(Value::Array(written))
    };
    let changes = |trial: usize| {
        let used = |row: &&SeriesRow| row.readings.get(trial).is_some_and(|cell| cell.node.is_some());
        let first = rows().position(|row| used(&row))?;
        let last = rows().filter(used).count();
        let change = |row: &SeriesRow| Some(row.changes.get(trial)?.as_ref()?.printed.ascii());
        let after = rows().skip(first + 1).map(|row| json!(change(row)));
        Some(if last < 2 { Value::Array(Vec::new()) } else { trailing_nulls_off(after.collect()) })
    };
    json!({
        "load": series.load,
        "treatment": series.treatment,
        "unit": series.unit.symbol(),
        "rows": series.rows.iter().map(|row| row_object(row, results)).collect::<Vec<_>>(),
        "readings": by_trial(results, readings),
        "changes": by_trial(results, changes),
        "constant_mass": by_trial(results, |trial| verdict_object(series, trial)),
    })
}

/// Without the rows after a trial's last reading.
fn trailing_nulls_off(mut changes: Vec<Value>) -> Value {
    while changes.last().is_some_and(Value::is_null) {
        changes.pop();
    }
    Value::Array(changes)
}

/// A reading in a unit, with its written digits; `None` where there is none, or none that could be read.
fn in_unit(cell: &ReadingCell, unit: &Unit) -> Option<String> {
    cell.node?;
    let decimal = Decimal::parse(cell.written.as_ref()?, false).ok()?;
    let Some(own) = &cell.unit else { return Some(decimal.to_string()) };
    let shift = own.factor().div(unit.factor()).ok()?.leading_power()?;
    let whole = decimal.whole && shift >= 0;
    Some(Decimal { exponent: decimal.exponent + shift, whole, ..decimal }.to_string())
}

fn row_object(row: &SeriesRow, results: &Results) -> Value {
    let cell = |trial: usize| {
        let cell = row.readings.get(trial)?;
        let mut object = Map::new();
        object.insert("reading".into(), json!(cell.written));
        if let Some(unit) = &cell.unit {
            object.insert("unit".into(), json!(unit.symbol()));
        }
        if !cell.struck.is_empty() {
            object.insert("struck".into(), json!(cell.struck));
        }
        for (key, value) in
            [("remark", &cell.remark), ("shared_with", &cell.shared_with), ("time", &cell.time)]
        {
            if let Some(value) = value {
                object.insert(key.into(), json!(value));
            }
        }
        if let Some(balance) = row.balances.get(trial).and_then(Option::as_ref) {
            object.insert("balance".into(), json!(&**balance));
        }
        Some(Value::Object(object))
    };
    json!({
        "treatment": row.treatment,
        "events": row.events,
        "struck": row.struck,
        "cells": by_trial(results, cell),
    })
}

fn verdict_object(series: &Series, trial: usize) -> Option<Value> {
    let rule = series.rule.as_deref();
    Some(match series.verdicts.get(trial)? {
        ConstantMass::Reached { at } => {
            json!({ "verdict": "reached", "reached": true, "at": at, "rule": rule })
        }
        ConstantMass::NotReached { .. } => {
            json!({ "verdict": "not reached", "reached": false, "rule": rule })
        }
        ConstantMass::NotShown(why) => {
            json!({ "verdict": "not shown", "reached": false, "reason": why, "rule": rule })
        }
        ConstantMass::CannotBeJudged(why) => {
            json!({ "verdict": "cannot be judged", "reached": false, "reason": why, "rule": rule })
        }
        ConstantMass::None => return None,
    })
}

fn number_object(number: &Number, printed: &str) -> Map<String, Value> {
    let mut object = Map::new();
    object.insert("value".into(), json!(number.to_figures(FIGURES)));
    object.insert("exact".into(), json!(number.is_exact() && number.terminates_within(FIGURES)));
    object.insert("printed".into(), json!(printed));
    object
}

fn figure_object(figure: &Figure) -> Value {
    Value::Object(number_object(&figure.number, &figure.printed.ascii()))
}

fn outcome_object(outcome: &Outcome) -> Map<String, Value> {
    match outcome {
        Outcome::Value(Computed { number, printed, by_figures, provisional, evaluated, .. }) => {
            let mut object = number_object(number, &printed.ascii());
            evaluated_into(&mut object, evaluated.as_ref());
            if *by_figures {
                object.insert("digits".into(), json!("significant figures"));
            }
            if *provisional {
                object.insert("provisional".into(), json!(true));
            }
            object
        }
        Outcome::Missing(reason) => {
            let mut object = Map::new();
            object.insert("value".into(), Value::Null);
            object.insert("printed".into(), Value::Null);
            object.insert("missing".into(), json!(reason));
            object
        }
    }
}

/// u, U and k where something is uncertain; the degrees of freedom where there are not infinitely many.
fn evaluated_into(object: &mut Map<String, Value>, evaluated: Option<&Evaluated>) {
    let Some(evaluated) = evaluated else { return };
    let figures = (two_figures(evaluated.standard), two_figures(evaluated.expanded));
    let (Some(u), Some(expanded)) = figures else { return };
    object.insert("u".into(), json!(u));
    object.insert("U".into(), json!(expanded));
    object.insert("k".into(), json!(figures_of(evaluated.coverage_factor, 3)));
    if let Some(degrees_of_freedom) = evaluated.degrees_of_freedom {
        object.insert("degrees_of_freedom".into(), json!(figures_of(degrees_of_freedom, 3)));
    }
    object.insert("uncertainty_of".into(), json!(evaluated.covers.word()));
}

fn quantity_object(index: usize, results: &Results) -> Value {
    let quantity = &results.quantities[index];
    let mut object = Map::new();
    object.insert("symbol".into(), json!(quantity.symbol));
    object.insert("unit".into(), json!(quantity.unit.symbol()));
    object.insert("origin".into(), json!(quantity.origin.word()));
    match &quantity.scalar {
        Some(scalar) => {
            object.extend(outcome_object(scalar));
            budget_file::into(&mut object, results, index, At::Scalar);
        }
        None => {
            let trials = |trial: usize| {
                let mut object = outcome_object(quantity.trials.get(trial)?);
                budget_file::into(&mut object, results, index, At::Trial(trial));
                Some(Value::Object(object))
            };
            object.insert("trials".into(), by_trial(results, trials));
        }
    }
    if quantity.provisional {
        object.insert("provisional".into(), json!(true));
    }
    if let Some(agreement) = &quantity.agreement {
        agreement_into(&mut object, agreement, &results.spread(quantity, agreement));
        if let Some(Value::Object(mean)) = object.get_mut("mean") {
            budget_file::into(mean, results, index, At::Mean);
        }
    }
    if let Some(all) = &quantity.agreement_with_all {
        let mut with = Map::new();
        agreement_into(&mut with, all, &results.spread(quantity, all));
        object.insert("with_set_aside".into(), Value::Object(with));
    }
    if let Some(theory) = &quantity.theory {
        theory_into(&mut object, theory, results);
    }
    verdicts::into(&mut object, quantity, results);
    Value::Object(object)
}

fn agreement_into(object: &mut Map<String, Value>, agreement: &AgreementResult, spread: &Spread) {
    object.insert("n".into(), json!(agreement.numbers.n));
    let mut mean = number_object(&agreement.mean.number, &agreement.mean.printed.ascii());
    evaluated_into(&mut mean, agreement.evaluated.as_ref());
    object.insert("mean".into(), Value::Object(mean));
    let figures = [
        ("range", &spread.range),
        ("s", &spread.s),
        ("relative_s", &spread.relative_s),
        ("relative_difference", &spread.relative_difference),
        ("relative_average_deviation", &spread.relative_average_deviation),
    ];
    for (key, figure) in figures {
        if let Some(figure) = figure {
            object.insert(key.into(), figure_object(figure));
        }
    }
    if let Some((limit, kept)) = &agreement.repeatability {
        object.insert("repeatability".into(), json!({ "limit": figure_object(limit), "kept": kept }));
    }
}

fn theory_into(object: &mut Map<String, Value>, theory: &TheoryResult, results: &Results) {
    let value = match &theory.scalar {
        Some(scalar) => Value::Object(outcome_object(scalar)),
        None => {
            let trials = |trial: usize| Some(Value::Object(outcome_object(theory.trials.get(trial)?)));
            json!({ "trials": by_trial(results, trials) })
        }
    };
    object.insert("theory".into(), value);
    for (key, figure) in [("percent_error", &theory.percent_error), ("difference", &theory.difference)] {
        if let Some(figure) = figure {
            object.insert(key.into(), figure_object(figure));
        }
    }
}

fn reaction_object(reaction: &ReactionResult) -> Value {
    json!({
        "name": reaction.name,
        "written": reaction.written,
        "balanced": reaction.balanced.as_ref().map(|balanced| balanced.text()),
    })
}

fn formula_object(found: &FormulaFound) -> Value {
    let part = |part: &PartFound| {
        let mut object = number_object(&part.ratio.number, &part.ratio.printed.ascii());
        object.insert("U".into(), json!(part.expanded));
        object.insert("part".into(), json!(part.part));
        Value::Object(object)
    };
    json!({
        "symbol": found.symbol,
        "ratios": found.parts.iter().map(part).collect::<Vec<_>>(),
        "formula": found.formula,
        "candidates": found.candidates,
        "verdict": found.verdict,
    })
}

fn steps_object(steps: &StepTable, results: &Results) -> Value {
    let figure = |figure: &Option<Figure>| figure.as_ref().map_or(Value::Null, figure_object);
    let step = |step: &StepResult| {
        let trial = |trial: usize| {
            let found: &StepTrial = step.trials.get(trial)?;
            Some(json!({
                "mass": figure(&found.mass),
                "change": figure(&found.change),
                "percent": figure(&found.share),
                "difference": figure(&found.difference),
            }))
        };
        json!({
            "stage": step.stage,
            "reaction": step.reaction.as_ref().map(|reaction| reaction.text()),
            "theory": figure(&step.theory),
            "trials": by_trial(results, trial),
        })
    };
    json!({
        "load": Some(&steps.of).filter(|of| !of.is_empty()),
        "sample": steps.sample,
        "pure": steps.pure,
        "unit": steps.unit.symbol(),
        "stages": steps.steps.iter().map(step).collect::<Vec<_>>(),
    })
}

fn whole_number_object(found: &WholeNumberResult) -> Value {
    let mut object = number_object(&found.ratio.number, &found.ratio.printed.ascii());
    object.insert("symbol".into(), json!(found.symbol));
    object.insert("U".into(), json!(found.expanded));
    object.insert("whole".into(), json!(found.whole));
    object.insert("candidates".into(), json!(found.candidates));
    object.insert("verdict".into(), json!(found.verdict));
    Value::Object(object)
}

/// Entries per trial, or `all` where none depends on the trial.
fn yield_object(found: &YieldResult, results: &Results) -> Value {
    let per_trial = |entry: &dyn Fn(usize) -> Option<Value>| match found.verdicts.len() {
        count if count == results.trials.len() => by_trial(results, entry),
        _ => json!({ "all": entry(0) }),
    };
    let reagent = |reagent: &ReagentResult| {
        let entry = |trial: usize| {
            let figure = reagent.per_coefficient.get(trial)?.as_ref()?;
            let mut object = number_object(&figure.number, &figure.printed.ascii());
            object.insert("U".into(), json!(reagent.expanded.get(trial)));
            object.insert("limits".into(), json!(reagent.limits.get(trial)));
            Some(Value::Object(object))
        };
        json!({
            "formula": reagent.formula,
            "coefficient": reagent.coefficient,
            "amount_per_coefficient": per_trial(&entry),
        })
    };
    json!({
        "symbol": found.symbol,
        "equation": found.equation,
        "unit": "mmol",
        "reagents": found.reagents.iter().map(reagent).collect::<Vec<_>>(),
        "verdicts": per_trial(&|trial| found.verdicts.get(trial)?.as_ref().map(|verdict| json!(verdict))),
    })
}

fn claim_object(claim: &Claim, results: &Results, text: &str, lines: &Lines) -> Value {
    let (line, column) = lines.place(text, claim.span.start);
    let trial = claim.trial.and_then(|trial| results.trials.get(trial)).map(|trial| &trial.name);
    json!({
        "of": claim.of,
        "trial": trial,
        "written": claim.written,
        "unit": claim.unit,
        "line": line,
        "column": column,
    })
}

fn finding_object(finding: &Finding, text: &str, lines: &Lines) -> Value {
    let mut object = Map::new();
    object.insert("code".into(), json!(finding.code.text()));
    object.insert("severity".into(), json!(finding.severity.word()));
    object.insert("message".into(), json!(finding.message));
    if let Some(file) = &finding.file {
        object.insert("file".into(), json!(file));
    }
    if let Some((line, column)) = finding.place.filter(|_| finding.file.is_some()) {
        object.insert("line".into(), json!(line));
        object.insert("column".into(), json!(column));
    }
    if let Some(span) = finding.span.filter(|_| finding.file.is_none()) {
        let (line, column) = lines.place(text, span.start);
        object.insert("line".into(), json!(line));
        object.insert("column".into(), json!(column));
    }
    if !finding.hints.is_empty() {
        object.insert("hints".into(), json!(finding.hints));
    }
    Value::Object(object)
}
