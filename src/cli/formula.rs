//! `reweigh formula`: molar mass and composition of a formula, or an equation balanced.

use super::columns::Table;
use super::findings::without_controls;
use super::{Ending, complain, print};
use crate::chemistry::{AtomicWeights, Formula, FormulaError, Given, Reaction};
use crate::finding::visible_lines;
use crate::quantity::{Digits, Rounding, print as printed};
use std::io::Write;

/// Options of `formula`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// A chemical formula (`CuSO4.5H2O`) or an equation (`H2 + O2 -> H2O`).
    text: String,
    /// The table of atomic weights, by name.
    #[arg(long, value_name = "NAME")]
    atomic_weights: Option<String>,
}

pub(super) fn run(options: &Options) -> Ending {
    let table = match &options.atomic_weights {
        None => AtomicWeights::abridged(),
        Some(name) => match AtomicWeights::by_name(name) {
            Some(table) => table,
            None => {
                let names: Vec<_> = AtomicWeights::names().collect();
                return complain(&format!("no table is named {name}; there are: {}", names.join("; ")));
            }
        },
    };
    let is_equation = ["->", "=", "→", "⇌"].iter().any(|arrow| options.text.contains(arrow));
    let output = if is_equation { equation(&options.text) } else { composition(&options.text, &table) };
    match output {
        Ok((text, ending)) => match print(&visible_lines(&text)) {
            Ok(()) => ending,
            Err(error) => complain(&format!("cannot write: {error}")),
        },
        Err(error) => {
            drop(std::io::stderr().write_all(visible_lines(&pointed(&options.text, &error)).as_bytes()));
            Ending::Found
        }
    }
}

fn composition(text: &str, table: &AtomicWeights) -> Result<(String, Ending), FormulaError> {
    let formula = Formula::parse(text)?;
    let mass = formula.molar_mass(table)?;
    let mut output = format!("{}\n", formula.unicode());
    if let Some(reading) = formula.ambiguity() {
        output.push_str(&format!("{reading}\n"));
    }
    output.push_str(&format!(
        "M = {} g/mol   u = {:.2e} g/mol   ({})\n\n",
        mass.printed(),
        mass.uncertainty,
        table.name()
    ));
    let mut rows = Table::new(["", "atoms", "weight", "g/mol", "w / %"].map(String::from));
    for (part, (_, percent)) in mass.parts.iter().zip(formula.percent_composition(table)?) {
        let per_mole =
            printed(&part.grams_per_mole(), Digits::Tabulated(part.weight.value.place()), Rounding::HalfEven);
        let percent = printed(&percent, Digits::Measured(-3), Rounding::HalfEven);
        rows.row([
            part.symbol.to_string(),
            part.count.to_string(),
            part.weight.value.to_string(),
            per_mole.ascii(),
            percent.ascii(),
        ]);
    }
    output.push_str(&rows.text());
    Ok((output, Ending::Clean))
}

fn equation(text: &str) -> Result<(String, Ending), FormulaError> {
    let reaction = Reaction::parse(text)?;
    let readings: String =
        reaction.ambiguities().into_iter().map(|(_, reading)| format!("{reading}\n")).collect();
    match reaction.balance() {
        Ok(balanced) => {
            let (remark, ending) = match &balanced.given {
                Given::Wrong(unequal) => {
                    let unequal: Vec<String> = unequal.iter().map(ToString::to_string).collect();
                    (format!("as written it does not balance: {}\n", unequal.join("; ")), Ending::Found)
                }
                Given::Chosen(dimension) => {
                    (format!("one of {dimension} independent solutions, as written\n"), Ending::Clean)
                }
                Given::Nothing | Given::Right | Given::Multiple(_) => (String::new(), Ending::Clean),
            };
            Ok((format!("{}\n{readings}{remark}", balanced.reaction.unicode()), ending))
        }
        Err(problem) => {
            let (message, hint) = (problem.message(), problem.hint());
            Ok((format!("{readings}{message}\n{hint}\n"), Ending::Found))
        }
    }
}

/// The error under the characters it is about.
fn pointed(text: &str, error: &FormulaError) -> String {
    let before = text.get(..error.range.start).map_or(0, |before| before.chars().count());
    let width = text.get(error.range.clone()).map_or(1, |part| part.chars().count().max(1));
    let hint = error.hint.as_ref().map_or(String::new(), |hint| format!("  {hint}\n"));
    let message = format!("{}\n{hint}", error.message);
    let marks = format!("{}{}", " ".repeat(before), "^".repeat(width));
    format!("  {}\n  {marks}\n{message}", without_controls(text))
}
