//! The results in brief, for a layout that opens with them: what was found, how many trials it is the mean of, and how
//! far it is from theory. Results with a theory; where none has one, all of the working, as far as that is brief.

use super::code::{self, Fields};
use super::tables::Beside;
use super::words::{self, Ink};
use crate::evaluation::results::{Figure, Origin, Outcome, QuantityResult, Results};
use crate::quantity::{Printed, PrintedUncertainty};

/// Most results told where none has a theory.
const MOST: usize = 4;

/// One dictionary for each result: `symbol`, `result`, and where they are known `trials`, `theory`, `error`.
pub(super) fn summary(results: &Results, ink: &Ink) -> String {
    let worked = || results.quantities.iter().filter(|quantity| is_found(quantity));
    let mut told: Vec<&QuantityResult> = worked().filter(|quantity| quantity.theory.is_some()).collect();
    if told.is_empty() {
        told.extend(worked().take(MOST));
    }
    code::array(told.into_iter().map(|quantity| entry(quantity, results, ink)))
}

fn is_found(quantity: &QuantityResult) -> bool {
    let has_value =
        quantity.agreement.is_some() || quantity.scalar.as_ref().and_then(Outcome::value).is_some();
    quantity.origin == Origin::Working && has_value
}

fn entry(quantity: &QuantityResult, results: &Results, ink: &Ink) -> String {
    let unit = words::unit_symbol(&quantity.unit);
    let number = |printed: &Printed, beside: Option<&PrintedUncertainty>, unit: &str, provisional: bool| {
        let mark = results.settings.decimal;
        let fields = Fields::new().text("digits", &words::digits(&printed.digits, mark));
        let beside = beside.map(|beside| Beside::of(beside).field(mark));
        let fields = match &beside {
            Some((key, text)) => fields.text(key, text),
            None => fields,
        };
        fields
            .optional_text("power", printed.exponent.map(words::power).as_deref())
            .optional("unit", (!unit.is_empty() && unit != "1").then(|| ink.words(&words::unit(unit), None)))
            .flag("provisional", provisional)
            .call("layout.quantity")
    };
    let figure =
        |figure: &Figure, unit: &str| number(&figure.printed, figure.uncertainty.as_ref(), unit, false);
    let outcome = |outcome: &Outcome| {
        let value = outcome.value()?;
        Some(number(&value.printed, value.uncertainty.as_ref(), unit, value.provisional))
    };
    let agreement = quantity.agreement.as_ref();
    let mean = agreement
        .map(|mean| number(&mean.mean.printed, mean.mean.uncertainty.as_ref(), unit, mean.provisional));
    let theory = quantity.theory.as_ref();
    Fields::new()
        .code("symbol", ink.words(&words::symbol(&quantity.symbol), None))
        .optional("result", mean.or_else(|| outcome(quantity.scalar.as_ref()?)))
        .optional("trials", agreement.map(|agreement| agreement.numbers.n.to_string()))
        .optional("theory", theory.and_then(|theory| outcome(theory.scalar.as_ref()?)))
        .optional("error", theory.and_then(|theory| Some(figure(theory.percent_error.as_ref()?, "%"))))
        .dictionary()
}
