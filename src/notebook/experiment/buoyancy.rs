//! `[buoyancy]`: the air in the room and the densities of what is corrected for the buoyancy it has in it.
//!
//! ```text
//! buoyancy = { temperature, pressure, humidity, [ carbon-dioxide ] | air-density, [ weights ], density = { thing, … } }
//! ```
//!
//! Each value is a text as in `measured`: `"21.4 °C ± 0.3 °C"`, `"2.32 g/cm^3 ± 0.01 g/cm^3 normal"`.
//!
//! Notebook and template may each state a part of it; whether the whole is complete is the evaluation's to say.

use super::{Key, Reader, Value, in_order, kind};
use crate::finding::{Code, Finding, nearest};
use crate::notebook::blocks::CellValue;
use crate::notebook::cells::{self, CellKind};
use crate::notebook::context::Context;
use crate::notebook::passage::Passage;
use crate::notebook::settings::{Air, Buoyancy, Room, Stated};
use crate::quantity::{Dimension, Number, Unit};
use crate::span::Spanned;
use toml::de::{DeTable, DeValue};

const KEYS: &[&str] =
    &["temperature", "pressure", "humidity", "carbon-dioxide", "air-density", "weights", "density"];

const HINT: &str = "write `[buoyancy]` with `temperature`, `pressure` and `humidity` (or `air-density`), and below \
                    `[buoyancy.density]` a density for each thing to be corrected";

/// What is written cannot be used, and a finding has said so.
struct Said;

impl Reader<'_, '_> {
    pub(super) fn buoyancy(&mut self, key: &Key, value: &Value) {
        let DeValue::Table(table) = value.get_ref() else {
            let message = format!(
                "`buoyancy` is {}; the correction needs the air and the densities",
                kind(value.get_ref())
            );
            return self.bad(value, message, HINT);
        };
        for (name, _) in in_order(table).iter().filter(|(name, _)| !KEYS.contains(&name.get_ref().as_ref())) {
            self.unknown_of(name, KEYS);
        }
        let span = self.place(key);
        let air = self.air(table, value);
        let weights = self.entry_of(table, "weights", Dimension::DENSITY, "8000 kg/m^3");
        let densities = self.densities(table, value);
        if let (Ok(air), Ok(densities)) = (air, densities) {
            self.settings.buoyancy = Some(Buoyancy { span, air, weights, densities });
        }
    }

    /// A key that a table does not have.
    pub(super) fn unknown_of(&mut self, key: &Key, known: &[&str]) {
        let place = self.place(key);
        let finding =
            Finding::warning(Code::UnknownKey, place, format!("the key `{}` is not known", key.get_ref()));
        self.cx.push(match nearest(key.get_ref(), known.iter().copied()) {
            Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
            None => finding.hint(format!("the keys here are `{}`", known.join("`, `"))),
        });
    }

    /// The air's density as given, or from what was measured in the room; `None` where nothing is said of it, since
    /// a template may say it.
    fn air(&mut self, table: &DeTable, whole: &Value) -> Result<Option<Air>, Said> {
        let room = ["temperature", "pressure", "humidity"];
        if table.contains_key("air-density") {
            if let Some(both) = room.iter().find(|key| table.contains_key(**key)) {
                let message = format!("`air-density` and `{both}` are two statements of one thing");
                self.bad(whole, message, "keep one of them");
                return Err(Said);
            }
            let given = self.entry_of(table, "air-density", Dimension::DENSITY, "1.20 kg/m^3").ok_or(Said)?;
            return Ok(Some(Air::Given(Box::new(given))));
        }
        if !room.iter().chain(&["carbon-dioxide"]).any(|key| table.contains_key(*key)) {
            return Ok(None);
        }
        if let Some(missing) = room.iter().find(|key| !table.contains_key(**key)) {
            self.bad(whole, format!("the density of the air needs `{missing}`"), HINT);
            return Err(Said);
        }
        self.room(table).map(|room| Some(Air::Room(Box::new(room)))).ok_or(Said)
    }

    /// What was measured in the room.
    fn room(&mut self, table: &DeTable) -> Option<Room> {
        let temperature = self.entry_of(table, "temperature", Dimension::TEMPERATURE, "21.4 °C ± 0.3 °C");
        let pressure = self.entry_of(table, "pressure", Dimension::PRESSURE, "1008.2 hPa ± 0.5 hPa");
        let humidity = self.fraction(table, "humidity", "45 % ± 5 %");
        let carbon_dioxide = self.fraction(table, "carbon-dioxide", "430 ppm ± 30 ppm");
        if table.contains_key("carbon-dioxide") && carbon_dioxide.is_none() {
            return None;
        }
        let (temperature, pressure, humidity) = (temperature?, pressure?, humidity?);
        Some(Room { temperature, pressure, humidity, carbon_dioxide })
    }

    /// The densities; empty where none is stated, since a template may state them.
    fn densities(&mut self, table: &DeTable, whole: &Value) -> Result<Vec<(Spanned<String>, Stated)>, Said> {
        let Some(list) = table.get("density") else { return Ok(Vec::new()) };
        let DeValue::Table(list) = list.get_ref() else {
            self.bad(whole, "`density` takes a density for each thing", HINT);
            return Err(Said);
        };
        let mut densities = Vec::new();
        for (thing, value) in in_order(list) {
            let place = self.place(thing);
            if let Some(density) = self.stated(thing, value, Dimension::DENSITY, "2.32 g/cm^3")
                && self.is_positive(&density, value)
            {
                densities.push((Spanned::new(thing.get_ref().trim().to_owned(), place), density));
            }
        }
        if densities.is_empty() && !list.is_empty() { Err(Said) } else { Ok(densities) }
    }

    /// The entry of a key, above zero; `None` where it is absent or cannot be used.
    fn entry_of(
        &mut self,
        table: &DeTable,
        key: &str,
        dimension: Dimension,
        example: &str,
    ) -> Option<Stated> {
        let (key, value) = table.get_key_value(key)?;
        let stated = self.stated(key, value, dimension, example)?;
        self.is_positive(&stated, value).then_some(stated)
    }

    fn is_positive(&mut self, stated: &Stated, value: &Value) -> bool {
        let positive = !stated.decimal.to_number().is_zero() && !stated.decimal.to_number().is_negative();
        if !positive && stated.unit.zero().is_none() {
            self.bad(value, "not above zero", "check the number");
            return false;
        }
        true
    }

    /// A fraction from 0 to 1.
    fn fraction(&mut self, table: &DeTable, key: &str, example: &str) -> Option<Stated> {
        let (key, value) = table.get_key_value(key)?;
        let stated = self.stated(key, value, Dimension::PURE, example)?;
        let fraction = stated.decimal.to_number().mul(stated.unit.factor()).ok()?;
        if fraction.is_negative() || fraction > Number::one() {
            let hint = format!("write for example `{} = \"{example}\"`", key.get_ref());
            self.bad(value, "a fraction is between 0 and 100 %", &hint);
            return None;
        }
        Some(stated)
    }

    /// A number with its unit and uncertainty, in the form of `measured`.
    pub(super) fn stated(
        &mut self,
        key: &Key,
        value: &Value,
        dimension: Dimension,
        example: &str,
    ) -> Option<Stated> {
        let text = self.text(key, value)?;
        let hint = format!("write for example `{} = \"{example}\"`", key.get_ref());
        let mut inner = Context::new();
        inner.comma = self.cx.comma;
        let mut found =
            cells::read(Passage { text: &text.value, start: 0 }, CellKind::Measured, &mut inner).cells;
        let problems = inner.into_findings();
        if let Some(problem) = problems.into_iter().next() {
            self.cx.push(Finding { span: Some(text.span), code: Code::BadSetting, ..problem });
            return None;
        }
        let cell = found.pop().filter(|_| found.is_empty());
        let Some((CellValue::Number(decimal), cell)) = cell.map(|cell| (cell.value.clone(), cell)) else {
            self.bad(value, "expected a number with its unit", &hint);
            return None;
        };
        // `2.32 ± 0.01 g/cm^3`: the unit behind the uncertainty is that of both.
        let of_uncertainty = cell.uncertainty.iter().find_map(|uncertainty| uncertainty.unit.clone());
        let unit = cell.unit.map(|unit| unit.value).or(of_uncertainty).unwrap_or_else(Unit::one);
        let fits = |unit: &Unit| unit.dimension() == dimension;
        let uncertainty_fits =
            cell.uncertainty.iter().filter_map(|uncertainty| uncertainty.unit.as_ref()).all(fits);
        if !fits(&unit) || !uncertainty_fits {
            let message = format!("expected {} with its unit", dimension.with_article());
            self.bad(value, message, &hint);
            return None;
        }
        let mut uncertainty = cell.uncertainty;
        if uncertainty.len() > 1 {
            self.bad(value, "more than one `±`", "combine them: the root of the sum of their squares");
            return None;
        }
        Some(Stated { decimal, unit, uncertainty: uncertainty.pop(), span: text.span })
    }
}
