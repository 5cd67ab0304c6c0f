//! The equations of `reaction` blocks, balanced, and the coefficients formulas ask for.

use super::results::ReactionResult;
use super::tabulated::parse_part;
use crate::chemistry::{Balanced, Formula, Given, Reaction};
use crate::finding::{Code, Finding, Severity};
use crate::notebook::Notebook;
use crate::notebook::blocks::BlockKind;
use crate::span::{Span, Spanned};
use dashu_ratio::RBig;

/// Every equation of a notebook.
#[derive(Clone, Debug, Default)]
pub(super) struct Reactions {
    pub(super) list: Vec<NamedReaction>,
}

/// One equation with its name.
#[derive(Clone, Debug)]
pub(super) struct NamedReaction {
    block: usize,
    pub(super) name: Option<String>,
    pub(super) span: Span,
    written: String,
    pub(super) balanced: Option<Balanced>,
}

impl Reactions {
    /// Reads and balances all equations; those that cannot be are findings.
    pub(super) fn of(notebook: &Notebook, findings: &mut Vec<Finding>) -> Self {
        let mut reactions = Reactions::default();
        for (block, kind) in notebook.blocks.iter().enumerate() {
            if let BlockKind::Reaction(lines) = &kind.kind {
                lines.iter().for_each(|line| reactions.add(block, line, findings));
            }
        }
        reactions
    }

    fn add(&mut self, block: usize, line: &Spanned<String>, findings: &mut Vec<Finding>) {
        let (name, equation, offset) = split_name(&line.value);
        if let Some(name) = &name
            && let Some(before) = self.list.iter().find(|other| other.name.as_ref() == Some(name))
        {
            let finding =
                Finding::error(Code::DefinedTwice, line.span, format!("two reactions are named {name}"));
            findings.push(finding.label(before.span, "first here").hint("give each a name of its own"));
        }
        let balanced = balance(equation, line.span.start + offset, findings);
        let written = equation.trim().to_string();
        self.list.push(NamedReaction { block, name, span: line.span, written, balanced });
    }

    /// The equations as the results show them.
    pub(super) fn results(&self) -> Vec<ReactionResult> {
        let one = |reaction: &NamedReaction| ReactionResult {
            block: reaction.block,
            name: reaction.name.clone(),
            written: reaction.written.clone(),
            balanced: reaction.balanced.as_ref().map(|balanced| balanced.reaction.clone()),
            span: reaction.span,
        };
        self.list.iter().map(one).collect()
    }

    /// ν(upper)/ν(lower), as written in `ν(…)`, with an optional name of the reaction before it.
    pub(super) fn ratio(&self, text: &Spanned<String>) -> Result<RBig, Box<Finding>> {
        let (name, _, offset) = split_name(&text.value);
        let (upper, lower) = split_ratio(text, offset)?;
        let named = |reaction: &&NamedReaction| name.is_none() || reaction.name == name;
        let found: Vec<RBig> = self
            .list
            .iter()
            .filter(named)
            .filter_map(|reaction| reaction.balanced.as_ref()?.ratio(&upper, &lower))
            .collect();
        match found.as_slice() {
            [one] => Ok(one.clone()),
            [] => Err(Box::new(self.not_found(text, name.as_deref(), &upper, &lower))),
            _ => Err(Box::new(self.several(text, &upper, &lower))),
        }
    }

    fn not_found(
        &self,
        text: &Spanned<String>,
        name: Option<&str>,
        upper: &Formula,
        lower: &Formula,
    ) -> Finding {
        let message = match name {
            Some(name) if !self.list.iter().any(|reaction| reaction.name.as_deref() == Some(name)) => {
                format!("no reaction is named {name}")
            }
            _ => format!("no balanced reaction has both {} and {}", upper.unicode(), lower.unicode()),
        };
        let finding = Finding::error(Code::UnknownReaction, text.span, message);
        finding.hint("write the equation in a `reaction` block, with both substances in it")
    }

    fn several(&self, text: &Spanned<String>, upper: &Formula, lower: &Formula) -> Finding {
        let message = format!("{} and {} stand in several reactions", upper.unicode(), lower.unicode());
        let name = self.list.iter().find_map(|reaction| reaction.name.as_deref()).unwrap_or("stage 1");
        let finding = Finding::error(Code::UnknownReaction, text.span, message);
        finding.hint(format!(
            "name the one that is meant, as in `ν({name}: {}/{})`",
            upper.text(),
            lower.text()
        ))
    }
}

/// An optional `name:` before an equation, and where the equation begins.
pub(super) fn split_name(text: &str) -> (Option<String>, &str, usize) {
    match text.split_once(':') {
        Some((name, rest)) if !name.trim().is_empty() => {
            (Some(name.split_whitespace().collect::<Vec<_>>().join(" ")), rest, text.len() - rest.len())
        }
        _ => (None, text, 0),
    }
}

fn balance(equation: &str, start: usize, findings: &mut Vec<Finding>) -> Option<Balanced> {
    let whole = Span::new(start, start + equation.len());
    let reaction = match Reaction::parse(equation) {
        Ok(reaction) => reaction,
        Err(error) => {
            let span = Span::new(start + error.range.start, start + error.range.end);
            let finding = Finding::error(Code::UnknownFormula, span, error.message);
            findings.push(error.hint.into_iter().fold(finding, Finding::hint));
            return None;
        }
    };
    for (range, reading) in reaction.ambiguities() {
        let span = Span::new(start + range.start, start + range.end);
        findings.push(Finding::note(Code::FormulaReading, span, reading));
    }
    match reaction.balance() {
        Ok(balanced) => {
            check_given(&balanced, whole, findings);
            Some(balanced)
        }
        Err(problem) => {
            let finding = Finding::error(Code::UnbalancedReaction, whole, problem.message());
            findings.push(finding.hint(problem.hint()));
            None
        }
    }
}

/// The two formulas around the `/` that parts them, from this byte of a text on; a `/` may also stand within a coefficient.
fn split_ratio(text: &Spanned<String>, from: usize) -> Result<(Formula, Formula), Box<Finding>> {
    let slashes = text.value.match_indices('/').map(|(at, _)| at).filter(|at| *at >= from);
    let splits = slashes.map(|at| (from..at, at + 1..text.value.len()));
    let both = |(upper, lower)| Some((parse_part(text, upper).ok()?, parse_part(text, lower).ok()?));
    if let Some(pair) = splits.clone().find_map(both) {
        return Ok(pair);
    }
    match splits.into_iter().next() {
        Some((upper, lower)) => Ok((parse_part(text, upper)?, parse_part(text, lower)?)),
        None => {
            let finding =
                Finding::error(Code::SyntaxError, text.span, "ν takes two substances parted by `/`");
            Err(Box::new(finding.hint("write it as `ν(BaSO4/Na2SO4)`")))
        }
    }
}

/// What to say of coefficients that were written.
fn check_given(balanced: &Balanced, span: Span, findings: &mut Vec<Finding>) {
    let finding = match &balanced.given {
        Given::Nothing | Given::Right => return,
        Given::Multiple(factor) => {
            let message = format!("the coefficients are {factor} times the smallest whole ones");
            Finding::note(Code::UnbalancedReaction, span, message)
        }
        Given::Wrong(unequal) => {
            let unequal: Vec<String> = unequal.iter().map(ToString::to_string).collect();
            let message = format!("the coefficients as written do not balance: {}", unequal.join("; "));
            Finding::warning(Code::UnbalancedReaction, span, message)
        }
        Given::Chosen(dimension) => {
            let message = format!(
                "the equation has {dimension} independent solutions; the coefficients as written are one and are used"
            );
            Finding::note(Code::UnbalancedReaction, span, message)
        }
    };
    let balanced = balanced.reaction.text();
    findings.push(if finding.severity == Severity::Note {
        finding
    } else {
        finding.hint(format!("it balances as {balanced}"))
    });
}
