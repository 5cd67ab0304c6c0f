//! Where the parts of a report stand: each at its default place, or where the notebook asks for it.
//!
//! | part | default place |
//! | --- | --- |
//! | readings, measured quantities | after their block |
//! | net masses, air buoyancy, changes, mass by heating | after the last `masses` block |
//! | worked calculation, results, agreement, outliers where a test finds one | after the last `working` block |
//! | the theory's working, theory and percent error, conformity, trials | after the last `theory` (or `working`) block |
//! | cautions of the template | under the heading of the procedure |
//! | uncertainty (where it is shown in full) | at the end, before the checks |
//! | checks, record, findings, foot | at the end |
//!
//! A part asked for by a `table` or `plot` block stands there and not again at its default place. Where the
//! block that a default place belongs to is missing, the part stands at the end of the prose.

use std::collections::BTreeSet;

use super::part::Part;
use super::{cautions, plots, record, tables, uncertainty, worked};
use crate::evaluation::results::Results;
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{BlockKind, PlotKind, TableKind};
use crate::notebook::settings::ShownUncertainty;
use crate::notebook::{Item, Notebook};
use crate::span::Spanned;
use crate::template::Template;

/// What stands in the place of every block, and at the end of the prose.
#[derive(Default)]
pub(super) struct Placed<'r> {
    pub(super) blocks: Vec<Vec<Part<'r>>>,
    pub(super) end: Vec<Part<'r>>,
    pub(super) checks: Vec<Part<'r>>,
    pub(super) record: Vec<Part<'r>>,
    pub(super) findings: Vec<Finding>,
}

/// Places every part.
pub(super) fn place<'r>(
    notebook: &'r Notebook,
    results: &'r Results,
    template: Option<&'r Template>,
) -> Placed<'r> {
    let placer =
        Placer { notebook, results, template, asked: Asked::of(notebook), method_told: false.into() };
    let mut placed = Placed { blocks: vec![Vec::new(); notebook.blocks.len()], ..Placed::default() };
    placer.own_places(&mut placed);
    placer.default_places(&mut placed);
    placed
}

/// Every part by its name, for a layout that puts them together by itself, wherever the notebook has them.
pub(super) fn parts<'r>(
    notebook: &'r Notebook,
    results: &'r Results,
    template: Option<&'r Template>,
) -> Vec<(&'static str, Vec<Part<'r>>)> {
    let placer = Placer { notebook, results, template, asked: Asked::default(), method_told: false.into() };
    let tables = [
        ("readings", TableKind::Readings),
        ("measured", TableKind::Measured),
        ("net-masses", TableKind::NetMasses),
        ("changes", TableKind::Changes),
        ("results", TableKind::Results),
        ("agreement", TableKind::Agreement),
        ("theory", TableKind::Theory),
        ("steps", TableKind::Steps),
        ("outliers", TableKind::Outliers),
        ("conformity", TableKind::Conformity),
        ("air-buoyancy", TableKind::AirBuoyancy),
        ("checks", TableKind::Checks),
        ("record", TableKind::Record),
    ];
    let mut parts: Vec<_> = tables.into_iter().map(|(name, kind)| (name, placer.table(&kind))).collect();
    parts.push(("cautions", placer.cautions()));
    parts.push(("mass-plot", placer.mass_plot(None)));
    parts.push(("trials-plot", placer.trials_plot(None, false)));
    parts.push(("worked", placer.worked(false, true)));
    parts.push(("theory-worked", placer.worked(true, false)));
    parts.push(("formulas", placer.found()));
    parts.push(("reactions", placer.reactions()));
    parts.push(("mixtures", placer.mixtures()));
    parts.push(("budget", placer.uncertainty()));
    parts
}

/// What `table` and `plot` blocks ask for.
#[derive(Default)]
struct Asked {
    tables: BTreeSet<TableKind>,
    mass_plot: bool,
    trials_plot: bool,
    /// The symbols whose bars are asked for; `None` is every result.
    budget_plots: Vec<Option<String>>,
}

impl Asked {
    fn of(notebook: &Notebook) -> Self {
        let mut asked = Asked::default();
        for block in &notebook.blocks {
            match &block.kind {
                BlockKind::Table(kinds) => asked.tables.extend(kinds.iter().map(|kind| kind.value.clone())),
                BlockKind::Plot(kinds) => kinds.iter().for_each(|kind| match &kind.value {
                    PlotKind::MassByHeating { .. } => asked.mass_plot = true,
                    PlotKind::Trials { .. } => asked.trials_plot = true,
                    PlotKind::Uncertainty { symbol } => asked.budget_plots.push(symbol.clone()),
                }),
                _ => {}
            }
        }
        asked
    }
}

struct Placer<'r> {
    notebook: &'r Notebook,
    results: &'r Results,
    template: Option<&'r Template>,
    asked: Asked,
    /// Whether a part before has said how uncertainties were evaluated.
    method_told: std::cell::Cell<bool>,
}

impl<'r> Placer<'r> {
    /// What each block stands for by itself.
    fn own_places(&self, placed: &mut Placed<'r>) {
        for (index, block) in self.notebook.blocks.iter().enumerate() {
            let parts = match &block.kind {
                BlockKind::Masses(_) => self.unasked(TableKind::Readings, || self.readings(index)),
                BlockKind::Measured(_) => self.unasked(TableKind::Measured, || self.measured(index)),
                BlockKind::Table(kinds) => self.tables(kinds, &mut placed.findings),
                BlockKind::Plot(kinds) => self.plots(kinds, &mut placed.findings),
                BlockKind::Reaction(lines) => match worked::reactions(self.results, index) {
                    equations if !equations.is_empty() => vec![Part::Reactions(equations)],
                    _ => vec![Part::AsWritten("reaction", lines.clone())],
                },
                BlockKind::Mixture(mixture) => match worked::mixture(self.results, block.span) {
                    Some(solved) => vec![Part::Mixture(solved)],
                    None => {
                        let lines = mixture.changes.iter().map(|change| change.written.clone());
                        vec![Part::AsWritten("mixture", lines.collect())]
                    }
                },
                BlockKind::Cautions => self.cautions(),
                _ => Vec::new(),
            };
            placed.blocks[index].extend(parts);
        }
    }

    /// The parts that no block asks for.
    fn default_places(&self, placed: &mut Placed<'r>) {
        // By the order of the notebook's text: a template's blocks stand among it, but are listed behind all others.
        let order: Vec<usize> = self.notebook.items.iter().filter_map(block_of).collect();
        let last = |wanted: &dyn Fn(&BlockKind) -> bool| {
            let kind = |index: &usize| self.notebook.blocks.get(*index).map(|block| &block.kind);
            order.iter().rposition(|index| kind(index).is_some_and(wanted))
        };
        let block = |place: Option<usize>| place.and_then(|place| order.get(place).copied());
        let masses = last(&|kind| matches!(kind, BlockKind::Masses(_)));
        let working = last(&|kind| matches!(kind, BlockKind::Working(_)));
        let theory = last(&|kind| matches!(kind, BlockKind::Theory(_)));
        let weighed = [
            self.unasked(TableKind::NetMasses, || self.table(&TableKind::NetMasses)),
            self.unasked(TableKind::AirBuoyancy, || self.table(&TableKind::AirBuoyancy)),
            self.unasked(TableKind::Changes, || self.table(&TableKind::Changes)),
            self.unasked(TableKind::Steps, || self.table(&TableKind::Steps)),
            if self.asked.mass_plot { Vec::new() } else { self.mass_plot(None) },
        ];
        self.put(placed, block(masses), weighed.concat());
        let worked = [
            self.worked(false, true),
            self.unasked(TableKind::Results, || self.table(&TableKind::Results)),
            self.unasked(TableKind::Agreement, || self.table(&TableKind::Agreement)),
            self.unasked(TableKind::Outliers, || self.set(tables::outliers(self.results, false))),
            self.found(),
        ];
        self.put(placed, block(working), worked.concat());
        self.put(placed, block(theory), self.worked(true, false));
        let compared = [
            self.unasked(TableKind::Theory, || self.table(&TableKind::Theory)),
            self.unasked(TableKind::Conformity, || self.table(&TableKind::Conformity)),
            if self.asked.trials_plot { Vec::new() } else { self.trials_plot(None, false) },
        ];
        self.put(placed, block(theory.max(working)), compared.concat());
        placed.end.extend(self.uncertainty());
        placed.checks = self.unasked(TableKind::Checks, || self.table(&TableKind::Checks));
        placed.record = self.unasked(TableKind::Record, || self.table(&TableKind::Record));
    }

    /// The equations of all blocks.
    fn reactions(&self) -> Vec<Part<'r>> {
        let blocks = 0..self.notebook.blocks.len();
        blocks.flat_map(|block| some(worked::reactions(self.results, block), Part::Reactions)).collect()
    }

    /// The mixtures of all blocks with the masses that solve them.
    fn mixtures(&self) -> Vec<Part<'r>> {
        let blocks = self.notebook.blocks.iter();
        blocks.filter_map(|block| worked::mixture(self.results, block.span)).map(Part::Mixture).collect()
    }

    fn put(&self, placed: &mut Placed<'r>, block: Option<usize>, parts: Vec<Part<'r>>) {
        match block.and_then(|index| placed.blocks.get_mut(index)) {
            Some(place) => place.extend(parts),
            None => placed.end.extend(parts),
        }
    }

    fn unasked(&self, kind: TableKind, parts: impl FnOnce() -> Vec<Part<'r>>) -> Vec<Part<'r>> {
        if self.asked.tables.contains(&kind) { Vec::new() } else { parts() }
    }

    fn set(&self, table: Option<tables::Table>) -> Vec<Part<'r>> {
        table.map(Part::Table).into_iter().collect()
    }

    fn cautions(&self) -> Vec<Part<'r>> {
        cautions::of(self.template).map(Part::Cautions).into_iter().collect()
    }

    fn worked(&self, theory: bool, first: bool) -> Vec<Part<'r>> {
        worked::lines(self.results, theory, first).map(Part::Worked).into_iter().collect()
    }

    /// What the whole numbers of the theory come to, formulas sought and limiting reagents.
    fn found(&self) -> Vec<Part<'r>> {
        let whole = some(worked::whole_numbers(self.results), Part::WholeNumbers);
        whole.into_iter().chain(some(worked::sought(self.results), Part::Sought)).collect()
    }

    fn readings(&self, block: usize) -> Vec<Part<'r>> {
        self.set(tables::readings(self.notebook, self.results, block))
    }

    fn measured(&self, block: usize) -> Vec<Part<'r>> {
        self.set(tables::measured(self.notebook, self.results, block))
    }

    fn tables(&self, kinds: &[Spanned<TableKind>], findings: &mut Vec<Finding>) -> Vec<Part<'r>> {
        let mut parts = Vec::new();
        for kind in kinds {
            let table = self.table(&kind.value);
            if table.is_empty() {
                findings.push(nothing(kind.span, "table"));
            }
            parts.extend(table);
        }
        parts
    }

    fn table(&self, kind: &TableKind) -> Vec<Part<'r>> {
        let blocks = 0..self.notebook.blocks.len();
        match kind {
            TableKind::Readings => blocks.flat_map(|block| self.readings(block)).collect(),
            TableKind::Measured => blocks.flat_map(|block| self.measured(block)).collect(),
            TableKind::NetMasses => self.set(tables::net_masses(self.results)),
            TableKind::Changes => self.set(tables::changes(self.results)),
            TableKind::Steps => {
                let tables = tables::steps(self.results).into_iter();
                tables.flat_map(|table| self.set(Some(table))).collect()
            }
            TableKind::Results => self.set(tables::results(self.results)),
            TableKind::Agreement => self.set(tables::agreement(self.results)),
            TableKind::Theory => self.set(tables::theory(self.results)),
            TableKind::Checks => record::checks(self.results).map(Part::Checks).into_iter().collect(),
            TableKind::Record => some(record::record(self.results), Part::Record),
            TableKind::Uncertainty { symbol } => self.uncertainty_tables(symbol.as_deref()),
            TableKind::AirBuoyancy => self.set(tables::air_buoyancy(self.results)),
            TableKind::Outliers => self.set(tables::outliers(self.results, true)),
            TableKind::Conformity => self.set(tables::conformity(self.results)),
        }
    }

    fn plots(&self, kinds: &[Spanned<PlotKind>], findings: &mut Vec<Finding>) -> Vec<Part<'r>> {
        let mut parts = Vec::new();
        for kind in kinds {
            let plot = match &kind.value {
                PlotKind::MassByHeating { load } => self.mass_plot(load.as_deref()),
                PlotKind::Trials { symbol } => self.trials_plot(symbol.as_deref(), true),
                PlotKind::Uncertainty { symbol } => self.uncertainty_plots(symbol.as_deref()),
            };
            if plot.is_empty() {
                findings.push(nothing(kind.span, "plot"));
            }
            parts.extend(plot);
        }
        parts
    }

    fn mass_plot(&self, load: Option<&str>) -> Vec<Part<'r>> {
        let figures = plots::mass_plot(self.results, load).map_or(Vec::new(), plots::MassPlot::figures);
        figures.into_iter().map(Part::MassPlot).collect()
    }

    fn trials_plot(&self, symbol: Option<&str>, every: bool) -> Vec<Part<'r>> {
        let plots = plots::trials_plots(self.results, symbol, every);
        plots.chunks(plots::MOST_PANELS).map(|plots| Part::Trials(plots.to_vec())).collect()
    }

    /// The budgets that no block asks for, where the uncertainty is shown in full.
    fn uncertainty(&self) -> Vec<Part<'r>> {
        if self.results.settings.shown_uncertainty() != ShownUncertainty::Full {
            return Vec::new();
        }
        let tables = self.asked.tables.iter().filter_map(|kind| match kind {
            TableKind::Uncertainty { symbol } => Some(symbol),
            _ => None,
        });
        let mut budgets = uncertainty::budgets(self.results, None);
        budgets.retain(|budget| !tables.clone().any(|symbol| budget.is_asked(symbol.as_deref())));
        if budgets.is_empty() {
            return Vec::new();
        }
        let mut parts = vec![Part::UncertaintyHeading];
        parts.extend(self.method(&budgets));
        for budget in &budgets {
            parts.extend(self.set(Some(budget.table())));
            let mut plots = self.asked.budget_plots.iter();
            if !plots.any(|symbol| budget.is_asked(symbol.as_deref())) {
                parts.push(Part::Budget(budget.plot()));
            }
        }
        parts.extend(self.set(tables::draws(self.results, &budgets)));
        parts
    }

    /// How uncertainties were evaluated: once, before the first budget.
    fn method(&self, budgets: &[uncertainty::Shown]) -> Option<Part<'r>> {
        let told = self.method_told.replace(true);
        (!told).then(|| Part::Method(uncertainty::sentences(self.results, budgets)))
    }

    fn uncertainty_tables(&self, symbol: Option<&str>) -> Vec<Part<'r>> {
        let budgets = uncertainty::budgets(self.results, symbol);
        if budgets.is_empty() {
            return Vec::new();
        }
        let method = self.method(&budgets);
        let tables = budgets.iter().flat_map(|budget| self.set(Some(budget.table())));
        let draws = self.set(tables::draws(self.results, &budgets));
        method.into_iter().chain(tables).chain(draws).collect()
    }

    fn uncertainty_plots(&self, symbol: Option<&str>) -> Vec<Part<'r>> {
        let budgets = uncertainty::budgets(self.results, symbol);
        budgets.iter().map(|budget| Part::Budget(budget.plot())).collect()
    }
}

fn block_of(item: &Item) -> Option<usize> {
    match item {
        Item::Block(index) => Some(*index),
        _ => None,
    }
}

/// A part of several things, where there is any.
fn some<'r, T>(things: Vec<T>, part: impl FnOnce(Vec<T>) -> Part<'r>) -> Vec<Part<'r>> {
    if things.is_empty() { Vec::new() } else { vec![part(things)] }
}

/// A table or plot asked for that has nothing to show.
fn nothing(span: crate::span::Span, what: &str) -> Finding {
    let message = format!("a {what} is asked for that has nothing to show");
    Finding::note(Code::BadRequest, span, message)
}
