//! The plot of a budget: a bar for the share of each line.

use crate::notebook::settings::DecimalMark;
use crate::quantity::print_double;
use crate::report::code::{self, Fields};
use crate::report::uncertainty::{Line, Shown};
use crate::report::words::{self, Ink, Words};

/// The plot of one budget.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::report) struct BudgetPlot {
    pub(in crate::report) of: Words,
    pub(in crate::report) bars: Vec<Bar>,
}

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::report) struct Bar {
    pub(in crate::report) name: String,
    /// Share of the variance in per cent; below zero for a correlation that makes it smaller.
    pub(in crate::report) share: f64,
}

impl BudgetPlot {
    pub(in crate::report) fn of(shown: &Shown) -> Self {
        let bar = |line: &Line| Bar { name: line.name.clone(), share: line.share };
        BudgetPlot { of: shown.of(), bars: shown.lines.iter().map(bar).collect() }
    }

    /// What the plot shows, in words.
    pub(in crate::report) fn alternative(&self, mark: DecimalMark) -> String {
        let bar = |bar: &Bar| format!("{} {} per cent", bar.name, printed(bar.share, mark));
        let bars: Vec<String> = self.bars.iter().map(bar).collect();
        format!("Bars of the shares of the variance of {}: {}.", words::text_of(&self.of), bars.join("; "))
    }

    pub(in crate::report) fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let bar = |bar: &Bar| {
            Fields::new()
                .code("name", ink.text(&bar.name, None))
                .code("share", code::decimal(bar.share))
                .text("printed", &printed(bar.share, mark))
                .dictionary()
        };
        let plot = Fields::new()
            .aside("alt", &self.alternative(mark))
            .code("of", ink.words(&self.of, None))
            .code("bars", code::array(self.bars.iter().map(bar)))
            .dictionary();
        format!("layout.budget-plot({plot})\n")
    }
}

/// A share to the unit, or to a tenth where it is below ten.
pub(in crate::report) fn printed(share: f64, mark: DecimalMark) -> String {
    let place = if share.abs() < 9.95 { -1 } else { 0 };
    print_double(share, place).map_or_else(|| "–".to_owned(), |printed| words::digits(&printed.digits, mark))
}
