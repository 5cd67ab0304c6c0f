//! `[balance.NAME]`: what is known of a balance.

use super::super::cells::{self, CellKind};
use super::super::context::Context;
use super::super::passage::Passage;
use super::super::rules;
use super::super::settings::{Balance, FurtherEffects};
use super::{Key, Reader, Value, in_order, lines};
use crate::finding::{Code, Finding, nearest};
use crate::notebook::blocks::{Uncertainty, UncertaintyKind};
use crate::quantity::{Dimension, Quantity};
use crate::span::{Span, Spanned};
use toml::de::DeTable;

/// The keys that are numbers; any other is a fact that is printed as it is.
const AMOUNTS: [&str; 7] = [
    "readability",
    "repeatability",
    "linearity",
    "calibration",
    "temperature-coefficient",
    "temperature-range",
    "minimum-weight",
];

impl Reader<'_, '_> {
    pub(super) fn balance(&mut self, name: &Key, facts: &DeTable) -> Balance {
        let mut balance = Balance {
            name: Spanned::new(name.get_ref().to_string(), self.place(name)),
            readability: None,
            readability_text: None,
            repeatability: None,
            linearity: None,
            further: FurtherEffects::default(),
            facts: Vec::new(),
        };
        for (key, value) in in_order(facts) {
            self.balance_entry(&mut balance, key, value);
        }
        balance.further.temperature = self.temperature(facts);
        balance
    }

    fn balance_entry(&mut self, balance: &mut Balance, key: &Key, value: &Value) {
        match key.get_ref().as_ref() {
            "readability" => {
                balance.readability = self.mass(key, value, true);
                let text = balance.readability.as_ref().and_then(|_| value.get_ref().as_str());
                balance.readability_text = text.map(|text| text.trim().to_owned());
            }
            "repeatability" => self.balance_repeatability(balance, key, value),
            "linearity" => balance.linearity = self.mass(key, value, false),
            "calibration" => self.calibration(balance, key, value),
            "temperature-coefficient" | "temperature-range" => balance.facts.extend(as_written(key, value)),
            "minimum-weight" => {
                balance.further.minimum_weight = self.mass(key, value, true);
                balance.facts.extend(as_written(key, value));
            }
            name => match nearest(name, AMOUNTS) {
                Some(meant) => {
                    let place = self.place(key);
                    let message = format!("the key `{name}` of a balance is not known");
                    let finding = Finding::warning(Code::UnknownKey, place, message);
                    self.cx.push(finding.hint(format!("did you mean `{meant}`?")));
                }
                None => balance.facts.extend(as_written(key, value)),
            },
        }
    }

    /// `"0.1 mg"`, also `"0.1 mg dof = 9"` where it comes from ten weighings.
    fn balance_repeatability(&mut self, balance: &mut Balance, key: &Key, value: &Value) {
        if value.get_ref().as_str().is_none() {
            balance.repeatability = self.mass(key, value, false);
            return;
        }
        let Some(stated) = self.effect(key, value, "0.1 mg", &[Dimension::MASS]) else { return };
        if !matches!(stated.kind, UncertaintyKind::Rectangular | UncertaintyKind::Normal) {
            let message = "the repeatability of a balance is the standard deviation of single weighings";
            return self.bad(
                value,
                message,
                "write `repeatability = \"0.1 mg\"`, with `dof = 9` if it is known",
            );
        }
        let unit = stated.unit.clone().unwrap_or_else(crate::quantity::Unit::gram);
        balance.repeatability = Quantity::from_decimal(&stated.value, &unit, false).ok();
        balance.further.repeatability_dof = stated.degrees_of_freedom;
    }

    /// `"0.3 mg k = 2"`: of the error of indication near any load; `"4 mg/kg k = 2"`: in proportion to the load.
    fn calibration(&mut self, balance: &mut Balance, key: &Key, value: &Value) {
        let dimensions = [Dimension::MASS, Dimension::PURE];
        balance.further.calibration = self.effect(key, value, "0.3 mg k = 2", &dimensions);
        balance.facts.extend(as_written(key, value));
    }

    /// A number with its unit and what stands behind `±` in `measured`.
    fn effect(
        &mut self,
        key: &Key,
        value: &Value,
        example: &str,
        dimensions: &[Dimension],
    ) -> Option<Uncertainty> {
        let stated = self.effect_of(key, value, example)?;
        let dimension = stated.unit.as_ref().map_or(Dimension::PURE, |unit| unit.dimension());
        if !dimensions.contains(&dimension) {
            let message = format!("`{}` is {} here", key.get_ref(), dimension.with_article());
            self.bad(value, message, &format!("write for example `{} = \"{example}\"`", key.get_ref()));
            return None;
        }
        Some(stated)
    }

    /// The same of any dimension.
    pub(super) fn effect_of(&mut self, key: &Key, value: &Value, example: &str) -> Option<Uncertainty> {
        let text = self.text(key, value)?;
        let mut inner = Context::new();
        inner.comma = self.cx.comma;
        let behind = format!("0 ± {}", text.value);
        let passage = Passage { text: &behind, start: 0 };
        let mut found = cells::read(passage, CellKind::Measured, &mut inner).cells;
        let cell = found.pop().filter(|_| found.is_empty());
        let mut stated = cell.map(|cell| cell.uncertainty).unwrap_or_default();
        if let Some(problem) = inner.into_findings().into_iter().next() {
            self.cx.push(Finding { span: Some(text.span), code: Code::BadSetting, ..problem });
            return None;
        }
        let one = stated.pop().filter(|one| stated.is_empty() && !one.value.to_number().is_negative());
        if one.is_none() {
            let hint = format!("write for example `{} = \"{example}\"`", key.get_ref());
            self.bad(value, format!("`{}` is no such amount", text.value), &hint);
        }
        // Where it stands says nothing of the balance: two notebooks may describe the same one.
        one.map(|one| Uncertainty { span: Span::default(), ..one })
    }

    /// The relative half-width by which the indication changes with the temperature.
    fn temperature(&mut self, facts: &DeTable) -> Option<f64> {
        let (coefficient, range) =
            (facts.get_key_value("temperature-coefficient"), facts.get_key_value("temperature-range"));
        let ((key, coefficient), (range_key, range)) = match (coefficient, range) {
            (None, None) => return None,
            (Some(coefficient), Some(range)) => (coefficient, range),
            (Some((_, value)), None) | (None, Some((_, value))) => {
                let hint =
                    "write `temperature-coefficient = \"1.5 ppm/K\"` and `temperature-range = \"2 K\"`";
                self.bad(value, "the temperature counts by its coefficient and its range together", hint);
                return None;
            }
        };
        let kelvin = Dimension::TEMPERATURE;
        let per_kelvin = Dimension::PURE.over(kelvin)?;
        let coefficient = self.amount_of(key, coefficient, per_kelvin, "1.5 ppm/K")?;
        Some(coefficient * self.amount_of(range_key, range, kelvin, "2 K")?)
    }

    /// An amount in coherent SI units.
    fn amount_of(&mut self, key: &Key, value: &Value, dimension: Dimension, example: &str) -> Option<f64> {
        let text = self.text(key, value)?;
        let read = rules::amount(&text.value, self.cx.comma).and_then(|(number, unit)| {
            let amount = number.to_number().to_f64() * unit.factor().to_f64();
            let fits = unit.dimension() == dimension && unit.zero().is_none() && amount >= 0.0;
            fits.then_some(amount).ok_or_else(|| format!("`{}` is no such amount", text.value))
        });
        let hint = || format!("write for example `{} = \"{example}\"`", key.get_ref());
        read.map_err(|problem| self.bad(value, problem, &hint())).ok()
    }
}

/// A fact for print.
fn as_written(key: &Key, value: &Value) -> impl Iterator<Item = (String, String)> {
    let name = key.get_ref().to_string();
    lines(value).into_iter().map(move |line| (name.clone(), line))
}
