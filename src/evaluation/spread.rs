//! How far apart the trials of a quantity are, printed: worked out where it is shown, for a standard deviation has
//! 50 digits and most readers of results want none of them.

use super::agreement;
use super::printer::Printer;
use super::results::{AgreementResult, Figure, QuantityResult, Results};
use crate::quantity::{Quantity, QuantityError, Unit};

/// How far apart some values are; without figures for a single one.
#[derive(Clone, Debug, Default)]
pub struct Spread {
    /// Largest − smallest, in the quantity's unit.
    pub range: Option<Figure>,
    /// The standard deviation, in the quantity's unit.
    pub s: Option<Figure>,
    /// s over the magnitude of the mean, in per cent.
    pub relative_s: Option<Figure>,
    /// The difference of duplicates over their mean, in per cent; with two values.
    pub relative_difference: Option<Figure>,
    /// The relative average deviation in ‰.
    pub relative_average_deviation: Option<Figure>,
}

impl Spread {
    /// A figure of it.
    pub fn figure(&self, kind: FigureKind) -> Option<&Figure> {
        match kind {
            FigureKind::Range => self.range.as_ref(),
            FigureKind::S => self.s.as_ref(),
            FigureKind::RelativeS => self.relative_s.as_ref(),
            FigureKind::RelativeDifference => self.relative_difference.as_ref(),
            FigureKind::RelativeAverageDeviation => self.relative_average_deviation.as_ref(),
            FigureKind::Difference | FigureKind::PercentError => None,
        }
    }
}

/// A figure that is said of the trials of a quantity, or of a quantity and its theory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FigureKind {
    /// Largest − smallest.
    Range,
    /// The standard deviation.
    S,
    /// s over the mean.
    RelativeS,
    /// The difference of duplicates over their mean.
    RelativeDifference,
    /// The average deviation over the mean.
    RelativeAverageDeviation,
    /// Result − theory, in percentage points.
    Difference,
    /// (Result − theory) over the magnitude of the theory.
    PercentError,
}

impl FigureKind {
    /// All of them.
    pub const ALL: [FigureKind; 7] = [
        FigureKind::Range,
        FigureKind::S,
        FigureKind::RelativeS,
        FigureKind::RelativeDifference,
        FigureKind::RelativeAverageDeviation,
        FigureKind::Difference,
        FigureKind::PercentError,
    ];

    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            FigureKind::Range => "range",
            FigureKind::S => "s",
            FigureKind::RelativeS => "relative s",
            FigureKind::RelativeDifference => "relative difference",
            FigureKind::RelativeAverageDeviation => "relative average deviation",
            FigureKind::Difference => "difference from theory",
            FigureKind::PercentError => "percent error",
        }
    }

    /// What the figure of a symbol is called: `s w(water)`.
    pub fn of(self, symbol: &str) -> String {
        format!("{} {symbol}", self.word())
    }
}

/// How a symbol is called where the trials that were set aside count too.
pub fn with_all(symbol: &str) -> String {
    format!("{symbol}, with all")
}

impl Results {
    /// How far apart the values of an agreement of a quantity are.
    pub fn spread(&self, quantity: &QuantityResult, agreement: &AgreementResult) -> Spread {
        let n = agreement.numbers.n;
        if n < 2 {
            return Spread::default();
        }
        let (values, unit) = (&agreement.values, &quantity.unit);
        let printer = Printer { graph: &self.graph, inputs: &self.inputs, settings: &self.settings };
        let refs: Vec<&Quantity> = values.iter().map(|value| self.graph.quantity(*value)).collect();
        let middle = self.graph.quantity(agreement.mean_node);
        let relative = |top: &Result<Quantity, QuantityError>, unit: Option<Unit>| {
            let quotient = top.as_ref().ok()?.div(&middle.abs()).ok()?;
            printer.relative_scatter_of(&quotient, &unit?, values, &middle.number)
        };
        let s = Quantity::standard_deviation(&refs);
        let of_s = |s: &Quantity| printer.scatter_of(s, &unit.interval(), values);
        Spread {
            range: agreement::range(values, unit, &printer),
            s: s.as_ref().ok().and_then(of_s),
            relative_s: relative(&s, Some(Unit::percent())),
            relative_difference: relative(&Quantity::range(&refs), Some(Unit::percent())).filter(|_| n == 2),
            relative_average_deviation: relative(&Quantity::average_deviation(&refs), Unit::parse("‰").ok()),
        }
    }
}
