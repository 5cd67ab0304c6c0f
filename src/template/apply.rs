//! A template put to use: its rules and its method are merged into the notebook before anything is computed.
//!
//! The texts the template's parts come from are counted on from the notebook's own text, so that every place
//! stays one number; [`Applied::relocate`] turns the places beyond the notebook's end into file, line and column.

use super::aliases::Names;
use super::method::METHOD;
use super::model::Template;
use super::{compare, rules};
use crate::finding::Finding;
use crate::notebook::blocks::{Block, BlockKind, Definition, Mixture};
use crate::notebook::{Item, Notebook};
use crate::span::Span;
use std::collections::BTreeSet;

/// For whom a notebook is computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Purpose {
    /// For its author: the notebook's own rules and formulas stand, and are compared with the template's.
    #[default]
    Author,
    /// For a review: the template's rules and method stand.
    Review,
}

/// What a template did to a notebook.
#[derive(Clone, Debug)]
pub struct Applied {
    /// Bytes of the notebook's own text.
    own: usize,
    /// The texts counted on from it: file, start, text.
    chunks: Vec<(String, usize, String)>,
    /// Which formulas are whose.
    pub(super) working: Working,
    /// The notebook's name of each symbol that has several.
    pub(super) names: Names,
    /// The headings of the notebook as it was handed in.
    pub(super) headings: Vec<String>,
}

/// Whose formulas were used for the symbols that the method defines.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Working {
    /// Symbols by the notebook's own formulas.
    pub own: Vec<String>,
    /// Symbols by the method's.
    pub method: Vec<String>,
    /// Symbols whose own formula differs from the method's.
    pub differing: Vec<String>,
}

/// Merges a template into a notebook.
pub fn apply(notebook: &mut Notebook, template: &Template, purpose: Purpose) -> Applied {
    let names = Names::of(notebook, template);
    let mut applied = Applied {
        own: notebook.text.len(),
        chunks: Vec::new(),
        working: Working::default(),
        names: names.clone(),
        headings: super::required::headings(notebook).into_iter().map(|(text, _)| text).collect(),
    };
    let rules = template.rules_texts().map(|(path, text)| applied.add(notebook, template.path(path), text));
    let [rules_at, _] = rules;
    rules::merge(notebook, template, purpose, rules_at, &names);
    let method_at = applied.add(notebook, template.path(METHOD), template.method_text.clone());
    let mut method = template.method.clone();
    for block in &mut method {
        block.move_by(method_at);
        names.rename(block);
    }
    let links = names.links(notebook);
    let links_at = applied.add(notebook, template.path("template.toml"), links.clone());
    let own = Defined::of(notebook);
    let by_method = Defined::in_blocks(&method);
    compare::formulas(notebook, &method, &by_method, &mut applied.working);
    match purpose {
        Purpose::Author => keep_own(&mut method, &own),
        Purpose::Review => keep_methods(notebook, &by_method),
    }
    applied.working.sort_out(&own, &by_method, purpose);
    insert(notebook, method);
    insert(notebook, super::aliases::link_blocks(&links, links_at));
    super::cautions::place(notebook, template);
    applied
}

impl Applied {
    /// Counts a text on from the notebook's; returns its first byte.
    fn add(&mut self, notebook: &mut Notebook, file: String, text: String) -> usize {
        notebook.text.push('\n');
        let start = notebook.text.len();
        notebook.text.push_str(&text);
        self.chunks.push((file, start, text));
        start
    }

    /// Names the template's file, with line and column, in what is said about its text. Further places in the
    /// other text become hints.
    pub fn relocate(&self, findings: &mut [Finding]) {
        for finding in findings.iter_mut().filter(|finding| finding.file.is_none()) {
            match finding.span {
                Some(span) if span.start > self.own => *finding = self.placed(finding.clone()),
                _ => self.relocate_labels(finding),
            }
        }
    }

    fn chunk(&self, at: usize) -> Option<&(String, usize, String)> {
        self.chunks.iter().rfind(|(_, start, _)| *start <= at)
    }

    fn placed(&self, mut finding: Finding) -> Finding {
        let Some(span) = finding.span else { return finding };
        let Some((file, start, text)) = self.chunk(span.start) else { return finding };
        let labels = std::mem::take(&mut finding.labels);
        for (place, label) in labels {
            finding.hints.push(match self.chunk(place.start) {
                Some((other, start, text)) => {
                    let (line, _) = crate::span::Lines::of(text).place(text, place.start - start);
                    format!("{other}, line {line}: {label}")
                }
                None => format!("in the notebook: {label}"),
            });
        }
        finding.span = Some(Span::new(span.start - start, span.end.saturating_sub(*start)));
        finding.in_text(file, text)
    }

    fn relocate_labels(&self, finding: &mut Finding) {
        let (own, others): (Vec<_>, Vec<_>) =
            std::mem::take(&mut finding.labels).into_iter().partition(|(span, _)| span.start <= self.own);
        finding.labels = own;
        for (span, label) in others {
            if let Some((file, start, text)) = self.chunk(span.start) {
                let (line, _) = crate::span::Lines::of(text).place(text, span.start - start);
                finding.hints.push(format!("{file}, line {line}: {label}"));
            }
        }
    }
}

/// The names that some blocks define: results, and theories.
#[derive(Clone, Debug, Default)]
pub(super) struct Defined {
    /// By `working` or a mixture.
    pub(super) results: BTreeSet<String>,
    /// By `theory`.
    pub(super) theories: BTreeSet<String>,
    /// By `measured`: nothing replaces them.
    pub(super) measured: BTreeSet<String>,
}

impl Defined {
    pub(super) fn of(notebook: &Notebook) -> Self {
        Defined::in_blocks(&notebook.blocks)
    }

    pub(super) fn in_blocks(blocks: &[Block]) -> Self {
        let mut defined = Defined::default();
        let name = |line: &Definition| line.symbol.value.to_string();
        for block in blocks {
            match &block.kind {
                BlockKind::Working(lines) => defined.results.extend(lines.iter().map(name)),
                BlockKind::Theory(lines) => defined.theories.extend(lines.iter().map(name)),
                BlockKind::Mixture(mixture) => defined.results.extend(names_of(mixture)),
                BlockKind::Measured(measured) => {
                    let symbol = |text: &str| crate::evaluation::symbol_of(text).to_string();
                    defined.measured.extend(measured.rows.iter().map(|row| symbol(&row.symbol.value)));
                }
                _ => {}
            }
        }
        defined
    }
}

/// What a mixture defines: `m(X)` and `w(X)` of every component.
pub(super) fn names_of(mixture: &Mixture) -> Vec<String> {
    let components = mixture.totals.first().map_or(&[][..], |total| total.parts.as_slice());
    components.iter().flat_map(|part| ["m", "w"].map(|name| format!("{name}({})", part.value))).collect()
}

/// Takes out of the method what the notebook defines or measured itself.
fn keep_own(method: &mut [Block], own: &Defined) {
    for block in method.iter_mut() {
        match &mut block.kind {
            BlockKind::Working(lines) => {
                lines.retain(|line| {
                    let name = line.symbol.value.to_string();
                    !own.results.contains(&name) && !own.measured.contains(&name)
                });
            }
            BlockKind::Theory(lines) => {
                lines.retain(|line| !own.theories.contains(&line.symbol.value.to_string()))
            }
            BlockKind::Mixture(mixture)
                if names_of(mixture).iter().all(|name| own.results.contains(name)) =>
            {
                block.kind = BlockKind::Working(Vec::new());
            }
            _ => {}
        }
    }
}

/// Takes out of the notebook what the method defines.
fn keep_methods(notebook: &mut Notebook, by_method: &Defined) {
    for block in &mut notebook.blocks {
        match &mut block.kind {
            BlockKind::Working(lines) => {
                lines.retain(|line| !by_method.results.contains(&line.symbol.value.to_string()))
            }
            BlockKind::Theory(lines) => {
                lines.retain(|line| !by_method.theories.contains(&line.symbol.value.to_string()))
            }
            BlockKind::Mixture(mixture)
                if names_of(mixture).iter().all(|name| by_method.results.contains(name)) =>
            {
                block.kind = BlockKind::Working(Vec::new());
            }
            _ => {}
        }
    }
}

impl Working {
    fn sort_out(&mut self, own: &Defined, by_method: &Defined, purpose: Purpose) {
        let (both, alone): (Vec<&String>, Vec<&String>) =
            by_method.results.iter().partition(|name| own.results.contains(*name));
        let names = |list: Vec<&String>| list.into_iter().cloned().collect::<Vec<_>>();
        self.method = names(alone.into_iter().filter(|name| !own.measured.contains(*name)).collect());
        match purpose {
            Purpose::Author => self.own = names(both),
            Purpose::Review => self.method.extend(names(both)),
        }
    }
}

/// Puts blocks behind the last block of readings or formulas; a theory of the notebook's own may come after them. A
/// reaction that the notebook states itself is not stated again.
fn insert(notebook: &mut Notebook, blocks: Vec<Block>) {
    let mut at = place_for_formulas(notebook);
    let stated: BTreeSet<Vec<String>> = species_of(&notebook.blocks);
    for mut block in blocks {
        if let BlockKind::Reaction(lines) = &mut block.kind {
            lines.retain(|line| !stated.contains(&species(&line.value)));
        }
        if is_empty(&block) {
            continue;
        }
        notebook.items.insert(at, Item::Block(notebook.blocks.len()));
        notebook.blocks.push(block);
        at += 1;
    }
}

fn is_empty(block: &Block) -> bool {
    match &block.kind {
        BlockKind::Working(lines) | BlockKind::Theory(lines) => lines.is_empty(),
        BlockKind::Reaction(lines) => lines.is_empty(),
        _ => false,
    }
}

/// The index among the items behind the last block of readings or formulas; the end where there is none.
fn place_for_formulas(notebook: &Notebook) -> usize {
    let last = |wanted: &dyn Fn(&BlockKind) -> bool| {
        let is_wanted = |item: &Item| match item {
            Item::Block(index) => notebook.blocks.get(*index).is_some_and(|block| wanted(&block.kind)),
            _ => false,
        };
        notebook.items.iter().rposition(is_wanted)
    };
    let of_work = |kind: &BlockKind| {
        use BlockKind::*;
        !matches!(kind, Experiment | Claimed(_) | Table(_) | Plot(_) | Theory(_) | Cautions)
    };
    let behind = last(&of_work).or_else(|| last(&|kind| matches!(kind, BlockKind::Theory(_))));
    behind.map_or(notebook.items.len(), |index| index + 1)
}

fn species_of(blocks: &[Block]) -> BTreeSet<Vec<String>> {
    let lines = blocks.iter().filter_map(|block| match &block.kind {
        BlockKind::Reaction(lines) => Some(lines),
        _ => None,
    });
    lines.flatten().map(|line| species(&line.value)).collect()
}

/// The formulas of an equation without their coefficients and its name, in order: enough to know it again.
fn species(written: &str) -> Vec<String> {
    let equation = written.rsplit_once(": ").map_or(written, |(_, equation)| equation);
    let parts = equation.split_whitespace().filter(|part| !matches!(*part, "+" | "->" | "→" | "=" | "⟶"));
    let bare = |part: &str| part.trim_start_matches(|c: char| c.is_ascii_digit()).to_owned();
    let mut found: Vec<String> = parts.map(bare).filter(|part| !part.is_empty()).collect();
    found.sort();
    found
}
