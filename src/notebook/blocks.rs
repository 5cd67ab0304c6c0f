//! The kinds of block a notebook may hold, as they were written.

use super::expression::Expression;
use crate::quantity::{Decimal, Unit};
use crate::span::{Span, Spanned};
use crate::statistics::Distribution;
use std::sync::Arc;

/// One fenced block.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// The whole fence.
    pub span: Span,
    /// The text between the fences.
    pub content: Span,
    /// What it holds.
    pub kind: BlockKind,
}

/// What a block holds.
#[derive(Clone, Debug, PartialEq)]
pub enum BlockKind {
    /// `experiment`: merged into [`super::settings::Settings`].
    Experiment,
    /// `masses`: readings of loads.
    Masses(Masses),
    /// `measured`: other quantities per trial.
    Measured(Measured),
    /// `working`: formulas.
    Working(Vec<Definition>),
    /// `theory`: expected values.
    Theory(Vec<Definition>),
    /// `claimed`: values its author computed.
    Claimed(Claimed),
    /// `table`: the tables to put here.
    Table(Vec<Spanned<TableKind>>),
    /// `plot`: the plots to put here.
    Plot(Vec<Spanned<PlotKind>>),
    /// `reaction`: equations, one a line, kept as written.
    Reaction(Vec<Spanned<String>>),
    /// `mixture`: known totals and what becomes of the components.
    Mixture(Mixture),
    /// Not written in a notebook: where the report prints the cautions of a template.
    Cautions,
}

/// The columns of a block of cells.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Columns {
    /// The names after `trial:`, with their places; `None` where the block has no such line.
    pub trials: Option<Vec<Spanned<String>>>,
    /// `set aside: B (reason; time)`.
    pub set_aside: Vec<SetAside>,
}

/// A trial set aside with its reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// The trial.
    pub trial: Spanned<String>,
    /// What stands in the brackets, if anything.
    pub reason: String,
}

/// A `masses` block.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Masses {
    /// Its columns.
    pub columns: Columns,
    /// `unit:`; grams where it is not given.
    pub unit: Option<Spanned<Unit>>,
    /// `balance:` — one for all trials, or one per trial; empty where it is not given.
    pub balances: Vec<Spanned<String>>,
    /// `from:` — the CSV file its rows were read from (its rows are among `rows`).
    pub from: Option<Spanned<String>>,
    /// Loads and events in the order written.
    pub rows: Vec<Row>,
}

/// One line of a `masses` block.
#[derive(Clone, Debug, PartialEq)]
pub enum Row {
    /// `load, treatment n: cells`, shared with what is made of it.
    Load(Arc<LoadRow>),
    /// `event: something done between two weighings` (a new stage begins).
    Event(Spanned<String>),
}

/// The readings of one load after one treatment.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadRow {
    /// The whole line.
    pub span: Span,
    /// The label as written, treatment included, strikes removed.
    pub label: Spanned<String>,
    /// The load: the things on the pan, in the order written, blanks folded.
    pub things: Vec<String>,
    /// The treatment, where the label names one.
    pub treatment: Option<Treatment>,
    /// One cell per trial (or fewer: what is missing at the end is missing).
    pub cells: Vec<Cell>,
    /// `@ B-07`: another balance for this row.
    pub balance: Option<Spanned<String>>,
    /// Whether the whole line was struck: printed, but not used.
    pub struck: bool,
    /// Where the row came from a CSV file: its name and the line.
    pub file: Option<(String, u64)>,
}

/// `heating 2`, `reagent and heating 3`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Treatment {
    /// The words.
    pub name: String,
    /// The number at its end.
    pub number: u32,
}

/// One cell: its strikes, a value or dash, a unit, a bracketed remark.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// The whole cell.
    pub span: Span,
    /// Its value alone, without strikes, unit and remarks; empty where there is none.
    pub written: Span,
    /// Struck values, in the order written.
    pub strikes: Vec<Spanned<String>>,
    /// The value.
    pub value: CellValue,
    /// Its own unit.
    pub unit: Option<Spanned<Unit>>,
    /// What stands in its square brackets.
    pub remark: Option<String>,
    /// `± u`, each with its own unit and kind.
    pub uncertainty: Vec<Uncertainty>,
    /// The balance, where a CSV row names one for this cell alone.
    pub balance: Option<String>,
    /// The time of weighing, where one is given (CSV).
    pub time: Option<String>,
}

/// What a cell says.
#[derive(Clone, Debug, PartialEq)]
pub enum CellValue {
    /// A dash, or nothing at the end of a series.
    Missing,
    /// A number as written.
    Number(Decimal),
    /// `= A`: the reading of another trial on the same line.
    SameAs(String),
    /// Text (claimed formulas, crucible numbers in `measured`).
    Text(String),
    /// Something that could not be read; a finding has said so.
    Faulty,
}

/// A stated uncertainty `± 0.05 mL rectangular`.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertainty {
    /// The number after `±`.
    pub value: Decimal,
    /// Its own unit, else the cell's.
    pub unit: Option<Unit>,
    /// What the number means.
    pub kind: UncertaintyKind,
    /// Degrees of freedom of the standard uncertainty, as stated (`dof = 9`).
    pub degrees_of_freedom: Option<f64>,
    /// A word for it (`(calibration)`).
    pub label: Option<String>,
    /// Whether it is written once behind several values and is one effect in all of them (one pipette).
    pub shared: bool,
    /// Where it stands.
    pub span: Span,
}

impl Uncertainty {
    /// The distribution it states, in coherent SI units, by the unit of its cell (JCGM 100:2008, 4.2.3, 4.3.3, 4.3.7
    /// and 4.3.9).
    pub fn distribution(&self, unit: &Unit) -> Distribution {
        let unit = self.unit.as_ref().unwrap_or(unit);
        let stated = self.value.to_number().to_f64().abs() * unit.factor().to_f64();
        let normal = |standard_deviation: f64| match self.degrees_of_freedom() {
            Some(degrees_of_freedom) => {
                Distribution::StudentT { scale: standard_deviation, degrees_of_freedom }
            }
            None => Distribution::Normal { standard_deviation },
        };
        match &self.kind {
            UncertaintyKind::Rectangular => Distribution::Rectangular { half_width: stated },
            UncertaintyKind::Triangular => Distribution::Triangular { half_width: stated },
            UncertaintyKind::Arcsine => Distribution::Arcsine { half_width: stated },
            UncertaintyKind::Normal => normal(stated),
            UncertaintyKind::Expanded(k) => normal(stated / k.to_number().to_f64()),
            UncertaintyKind::Observations(n) => normal(stated / f64::from(*n).sqrt()),
        }
    }

    /// Degrees of freedom: as stated, or n − 1 of n observations; `None` for infinitely many.
    pub fn degrees_of_freedom(&self) -> Option<f64> {
        match self.kind {
            UncertaintyKind::Observations(n) => self.degrees_of_freedom.or(Some(f64::from(n) - 1.0)),
            _ => self.degrees_of_freedom,
        }
    }

    /// Whether it comes from repeated observations (type A).
    pub fn is_observed(&self) -> bool {
        matches!(self.kind, UncertaintyKind::Observations(_))
    }
}

/// What a stated uncertainty means.
#[derive(Clone, Debug, PartialEq)]
pub enum UncertaintyKind {
    /// A half-width of limits, all values within equally likely (`rectangular`; also where nothing is said).
    Rectangular,
    /// A half-width of limits, values near the middle likelier (`triangular`).
    Triangular,
    /// A half-width of limits between which the value swings (`arcsine`).
    Arcsine,
    /// A standard uncertainty (`normal`).
    Normal,
    /// An expanded uncertainty with this coverage factor (`k = 2`).
    Expanded(Decimal),
    /// The standard deviation of so many observations, whose mean is the value (`n = 5`).
    Observations(u32),
}

/// A `measured` block.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Measured {
    /// Its columns.
    pub columns: Columns,
    /// `unit:` for cells without their own.
    pub unit: Option<Spanned<Unit>>,
    /// Its lines.
    pub rows: Vec<QuantityRow>,
    /// Lines struck as a whole, as written: printed, but not used.
    pub struck: Vec<Spanned<String>>,
}

/// `V(sample): 50.0 mL  50.0 mL`
#[derive(Clone, Debug, PartialEq)]
pub struct QuantityRow {
    /// The whole line.
    pub span: Span,
    /// The symbol, or any words where it is no symbol (`oven temperature`).
    pub symbol: Spanned<String>,
    /// One cell for all trials, or one per trial.
    pub cells: Vec<Cell>,
}

/// A `claimed` block, as written.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Claimed {
    /// Its columns.
    pub columns: Columns,
    /// `unit:` for cells without their own.
    pub unit: Option<Spanned<Unit>>,
    /// Its lines; the symbol may have a word before it (`mean w(water)`).
    pub rows: Vec<QuantityRow>,
}

/// `symbol = expression  in unit  # remark`
#[derive(Clone, Debug, PartialEq)]
pub struct Definition {
    /// The whole line.
    pub span: Span,
    /// The symbol that is defined.
    pub symbol: Spanned<super::expression::Symbol>,
    /// The right-hand side; `None` where it could not be read (a finding has said so).
    pub expression: Option<Expression>,
    /// A number with its `± u`, where that is the whole right-hand side.
    pub stated: Option<Box<Cell>>,
    /// The unit to show it in.
    pub unit: Option<Spanned<Unit>>,
    /// What follows `#`.
    pub remark: Option<String>,
}

/// The tables a `table` block may ask for.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TableKind {
    /// `readings`
    Readings,
    /// `net masses`
    NetMasses,
    /// `change per heating` (also `change per cycle`, `changes`)
    Changes,
    /// `steps`
    Steps,
    /// `results`
    Results,
    /// `agreement`
    Agreement,
    /// `theory` (also `percent error`)
    Theory,
    /// `checks`
    Checks,
    /// `uncertainty`: the budget of every result, or (`symbol = w(water)`) of one.
    Uncertainty {
        /// The symbol asked for.
        symbol: Option<String>,
    },
    /// `measured`
    Measured,
    /// `record`
    Record,
    /// `air buoyancy`
    AirBuoyancy,
    /// `outliers`
    Outliers,
    /// `conformity`
    Conformity,
}

/// The plots a `plot` block may ask for.
#[derive(Clone, Debug, PartialEq)]
pub enum PlotKind {
    /// `mass by heating`, for all loads with a series or (`load = crucible + residue`) for one.
    MassByHeating {
        /// The load asked for.
        load: Option<String>,
    },
    /// `trials`, of one quantity or (where none is named) of every one that has a mean.
    Trials {
        /// The symbol asked for.
        symbol: Option<String>,
    },
    /// `uncertainty`: the shares in the budget of every result, or of one.
    Uncertainty {
        /// The symbol asked for.
        symbol: Option<String>,
    },
}

/// A `mixture` block.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Mixture {
    /// The known totals, in the order written; the first one names the components.
    pub totals: Vec<Total>,
    /// What becomes of the components.
    pub changes: Vec<MixtureChange>,
}

/// `CaCO3 -> CaO + CO2, 92 %`
#[derive(Clone, Debug, PartialEq)]
pub struct MixtureChange {
    /// The line as written.
    pub written: Spanned<String>,
    /// The equation as written.
    pub equation: Spanned<String>,
    /// The fraction that changes, where it is not all.
    pub extent: Option<Expression>,
}

/// `before: m(sample) = MgCO3 + CaCO3`
#[derive(Clone, Debug, PartialEq)]
pub struct Total {
    /// The whole line.
    pub span: Span,
    /// The known total; `None` where it could not be read (a finding has said so).
    pub known: Option<Expression>,
    /// What it is the sum of.
    pub parts: Vec<Spanned<String>>,
}
