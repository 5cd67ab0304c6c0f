//! What the program has to say about a notebook: how grave, where, and how to mend it.
//!
//! Findings are data. Deep helpers return errors without a place; whoever knows the place turns them
//! into findings. Printing lives with the command line; the results file serialises the same data.

mod visible;

pub use visible::{in_json, is_hidden, visible_lines, without_controls};

use crate::span::Span;

/// How grave a finding is. Notes do not change the exit status.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing; everything is within the uncertainty or the rules.
    Note,
    /// Computed, but something is not as it should be.
    Warning,
    /// Something cannot be computed.
    Error,
}

impl Severity {
    /// The word printed for it.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::Warning => "warning",
            Severity::Error => "error",
        }
    }
}

macro_rules! codes {
    ($($name:ident $text:literal $explanation:literal,)*) => {
        /// The kinds of finding, each with a stable code.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Code { $(#[doc = $explanation] $name,)* }

        impl Code {
            /// Every code there is, in the order of the table.
            pub const ALL: &'static [Code] = &[$(Code::$name,)*];

            /// The stable spelling, as printed and as in the results file.
            pub fn text(self) -> &'static str {
                match self { $(Code::$name => $text,)* }
            }

            /// One line that says what the finding means.
            pub fn explanation(self) -> &'static str {
                match self { $(Code::$name => $explanation,)* }
            }
        }
    };
}

codes! {
    EmptyNotebook "empty-notebook" "the notebook holds no text",
    InvalidText "invalid-text" "bytes that are not UTF-8 text",
    TooLarge "too-large" "more than the program takes on: bytes, trials, cycles, nesting or digits",
    NearlyABlock "nearly-a-block" "a fence whose first word is one edit away from a block's name",
    UnclosedBlock "unclosed-block" "a block that runs into the next one, because its end is missing",
    BadToml "bad-toml" "an `experiment` block or a template's file that is not well-formed TOML",
    UnknownKey "unknown-key" "a key of `experiment` or of a template that is not known",
    BadSetting "bad-setting" "a value of `experiment` or of a template that cannot be used",
    RepeatedSetting "repeated-setting" "a setting or block given twice",
    MissingDate "missing-date" "no date of the experiment is stated",
    MissingTitle "missing-title" "no title of the experiment is stated",
    BadLine "bad-line" "a line that does not have the form its block asks for",
    CellCount "cell-count" "a line with more or fewer cells than there are trials",
    BadReading "bad-reading" "a cell that is not a number",
    DecimalComma "decimal-comma" "a comma between digits where no decimal comma is declared",
    BadUnit "bad-unit" "a unit that is not known or does not fit here",
    NoTrials "no-trials" "no trial with a reading",
    UnknownTrial "unknown-trial" "a trial that is not a column of the notebook",
    RepeatedTrial "repeated-trial" "two columns with one name",
    SharedReading "shared-reading" "a reading that points to a trial without one, or round in a circle",
    SetAside "set-aside" "a trial set aside, with its reason",
    BadFile "bad-file" "a file that cannot be read, or lies outside the notebook's folder",
    BadCsv "bad-csv" "a row of the weighings file that cannot be used",
    BadRequest "bad-request" "a table or plot that is not known",
    SyntaxError "syntax-error" "an expression that cannot be read",
    UnknownSymbol "unknown-symbol" "a name that nothing defines",
    UnknownFormula "unknown-formula" "a chemical formula that cannot be read",
    FormulaReading "formula-reading" "how an ambiguous chemical formula was read",
    NoFactor "no-factor" "a gravimetric factor that two formulas do not fix",
    FactorRoute "factor-route" "a factor that two routes give differently, and the one taken",
    UnknownReaction "unknown-reaction" "a coefficient that no reaction of the notebook gives",
    UnbalancedReaction "unbalanced-reaction" "an equation that does not balance as written",
    BadMixture "bad-mixture" "a mixture that cannot be solved, or whose solution needs a word",
    NoFormula "no-formula" "amounts that do not fix one formula",
    ReservedName "reserved-name" "a name that means something else and cannot be defined",
    Cycle "cycle" "formulas that need each other",
    DefinedTwice "defined-twice" "one name with two definitions",
    DimensionMismatch "dimension-mismatch" "quantities of different kinds added, compared or shown in a unit that does not fit",
    DivisionByZero "division-by-zero" "a division by zero",
    NotComputable "not-computable" "an operation without a real result",
    MissingValue "missing-value" "a value that rests on a reading that is missing",
    Undetermined "undetermined-mass" "a mass that does not follow uniquely from the readings",
    RoutesDisagree "routes-disagree" "two ways to one mass that differ by more than the readings' uncertainty",
    DefinitionDiffers "definition-differs" "a formula for a net mass that differs from the readings",
    NetMassBelowZero "net-mass-below-zero" "a net mass below zero",
    ResidueAboveSample "residue-above-sample" "more left than was put in",
    BelowMinimumWeight "below-minimum-weight" "a net mass below the minimum weight of its balance",
    BalanceChanged "balance-changed" "readings of different balances subtracted from each other",
    UnknownBalance "unknown-balance" "a balance that `experiment` does not describe",
    DecimalPlaces "decimal-places" "more or fewer decimals than the balance gives",
    Provisional "provisional" "a result from a series that has not reached constant mass",
    ConstantMass "constant-mass" "a constant-mass verdict that needs a word",
    Repeatability "repeatability" "trials further apart than the repeatability limit",
    Buoyancy "air-buoyancy" "the correction for air buoyancy: what it lacks, or what it does not reach",
    Outlier "outlier" "a trial that lies far from the others; advice, nothing is left out",
    Scatter "scatter" "trials that scatter far more than their readings explain",
    UntickedCheck "unticked-check" "a check of the task list that is not ticked",
    MissingAlternative "missing-alternative" "an image without a text alternative",
    BadImage "bad-image" "an image that cannot be shown",
    MathAsSource "math-as-source" "math outside the supported subset, set as its source",
    UnprintableCharacter "unprintable-character" "a character outside the built-in fonts",
    Braces "braces" "braces that hold no expression",
    UnitAssumed "unit-assumed" "a claimed value without a unit, taken in the quantity's own",
    BadClaim "bad-claim" "a claimed value that cannot be checked as written",
    DigitsByFigures "digits-by-figures" "values without an uncertainty that could decide their digits",
    MonteCarlo "monte-carlo" "Monte Carlo draws that differ from the first-order uncertainty, are too few, or have no value",
    ClaimDiffers "claim-differs" "a claimed value that differs from the recomputed one",
    ClaimNear "claim-near" "a claimed value one off in its last place, carried forward, or right by another table",
    ClaimDigits "claim-digits" "a claimed value with more or fewer digits than it is worth",
    ClaimUnchecked "claim-unchecked" "a claimed value with nothing to compare it with",
    TemplateCopy "template-copy" "a template handed in with a notebook, and how it differs from the reviewer's",
    ReportConsistent "report-consistent" "a report that is what its own notebook gives",
    ReportInconsistent "report-inconsistent" "a report that is not what its own notebook gives",
    StaleDecision "stale-decision" "a marker's decision that cannot be applied, or whose notebook has changed since",
    LayoutFailed "layout-failed" "the typesetter could not set the report",
    NoTemplate "no-template" "a template that cannot be found",
    BadTemplate "bad-template" "a template that lacks something, or has something that cannot be used",
    BadSkeleton "bad-skeleton" "a skeleton that cannot be filled",
    BadRemarks "bad-remarks" "remarks that cannot be filled",
    NoSource "no-source" "a hazard line without a source, which is not printed",
    MissingItem "missing-item" "something a template requires that the notebook does not have",
    SampleSize "sample-size" "a sample outside the range that the template calls usual",
    RuleDiffers "rule-differs" "a rule that notebook and template state differently",
    MethodDiffers "method-differs" "a formula whose values differ from those of the template's method",
}

/// One thing to say, at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Which kind.
    pub code: Code,
    /// How grave.
    pub severity: Severity,
    /// What was found and what was expected, lower case, no full stop.
    pub message: String,
    /// The file it is about where that is not the notebook itself (a CSV file).
    pub file: Option<String>,
    /// Line and column in `file`, from 1, where the place is known.
    pub place: Option<(usize, usize)>,
    /// The place; `None` is the whole file.
    pub span: Option<Span>,
    /// Further places with a word each.
    pub labels: Vec<(Span, String)>,
    /// How to mend it.
    pub hints: Vec<String>,
}

impl Finding {
    /// A finding of a severity at a place.
    pub fn new(
        severity: Severity,
        code: Code,
        span: impl Into<Option<Span>>,
        message: impl Into<String>,
    ) -> Self {
        Finding {
            code,
            severity,
            message: message.into(),
            file: None,
            place: None,
            span: span.into(),
            labels: Vec::new(),
            hints: Vec::new(),
        }
    }

    /// An error at a place.
    pub fn error(code: Code, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Finding::new(Severity::Error, code, span, message)
    }

    /// A warning at a place.
    pub fn warning(code: Code, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Finding::new(Severity::Warning, code, span, message)
    }

    /// A note at a place.
    pub fn note(code: Code, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Finding::new(Severity::Note, code, span, message)
    }

    /// Adds a way to mend it.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hints.push(hint.into());
        self
    }

    /// Adds a further place.
    pub fn label(mut self, span: Span, text: impl Into<String>) -> Self {
        self.labels.push((span, text.into()));
        self
    }

    /// Says that the place is in another file.
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.file = Some(file.into());
        self
    }
}

impl Finding {
    /// Moves the finding to another file: its place is taken as one of that file's `text`. Further places
    /// become hints, because they can no longer be shown beside it.
    pub fn in_text(mut self, file: &str, text: &str) -> Self {
        let lines = crate::span::Lines::of(text);
        for (span, label) in std::mem::take(&mut self.labels) {
            self.hints.push(format!("line {}: {label}", lines.place(text, span.start).0));
        }
        self.place = self.span.take().map(|span| lines.place(text, span.start));
        self.file = Some(file.to_owned());
        self
    }

    /// `file:line:column` of a finding that is not about the notebook's own text.
    pub fn elsewhere(&self) -> Option<String> {
        let file = self.file.as_ref()?;
        Some(match self.place {
            Some((line, column)) => format!("{file}:{line}:{column}"),
            None => file.clone(),
        })
    }
}

/// The candidate nearest to a word, if it is near enough to be meant (one edit in a short word, two in a
/// longer one; two neighbouring letters swapped count as one).
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // A word of one letter is one edit from any other, so it is near to none.
    let allowed = match word.chars().count() {
        0 | 1 => 0,
        2..=4 => 1,
        _ => 2,
    };
    let word = word.to_lowercase();
    // A word so much longer or shorter is farther away than it.
    let near = |candidate: &str| candidate.chars().count().abs_diff(word.chars().count()) <= allowed;
    candidates
        .into_iter()
        .map(|candidate| (candidate.to_lowercase(), candidate))
        .filter(|(lower, _)| near(lower))
        .map(|(lower, candidate)| (edit_distance(&word, &lower), candidate))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Edits (insert, delete, replace, swap of neighbours) between two words; long words are not compared.
pub fn edit_distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    if a.len().max(b.len()) > 64 {
        return usize::MAX;
    }
    let mut rows = vec![vec![0usize; b.len() + 1]; a.len() + 1];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            rows[i][j] = match (i, j) {
                (0, _) => j,
                (_, 0) => i,
                _ => cheapest_edit(&rows, &a, &b, i, j),
            };
        }
    }
    rows[a.len()][b.len()]
}

fn cheapest_edit(rows: &[Vec<usize>], a: &[char], b: &[char], i: usize, j: usize) -> usize {
    let replace = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
    let best = replace.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
    let swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
    if swapped { best.min(rows[i - 2][j - 2] + 1) } else { best }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn codes_are_distinct_and_explained() {
        let texts: BTreeSet<_> = Code::ALL.iter().map(|code| code.text()).collect();
        assert_eq!(texts.len(), Code::ALL.len());
        assert!(Code::ALL.iter().all(|code| !code.explanation().is_empty()));
    }

    #[test]
    fn nearest_finds_one_slip_and_no_stranger() {
        assert_eq!(nearest("mases", ["masses", "measured"]), Some("masses"));
        assert_eq!(nearest("wokring", ["working", "theory"]), Some("working"));
        assert_eq!(nearest("python", ["working", "theory"]), None);
        assert_eq!(nearest("F", ["A", "B"]), None);
    }
}
