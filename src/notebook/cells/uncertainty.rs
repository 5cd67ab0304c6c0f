//! `± 0.05 mL rectangular (calibration)` behind a value, also several.

use super::super::blocks::{Cell, Uncertainty, UncertaintyKind};
use super::super::passage::Passage;
use super::{CellKind, Reader, plain_number_length};
use crate::finding::{Code, nearest};
use crate::quantity::{Decimal, Unit};

/// The kinds of uncertainty that are one word.
const KINDS: [&str; 4] = ["rectangular", "triangular", "arcsine", "normal"];
/// What may be said of one with a number behind `=`.
const NUMBERS: [&str; 3] = ["k", "n", "dof"];
/// Most of them behind one value.
const MOST: usize = 20;
/// Most observations behind one value.
const MOST_OBSERVATIONS: f64 = 1e6;

/// What stands behind the number of an uncertainty.
#[derive(Default)]
struct Said {
    word: Option<UncertaintyKind>,
    k: Option<Decimal>,
    n: Option<Decimal>,
    dof: Option<Decimal>,
    label: Option<String>,
    /// Whether something could not be read; a finding has said so.
    faulty: bool,
}

impl Reader<'_, '_> {
    /// Every `± …` behind a value.
    pub(super) fn uncertainty(&mut self, cell: &mut Cell) {
        while self.one_uncertainty(cell) {}
    }

    /// Whether there was one.
    fn one_uncertainty(&mut self, cell: &mut Cell) -> bool {
        let before = self.at;
        self.next();
        let from = self.at;
        let sign = ["±", "+/-", "+-"].into_iter().find(|sign| self.starts_with(sign));
        let Some(sign) = sign else {
            self.at = before;
            return false;
        };
        let sign = self.take(sign.len());
        self.next();
        if !self.number_ahead() {
            let message = format!("no number after `{}`", sign.text);
            self.error(Code::BadReading, sign.span(), message, "write `± 0.05 mL`");
            return false;
        }
        let written = self.take(plain_number_length(self.rest().text));
        let Some(value) = self.decimal(written, "the uncertainty") else { return false };
        let (unit, known) = self.uncertainty_unit();
        let said = self.said();
        let span = self.line.place(from..self.at);
        if self.kind == CellKind::Reading {
            let hint = "state the balance's repeatability under `[balance.NAME]` of the `experiment` block";
            self.error(Code::BadReading, span, "a reading takes no `±`", hint);
            return true;
        }
        match said.kind() {
            Ok((kind, degrees_of_freedom)) if known && !said.faulty && cell.uncertainty.len() < MOST => {
                let label = said.label;
                let uncertainty =
                    Uncertainty { value, unit, kind, degrees_of_freedom, label, shared: false, span };
                cell.uncertainty.push(uncertainty);
            }
            Err(problem) if !said.faulty => {
                let hint = "write `± 0.05 mL rectangular`, `± 0.05 mL k = 2` or `± 0.05 mL n = 5`";
                self.error(Code::BadReading, span, problem, hint);
            }
            _ => {}
        }
        true
    }

    /// The unit of an uncertainty, unless the word is about it; and whether it can be used.
    fn uncertainty_unit(&mut self) -> (Option<Unit>, bool) {
        let before = self.at;
        self.next();
        let word = self.rest().before(self.unit_length());
        let about = nearest(word.text, KINDS).is_some() || NUMBERS.contains(&word.text);
        if word.text.is_empty() || about || self.is_next_cell(word) {
            self.at = before;
            return (None, true);
        }
        self.take(word.text.len());
        let unit = self.fitting_unit(word);
        let known = unit.is_some();
        (unit, known)
    }

    /// The words behind an uncertainty, in any order.
    fn said(&mut self) -> Said {
        let mut said = Said::default();
        loop {
            let before = self.at;
            if self.next() == Some('(') && said.label.is_none() {
                said.label = self.label();
                if said.label.is_some() {
                    continue;
                }
            }
            let word = self.rest().before(self.unit_length());
            let after = self.rest().text.get(word.text.len()..).unwrap_or("").trim_start();
            match word.text {
                "k" | "n" | "dof" if after.starts_with('=') => self.number_behind(word, &mut said),
                "k" => {
                    self.take(1);
                    said.faulty = true;
                    self.error(Code::BadReading, word.span(), "`k` without a number", "write `k = 2`");
                }
                text if said.word.is_none() && KINDS.contains(&text) => {
                    self.take(text.len());
                    said.word = Some(kind_of(text));
                }
                text if said.word.is_none() && nearest(text, KINDS).is_some() => {
                    said.faulty = true;
                    self.misspelt(word);
                }
                _ => {
                    self.at = before;
                    return said;
                }
            }
        }
    }

    /// `(calibration)`
    fn label(&mut self) -> Option<String> {
        let close = self.rest().text.find(')')?;
        let label = self.take(close + 1).slice(1..close).trim().text.to_owned();
        (!label.is_empty()).then_some(label)
    }

    /// A word that is no kind of uncertainty.
    fn misspelt(&mut self, word: Passage) {
        let Some(meant) = nearest(word.text, KINDS) else { return };
        self.take(word.text.len());
        let message = format!("`{}` is no kind of uncertainty", word.text);
        self.error(Code::BadReading, word.span(), message, &format!("did you mean `{meant}`?"));
    }

    /// `k = 2`, `n = 5`, `dof = 9`
    fn number_behind(&mut self, word: Passage, said: &mut Said) {
        self.take(word.text.len());
        self.next();
        self.take(1);
        self.next();
        let written = self.take(plain_number_length(self.rest().text));
        let number = self.decimal(written, "a number such as in `k = 2`");
        said.faulty |= number.is_none();
        match word.text {
            "k" => said.k = number,
            "n" => said.n = number,
            _ => said.dof = number,
        }
    }
}

fn kind_of(word: &str) -> UncertaintyKind {
    match word {
        "triangular" => UncertaintyKind::Triangular,
        "arcsine" => UncertaintyKind::Arcsine,
        "normal" => UncertaintyKind::Normal,
        _ => UncertaintyKind::Rectangular,
    }
}

impl Said {
    /// What the number means, with its degrees of freedom; half-width limits where nothing is said.
    fn kind(&self) -> Result<(UncertaintyKind, Option<f64>), String> {
        let dof = self.dof.as_ref().map(above_zero("degrees of freedom")).transpose()?;
        let kind = match (&self.word, &self.k, &self.n) {
            (None | Some(UncertaintyKind::Normal), Some(k), None) => {
                above_zero("a coverage factor")(k)?;
                UncertaintyKind::Expanded(k.clone())
            }
            (None | Some(UncertaintyKind::Normal), None, Some(n)) => observations(n, dof)?,
            (word, None, None) => word.clone().unwrap_or(UncertaintyKind::Rectangular),
            (_, Some(_), Some(_)) => return Err("an uncertainty with both `k` and `n`".to_owned()),
            _ => return Err("limits with a coverage factor or a number of observations".to_owned()),
        };
        Ok((kind, dof))
    }
}

fn above_zero(what: &'static str) -> impl Fn(&Decimal) -> Result<f64, String> {
    move |number| {
        let value = number.to_number().to_f64();
        let usable = value.is_finite() && value > 0.0;
        usable.then_some(value).ok_or_else(|| format!("{what} of {number}; expected more than 0"))
    }
}

/// A standard deviation needs two observations, unless its degrees of freedom come from elsewhere (pooled s).
fn observations(n: &Decimal, dof: Option<f64>) -> Result<UncertaintyKind, String> {
    let number = n.to_number().to_i64().filter(|n| (*n as f64) <= MOST_OBSERVATIONS);
    let fewest = if dof.is_some() { 1 } else { 2 };
    match number.and_then(|n| u32::try_from(n).ok()) {
        Some(n) if n >= fewest => Ok(UncertaintyKind::Observations(n)),
        _ => Err(format!("a standard deviation of {n} observations; expected a whole number from {fewest}")),
    }
}
