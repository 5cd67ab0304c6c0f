//! The results of a notebook by Monte Carlo draws, beside their first-order uncertainty, and what is to be said where
//! the two differ.

use super::super::budget::At;
use super::super::model::evaluate;
use super::super::percent;
use super::{Drawn, NotDrawn, Output, Plan, Validation, Verdict, draw};
use crate::evaluation::results::{Origin, Outcome, QuantityResult, Results};
use crate::finding::{Code, Finding};
use crate::notebook::settings::{Coverage, Settings};
use crate::quantity::Number;
use crate::quantity::derivation::NodeId;
use crate::statistics::GENERATOR;
use std::collections::BTreeMap;

/// The draws of a notebook.
#[derive(Clone, Debug, PartialEq)]
pub struct MonteCarlo {
    /// The generator of the random numbers.
    pub generator: &'static str,
    /// How they were made; `seed` and the coverage probability are here.
    pub plan: Plan,
    /// Each result that something uncertain enters, in the order of the quantities.
    pub checked: Vec<Checked>,
    /// Why nothing was drawn.
    pub not_drawn: Option<NotDrawn>,
}

/// One result.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// Index of the quantity among [`Results::quantities`].
    pub quantity: usize,
    /// Which of its values.
    pub at: At,
    /// What the draws say, in the quantity's unit.
    pub drawn: Drawn,
    /// The first-order evaluation against them; `None` where the draws have no interval.
    pub validation: Option<Validation>,
}

/// The coverage probability where the notebook states none, or states a coverage factor.
const PROBABILITY: f64 = 0.95;
/// The seed where the notebook states none.
const SEED: u64 = 1;
/// Above so many trials only means are drawn, as only their budgets are shown.
const MOST_TRIALS: usize = 6;
/// Most draws for one digit of u to be stable; each further digit takes a hundred times as many, and ten times are
/// allowed.
const MOST_DRAWS: usize = 1_000_000;
/// Most numbers worked out for one notebook: about a second.
const MOST_NUMBERS: usize = 2_000_000_000;
/// Most values of results drawn for one notebook, asked for or not: about a byte is kept of each.
const MOST_VALUES: usize = 150_000_000;

impl MonteCarlo {
    /// Draws the results of a notebook; `None` where it does not ask for it.
    pub fn of(results: &Results) -> Option<Self> {
        let settings = &results.settings;
        if !settings.draws_monte_carlo() {
            return None;
        }
        let wanted = wanted(results);
        let numbers = results.graph.len() + results.inputs.sources().len();
        let plan = plan(settings, numbers, wanted.len());
        let outputs: Vec<Output> = wanted.iter().map(|wanted| wanted.output).collect();
        let (drawn, not_drawn) = match draw(&results.graph, &results.inputs, &outputs, &plan) {
            Ok(drawn) => (drawn, None),
            Err(why) => (Vec::new(), Some(why)),
        };
        let checked = wanted.iter().zip(drawn).map(|(wanted, drawn)| {
            let validation = wanted.validation(results, &plan, &drawn);
            Checked { quantity: wanted.quantity, at: wanted.at, drawn, validation }
        });
        Some(MonteCarlo { generator: GENERATOR, plan, checked: checked.collect(), not_drawn })
    }

    /// The draws of one value.
    pub fn at(&self, quantity: usize, at: At) -> Option<&Checked> {
        self.checked.iter().find(|checked| checked.quantity == quantity && checked.at == at)
    }
}

/// How draws are made by the settings; one draw takes about so many numbers, and gives so many values.
fn plan(settings: &Settings, numbers: usize, values: usize) -> Plan {
    let asked = settings.monte_carlo.clone().unwrap_or_default();
    let digits = asked.digits.unwrap_or(1);
    let most = MOST_DRAWS * 10usize.pow(digits.clamp(1, 2) - 1);
    let room = MOST_VALUES / values.max(1);
    Plan {
        seed: settings.seed.unwrap_or(SEED),
        probability: match settings.coverage {
            Coverage::Probability(probability) => probability,
            Coverage::Factor(_) => PROBABILITY,
        },
        digits,
        tolerance_divisor: 5.0,
        most: most.min(MOST_NUMBERS / numbers.max(1)).min(room),
        fixed: asked.draws.map(|draws| draws.min(room)),
    }
}

/// A value to be drawn.
struct Wanted<'r> {
    quantity: usize,
    at: At,
    value: &'r Number,
    output: Output,
}

impl Wanted<'_> {
    /// The first-order interval for the same probability against that of the draws.
    fn validation(&self, results: &Results, plan: &Plan, drawn: &Drawn) -> Option<Validation> {
        let Output { node, scale, .. } = self.output;
        let coverage = Coverage::Probability(plan.probability);
        let settings = Settings { coverage, ..results.settings.clone() };
        let first = evaluate(&results.inputs, &results.graph, node, scale, &settings);
        Validation::of(self.value.to_f64(), first.standard, first.expanded, plan.digits, drawn)
    }
}

/// The results of the working that something uncertain enters.
fn wanted(results: &Results) -> Vec<Wanted<'_>> {
    let working = |(_, quantity): &(usize, &QuantityResult)| quantity.origin == Origin::Working;
    let quantities = results.quantities.iter().enumerate().filter(working);
    quantities.flat_map(|(index, quantity)| of_quantity(results, index, quantity)).collect()
}

fn of_quantity<'r>(results: &'r Results, index: usize, quantity: &'r QuantityResult) -> Vec<Wanted<'r>> {
    let outcome = |at: At, outcome: &'r Outcome| outcome.value().map(|value| (at, &value.number, value.node));
    let mut values: Vec<(At, &Number, NodeId)> = Vec::new();
    values.extend(quantity.scalar.as_ref().and_then(|scalar| outcome(At::Scalar, scalar)));
    let shown = results.trials.iter().filter(|trial| !trial.blank).count() <= MOST_TRIALS;
    for (trial, value) in quantity.trials.iter().enumerate().filter(|_| shown) {
        if !results.trials.get(trial).is_some_and(|trial| trial.blank) {
            values.extend(outcome(At::Trial(trial), value));
        }
    }
    let agreement = quantity.agreement.as_ref();
    if let Some(agreement) = agreement.filter(|agreement| agreement.numbers.n > 1 || !shown) {
        values.push((At::Mean, &agreement.numbers.mean, agreement.mean_node));
    }
    let scale = quantity.unit.factor().to_f64();
    let zero = quantity.unit.zero().map_or(0.0, Number::to_f64);
    let uncertain = values.into_iter().filter(|(.., node)| is_uncertain(results, *node));
    let wanted =
        |(at, value, node)| Wanted { quantity: index, at, value, output: Output { node, scale, zero } };
    uncertain.map(wanted).collect()
}

/// Whether something uncertain enters, even if to first order it does not change the value.
fn is_uncertain(results: &Results, node: NodeId) -> bool {
    results.graph.leaves(node).into_iter().any(|leaf| !results.inputs.parts(leaf).is_empty())
}

/// What is to be said of the draws: one finding of a kind for each quantity, of its mean or else its first value.
pub(in crate::evaluation) fn findings(results: &Results) -> Vec<Finding> {
    let Some(monte_carlo) = &results.monte_carlo else { return Vec::new() };
    let mut findings: Vec<Finding> =
        monte_carlo.not_drawn.iter().map(|why| not_drawn(results, *why)).collect();
    let mut by_quantity: BTreeMap<usize, Vec<&Checked>> = BTreeMap::new();
    monte_carlo
        .checked
        .iter()
        .for_each(|checked| by_quantity.entry(checked.quantity).or_default().push(checked));
    for (quantity, checked) in by_quantity {
        let speaker = Speaker { results, quantity: &results.quantities[quantity], plan: &monte_carlo.plan };
        let first = |holds: &dyn Fn(&Checked) -> bool| checked.iter().rev().find(|checked| holds(checked));
        findings.extend(first(&|c| c.drawn.without_value > 0).map(|c| speaker.without_value(c)));
        findings.extend(first(&differs).and_then(|c| speaker.differs(c)));
        findings.extend(first(&|c| !c.drawn.stable).map(|c| speaker.not_stable(c)));
    }
    findings
}

fn differs(checked: &Checked) -> bool {
    checked.validation.is_some_and(|validation| validation.verdict == Verdict::Differs)
}

fn not_drawn(results: &Results, why: NotDrawn) -> Finding {
    let (message, hint) = match why {
        NotDrawn::TooLarge => (
            "no Monte Carlo draws: the results rest on too many values",
            "ask for them in a notebook of fewer trials",
        ),
        NotDrawn::ImpossibleCorrelations => (
            "no Monte Carlo draws: no quantities can have all the correlations that are stated",
            "check the coefficients of quantities that are correlated with several others",
        ),
    };
    Finding::warning(Code::MonteCarlo, results.settings.span, message).hint(hint)
}

/// Says what the draws of one quantity show.
struct Speaker<'r> {
    results: &'r Results,
    quantity: &'r QuantityResult,
    plan: &'r Plan,
}

impl Speaker<'_> {
    fn finding(&self, warning: bool, message: String) -> Finding {
        let place = self.quantity.span;
        match warning {
            true => Finding::warning(Code::MonteCarlo, place, message),
            false => Finding::note(Code::MonteCarlo, place, message),
        }
    }

    /// `mean w(water)`, `w(water) in trial A`
    fn name(&self, at: At) -> String {
        let symbol = &self.quantity.symbol;
        match at {
            At::Mean => format!("mean {symbol}"),
            At::Scalar => symbol.clone(),
            At::Trial(_) if self.results.trials.len() == 1 => symbol.clone(),
            At::Trial(trial) => match self.results.trials.get(trial) {
                Some(trial) => format!("{symbol} in trial {}", trial.name),
                None => symbol.clone(),
            },
        }
    }

    fn without_value(&self, checked: &Checked) -> Finding {
        let Drawn { draws, without_value, .. } = checked.drawn;
        let share = 100.0 * without_value as f64 / draws as f64;
        let message = format!(
            "{without_value} of {draws} Monte Carlo draws of {} have no value ({share:.2} %), by a division by \
             zero or a root or logarithm of a negative number; its interval is of the others",
            self.name(checked.at)
        );
        let hint = "a value this near to where the formula ends has no uncertainty that can be trusted";
        self.finding(share >= 0.1, message).hint(hint)
    }

    fn differs(&self, checked: &Checked) -> Option<Finding> {
        let Validation { standard, first_order, low, high, tolerance, .. } = checked.validation?;
        let interval = checked.drawn.symmetric?;
        let unit = self.unit();
        let places = places(tolerance);
        let shown = |number: f64| format!("{number:.places$}");
        let message = format!(
            "the {} interval of {} is {} to {}{unit} by Monte Carlo draws, but {} to {}{unit} to first order: they \
             differ by {} and {}, more than {} (JCGM 101, clause 8)",
            format_args!("{} %", percent(self.plan.probability)),
            self.name(checked.at),
            shown(interval.low),
            shown(interval.high),
            shown(first_order.low),
            shown(first_order.high),
            shown(low),
            shown(high),
            shown(tolerance),
        );
        // Another shape alone is worth knowing; another u means that the one printed is wrong.
        let u_differs = checked.drawn.standard_uncertainty.is_some_and(|u| (u - standard).abs() > tolerance);
        Some(self.finding(u_differs, message).hint("state the interval of the draws instead of ± U"))
    }

    fn not_stable(&self, checked: &Checked) -> Finding {
        let message = format!(
            "{} Monte Carlo draws of {} are too few for {} digit{} of its uncertainty: its mean, u and interval are \
             not stable to {:.1e}{}",
            checked.drawn.draws,
            self.name(checked.at),
            self.plan.digits,
            if self.plan.digits == 1 { "" } else { "s" },
            checked.drawn.tolerance / self.plan.tolerance_divisor,
            self.unit(),
        );
        let finding = self.finding(false, message);
        match self.plan.fixed {
            Some(_) => finding.hint("leave `draws` out, and as many are made as are needed"),
            None => finding.hint("state more of them, as in `monte-carlo = { draws = 10_000_000 }`"),
        }
    }

    fn unit(&self) -> String {
        match self.quantity.unit.symbol() {
            "" | "1" => String::new(),
            symbol => format!(" {symbol}"),
        }
    }
}

/// Decimals that show a tolerance, and a digit more.
fn places(tolerance: f64) -> usize {
    (1.0 - tolerance.log10().floor()).clamp(0.0, 17.0) as usize
}
