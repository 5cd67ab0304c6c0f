//! How a value comes about, down to the readings, and what rests on a reading.
//!
//! The derivation graph is written out as formulas: every named value (`w(water)` of a trial, a mean, a theory) is one
//! [`Step`], with symbols and with numbers put in; what has no name of its own is written into the formula it
//! stands in. A formula is a [`Tree`], so that it can be set as mathematics and read out as text.
//!
//! Only values that the results show have a name here: what a template does not reveal is not named.

use super::figures::{self, Figure};
use super::numbers::Numbers;
use crate::Computed;
use crate::evaluation::results::{AgreementResult, Outcome, QuantityResult, Results};
use crate::evaluation::spread::with_all;
use crate::notebook::Notebook;
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Number, Unit};
use crate::review::equal_nodes;
use crate::span::Lines;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap, HashSet};

/// Most steps that are written out.
const MOST_STEPS: usize = 400;

/// A formula.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Tree {
    /// A symbol or a number with its unit.
    Word(String),
    /// A sum; each term with whether it is taken away.
    Sum(Vec<(bool, Tree)>),
    /// A product.
    Product(Vec<Tree>),
    /// A fraction.
    Fraction(Box<Tree>, Box<Tree>),
    /// A power.
    Power(Box<Tree>, String),
    /// A function of some values (`mean`, `ln`).
    Function(&'static str, Vec<Tree>),
}

impl Tree {
    /// The formula on one line.
    pub fn text(&self) -> String {
        let bracketed = |tree: &Tree| match tree {
            Tree::Word(_) | Tree::Function(..) => tree.text(),
            _ => format!("({})", tree.text()),
        };
        match self {
            Tree::Word(word) => word.clone(),
            Tree::Sum(terms) => {
                let term = |(index, (minus, tree)): (usize, &(bool, Tree))| {
                    let text = if matches!(tree, Tree::Sum(_)) { bracketed(tree) } else { tree.text() };
                    match (index, minus) {
                        (0, false) => text,
                        (0, true) => format!("−{text}"),
                        (_, false) => format!(" + {text}"),
                        (_, true) => format!(" − {text}"),
                    }
                };
                terms.iter().enumerate().map(term).collect()
            }
            Tree::Product(factors) => factors.iter().map(bracketed).collect::<Vec<_>>().join(" × "),
            Tree::Fraction(over, under) => format!("{} / {}", bracketed(over), bracketed(under)),
            Tree::Power(base, power) => format!("{}^{power}", bracketed(base)),
            Tree::Function(name, of) => {
                format!("{name}({})", of.iter().map(Tree::text).collect::<Vec<_>>().join("; "))
            }
        }
    }
}

/// One named value with the formula it follows by.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// What it is called here ([`Names`]).
    pub key: String,
    /// The same for people: `w(water), trial A`.
    pub name: String,
    /// Its symbol.
    pub symbol: String,
    /// The formula with symbols; `None` for a reading and whatever else was written down.
    pub formula: Option<Tree>,
    /// The formula with numbers put in.
    pub numbers: Option<Tree>,
    /// The formula as text, symbols and numbers.
    pub text: String,
    /// The value with its unit, as the report prints it.
    pub value: String,
    /// The line of the notebook it stands on, where it was written down.
    pub line: Option<usize>,
}

/// A value that rests on a reading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Resting {
    /// What it is called here.
    pub key: String,
    /// The same for people.
    pub name: String,
    /// The value with its unit.
    pub value: String,
}

/// What a node is.
#[derive(Clone, Debug, PartialEq)]
pub struct Name {
    /// What the page calls it, the same from one version of the notebook to the next.
    pub key: String,
    /// For people.
    pub name: String,
    /// In a formula.
    pub symbol: String,
    /// As the report prints it, with its unit.
    pub value: String,
    /// The unit it is shown in.
    unit: Unit,
    /// Whether it was written down: a reading or a measured quantity.
    pub is_leaf: bool,
    /// The line of the notebook it stands on.
    pub line: Option<usize>,
}

/// The names of the nodes of a notebook's results.
pub struct Names<'a> {
    results: &'a Results,
    numbers: Numbers<'a>,
    /// For every node the first one of the same value: a mean in the prose is that of the table.
    same_as: Vec<NodeId>,
    named: HashMap<NodeId, Name>,
    by_key: BTreeMap<String, NodeId>,
    order: Vec<NodeId>,
    /// Figures by their names, which are their keys.
    figures: BTreeMap<String, Figure>,
}

impl<'a> Names<'a> {
    /// Names everything that the results show.
    pub fn of(computed: &'a Computed) -> Self {
        let results = &computed.results;
        let mut names = Names {
            results,
            numbers: Numbers::of(results),
            same_as: equal_nodes(results),
            named: HashMap::new(),
            by_key: BTreeMap::new(),
            order: Vec::new(),
            figures: BTreeMap::new(),
        };
        names.name_readings(&computed.notebook.text);
        for quantity in &results.quantities {
            names.name_quantity(quantity);
        }
        names.name_inline(&computed.notebook);
        names.figures = figures::all(results, &names.numbers);
        names
    }

    /// The first node of the same value.
    fn first(&self, node: NodeId) -> NodeId {
        self.same_as.get(node.0 as usize).copied().unwrap_or(node)
    }

    /// What a node is called.
    pub fn name(&self, node: NodeId) -> Option<&Name> {
        self.named.get(&self.first(node))
    }

    /// A figure by its name.
    pub fn figure(&self, name: &str) -> Option<&Figure> {
        self.figures.get(name)
    }

    /// The node of a key.
    pub fn node(&self, key: &str) -> Option<NodeId> {
        self.by_key.get(key).copied()
    }

    fn add(&mut self, node: NodeId, name: Name) {
        let node = self.first(node);
        self.by_key.entry(name.key.clone()).or_insert(node);
        if let std::collections::hash_map::Entry::Vacant(free) = self.named.entry(node) {
            free.insert(name);
            self.order.push(node);
        }
    }

    fn trial(&self, index: usize) -> &str {
        self.results.trials.get(index).map_or("", |trial| trial.name.as_str())
    }

    fn name_readings(&mut self, text: &str) {
        let lines = Lines::of(text);
        let results = self.results;
        let mut seen: HashMap<String, usize> = HashMap::new();
        for series in &results.series {
            for row in &series.rows {
                let label = row_label(&series.load, &row.treatment);
                let nth = *seen.entry(label.clone()).and_modify(|count| *count += 1).or_insert(0);
                for (index, cell) in row.readings.iter().enumerate() {
                    let (Some(node), Some(written)) = (cell.node, &cell.written) else { continue };
                    let unit = cell.unit.as_ref().unwrap_or(&series.unit);
                    let trial = self.trial(index).to_owned();
                    let line = lines.place(text, row.span.start).0;
                    self.add(
                        node,
                        Name {
                            key: reading_key(&label, nth, &trial),
                            name: format!("{label}, trial {trial}"),
                            symbol: format!("m({label})"),
                            value: self.numbers.written(written, unit),
                            unit: unit.clone(),
                            is_leaf: true,
                            line: Some(line),
                        },
                    );
                }
            }
        }
    }

    fn name_mean(&mut self, agreement: &AgreementResult, unit: &Unit, symbol: &str) {
        let value = self.numbers.with_unit(&agreement.mean.printed, unit);
        let name = format!("mean {symbol}");
        self.add(agreement.mean_node, self.computed(name.clone(), name.clone(), name, value, unit));
    }

    fn name_quantity(&mut self, quantity: &QuantityResult) {
        let symbol = quantity.symbol.as_str();
        for (index, outcome) in quantity.trials.iter().enumerate() {
            let trial = self.trial(index).to_owned();
            self.name_outcome(
                outcome,
                quantity,
                &format!("{symbol}|{trial}"),
                &format!("{symbol}, trial {trial}"),
            );
        }
        if let Some(outcome) = &quantity.scalar {
            self.name_outcome(outcome, quantity, symbol, symbol);
        }
        if let Some(agreement) = &quantity.agreement {
            self.name_mean(agreement, &quantity.unit, symbol);
        }
        if let Some(agreement) = &quantity.agreement_with_all {
            self.name_mean(agreement, &quantity.unit, &with_all(symbol));
        }
        let theory = quantity.theory.iter();
        for (index, outcome) in
            theory.flat_map(|theory| theory.scalar.iter().chain(&theory.trials)).enumerate()
        {
            let key =
                if index == 0 { format!("theory {symbol}") } else { format!("theory {symbol}|{index}") };
            self.name_outcome(outcome, quantity, &key, &format!("theory {symbol}"));
        }
    }

    fn name_outcome(&mut self, outcome: &Outcome, quantity: &QuantityResult, key: &str, name: &str) {
        let Some(value) = outcome.value() else { return };
        let printed = self.numbers.with_unit(&value.printed, &quantity.unit);
        let symbol = if key.starts_with("theory ") { name } else { quantity.symbol.as_str() };
        let named =
            self.computed(key.to_owned(), name.to_owned(), symbol.to_owned(), printed, &quantity.unit);
        let is_leaf = self.results.graph.node(value.node).inputs.is_empty();
        self.add(value.node, Name { is_leaf, ..named });
    }

    /// Formulas of the prose that have no other name are called as they are written.
    fn name_inline(&mut self, notebook: &Notebook) {
        let results = self.results;
        for (inline, result) in notebook.inline.iter().zip(&results.inline) {
            let written = inline.span.text(&notebook.text).trim_matches(['{', '}']).trim();
            for value in &result.values {
                let Some(node) = value.node else { continue };
                let unit = Unit::parse(&value.unit).unwrap_or_else(|_| Unit::one());
                let printed = self.numbers.with_unit(&value.printed, &unit);
                let trial = value.trial.as_ref();
                let key = trial.map_or(written.to_owned(), |trial| format!("{written}|{trial}"));
                let name = trial.map_or(written.to_owned(), |trial| format!("{written}, trial {trial}"));
                self.add(node, self.computed(key, name, written.to_owned(), printed, &unit));
            }
        }
    }

    fn computed(&self, key: String, name: String, symbol: String, value: String, unit: &Unit) -> Name {
        Name { key, name, symbol, value, unit: unit.clone(), is_leaf: false, line: None }
    }

    /// How a value comes about: itself first, then what it rests on, readings last.
    pub fn derivation(&self, key: &str) -> Vec<Step> {
        let mut steps: Vec<(bool, Step)> = Vec::new();
        let mut wanted = match (self.node(key), self.figure(key)) {
            (Some(node), _) => vec![self.first(node)],
            (None, Some(figure)) => {
                steps.push((false, self.figure_step(figure)));
                figure.inputs.iter().map(|input| self.first(*input)).collect()
            }
            (None, None) => return Vec::new(),
        };
        let mut seen: HashSet<NodeId> = wanted.iter().copied().collect();
        let mut at = 0;
        while let Some(node) = wanted.get(at).copied().filter(|_| steps.len() < MOST_STEPS) {
            at += 1;
            let Some(name) = self.name(node) else { continue };
            steps.push((name.is_leaf, self.step(node, name)));
            for input in self.named_below(node) {
                if seen.insert(input) {
                    wanted.push(input);
                }
            }
        }
        steps.sort_by_key(|(is_leaf, _)| *is_leaf);
        steps.into_iter().map(|(_, step)| step).collect()
    }

    /// The values that rest on a node, in the order of the results.
    pub fn resting_on(&self, key: &str) -> Vec<Resting> {
        let Some(node) = self.node(key).map(|node| self.first(node)) else { return Vec::new() };
        let rests = self.above(node);
        let resting = self.order.iter().filter(|other| **other != node && rests.contains(*other));
        resting
            .filter_map(|other| self.name(*other))
            .map(|name| Resting { key: name.key.clone(), name: name.name.clone(), value: name.value.clone() })
            .collect()
    }

    /// The names of the figures that rest on a node.
    pub fn figures_on(&self, key: &str) -> Vec<&str> {
        let Some(node) = self.node(key).map(|node| self.first(node)) else { return Vec::new() };
        let above = self.above(node);
        let rests = |figure: &&Figure| figure.inputs.iter().any(|input| above.contains(&self.first(*input)));
        self.figures.values().filter(rests).map(|figure| figure.name.as_str()).collect()
    }

    /// Every node that was computed from one.
    fn above(&self, node: NodeId) -> HashSet<NodeId> {
        let mut above = HashSet::from([node]);
        for (id, other) in self.results.graph.nodes() {
            let first = self.first(id);
            if above.contains(&first) || other.inputs.iter().any(|input| above.contains(input)) {
                above.extend([id, first]);
            }
        }
        above
    }

    /// The named values that a formula puts in.
    fn named_below(&self, node: NodeId) -> Vec<NodeId> {
        let mut found = Vec::new();
        let mut open: Vec<NodeId> = self.inputs(node);
        let mut seen = HashSet::new();
        open.reverse();
        while let Some(next) = open.pop() {
            let next = self.first(next);
            if !seen.insert(next) {
                continue;
            }
            if self.name(next).is_some() {
                found.push(next);
            } else {
                open.extend(self.inputs(next).into_iter().rev());
            }
        }
        found
    }

    fn inputs(&self, node: NodeId) -> Vec<NodeId> {
        self.results.graph.node(node).inputs.to_vec()
    }

    fn figure_step(&self, figure: &Figure) -> Step {
        let side = |numbers| figure.formula.tree(&|node| self.part(node, numbers, 0));
        let (formula, numbers) = (side(false), side(true));
        let text = [figure.name.clone(), formula.text(), numbers.text(), figure.value.clone()].join(" = ");
        Step {
            key: figure.name.clone(),
            name: figure.name.clone(),
            symbol: figure.name.clone(),
            formula: Some(formula),
            numbers: Some(numbers),
            text,
            value: figure.value.clone(),
            line: None,
        }
    }

    fn step(&self, node: NodeId, name: &Name) -> Step {
        let written_out = !name.is_leaf && !self.inputs(node).is_empty();
        let formula = written_out.then(|| self.tree(node, false, 0));
        let numbers = written_out.then(|| self.tree(node, true, 0));
        let parts =
            [Some(name.symbol.clone()), formula.as_ref().map(Tree::text), numbers.as_ref().map(Tree::text)];
        let text: Vec<String> = parts.into_iter().flatten().chain([name.value.clone()]).collect();
        Step {
            key: name.key.clone(),
            name: name.name.clone(),
            symbol: name.symbol.clone(),
            formula,
            numbers,
            text: text.join(" = "),
            value: name.value.clone(),
            line: name.line,
        }
    }

    /// The formula of a node, with symbols or with numbers.
    fn tree(&self, node: NodeId, numbers: bool, depth: usize) -> Tree {
        let inner = &self.results.graph.node(node);
        let input = |at: usize| {
            inner.inputs.get(at).map_or(Tree::Word("–".into()), |id| self.part(*id, numbers, depth))
        };
        let all = || inner.inputs.iter().map(|id| self.part(*id, numbers, depth)).collect::<Vec<_>>();
        match &inner.operation {
            Operation::Combination(coefficients) => {
                self.combination(coefficients, &inner.inputs, numbers, depth)
            }
            Operation::Add => Tree::Sum(vec![(false, input(0)), (false, input(1))]),
            Operation::Subtract => Tree::Sum(vec![(false, input(0)), (true, input(1))]),
            Operation::Multiply => Tree::Product(all()),
            Operation::Divide => Tree::Fraction(Box::new(input(0)), Box::new(input(1))),
            Operation::Mean if inner.inputs.len() == 1 => input(0),
            Operation::Negate => Tree::Sum(vec![(true, input(0))]),
            Operation::Power(power) => Tree::Power(Box::new(input(0)), power.to_string()),
            other => Tree::Function(function(other), all()),
        }
    }

    /// An input: by its name where it has one, as its value where it was written down, else written out.
    fn part(&self, node: NodeId, numbers: bool, depth: usize) -> Tree {
        let inner = self.results.graph.node(node);
        match (self.name(node), numbers) {
            (Some(name), false) => Tree::Word(name.symbol.clone()),
            (Some(name), true) if name.is_leaf => Tree::Word(name.value.clone()),
            (Some(name), true) => Tree::Word(self.numbers.guarded(node, &name.unit)),
            (None, _) if inner.inputs.is_empty() => Tree::Word(self.leaf(node, numbers)),
            (None, _) if depth > 40 => Tree::Word(self.own_value(node)),
            (None, _) => self.tree(node, numbers, depth + 1),
        }
    }

    fn leaf(&self, node: NodeId, numbers: bool) -> String {
        match &self.results.graph.node(node).operation {
            Operation::MolarMass(formula) if !numbers => format!("M({formula})"),
            Operation::Stoichiometry(text) if !numbers => text.clone(),
            Operation::Constant(name) if !numbers => (*name).to_owned(),
            Operation::Measured { symbol, .. } if !numbers => symbol.clone(),
            Operation::MolarMass(_) => self.numbers.in_unit(node, "g/mol"),
            _ => self.own_value(node),
        }
    }

    fn own_value(&self, node: NodeId) -> String {
        let dimension = self.results.graph.quantity(node).dimension;
        self.numbers.guarded(node, &Unit::from_base(dimension))
    }

    fn combination(&self, coefficients: &[Number], inputs: &[NodeId], numbers: bool, depth: usize) -> Tree {
        let term = |(coefficient, input): (&Number, &NodeId)| {
            let part = self.part(*input, numbers, depth);
            let size = coefficient.abs();
            let part = match size == Number::one() {
                true => part,
                false => Tree::Product(vec![Tree::Word(size.to_figures(6)), part]),
            };
            (coefficient.is_negative(), part)
        };
        let mut terms: Vec<(bool, Tree)> = coefficients.iter().zip(inputs).map(term).collect();
        // What is added comes first, as one writes it.
        terms.sort_by_key(|(minus, _)| *minus);
        Tree::Sum(terms)
    }
}

/// The label of a line of readings as the results have it.
pub(super) fn row_label(load: &str, treatment: &str) -> String {
    if treatment.is_empty() { load.to_owned() } else { format!("{load}, {treatment}") }
}

/// What a reading is called.
pub(super) fn reading_key(label: &str, nth: usize, trial: &str) -> String {
    format!("reading {label}|{nth}|{trial}")
}

fn function(operation: &Operation) -> &'static str {
    match operation {
        Operation::Mean => "mean",
        Operation::StandardDeviation => "s",
        Operation::Range => "range",
        Operation::AverageDeviation => "average deviation",
        Operation::Magnitude => "abs",
        Operation::Minimum => "min",
        Operation::Maximum => "max",
        Operation::SquareRoot => "√",
        Operation::NaturalLogarithm => "ln",
        Operation::DecimalLogarithm => "log10",
        Operation::Exponential => "exp",
        _ => "power",
    }
}
