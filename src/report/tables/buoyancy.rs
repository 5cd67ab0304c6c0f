//! The correction for air buoyancy: with what air, with what densities, and how it was applied.

use super::quantities::value_row;
use super::{Cell, Notes, Part, Row, Table, Value};
use crate::evaluation::results::{AirResult, BuoyancyResult, CorrectedThing, Results, StatedResult};
use crate::evaluation::uncertainty::two_figures;
use crate::notebook::settings::DecimalMark;
use crate::report::words::{self, Run, Words};

/// The factors and what they rest on; `None` where no correction was made.
pub(crate) fn air_buoyancy(results: &Results) -> Option<Table> {
    let buoyancy = results.buoyancy.as_ref()?;
    let mark = results.settings.decimal;
    let rows = buoyancy.things.iter().map(row).collect();
    let factor = vec![Run::Plain("factor".to_owned())];
    let part = Part::plain("substance", vec![words::plain("density"), factor], rows);
    let mut notes = Notes::default();
    notes.once("", rule());
    notes.once("", air(buoyancy, mark));
    let caption = words::plain("Correction for air buoyancy");
    Some(Table { name: "air-buoyancy", caption, parts: vec![part], notes: notes.all() })
}

fn row(thing: &CorrectedThing) -> Row {
    let density = Value {
        digits: thing.density.written.clone(),
        unit: Some(thing.density.unit.clone()),
        ..Value::default()
    };
    let factor = Cell::Value(Value::printed(&thing.printed));
    value_row(words::entity_words(&thing.thing), vec![Cell::Value(density), factor])
}

fn density(of: &str) -> [Run; 2] {
    [Run::Italic("ρ".to_owned()), Run::Lowered(of.to_owned())]
}

/// m = m(as weighed) × factor, and what the factor is.
fn rule() -> Words {
    let mut words = words::plain("Net masses of these substances are those weighed times the factor (1 − ");
    words.extend(density("a"));
    words.push(Run::Plain("/".to_owned()));
    words.extend(density("w"));
    words.push(Run::Plain(")/(1 − ".to_owned()));
    words.extend(density("a"));
    words.push(Run::Plain("/".to_owned()));
    words.push(Run::Italic("ρ".to_owned()));
    let rest = ") of their density. What stands on the pan both times, such as the vessel, cancels. Readings and changes \
                per heating are as read.";
    words.push(Run::Plain(rest.to_owned()));
    words
}

fn air(buoyancy: &BuoyancyResult, mark: DecimalMark) -> Words {
    let number = |text: &str| words::digits(text, mark);
    let mut words = words::plain("Air: ");
    words.extend(density("a"));
    let u = two_figures(buoyancy.density_uncertainty)
        .map_or(String::new(), |u| format!(", standard uncertainty {} kg/m³", number(&u)));
    words.push(Run::Plain(format!(
        " = {} kg/m³{u}{}. ",
        number(&buoyancy.density.printed.ascii()),
        origin(&buoyancy.air, mark)
    )));
    words.push(Run::Plain("Weights: ".to_owned()));
    words.extend(density("w"));
    words.push(Run::Plain(match &buoyancy.weights {
        Some(weights) => format!(" = {}.", with_unit(weights, mark)),
        None => " = 8000 kg/m³ (conventional).".to_owned(),
    }));
    words
}

fn origin(air: &AirResult, mark: DecimalMark) -> String {
    let AirResult::Cipm2007 { conditions, simplified } = air else { return ", as stated".to_owned() };
    let list: Vec<String> = conditions
        .iter()
        .map(|condition| format!("{} {}", condition.name, with_unit(condition, mark)))
        .collect();
    let check = simplified.map_or(String::new(), |density| {
        let density = words::digits(&format!("{density:.5}"), mark);
        format!("; the simplified form of OIML R 111-1 gives {density} kg/m³")
    });
    format!(", by CIPM-2007 from {}{check}", list.join(", "))
}

fn with_unit(stated: &StatedResult, mark: DecimalMark) -> String {
    let unit = words::text_of(&words::unit(&stated.unit)).replace("m3", "m³");
    format!("{} {unit}", words::digits(&stated.written, mark))
}
