//! Formulas, per trial: each operation adds a node to the derivation graph.
//!
//! An operation that has no result in some trial is a finding once, at its place, and the value is missing
//! in that trial with the reason. Blanks are computed silently: only `blank(…)` asks for them.

use super::limiting::{self, Yielding};
use super::masses::{Masses, missing_readings, shown};
use super::mixture::{self, Solved};
use super::picked::Picks;
use super::printer::Printer;
use super::reactions::{NamedReaction, Reactions};
use super::results::{BuoyancyResult, FormulaFound, ReactionResult, WholeNumberResult, YieldResult};
use super::scope::{Scope, Share, Side};
use super::sought;
use super::tabulated::Tabulated;
use super::uncertainty::{Input, Inputs, Source};
use super::{Slot, Value};
use crate::finding::{Code, Finding, nearest};
use crate::notebook::Notebook;
use crate::notebook::blocks::Definition;
use crate::notebook::expression::{
    BinaryOperator, Constant, Expression, ExpressionKind, Function, Symbol, Word,
};
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Decimal, Number, NumberError, Quantity, QuantityError, Unit};
use crate::span::{Span, Spanned};
use crate::statistics::Distribution;
use crate::weighing::{Load, Trials};
use hashbrown::HashSet;
use smallvec::SmallVec;
use std::sync::Arc;

/// Works out formulas against the names of a notebook.
pub(super) struct Calculator<'a, 'n> {
    pub(super) notebook: &'n Notebook,
    pub(super) trials: &'n Trials,
    pub(super) scope: &'n Scope<'n>,
    /// Whether what only a report and the results file show is worked out: uncertainties beside values, tests against
    /// theory, printed values in the prose, the worked calculation. A review shows none of it.
    pub(super) in_full: bool,
    pub(super) masses: &'a mut Masses<'n>,
    pub(super) graph: &'a mut Graph,
    pub(super) findings: &'a mut Vec<Finding>,
    tabulated: Tabulated,
    /// What is uncertain, and by how much.
    pub(super) inputs: Inputs,
    /// The formulas found so far.
    pub(super) formulas: Vec<FormulaFound>,
    /// What is said of whole numbers so far.
    pub(super) whole_numbers: Vec<WholeNumberResult>,
    /// The theoretical yields so far.
    yields: Vec<Yielding>,
    /// The mixtures solved so far.
    mixtures: Vec<Option<Solved>>,
    /// Values of the groups of the scope.
    pub(super) values: Vec<Option<Value>>,
    /// Values of measured rows.
    pub(super) measured: Vec<Value>,
    /// Groups of a net mass whose value is the readings' own.
    pub(super) net_mass_groups: Vec<bool>,
    /// The values that formulas picked from one trial.
    pub(super) picks: Picks,
    reported: HashSet<(Span, Code)>,
}

impl<'a, 'n> Calculator<'a, 'n> {
    pub(super) fn new(
        notebook: &'n Notebook,
        trials: &'n Trials,
        scope: &'n Scope<'n>,
        masses: &'a mut Masses<'n>,
        graph: &'a mut Graph,
        findings: &'a mut Vec<Finding>,
    ) -> Self {
        let reactions = Reactions::of(notebook, findings);
        let tabulated = Tabulated::of(&notebook.settings, reactions, findings);
        let groups = scope.groups.len();
        let mut inputs = Inputs::default();
        super::readings::uncertain(masses, graph, &mut inputs);
        masses.buoyancy.iter().for_each(|correction| correction.uncertain(&mut inputs));
        Calculator {
            notebook,
            trials,
            scope,
            in_full: true,
            masses,
            graph,
            findings,
            tabulated,
            inputs,
            formulas: Vec::new(),
            yields: Vec::new(),
            whole_numbers: Vec::new(),
            mixtures: vec![None; scope.mixtures.len()],
            values: vec![None; groups],
            measured: Vec::new(),
            net_mass_groups: vec![false; groups],
            picks: Picks::default(),
            reported: HashSet::new(),
        }
    }

    /// The name of the atomic-weight table in force.
    pub(super) fn table_name(&self) -> String {
        self.tabulated.name()
    }

    /// The equations, balanced.
    pub(super) fn reactions(&self) -> Vec<ReactionResult> {
        self.tabulated.reactions.results()
    }

    /// What the correction for air buoyancy was, where it was made.
    pub(super) fn buoyancy_result(&self) -> Option<BuoyancyResult> {
        let correction = self.masses.buoyancy.as_ref()?;
        correction.result(&self.notebook.settings, &self.inputs, self.graph)
    }

    /// Works out every measured row and every group, each after what it needs.
    pub(super) fn run(&mut self) {
        for index in 0..self.scope.measured.len() {
            let value = self.measured_row(index);
            self.against_weighings(index, &value);
            self.measured.push(value);
        }
        super::correlations::declare(self);
        for group in self.scope.order.clone() {
            let value = self.group(group);
            self.values[group] = Some(value);
        }
    }

    fn group(&mut self, index: usize) -> Value {
        let group = &self.scope.groups[index];
        if self.scope.cyclic[index] {
            return Value::missing("its formula needs itself");
        }
        if let Some(share) = group.mixture {
            let value = self.share(share, group.place);
            return self.beside_mixture(index, value);
        }
        let single = group.definitions.iter().find_map(|line| parts_of(line));
        if let (Some(again), Some(_)) = (group.definitions.get(1), single) {
            let message = format!("{} stands on two lines; the first one is used", group.symbol);
            let finding = Finding::error(Code::DefinedTwice, again.symbol.span, message);
            self.report(finding.label(group.place, "first here").hint("give the second one another name"));
        }
        if let Some(line) = group.definitions.first().copied()
            && let Some(parts) = parts_of(line)
        {
            return self.of_parts(line, parts, group.side);
        }
        let definitions = group.definitions.clone();
        let values: Vec<Value> = definitions.iter().map(|line| self.definition(line, group.side)).collect();
        let value = self.one_of(&definitions, values);
        let value = self.beside_measured(index, value);
        let group = &self.scope.groups[index];
        match self.net_mass_of(&group.symbol) {
            Some(weighed) if group.side == Side::Working => self.against_readings(index, value, weighed),
            _ => value,
        }
    }

    /// A line of parts with their amounts: a formula sought, or a theoretical yield.
    fn of_parts(&mut self, line: &Definition, parts: &[(Spanned<String>, Expression)], side: Side) -> Value {
        if line.symbol.value.name == "yield" {
            let (value, yielding) = limiting::theoretical_yield(line, parts, side, self);
            self.yields.extend(yielding);
            if let Some(unit) = &line.unit {
                self.check_unit(&value, unit);
            }
            return value;
        }
        let result = sought::formula(line, parts, side, self);
        self.formulas.extend(result);
        Value::missing("a formula is no number")
    }

    /// The equations of the notebook.
    pub(super) fn reaction_list(&self) -> &[NamedReaction] {
        &self.tabulated.reactions.list
    }

    /// The yields as the results show them.
    pub(super) fn yields(&mut self) -> Vec<YieldResult> {
        let yields = self.yields.clone();
        yields.iter().map(|yielding| limiting::result(yielding, self)).collect()
    }

    /// The yield of a symbol.
    pub(super) fn yielding(&self, symbol: &str) -> Option<&Yielding> {
        self.yields.iter().find(|yielding| yielding.symbol == symbol)
    }

    /// A formula as it was written.
    pub(super) fn text_of(&self, expression: &Expression) -> &'n str {
        expression.span.text(&self.notebook.text)
    }

    /// A symbol that a mixture and a line both define: one value where they agree, none where they differ.
    fn beside_mixture(&mut self, index: usize, value: Value) -> Value {
        let group = &self.scope.groups[index];
        for line in &group.definitions {
            let defined = self.definition(line, group.side);
            if self.same(&defined, &value) {
                let message = format!("{} follows from a mixture, with the same value", group.symbol);
                self.report(Finding::note(Code::DefinedTwice, line.symbol.span, message));
                continue;
            }
            let message =
                format!("{} follows from a mixture with another value; neither is used", group.symbol);
            let finding = Finding::error(Code::DefinedTwice, line.symbol.span, message);
            self.report(finding.hint("give it another name, or take it out of the mixture"));
            return Value::missing("a mixture and a formula give it different values");
        }
        value
    }

    /// What a mixture says of a component.
    fn share(&mut self, share: Share, place: Span) -> Value {
        let (mixture, span) = self.scope.mixtures[share.mixture];
        if self.mixtures[share.mixture].is_none() {
            let solved = mixture::solve(mixture, span, self);
            self.mixtures[share.mixture] = Some(solved);
        }
        let Some(solved) = &self.mixtures[share.mixture] else {
            return Value::missing("its mixture is not solved");
        };
        let mass = solved.masses[share.component].clone();
        if !share.of_whole {
            return mass;
        }
        let whole = solved.whole.clone();
        self.binary(BinaryOperator::Divide, mass, whole, place)
    }

    /// A mixture, once something asked for it.
    pub(super) fn solved(&self, mixture: usize) -> Option<&Solved> {
        self.mixtures.get(mixture)?.as_ref()
    }

    /// The molar mass of a formula as a leaf.
    pub(super) fn molar_mass_of(&mut self, text: &Spanned<String>) -> Slot {
        self.tabulated.molar_mass(text, self.graph, &mut self.inputs, self.findings)
    }

    /// The value of a group, once everything was worked out.
    pub(super) fn group_value(&self, index: usize) -> Value {
        self.values[index].clone().unwrap_or_else(|| Value::missing("its formula needs itself"))
    }

    fn definition(&mut self, line: &Definition, side: Side) -> Value {
        let Some(expression) = &line.expression else {
            return Value::missing("its formula could not be read");
        };
        let value = match &line.stated {
            Some(cell) => {
                let name = format!("{} as stated", line.symbol.value);
                Value::Scalar(self.measured_cell(cell, None, &name, None, None))
            }
            None => self.value(expression, side),
        };
        if let Some(unit) = &line.unit {
            self.check_unit(&value, unit);
        }
        value
    }

    /// The unit a value is shown in has to be of its kind.
    pub(super) fn check_unit(&mut self, value: &Value, unit: &Spanned<Unit>) {
        let slots = match value {
            Value::Scalar(slot) => std::slice::from_ref(slot),
            Value::Trials(slots) => slots,
        };
        let Some(node) = slots.iter().find_map(|slot| slot.clone().ok()) else { return };
        let dimension = self.graph.quantity(node).dimension;
        if dimension != unit.value.dimension() {
            let message = format!("a {} cannot be shown in {}", dimension.describe(), unit.value.symbol());
            let finding = Finding::error(Code::DimensionMismatch, unit.span, message);
            let fitting = Unit::from_base(dimension);
            let hint = if fitting.is_one() {
                "`%` or no unit at all".into()
            } else {
                format!("a unit like {}", fitting.symbol())
            };
            self.report(finding.hint(format!("{hint} would fit; or a factor is missing in the formula")));
        }
    }

    /// Several definitions of one symbol: the first where they agree, none where they differ.
    fn one_of(&mut self, definitions: &[&Definition], values: Vec<Value>) -> Value {
        // A line that could not be read has been said to be so; it defines nothing.
        let mut readable = definitions.iter().zip(values).filter(|(line, _)| line.expression.is_some());
        let Some((first_line, first)) = readable.next() else {
            return Value::missing("its formula could not be read");
        };
        let place = first_line.symbol.span;
        for (line, value) in readable {
            let symbol = &line.symbol.value;
            if self.same(&first, &value) {
                let message = format!("{symbol} is defined twice, with the same value");
                self.report(
                    Finding::note(Code::DefinedTwice, line.symbol.span, message).label(place, "first here"),
                );
                continue;
            }
            let message = format!("{symbol} has two definitions that give different values; neither is used");
            let hint = "remove one of them, or give it another name";
            let second = Finding::error(Code::DefinedTwice, line.symbol.span, message.clone());
            self.report(second.label(place, "also here").hint(hint));
            let first = Finding::error(Code::DefinedTwice, place, message);
            self.report(first.label(line.symbol.span, "also here").hint(hint));
            return Value::missing("it has two definitions that differ");
        }
        first
    }

    /// A mass that is measured is compared with what the readings of loads give; the measured one is used.
    fn against_weighings(&mut self, index: usize, measured: &Value) {
        let row = self.scope.measured[index].row;
        let symbol = super::scope::symbol_of(&row.symbol.value);
        let Some(weighed) = self.net_mass_of(&symbol) else { return };
        let differing = (0..self.trials.len()).find_map(|trial| {
            let (a, b) = (measured.at(trial).ok()?, weighed.at(trial).ok()?);
            (self.graph.quantity(a).number != self.graph.quantity(b).number).then_some((trial, a, b))
        });
        if let Some((trial, a, b)) = differing {
            let message = format!(
                "{symbol} is measured as {} in trial {}, but the readings of loads give {}; the measured one is used",
                shown(self.graph.quantity(a), &Unit::gram()),
                self.trials.list()[trial].name,
                shown(self.graph.quantity(b), &Unit::gram()),
            );
            let finding = Finding::error(Code::DefinitionDiffers, row.span, message);
            self.report(finding.hint("keep one of the two, or give the measured one a name of its own"));
        }
    }

    /// A symbol that is measured and defined: one value where they agree, none where they differ.
    fn beside_measured(&mut self, index: usize, defined: Value) -> Value {
        let group = &self.scope.groups[index];
        let row = self.scope.measured(&group.symbol).filter(|_| group.side == Side::Working);
        let Some((row, measured)) = row.and_then(|row| Some((row, self.measured.get(row)?.clone()))) else {
            return defined;
        };
        let (here, there) = (group.place, self.scope.measured[row].row.symbol.span);
        let symbol = &group.symbol;
        if self.same(&defined, &measured) {
            let message = format!("{symbol} is measured and defined, with the same value");
            self.report(Finding::note(Code::DefinedTwice, here, message).label(there, "measured here"));
            return measured;
        }
        let message = format!("{symbol} is measured and defined with different values; neither is used");
        let hint = "remove one of them, or give it another name";
        let second = Finding::error(Code::DefinedTwice, here, message.clone());
        self.report(second.label(there, "measured here").hint(hint));
        let first = Finding::error(Code::DefinedTwice, there, message);
        self.report(first.label(here, "defined here").hint(hint));
        Value::missing("it is measured and defined with different values")
    }

    fn same(&self, a: &Value, b: &Value) -> bool {
        let of = |slot: Slot| {
            let quantity = slot.ok().map(|node| self.graph.quantity(node));
            quantity.map(|quantity| (quantity.number.clone(), quantity.dimension))
        };
        let pairs = || (0..self.trials.len().max(1)).map(|trial| (of(a.at(trial)), of(b.at(trial))));
        pairs().all(|(a, b)| a == b) && pairs().any(|(a, _)| a.is_some())
    }

    /// What the readings say of `m(…)`.
    fn net_mass_of(&mut self, symbol: &Symbol) -> Option<Value> {
        let entity = symbol.entity.as_ref().filter(|_| symbol.name == "m")?;
        let value = self.masses.mass(&Load::parse(entity), self.graph)?;
        (0..self.trials.len()).any(|trial| value.at(trial).is_ok()).then_some(value)
    }

    /// A definition of a net mass is compared with the readings, and the readings are used.
    fn against_readings(&mut self, group: usize, defined: Value, weighed: Value) -> Value {
        self.net_mass_groups[group] = true;
        // A group without a line is that of a mixture, and has its value from there.
        let line = self.scope.groups[group].definitions[0];
        let differing = (0..self.trials.len()).find_map(|trial| {
            let (a, b) = (defined.at(trial).ok()?, weighed.at(trial).ok()?);
            (self.graph.quantity(a).number != self.graph.quantity(b).number).then_some((trial, a, b))
        });
        if let Some((trial, a, b)) = differing {
            let unit = line.unit.as_ref().map_or_else(Unit::gram, |unit| unit.value.clone());
            let message = format!(
                "the formula of {} gives {} in trial {}, but the readings give {}; the readings are used",
                line.symbol.value,
                shown(self.graph.quantity(a), &unit),
                self.trials.list()[trial].name,
                shown(self.graph.quantity(b), &unit),
            );
            let finding = Finding::error(Code::DefinitionDiffers, line.span, message);
            self.report(finding.hint("a net mass follows from the readings by itself; the line can go"));
        }
        weighed
    }

    pub(super) fn leaf(
        &mut self,
        quantity: Result<Quantity, QuantityError>,
        operation: Operation,
        span: Span,
    ) -> Slot {
        match quantity {
            Ok(quantity) => {
                Ok(self.graph.add(Node { operation, inputs: NodeInputs::new(), quantity, span: Some(span) }))
            }
            Err(error) => {
                self.report(Finding::error(Code::NotComputable, span, error.to_string()));
                Err("its number is too large".into())
            }
        }
    }

    /// Says a thing once at a place.
    pub(super) fn report(&mut self, finding: Finding) {
        if self.reported.insert((finding.span.unwrap_or_default(), finding.code)) {
            self.findings.push(finding);
        }
    }

    /// The value of a formula.
    pub(super) fn value(&mut self, expression: &Expression, side: Side) -> Value {
        let span = expression.span;
        match &expression.kind {
            ExpressionKind::Number { value, unit } => Value::Scalar(self.literal(value, unit.as_ref(), span)),
            ExpressionKind::Quantity { symbol, trial } => self.quantity(symbol, trial.as_ref(), side, span),
            ExpressionKind::MolarMass(text) => self.molar_mass(text, side),
            ExpressionKind::Factor(text) => {
                Value::Scalar(self.tabulated.factor(text, self.graph, &mut self.inputs, self.findings))
            }
            ExpressionKind::Coefficient(text) => {
                Value::Scalar(self.tabulated.coefficient(text, self.graph, self.findings))
            }
            ExpressionKind::Constant(constant) => Value::Scalar(self.constant(*constant, span)),
            ExpressionKind::Bracket(of) => self.value(of, side),
            ExpressionKind::Parts(_) => Value::missing("a formula is no number"),
            ExpressionKind::Negate(of) if self.is_temperature(of, side) => self.no_arithmetic(span),
            ExpressionKind::Binary(operator, left, right)
                if self.is_temperature(left, side) && (*operator != BinaryOperator::Subtract)
                    || self.is_temperature(right, side)
                        && !(*operator == BinaryOperator::Subtract && self.is_temperature(left, side)) =>
            {
                self.no_arithmetic(span)
            }
            ExpressionKind::Negate(of) => {
                let value = self.value(of, side);
                self.apply(&[value], span, |inputs| Ok((Operation::Negate, inputs[0].neg())))
            }
            ExpressionKind::Binary(
                operator @ (BinaryOperator::Add | BinaryOperator::Subtract),
                left,
                right,
            ) if self.uneven_unit(left, side, 0).is_some() => {
                let unit = self
                    .uneven_unit(left, side, 0)
                    .filter(|unit| self.uneven_unit(right, side, 0).as_ref() == Some(unit));
                let values = [self.value(left, side), self.value(right, side)];
                match unit {
                    Some(unit) => self.sum_in(*operator, &unit, &values, span),
                    None => {
                        let [left, right] = values;
                        self.binary(*operator, left, right, span)
                    }
                }
            }
            ExpressionKind::Binary(operator, left, right) => {
                let (left, right) = (self.value(left, side), self.value(right, side));
                self.binary(*operator, left, right, span)
            }
            ExpressionKind::Call(function, arguments) => {
                let values: Vec<Value> =
                    arguments.iter().map(|argument| self.value(argument, side)).collect();
                self.call(*function, &values, span)
            }
            ExpressionKind::Word(word, of) => self.word(*word, of, side, span),
            ExpressionKind::Blank(of) => self.blank(of, side, span),
        }
    }

    /// Whole-number literals are exact, with a unit or `%` too; decimals count as written.
    fn literal(&mut self, decimal: &Decimal, unit: Option<&Unit>, span: Span) -> Slot {
        let one = Unit::one();
        if let Some(unit) = unit {
            self.check_taken_as_unit(decimal, unit.symbol(), span);
        }
        let unit = unit.unwrap_or(&one);
        let measured = !decimal.is_integer_literal();
        let leaf = self.leaf(Quantity::from_decimal(decimal, unit, measured), Operation::Literal, span)?;
        if measured {
            let estimate = self.graph.quantity(leaf).number.to_f64();
            let distribution = of_last_place(decimal, unit);
            let source = Source::of(Input::LastPlace(leaf), estimate, Arc::new(unit.clone()), distribution);
            self.inputs.leaf(leaf, [(source, 1.0)]);
        }
        Ok(leaf)
    }

    /// A number before a name that is a unit too is the quantity, not a product.
    fn check_taken_as_unit(&mut self, decimal: &Decimal, symbol: &str, span: Span) {
        let name = Symbol { name: symbol.to_string(), entity: None };
        let named = [Side::Working, Side::Theory].iter().any(|side| self.scope.group(*side, &name).is_some());
        if named || self.scope.measured(&name).is_some() {
            let message = format!(
                "`{decimal} {symbol}` is read with {symbol} as the unit, not as the notebook's {symbol}"
            );
            let finding = Finding::warning(Code::BadUnit, span, message);
            self.report(finding.hint(format!("write `{decimal} * {symbol}` for the product")));
        }
    }

    fn constant(&mut self, constant: Constant, span: Span) -> Slot {
        let (name, number) = match constant {
            Constant::Pi => ("pi", Number::pi()),
            Constant::E => ("e", Number::e()),
        };
        let quantity = Quantity::exact(number, Unit::one().dimension());
        self.leaf(Ok(quantity), Operation::Constant(name), span)
    }

    fn molar_mass(&mut self, text: &Spanned<String>, side: Side) -> Value {
        let symbol = Symbol { name: "M".into(), entity: Some(text.value.clone()) };
        match self.named(&symbol, side) {
            Some(value) => value,
            None => Value::Scalar(self.molar_mass_of(text)),
        }
    }

    fn quantity(
        &mut self,
        symbol: &Symbol,
        trial: Option<&Spanned<String>>,
        side: Side,
        span: Span,
    ) -> Value {
        let found = self.named(symbol, side).or_else(|| self.net_mass(symbol, span));
        let Some(value) = found.or_else(|| self.mass_fraction(symbol, span)) else {
            self.unknown(symbol, side, span);
            return Value::missing(&format!("{symbol} is not defined"));
        };
        let Some(name) = trial else { return value };
        match self.trials.index(&name.value) {
            Some(index) => {
                let pick = |node| self.picks.pick(node, index, self.graph);
                Value::Scalar(value.at(index).map(pick))
            }
            None => {
                let finding = Finding::error(
                    Code::UnknownTrial,
                    name.span,
                    format!("there is no trial {}", name.value),
                );
                self.report(self.trials.with_suggestion(finding, &name.value));
                Value::missing("it asks for a trial that is not there")
            }
        }
    }

    /// A defined or measured name.
    pub(super) fn named(&mut self, symbol: &Symbol, side: Side) -> Option<Value> {
        if let Some(group) = self.scope.resolve(side, symbol) {
            return Some(self.group_value(group));
        }
        self.scope.measured(symbol).and_then(|index| self.measured.get(index).cloned())
    }

    fn net_mass(&mut self, symbol: &Symbol, span: Span) -> Option<Value> {
        let entity = symbol.entity.as_ref().filter(|_| symbol.name == "m")?;
        let load = Load::parse(entity);
        let value = self.masses.mass(&load, self.graph)?;
        if !(0..self.trials.len()).any(|trial| value.at(trial).is_ok()) {
            let finding = self.without_value(symbol, &load, span);
            self.report(finding);
        }
        Some(value)
    }

    /// A net mass that has no value in any trial: readings are missing, or there are not enough loads.
    fn without_value(&mut self, symbol: &Symbol, load: &Load, span: Span) -> Finding {
        let trials: Vec<usize> = (0..self.trials.len()).collect();
        match self.masses.unread(load, &trials).filter(|loads| !loads.is_empty()) {
            Some(loads) => {
                let missing = missing_readings(&loads);
                let message = format!("{symbol} has no value in any trial: {missing}");
                let hint = "fill in the readings of these lines; a trial that was not weighed keeps its `–`";
                Finding::error(Code::MissingValue, span, message).hint(hint)
            }
            None => {
                let message = format!("{symbol} does not follow from the readings in any trial");
                let finding = Finding::error(Code::Undetermined, span, message);
                finding.hint("weigh what it stands on too, with it and without it")
            }
        }
    }

    /// `w(Cu in CuSO4·5H2O)`, where the notebook does not define it.
    fn mass_fraction(&mut self, symbol: &Symbol, span: Span) -> Option<Value> {
        let entity = symbol.entity.as_ref().filter(|_| symbol.name == "w")?;
        let (_, whole) = entity.split_once(" in ")?;
        crate::chemistry::looks_like_formula(whole.trim()).then_some(())?;
        let inside = span.text(&self.notebook.text).find(entity.as_str());
        let start = span.start + inside.unwrap_or(0);
        let span = inside.map_or(span, |_| Span::new(start, start + entity.len()));
        let text = Spanned::new(entity.clone(), span);
        Some(Value::Scalar(self.tabulated.mass_fraction(&text, self.graph, &mut self.inputs, self.findings)))
    }

    /// Why a factor or a mass fraction is what it is.
    pub(super) fn reason(&self, symbol: &str) -> Option<&super::tabulated::Reasoned> {
        self.tabulated.reason(symbol)
    }

    fn unknown(&mut self, symbol: &Symbol, side: Side, span: Span) {
        let finding = Finding::error(Code::UnknownSymbol, span, format!("nothing defines {symbol}"));
        let written = symbol.to_string();
        let things: Vec<String> = self.masses.known_things().map(|thing| format!("m({thing})")).collect();
        let known: Vec<String> =
            self.scope.symbols().chain(things.iter().cloned()).filter(|s| *s != written).collect();
        let near = nearest(&written, known.iter().map(String::as_str)).map(str::to_string);
        let only_theory = side == Side::Working && self.scope.group(Side::Theory, symbol).is_some();
        let finding = if only_theory {
            finding.hint(format!("it stands in `theory` only: write `theory {symbol}`"))
        } else if let Some(near) = near {
            finding.hint(format!("did you mean {near}?"))
        } else if symbol.name == "m" && !things.is_empty() {
            finding.hint(format!("the things weighed are: {}", things.join(", ")))
        } else {
            finding.hint("define it in a `working` block, or measure it in a `measured` block")
        };
        self.report(finding);
    }

    pub(super) fn binary(
        &mut self,
        operator: BinaryOperator,
        left: Value,
        right: Value,
        span: Span,
    ) -> Value {
        let values = [left, right];
        match operator {
            BinaryOperator::Add => self.apply(&values, span, |q| Ok((Operation::Add, q[0].add(q[1])?))),
            BinaryOperator::Subtract => {
                self.apply(&values, span, |q| Ok((Operation::Subtract, q[0].sub(q[1])?)))
            }
            BinaryOperator::Multiply | BinaryOperator::Juxtapose => {
                self.apply(&values, span, |q| Ok((Operation::Multiply, q[0].mul(q[1])?)))
            }
            BinaryOperator::Divide => self.apply(&values, span, |q| Ok((Operation::Divide, q[0].div(q[1])?))),
            BinaryOperator::Power => self.apply(&values, span, power),
        }
    }

    pub(super) fn call(&mut self, function: Function, values: &[Value], span: Span) -> Value {
        match function {
            Function::Sqrt => self.apply(values, span, |q| Ok((Operation::SquareRoot, q[0].sqrt()?))),
            Function::Ln => self.apply(values, span, |q| Ok((Operation::NaturalLogarithm, q[0].ln()?))),
            Function::Log10 => self.apply(values, span, |q| Ok((Operation::DecimalLogarithm, q[0].log10()?))),
            Function::Exp => self.apply(values, span, |q| Ok((Operation::Exponential, q[0].exp()?))),
            Function::Abs => self.apply(values, span, |q| Ok((Operation::Magnitude, q[0].abs()))),
            Function::Min => self.apply(values, span, |q| Ok((Operation::Minimum, Quantity::min(q)?))),
            Function::Max => self.apply(values, span, |q| Ok((Operation::Maximum, Quantity::max(q)?))),
        }
    }

    /// One operation, in every trial or once for scalars.
    pub(super) fn apply(
        &mut self,
        values: &[Value],
        span: Span,
        operation: impl Fn(&[&Quantity]) -> Result<(Operation, Quantity), QuantityError>,
    ) -> Value {
        if values.iter().all(|value| matches!(value, Value::Scalar(_))) {
            return Value::Scalar(self.apply_at(values, 0, None, span, &operation));
        }
        let slots =
            (0..self.trials.len()).map(|trial| self.apply_at(values, trial, Some(trial), span, &operation));
        Value::Trials(slots.collect())
    }

    fn apply_at(
        &mut self,
        values: &[Value],
        at: usize,
        trial: Option<usize>,
        span: Span,
        operation: &impl Fn(&[&Quantity]) -> Result<(Operation, Quantity), QuantityError>,
    ) -> Slot {
        let inputs: NodeInputs = values.iter().map(|value| value.at(at)).collect::<Result<_, _>>()?;
        let quantities: SmallVec<[&Quantity; 4]> =
            inputs.iter().map(|input| self.graph.quantity(*input)).collect();
        let outcome = operation(&quantities);
        let divides = matches!(outcome, Ok((Operation::Divide, _)));
        let divisor = quantities.get(1).filter(|_| divides);
        let no_figure = divisor.is_some_and(|divisor| divisor.digits.figures(&divisor.number) == Some(0));
        drop(quantities);
        match outcome {
            Ok((operation, quantity)) => {
                if no_figure {
                    let message = "the divisor has no significant figure, so the quotient has none";
                    let finding = Finding::note(Code::NotComputable, span, message);
                    self.report(
                        finding.hint("the two values subtracted are too close to each other for a ratio"),
                    );
                }
                Ok(self.graph.add(Node { operation, inputs, quantity, span: Some(span) }))
            }
            Err(error) => {
                let silent = trial.is_some_and(|trial| self.trials.list()[trial].blank);
                let reason = reason(&error);
                if !silent {
                    let finding = self.failed(&error, &inputs, trial, span);
                    self.report(finding);
                }
                Err(reason.into())
            }
        }
    }

    fn failed(&self, error: &QuantityError, inputs: &[NodeId], trial: Option<usize>, span: Span) -> Finding {
        let code = match error {
            QuantityError::Number(NumberError::DivisionByZero) => Code::DivisionByZero,
            QuantityError::Number(NumberError::TooLarge) => Code::TooLarge,
            QuantityError::Number(NumberError::NotReal(_)) => Code::NotComputable,
            _ => Code::DimensionMismatch,
        };
        let shown_one = |input: &NodeId| {
            let quantity = self.graph.quantity(*input);
            shown(quantity, &Unit::from_base(quantity.dimension))
        };
        let given: Vec<String> = inputs.iter().map(shown_one).collect();
        let place =
            trial.map_or(String::new(), |trial| format!(" in trial {}", self.trials.list()[trial].name));
        let message = format!("{error}{place} (computed from {})", given.join(" and "));
        let finding = Finding::error(code, span, message);
        match code {
            Code::DimensionMismatch => {
                finding.hint("check the units, or whether a molar mass or a factor is missing")
            }
            Code::DivisionByZero => finding.hint("check the reading that the divisor rests on"),
            _ => finding,
        }
    }

    /// A word takes one quantity across its trials.
    fn word(&mut self, word: Word, of: &Expression, side: Side, span: Span) -> Value {
        match word {
            Word::Theory => self.theory(of),
            Word::PercentError => self.percent_error(of, span),
            Word::Mean => {
                let value = self.value(of, side);
                self.across(&value, span, |q| Ok((Operation::Mean, Quantity::mean(q)?)))
            }
            Word::StandardDeviation => {
                let value = self.value(of, side);
                self.across(&value, span, |q| {
                    Ok((Operation::StandardDeviation, Quantity::standard_deviation(q)?))
                })
            }
            Word::Range => {
                let value = self.value(of, side);
                self.across(&value, span, |q| Ok((Operation::Range, Quantity::range(q)?)))
            }
            Word::AverageDeviation => {
                let value = self.value(of, side);
                self.across(&value, span, |q| {
                    Ok((Operation::AverageDeviation, Quantity::average_deviation(q)?))
                })
            }
            Word::RelativeStandardDeviation => self.relative(Word::StandardDeviation, of, side, span),
            Word::RelativeDifference => self.relative(Word::Range, of, side, span),
        }
    }

    /// s or the range, over the magnitude of the mean.
    fn relative(&mut self, word: Word, of: &Expression, side: Side, span: Span) -> Value {
        let top = self.word(word, of, side, span);
        let mean = self.word(Word::Mean, of, side, span);
        let mean = self.apply(&[mean], span, |q| Ok((Operation::Magnitude, q[0].abs())));
        self.binary(BinaryOperator::Divide, top, mean, span)
    }

    /// Prints values by the notebook's policies.
    pub(super) fn printer(&self) -> Printer<'_> {
        Printer { graph: self.graph, inputs: &self.inputs, settings: &self.notebook.settings }
    }

    /// One operation over the valid trials of a value; a scalar stands for itself.
    pub(super) fn across(
        &mut self,
        value: &Value,
        span: Span,
        operation: impl Fn(&[&Quantity]) -> Result<(Operation, Quantity), QuantityError>,
    ) -> Value {
        let inputs: Vec<NodeId> = match value {
            Value::Scalar(slot) => slot.iter().copied().collect(),
            Value::Trials(slots) => {
                let counts = |(trial, _): &(usize, &Slot)| self.trials.list()[*trial].counts();
                slots.iter().enumerate().filter(counts).filter_map(|(_, slot)| slot.clone().ok()).collect()
            }
        };
        if inputs.is_empty() {
            return Value::missing("no valid trial has a value");
        }
        let inputs: Vec<Value> = inputs.into_iter().map(|input| Value::Scalar(Ok(input))).collect();
        self.apply(&inputs, span, operation)
    }

    fn theory(&mut self, of: &Expression) -> Value {
        let ExpressionKind::Quantity { symbol, trial } = &of.kind else {
            return self.value(of, Side::Theory);
        };
        match self.scope.group(Side::Theory, symbol) {
            Some(group) => {
                let value = self.group_value(group);
                match trial.as_ref().and_then(|trial| self.trials.index(&trial.value)) {
                    Some(trial) => Value::Scalar(value.at(trial)),
                    None => value,
                }
            }
            None => {
                let finding =
                    Finding::error(Code::UnknownSymbol, of.span, format!("there is no theory of {symbol}"));
                self.report(finding.hint("define it in a `theory` block"));
                Value::missing("it has no theory")
            }
        }
    }

    /// (mean − theory) / |theory|.
    fn percent_error(&mut self, of: &Expression, span: Span) -> Value {
        let result = self.value(of, Side::Working);
        let theory = match (self.theory(of), &result) {
            // A theory per trial counts where there is a result.
            (Value::Trials(slots), Value::Trials(results)) => {
                let with = |(slot, result): (Slot, &Slot)| result.clone().and(slot);
                Value::Trials(slots.into_iter().zip(results).map(with).collect())
            }
            (theory, _) => theory,
        };
        let theory = self.across(&theory, span, |q| Ok((Operation::Mean, Quantity::mean(q)?)));
        let mean = self.word(Word::Mean, of, Side::Working, span);
        self.relative_error(mean, theory, span)
    }

    /// The signed difference of two scalars over the magnitude of the second.
    pub(super) fn relative_error(&mut self, mean: Value, theory: Value, span: Span) -> Value {
        let difference = self.binary(BinaryOperator::Subtract, mean, theory.clone(), span);
        let size = self.apply(&[theory], span, |q| Ok((Operation::Magnitude, q[0].abs())));
        self.binary(BinaryOperator::Divide, difference, size, span)
    }

    /// The mean over the blanks.
    fn blank(&mut self, of: &Expression, side: Side, span: Span) -> Value {
        let value = self.value(of, side);
        let blanks = self.trials.list().iter().enumerate().filter(|(_, trial)| trial.blank);
        let mut picked = |trial: usize| value.at(trial).map(|node| self.picks.pick(node, trial, self.graph));
        let slots: Vec<Slot> = blanks.map(|(trial, _)| picked(trial)).collect();
        if slots.is_empty() {
            let finding = Finding::error(Code::UnknownTrial, span, "there is no blank");
            self.report(finding.hint("head a column `blank` on the `trial:` line"));
            return Value::missing("there is no blank");
        }
        let inputs: Vec<Value> = slots.into_iter().filter(Slot::is_ok).map(Value::Scalar).collect();
        if inputs.is_empty() {
            self.report(Finding::error(Code::MissingValue, span, "no blank has this value"));
            return Value::missing("no blank has this value");
        }
        self.apply(&inputs, span, |q| Ok((Operation::Mean, Quantity::mean(q)?)))
    }
}

/// The parts of a line that is a list of parts with their amounts.
fn parts_of(line: &Definition) -> Option<&[(Spanned<String>, Expression)]> {
    match &line.expression.as_ref()?.kind {
        ExpressionKind::Parts(parts) => Some(parts),
        _ => None,
    }
}

/// Where nothing is stated, the last written place is the scale interval, and its half-width rectangular
/// (JCGM 100:2008, F.2.2.1).
pub(super) fn of_last_place(decimal: &Decimal, unit: &Unit) -> Distribution {
    let interval = Number::power_of_ten(decimal.place()).to_f64() * unit.factor().to_f64();
    Distribution::Rectangular { half_width: interval / 2.0 }
}

/// A whole exponent keeps the value exact; any other takes a pure number to a pure number.
fn power(q: &[&Quantity]) -> Result<(Operation, Quantity), QuantityError> {
    match q[1].number.to_i64().filter(|_| q[1].dimension.is_pure()) {
        Some(exponent) => Ok((Operation::Power(exponent), q[0].pow(exponent)?)),
        None => Ok((Operation::RealPower, q[0].powf(q[1])?)),
    }
}

/// Why there is no value, in a few words.
fn reason(error: &QuantityError) -> &'static str {
    match error {
        QuantityError::Number(NumberError::DivisionByZero) => "a division by zero",
        QuantityError::Number(NumberError::TooLarge) => "a number that is too large",
        QuantityError::Number(NumberError::NotReal(_)) => "no real result",
        _ => "its units do not fit",
    }
}
