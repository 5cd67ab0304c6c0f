//! Rows of `measured`, per trial or for all of them, as leaves of the graph.

use super::calculator::{Calculator, of_last_place};
use super::results::MeasuredWords;
use super::uncertainty::{Evaluation, Input, Source};
use super::{Slot, Value};
use crate::finding::{Code, Finding};
use crate::notebook::Notebook;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, Columns, QuantityRow, Uncertainty};
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Decimal, Quantity, Unit};
use crate::statistics::Distribution;
use crate::weighing::Trials;
use std::sync::Arc;

/// The lines of `measured` blocks that say something in words, as written.
pub(super) fn words(notebook: &Notebook, trials: &Trials) -> Vec<MeasuredWords> {
    let blocks = notebook.blocks.iter().filter_map(|block| match &block.kind {
        BlockKind::Measured(measured) => Some(measured),
        _ => None,
    });
    let of_row = |columns: &Columns, row: &QuantityRow| {
        let text = |cell: &Cell| match &cell.value {
            CellValue::Text(text) => Some(text.clone()),
            _ => None,
        };
        let mut words = MeasuredWords { name: row.symbol.value.clone(), all: None, trials: Vec::new() };
        match row.cells.as_slice() {
            [one] if trials.len() != 1 && columns.trials.as_ref().is_none_or(|names| names.len() != 1) => {
                words.all = text(one);
            }
            cells => {
                words.trials = vec![None; trials.len()];
                for (position, cell) in cells.iter().enumerate() {
                    if let Some(trial) = trials.column(columns, position) {
                        words.trials[trial] = text(cell);
                    }
                }
            }
        }
        let said = words.all.is_some() || words.trials.iter().any(Option::is_some);
        said.then_some(words)
    };
    blocks.flat_map(|block| block.rows.iter().filter_map(|row| of_row(&block.columns, row))).collect()
}

impl Calculator<'_, '_> {
    pub(super) fn measured_row(&mut self, index: usize) -> Value {
        let measured = &self.scope.measured[index];
        let block = &self.notebook.blocks[measured.block].kind;
        let BlockKind::Measured(block) = block else {
            return Value::missing("it is not measured");
        };
        let unit = block.unit.as_ref().map(|unit| &unit.value);
        let symbol = measured.row.symbol.value.clone();
        let cells = &measured.row.cells;
        let one_column = block.columns.trials.as_ref().is_some_and(|trials| trials.len() == 1);
        if let ([cell], true) = (cells.as_slice(), self.trials.len() != 1 && !one_column) {
            return Value::Scalar(self.measured_cell(cell, unit, &symbol, None, None));
        }
        let mut slots: Vec<Slot> = vec![Err("not measured in this trial".into()); self.trials.len()];
        for (position, cell) in cells.iter().enumerate() {
            if let Some(trial) = self.trials.column(&block.columns, position) {
                let first = slots.iter().find_map(|slot| slot.clone().ok());
                slots[trial] = self.measured_cell(cell, unit, &symbol, first, Some(trial));
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

    pub(super) fn measured_cell(
        &mut self,
        cell: &Cell,
        unit: Option<&Unit>,
        symbol: &str,
        first: Option<NodeId>,
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
        self.say_uncertain(leaf, cell, decimal, unit, first, trial);
        Ok(leaf)
    }

    /// The inputs of a measured leaf: what is stated behind it, else its last place. An effect stated once for several
    /// values is that of the first one.
    fn say_uncertain(
        &mut self,
        leaf: NodeId,
        cell: &Cell,
        decimal: &Decimal,
        unit: &Unit,
        first: Option<NodeId>,
        trial: Option<usize>,
    ) {
        let estimate = self.graph.quantity(leaf).number.to_f64();
        let shown = Arc::new(unit.clone());
        let of = |input: Input, distribution: Distribution, trial: Option<usize>| {
            Source::of(input, estimate, shown.clone(), distribution).of_trial(trial)
        };
        if cell.uncertainty.is_empty() {
            let source = of(Input::LastPlace(leaf), of_last_place(decimal, unit), trial).random();
            return self.inputs.leaf(leaf, [(source, 1.0)]);
        }
        let stated = |(place, uncertainty): (usize, &Uncertainty)| {
            let (node, trial) =
                if uncertainty.shared { (first.unwrap_or(leaf), None) } else { (leaf, trial) };
            let source = of(Input::Stated(node, place), uncertainty.distribution(unit), trial);
            let observed = uncertainty.is_observed();
            let source = Source {
                degrees_of_freedom: uncertainty.degrees_of_freedom(),
                evaluation: if observed { Evaluation::A } else { Evaluation::B },
                random: observed,
                label: uncertainty.label.clone(),
                ..source
            };
            (source, 1.0)
        };
        self.inputs.leaf(leaf, cell.uncertainty.iter().enumerate().map(stated));
    }
}
