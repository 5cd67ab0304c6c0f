//! Runs of text, numbers and values as HTML.

use super::markup::Markup;
use crate::evaluation::results::{InlineValue, Results};
use crate::notebook::settings::DecimalMark;
use crate::report::tables::Beside;
use crate::report::words::{self, Run};

/// The space between a number and its unit.
const THIN: &str = "\u{202f}";

/// Runs of text.
pub(super) fn words(page: &mut Markup, words: &[Run]) {
    for run in words {
        match run {
            Run::Plain(text) => page.text(text),
            Run::Italic(text) => page.text_in("i", &[], text),
            Run::Lowered(text) => page.text_in("sub", &[], text),
            Run::Raised(text) => page.text_in("sup", &[], text),
            Run::Break => page.open("br", &[]),
        }
    }
}

/// A number with what stands beside it.
pub(super) struct Number<'a> {
    /// Its digits as printed.
    pub(super) digits: &'a str,
    pub(super) beside: Option<&'a Beside>,
    pub(super) power: Option<i32>,
    /// The spelling of its unit; empty for none.
    pub(super) unit: &'a str,
}

impl Number<'_> {
    /// What stands behind the digits: uncertainty, power of ten, unit.
    pub(super) fn tail(&self, page: &mut Markup, mark: DecimalMark) {
        let expanded = matches!(self.beside, Some(Beside::PlusMinus(_)));
        match self.beside {
            Some(Beside::Concise(digits)) => page.text(&format!("({digits})")),
            Some(Beside::PlusMinus(expanded)) => {
                page.text(&format!("\u{a0}±\u{a0}{}", words::digits(expanded, mark)))
            }
            None => {}
        }
        if expanded && self.bracketed() {
            page.text(")");
        }
        if let Some(power) = self.power {
            page.text(&format!("{THIN}×{THIN}10"));
            page.text_in("sup", &[], &words::power(power));
        }
        if !self.unit.is_empty() {
            page.text(THIN);
            words(page, &words::unit(self.unit));
        }
    }

    /// Whether brackets show that power of ten and unit belong to both numbers.
    pub(super) fn bracketed(&self) -> bool {
        let expanded = matches!(self.beside, Some(Beside::PlusMinus(_)));
        expanded && (self.power.is_some() || !self.unit.is_empty())
    }
}

/// What an inline expression comes to: one value, or every trial's.
pub(super) fn inline_value(page: &mut Markup, results: &Results, index: usize) {
    let Some(result) = results.inline.get(index).filter(|result| !result.values.is_empty()) else {
        page.text("–");
        return;
    };
    for (count, value) in result.values.iter().enumerate() {
        if count > 0 {
            page.text(", ");
        }
        one_value(page, value, results.settings.decimal);
    }
}

fn one_value(page: &mut Markup, value: &InlineValue, mark: DecimalMark) {
    let beside = value.uncertainty.as_ref().map(Beside::of);
    let number = Number {
        digits: &words::digits(&value.printed.digits, mark),
        beside: beside.as_ref(),
        power: value.printed.exponent,
        unit: &value.unit,
    };
    page.element("span", &[("class", "value")], |page| {
        page.text(if number.bracketed() { "(" } else { "" });
        page.text(number.digits);
        number.tail(page, mark);
        match (&value.trial, value.provisional) {
            (Some(trial), true) => page.text(&format!("\u{a0}({trial}, provisional)")),
            (Some(trial), false) => page.text(&format!("\u{a0}({trial})")),
            (None, true) => page.text("\u{a0}(provisional)"),
            (None, false) => {}
        }
    });
}
