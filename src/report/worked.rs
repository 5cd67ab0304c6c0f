//! The worked calculation: formula trees as typeset mathematics and as spoken words.
//!
//! Both forms are made from one tree, so they cannot say different things.

use super::code::{self, Fields};
use super::words::{self, Ink, Words};
use crate::evaluation::formula_tree::FormulaTree;
use crate::evaluation::results::{
    FormulaFound, PartFound, ReactionResult, Results, WholeNumberResult, WorkedLine, YieldResult,
};
use crate::notebook::settings::DecimalMark;
use crate::span::Span;

/// Sets formulas with a notebook's decimal mark.
pub(super) struct Setter<'a> {
    ink: &'a Ink<'a>,
    mark: DecimalMark,
    /// Whether fractions are set with a slash, as within another fraction, where a bar would make them tiny.
    slash: bool,
}

/// The worked lines of the working or of the theory, as a call of the layout; empty where there is none.
pub(super) fn lines(results: &Results, ink: &Ink, theory: bool, first: bool) -> String {
    let setter = Setter::new(ink, results.settings.decimal);
    let chosen: Vec<String> = results
        .worked
        .iter()
        .filter(|line| line.theory == theory)
        .map(|line| setter.line(line, remark_of(results, line)))
        .collect();
    if chosen.is_empty() {
        return String::new();
    }
    let trial = results.worked_trial.and_then(|index| results.trials.get(index)).filter(|_| !theory);
    Fields::new()
        .flag("theory", theory)
        .optional("trial", trial.map(|trial| ink.text(&trial.name, None)))
        .flag("explain", first && has_guard(results))
        .code("lines", code::lines(chosen))
        .call("layout.worked")
        + "\n"
}

/// The equations of a mixture with the masses that solve them; `None` where it could not be solved.
pub(super) fn mixture(results: &Results, block: Span, ink: &Ink) -> Option<String> {
    let setter = Setter::new(ink, results.settings.decimal);
    let mixture = results.mixtures.iter().find(|mixture| mixture.span == block)?;
    let lines = mixture.lines.iter().chain(&mixture.masses).map(|line| setter.line(line, None));
    let trial = results.worked_trial.and_then(|index| results.trials.get(index));
    let call = Fields::new()
        .optional("trial", trial.map(|trial| ink.text(&trial.name, None)))
        .code("lines", code::lines(lines))
        .call("layout.mixture");
    Some(call + "\n")
}

/// The formulas sought from amounts: ratios with their uncertainty, and the verdict. Empty where none is.
pub(super) fn formulas(results: &Results, ink: &Ink) -> String {
    let mark = results.settings.decimal;
    let ratio = |part: &PartFound| {
        let printed = words::printed_text(&part.ratio.printed, mark);
        let expanded = part.expanded.as_ref().map(|expanded| format!(" ± {}", words::digits(expanded, mark)));
        let mut words = words::entity_words(&part.part);
        words.push(words::Run::Plain(format!(" {printed}{}", expanded.unwrap_or_default())));
        ink.words(&words, None)
    };
    let entry = |found: &FormulaFound| {
        Fields::new()
            .code("symbol", ink.words(&words::symbol(&found.symbol), Some(found.span)))
            .optional(
                "formula",
                found.formula.as_ref().map(|formula| ink.words(&words::formula(formula), None)),
            )
            .code("verdict", ink.text(&found.verdict, Some(found.span)))
            .code("ratios", code::array(found.parts.iter().map(ratio)))
            .dictionary()
    };
    let all: Vec<String> = results
        .formulas
        .iter()
        .map(entry)
        .chain(results.yields.iter().map(|found| yielding(found, results, ink)))
        .collect();
    let sought =
        if all.is_empty() { String::new() } else { format!("layout.sought({})\n", code::array(all)) };
    whole_numbers(results, ink) + &sought
}

/// What the data say of the whole numbers of the theory; empty where it has none.
fn whole_numbers(results: &Results, ink: &Ink) -> String {
    let mark = results.settings.decimal;
    let all: Vec<String> = results.whole_numbers.iter().map(|found| whole_number(found, ink, mark)).collect();
    if all.is_empty() { String::new() } else { format!("layout.whole-numbers({})\n", code::array(all)) }
}

/// What the data say of a whole number of the theory.
fn whole_number(found: &WholeNumberResult, ink: &Ink, mark: DecimalMark) -> String {
    let shown = words::printed_text(&found.ratio.printed, mark);
    let ratio = format!("{shown} ± {}", words::digits(&found.expanded, mark));
    Fields::new()
        .code("symbol", ink.words(&words::symbol(&found.symbol), Some(found.span)))
        .code("found", ink.text(&ratio, None))
        .code("verdict", ink.text(&found.verdict, Some(found.span)))
        .dictionary()
}

/// Which reagent limits, per trial.
fn yielding(found: &YieldResult, results: &Results, ink: &Ink) -> String {
    let per_trial = found.verdicts.len() == results.trials.len() && results.trials.len() > 1;
    let said = found.verdicts.iter().enumerate().filter_map(|(index, verdict)| {
        let name = results.trials.get(index).filter(|_| per_trial);
        let name = name.map_or(String::new(), |trial| format!("{}: ", trial.name));
        verdict.as_ref().map(|verdict| format!("{name}{verdict}"))
    });
    Fields::new()
        .code("symbol", ink.words(&words::symbol(&found.symbol), Some(found.span)))
        .code("verdict", ink.text(&said.collect::<Vec<_>>().join("; "), Some(found.span)))
        .code("found", ink.text(&found.equation, None))
        .dictionary()
}

/// The equations of a `reaction` block, balanced where they can be.
pub(super) fn reactions(results: &Results, block: usize, ink: &Ink) -> Option<String> {
    let mut lines = results.reactions.iter().filter(|reaction| reaction.block == block).peekable();
    lines.peek()?;
    let line = |reaction: &ReactionResult| {
        let equation = match &reaction.balanced {
            Some(balanced) => ink.words(&words::equation(balanced), Some(reaction.span)),
            None => ink.text(&reaction.written, Some(reaction.span)),
        };
        Fields::new()
            .optional("name", reaction.name.as_ref().map(|name| ink.text(name, Some(reaction.span))))
            .code("equation", equation)
            .flag("unbalanced", reaction.balanced.is_none())
            .dictionary()
    };
    Some(format!("layout.reactions({})\n", code::array(lines.map(line))))
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

impl<'a> Setter<'a> {
    pub(super) fn new(ink: &'a Ink<'a>, mark: DecimalMark) -> Self {
        Setter { ink, mark, slash: false }
    }

    /// One line: symbol, formula, numbers put in, result.
    pub(super) fn line(&self, line: &WorkedLine, remark: Option<&str>) -> String {
        let substituted = line.substituted.as_ref().filter(|tree| **tree != FormulaTree::Missing);
        let new = |result: &&FormulaTree| **result != line.formula && Some(*result) != substituted;
        let rows = [Some(&line.formula), substituted, line.result.as_ref().filter(new)];
        let mut set: Vec<String> =
            rows.into_iter().flatten().map(|tree| code::array(self.segments(tree))).collect();
        if line.result.is_none() {
            set.push(code::array(["layout.dash".to_owned()]));
        }
        Fields::new()
            .aside("alt", &self.spoken_line(line))
            .code("symbol", self.tree(&line.symbol))
            .code("rows", code::array(set))
            .optional("remark", remark.map(|remark| self.ink.text(remark, None)))
            .optional("missing", line.missing.as_ref().map(|reason| self.ink.text(reason, None)))
            .dictionary()
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
    fn segments(&self, tree: &FormulaTree) -> Vec<String> {
        use FormulaTree::*;
        if let Some(product) = product_of_fractions(tree) {
            return self.segments(&product);
        }
        let (left, operator, right) = match tree {
            Add(a, b) => (a, "symbol(\"+\")", self.guarded_term(b)),
            Subtract(a, b) => (a, "symbol(\"−\")", self.guarded_term(b)),
            Multiply(a, b) => (a, product_sign(a, b), self.factor(b)),
            tree => return vec![self.tree(tree)],
        };
        let mut segments = match tree {
            Multiply(..) if is_sum(left) || self.is_slashed(left) => vec![self.factor(left)],
            _ => self.segments(left),
        };
        segments.push(code::joined(&[operator.to_owned(), right]));
        segments
    }

    /// A formula as Typst code.
    pub(super) fn tree(&self, tree: &FormulaTree) -> String {
        use FormulaTree::*;
        if let Some(same) = product_of_fractions(tree).or_else(|| single_fraction(tree)) {
            return self.tree(&same);
        }
        match tree {
            Number { printed, unit, guard } => {
                self.number(&printed.digits, printed.exponent, words::unit_symbol(unit), *guard)
            }
            Symbol { name, entity, formula, trial } => {
                let words = symbol_words(name, entity.as_deref(), *formula, trial.as_deref());
                format!("layout.symbol({})", self.ink.words(&words, None))
            }
            Negate(a) => code::joined(&["symbol(\"−\")".to_owned(), self.factor(a)]),
            Add(..) | Subtract(..) | Multiply(..) => code::joined(&self.segments(tree)),
            Divide(a, b) if self.slash => self.slashed(a, b),
            Divide(a, b) => {
                let inner = self.within_fraction();
                format!("math.frac({}, {})", inner.tree(bare(a)), inner.tree(bare(b)))
            }
            Power(a, b) => {
                format!("math.attach({}, t: {})", self.base(a), self.within_fraction().tree(bare(b)))
            }
            SquareRoot(a) => format!("math.sqrt({})", self.tree(a)),
            Call(name, arguments) => self.call(name, arguments),
            Magnitude(a) => fenced("|", &self.tree(a), "|"),
            Bracket(a) => fenced("(", &self.tree(a), ")"),
            Missing => "layout.dash".to_owned(),
        }
    }

    fn within_fraction(&self) -> Setter<'a> {
        Setter { slash: true, ..*self }
    }

    /// Whether it is a fraction that is set with a slash.
    fn is_slashed(&self, tree: &FormulaTree) -> bool {
        self.slash && matches!(tree, FormulaTree::Divide(..))
    }

    /// A fraction with a slash. What could be read otherwise after it or before it is bracketed: a sum, and a number
    /// with a slash in its unit; after it a product and another fraction too.
    fn slashed(&self, over: &FormulaTree, under: &FormulaTree) -> String {
        let fence = |tree: &FormulaTree, bracketed: bool| match bracketed {
            true => fenced("(", &self.tree(tree), ")"),
            false => self.factor(tree),
        };
        let product = matches!(under, FormulaTree::Multiply(..));
        let over = fence(over, has_slashed_unit(over));
        let under = fence(under, product || has_slashed_unit(under));
        code::joined(&[over, "symbol(\"/\")".to_owned(), under])
    }

    fn number(&self, ascii: &str, power: Option<i32>, unit: &str, guard: bool) -> String {
        let digits = words::digits(ascii, self.mark);
        let (kept, last) = match digits.char_indices().last() {
            Some((at, _)) if guard => digits.split_at(at),
            _ => (digits.as_str(), ""),
        };
        let unit = (!matches!(unit, "" | "1")).then(|| self.ink.words(&words::unit(unit), None));
        Fields::new()
            .text("digits", kept)
            .optional_text("guard", Some(last).filter(|last| !last.is_empty()))
            .optional_text("power", power.map(words::power).as_deref())
            .optional("unit", unit)
            .call("layout.quantity")
    }

    fn call(&self, name: &str, arguments: &[FormulaTree]) -> String {
        let set: Vec<String> = arguments.iter().map(|argument| self.tree(argument)).collect();
        let separator =
            if self.mark == DecimalMark::Comma { "; \";\"; h(0.2em); " } else { "; \",\"; h(0.2em); " };
        let inside = format!("{{ {} }}", set.join(separator));
        let name = format!("math.op({})", self.ink.text(name, None));
        let bare = matches!(arguments, [FormulaTree::Symbol { .. } | FormulaTree::Bracket(_)]);
        let argument = if bare { inside } else { fenced("(", &inside, ")") };
        code::joined(&[name, argument])
    }

    /// A term after a sign: bracketed where it begins with a sign itself.
    fn guarded_term(&self, tree: &FormulaTree) -> String {
        if is_negative(tree) || is_sum(tree) { fenced("(", &self.tree(tree), ")") } else { self.tree(tree) }
    }

    fn factor(&self, tree: &FormulaTree) -> String {
        if self.is_slashed(tree) { fenced("(", &self.tree(tree), ")") } else { self.guarded_term(tree) }
    }

    /// A base of a power: a number with a unit or a sign is bracketed.
    fn base(&self, tree: &FormulaTree) -> String {
        let bracketed = match tree {
            FormulaTree::Number { unit, .. } => {
                !matches!(words::unit_symbol(unit), "" | "1") || is_negative(tree)
            }
            FormulaTree::Symbol { .. } | FormulaTree::Bracket(_) => false,
            _ => true,
        };
        if bracketed { fenced("(", &self.tree(tree), ")") } else { self.tree(tree) }
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

fn fenced(open: &str, body: &str, close: &str) -> String {
    format!("math.lr({{ symbol({}); {body}; symbol({}) }})", code::string(open), code::string(close))
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
fn product_sign(a: &FormulaTree, b: &FormulaTree) -> &'static str {
    match (a, b) {
        (_, b) if begins_with_number(b) => "symbol(\"×\")",
        (FormulaTree::Number { .. }, _) => "layout.thin",
        _ => "symbol(\"⋅\")",
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
        let set = Setter::new(&ink, DecimalMark::Point).tree(tree);
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
