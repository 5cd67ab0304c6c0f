//! Where the uncertainty of the results comes from: which budgets are shown, and how they were computed.
//!
//! A budget of a mean over several trials has every weighing of every trial in it. What is one kind of input becomes
//! one line here, and contributions below one per cent of the variance become one line together.

use super::code;
use super::plots::budget::BudgetPlot;
use super::tables::{self, Table};
use super::words::{self, Ink, Run, Words};
use crate::evaluation::results::{AgreementResult, Origin, QuantityResult, Results};
use crate::evaluation::uncertainty::monte_carlo::MonteCarlo;
use crate::evaluation::uncertainty::{At, Budget, BudgetEntry, Covers, Evaluated, Evaluation, percent};
use crate::notebook::settings::{Coverage, DecimalMark, UncertaintyForm};
use crate::quantity::derivation::NodeId;
use crate::quantity::print_double;
use std::collections::BTreeSet;

/// Shares below this (in per cent of the variance) are told together.
const LEAST_SHARE: f64 = 1.0;
/// Most lines of a budget that are told one by one.
const MOST_LINES: usize = 14;

/// The budget of one result, ready to be shown.
pub(super) struct Shown<'r> {
    pub(super) results: &'r Results,
    /// Its index among the quantities.
    pub(super) index: usize,
    pub(super) quantity: &'r QuantityResult,
    pub(super) at: At,
    pub(super) budget: Budget,
    pub(super) lines: Vec<Line>,
}

/// One line of a budget: one input, or several of a kind.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// What it is.
    pub(super) name: String,
    /// How it was evaluated: `type B, rectangular`.
    pub(super) kind: String,
    /// Estimate with its unit, where it is of one input.
    pub(super) value: Option<(f64, String)>,
    /// Standard uncertainty, where all of the line have the same.
    pub(super) standard: Option<f64>,
    /// ∂result/∂input, where it is of one input.
    pub(super) sensitivity: Option<f64>,
    /// Contribution to u of the result.
    pub(super) contribution: f64,
    /// Share of the variance in per cent.
    pub(super) share: f64,
    /// How many inputs it stands for.
    pub(super) inputs: usize,
}

/// The budgets of the results: those of one symbol, or of every result that no other one rests on and every one
/// that has a theory.
pub(super) fn budgets<'r>(results: &'r Results, symbol: Option<&str>) -> Vec<Shown<'r>> {
    let chosen: Vec<usize> = match symbol {
        Some(symbol) => {
            let named = |index: &usize| compact(&results.quantities[*index].symbol) == compact(symbol);
            (0..results.quantities.len()).filter(named).collect()
        }
        None => final_results(results),
    };
    chosen.into_iter().filter_map(|index| shown(results, index)).collect()
}

fn compact(symbol: &str) -> String {
    symbol.split_whitespace().collect()
}

fn shown(results: &Results, index: usize) -> Option<Shown<'_>> {
    let quantity = &results.quantities[index];
    let at = shown_value(results, quantity)?;
    let budget = results.budget(index, at)?;
    let lines = lines(results, &budget);
    (!lines.is_empty()).then_some(Shown { results, index, quantity, at, budget, lines })
}

/// The value a reader wants the budget of: the mean of several trials, else the only value.
fn shown_value(results: &Results, quantity: &QuantityResult) -> Option<At> {
    if quantity.scalar.is_some() {
        return Some(At::Scalar);
    }
    if quantity.agreement.as_ref().is_some_and(|agreement| agreement.numbers.n > 1) {
        return Some(At::Mean);
    }
    let counts = |trial: &usize| results.trials.get(*trial).is_some_and(|trial| trial.counts());
    let valued = |trial: &usize| quantity.trials[*trial].value().is_some();
    (0..quantity.trials.len()).find(|trial| counts(trial) && valued(trial)).map(At::Trial)
}

/// The results that no other one rests on, and those that have a theory.
fn final_results(results: &Results) -> Vec<usize> {
    let worked: Vec<(usize, NodeId)> = results
        .quantities
        .iter()
        .enumerate()
        .filter(|(_, quantity)| quantity.origin == Origin::Working)
        .filter_map(|(index, quantity)| Some((index, node_of(quantity)?)))
        .collect();
    let mut used = BTreeSet::new();
    for (_, node) in &worked {
        below(results, *node, &mut used);
    }
    let wanted = |(index, node): &&(usize, NodeId)| {
        let computed = !results.graph.node(*node).inputs.is_empty();
        computed && (results.quantities[*index].theory.is_some() || !used.contains(node))
    };
    worked.iter().filter(wanted).map(|(index, _)| *index).collect()
}

fn node_of(quantity: &QuantityResult) -> Option<NodeId> {
    let outcomes = quantity.scalar.iter().chain(&quantity.trials);
    outcomes.filter_map(|outcome| outcome.value()).map(|value| value.node).next()
}

/// What a value rests on, itself not counted.
fn below(results: &Results, node: NodeId, used: &mut BTreeSet<NodeId>) {
    let mut open = vec![node];
    while let Some(node) = open.pop() {
        for input in &results.graph.node(node).inputs {
            if used.insert(*input) {
                open.push(*input);
            }
        }
    }
}

/// The lines of a budget, the largest share first; small ones together at the end.
fn lines(results: &Results, budget: &Budget) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for entry in budget.entries.iter().filter(|entry| entry.contribution > 0.0) {
        let line = line(results, entry);
        match lines.iter_mut().find(|known| known.name == line.name && known.kind == line.kind) {
            Some(known) => known.take_in(&line),
            None => lines.push(line),
        }
    }
    lines.sort_by(|a, b| b.share.abs().total_cmp(&a.share.abs()));
    let large = lines.iter().filter(|line| line.share.abs() >= LEAST_SHARE).count().min(MOST_LINES);
    if lines.len() > large + 1 {
        let small = lines.split_off(large);
        lines.push(together(&small));
    }
    lines
}

fn line(results: &Results, entry: &BudgetEntry) -> Line {
    let input = entry.input.as_ref();
    Line {
        name: without_trial(results, &entry.name),
        kind: kind(entry),
        value: input.map(|input| (input.value, words::unit_symbol(&input.unit).to_owned())),
        standard: input.map(|input| input.standard_uncertainty),
        sensitivity: input.map(|input| input.sensitivity),
        contribution: entry.contribution,
        share: entry.share,
        inputs: 1,
    }
}

/// The name of an input without the trial it belongs to.
fn without_trial(results: &Results, name: &str) -> String {
    let marks = results.trials.iter().map(|trial| format!(" ({})", trial.name));
    let marked = marks.into_iter().find(|mark| name.contains(mark.as_str()));
    marked.map_or_else(|| name.to_owned(), |mark| name.replacen(&mark, "", 1))
}

/// `type A, normal, ν = 4`: type of evaluation, distribution, degrees of freedom where they are few.
fn kind(entry: &BudgetEntry) -> String {
    let evaluation = entry.evaluation.map(|evaluation| match evaluation {
        Evaluation::A => "type A".to_owned(),
        Evaluation::B => "type B".to_owned(),
    });
    let freedom = entry.degrees_of_freedom.map(|freedom| format!("ν = {freedom:.0}"));
    let parts = evaluation.into_iter().chain(entry.distribution.map(str::to_owned)).chain(freedom);
    parts.collect::<Vec<_>>().join(", ")
}

impl Line {
    /// Another input of the same kind.
    fn take_in(&mut self, other: &Line) {
        self.value = None;
        self.sensitivity = None;
        let same = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs();
        self.standard = self.standard.zip(other.standard).filter(|(a, b)| same(*a, *b)).map(|(a, _)| a);
        self.contribution = self.contribution.hypot(other.contribution);
        self.share += other.share;
        self.inputs += other.inputs;
    }
}

fn together(small: &[Line]) -> Line {
    Line {
        name: format!("{} more, together", small.len()),
        kind: String::new(),
        value: None,
        standard: None,
        sensitivity: None,
        contribution: small.iter().fold(0.0, |sum: f64, line| sum.hypot(line.contribution)),
        share: small.iter().map(|line| line.share).sum(),
        inputs: small.iter().map(|line| line.inputs).sum(),
    }
}

impl Shown<'_> {
    /// What the budget is of: `w(water), mean of 3 trials`.
    pub(super) fn of(&self) -> Words {
        let mut words = words::symbol(&self.quantity.symbol);
        words.extend(self.which().map(|which| Run::Plain(format!(", {which}"))));
        words
    }

    /// The value among those of the quantity.
    pub(super) fn which(&self) -> Option<String> {
        match self.at {
            At::Scalar => None,
            At::Trial(trial) if self.results.trials.len() > 1 => {
                Some(format!("trial {}", self.results.trials[trial].name))
            }
            At::Trial(_) => None,
            At::Mean => {
                let n = self.quantity.agreement.as_ref().map_or(0, |agreement| agreement.numbers.n);
                Some(format!("mean of {n} trials"))
            }
        }
    }

    /// Whether a block that names this symbol, or none, asks for the budget.
    pub(super) fn is_asked(&self, symbol: Option<&str>) -> bool {
        symbol.is_none_or(|symbol| compact(symbol) == compact(&self.quantity.symbol))
    }

    pub(super) fn table(&self) -> Table {
        tables::budget(self)
    }

    pub(super) fn plot(&self) -> BudgetPlot {
        BudgetPlot::of(self)
    }
}

/// What stands beside the values of a report, in one sentence, and what it covers.
pub(crate) fn explained(results: &Results, mark: DecimalMark) -> Words {
    let mut words = match results.settings.form() {
        UncertaintyForm::Concise => concise(mark),
        _ => plus_minus(results, mark),
    };
    words.push(upright(" "));
    words.push(upright(coverage(results)));
    words
}

fn italic(letter: &str) -> Run {
    Run::Italic(letter.to_owned())
}

fn upright(text: &str) -> Run {
    Run::Plain(text.to_owned())
}

fn concise(mark: DecimalMark) -> Words {
    let number = |ascii: &str| words::digits(ascii, mark);
    vec![
        upright("In brackets stands the standard uncertainty "),
        italic("u"),
        upright(&format!(
            ", counted in units of the last digit: {} means {} with ",
            number("36.09(2)"),
            number("36.09")
        )),
        italic("u"),
        upright(&format!(" = {}.", number("0.02"))),
    ]
}

fn plus_minus(results: &Results, mark: DecimalMark) -> Words {
    let start = [upright("After ± stands the expanded uncertainty "), italic("U"), upright(" = ")];
    let start = start.into_iter().chain([italic("k"), upright("\u{202f}"), italic("u"), upright(" ")]);
    let level = match results.settings.coverage {
        Coverage::Factor(k) => vec![
            upright("with the coverage factor "),
            italic("k"),
            upright(&format!(
                " = {}, for a level of confidence of {}.",
                double(k, mark),
                level(k, results, mark)
            )),
        ],
        Coverage::Probability(p) => vec![
            upright("with "),
            italic("k"),
            upright(&format!(" chosen for a level of confidence of {} %.", words::digits(&percent(p), mark))),
        ],
    };
    start.chain(level).collect()
}

/// The level of confidence of a coverage factor, and that it is lower where few trials are behind a value.
fn level(factor: f64, results: &Results, mark: DecimalMark) -> String {
    let normal = Evaluated::new(1.0, None, Coverage::Factor(factor)).coverage_probability();
    let few = |evaluated: &Evaluated| evaluated.coverage_probability() < normal - 0.03;
    let about = words::digits(&confidence(normal), mark);
    let few = if means(results).any(|mean| mean.evaluated.as_ref().is_some_and(few)) {
        " (less where few trials are behind it)"
    } else {
        ""
    };
    format!("{about} %{few}")
}

/// A level of confidence to the first digit in which it differs from 100 %: `about 95`, `about 99.7`.
fn confidence(probability: f64) -> String {
    let rest = 100.0 * (1.0 - probability);
    if rest < 1e-3 {
        return "more than 99.999".to_owned();
    }
    let place = if rest < 0.5 { rest.log10().floor() as i32 } else { 0 };
    print_double(100.0 * probability, place)
        .map_or_else(String::new, |printed| format!("about {}", printed.digits))
}

/// The agreements whose mean a report shows.
fn means(results: &Results) -> impl Iterator<Item = &AgreementResult> {
    let worked = results.quantities.iter().filter(|quantity| quantity.origin == Origin::Working);
    worked.filter_map(|quantity| quantity.agreement.as_ref())
}

fn double(value: f64, mark: DecimalMark) -> String {
    words::digits(&format!("{value}"), mark)
}

/// What the uncertainties of trials and means cover.
fn coverage(results: &Results) -> &'static str {
    let whole = |evaluated: &Evaluated| evaluated.covers == Covers::Result;
    let worked = results.quantities.iter().filter(|quantity| quantity.origin == Origin::Working);
    let single = worked
        .flat_map(|quantity| quantity.scalar.iter().chain(&quantity.trials))
        .filter_map(|outcome| outcome.value());
    let trials = single.into_iter().any(|value| value.evaluated.as_ref().is_some_and(whole));
    match (trials, means(results).any(|mean| mean.evaluated.as_ref().is_some_and(whole))) {
        (true, _) => "It covers the inputs, and where it is known how well the method repeats.",
        (false, true) => {
            "That of a trial covers weighing, stated uncertainties and atomic weights; that of a mean the scatter of \
             the trials too, where it can be told."
        }
        (false, false) => {
            "It covers weighing, stated uncertainties and atomic weights, not how well the method repeats."
        }
    }
}

/// The heading of the part of a report.
pub(super) const HEADING: &str = "Uncertainty";

/// The sentences on how they were evaluated; `shown` are the budgets that stand there.
pub(super) fn sentences(results: &Results, shown: &[Shown]) -> Vec<String> {
    let others = budgets(results, None);
    let shown: Vec<&Shown> = shown.iter().chain(&others).collect();
    method(results, &shown)
}

/// The sentences as a call of the layout.
pub(super) fn set_method(sentences: &[String], ink: &Ink) -> String {
    format!(
        "layout.uncertainty-method({})\n",
        code::lines(sentences.iter().map(|text| ink.words(&words::with_symbols(text), None)))
    )
}

/// How the uncertainties were evaluated, sentence by sentence, with the symbols explained.
fn method(results: &Results, shown: &[&Shown]) -> Vec<String> {
    let mut sentences = vec![
        "Each input has a standard uncertainty u: by type A from repeated observations, by type B from what is \
         stated of it, with the distribution named. The sensitivity says how much the result changes per unit of the \
         input; sensitivity times u is what the input contributes."
            .to_owned(),
        "The contributions combine to the standard uncertainty u of the result as the root of the sum of their \
         squares (JCGM 100:2008, 5.1.2). An input that several values share counts once, with its whole effect, so \
         that covariance is in it (5.2.2)."
            .to_owned(),
    ];
    sentences.push(expanded(results.settings.coverage, results.settings.decimal));
    sentences.extend(covered(shown));
    sentences.extend(results.monte_carlo.as_ref().and_then(drawn));
    sentences
}

/// How the draws were made; `None` where there are none.
fn drawn(monte_carlo: &MonteCarlo) -> Option<String> {
    let draws = monte_carlo.checked.iter().map(|checked| checked.drawn.draws).max()?;
    Some(format!(
        "The same inputs were drawn at random from their distributions {} times (JCGM 101:2008; seed {}, generator {}) \
         to see whether the first order may stand.",
        grouped(draws),
        monte_carlo.plan.seed,
        monte_carlo.generator
    ))
}

/// A whole number in groups of three digits.
fn grouped(number: usize) -> String {
    // ASCII digits only, so that every cut is between characters; there is at least one.
    let digits = number.to_string();
    let first = (digits.len() - 1) % 3 + 1;
    let mut text = digits[..first].to_owned();
    for start in (first..digits.len()).step_by(3) {
        text.push('\u{202f}');
        text.push_str(&digits[start..start + 3]);
    }
    text
}

fn expanded(coverage: Coverage, mark: DecimalMark) -> String {
    match coverage {
        Coverage::Factor(k) => {
            format!("The expanded uncertainty is U = k u with the coverage factor k = {}.", double(k, mark))
        }
        Coverage::Probability(p) => format!(
            "The expanded uncertainty is U = k u, with k from Student's t for {} % and the effective degrees of \
             freedom (JCGM 100:2008, G.4).",
            words::digits(&percent(p), mark)
        ),
    }
}

/// What the uncertainties do not cover, or how the repeatability entered.
fn covered(shown: &[&Shown]) -> Vec<String> {
    let any = |covers: Covers| shown.iter().any(|shown| shown.budget.evaluated.covers == covers);
    let mut sentences = Vec::new();
    if any(Covers::Inputs) {
        let sentence = "How well the method repeats is not known here: what is given is the contribution of the inputs \
                        listed, not the uncertainty of the result, which is larger.";
        sentences.push(sentence.to_owned());
    }
    if any(Covers::Result) {
        let sentence =
            "The scatter of the method takes the place of the scatter of the weighings it holds already.";
        sentences.push(sentence.to_owned());
    }
    sentences
}
