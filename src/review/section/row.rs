//! The row of one notebook, as it is written and read again. Numbers are decimal strings.

use serde::{Deserialize, Serialize};

/// One notebook or report of a section.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// The file, below the folder.
    pub file: String,
    /// Why it was not reviewed.
    pub problem: Option<String>,
    /// SHA-256 of the notebook (of a report: the attached one).
    pub sha256: Option<String>,
    /// The file of an earlier row with the same notebook.
    pub same_as: Option<String>,
    /// Its title.
    pub title: Option<String>,
    /// Its authors.
    pub authors: Vec<String>,
    /// The unknown it names.
    pub unknown: Option<String>,
    /// The bench it names.
    pub bench: Option<String>,
    /// The balances its readings name.
    pub balances: Vec<String>,
    /// The template it was reviewed by.
    pub template: Option<TemplateOfRow>,
    /// The results that a section follows.
    pub results: Vec<ResultOfRow>,
    /// The verdicts on its claimed values, counted.
    pub verdicts: Verdicts,
    /// Each claim that differs.
    pub differing: Vec<Differing>,
    /// Its marks, where the template gives some.
    pub marks: Option<MarksOfRow>,
    /// The decisions that were applied.
    pub decided: Vec<DecidedOfRow>,
    /// Its findings.
    pub findings: FindingsOfRow,
}

/// The template of a row.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TemplateOfRow {
    /// Its name.
    pub id: String,
    /// Its version.
    pub version: String,
    /// SHA-256 over its files.
    pub sha256: String,
    /// SHA-256 of its marks; `None` without any.
    pub marks_sha256: Option<String>,
}

/// One result of a row; numbers are decimal strings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ResultOfRow {
    /// What it is of.
    pub of: String,
    /// The unit.
    pub unit: String,
    /// The mean of the valid trials, unrounded.
    pub value: Option<String>,
    /// As printed.
    pub printed: Option<String>,
    /// How many trials.
    pub n: usize,
    /// Whether it rests on an unfinished series.
    pub provisional: bool,
    /// The reference value of its unknown.
    pub reference: ReferenceOfRow,
    /// The z score by the robust mean and standard deviation of its unknown; `None` where those say too little.
    pub z: Option<String>,
}

/// The reference value of a row's result.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ReferenceOfRow {
    /// `released`, `not yet released`, or why there is none.
    pub status: String,
    /// The value as written, where it is released.
    pub value: Option<String>,
    /// Its unit.
    pub unit: Option<String>,
    /// Its standard uncertainty as written.
    pub u: Option<String>,
    /// The percent error, unrounded.
    pub percent_error: Option<String>,
    /// As printed.
    pub percent_error_printed: Option<String>,
}

/// Verdicts, counted.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdicts {
    /// All claims.
    pub claims: usize,
    /// Equal after rounding.
    pub agrees: usize,
    /// One off in the last place.
    pub off_by_one: usize,
    /// Right from the author's own earlier values.
    pub carried_forward: usize,
    /// Right by another table of atomic weights.
    pub other_table: usize,
    /// None of these.
    pub differs: usize,
    /// Nothing to compare with.
    pub cannot_be_checked: usize,
    /// Digits that are too many.
    pub digits_too_many: usize,
    /// Digits that are too few.
    pub digits_too_few: usize,
}

/// A claim that differs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Differing {
    /// Its name.
    pub claim: String,
    /// The line of the notebook.
    pub line: usize,
    /// As claimed.
    pub claimed: String,
    /// As recomputed.
    pub recomputed: Option<String>,
    /// The slip it is consistent with.
    pub consistent_with: Option<String>,
}

/// The marks of a row; points are decimal strings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct MarksOfRow {
    /// Reached so far.
    pub points: String,
    /// Not decided yet.
    pub open: String,
    /// The most there are.
    pub possible: String,
    /// Item by item.
    pub items: Vec<MarkOfRow>,
}

/// The marks of one item.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct MarkOfRow {
    /// The item.
    pub item: String,
    /// The points; `None` where they are not decided yet.
    pub points: Option<String>,
    /// The most it gives.
    pub possible: String,
    /// Why.
    pub why: String,
    /// Whether a person decided.
    pub by_hand: bool,
}

/// A decision that was applied.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DecidedOfRow {
    /// The claim or item.
    pub about: String,
    /// What was decided.
    pub decision: String,
    /// Why.
    pub reason: Option<String>,
}

/// Findings, counted, and the first of them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct FindingsOfRow {
    /// How many errors.
    pub errors: usize,
    /// How many warnings.
    pub warnings: usize,
    /// How many notes.
    pub notes: usize,
    /// Errors and warnings, at most twenty.
    pub said: Vec<FindingOfRow>,
}

/// One finding.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FindingOfRow {
    /// `error` or `warning`.
    pub severity: String,
    /// Its code.
    pub code: String,
    /// What it says.
    pub message: String,
    /// The line of the notebook.
    pub line: Option<usize>,
}

impl Row {
    /// The row of a file that was not reviewed.
    pub fn broken(file: &str, problem: &str) -> Self {
        Row { file: file.to_owned(), problem: Some(problem.to_owned()), ..Row::default() }
    }

    /// What there is to say of a report that is not the one its notebook gives.
    pub fn altered(&self) -> Option<&str> {
        let code = crate::finding::Code::ReportInconsistent.text();
        self.findings.said.iter().find(|said| said.code == code).map(|said| said.message.as_str())
    }

    /// Whether there is anything to look at.
    pub fn has_something(&self) -> bool {
        let findings = &self.findings;
        self.problem.is_some() || self.verdicts.differs > 0 || findings.errors + findings.warnings > 0
    }
}
