//! The columns of a notebook: trials and blanks, known by name across all blocks.

use crate::finding::{Code, Finding, nearest};
use crate::notebook::Notebook;
use crate::notebook::blocks::{Block, BlockKind, Cell, Columns, QuantityRow, Row, SetAside};

/// One column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trial {
    /// Its name.
    pub name: String,
    /// The reason it was set aside, if it was.
    pub set_aside: Option<String>,
    /// Whether it is a blank.
    pub blank: bool,
}

impl Trial {
    fn named(name: &str) -> Self {
        let lower = name.to_lowercase();
        let blank = lower.strip_prefix("blank").is_some_and(|rest| !rest.starts_with(char::is_alphabetic));
        Trial { name: name.to_string(), set_aside: None, blank }
    }

    /// Whether it counts in means: neither a blank nor set aside.
    pub fn counts(&self) -> bool {
        !self.blank && self.set_aside.is_none()
    }
}

/// All columns, in the order of their first mention.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Trials {
    list: Vec<Trial>,
    /// Whether some block names its trials.
    named: bool,
}

impl Trials {
    /// The columns of every block of a notebook. Says which trials are set aside, and which of those do
    /// not exist.
    pub fn of(notebook: &Notebook, findings: &mut Vec<Finding>) -> Self {
        let mut trials = Trials::default();
        for block in &notebook.blocks {
            if let Some(names) = columns(block).and_then(|columns| columns.trials.as_ref()) {
                trials.named = true;
                names.iter().for_each(|name| trials.mention(&name.value));
            }
        }
        for block in notebook.blocks.iter().filter(|block| defines_columns(block)) {
            trials.number_columns(block);
        }
        for block in &notebook.blocks {
            for aside in columns(block).map_or(&[][..], |columns| &columns.set_aside) {
                trials.set_aside(aside, findings);
            }
        }
        trials
    }

    fn mention(&mut self, name: &str) {
        if self.index(name).is_none() {
            self.list.push(Trial::named(name));
        }
    }

    /// A block without names has columns 1, 2, … where no block names any.
    fn number_columns(&mut self, block: &Block) {
        let unnamed = columns(block).is_some_and(|columns| columns.trials.is_none());
        if unnamed && !self.named {
            (1..=most_cells(block)).for_each(|number| self.mention(&number.to_string()));
        }
    }

    fn set_aside(&mut self, aside: &SetAside, findings: &mut Vec<Finding>) {
        let name = &aside.trial.value;
        if let Some(index) = self.index(name) {
            self.list[index].set_aside = Some(aside.reason.clone());
            let reason = if aside.reason.is_empty() { "no reason is given" } else { &aside.reason };
            let message = format!("trial {name} is set aside: {reason}");
            findings.push(Finding::note(Code::SetAside, aside.trial.span, message));
            return;
        }
        let message = format!("there is no trial {name} to set aside");
        let finding = Finding::error(Code::UnknownTrial, aside.trial.span, message);
        findings.push(self.with_suggestion(finding, name));
    }

    /// Adds the names there are, and the one that may be meant.
    pub fn with_suggestion(&self, finding: Finding, name: &str) -> Finding {
        let names = || self.list.iter().map(|trial| trial.name.as_str());
        let known =
            if self.list.is_empty() { "none".to_string() } else { names().collect::<Vec<_>>().join(", ") };
        match nearest(name, names()) {
            Some(near) => finding.hint(format!("did you mean {near}?")),
            None => finding.hint(format!("the trials are: {known}")),
        }
    }

    /// The index of a column by its name; case counts only where two names differ by nothing else.
    pub fn index(&self, name: &str) -> Option<usize> {
        let exact = self.list.iter().position(|trial| trial.name == name);
        exact.or_else(|| self.list.iter().position(|trial| trial.name.to_lowercase() == name.to_lowercase()))
    }

    /// The column that a cell of a block belongs to, by the cell's position.
    pub fn column(&self, columns: &Columns, position: usize) -> Option<usize> {
        match &columns.trials {
            Some(names) => {
                let name = names.get(position)?.value.as_str();
                // Blocks mostly name all trials in one order.
                let same = self.list.get(position).is_some_and(|trial| trial.name == name);
                if same { Some(position) } else { self.index(name) }
            }
            None => (position < self.list.len()).then_some(position),
        }
    }

    /// All columns.
    pub fn list(&self) -> &[Trial] {
        &self.list
    }

    /// How many columns there are.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there is no column.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}

/// The columns of a block that has any.
pub(super) fn columns(block: &Block) -> Option<&Columns> {
    match &block.kind {
        BlockKind::Masses(masses) => Some(&masses.columns),
        BlockKind::Measured(measured) => Some(&measured.columns),
        BlockKind::Claimed(claimed) => Some(&claimed.columns),
        _ => None,
    }
}

/// Claimed values name trials, but their cells make no new ones.
fn defines_columns(block: &Block) -> bool {
    matches!(block.kind, BlockKind::Masses(_) | BlockKind::Measured(_))
}

fn most_cells(block: &Block) -> usize {
    let count = |cells: &Vec<Cell>| cells.len();
    let rows = |rows: &[QuantityRow]| rows.iter().map(|row| count(&row.cells)).max().unwrap_or(0);
    match &block.kind {
        BlockKind::Masses(masses) => {
            let cells = |row: &Row| if let Row::Load(row) = row { row.cells.len() } else { 0 };
            masses.rows.iter().map(cells).max().unwrap_or(0)
        }
        BlockKind::Measured(measured) => rows(&measured.rows),
        _ => 0,
    }
}
