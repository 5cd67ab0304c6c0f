//! A notebook's own formulas against the method's: two formulas differ if their values do, on the readings or on
//! two copies of them that are a little changed.
//!
//! Each own formula is worked out with everything else by the method, so that a slip in one line is not said
//! of every line that rests on it. The changed copies tell formulas apart that agree on the readings by chance.

use super::apply::{Defined, Working, names_of};
use crate::evaluation::evaluate;
use crate::evaluation::results::{Outcome, QuantityResult, Results};
use crate::finding::{Code, Finding};
use crate::notebook::Notebook;
use crate::notebook::blocks::{Block, BlockKind, Cell, CellValue, Definition, Row};
use crate::notebook::expression::Symbol;
use crate::quantity::{Decimal, Number};
use crate::span::Span;
use dashu_int::IBig;
use std::sync::Arc;

/// How many changed copies of the readings are tried.
const COPIES: u64 = 2;
/// Figures to which roots and logarithms have to agree; they are carried to 50.
const FIGURES: u32 = 30;

/// A line of the notebook whose symbol the method defines too.
struct Own {
    symbol: String,
    /// The name the line is worked out under.
    alias: Symbol,
    theory: bool,
    span: Span,
    line: Definition,
}

/// What the comparison of one symbol came to.
enum Verdict {
    Same,
    /// On the readings: the trial, the own value, the method's.
    Differs(String, String, String),
    /// Only on changed readings.
    DiffersElsewhere,
}

/// Compares every formula of the notebook whose symbol the method defines. What differs is said at its line and
/// noted in `working`.
pub(super) fn formulas(
    notebook: &mut Notebook,
    method: &[Block],
    by_method: &Defined,
    working: &mut Working,
) {
    let own = own_lines(notebook, by_method);
    let mixtures = own_mixtures(notebook, by_method);
    if own.is_empty() && mixtures.is_empty() {
        return;
    }
    let mut said = Vec::new();
    let mut say = |symbol: &str, span: Span, verdict: Verdict| {
        if let Some(finding) = finding(symbol, span, verdict) {
            working.differing.push(symbol.to_owned());
            said.push(finding);
        }
    };
    let by_method_rounds = rounds(&by_methods(notebook, method, by_method, &own));
    for line in &own {
        let alias = line.alias.to_string();
        let verdict = verdict(&by_method_rounds, |results| {
            (value(results, &alias, line.theory), value(results, &line.symbol, line.theory))
        });
        say(&line.symbol, line.span, verdict);
    }
    if !mixtures.is_empty() {
        let own_rounds = rounds(&bare(notebook, notebook.blocks.clone()));
        for (symbol, span) in mixtures {
            let mut round = own_rounds.iter();
            let verdict = verdict(&by_method_rounds, |results| {
                let own = round.next().and_then(|own| value(own, &symbol, false));
                (own, value(results, &symbol, false))
            });
            say(&symbol, span, verdict);
        }
    }
    notebook.findings.extend(said);
}

fn own_lines(notebook: &Notebook, by_method: &Defined) -> Vec<Own> {
    let mut found: Vec<Own> = Vec::new();
    for block in &notebook.blocks {
        let (lines, theory, names) = match &block.kind {
            BlockKind::Working(lines) => (lines, false, &by_method.results),
            BlockKind::Theory(lines) => (lines, true, &by_method.theories),
            _ => continue,
        };
        for line in lines.iter().filter(|line| names.contains(&line.symbol.value.to_string())) {
            // A name no notebook can define, because a symbol holds no blank.
            let alias = Symbol { name: "own formula".into(), entity: Some((found.len() + 1).to_string()) };
            let symbol = line.symbol.value.to_string();
            if symbol.starts_with("formula(") {
                continue; // a formula that is sought is no value
            }
            found.push(Own { symbol, alias, theory, span: line.span, line: line.clone() });
        }
    }
    found
}

/// The symbols of the notebook's mixtures that the method defines too.
fn own_mixtures(notebook: &Notebook, by_method: &Defined) -> Vec<(String, Span)> {
    let mixtures = notebook.blocks.iter().filter_map(|block| match &block.kind {
        BlockKind::Mixture(mixture) => Some((mixture, block.span)),
        _ => None,
    });
    mixtures
        .flat_map(|(mixture, span)| names_of(mixture).into_iter().map(move |name| (name, span)))
        .filter(|(name, _)| name.starts_with('m') && by_method.results.contains(name))
        .collect()
}

/// The notebook with the method's formulas, and its own beside them under other names.
fn by_methods(notebook: &Notebook, method: &[Block], by_method: &Defined, own: &[Own]) -> Notebook {
    let mut blocks: Vec<Block> = notebook.blocks.clone();
    blocks.retain(|block| {
        !matches!(&block.kind, BlockKind::Mixture(mixture)
            if names_of(mixture).iter().any(|name| by_method.results.contains(name)))
    });
    for block in &mut blocks {
        match &mut block.kind {
            BlockKind::Working(lines) => {
                lines.retain(|line| !by_method.results.contains(&line.symbol.value.to_string()));
            }
            BlockKind::Theory(lines) => {
                lines.retain(|line| !by_method.theories.contains(&line.symbol.value.to_string()));
            }
            _ => {}
        }
    }
    blocks.extend(method.iter().cloned());
    for theory in [false, true] {
        let lines: Vec<Definition> = own.iter().filter(|own| own.theory == theory).map(renamed).collect();
        let kind = if theory { BlockKind::Theory(lines) } else { BlockKind::Working(lines) };
        blocks.push(Block { span: Span::default(), content: Span::default(), kind });
    }
    bare(notebook, blocks)
}

fn renamed(own: &Own) -> Definition {
    let mut line = own.line.clone();
    line.symbol.value = own.alias.clone();
    line
}

/// A notebook of nothing but settings and blocks.
fn bare(notebook: &Notebook, blocks: Vec<Block>) -> Notebook {
    Notebook {
        name: notebook.name.clone(),
        text: notebook.text.clone(),
        settings: notebook.settings.clone(),
        items: Vec::new(),
        blocks,
        inline: Vec::new(),
        checks: Vec::new(),
        images: Vec::new(),
        files: Vec::new(),
        findings: Vec::new(),
    }
}

/// The results on the readings, and on each changed copy.
fn rounds(notebook: &Notebook) -> Vec<Results> {
    let copies = (1..=COPIES).map(|copy| evaluate(&changed(notebook, copy)));
    std::iter::once(evaluate(notebook)).chain(copies).collect()
}

/// Every reading changed by up to 0.05 %, every other measured value by up to 1 %, each by its own share.
fn changed(notebook: &Notebook, copy: u64) -> Notebook {
    let mut changed = notebook.clone();
    let mut draw = Draw(copy);
    for block in &mut changed.blocks {
        match &mut block.kind {
            BlockKind::Masses(masses) => {
                for row in &mut masses.rows {
                    if let Row::Load(row) = row {
                        Arc::make_mut(row).cells.iter_mut().for_each(|cell| draw.change(cell, 100_000));
                    }
                }
            }
            BlockKind::Measured(measured) => {
                let cells = measured.rows.iter_mut().flat_map(|row| &mut row.cells);
                cells.for_each(|cell| draw.change(cell, 5_000));
            }
            _ => {}
        }
    }
    changed
}

/// A fixed sequence of small shares.
struct Draw(u64);

impl Draw {
    /// Multiplies a number by `1 + k/parts`, k from −50 to 50.
    fn change(&mut self, cell: &mut Cell, parts: i64) {
        let CellValue::Number(number) = &cell.value else { return };
        // The constants of a well-known linear congruential generator (Knuth, MMIX).
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let k = i64::try_from((self.0 >> 33) % 101).unwrap_or(0) - 50;
        let coefficient = &number.coefficient * IBig::from(parts + k) * IBig::from(100_000 / parts);
        cell.value = CellValue::Number(Decimal {
            coefficient,
            exponent: number.exponent - 5,
            negative: number.negative,
            whole: false,
        });
    }
}

/// The first trial in which two values differ, in the readings or elsewhere.
fn verdict(
    rounds: &[Results],
    mut values: impl FnMut(&Results) -> (Option<Found>, Option<Found>),
) -> Verdict {
    let mut on_readings = true;
    let mut elsewhere = false;
    for results in rounds {
        if let (Some(own), Some(method)) = values(results)
            && let Some((trial, own, method)) = first_difference(&own, &method, results)
        {
            if on_readings {
                return Verdict::Differs(trial, own, method);
            }
            elsewhere = true;
        }
        on_readings = false;
    }
    if elsewhere { Verdict::DiffersElsewhere } else { Verdict::Same }
}

/// The values of a symbol: one for all trials, or one for each.
struct Found {
    scalar: bool,
    values: Vec<Option<(Number, String)>>,
}

fn value(results: &Results, symbol: &str, theory: bool) -> Option<Found> {
    let quantity = results.quantities.iter().find(|quantity| quantity.symbol == symbol)?;
    let (scalar, trials) = match (&quantity.theory, theory) {
        (Some(of), true) => (&of.scalar, &of.trials),
        _ => (&quantity.scalar, &quantity.trials),
    };
    let one = |outcome: &Outcome| shown(outcome, quantity, results);
    let values = match scalar {
        Some(outcome) => vec![one(outcome)],
        None => trials.iter().map(one).collect(),
    };
    Some(Found { scalar: scalar.is_some(), values })
}

/// The number in SI units, and as it is printed.
fn shown(outcome: &Outcome, quantity: &QuantityResult, results: &Results) -> Option<(Number, String)> {
    let value = outcome.value()?;
    let number = results.graph.quantity(value.node).number.clone();
    let unit = quantity.unit.symbol();
    let comma = results.settings.decimal == crate::notebook::settings::DecimalMark::Comma;
    Some((number, format!("{} {unit}", value.printed.typographic(comma)).trim_end().to_owned()))
}

fn first_difference(own: &Found, method: &Found, results: &Results) -> Option<(String, String, String)> {
    let trials = if own.scalar && method.scalar { 1 } else { results.trials.len() };
    (0..trials).find_map(|trial| {
        let at = |found: &Found| found.values.get(if found.scalar { 0 } else { trial }).cloned().flatten();
        let ((a, own_shown), (b, method_shown)) = (at(own)?, at(method)?);
        let name = results.trials.get(trial).filter(|_| !own.scalar || !method.scalar);
        let place = name.map_or(String::new(), |trial| format!(" in trial {}", trial.name));
        (!same(&a, &b)).then_some((place, own_shown, method_shown))
    })
}

/// Exact values are equal or not; roots and logarithms agree to so many figures.
fn same(a: &Number, b: &Number) -> bool {
    a == b || !(a.is_exact() && b.is_exact()) && a.to_figures(FIGURES) == b.to_figures(FIGURES)
}

fn finding(symbol: &str, span: Span, verdict: Verdict) -> Option<Finding> {
    let message = match verdict {
        Verdict::Same => return None,
        Verdict::Differs(trial, own, method) if own != method => {
            format!("{symbol} by the notebook's formula is {own}{trial}, by the method's {method}")
        }
        Verdict::Differs(trial, own, _) => {
            format!(
                "{symbol} by the notebook's formula and by the method's are not the same{trial}, though both print as {own}"
            )
        }
        Verdict::DiffersElsewhere => format!(
            "the formula of {symbol} gives the method's value on these readings, but would not on others"
        ),
    };
    let finding = Finding::warning(Code::MethodDiffers, span, message);
    Some(finding.hint("look again at the formula; the method's own is in the template's `method.md`"))
}
