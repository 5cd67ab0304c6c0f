//! From a notebook to its results: net masses, constant mass, formulas per trial, agreement, percent error.
//!
//! Every value is a node of the derivation graph. A value that cannot be had is missing with its reason,
//! and everything that does not rest on it is still computed. Nothing is rounded here but for print.

mod advice;
mod agreement;
mod becoming;
mod budget_file;
mod buoyancy;
mod calculator;
mod claims;
mod correlations;
pub mod formula_tree;
mod inline;
mod judging;
mod limiting;
mod masses;
mod measured;
mod mixture;
mod monte_carlo_file;
mod outcomes;
mod picked;
mod printer;
mod reactions;
mod readings;
mod reasons;
mod repeatability;
pub mod results;
mod results_file;
mod routes;
mod scales;
mod scope;
mod series;
mod sought;
pub mod spread;
mod steps;
mod tabulated;
mod theory;
mod trees;
pub mod uncertainty;
pub mod verdicts;
mod worked;

pub use results_file::{SCHEMA, digits_word, results_file, rounding_word};
pub use scope::{name_key, symbol_of};

use crate::finding::{Code, Finding, Severity};
use crate::notebook::Notebook;
use crate::notebook::blocks::{Block, BlockKind};
use crate::notebook::settings::Settings;
use crate::quantity::derivation::{Graph, NodeId};
use crate::weighing::{Trials, Weighings};
use results::{QuantityResult, Results};
use std::sync::Arc;
use uncertainty::monte_carlo::{self, MonteCarlo};

/// A value of one trial, or why there is none.
pub(crate) type Slot = Result<NodeId, Arc<str>>;

/// A value that is the same for all trials, or one per trial.
#[derive(Clone, Debug)]
pub(crate) enum Value {
    /// Does not depend on the trial.
    Scalar(Slot),
    /// One per column, blanks included.
    Trials(Vec<Slot>),
}

impl Value {
    /// The value in one trial.
    pub(crate) fn at(&self, trial: usize) -> Slot {
        match self {
            Value::Scalar(slot) => slot.clone(),
            Value::Trials(slots) => slots.get(trial).cloned().unwrap_or_else(|| Err("no such trial".into())),
        }
    }

    pub(crate) fn missing(reason: &str) -> Value {
        Value::Scalar(Err(reason.into()))
    }
}

/// Evaluates a notebook. The steps, in order:
///
/// 1. the columns of all blocks ([`Trials`]);
/// 2. the readings, as leaves of the graph ([`Weighings`]);
/// 3. the net masses by the algebra of loads, corrected for air buoyancy where that is asked for;
/// 4. the constant-mass verdict of each series;
/// 5. the formulas of `working` and `theory`, each after what it rests on;
/// 6. agreement and percent error of each quantity;
/// 7. the worked calculation, the inline values and the claims as written;
/// 8. the results by Monte Carlo draws, where asked for.
pub fn evaluate(notebook: &Notebook) -> Results {
    evaluate_with(notebook, true)
}

/// Evaluates a notebook for a review: the same values and findings, without what only a report or the results file shows
/// (uncertainties beside values, tests against theory, printed values in the prose, the worked calculation).
pub fn evaluate_values(notebook: &Notebook) -> Results {
    evaluate_with(notebook, false)
}

fn evaluate_with(notebook: &Notebook, in_full: bool) -> Results {
    let mut findings = notebook.findings.clone();
    let mut graph = Graph::default();
    let trials = Trials::of(notebook, &mut findings);
    let weighings = Weighings::of(notebook, &trials, &mut graph, &mut findings);
    let mut masses = masses::Masses::of(&notebook.settings, &trials, &weighings);
    let correction = buoyancy::Correction::of(&notebook.settings, &mut graph, &mut findings);
    masses.in_air(correction, &mut findings);
    masses.check(&mut graph, &mut findings);
    let judged = series::all(notebook, &trials, &mut masses, &mut graph, &mut findings);
    let scope = scope::Scope::of(notebook, &mut findings);
    let mut calculator =
        calculator::Calculator::new(notebook, &trials, &scope, &mut masses, &mut graph, &mut findings);
    calculator.in_full = in_full;
    calculator.picks = picked::Picks::of(&judged.unfinished);
    calculator.run();
    let shown = outcomes::collect(notebook, &judged.unfinished, &mut calculator);
    let atomic_weights = calculator.table_name();
    let reactions = calculator.reactions();
    let formulas = std::mem::take(&mut calculator.formulas);
    let yields = calculator.yields();
    let steps = steps::tables(&mut calculator);
    let whole_numbers = std::mem::take(&mut calculator.whole_numbers);
    let buoyancy = calculator.buoyancy_result();
    let inputs = std::mem::take(&mut calculator.inputs);
    let mut results = Results {
        name: notebook.name.clone(),
        sha256: String::new(),
        files: Vec::new(),
        atomic_weights,
        settings: notebook.settings.clone(),
        series: judged.series,
        quantities: shown.quantities,
        measured_words: measured::words(notebook, &trials),
        worked: shown.worked,
        worked_trial: shown.worked_trial,
        mixtures: shown.mixtures,
        inline: shown.inline,
        reactions,
        formulas,
        yields,
        whole_numbers,
        buoyancy,
        steps,
        checks: notebook.checks.clone(),
        claims: shown.claims,
        trials: trials.list().to_vec(),
        graph,
        inputs,
        monte_carlo: None,
        findings,
        template: None,
    };
    results.monte_carlo = MonteCarlo::of(&results);
    check_whole(notebook, &mut results);
    sort_findings(&mut results.findings);
    results
}

/// What can be said only of the notebook as a whole.
fn check_whole(notebook: &Notebook, results: &mut Results) {
    let drawn = monte_carlo::findings(results);
    let findings = &mut results.findings;
    findings.extend(drawn);
    for check in notebook.checks.iter().filter(|check| !check.ticked) {
        let message = format!("the check “{}” is not ticked", check.text);
        let finding = Finding::warning(Code::UntickedCheck, check.span, message);
        findings.push(finding.hint("tick it as `- [x]` if it was done, or say in the prose why not"));
    }
    findings.extend(notebook.blocks.iter().filter_map(|block| no_reading(block, results.trials.is_empty())));
    findings.extend(digits_by_figures(&results.quantities, &notebook.settings));
}

fn no_reading(block: &Block, no_trials: bool) -> Option<Finding> {
    let BlockKind::Masses(_) = block.kind else { return None };
    let finding = Finding::error(Code::NoTrials, block.span, "no trial has a reading");
    no_trials.then(|| finding.hint("write the loads as lines `crucible + sample: 19.3127  18.9466`"))
}

/// Values whose digits the uncertainty should decide, but which have none.
fn digits_by_figures(quantities: &[QuantityResult], settings: &Settings) -> Option<Finding> {
    let without = |quantity: &&QuantityResult| {
        let values = quantity.trials.iter().chain(&quantity.scalar).filter_map(|outcome| outcome.value());
        values.into_iter().any(|value| value.by_figures)
    };
    let symbols: Vec<&str> =
        quantities.iter().filter(without).map(|quantity| quantity.symbol.as_str()).collect();
    if symbols.is_empty() {
        return None;
    }
    let message = format!(
        "no uncertainty is known of {}; digits there follow the rule of significant figures",
        symbols.join(", ")
    );
    Some(Finding::note(Code::DigitsByFigures, settings.span, message))
}

/// Sorts findings by place, the gravest first; the same finding at the same place stays once.
pub fn sort_findings(findings: &mut Vec<Finding>) {
    let key = |finding: &Finding| {
        let place = finding.span.map_or((0, 0), |span| (span.start, span.end));
        (finding.file.clone(), place, std::cmp::Reverse(finding.severity), finding.code)
    };
    findings.sort_by_key(key);
    findings.dedup();
}

/// The number of errors and of warnings.
pub fn count(findings: &[Finding]) -> (usize, usize) {
    let of = |severity| findings.iter().filter(|finding| finding.severity == severity).count();
    (of(Severity::Error), of(Severity::Warning))
}
