//! The worked calculation: formula trees as mathematics and as spoken words, and what follows from amounts.
//!
//! Both forms are made from one tree, so they cannot say different things.

use super::code::{self, Fields};
use super::math::{self, Math, Quantity};
use super::words::{self, Ink, Words};
use crate::evaluation::formula_tree::FormulaTree;
use crate::evaluation::results::{
    FormulaFound, PartFound, ReactionResult, Results, WholeNumberResult, WorkedLine, YieldResult,
};
use crate::notebook::settings::DecimalMark;
use crate::span::Span;

/// Lines of a worked calculation.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Worked {
    /// The trial they are worked out for.
    pub(super) trial: Option<String>,
    /// Whether they are the theory's.
    pub(super) theory: bool,
    /// Whether the guard digit is explained.
    pub(super) explain: bool,
    pub(super) lines: Vec<Line>,
}

/// One line: a symbol, and what it is equal to in several forms.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    /// What is read out for it.
    pub(super) alt: String,
    pub(super) symbol: Math,
    /// Formula, numbers put in, result: each in pieces between which a line may break.
    pub(super) rows: Vec<Vec<Math>>,
    pub(super) remark: Option<String>,
    /// Why there is no result.
    pub(super) missing: Option<String>,
}

/// A formula sought from amounts, or the reagent that limits.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sought {
    pub(super) symbol: Words,
    pub(super) formula: Option<Words>,
    /// The ratios of the formula's parts, or the equation.
    pub(super) from: SoughtFrom,
    pub(super) verdict: String,
    pub(super) span: Span,
}

/// What a formula or a limiting reagent follows from.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum SoughtFrom {
    Ratios(Vec<Words>),
    Equation(String),
}

/// What the data say of a whole number of the theory.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Whole {
    pub(super) symbol: Words,
    /// The value found, with its uncertainty.
    pub(super) found: String,
    pub(super) verdict: String,
    pub(super) span: Span,
}

/// An equation of a reaction.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Equation {
    pub(super) name: Option<String>,
    pub(super) equation: Words,
    pub(super) balanced: bool,
    pub(super) span: Span,
}

/// Sets formulas with a notebook's decimal mark.
#[derive(Clone, Copy)]
pub(super) struct Setter {
    mark: DecimalMark,
    /// Whether fractions are set with a slash, as within another fraction, where a bar would make them tiny.
    slash: bool,
}

/// The worked lines of the working or of the theory; `None` where there is none.
pub(super) fn lines(results: &Results, theory: bool, first: bool) -> Option<Worked> {
    let setter = Setter::new(results.settings.decimal);
    let lines: Vec<Line> = results
        .worked
        .iter()
        .filter(|line| line.theory == theory)
        .map(|line| setter.line(line, remark_of(results, line)))
        .collect();
    let trial = worked_trial(results).filter(|_| !theory);
    (!lines.is_empty()).then(|| Worked { trial, theory, explain: first && has_guard(results), lines })
}

fn worked_trial(results: &Results) -> Option<String> {
    Some(results.trials.get(results.worked_trial?)?.name.clone())
}

/// The equations of a mixture with the masses that solve them; `None` where it could not be solved.
pub(super) fn mixture(results: &Results, block: Span) -> Option<Worked> {
    let setter = Setter::new(results.settings.decimal);
    let mixture = results.mixtures.iter().find(|mixture| mixture.span == block)?;
    let lines = mixture.lines.iter().chain(&mixture.masses).map(|line| setter.line(line, None)).collect();
    Some(Worked { trial: worked_trial(results), theory: false, explain: false, lines })
}

impl Worked {
    /// As a call of the layout.
    pub(super) fn set(&self, ink: &Ink) -> String {
        Fields::new()
            .flag("theory", self.theory)
            .optional("trial", self.trial.as_ref().map(|trial| ink.text(trial, None)))
            .flag("explain", self.explain)
            .code("lines", code::lines(self.lines.iter().map(|line| line.set(ink))))
            .call("layout.worked")
            + "\n"
    }

    /// The equations of a mixture as a call of the layout.
    pub(super) fn set_mixture(&self, ink: &Ink) -> String {
        Fields::new()
            .optional("trial", self.trial.as_ref().map(|trial| ink.text(trial, None)))
            .code("lines", code::lines(self.lines.iter().map(|line| line.set(ink))))
            .call("layout.mixture")
            + "\n"
    }
}

impl Line {
    fn set(&self, ink: &Ink) -> String {
        let set = |math: &Math| math::set(math, ink, Span::default());
        let row = |row: &Vec<Math>| code::array(row.iter().map(set));
        Fields::new()
            .aside("alt", &self.alt)
            .code("symbol", set(&self.symbol))
            .code("rows", code::array(self.rows.iter().map(row)))
            .optional("remark", self.remark.as_ref().map(|remark| ink.text(remark, None)))
            .optional("missing", self.missing.as_ref().map(|reason| ink.text(reason, None)))
            .dictionary()
    }
}

/// The formulas sought from amounts, with their ratios and the verdict, and the reagents that limit.
pub(super) fn sought(results: &Results) -> Vec<Sought> {
    let formulas = results.formulas.iter().map(|found| formula_sought(found, results.settings.decimal));
    formulas.chain(results.yields.iter().map(|found| yielding(found, results))).collect()
}

fn formula_sought(found: &FormulaFound, mark: DecimalMark) -> Sought {
    let ratio = |part: &PartFound| {
        let printed = words::printed_text(&part.ratio.printed, mark);
        let expanded = part.expanded.as_ref().map(|expanded| format!(" ± {}", words::digits(expanded, mark)));
        let mut words = words::entity_words(&part.part);
        words.push(words::Run::Plain(format!(" {printed}{}", expanded.unwrap_or_default())));
        words
    };
    Sought {
        symbol: words::symbol(&found.symbol),
        formula: found.formula.as_ref().map(|formula| words::formula(formula)),
        from: SoughtFrom::Ratios(found.parts.iter().map(ratio).collect()),
        verdict: found.verdict.clone(),
        span: found.span,
    }
}

/// Which reagent limits, per trial.
fn yielding(found: &YieldResult, results: &Results) -> Sought {
    let per_trial = found.verdicts.len() == results.trials.len() && results.trials.len() > 1;
    let said = found.verdicts.iter().enumerate().filter_map(|(index, verdict)| {
        let name = results.trials.get(index).filter(|_| per_trial);
        let name = name.map_or(String::new(), |trial| format!("{}: ", trial.name));
        verdict.as_ref().map(|verdict| format!("{name}{verdict}"))
    });
    Sought {
        symbol: words::symbol(&found.symbol),
        formula: None,
        from: SoughtFrom::Equation(found.equation.clone()),
        verdict: said.collect::<Vec<_>>().join("; "),
        span: found.span,
    }
}

/// Formulas sought and limiting reagents as a call of the layout.
pub(super) fn set_sought(all: &[Sought], ink: &Ink) -> String {
    format!("layout.sought({})\n", code::array(all.iter().map(|sought| sought.set(ink))))
}

impl Sought {
    fn set(&self, ink: &Ink) -> String {
        let words = |words: &Words| ink.words(words, None);
        let fields = Fields::new()
            .code("symbol", ink.words(&self.symbol, Some(self.span)))
            .optional("formula", self.formula.as_ref().map(words))
            .code("verdict", ink.text(&self.verdict, Some(self.span)));
        match &self.from {
            SoughtFrom::Ratios(ratios) => fields.code("ratios", code::array(ratios.iter().map(words))),
            SoughtFrom::Equation(equation) => fields.code("found", ink.text(equation, None)),
        }
        .dictionary()
    }
}

/// What the data say of the whole numbers of the theory.
pub(super) fn whole_numbers(results: &Results) -> Vec<Whole> {
    let mark = results.settings.decimal;
    let whole = |found: &WholeNumberResult| Whole {
        symbol: words::symbol(&found.symbol),
        found: format!(
            "{} ± {}",
            words::printed_text(&found.ratio.printed, mark),
            words::digits(&found.expanded, mark)
        ),
        verdict: found.verdict.clone(),
        span: found.span,
    };
    results.whole_numbers.iter().map(whole).collect()
}

/// The whole numbers as a call of the layout.
pub(super) fn set_whole_numbers(all: &[Whole], ink: &Ink) -> String {
    let set = |whole: &Whole| {
        Fields::new()
            .code("symbol", ink.words(&whole.symbol, Some(whole.span)))
            .code("found", ink.text(&whole.found, None))
            .code("verdict", ink.text(&whole.verdict, Some(whole.span)))
            .dictionary()
    };
    format!("layout.whole-numbers({})\n", code::array(all.iter().map(set)))
}

/// The equations of a `reaction` block, balanced where they can be.
pub(super) fn reactions(results: &Results, block: usize) -> Vec<Equation> {
    let equation = |reaction: &ReactionResult| Equation {
        name: reaction.name.clone(),
        equation: match &reaction.balanced {
            Some(balanced) => words::equation(balanced),
            None => words::plain(&reaction.written),
        },
        balanced: reaction.balanced.is_some(),
        span: reaction.span,
    };
    results.reactions.iter().filter(|reaction| reaction.block == block).map(equation).collect()
}

/// Equations as a call of the layout.
pub(super) fn set_reactions(equations: &[Equation], ink: &Ink) -> String {
    let line = |equation: &Equation| {
        let span = Some(equation.span);
        Fields::new()
            .optional("name", equation.name.as_ref().map(|name| ink.text(name, span)))
            .code("equation", ink.words(&equation.equation, span))
            .flag("unbalanced", !equation.balanced)
            .dictionary()
    };
    format!("layout.reactions({})\n", code::array(equations.iter().map(line)))
}

fn remark_of<'r>(results: &'r Results, line: &'r WorkedLine) -> Option<&'r str> {
    let remark = || results.quantities.get(line.quantity)?.remark.as_deref();
    line.reason.as_deref().or_else(remark)
}

/// Whether any number shows a guard digit.
fn has_guard(results: &Results) -> bool {
    results.worked.iter().filter_map(|line| line.substituted.as_ref()).any(guarded)
}

fn guarded(tree: &FormulaTree) -> bool {
    match tree {
        FormulaTree::Number { guard, .. } => *guard,
        tree => children(tree).into_iter().any(guarded),
    }
}

/// The parts of a node.
fn children(tree: &FormulaTree) -> Vec<&FormulaTree> {
    use FormulaTree::*;
    match tree {
        Number { .. } | Symbol { .. } | Missing => Vec::new(),
        Negate(a) | SquareRoot(a) | Magnitude(a) | Bracket(a) => vec![a],
        Add(a, b) | Subtract(a, b) | Multiply(a, b) | Divide(a, b) | Power(a, b) => vec![a, b],
        Call(_, arguments) => arguments.iter().collect(),
    }
}

impl Setter {
    pub(super) fn new(mark: DecimalMark) -> Self {
        Setter { mark, slash: false }
    }

    /// One line: symbol, formula, numbers put in, result.
    pub(super) fn line(&self, line: &WorkedLine, remark: Option<&str>) -> Line {
        let substituted = line.substituted.as_ref().filter(|tree| **tree != FormulaTree::Missing);
        let new = |result: &&FormulaTree| **result != line.formula && Some(*result) != substituted;
        let rows = [Some(&line.formula), substituted, line.result.as_ref().filter(new)];
        let mut rows: Vec<Vec<Math>> = rows.into_iter().flatten().map(|tree| self.segments(tree)).collect();
        if line.result.is_none() {
            rows.push(vec![Math::Missing]);
        }
        Line {
            alt: self.spoken_line(line),
            symbol: self.tree(&line.symbol),
            rows,
            remark: remark.map(str::to_owned),
            missing: line.missing.clone(),
        }
    }

    fn spoken_line(&self, line: &WorkedLine) -> String {
        let mut said = vec![format!("{} equals {}", self.spoken(&line.symbol), self.spoken(&line.formula))];
        said.extend(line.substituted.as_ref().map(|tree| format!("with numbers: {}", self.spoken(tree))));
        said.push(match &line.result {
            Some(result) => format!("result: {}", self.spoken(result)),
            None => format!("no result: {}", line.missing.as_deref().unwrap_or("it could not be computed")),
        });
        said.join("; ")
    }

    /// The top level of a formula in pieces between which a line may break; each begins with its operator.
    fn segments(&self, tree: &FormulaTree) -> Vec<Math> {
        use FormulaTree::*;
        if let Some(product) = product_of_fractions(tree) {
            return self.segments(&product);
        }
        let (left, operator, right) = match tree {
            Add(a, b) => (a, sign('+'), self.guarded_term(b)),
            Subtract(a, b) => (a, sign('−'), self.guarded_term(b)),
            Multiply(a, b) => (a, product_sign(a, b), self.factor(b)),
            tree => return vec![self.tree(tree)],
        };
        let mut segments = match tree {
            Multiply(..) if is_sum(left) || self.is_slashed(left) => vec![self.factor(left)],
            _ => self.segments(left),
        };
        segments.push(Math::Row(vec![operator, right]));
        segments
    }

    /// A formula as mathematics.
    pub(super) fn tree(&self, tree: &FormulaTree) -> Math {
        use FormulaTree::*;
        if let Some(same) = product_of_fractions(tree).or_else(|| single_fraction(tree)) {
            return self.tree(&same);
        }
        match tree {
            Number { printed, unit, guard, of } => {
                let quantity =
                    self.number(&printed.digits, printed.exponent, words::unit_symbol(unit), *guard);
                Math::Quantity(Quantity { node: of.0, ..quantity })
            }
            Symbol { name, entity, formula, trial } => {
                Math::Symbol(symbol_words(name, entity.as_deref(), *formula, trial.as_deref()))
            }
            Negate(a) => Math::Row(vec![sign('−'), self.factor(a)]),
            Add(..) | Subtract(..) | Multiply(..) => row(self.segments(tree)),
            Divide(a, b) if self.slash => self.slashed(a, b),
            Divide(a, b) => {
                let inner = self.within_fraction();
                Math::Fraction(Box::new(inner.tree(bare(a))), Box::new(inner.tree(bare(b))))
            }
            Power(a, b) => {
                let above = self.within_fraction().tree(bare(b));
                Math::Scripts(Box::new(self.base(a)), None, Some(Box::new(above)))
            }
            SquareRoot(a) => Math::Root(None, Box::new(self.tree(a))),
            Call(name, arguments) => self.call(name, arguments),
            Magnitude(a) => Math::Fenced(Some('|'), Some('|'), Box::new(self.tree(a))),
            Bracket(a) => bracketed(self.tree(a)),
            Missing => Math::Missing,
        }
    }

    fn within_fraction(&self) -> Setter {
        Setter { slash: true, ..*self }
    }

    /// Whether it is a fraction that is set with a slash.
    fn is_slashed(&self, tree: &FormulaTree) -> bool {
        self.slash && matches!(tree, FormulaTree::Divide(..))
    }

    /// A fraction with a slash. What could be read otherwise after it or before it is bracketed: a sum, and a number
    /// with a slash in its unit; after it a product and another fraction too.
    fn slashed(&self, over: &FormulaTree, under: &FormulaTree) -> Math {
        let fence = |tree: &FormulaTree, brackets: bool| match brackets {
            true => bracketed(self.tree(tree)),
            false => self.factor(tree),
        };
        let product = matches!(under, FormulaTree::Multiply(..));
        let over = fence(over, has_slashed_unit(over));
        let under = fence(under, product || has_slashed_unit(under));
        Math::Row(vec![over, sign('/'), under])
    }

    fn number(&self, ascii: &str, power: Option<i32>, unit: &str, guard: bool) -> Quantity {
        let digits = words::digits(ascii, self.mark);
        let (kept, last) = match digits.char_indices().last() {
            Some((at, _)) if guard => digits.split_at(at),
            _ => (digits.as_str(), ""),
        };
        Quantity {
            digits: kept.to_owned(),
            guard: Some(last.to_owned()).filter(|last| !last.is_empty()),
            power: power.map(words::power),
            unit: (!matches!(unit, "" | "1")).then(|| words::unit(unit)),
            node: None,
        }
    }

    fn call(&self, name: &str, arguments: &[FormulaTree]) -> Math {
        let separator = Math::Separator(if self.mark == DecimalMark::Comma { ";" } else { "," });
        let mut inside = Vec::new();
        for argument in arguments {
            if !inside.is_empty() {
                inside.push(separator.clone());
            }
            inside.push(self.tree(argument));
        }
        let bare = matches!(arguments, [FormulaTree::Symbol { .. } | FormulaTree::Bracket(_)]);
        let argument = if bare { row(inside) } else { bracketed(row(inside)) };
        Math::Row(vec![Math::Function(name.to_owned()), argument])
    }

    /// A term after a sign: bracketed where it begins with a sign itself.
    fn guarded_term(&self, tree: &FormulaTree) -> Math {
        if is_negative(tree) || is_sum(tree) { bracketed(self.tree(tree)) } else { self.tree(tree) }
    }

    fn factor(&self, tree: &FormulaTree) -> Math {
        if self.is_slashed(tree) { bracketed(self.tree(tree)) } else { self.guarded_term(tree) }
    }

    /// A base of a power: a number with a unit or a sign is bracketed.
    fn base(&self, tree: &FormulaTree) -> Math {
        let brackets = match tree {
            FormulaTree::Number { unit, .. } => {
                !matches!(words::unit_symbol(unit), "" | "1") || is_negative(tree)
            }
            FormulaTree::Symbol { .. } | FormulaTree::Bracket(_) => false,
            _ => true,
        };
        if brackets { bracketed(self.tree(tree)) } else { self.tree(tree) }
    }

    /// A formula in words.
    pub(super) fn spoken(&self, tree: &FormulaTree) -> String {
        use FormulaTree::*;
        match tree {
            Number { printed, unit, .. } => {
                let unit = words::spoken_unit(words::unit_symbol(unit));
                let number = self.spoken_number(&printed.digits, printed.exponent);
                if unit.is_empty() { number } else { format!("{number} {unit}") }
            }
            Symbol { name, entity, trial, .. } => {
                let symbol = words::spoken_symbol(name, entity.as_deref());
                trial.as_ref().map_or(symbol.clone(), |trial| format!("{symbol} in trial {trial}"))
            }
            Negate(a) => format!("minus {}", self.spoken_part(a)),
            Add(a, b) => format!("{} plus {}", self.spoken(a), self.spoken(b)),
            Subtract(a, b) => format!("{} minus {}", self.spoken(a), self.spoken_part(b)),
            Multiply(a, b) => format!("{} times {}", self.spoken_part(a), self.spoken_part(b)),
            Divide(a, b) => format!("{} over {}", self.spoken_part(a), self.spoken_part(b)),
            Power(a, b) => format!("{} to the power {}", self.spoken_part(a), self.spoken_part(b)),
            SquareRoot(a) => format!("the square root of {}", self.spoken_part(a)),
            Call(name, arguments) => {
                let said: Vec<String> = arguments.iter().map(|argument| self.spoken(argument)).collect();
                format!("{name} of {}", said.join(" and "))
            }
            Magnitude(a) => format!("the magnitude of {}", self.spoken_part(a)),
            Bracket(a) => format!("open bracket {} close bracket", self.spoken(a)),
            Missing => "a missing value".to_owned(),
        }
    }

    fn spoken_number(&self, ascii: &str, power: Option<i32>) -> String {
        let digits = words::digits(ascii, self.mark).replace('−', "minus ");
        match power {
            Some(power) => {
                format!("{digits} times ten to the power {}", power.to_string().replace('-', "minus "))
            }
            None => digits,
        }
    }

    /// A part that needs brackets to be understood when said.
    fn spoken_part(&self, tree: &FormulaTree) -> String {
        use FormulaTree::*;
        match tree {
            Add(..) | Subtract(..) | Divide(..) | Multiply(..) => {
                format!("open bracket {} close bracket", self.spoken(tree))
            }
            tree => self.spoken(tree),
        }
    }
}

fn symbol_words(name: &str, entity: Option<&str>, formula: bool, trial: Option<&str>) -> Words {
    let mut words = words::letters(name);
    if let Some(entity) = entity {
        words.push(words::Run::Plain("(".to_owned()));
        words.extend(if formula { words::entity_words(entity) } else { words::plain(entity) });
        words.push(words::Run::Plain(")".to_owned()));
    }
    if let Some(trial) = trial {
        words.push(words::Run::Lowered(trial.to_owned()));
    }
    words
}

fn sign(c: char) -> Math {
    Math::Sign(c, "")
}

/// Several as a row; one as itself.
fn row(mut items: Vec<Math>) -> Math {
    if items.len() == 1 { items.remove(0) } else { Math::Row(items) }
}

fn bracketed(body: Math) -> Math {
    Math::Fenced(Some('('), Some(')'), Box::new(body))
}

/// `a / b * c / d` reads as ((a / b) · c) / d; it is set as a / b · c / d, which is the same.
fn product_of_fractions(tree: &FormulaTree) -> Option<FormulaTree> {
    let FormulaTree::Divide(over, under) = tree else { return None };
    let FormulaTree::Multiply(first, second) = over.as_ref() else { return None };
    holds_fraction(first).then(|| {
        let fraction = FormulaTree::Divide(second.clone(), under.clone());
        FormulaTree::Multiply(first.clone(), Box::new(fraction))
    })
}

/// `a / b / c` reads as (a / b) / c; it is set as a / (b · c), which is the same.
fn single_fraction(tree: &FormulaTree) -> Option<FormulaTree> {
    let FormulaTree::Divide(over, last) = tree else { return None };
    let FormulaTree::Divide(over, first) = over.as_ref() else { return None };
    let under = FormulaTree::Multiply(first.clone(), last.clone());
    Some(FormulaTree::Divide(over.clone(), Box::new(under)))
}

fn has_slashed_unit(tree: &FormulaTree) -> bool {
    match tree {
        FormulaTree::Number { unit, .. } => words::unit_symbol(unit).contains('/'),
        FormulaTree::Multiply(a, b) => has_slashed_unit(a) || has_slashed_unit(b),
        _ => false,
    }
}

fn holds_fraction(tree: &FormulaTree) -> bool {
    match tree {
        FormulaTree::Divide(..) => true,
        FormulaTree::Multiply(a, b) => holds_fraction(a) || holds_fraction(b),
        _ => false,
    }
}

/// What stands over or under a fraction bar needs no bracket around it.
fn bare(tree: &FormulaTree) -> &FormulaTree {
    match tree {
        FormulaTree::Bracket(inside) => inside,
        tree => tree,
    }
}

fn is_negative(tree: &FormulaTree) -> bool {
    match tree {
        FormulaTree::Number { printed, .. } => printed.digits.starts_with('-'),
        FormulaTree::Negate(_) => true,
        _ => false,
    }
}

fn is_sum(tree: &FormulaTree) -> bool {
    matches!(tree, FormulaTree::Add(..) | FormulaTree::Subtract(..))
}

/// Whether what is printed begins with a digit or a sign.
fn begins_with_number(tree: &FormulaTree) -> bool {
    match tree {
        FormulaTree::Number { .. } | FormulaTree::Negate(_) | FormulaTree::Bracket(_) => true,
        FormulaTree::Multiply(a, _) | FormulaTree::Power(a, _) => begins_with_number(a),
        FormulaTree::Divide(a, _) => begins_with_number(a),
        _ => false,
    }
}

/// Between numbers a cross, so that no point is taken for a decimal marker; before a symbol a thin space
/// after a bare number; else a raised point.
fn product_sign(a: &FormulaTree, b: &FormulaTree) -> Math {
    match (a, b) {
        (_, b) if begins_with_number(b) => sign('×'),
        (FormulaTree::Number { .. }, _) => Math::Thin,
        _ => sign('⋅'),
    }
}

#[cfg(test)]
mod tests {
    use super::FormulaTree::{Divide, Multiply};
    use super::*;
    use crate::report::words::Glyph;

    fn symbol(name: &str) -> Box<FormulaTree> {
        Box::new(FormulaTree::Symbol { name: name.into(), entity: None, formula: false, trial: None })
    }

    /// The marks of a formula in the order they are set, its symbols as `x`.
    fn marks(tree: &FormulaTree) -> String {
        let ink = Ink::new(&|_| Glyph::Everywhere);
        let set = math::set(&Setter::new(DecimalMark::Point).tree(tree), &ink, Span::default());
        let marks = ["math.frac", "layout.symbol", "\"/\"", "\"⋅\"", "\"(\"", "\")\""];
        let mut found: Vec<(usize, &str)> = marks.iter().flat_map(|mark| set.match_indices(mark)).collect();
        found.sort_unstable();
        let short =
            |mark: &str| mark.trim_matches('"').replace("math.frac", "F").replace("layout.symbol", "x");
        found.into_iter().map(|(_, mark)| short(mark)).collect()
    }

    #[test]
    fn no_fraction_stands_within_another() {
        let half = |a: &str, b: &str| Box::new(Divide(symbol(a), symbol(b)));
        let bracket = |tree| Box::new(FormulaTree::Bracket(tree));
        assert_eq!(marks(&Divide(bracket(half("a", "b")), bracket(half("c", "d")))), "Fx/xx/x");
        let product = Box::new(Multiply(symbol("a"), symbol("b")));
        assert_eq!(marks(&Divide(Box::new(Divide(product, symbol("c"))), symbol("d"))), "Fx⋅xx⋅x");
        let product = Box::new(Multiply(half("a", "b"), symbol("c")));
        assert_eq!(marks(&Divide(bracket(product), symbol("d"))), "F(x/x)⋅xx");
        assert_eq!(marks(&Divide(symbol("a"), half("b", "c"))), "Fxx/x");
    }
}
