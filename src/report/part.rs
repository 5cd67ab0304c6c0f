//! The computed parts of a report as plain data, and each as a call of the layout.

use super::plots::budget::BudgetPlot;
use super::plots::{MassPlot, TrialsPlot, set_trials};
use super::record::{self, Checks, Entry};
use super::tables::Table;
use super::words::Ink;
use super::worked::{self, Equation, Sought, Whole, Worked};
use super::{cautions, code, uncertainty};
use crate::notebook::settings::DecimalMark;
use crate::span::Spanned;
use crate::template::Template;

/// A part.
#[derive(Clone, Debug)]
pub(super) enum Part<'r> {
    /// The cautions of a template.
    Cautions(&'r Template),
    Table(Table),
    MassPlot(MassPlot),
    Trials(Vec<TrialsPlot>),
    Worked(Worked),
    Mixture(Worked),
    WholeNumbers(Vec<Whole>),
    Sought(Vec<Sought>),
    Reactions(Vec<Equation>),
    /// A block that this version does not compute: its name and its lines.
    AsWritten(&'static str, Vec<Spanned<String>>),
    /// The heading of the part on uncertainty.
    UncertaintyHeading,
    /// How the uncertainties were evaluated.
    Method(Vec<String>),
    Budget(BudgetPlot),
    Checks(Checks),
    Record(Vec<Entry>),
}

impl Part<'_> {
    /// The part as a call of the layout.
    pub(super) fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        match self {
            Part::Cautions(template) => cautions::set(template, ink),
            Part::Table(table) => table.set(ink, mark),
            Part::MassPlot(plot) => plot.set(ink, mark),
            Part::Trials(plots) => set_trials(plots, ink, mark),
            Part::Worked(worked) => worked.set(ink),
            Part::Mixture(worked) => worked.set_mixture(ink),
            Part::WholeNumbers(all) => worked::set_whole_numbers(all, ink),
            Part::Sought(all) => worked::set_sought(all, ink),
            Part::Reactions(equations) => worked::set_reactions(equations, ink),
            Part::AsWritten(name, lines) => {
                let lines = lines.iter().map(|line| ink.text(&line.value, Some(line.span)));
                format!("layout.as-written({}, {})\n", code::string(name), code::array(lines))
            }
            Part::UncertaintyHeading => {
                format!("heading(level: 1, {})\n", code::string(uncertainty::HEADING))
            }
            Part::Method(sentences) => uncertainty::set_method(sentences, ink),
            Part::Budget(plot) => plot.set(ink, mark),
            Part::Checks(checks) => checks.set(ink),
            Part::Record(entries) => record::set_entries("record", entries, ink),
        }
    }
}

/// Several parts as calls of the layout, one after the other.
pub(super) fn set_all(parts: &[Part], ink: &Ink, mark: DecimalMark) -> String {
    parts.iter().map(|part| part.set(ink, mark)).collect()
}
