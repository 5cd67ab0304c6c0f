//! Rules that a template and a notebook may both state: which stands, and what is said about it.

use super::aliases::{Names, folded};
use super::apply::Purpose;
use super::model::Template;
use crate::finding::{Code, Finding};
use crate::notebook::settings::{
    Balance, Buoyancy, DeclaredCorrelation, Limit, MethodRepeatability, RepeatabilityLimit, Settings, Stated,
};
use crate::notebook::{Notebook, thing_key};
use crate::quantity::Decimal;
use crate::span::{Span, Spanned};

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
    rename(&mut theirs, names);
    let mut merger = Merger { purpose, findings: Vec::new() };
    merger.all(&mut notebook.settings, theirs);
    notebook.findings.extend(merger.findings);
}

/// Puts the rules into the words of the notebook.
fn rename(rules: &mut Settings, names: &Names) {
    let symbols = rules.repeatability.iter_mut().map(|limit| &mut limit.symbol);
    let symbols = symbols.chain(rules.limits.iter_mut().map(|limit| &mut limit.of));
    let symbols = symbols.chain(rules.method_repeatability.iter_mut().map(|known| &mut known.symbol));
    let correlated = rules.correlations.iter_mut().flat_map(|correlation| &mut correlation.between);
    for symbol in symbols.chain(correlated) {
        symbol.value = names.name(&symbol.value).to_owned();
    }
    for (thing, _) in rules.buoyancy.iter_mut().flat_map(|buoyancy| &mut buoyancy.densities) {
        thing.value = names.thing(&thing.value);
    }
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
        if let Some(keys) = theirs.monte_carlo {
            let same = own.monte_carlo.as_ref() == Some(&keys);
            if self.takes("monte-carlo", place("monte-carlo"), same) {
                own.monte_carlo = Some(keys);
            }
        }
        self.buoyancy(own, theirs.buoyancy);
        self.entries("atomic-weights", &mut own.atomic_weights, theirs.atomic_weights);
        self.entries("molar-masses", &mut own.molar_masses, theirs.molar_masses);
        self.entries("repeatability", &mut own.repeatability, theirs.repeatability);
        self.entries("method-repeatability", &mut own.method_repeatability, theirs.method_repeatability);
        self.entries("limit", &mut own.limits, theirs.limits);
        self.entries("correlation", &mut own.correlations, theirs.correlations);
        self.entries("balance", &mut own.balances, theirs.balances);
    }

    /// The air is measured in the room, so what the notebook says of it stands; weights and densities are rules.
    fn buoyancy(&mut self, own: &mut Settings, theirs: Option<Buoyancy>) {
        let Some(theirs) = theirs else { return };
        let Some(own) = &mut own.buoyancy else {
            own.buoyancy = Some(theirs);
            return;
        };
        own.air = own.air.take().or(theirs.air);
        if let Some(weights) = theirs.weights {
            let stated = own.weights.as_ref().map(|weights| weights.span);
            let same = own.weights.as_ref().is_some_and(|own| same_value(own, &weights));
            if self.takes("buoyancy.weights", stated, same) {
                own.weights = Some(weights);
            }
        }
        self.entries("buoyancy.density", &mut own.densities, theirs.densities);
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
    fn entries<T: Named>(&mut self, key: &str, own: &mut Vec<T>, theirs: Vec<T>) {
        for entry in theirs {
            match own.iter_mut().find(|own| own.name() == entry.name()) {
                None => own.push(entry),
                Some(stated) => {
                    let rule = format!("{key}` of `{}", stated.name());
                    if self.takes(&rule, Some(stated.place()), stated.same(&entry)) {
                        *stated = entry;
                    }
                }
            }
        }
    }
}

/// A rule that has a name: two of one name are compared, wherever they stand.
trait Named {
    fn name(&self) -> String;
    fn place(&self) -> Span;
    fn same(&self, other: &Self) -> bool;
}

impl Named for (Spanned<String>, Decimal) {
    fn name(&self) -> String {
        self.0.value.clone()
    }

    fn place(&self) -> Span {
        self.0.span
    }

    fn same(&self, other: &Self) -> bool {
        self.1 == other.1
    }
}

/// The density of a thing.
impl Named for (Spanned<String>, Stated) {
    fn name(&self) -> String {
        thing_key(&self.0.value)
    }

    fn place(&self) -> Span {
        self.0.span
    }

    fn same(&self, other: &Self) -> bool {
        same_value(&self.1, &other.1)
    }
}

fn same_value(one: &Stated, other: &Stated) -> bool {
    (&one.decimal, &one.unit, &one.uncertainty) == (&other.decimal, &other.unit, &other.uncertainty)
}

impl Named for RepeatabilityLimit {
    fn name(&self) -> String {
        folded(&self.symbol.value)
    }

    fn place(&self) -> Span {
        self.symbol.span
    }

    fn same(&self, other: &Self) -> bool {
        self.limit == other.limit && self.relative == other.relative
    }
}

impl Named for MethodRepeatability {
    fn name(&self) -> String {
        folded(&self.symbol.value)
    }

    fn place(&self) -> Span {
        self.symbol.span
    }

    fn same(&self, other: &Self) -> bool {
        self.known == other.known
    }
}

impl Named for Limit {
    fn name(&self) -> String {
        folded(&self.of.value)
    }

    fn place(&self) -> Span {
        self.of.span
    }

    fn same(&self, other: &Self) -> bool {
        (&self.at_most, &self.at_least, self.decision) == (&other.at_most, &other.at_least, other.decision)
    }
}

/// Named by all it is between, in any order.
impl Named for DeclaredCorrelation {
    fn name(&self) -> String {
        let mut between: Vec<String> = self.between.iter().map(|symbol| folded(&symbol.value)).collect();
        between.sort();
        between.join(", ")
    }

    fn place(&self) -> Span {
        self.coefficient.span
    }

    fn same(&self, other: &Self) -> bool {
        self.coefficient.value == other.coefficient.value
    }
}

impl Named for Balance {
    fn name(&self) -> String {
        self.name.value.clone()
    }

    fn place(&self) -> Span {
        self.name.span
    }

    fn same(&self, other: &Self) -> bool {
        let mut moved = other.clone();
        moved.name.span = self.name.span;
        *self == moved
    }
}
