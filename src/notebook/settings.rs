//! What an `experiment` block says, checked.

use super::blocks::Uncertainty;
use crate::quantity::{Decimal, Dimension, Quantity, Rounding, Unit};
use crate::span::{Span, Spanned};

/// The settings of a notebook. Fields are `None` or empty where nothing is said.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Settings {
    /// The place of the (first) `experiment` block.
    pub span: Option<Span>,
    /// `title`
    pub title: Option<Spanned<String>>,
    /// `authors`
    pub authors: Vec<String>,
    /// `date`: ISO 8601 year, month, day.
    pub date: Option<Spanned<Date>>,
    /// `template`
    pub template: Option<Spanned<String>>,
    /// `digits`
    pub digits: DigitsPolicy,
    /// `coverage`
    pub coverage: Coverage,
    /// `[method-repeatability]`, in the order written.
    pub method_repeatability: Vec<MethodRepeatability>,
    /// `[[correlation]]`, in the order written.
    pub correlations: Vec<DeclaredCorrelation>,
    /// `second-order`: whether the second-order terms of uncertainty count.
    pub second_order: bool,
    /// `rounding`
    pub rounding: Rounding,
    /// `uncertainty`: what is shown of it, where it is said ([`Settings::shown_uncertainty`]).
    pub uncertainty: Option<ShownUncertainty>,
    /// `uncertainty-form`: how it stands beside a value.
    pub uncertainty_form: Option<Spanned<UncertaintyForm>>,
    /// `guard-digit = false`: numbers put into the worked calculation show no guard digit.
    pub no_guard_digit: bool,
    /// `decimal = "comma"`
    pub decimal: DecimalMark,
    /// `constant-mass`
    pub constant_mass: Option<Spanned<ConstantMassRule>>,
    /// `repeatability`: the limit r per symbol.
    pub repeatability: Vec<RepeatabilityLimit>,
    /// `[buoyancy]`: air and densities, where the correction is asked for.
    pub buoyancy: Option<Buoyancy>,
    /// `[[limit]]`, in the order written.
    pub limits: Vec<Limit>,
    /// `[balance.NAME]`, in the order written.
    pub balances: Vec<Balance>,
    /// `atomic-weights = "…"`, or `table = "…"` below `[atomic-weights]`: the name of a built-in table.
    pub atomic_weight_table: Option<Spanned<String>>,
    /// `[atomic-weights]`: element and value.
    pub atomic_weights: Vec<(Spanned<String>, Decimal)>,
    /// `[molar-masses]`: formula and value in g/mol.
    pub molar_masses: Vec<(Spanned<String>, Decimal)>,
    /// `seed` of the Monte Carlo draws.
    pub seed: Option<u64>,
    /// `monte-carlo`, where it is said ([`Settings::draws_monte_carlo`]).
    pub monte_carlo: Option<MonteCarloKeys>,
    /// `unknown`: the number of the issued sample.
    pub unknown: Option<String>,
    /// The record of the work (ISO/IEC 17025 7.8), in the order of [`RECORD_KEYS`]: key and lines of text.
    pub record: Vec<RecordEntry>,
    /// The keys that are stated, with their places: what a template may set as well.
    pub stated: Vec<Spanned<String>>,
}

impl Settings {
    /// Where a key is stated.
    pub fn stated(&self, key: &str) -> Option<Span> {
        self.stated.iter().find(|stated| stated.value == key).map(|stated| stated.span)
    }
}

/// One entry of the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordEntry {
    /// The key as in `experiment`.
    pub key: String,
    /// How the report heads it (`Laboratory`).
    pub heading: String,
    /// Its text; several where a list was given.
    pub lines: Vec<String>,
}

/// A day of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date {
    /// Year.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day, 1 to 31.
    pub day: u8,
}

impl std::fmt::Display for Date {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

/// A correlation of measured quantities.
#[derive(Clone, Debug, PartialEq)]
pub struct DeclaredCorrelation {
    /// The symbols, two or more; every two of them are correlated.
    pub between: Vec<Spanned<String>>,
    /// The coefficient, −1 to 1.
    pub coefficient: Spanned<f64>,
}

/// How far an expanded uncertainty reaches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coverage {
    /// U = k u with this coverage factor.
    Factor(f64),
    /// k from Student's t with the effective degrees of freedom, for this coverage probability (0.95).
    Probability(f64),
}

impl Default for Coverage {
    fn default() -> Self {
        Coverage::Factor(2.0)
    }
}

/// How digits of results are decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum DigitsPolicy {
    /// The teaching rule.
    #[default]
    SignificantFigures,
    /// Two digits of the expanded uncertainty.
    Uncertainty,
}

/// What `monte-carlo` says.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct MonteCarloKeys {
    /// `monte-carlo = false`: no draws.
    pub off: bool,
    /// `digits`: significant digits of u that the draws have to settle (n_dig of JCGM 101, 7.9.2).
    pub digits: Option<u32>,
    /// `draws`: so many, whatever the results need.
    pub draws: Option<usize>,
}

/// What results show of their uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ShownUncertainty {
    /// Nothing.
    Off,
    /// The expanded uncertainty beside the results, with one sentence.
    Short,
    /// That, and the budget of each result with how it was computed.
    Full,
}

/// How the uncertainty stands beside a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum UncertaintyForm {
    /// `36.085 ± 0.042`: the expanded uncertainty.
    #[default]
    PlusMinus,
    /// `36.085(21)`: the standard uncertainty, in units of the last digit.
    Concise,
    /// `36.085`: not at all.
    Plain,
}

impl Settings {
    /// What results show of their uncertainty. Unsaid it is nothing, as in a first year's report; but where the
    /// uncertainty decides the digits it is shown in short.
    pub fn shown_uncertainty(&self) -> ShownUncertainty {
        self.uncertainty.unwrap_or(match self.digits {
            DigitsPolicy::SignificantFigures => ShownUncertainty::Off,
            DigitsPolicy::Uncertainty => ShownUncertainty::Short,
        })
    }

    /// Whether results are evaluated by Monte Carlo draws too: where asked for, and where the whole budget is
    /// shown unless `monte-carlo = false`.
    pub fn draws_monte_carlo(&self) -> bool {
        match &self.monte_carlo {
            Some(keys) => !keys.off,
            None => self.shown_uncertainty() == ShownUncertainty::Full,
        }
    }

    /// How the uncertainty stands beside a value; `Plain` where it is not shown. The concise form counts in units
    /// of a last place that the uncertainty has chosen.
    pub fn form(&self) -> UncertaintyForm {
        let asked = self.uncertainty_form.as_ref().map_or_else(Default::default, |form| form.value);
        match (self.shown_uncertainty(), self.digits, asked) {
            (ShownUncertainty::Off, _, _) => UncertaintyForm::Plain,
            (_, DigitsPolicy::SignificantFigures, UncertaintyForm::Concise) => UncertaintyForm::PlusMinus,
            (_, _, asked) => asked,
        }
    }
}

/// The mark between whole and decimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum DecimalMark {
    /// `18.2749`
    #[default]
    Point,
    /// `18,2749`
    Comma,
}

/// When a series has reached constant mass.
#[derive(Clone, Debug, PartialEq)]
pub struct ConstantMassRule {
    /// The rule as written.
    pub text: String,
    /// The limit.
    pub limit: MassLimit,
    /// Whether the change has to be `less than` the limit, not only `not more than` it.
    pub strict: bool,
}

/// The kinds of limit on the change between two weighings.
#[derive(Clone, Debug, PartialEq)]
pub enum MassLimit {
    /// `0.5 mg`: a mass.
    Absolute(Quantity, Unit),
    /// `0.50 mg/g`: per mass of sample taken.
    PerSample(Quantity, Unit),
    /// `0.1 %` of the net mass weighed last, or of the gross mass.
    Relative {
        /// The fraction.
        fraction: Quantity,
        /// Whether of the mass as weighed, vessel included.
        gross: bool,
    },
    /// `2 scale intervals` of the balance.
    ScaleIntervals(Decimal),
    /// `smaller of … and …`
    Smaller(Box<MassLimit>, Box<MassLimit>),
    /// `larger of … and …`
    Larger(Box<MassLimit>, Box<MassLimit>),
    /// `fixed time`: the method heats for a fixed time; no verdict.
    FixedTime,
}

/// How far apart trials may lie.
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatabilityLimit {
    /// The symbol it is for.
    pub symbol: Spanned<String>,
    /// The limit r, absolute, or relative to the mean where `relative`.
    pub limit: Quantity,
    /// The unit it was written in.
    pub unit: Unit,
    /// Whether it is relative to the mean (`"2 % relative"`).
    pub relative: bool,
}

/// A value stated in `experiment`, with its uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated {
    /// The number as written.
    pub decimal: Decimal,
    /// Its unit.
    pub unit: Unit,
    /// What follows `±`; where nothing does, the last place written counts as the limit of reading.
    pub uncertainty: Option<Uncertainty>,
    /// Where it stands.
    pub span: Span,
}

/// The correction for air buoyancy.
#[derive(Clone, Debug, PartialEq)]
pub struct Buoyancy {
    /// The place of its key.
    pub span: Span,
    /// The air; `None` where nothing is said of it (a template may leave it to the notebook).
    pub air: Option<Air>,
    /// The density of the weights the balance was adjusted with; 8000 kg/m³ (the conventional one) where nothing is
    /// said.
    pub weights: Option<Stated>,
    /// The things that are corrected, with their densities; empty where a template states them.
    pub densities: Vec<(Spanned<String>, Stated)>,
}

/// What the density of the air is had from.
#[derive(Clone, Debug, PartialEq)]
pub enum Air {
    /// Stated.
    Given(Box<Stated>),
    /// By CIPM-2007 from what was measured in the room.
    Room(Box<Room>),
}

/// What was measured in the room.
#[derive(Clone, Debug, PartialEq)]
pub struct Room {
    /// Temperature.
    pub temperature: Stated,
    /// Pressure.
    pub pressure: Stated,
    /// Relative humidity.
    pub humidity: Stated,
    /// Amount fraction of carbon dioxide; 400 ppm where nothing is said.
    pub carbon_dioxide: Option<Stated>,
}

/// A specification that a result is held against.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// The symbol of the result.
    pub of: Spanned<String>,
    /// The upper limit.
    pub at_most: Option<Bound>,
    /// The lower limit.
    pub at_least: Option<Bound>,
    /// The rule of the decision.
    pub decision: Decision,
}

/// One limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// Its value.
    pub quantity: Quantity,
    /// The unit it is written in.
    pub unit: Unit,
    /// The number as written (decimal point).
    pub written: String,
}

/// A decision rule (JCGM 106:2012).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// The result itself against the limit (8.2).
    SimpleAcceptance,
    /// The result has to keep the limit by its expanded uncertainty (8.3: guarded acceptance, g = U).
    GuardBand,
}

impl Decision {
    /// The words of `experiment`.
    pub fn words(self) -> &'static str {
        match self {
            Decision::SimpleAcceptance => "simple acceptance",
            Decision::GuardBand => "guard band",
        }
    }
}

/// A balance.
#[derive(Clone, Debug, PartialEq)]
pub struct Balance {
    /// Its name.
    pub name: Spanned<String>,
    /// The scale interval d.
    pub readability: Option<Quantity>,
    /// `readability` as written, for its last place.
    pub readability_text: Option<String>,
    /// Standard deviation of repeated weighings.
    pub repeatability: Option<Quantity>,
    /// Half-width of the deviation from linearity.
    pub linearity: Option<Quantity>,
    /// Further effects on a weighing.
    pub further: FurtherEffects,
    /// Further facts printed as they are (`calibrated`, `serial`): key and text.
    pub facts: Vec<(String, String)>,
}

/// What else a weighing is uncertain by.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct FurtherEffects {
    /// Degrees of freedom of the repeatability; `None` for many.
    pub repeatability_dof: Option<f64>,
    /// Uncertainty of the calibration: a mass, or a fraction of the load.
    pub calibration: Option<Uncertainty>,
    /// Half-width of the relative change of the indication with the temperature.
    pub temperature: Option<f64>,
    /// The smallest net mass that is weighed sensibly.
    pub minimum_weight: Option<Quantity>,
}

/// What is known of the repeatability of the method for one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct MethodRepeatability {
    /// The symbol.
    pub symbol: Spanned<String>,
    /// How it is known.
    pub known: KnownRepeatability,
}

/// How the repeatability of a method is known.
#[derive(Clone, Debug, PartialEq)]
pub enum KnownRepeatability {
    /// A (pooled) standard deviation of single results.
    Pooled {
        /// The standard deviation s, in coherent SI units, or over the value where `relative`.
        s: f64,
        /// What it is of; `None` where it is relative.
        dimension: Option<Dimension>,
        /// Degrees of freedom; `None` for many.
        degrees_of_freedom: Option<f64>,
    },
    /// The formulas have an input for it.
    InTheFormulas,
    /// It is not to count, not even by the scatter of the trials.
    No,
}

/// The keys of the record with their headings, in the order printed.
pub const RECORD_KEYS: &[(&str, &str)] = &[
    ("report-number", "Report number"),
    ("laboratory", "Laboratory"),
    ("course", "Course"),
    ("section", "Section"),
    ("bench", "Bench"),
    ("partners", "Partners"),
    ("sample", "Sample"),
    ("condition", "Condition of the sample"),
    ("received", "Received"),
    ("done", "Work done"),
    ("issued", "Report issued"),
    ("room", "Room conditions"),
    ("instruments", "Instruments"),
    ("reagents", "Reagents"),
    ("deviations", "Deviations from the method"),
    ("basis", "Basis of the result"),
    ("amends", "Amends"),
    ("reason", "Reason of the amendment"),
];
