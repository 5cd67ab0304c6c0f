//! Names: one scope for the notebook, whatever the order of its lines.
//!
//! `working` and `theory` may define the same symbol: the theory of a result. Definitions of one symbol in
//! one of the two are a group; groups are put in an order in which each comes after those it needs.

use crate::finding::{Code, Finding};
use crate::notebook::Notebook;
use crate::notebook::blocks::{BlockKind, Definition, Mixture, QuantityRow};
use crate::notebook::expression::{Expression, ExpressionKind, Symbol, Word};
use crate::span::Span;
use crate::weighing::Load;
use hashbrown::HashMap;

/// Whether a name is meant as a result or as its theory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Side {
    Working,
    Theory,
}

/// All definitions of one symbol on one side.
pub(super) struct Group<'a> {
    pub(super) side: Side,
    pub(super) symbol: Symbol,
    pub(super) definitions: Vec<&'a Definition>,
    /// Where a `mixture` block defines the symbol.
    pub(super) mixture: Option<Share>,
    /// Where it is first defined.
    pub(super) place: Span,
}

/// What a mixture defines: the mass of a component, or its share of the whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Share {
    /// Index into [`Scope::mixtures`].
    pub(super) mixture: usize,
    /// Index of the component.
    pub(super) component: usize,
    /// Whether it is the share.
    pub(super) of_whole: bool,
}

/// A measured row that has a symbol, with the block it stands in.
pub(super) struct MeasuredRow<'a> {
    pub(super) block: usize,
    pub(super) row: &'a QuantityRow,
}

/// Every name a notebook defines.
pub(super) struct Scope<'a> {
    pub(super) groups: Vec<Group<'a>>,
    /// The groups by their symbols: of the working, of the theory.
    by_name: [HashMap<Symbol, usize>; 2],
    pub(super) measured: Vec<MeasuredRow<'a>>,
    /// The mixtures with the places of their blocks.
    pub(super) mixtures: Vec<(&'a Mixture, Span)>,
    measured_by_symbol: HashMap<Symbol, usize>,
    /// The groups in an order of evaluation; those in a cycle have no value.
    pub(super) order: Vec<usize>,
    /// Whether a group is in a cycle.
    pub(super) cyclic: Vec<bool>,
}

impl<'a> Scope<'a> {
    /// Collects the names and puts them in order; cycles are findings.
    pub(super) fn of(notebook: &'a Notebook, findings: &mut Vec<Finding>) -> Self {
        let mut scope = Scope {
            groups: Vec::new(),
            by_name: Default::default(),
            measured: Vec::new(),
            mixtures: Vec::new(),
            measured_by_symbol: HashMap::new(),
            order: Vec::new(),
            cyclic: Vec::new(),
        };
        for (index, block) in notebook.blocks.iter().enumerate() {
            match &block.kind {
                BlockKind::Working(lines) => lines.iter().for_each(|line| scope.define(Side::Working, line)),
                BlockKind::Theory(lines) => lines.iter().for_each(|line| scope.define(Side::Theory, line)),
                BlockKind::Measured(measured) => {
                    measured.rows.iter().for_each(|row| scope.measure(index, row, findings));
                }
                BlockKind::Mixture(mixture) => scope.mix(mixture, block.span, findings),
                _ => {}
            }
        }
        scope.put_in_order(findings);
        scope
    }

    fn define(&mut self, side: Side, line: &'a Definition) {
        let index = self.group_of(side, &line.symbol.value, line.symbol.span);
        self.groups[index].definitions.push(line);
    }

    fn group_of(&mut self, side: Side, symbol: &Symbol, place: Span) -> usize {
        if let Some(known) = self.group(side, symbol) {
            return known;
        }
        let symbol = symbol.clone();
        self.by_name[side as usize].insert(symbol.clone(), self.groups.len());
        self.groups.push(Group { side, symbol, definitions: Vec::new(), mixture: None, place });
        self.groups.len() - 1
    }

    /// A mixture defines m(X) and w(X) of every component.
    fn mix(&mut self, mixture: &'a Mixture, span: Span, findings: &mut Vec<Finding>) {
        let index = self.mixtures.len();
        self.mixtures.push((mixture, span));
        for (component, part) in super::mixture::components(mixture).iter().enumerate() {
            for of_whole in [false, true] {
                let name = if of_whole { "w" } else { "m" };
                let symbol = Symbol { name: name.into(), entity: Some(part.value.clone()) };
                let group = self.group_of(Side::Working, &symbol, part.span);
                if self.groups[group].mixture.is_some() {
                    let message =
                        format!("{symbol} follows from this mixture, but is also defined elsewhere");
                    let finding = Finding::error(Code::DefinedTwice, part.span, message);
                    findings
                        .push(finding.label(self.groups[group].place, "here").hint("keep one of the two"));
                }
                self.groups[group].mixture = Some(Share { mixture: index, component, of_whole });
            }
        }
    }

    fn measure(&mut self, block: usize, row: &'a QuantityRow, findings: &mut Vec<Finding>) {
        let symbol = symbol_of(&row.symbol.value);
        if let Some(before) = self.measured_by_symbol.get(&symbol) {
            let first = self.measured[*before].row.symbol.span;
            let message = format!("{} is measured twice; the first line is used", row.symbol.value);
            let finding = Finding::error(Code::DefinedTwice, row.symbol.span, message);
            findings.push(finding.label(first, "first here").hint("give the second one a name of its own"));
            return;
        }
        self.measured_by_symbol.insert(symbol, self.measured.len());
        self.measured.push(MeasuredRow { block, row });
    }

    /// The group that defines a symbol on a side.
    pub(super) fn group(&self, side: Side, symbol: &Symbol) -> Option<usize> {
        self.by_name[side as usize].get(symbol).copied()
    }

    /// The measured row of a symbol.
    pub(super) fn measured(&self, symbol: &Symbol) -> Option<usize> {
        self.measured_by_symbol.get(symbol).copied()
    }

    /// Every symbol a formula may use, as written.
    pub(super) fn symbols(&self) -> impl Iterator<Item = String> {
        let groups = self.groups.iter().map(|group| group.symbol.to_string());
        groups.chain(self.measured.iter().map(|measured| measured.row.symbol.value.clone()))
    }

    /// The group that a name in a formula of one side means; a theory's names are theory's own first.
    pub(super) fn resolve(&self, side: Side, symbol: &Symbol) -> Option<usize> {
        let own = if side == Side::Theory { self.group(Side::Theory, symbol) } else { None };
        let measured = side == Side::Theory && self.measured(symbol).is_some();
        own.or_else(|| self.group(Side::Working, symbol).filter(|_| !measured))
    }

    fn needs(&self, group: usize) -> Vec<usize> {
        let mut needs = Vec::new();
        let side = self.groups[group].side;
        if let Some(share) = self.groups[group].mixture {
            let totals = self.mixtures[share.mixture].0.totals.iter();
            totals
                .filter_map(|total| total.known.as_ref())
                .for_each(|known| self.collect(known, side, &mut needs));
            let extents = self.mixtures[share.mixture].0.changes.iter().filter_map(|c| c.extent.as_ref());
            extents.for_each(|extent| self.collect(extent, side, &mut needs));
        }
        for definition in &self.groups[group].definitions {
            if let Some(expression) = &definition.expression {
                self.collect(expression, side, &mut needs);
            }
        }
        needs
    }

    /// The groups a formula needs. Formulas are nested no deeper than their reader allows.
    fn collect(&self, expression: &Expression, side: Side, needs: &mut Vec<usize>) {
        match &expression.kind {
            ExpressionKind::Quantity { symbol, .. } => needs.extend(self.resolve(side, symbol)),
            ExpressionKind::MolarMass(text) => {
                needs.extend(
                    self.resolve(side, &Symbol { name: "M".into(), entity: Some(text.value.clone()) }),
                );
            }
            ExpressionKind::Word(Word::Theory | Word::PercentError, of) => {
                self.collect(of, Side::Theory, needs);
                self.collect(of, Side::Working, needs);
            }
            ExpressionKind::Word(_, of)
            | ExpressionKind::Negate(of)
            | ExpressionKind::Blank(of)
            | ExpressionKind::Bracket(of) => self.collect(of, side, needs),
            ExpressionKind::Binary(_, left, right) => {
                self.collect(left, side, needs);
                self.collect(right, side, needs);
            }
            ExpressionKind::Parts(parts) => {
                parts.iter().for_each(|(_, amount)| self.collect(amount, side, needs));
            }
            ExpressionKind::Call(_, arguments) => {
                arguments.iter().for_each(|argument| self.collect(argument, side, needs));
            }
            _ => {}
        }
    }

    /// Depth first with its own stack, so that a chain of any length fits.
    fn put_in_order(&mut self, findings: &mut Vec<Finding>) {
        let count = self.groups.len();
        let needs: Vec<Vec<usize>> = (0..count).map(|group| self.needs(group)).collect();
        let mut state = vec![Visit::New; count];
        self.cyclic = vec![false; count];
        for start in 0..count {
            let mut stack = vec![(start, 0)];
            while let Some((group, next)) = stack.pop() {
                if next == 0 {
                    if state[group] != Visit::New {
                        continue;
                    }
                    state[group] = Visit::Open;
                }
                match needs[group].get(next) {
                    Some(need) => {
                        stack.push((group, next + 1));
                        match state[*need] {
                            Visit::New => stack.push((*need, 0)),
                            Visit::Open => self.report_cycle(&stack, *need, findings),
                            Visit::Done => {}
                        }
                    }
                    None => {
                        state[group] = Visit::Done;
                        self.order.push(group);
                    }
                }
            }
        }
    }

    fn report_cycle(&mut self, stack: &[(usize, usize)], first: usize, findings: &mut Vec<Finding>) {
        let from = stack.iter().position(|(group, _)| *group == first).unwrap_or(0);
        let members: Vec<usize> = stack[from..].iter().map(|(group, _)| *group).collect();
        if members.iter().all(|group| self.cyclic[*group]) {
            return;
        }
        members.iter().for_each(|group| self.cyclic[*group] = true);
        let names: Vec<String> = members.iter().map(|group| self.groups[*group].symbol.to_string()).collect();
        let message = match names.as_slice() {
            [one] => format!("the formula of {one} needs {one} itself"),
            many => format!("formulas that need each other: {} → {}", many.join(" → "), many[0]),
        };
        let place = |group: &usize| self.groups[*group].place;
        let mut finding = Finding::error(Code::Cycle, place(&members[0]), message);
        for member in &members[1..] {
            finding = finding.label(place(member), "part of the circle");
        }
        findings.push(finding.hint("one of them has to rest on readings alone"));
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Visit {
    New,
    Open,
    Done,
}

/// A symbol as written in a label: `V(sample)`, `t`, or any words as one name.
pub fn symbol_of(text: &str) -> Symbol {
    let folded = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let split = folded.split_once('(').and_then(|(name, rest)| Some((name, rest.strip_suffix(')')?)));
    match split {
        Some((name, entity)) if !name.trim().is_empty() => {
            Symbol { name: name.trim().to_string(), entity: Some(entity.trim().to_string()) }
        }
        _ => Symbol { name: folded, entity: None },
    }
}

/// What a symbol such as `m(crucible + sample)` is the mass of; blanks, case and order make no difference to it.
pub(super) fn load_of(text: &str) -> Option<Load> {
    let symbol = symbol_of(text);
    let entity = symbol.entity.filter(|_| &*symbol.name == "m")?;
    Some(Load::parse(&entity))
}

/// What two spellings of one name have in common: a mass is known by its things, however they are written, and
/// other names by their letters.
pub fn name_key(text: &str) -> String {
    match load_of(text) {
        Some(load) => format!("m({})", load.things.join(" + ")),
        None => symbol_of(text).to_string(),
    }
}
