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

use super::words::Ink;
use super::{cautions, plots, record, tables, uncertainty, worked};
use crate::evaluation::results::Results;
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{BlockKind, PlotKind, TableKind};
use crate::notebook::settings::ShownUncertainty;
use crate::notebook::{Item, Notebook};
use crate::span::Spanned;
use crate::template::Template;

/// The code for every block, and for the end of the prose.
#[derive(Default)]
pub(super) struct Placed {
    pub(super) blocks: Vec<Vec<String>>,
    pub(super) end: Vec<String>,
    pub(super) checks: Vec<String>,
    pub(super) record: Vec<String>,
    pub(super) findings: Vec<Finding>,
}

/// Places every part.
pub(super) fn place(
    notebook: &Notebook,
    results: &Results,
    template: Option<&Template>,
    ink: &Ink,
) -> Placed {
    let placer =
        Placer { notebook, results, template, ink, asked: Asked::of(notebook), method_told: false.into() };
    let mut placed = Placed { blocks: vec![Vec::new(); notebook.blocks.len()], ..Placed::default() };
    placer.own_places(&mut placed);
    placer.default_places(&mut placed);
    placed
}

/// Every part by its name, for a layout that puts them together by itself, wherever the notebook has them.
pub(super) fn parts(
    notebook: &Notebook,
    results: &Results,
    template: Option<&Template>,
    ink: &Ink,
) -> Vec<(&'static str, String)> {
    let placer =
        Placer { notebook, results, template, ink, asked: Asked::default(), method_told: false.into() };
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
    let mut parts: Vec<_> =
        tables.into_iter().map(|(name, kind)| (name, placer.table(&kind).concat())).collect();
    parts.push(("cautions", cautions::cautions(template, ink)));
    parts.push(("mass-plot", placer.mass_plot(None).concat()));
    parts.push(("trials-plot", placer.trials_plot(None, false).concat()));
    parts.push(("worked", worked::lines(results, ink, false, true)));
    parts.push(("theory-worked", worked::lines(results, ink, true, false)));
    parts.push(("formulas", worked::formulas(results, ink)));
    parts.push(("reactions", placer.reactions()));
    parts.push(("mixtures", placer.mixtures()));
    parts.push(("budget", placer.uncertainty().concat()));
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

struct Placer<'a> {
    notebook: &'a Notebook,
    results: &'a Results,
    template: Option<&'a Template>,
    ink: &'a Ink<'a>,
    asked: Asked,
    /// Whether a part before has said how uncertainties were evaluated.
    method_told: std::cell::Cell<bool>,
}

impl Placer<'_> {
    /// What each block stands for by itself.
    fn own_places(&self, placed: &mut Placed) {
        for (index, block) in self.notebook.blocks.iter().enumerate() {
            let code = match &block.kind {
                BlockKind::Masses(_) => self.unasked(TableKind::Readings, || self.readings(index)),
                BlockKind::Measured(_) => self.unasked(TableKind::Measured, || self.measured(index)),
                BlockKind::Table(kinds) => self.tables(kinds, &mut placed.findings),
                BlockKind::Plot(kinds) => self.plots(kinds, &mut placed.findings),
                BlockKind::Reaction(lines) => match worked::reactions(self.results, index, self.ink) {
                    Some(code) => vec![code],
                    None => self.as_written("reaction", lines),
                },
                BlockKind::Mixture(mixture) => match worked::mixture(self.results, block.span, self.ink) {
                    Some(code) => vec![code],
                    None => {
                        let lines: Vec<_> =
                            mixture.changes.iter().map(|change| change.written.clone()).collect();
                        self.as_written("mixture", &lines)
                    }
                },
                BlockKind::Cautions => vec![cautions::cautions(self.template, self.ink)],
                _ => Vec::new(),
            };
            placed.blocks[index].extend(code);
        }
    }

    /// The parts that no block asks for.
    fn default_places(&self, placed: &mut Placed) {
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
            vec![worked::lines(self.results, self.ink, false, true)],
            self.unasked(TableKind::Results, || self.table(&TableKind::Results)),
            self.unasked(TableKind::Agreement, || self.table(&TableKind::Agreement)),
            self.unasked(TableKind::Outliers, || self.set(tables::outliers(self.results, false))),
            vec![worked::formulas(self.results, self.ink)],
        ];
        self.put(placed, block(working), worked.concat());
        self.put(placed, block(theory), vec![worked::lines(self.results, self.ink, true, false)]);
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
    fn reactions(&self) -> String {
        let blocks = 0..self.notebook.blocks.len();
        blocks.filter_map(|block| worked::reactions(self.results, block, self.ink)).collect()
    }

    /// The mixtures of all blocks with the masses that solve them.
    fn mixtures(&self) -> String {
        let blocks = self.notebook.blocks.iter();
        blocks.filter_map(|block| worked::mixture(self.results, block.span, self.ink)).collect()
    }

    fn put(&self, placed: &mut Placed, block: Option<usize>, code: Vec<String>) {
        let code = code.into_iter().filter(|code| !code.is_empty());
        match block.and_then(|index| placed.blocks.get_mut(index)) {
            Some(place) => place.extend(code),
            None => placed.end.extend(code),
        }
    }

    fn unasked(&self, kind: TableKind, code: impl FnOnce() -> Vec<String>) -> Vec<String> {
        if self.asked.tables.contains(&kind) { Vec::new() } else { code() }
    }

    fn set(&self, table: Option<tables::Table>) -> Vec<String> {
        table.map(|table| table.set(self.ink, self.results.settings.decimal)).into_iter().collect()
    }

    fn readings(&self, block: usize) -> Vec<String> {
        self.set(tables::readings(self.notebook, self.results, block))
    }

    fn measured(&self, block: usize) -> Vec<String> {
        self.set(tables::measured(self.notebook, self.results, block))
    }

    fn tables(&self, kinds: &[Spanned<TableKind>], findings: &mut Vec<Finding>) -> Vec<String> {
        let mut code = Vec::new();
        for kind in kinds {
            let table = self.table(&kind.value);
            if table.is_empty() {
                findings.push(nothing(kind.span, "table"));
            }
            code.extend(table);
        }
        code
    }

    fn table(&self, kind: &TableKind) -> Vec<String> {
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
            TableKind::Checks => some(record::checks(self.results, self.ink)),
            TableKind::Record => some(record::record(self.results, self.ink)),
            TableKind::Uncertainty { symbol } => self.uncertainty_tables(symbol.as_deref()),
            TableKind::AirBuoyancy => self.set(tables::air_buoyancy(self.results)),
            TableKind::Outliers => self.set(tables::outliers(self.results, true)),
            TableKind::Conformity => self.set(tables::conformity(self.results)),
        }
    }

    fn plots(&self, kinds: &[Spanned<PlotKind>], findings: &mut Vec<Finding>) -> Vec<String> {
        let mut code = Vec::new();
        for kind in kinds {
            let plot = match &kind.value {
                PlotKind::MassByHeating { load } => self.mass_plot(load.as_deref()),
                PlotKind::Trials { symbol } => self.trials_plot(symbol.as_deref(), true),
                PlotKind::Uncertainty { symbol } => self.uncertainty_plots(symbol.as_deref()),
            };
            if plot.is_empty() {
                findings.push(nothing(kind.span, "plot"));
            }
            code.extend(plot);
        }
        code
    }

    fn mass_plot(&self, load: Option<&str>) -> Vec<String> {
        let figures = plots::mass_plot(self.results, load).map_or(Vec::new(), plots::MassPlot::figures);
        figures.iter().map(|plot| plot.set(self.ink, self.results.settings.decimal)).collect()
    }

    fn trials_plot(&self, symbol: Option<&str>, every: bool) -> Vec<String> {
        let plots = plots::trials_plots(self.results, symbol, every);
        if plots.is_empty() {
            return Vec::new();
        }
        let mark = self.results.settings.decimal;
        plots.chunks(plots::MOST_PANELS).map(|plots| plots::set_trials(plots, self.ink, mark)).collect()
    }

    /// The budgets that no block asks for, where the uncertainty is shown in full.
    fn uncertainty(&self) -> Vec<String> {
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
        let mut code = vec![uncertainty::heading()];
        code.extend(self.method(&budgets));
        for budget in &budgets {
            code.extend(self.set(Some(budget.table())));
            let mut plots = self.asked.budget_plots.iter();
            if !plots.any(|symbol| budget.is_asked(symbol.as_deref())) {
                code.push(budget.plot().set(self.ink, self.results.settings.decimal));
            }
        }
        code.extend(self.set(tables::draws(self.results, &budgets)));
        code
    }

    /// How uncertainties were evaluated: once, before the first budget.
    fn method(&self, budgets: &[uncertainty::Shown]) -> Option<String> {
        let told = self.method_told.replace(true);
        (!told).then(|| uncertainty::set_method(self.results, budgets, self.ink))
    }

    fn uncertainty_tables(&self, symbol: Option<&str>) -> Vec<String> {
        let budgets = uncertainty::budgets(self.results, symbol);
        if budgets.is_empty() {
            return Vec::new();
        }
        let method = self.method(&budgets);
        let tables = budgets.iter().flat_map(|budget| self.set(Some(budget.table())));
        let draws = self.set(tables::draws(self.results, &budgets));
        method.into_iter().chain(tables).chain(draws).collect()
    }

    fn uncertainty_plots(&self, symbol: Option<&str>) -> Vec<String> {
        let budgets = uncertainty::budgets(self.results, symbol);
        let mark = self.results.settings.decimal;
        budgets.iter().map(|budget| budget.plot().set(self.ink, mark)).collect()
    }

    /// A block that this version does not compute, as it was written.
    fn as_written(&self, name: &str, lines: &[Spanned<String>]) -> Vec<String> {
        let lines = lines.iter().map(|line| self.ink.text(&line.value, Some(line.span)));
        vec![format!("layout.as-written({}, {})\n", super::code::string(name), super::code::array(lines))]
    }
}

fn block_of(item: &Item) -> Option<usize> {
    match item {
        Item::Block(index) => Some(*index),
        _ => None,
    }
}

fn some(code: String) -> Vec<String> {
    if code.is_empty() { Vec::new() } else { vec![code] }
}

/// A table or plot asked for that has nothing to show.
fn nothing(span: crate::span::Span, what: &str) -> Finding {
    let message = format!("a {what} is asked for that has nothing to show");
    Finding::note(Code::BadRequest, span, message)
}
