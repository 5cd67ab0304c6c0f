//! Rows of `measured`, per trial or for all of them, as leaves of the graph.

use super::calculator::{Calculator, of_last_place};
use super::uncertainty::{Input, Source};
use super::{Slot, Value};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{Cell, CellValue, Columns, Uncertainty, UncertaintyKind};
use crate::quantity::derivation::Operation;
use crate::quantity::{Quantity, Unit};
use crate::statistics::Distribution;
use std::sync::Arc;

impl Calculator<'_, '_> {
    pub(super) fn measured_row(&mut self, index: usize) -> Value {
        let measured = &self.scope.measured[index];
        let block = &self.notebook.blocks[measured.block].kind;
        let crate::notebook::blocks::BlockKind::Measured(block) = block else {
            return Value::missing("it is not measured");
        };
        let unit = block.unit.as_ref().map(|unit| &unit.value);
        let symbol = measured.row.symbol.value.clone();
        let cells = &measured.row.cells;
        let one_column = block.columns.trials.as_ref().is_some_and(|trials| trials.len() == 1);
        if let ([cell], true) = (cells.as_slice(), self.trials.len() != 1 && !one_column) {
            return Value::Scalar(self.measured_cell(cell, unit, &symbol, None));
        }
        let mut slots: Vec<Slot> = vec![Err("not measured in this trial".into()); self.trials.len()];
        for (position, cell) in cells.iter().enumerate() {
            if let Some(trial) = self.trials.column(&block.columns, position) {
                slots[trial] = self.measured_cell(cell, unit, &symbol, Some(trial));
            }
        }
        for (position, cell) in cells.iter().enumerate() {
            if let CellValue::SameAs(name) = &cell.value
                && let Some(trial) = self.trials.column(&block.columns, position)
            {
                slots[trial] = match self.followed(cells, &block.columns, name) {
                    Some(source) => slots[source].clone(),
                    None => {
                        let message = format!("`= {name}` points to no other trial");
                        let finding = Finding::error(Code::SharedReading, cell.span, message);
                        self.report(self.trials.with_suggestion(finding, name));
                        Err("it points to no other trial".into())
                    }
                };
            }
        }
        self.one_kind(&symbol, slots)
    }

    /// The trial whose value `= name` takes in the end; `None` where it leads nowhere or round in a circle.
    fn followed(&self, cells: &[Cell], columns: &Columns, name: &str) -> Option<usize> {
        let mut trial = self.trials.index(name)?;
        for _ in 0..cells.len() {
            let position = (0..cells.len()).find(|at| self.trials.column(columns, *at) == Some(trial))?;
            let CellValue::SameAs(next) = &cells[position].value else { return Some(trial) };
            trial = self.trials.index(next)?;
        }
        None
    }

    /// The cells of one line are of one kind.
    fn one_kind(&mut self, symbol: &str, mut slots: Vec<Slot>) -> Value {
        let Some(first) = slots.iter().find_map(|slot| slot.clone().ok()) else {
            return Value::Trials(slots);
        };
        let dimension = self.graph.quantity(first).dimension;
        for slot in &mut slots {
            let Ok(node) = slot.clone() else { continue };
            let other = self.graph.quantity(node).dimension;
            if other != dimension {
                let message = format!(
                    "{symbol} is {} in one trial and {} in another",
                    dimension.with_article(),
                    other.with_article()
                );
                let finding = Finding::error(Code::DimensionMismatch, self.graph.node(node).span, message);
                self.report(finding.hint("give every cell of a line a unit of one kind"));
                *slot = Err("its unit is of another kind than the other trials'".into());
            }
        }
        Value::Trials(slots)
    }

    fn measured_cell(
        &mut self,
        cell: &Cell,
        unit: Option<&Unit>,
        symbol: &str,
        trial: Option<usize>,
    ) -> Slot {
        let decimal = match &cell.value {
            CellValue::Number(decimal) => decimal,
            CellValue::Text(_) => return Err("it is not a number".into()),
            CellValue::Missing => return Err("the reading is missing".into()),
            CellValue::SameAs(_) => return Err("it points to a trial without a value".into()),
            CellValue::Faulty => return Err("the reading could not be read".into()),
        };
        let one = Unit::one();
        let unit = cell.unit.as_ref().map(|unit| &unit.value).or(unit).unwrap_or(&one);
        let quantity = Quantity::from_decimal(decimal, unit, true);
        let operation = Operation::Measured { symbol: symbol.to_string(), trial };
        let leaf = self.leaf(quantity, operation, cell.span)?;
        let estimate = self.graph.quantity(leaf).number.to_f64();
        let source = match &cell.uncertainty {
            Some(uncertainty) => {
                let distribution = distribution(uncertainty, unit);
                Source::of(Input::Stated(leaf, 0), estimate, Arc::new(unit.clone()), distribution)
            }
            None => {
                let distribution = of_last_place(decimal, unit);
                Source::of(Input::LastPlace(leaf), estimate, Arc::new(unit.clone()), distribution).random()
            }
        };
        self.inputs.leaf(leaf, [(source.of_trial(trial), 1.0)]);
        Ok(leaf)
    }
}

/// The distribution that `± …` states, in coherent SI (JCGM 100:2008, 4.3.7, 4.3.9 and 3.3.7).
pub(super) fn distribution(uncertainty: &Uncertainty, unit: &Unit) -> Distribution {
    let unit = uncertainty.unit.as_ref().unwrap_or(unit);
    let stated = uncertainty.value.to_number().to_f64() * unit.factor().to_f64();
    match &uncertainty.kind {
        UncertaintyKind::Rectangular => Distribution::Rectangular { half_width: stated },
        UncertaintyKind::Triangular => Distribution::Triangular { half_width: stated },
        UncertaintyKind::Normal => Distribution::Normal { standard_deviation: stated },
        UncertaintyKind::Expanded(k) => {
            Distribution::Normal { standard_deviation: stated / k.to_number().to_f64() }
        }
    }
}
