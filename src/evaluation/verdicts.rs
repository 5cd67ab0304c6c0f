//! What can be said of a result beyond its value: whether it agrees with theory, whether it keeps a limit, whether
//! one of its trials lies far from the others, and whether the balance explains its scatter. Plain data.

use super::results::Figure;
use super::uncertainty::Evaluated;
use crate::notebook::settings::Decision;
use crate::quantity::{Number, Printed, PrintedUncertainty, Unit};
use crate::statistics::{Dixon, Grubbs};

/// The test of a result against its theory: the difference of the two, with everything that is uncertain in either.
#[derive(Clone, Debug)]
pub struct TheoryTest {
    /// Result − theory, in the quantity's unit (an interval of it).
    pub difference: Number,
    /// The uncertainty of the difference, expanded for `probability`.
    pub evaluated: Evaluated,
    /// The coverage probability.
    pub probability: f64,
    /// The difference and its U as printed, to the same place; `None` where nothing is uncertain.
    pub printed: Option<(Printed, PrintedUncertainty)>,
    /// What follows.
    pub verdict: TheoryVerdict,
}

/// Whether a result agrees with its theory.
#[derive(Clone, Debug, PartialEq)]
pub enum TheoryVerdict {
    /// The difference is not more than its expanded uncertainty.
    Agrees,
    /// It is more.
    Differs,
    /// The scatter of the method is not known.
    TooFewTrials,
    /// Nothing can be said, for this reason.
    NotJudged(String),
}

impl TheoryVerdict {
    /// The words of the results file.
    pub fn word(&self) -> &'static str {
        match self {
            TheoryVerdict::Agrees => "agrees",
            TheoryVerdict::Differs => "differs",
            TheoryVerdict::TooFewTrials => "too few trials",
            TheoryVerdict::NotJudged(_) => "not judged",
        }
    }
}

/// A result held against a limit.
#[derive(Clone, Debug)]
pub struct Conformity {
    /// The limits as written: `not more than 0.50 %`.
    pub limit: String,
    /// The rule of the decision.
    pub decision: Decision,
    /// The result (the mean of the valid trials), unrounded and printed.
    pub result: Figure,
    /// Its uncertainty, expanded for `probability`.
    pub evaluated: Evaluated,
    /// The coverage probability.
    pub probability: f64,
    /// The expanded uncertainty printed to two figures, in the quantity's unit; `None` where nothing is uncertain.
    pub expanded: Option<String>,
    /// How probable it is that the quantity keeps the limits, given the result and its uncertainty (JCGM 106:2012, 7);
    /// `None` where the uncertainty is not known.
    pub probability_of_conformity: Option<f64>,
    /// What follows.
    pub verdict: ConformityVerdict,
}

/// Whether a result keeps its limits.
#[derive(Clone, Debug, PartialEq)]
pub enum ConformityVerdict {
    /// It does, by the rule.
    Conforms,
    /// It lies within the limits, but nearer to one than the guard band: not accepted by the rule.
    InGuardBand,
    /// It lies beyond a limit.
    DoesNotConform,
    /// The rule needs the uncertainty of the result, and its scatter is not known.
    TooFewTrials,
}

impl ConformityVerdict {
    /// The words of the results file.
    pub fn word(&self) -> &'static str {
        match self {
            ConformityVerdict::Conforms => "conforms",
            ConformityVerdict::InGuardBand => "in the guard band",
            ConformityVerdict::DoesNotConform => "does not conform",
            ConformityVerdict::TooFewTrials => "too few trials",
        }
    }
}

/// What the tests for an outlier say of the trials of one quantity: advice, nothing is left out by it.
#[derive(Clone, Debug)]
pub struct OutlierAdvice {
    /// The trials tested, by index.
    pub trials: Vec<usize>,
    /// Dixon's test; from three to ten values.
    pub dixon: Option<Dixon>,
    /// Grubbs' test.
    pub grubbs: Option<Grubbs>,
    /// Whether the value in question is no farther from its neighbour than the readings are uncertain: then the
    /// tests, which know of no resolution, say nothing.
    pub within_readings: bool,
}

/// The scatter of the trials beside what their readings explain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScatterRatio {
    /// s over the standard uncertainty of a single trial from weighing, measured quantities and atomic weights (root of
    /// the mean square).
    pub ratio: f64,
    /// Whether it is so large that something other than the balance dominates.
    pub dominates: bool,
}

impl TheoryTest {
    /// The verdict in words (decimal point, no other full stop); `unit` is the quantity's.
    pub fn sentence(&self, unit: &Unit) -> String {
        let Some((difference, expanded)) = self.numbers(unit) else { return self.without_numbers() };
        let k = format!("k = {:.2}, {}", self.evaluated.coverage_factor, percent(self.probability));
        match &self.verdict {
            TheoryVerdict::Agrees => {
                format!("agrees with theory: the difference of {difference} is within U = {expanded} ({k})")
            }
            TheoryVerdict::Differs => {
                format!("differs from theory by {difference}, more than U = {expanded} ({k})")
            }
            _ => self.without_numbers(),
        }
    }

    fn without_numbers(&self) -> String {
        match &self.verdict {
            TheoryVerdict::NotJudged(why) => format!("not judged against theory: {why}"),
            _ => "too few trials to say whether it agrees with theory".to_string(),
        }
    }

    /// The difference and its expanded uncertainty with their unit.
    fn numbers(&self, unit: &Unit) -> Option<(String, String)> {
        let (difference, expanded) = self.printed.as_ref()?;
        let power = difference.exponent.map_or(String::new(), |power| format!("e{power}"));
        let unit = match unit {
            unit if unit.is_one() => String::new(),
            unit if unit.is_percent() => " percentage points".to_string(),
            unit => format!(" {}", unit.interval().symbol()),
        };
        let sign = if difference.digits.starts_with('-') { "" } else { "+" };
        Some((
            format!("{sign}{}{power}{unit}", difference.digits),
            format!("{}{power}{unit}", expanded.expanded),
        ))
    }
}

/// A probability in per cent, to at most four figures.
pub fn percent(probability: f64) -> String {
    let text = format!("{:.2}", 100.0 * probability);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

impl Conformity {
    /// The verdict in words (decimal point, no other full stop); `unit` is the quantity's.
    pub fn sentence(&self, unit: &Unit) -> String {
        let unit = if unit.is_one() { String::new() } else { format!(" {}", unit.symbol()) };
        let expanded = self.expanded.as_ref().map_or(String::new(), |expanded| {
            let k = self.evaluated.coverage_factor;
            format!(", U = {expanded}{unit} (k = {k:.2}, {})", percent(self.probability))
        });
        let result = format!("{}{unit}", self.result.printed.ascii());
        let rule = self.decision.words();
        match self.verdict {
            ConformityVerdict::Conforms => format!("{result} conforms: {} (by {rule}{expanded})", self.limit),
            ConformityVerdict::InGuardBand => {
                format!(
                    "{result} is not accepted: nearer to the limit than U ({}; by {rule}{expanded})",
                    self.limit
                )
            }
            ConformityVerdict::DoesNotConform => {
                format!("{result} does not conform: {} (by {rule}{expanded})", self.limit)
            }
            ConformityVerdict::TooFewTrials => {
                format!(
                    "{result}: too few trials to say ({}; {rule} needs the uncertainty of the result)",
                    self.limit
                )
            }
        }
    }
}
