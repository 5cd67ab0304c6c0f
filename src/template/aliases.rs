//! One quantity, several names: the method is put into the words of the notebook.
//!
//! Where a notebook uses another name that `[aliases]` lists and not the method's own, the method takes the
//! notebook's. Where it uses both, the other name is made equal to the method's.

use super::model::Template;
use crate::evaluation::symbol_of;
use crate::notebook::blocks::{Block, BlockKind, Definition, Row};
use crate::notebook::expression::{Expression, ExpressionKind, Symbol};
use crate::notebook::{Notebook, read_blocks};
use std::collections::{BTreeMap, BTreeSet};

/// How the notebook calls the method's quantities.
#[derive(Clone, Debug, Default)]
pub(super) struct Names {
    /// The method's symbol and the notebook's.
    renamed: BTreeMap<String, String>,
    /// Further names: another name and the symbol it is equal to.
    linked: Vec<(String, String)>,
}

impl Names {
    pub(super) fn of(notebook: &Notebook, template: &Template) -> Self {
        let mut names = Names::default();
        if template.aliases.is_empty() {
            return names;
        }
        let used = used(notebook);
        for alias in &template.aliases {
            let symbol = folded(&alias.symbol.value);
            let others = alias.others.iter().map(|other| folded(&other.value));
            let mut others: Vec<String> =
                others.filter(|other| used.contains(other) && *other != symbol).collect();
            if others.is_empty() {
                continue;
            }
            let mut standing = symbol.clone();
            if !used.contains(&symbol) {
                standing = others.remove(0);
                names.renamed.insert(symbol, standing.clone());
            }
            names.linked.extend(others.into_iter().map(|other| (other, standing.clone())));
        }
        names
    }

    /// The notebook's name of a symbol.
    pub(super) fn name<'a>(&'a self, symbol: &'a str) -> &'a str {
        self.renamed.get(symbol).map_or(symbol, String::as_str)
    }

    /// The notebook's name of a thing that is weighed, by the name of its mass.
    pub(super) fn thing(&self, thing: &str) -> String {
        let symbol = format!("m({thing})");
        let name = self.name(&symbol);
        name.strip_prefix("m(").and_then(|name| name.strip_suffix(')')).unwrap_or(thing).to_owned()
    }

    /// Renames the symbols of a block of the method.
    pub(super) fn rename(&self, block: &mut Block) {
        if self.renamed.is_empty() {
            return;
        }
        match &mut block.kind {
            BlockKind::Working(lines) | BlockKind::Theory(lines) => {
                for line in lines {
                    self.rename_symbol(&mut line.symbol.value);
                    line.expression.iter_mut().for_each(|expression| self.rename_in(expression));
                }
            }
            BlockKind::Mixture(mixture) => {
                let known = mixture.totals.iter_mut().filter_map(|total| total.known.as_mut());
                known.for_each(|expression| self.rename_in(expression));
            }
            _ => {}
        }
    }

    fn rename_in(&self, expression: &mut Expression) {
        expression.each(&mut |node| {
            if let ExpressionKind::Quantity { symbol, .. } = &mut node.kind {
                self.rename_symbol(symbol);
            }
        });
    }

    fn rename_symbol(&self, symbol: &mut Symbol) {
        if let Some(name) = self.renamed.get(&symbol.to_string()) {
            *symbol = symbol_of(name);
        }
    }

    /// The lines that make further names equal, as a text with one block; empty where none is needed. A name
    /// that the notebook defines or weighs itself needs none.
    pub(super) fn links(&self, notebook: &Notebook) -> String {
        let given = given(notebook);
        let lines: Vec<String> = self
            .linked
            .iter()
            .filter(|(other, _)| !given.contains(other))
            .map(|(other, symbol)| format!("{other} = {symbol}\n"))
            .collect();
        if lines.is_empty() { String::new() } else { format!("```working\n{}```\n", lines.concat()) }
    }
}

/// The block of the lines that make names equal.
pub(super) fn link_blocks(text: &str, offset: usize) -> Vec<Block> {
    let (mut blocks, _) = read_blocks(text, false);
    blocks.iter_mut().for_each(|block| block.move_by(offset));
    blocks
}

/// A symbol with its blanks folded.
pub(super) fn folded(text: &str) -> String {
    symbol_of(text).to_string()
}

/// Every symbol a notebook defines, weighs or measures.
fn given(notebook: &Notebook) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for block in &notebook.blocks {
        match &block.kind {
            BlockKind::Working(lines) => {
                found.extend(lines.iter().map(|line| line.symbol.value.to_string()));
            }
            BlockKind::Measured(measured) => {
                found.extend(measured.rows.iter().map(|row| folded(&row.symbol.value)));
            }
            BlockKind::Mixture(mixture) => found.extend(super::apply::names_of(mixture)),
            BlockKind::Masses(masses) => {
                let things = masses.rows.iter().filter_map(|row| match row {
                    Row::Load(row) => Some(&row.things),
                    Row::Event(_) => None,
                });
                found.extend(things.flatten().map(|thing| format!("m({thing})")));
            }
            _ => {}
        }
    }
    found
}

/// Every symbol a notebook names anywhere.
fn used(notebook: &Notebook) -> BTreeSet<String> {
    let mut found = given(notebook);
    found.extend(used_in(&notebook.blocks));
    for block in &notebook.blocks {
        if let BlockKind::Claimed(claimed) = &block.kind {
            // `mean w(water)`: the last word is the symbol.
            let symbol = |text: &str| folded(text.rsplit(' ').next().unwrap_or(text));
            found.extend(claimed.rows.iter().map(|row| symbol(&row.symbol.value)));
        }
    }
    for expression in notebook.inline.iter().filter_map(|inline| inline.expression.as_ref()) {
        in_expression(expression, &mut found);
    }
    found
}

/// Every symbol that formulas define or name.
pub(super) fn used_in(blocks: &[Block]) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for block in blocks {
        match &block.kind {
            BlockKind::Working(lines) | BlockKind::Theory(lines) => {
                lines.iter().for_each(|line| in_line(line, &mut found));
            }
            BlockKind::Mixture(mixture) => {
                let known = mixture.totals.iter().filter_map(|total| total.known.as_ref());
                known.for_each(|expression| in_expression(expression, &mut found));
            }
            _ => {}
        }
    }
    found
}

fn in_line(line: &Definition, found: &mut BTreeSet<String>) {
    found.insert(line.symbol.value.to_string());
    if let Some(expression) = &line.expression {
        in_expression(expression, found);
    }
}

fn in_expression(expression: &Expression, found: &mut BTreeSet<String>) {
    expression.clone().each(&mut |node| {
        if let ExpressionKind::Quantity { symbol, .. } = &node.kind {
            found.insert(symbol.to_string());
        }
    });
}
