//! Rules that a template and a notebook may both state: which stands, and what is said about it.

use super::aliases::Names;
use super::apply::Purpose;
use super::model::Template;
use crate::finding::{Code, Finding};
use crate::notebook::Notebook;
use crate::notebook::settings::{Balance, RepeatabilityLimit, Settings};
use crate::span::Span;

/// Puts the template's rules into the notebook's settings; their places are counted from `offset`.
pub(super) fn merge(
    notebook: &mut Notebook,
    template: &Template,
    purpose: Purpose,
    offset: usize,
    names: &Names,
) {
    let mut theirs = template.rules.clone();
    theirs.move_by(offset);
    for limit in &mut theirs.repeatability {
        limit.symbol.value = names.name(&limit.symbol.value).to_owned();
    }
    let mut merger = Merger { purpose, findings: Vec::new() };
    merger.all(&mut notebook.settings, theirs);
    notebook.findings.extend(merger.findings);
}

struct Merger {
    purpose: Purpose,
    findings: Vec<Finding>,
}

impl Merger {
    fn all(&mut self, own: &mut Settings, theirs: Settings) {
        let said = own.clone();
        let place = |key: &str| said.stated(key);
        let one = |key: &str| theirs.stated(key).is_some().then(|| (key.to_owned(), place(key)));
        let keys = ["digits", "rounding", "coverage", "second-order", "uncertainty", "guard-digit"];
        let [digits, rounding, coverage, second_order, uncertainty, guard_digit] = keys.map(one);
        self.one(digits, &mut own.digits, theirs.digits);
        self.one(rounding, &mut own.rounding, theirs.rounding);
        self.one(coverage, &mut own.coverage, theirs.coverage);
        self.one(second_order, &mut own.second_order, theirs.second_order);
        self.one(uncertainty, &mut own.uncertainty, theirs.uncertainty);
        self.one(guard_digit, &mut own.no_guard_digit, theirs.no_guard_digit);
        if let Some(form) = theirs.uncertainty_form {
            let same = own.uncertainty_form.as_ref().is_some_and(|own| own.value == form.value);
            if self.takes("uncertainty-form", place("uncertainty-form"), same) {
                own.uncertainty_form = Some(form);
            }
        }
        if let Some(rule) = theirs.constant_mass {
            let same = own.constant_mass.as_ref().is_some_and(|own| own.value == rule.value);
            let stated = place("constant-mass").filter(|_| own.constant_mass.is_some());
            if self.takes("constant-mass", stated, same) {
                own.constant_mass = Some(rule);
            }
        }
        if let Some(table) = theirs.atomic_weight_table {
            let same = own.atomic_weight_table.as_ref().is_some_and(|own| own.value == table.value);
            if self.takes("atomic-weights", place("atomic-weights"), same) {
                own.atomic_weight_table = Some(table);
            }
        }
        self.entries("atomic-weights", &mut own.atomic_weights, theirs.atomic_weights, |entry| {
            (entry.0.value.clone(), entry.0.span)
        });
        self.entries("molar-masses", &mut own.molar_masses, theirs.molar_masses, |entry| {
            (entry.0.value.clone(), entry.0.span)
        });
        self.entries("repeatability", &mut own.repeatability, theirs.repeatability, |limit| {
            (limit.symbol.value.clone(), limit.symbol.span)
        });
        self.entries("balance", &mut own.balances, theirs.balances, |balance: &Balance| {
            (balance.name.value.clone(), balance.name.span)
        });
    }

    /// A rule that the template states: its key, and where the notebook states it too.
    fn one<T: PartialEq>(&mut self, key: Option<(String, Option<Span>)>, own: &mut T, theirs: T) {
        let Some((key, stated)) = key else { return };
        if self.takes(&key, stated, *own == theirs) {
            *own = theirs;
        }
    }

    /// Whether the template's rule is taken; two rules that differ are said.
    fn takes(&mut self, key: &str, stated: Option<Span>, same: bool) -> bool {
        let Some(place) = stated else { return true };
        if !same {
            let used = match self.purpose {
                Purpose::Author => "the notebook's is used",
                Purpose::Review => "the template's is used",
            };
            let message = format!("notebook and template state `{key}` differently; {used}");
            self.findings.push(Finding::note(Code::RuleDiffers, place, message));
        }
        self.purpose == Purpose::Review
    }

    /// Rules that each have a name: what only one side states stands beside what the other does.
    fn entries<T: Same>(
        &mut self,
        key: &str,
        own: &mut Vec<T>,
        theirs: Vec<T>,
        name: impl Fn(&T) -> (String, Span),
    ) {
        for entry in theirs {
            let at = own.iter().position(|own| name(own).0 == name(&entry).0);
            match at {
                None => own.push(entry),
                Some(at) => {
                    let (label, place) = name(&own[at]);
                    if self.takes(&format!("{key}` of `{label}"), Some(place), own[at].same(&entry)) {
                        own[at] = entry;
                    }
                }
            }
        }
    }
}

/// Whether two rules say the same, wherever they stand.
trait Same {
    fn same(&self, other: &Self) -> bool;
}

impl<K, V: PartialEq> Same for (crate::span::Spanned<K>, V) {
    fn same(&self, other: &Self) -> bool {
        self.1 == other.1
    }
}

impl Same for RepeatabilityLimit {
    fn same(&self, other: &Self) -> bool {
        self.limit == other.limit && self.relative == other.relative
    }
}

impl Same for Balance {
    fn same(&self, other: &Self) -> bool {
        let place = self.name.span;
        let mut moved = other.clone();
        moved.name.span = place;
        *self == moved
    }
}
