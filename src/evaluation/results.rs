//! What a notebook comes to: the one document that the text output, the results file and the report show.

use crate::chemistry::Reaction;
use crate::finding::Finding;
use crate::notebook::Check;
use crate::notebook::settings::{Date, Settings};
use crate::quantity::derivation::{Graph, NodeId};
use crate::quantity::{Decimal, Number, Printed, PrintedUncertainty, Unit};
use crate::span::Span;
use crate::statistics::Agreement;
pub use crate::weighing::Trial;
use std::sync::Arc;

use super::formula_tree::FormulaTree;
use super::uncertainty::monte_carlo::MonteCarlo;
use super::uncertainty::{Evaluated, Inputs};
use super::verdicts::{Conformity, OutlierAdvice, ScatterRatio, TheoryTest};

/// Everything computed from one notebook.
#[derive(Clone, Debug)]
pub struct Results {
    /// The file name of the notebook.
    pub name: String,
    /// SHA-256 of the notebook's bytes, in hexadecimal.
    pub sha256: String,
    /// The other files read (CSV, images): path as written and SHA-256.
    pub files: Vec<(String, String)>,
    /// The name of the atomic-weight table.
    pub atomic_weights: String,
    /// The notebook's settings, policies and record included.
    pub settings: Settings,
    /// The columns, in the order of their first mention.
    pub trials: Vec<Trial>,
    /// Readings by load, in the order written.
    pub series: Vec<Series>,
    /// Every quantity: measured ones, net masses, working, theory, each in the order written.
    pub quantities: Vec<QuantityResult>,
    /// What `measured` blocks say in words.
    pub measured_words: Vec<MeasuredWords>,
    /// The worked calculation of one trial, line by line (the first trial that has every value); empty for a review.
    pub worked: Vec<WorkedLine>,
    /// The trial the worked calculation is of, by index; `None` if every line is a scalar.
    pub worked_trial: Option<usize>,
    /// The equations of each `mixture` block that could be solved.
    pub mixtures: Vec<MixtureResult>,
    /// What each inline expression prints, in the order of `Notebook::inline`; nothing in results for a review.
    pub inline: Vec<InlineResult>,
    /// The equations of `reaction` blocks, in the order written.
    pub reactions: Vec<ReactionResult>,
    /// The formulas sought (`formula(…) = …`), in the order written.
    pub formulas: Vec<FormulaFound>,
    /// The tables of steps.
    pub steps: Vec<StepTable>,
    /// What the data say of each theory that is a whole number, in the order written; in results for a review only what is
    /// a finding too.
    pub whole_numbers: Vec<WholeNumberResult>,
    /// The theoretical yields (`yield(…) = …`), in the order written.
    pub yields: Vec<YieldResult>,
    /// The correction for air buoyancy, where it was made.
    pub buoyancy: Option<BuoyancyResult>,
    /// The entries of task lists.
    pub checks: Vec<Check>,
    /// The claimed values as written, in the order written.
    pub claims: Vec<Claim>,
    /// What every value was computed from.
    pub graph: Graph,
    /// What is uncertain of it, and by how much.
    pub inputs: Inputs,
    /// The results by Monte Carlo draws, where the notebook asks for it.
    pub monte_carlo: Option<MonteCarlo>,
    /// All findings, by place.
    pub findings: Vec<Finding>,
    /// The template that was applied.
    pub template: Option<TemplateUsed>,
}

/// What the results say of the template that was applied.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TemplateUsed {
    /// Its name.
    pub id: String,
    /// Its version.
    pub version: String,
    /// What the experiment is called.
    pub title: String,
    /// Who hands it out.
    pub institution: Option<String>,
    /// SHA-256 over its files, those for marking left out.
    pub sha256: String,
    /// Where it came from, in words.
    pub origin: String,
    /// Who reviewed it for the institution, and when.
    pub reviewed: Option<(String, Date)>,
    /// The keys that `local.toml` changes.
    pub local: Vec<String>,
    /// What a student's own results show (`all`, `after claim`, `readings only`).
    pub reveal: &'static str,
    /// Whose formulas the results rest on, in words.
    pub working: String,
    /// Required checks that the notebook does not have.
    pub missing_checks: Vec<String>,
    /// Questions for the discussion that the results ask for.
    pub questions: Vec<String>,
}

/// All weighings of one load.
#[derive(Clone, Debug)]
pub struct Series {
    /// The load as written at its first row.
    pub load: String,
    /// What was done between the weighings where one word names it (`heating`), else `None`.
    pub treatment: Option<String>,
    /// The unit of the block, in which decimals were judged.
    pub unit: Unit,
    /// The rows, in the order written.
    pub rows: Vec<SeriesRow>,
    /// One per trial; empty unless the load was weighed more than once in some trial or treated.
    pub verdicts: Vec<ConstantMass>,
    /// The rule applied, in words (`not more than 0.5 mg`); `None` where the method heats for a fixed time.
    pub rule: Option<String>,
    /// The limit in the series' unit per trial, where it is a mass that can be drawn as a band.
    pub limits: Vec<Option<Number>>,
}

/// One line of readings.
#[derive(Clone, Debug)]
pub struct SeriesRow {
    /// The treatment as written (`heating 2`); empty for a plain weighing.
    pub treatment: String,
    /// Events since the row before: the stage changes here.
    pub events: Vec<String>,
    /// The balance per trial, where one is named.
    pub balances: Vec<Option<Arc<str>>>,
    /// One per trial.
    pub readings: Vec<ReadingCell>,
    /// Per trial, the change since the reading before (in the series' unit); `None` for the first one.
    pub changes: Vec<Option<Change>>,
    /// Whether the whole line was struck.
    pub struck: bool,
    /// The line.
    pub span: Span,
}

/// One cell of the readings, as written.
#[derive(Clone, Debug, Default)]
pub struct ReadingCell {
    /// The reading with its written digits (decimal point), in `unit` or the series' unit; `None` is a dash.
    pub written: Option<String>,
    /// Its own unit where it differs from the series'.
    pub unit: Option<Unit>,
    /// Struck values, as written.
    pub struck: Vec<String>,
    /// The bracketed remark.
    pub remark: Option<String>,
    /// The trial whose reading this shares.
    pub shared_with: Option<String>,
    /// The time of weighing, as a file of weighings gives it.
    pub time: Option<String>,
    /// The reading in the derivation graph.
    pub node: Option<NodeId>,
}

/// A line of `measured` that says something in words (`crucible: K7  K9`).
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredWords {
    /// What the line is of, as written.
    pub name: String,
    /// What it says of all trials.
    pub all: Option<String>,
    /// What it says of each trial.
    pub trials: Vec<Option<String>>,
}

/// The change between two weighings.
#[derive(Clone, Debug)]
pub struct Change {
    /// The change in the series' unit.
    pub number: Number,
    /// As printed, in the series' unit.
    pub printed: Printed,
    /// The same in milligrams.
    pub printed_mg: Printed,
    /// Whether an event lies between: shown, not judged.
    pub across_event: bool,
}

/// The constant-mass verdict of one trial.
#[derive(Clone, Debug, PartialEq)]
pub enum ConstantMass {
    /// Reached: from this row on (index into [`Series::rows`]) all changes hold; its number as counted by cycle.
    Reached {
        /// The cycle, counted from 1 within the series' weighings of this trial.
        at: usize,
    },
    /// The last change is beyond the limit.
    NotReached {
        /// The last change in the series' unit.
        last_change: Number,
    },
    /// One weighing, a gap, or nothing since the last event.
    NotShown(String),
    /// The limit is below one scale interval of the balance.
    CannotBeJudged(String),
    /// The trial has no reading of this load, or the method heats for a fixed time.
    None,
}

/// Where a quantity comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A line of `measured`.
    Measured,
    /// The algebra of the loads.
    NetMass,
    /// A line of `working`.
    Working,
    /// A line of `theory`, of a symbol that has no result of its own.
    Theory,
}

impl Origin {
    /// The word of the results file.
    pub fn word(self) -> &'static str {
        match self {
            Origin::Measured => "measured",
            Origin::NetMass => "net mass",
            Origin::Working => "working",
            Origin::Theory => "theory",
        }
    }
}

/// One quantity.
#[derive(Clone, Debug)]
pub struct QuantityResult {
    /// The symbol (`w(water)`).
    pub symbol: String,
    /// The unit shown.
    pub unit: Unit,
    /// Where it comes from.
    pub origin: Origin,
    /// Where it is defined.
    pub span: Option<Span>,
    /// The remark of its line.
    pub remark: Option<String>,
    /// The value where it does not depend on the trial.
    pub scalar: Option<Outcome>,
    /// One per trial, in the order of [`Results::trials`]; empty for a scalar.
    pub trials: Vec<Outcome>,
    /// Whether some trial's value rests on an unfinished series.
    pub provisional: bool,
    /// Agreement of the valid trials (neither blank nor set aside); `None` with no value.
    pub agreement: Option<AgreementResult>,
    /// The same with the trials set aside counted in; `None` where none was set aside.
    pub agreement_with_all: Option<AgreementResult>,
    /// The theory of the same symbol.
    pub theory: Option<TheoryResult>,
    /// Held against each limit of the notebook.
    pub conformity: Vec<Conformity>,
    /// Outlier tests of the valid trials; `None` with fewer than three, or where trials do not repeat it.
    pub outliers: Option<OutlierAdvice>,
    /// The scatter beside what the readings explain; `None` with one trial, or where trials do not repeat it.
    pub scatter: Option<ScatterRatio>,
}

/// A value, or why there is none.
#[derive(Clone, Debug)]
pub enum Outcome {
    /// A value.
    Value(Computed),
    /// Missing, with the reason in a few words.
    Missing(String),
}

impl Outcome {
    /// The value, if there is one.
    pub fn value(&self) -> Option<&Computed> {
        match self {
            Outcome::Value(value) => Some(value),
            Outcome::Missing(_) => None,
        }
    }
}

/// One value in the unit it is shown in.
#[derive(Clone, Debug)]
pub struct Computed {
    /// Its place in the derivation graph.
    pub node: NodeId,
    /// The unrounded number in the unit shown.
    pub number: Number,
    /// As printed, by the digits policy.
    pub printed: Printed,
    /// The uncertainty beside it, in the form asked for.
    pub uncertainty: Option<PrintedUncertainty>,
    /// Whether its digits follow the rule of significant figures although the uncertainty should decide them:
    /// it has none.
    pub by_figures: bool,
    /// Whether it rests on an unfinished series.
    pub provisional: bool,
    /// Its uncertainty in the unit shown, zero where nothing uncertain enters; [`Results::budget`] writes it out. `None` in
    /// results for a review, which shows none.
    pub evaluated: Option<Evaluated>,
}

/// A number with its printed form, in the unit of its quantity unless said otherwise.
#[derive(Clone, Debug)]
pub struct Figure {
    /// The unrounded number.
    pub number: Number,
    /// As printed.
    pub printed: Printed,
    /// The uncertainty beside it, in the form asked for.
    pub uncertainty: Option<PrintedUncertainty>,
    /// Whether its digits follow the rule of significant figures although the uncertainty should decide them.
    pub by_figures: bool,
}

impl Figure {
    /// Without the uncertainty beside it.
    pub fn bare(self) -> Figure {
        Figure { uncertainty: None, ..self }
    }
}

/// The agreement of the trials of one quantity, printed.
#[derive(Clone, Debug)]
pub struct AgreementResult {
    /// The numbers.
    pub numbers: Agreement,
    /// The values in the derivation graph; [`Results::spread`] prints how far apart they are.
    pub values: Vec<NodeId>,
    /// Whether a trial that counts rests on an unfinished series.
    pub provisional: bool,
    /// The mean, in the quantity's unit.
    pub mean: Figure,
    /// The mean in the derivation graph.
    pub mean_node: NodeId,
    /// The uncertainty of the mean, in the quantity's unit; `None` in results for a review.
    pub evaluated: Option<Evaluated>,
    /// The repeatability limit in the quantity's unit, and whether the trials keep it (range for n = 2; for
    /// more trials the range against the limit times the factor for n, as the finding says).
    pub repeatability: Option<(Figure, bool)>,
}

/// A theory and how far the result is from it.
#[derive(Clone, Debug)]
pub struct TheoryResult {
    /// The theory's value where it does not depend on the trial.
    pub scalar: Option<Outcome>,
    /// One per trial where it does.
    pub trials: Vec<Outcome>,
    /// The mean of the result against the theory (or the mean of the theory), signed, in per cent.
    pub percent_error: Option<Figure>,
    /// Mean − theory in percentage points where the result is itself a per cent.
    pub difference: Option<Figure>,
    /// Whether the two agree; `None` where they have no difference, and in results for a review.
    pub test: Option<TheoryTest>,
    /// Where the theory is written.
    pub span: Option<Span>,
}

/// One line of the worked calculation.
#[derive(Clone, Debug)]
pub struct WorkedLine {
    /// Index into [`Results::quantities`].
    pub quantity: usize,
    /// The symbol being computed.
    pub symbol: FormulaTree,
    /// The formula as written.
    pub formula: FormulaTree,
    /// The same with numbers and units put in (one guard digit); `None` where nothing is put in.
    pub substituted: Option<FormulaTree>,
    /// The result with its unit.
    pub result: Option<FormulaTree>,
    /// Why there is no result.
    pub missing: Option<String>,
    /// Whether it is a line of `theory`.
    pub theory: bool,
    /// Why a value fixed by chemistry is what it is; such a line explains a part of the line after it and has no
    /// quantity of its own (its index is `usize::MAX`).
    pub reason: Option<String>,
}

/// What an inline expression prints.
#[derive(Clone, Debug)]
pub struct InlineResult {
    /// Value and unit for one value; several with the trial's name for a bare per-trial one; empty if none.
    pub values: Vec<InlineValue>,
    /// Why it prints a dash.
    pub missing: Option<String>,
}

/// One printed inline value.
#[derive(Clone, Debug)]
pub struct InlineValue {
    /// As printed.
    pub printed: Printed,
    /// The uncertainty beside it, in the form asked for; not where every trial is printed.
    pub uncertainty: Option<PrintedUncertainty>,
    /// The unit's spelling, empty for a pure number.
    pub unit: String,
    /// The trial, where every trial is printed.
    pub trial: Option<String>,
    /// Whether it rests on an unfinished series.
    pub provisional: bool,
    /// The value in the derivation graph; `None` where a claimed one is printed.
    pub node: Option<NodeId>,
}

/// A claimed value as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// What it is of, as written (`mean w(water)`).
    pub of: String,
    /// The trial, by index, for a per-trial claim.
    pub trial: Option<usize>,
    /// The value as written.
    pub written: String,
    /// The unit as written.
    pub unit: Option<String>,
    /// Where.
    pub span: Span,
    /// What a review compares it with.
    pub target: ClaimTarget,
}

/// What a claimed value is compared with.
#[derive(Clone, Debug, PartialEq)]
pub enum ClaimTarget {
    /// A computed value.
    Value {
        /// Its place in the derivation graph.
        node: NodeId,
        /// The claimed number.
        claimed: Decimal,
        /// The unit the claim is read in: its own, the block's, or the quantity's.
        unit: Unit,
        /// The value in that unit as the digits policy prints it.
        printed: Printed,
        /// Whether a claim without a sign is compared by magnitude (percent error).
        by_magnitude: bool,
    },
    /// A formula sought, by index into [`Results::formulas`].
    Formula(usize),
    /// Nothing it could be compared with, and why.
    None(String),
}

/// One equation of a `reaction` block.
#[derive(Clone, Debug, PartialEq)]
pub struct ReactionResult {
    /// Index of its block in [`crate::notebook::Notebook::blocks`].
    pub block: usize,
    /// Its name, if it has one.
    pub name: Option<String>,
    /// As written, without the name.
    pub written: String,
    /// Balanced; `None` where it could not be (a finding says why).
    pub balanced: Option<Reaction>,
    /// The line.
    pub span: Span,
}

/// A formula sought from amounts.
#[derive(Clone, Debug)]
pub struct FormulaFound {
    /// The symbol (`formula(oxide)`).
    pub symbol: String,
    /// The parts with their ratio to the reference part, mean of the valid trials.
    pub parts: Vec<PartFound>,
    /// The formula, where one set of whole numbers fits.
    pub formula: Option<String>,
    /// The formulas that fit, where several do.
    pub candidates: Vec<String>,
    /// The verdict in a sentence.
    pub verdict: String,
    /// Where it is written.
    pub span: Span,
}

/// One part of a formula sought.
#[derive(Clone, Debug)]
pub struct PartFound {
    /// The part as written.
    pub part: String,
    /// Its ratio to the reference part.
    pub ratio: Figure,
    /// The expanded uncertainty of the ratio, two figures; `None` for the reference part.
    pub expanded: Option<String>,
}

/// A residue weighed after each of several stages.
#[derive(Clone, Debug)]
pub struct StepTable {
    /// The load as written, where one load is weighed again after each event; else empty.
    pub of: String,
    /// The thing that shares are taken of; `None` where no sample was weighed.
    pub sample: Option<String>,
    /// The substance that theoretical changes are of.
    pub pure: Option<String>,
    /// The unit of the masses.
    pub unit: Unit,
    /// The stages, in order.
    pub steps: Vec<StepResult>,
}

/// One stage.
#[derive(Clone, Debug)]
pub struct StepResult {
    /// What was done, or the thing that was weighed after it.
    pub stage: String,
    /// The reaction of the stage.
    pub reaction: Option<Reaction>,
    /// The change that the reaction brings to a pure sample, in per cent of its mass.
    pub theory: Option<Figure>,
    /// One per trial.
    pub trials: Vec<StepTrial>,
}

/// A stage in one trial; what could not be had is `None`.
#[derive(Clone, Debug)]
pub struct StepTrial {
    /// The mass after the stage, in the unit of the table.
    pub mass: Option<Figure>,
    /// The change since the stage before, in the unit of the table.
    pub change: Option<Figure>,
    /// The change in per cent of the sample.
    pub share: Option<Figure>,
    /// Found − theory in percentage points.
    pub difference: Option<Figure>,
}

/// Whether the data name the whole number that a theory gives (`x = 5`).
#[derive(Clone, Debug)]
pub struct WholeNumberResult {
    /// The symbol (`x`).
    pub symbol: String,
    /// The value, mean of the valid trials.
    pub ratio: Figure,
    /// Its expanded uncertainty, to the last place of the value.
    pub expanded: String,
    /// The whole number, where one alone fits.
    pub whole: Option<u32>,
    /// The whole numbers that fit, where several do.
    pub candidates: Vec<u32>,
    /// The verdict in a sentence that follows the value.
    pub verdict: String,
    /// The line of the theory.
    pub span: Span,
}

/// A theoretical yield with the comparison that shows which reagent limits.
#[derive(Clone, Debug)]
pub struct YieldResult {
    /// The symbol (`yield(BaSO4)`).
    pub symbol: String,
    /// The equation, balanced.
    pub equation: String,
    /// The reagents stated.
    pub reagents: Vec<ReagentResult>,
    /// Which limits and by how much the others are in excess, in a sentence: one per trial, or one for all.
    pub verdicts: Vec<Option<String>>,
    /// The line.
    pub span: Span,
}

/// A reagent of a yield; the lists have one entry per trial, or one for all.
#[derive(Clone, Debug)]
pub struct ReagentResult {
    /// Its formula.
    pub formula: String,
    /// Its coefficient.
    pub coefficient: String,
    /// Amount of substance over coefficient, in mmol.
    pub per_coefficient: Vec<Option<Figure>>,
    /// Its expanded uncertainty in mmol (k = 2, weighing and atomic weights), two figures.
    pub expanded: Vec<Option<String>>,
    /// Whether it limits, or cannot be told from the one that does.
    pub limits: Vec<Option<bool>>,
}

/// The simultaneous equations of a `mixture` block.
#[derive(Clone, Debug)]
pub struct MixtureResult {
    /// The place of the block.
    pub span: Span,
    /// One line per total: the total, the sum it is of, the same with the coefficients as numbers, its value.
    pub lines: Vec<WorkedLine>,
    /// Then the masses of the components: symbol and value, in the trial of the worked calculation.
    pub masses: Vec<WorkedLine>,
    /// The equations of each trial that could be solved, as nodes of the derivation graph.
    pub solved: Vec<SolvedMixture>,
}

/// The simultaneous equations of a mixture in one trial: Σ coefficient × mass = total.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SolvedMixture {
    /// One per total.
    pub totals: Vec<NodeId>,
    /// One row per total, one column per component.
    pub coefficients: Vec<Vec<NodeId>>,
    /// One per component.
    pub masses: Vec<NodeId>,
}

/// The correction for air buoyancy as it was made.
#[derive(Clone, Debug)]
pub struct BuoyancyResult {
    /// Where the density of the air is from.
    pub air: AirResult,
    /// The density of the air in kg/m³.
    pub density: Figure,
    /// Its standard uncertainty in kg/m³.
    pub density_uncertainty: f64,
    /// The density of the weights as stated; `None` is the conventional 8000 kg/m³.
    pub weights: Option<StatedResult>,
    /// What was corrected, in the order stated.
    pub things: Vec<CorrectedThing>,
}

/// Where the density of the air is from.
#[derive(Clone, Debug)]
pub enum AirResult {
    /// Stated in the notebook.
    Given,
    /// By CIPM-2007.
    Cipm2007 {
        /// What it was computed from.
        conditions: Vec<StatedResult>,
        /// The density by the simplified form of OIML R 111-1 in kg/m³, as a check.
        simplified: Option<f64>,
    },
}

/// A value as stated in `experiment`.
#[derive(Clone, Debug)]
pub struct StatedResult {
    /// What it is of.
    pub name: String,
    /// The number as written (decimal point).
    pub written: String,
    /// Its unit's spelling.
    pub unit: String,
    /// Its standard uncertainty in that unit.
    pub standard_uncertainty: f64,
}

/// A thing whose mass was corrected.
#[derive(Clone, Debug)]
pub struct CorrectedThing {
    /// The thing as written.
    pub thing: String,
    /// Its density as stated.
    pub density: StatedResult,
    /// (1 − ρa/ρw)/(1 − ρa/ρ).
    pub factor: Number,
    /// The factor as printed, to six decimals.
    pub printed: Printed,
}
