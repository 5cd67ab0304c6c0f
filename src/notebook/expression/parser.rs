//! The Pratt parser of formulas: from one line of text to a tree, or to one finding at the exact place.

use super::scanner::Scanner;
use super::{BinaryOperator, Constant, Expression, ExpressionKind, Function, Symbol, Word};
use crate::finding::{Code, Finding};
use crate::notebook::context::{self, Context};
use crate::notebook::passage::{Passage, fold_blanks};
use crate::quantity::{Decimal, Unit};
use crate::span::Spanned;

/// Deepest nesting of one formula.
const MOST_DEPTH: usize = 100;
/// Most nodes of one formula; also bounds how deep a long sum leans to the left.
const MOST_NODES: usize = 400;

type Parsed<T> = Result<T, Box<Finding>>;

/// How strongly each operator binds, to its left and to its right.
const JUXTAPOSED: (u8, u8) = (7, 8);
const NEGATED: u8 = 5;
const RAISED: u8 = 10;

fn binding(operator: BinaryOperator) -> (u8, u8) {
    match operator {
        BinaryOperator::Add | BinaryOperator::Subtract => (1, 2),
        BinaryOperator::Multiply | BinaryOperator::Divide => (3, 4),
        BinaryOperator::Juxtapose => JUXTAPOSED,
        BinaryOperator::Power => (RAISED, RAISED - 1),
    }
}

/// The functions with the number of their arguments (0: one or more).
const FUNCTIONS: &[(&str, Function, usize)] = &[
    ("sqrt", Function::Sqrt, 1),
    ("ln", Function::Ln, 1),
    ("log10", Function::Log10, 1),
    ("exp", Function::Exp, 1),
    ("abs", Function::Abs, 1),
    ("min", Function::Min, 0),
    ("max", Function::Max, 0),
];

/// The words before a quantity; the second part of those of two words.
const WORDS: &[(&str, &str, Word)] = &[
    ("mean", "", Word::Mean),
    ("s", "", Word::StandardDeviation),
    ("range", "", Word::Range),
    ("theory", "", Word::Theory),
    ("percent", "error", Word::PercentError),
    ("relative", "s", Word::RelativeStandardDeviation),
    ("relative", "difference", Word::RelativeDifference),
    ("average", "deviation", Word::AverageDeviation),
];

/// Words that end a formula.
const ENDINGS: &[&str] = &["in", "claimed"];

/// Why a symbol without an entity, or with one, cannot be a name; `None` where it can.
pub(in crate::notebook) fn reserved(name: &str, has_entity: bool) -> Option<&'static str> {
    let word = WORDS.iter().any(|(first, second, _)| second.is_empty() && *first == name);
    if FUNCTIONS.iter().any(|(function, ..)| *function == name) || name == "blank" {
        Some("a function")
    } else if matches!(name, "e" | "pi" | "π") {
        Some("a constant")
    } else if word || ENDINGS.contains(&name) {
        Some("a word of formulas")
    } else if has_entity {
        matches!(name, "ν" | "nu" | "factor").then_some("computed from reactions and formulas")
    } else {
        is_unit_name(name).then_some("a unit")
    }
}

/// Whether a word alone is taken by a unit. Not where the letter is the usual name of a quantity (a volume V, an
/// area A, a count N, a thickness d, a time t) and the unit is none of the bench's.
fn is_unit_name(word: &str) -> bool {
    !matches!(word, "V" | "A" | "N" | "C" | "W" | "d" | "t") && is_unit_word(word)
}

/// Whether a word after a number is a unit. Electrical and thermal units, the newton and the watt take only
/// the prefixes of the bench: `TS` (total solids) or `MW` is rather a name than terasiemens or megawatt.
fn is_unit_word(word: &str) -> bool {
    const ODD_PREFIXES: [&str; 10] = ["da", "T", "G", "M", "h", "d", "c", "n", "p", "f"];
    let prefix = word.strip_suffix(['A', 'V', 'C', 'S', 'K', 'N', 'W', 'Ω', 'Ω']);
    Unit::known(word) && !prefix.is_some_and(|prefix| ODD_PREFIXES.contains(&prefix))
}

/// A formula being read.
pub(in crate::notebook) struct Parser<'a> {
    scanner: Scanner<'a>,
    comma: bool,
    depth: usize,
    nodes: usize,
}

impl<'a> Parser<'a> {
    /// At the start of a text on one line.
    pub fn new(line: Passage<'a>, comma: bool) -> Self {
        Parser { scanner: Scanner::new(line), comma, depth: 0, nodes: 0 }
    }

    /// Reads one formula up to its end: the end of the line, `#`, or one of the words `in` and `claimed`.
    /// Its nodes are taken off the notebook's budget.
    pub fn formula(&mut self, cx: &mut Context) -> Parsed<Expression> {
        let start = self.scanner.at;
        let result = self.expression(0).and_then(|found| self.end().map(|()| found));
        if self.nodes > cx.nodes_left {
            let message = "more formulas than the program takes on in one notebook";
            return Err(Box::new(Finding::error(Code::TooLarge, self.scanner.since(start), message)));
        }
        cx.nodes_left -= self.nodes;
        result
    }

    /// What is left after the formula.
    pub fn rest(&self) -> Passage<'a> {
        self.scanner.line.after(self.scanner.at)
    }

    /// Takes a word if it comes next.
    pub fn take_word(&mut self, word: &str) -> bool {
        self.scanner.next();
        let found = self.scanner.peek_word() == word;
        if found {
            self.scanner.advance(word.len());
        }
        found
    }

    /// Reads a symbol alone, as on the left of `=`; everything has to be used up.
    pub fn symbol(&mut self) -> Parsed<Spanned<Symbol>> {
        self.scanner.next();
        let start = self.scanner.at;
        let name = self.scanner.peek_word();
        if name.is_empty() {
            return Err(self.unexpected("a symbol, such as `x` or `w(water)`"));
        }
        self.scanner.advance(name.len());
        let entity = self.entity()?;
        let symbol = Spanned::new(Symbol { name: name.to_owned(), entity }, self.scanner.since(start));
        match self.scanner.next() {
            None => Ok(symbol),
            Some(_) => Err(self.unexpected("nothing more after the symbol")),
        }
    }

    /// Whether the formula is over here.
    fn end(&mut self) -> Parsed<()> {
        match self.scanner.next() {
            None | Some('#') => Ok(()),
            Some(_) if ENDINGS.contains(&self.scanner.peek_word()) => Ok(()),
            Some('%') => Err(Box::new(
                self.problem("`%` stands only after a number")
                    .hint("to show the result in per cent, end the line with `in %`"),
            )),
            Some('=') => Err(Box::new(self.problem("a second `=`; a line defines one symbol"))),
            Some(')' | ']') => Err(Box::new(self.problem("a bracket closes that was never opened"))),
            Some(c) if c.is_alphanumeric() || c == '(' => {
                Err(Box::new(self.problem("two values side by side").hint("put `*` between them")))
            }
            Some(_) => Err(self.unexpected("an operator or the end of the formula")),
        }
    }

    fn problem(&self, message: impl Into<String>) -> Finding {
        Finding::error(Code::SyntaxError, self.scanner.here(), message)
    }

    fn unexpected(&mut self, expected: &str) -> Box<Finding> {
        let found = match self.scanner.next() {
            Some(c) => format!("found `{c}`"),
            None => "the line ends here".to_owned(),
        };
        Box::new(self.problem(format!("{found}; expected {expected}")))
    }

    /// Counts a node and makes it, from a byte of the line to here.
    fn node(&mut self, kind: ExpressionKind, from: usize) -> Parsed<Expression> {
        self.nodes += 1;
        let span = self.scanner.since(from);
        if self.nodes > MOST_NODES {
            return Err(Box::new(
                Finding::error(Code::TooLarge, span, format!("a formula of more than {MOST_NODES} parts"))
                    .hint("split it over several lines with a symbol each"),
            ));
        }
        Ok(Expression { kind, span })
    }

    /// A value and the operators after it that bind at least as strongly as `least`.
    fn expression(&mut self, least: u8) -> Parsed<Expression> {
        self.scanner.next();
        let from = self.scanner.at;
        self.depth += 1;
        if self.depth > MOST_DEPTH {
            return Err(Box::new(
                Finding::error(
                    Code::TooLarge,
                    self.scanner.here(),
                    format!("more than {MOST_DEPTH} levels of brackets"),
                )
                .hint("split the formula over several lines with a symbol each"),
            ));
        }
        let mut left = self.operand(least)?;
        while let Some((operator, length)) = self.operator_after(&left, least) {
            self.scanner.advance(length);
            let right = self.expression(binding(operator).1)?;
            left = self.node(ExpressionKind::Binary(operator, Box::new(left), Box::new(right)), from)?;
        }
        self.depth -= 1;
        Ok(left)
    }

    /// The operator that comes next, if it binds strongly enough, with its length.
    fn operator_after(&mut self, left: &Expression, least: u8) -> Option<(BinaryOperator, usize)> {
        let found = self
            .scanner
            .operator()
            .or_else(|| self.multiplies(left).then_some((BinaryOperator::Juxtapose, 0)));
        found.filter(|(operator, _)| binding(*operator).0 >= least)
    }

    /// Whether the number before multiplies what comes next without a sign.
    fn multiplies(&mut self, left: &Expression) -> bool {
        let word = self.scanner.peek_word();
        let opens = self.scanner.peek() == Some('(') || !word.is_empty() && !ENDINGS.contains(&word);
        matches!(left.kind, ExpressionKind::Number { .. }) && opens
    }

    /// A value, its sign before it and superscripts after it.
    fn operand(&mut self, least: u8) -> Parsed<Expression> {
        let from = self.scanner.at;
        if let Some('-' | '−' | '–') = self.scanner.peek() {
            self.scanner.advance(self.scanner.here().end - self.scanner.here().start);
            let value = self.expression(NEGATED.max(least))?;
            return self.node(ExpressionKind::Negate(Box::new(value)), from);
        }
        let value = self.value()?;
        self.superscript(value, from)
    }

    /// `x²`: a power written in superscripts.
    fn superscript(&mut self, value: Expression, from: usize) -> Parsed<Expression> {
        let power = self.scanner.peek_superscript();
        if power.is_empty() {
            return Ok(value);
        }
        let start = self.scanner.at;
        let Ok(exponent) = Decimal::parse(&power, self.comma) else { return Ok(value) };
        self.scanner
            .advance(self.scanner.rest().chars().take(power.chars().count()).map(char::len_utf8).sum());
        let exponent = self.node(ExpressionKind::Number { value: exponent, unit: None }, start)?;
        let kind = ExpressionKind::Binary(BinaryOperator::Power, Box::new(value), Box::new(exponent));
        self.node(kind, from)
    }

    fn value(&mut self) -> Parsed<Expression> {
        match self.scanner.peek() {
            Some('(') => self.bracket(),
            Some(c) if c.is_alphabetic() => self.named(),
            Some('√') => Err(Box::new(self.problem("`√` is not understood here").hint("write `sqrt(…)`"))),
            _ if !self.scanner.peek_number().is_empty() => self.number(),
            _ => Err(self.unexpected("a number, a quantity or a bracket")),
        }
    }

    /// `( a )`
    fn bracket(&mut self) -> Parsed<Expression> {
        let from = self.scanner.at;
        self.scanner.advance(1);
        let inside = self.expression(0)?;
        self.close(from)?;
        self.node(ExpressionKind::Bracket(Box::new(inside)), from)
    }

    /// The bracket that closes the one at a byte of the line.
    fn close(&mut self, open: usize) -> Parsed<()> {
        match self.scanner.next() {
            Some(')') => {
                self.scanner.advance(1);
                Ok(())
            }
            None | Some('#') => Err(self.never_closed(open)),
            Some(_) => self.end().and_then(|()| Err(self.never_closed(open))),
        }
    }

    fn never_closed(&self, open: usize) -> Box<Finding> {
        let place = self.scanner.line.place(open..open + 1);
        Box::new(
            Finding::error(Code::SyntaxError, place, "this bracket is never closed")
                .hint("add the missing `)`"),
        )
    }

    /// A number and its unit.
    fn number(&mut self) -> Parsed<Expression> {
        let from = self.scanner.at;
        let text = self.scanner.peek_number();
        let passage = self.scanner.line.slice(from..from + text.len());
        let value = context::number(passage, self.comma, "a number")
            .map_err(|finding| self.separator_hint(finding))?;
        self.scanner.advance(text.len());
        let unit = self.unit();
        self.node(ExpressionKind::Number { value, unit }, from)
    }

    /// A comma between digits inside a function may have been meant to part its arguments.
    fn separator_hint(&self, finding: Box<Finding>) -> Box<Finding> {
        if finding.code == Code::DecimalComma && !self.comma && self.depth > 1 {
            return Box::new(finding.hint("between two arguments put a blank after the comma"));
        }
        finding
    }

    /// The unit after a number: the longest run of unit words joined by `/`, `·`, `*` or blanks, with
    /// exponents. Nothing is used up where there is none.
    fn unit(&mut self) -> Option<Unit> {
        let before = self.scanner.at;
        self.scanner.next();
        let start = self.scanner.at;
        let mut found = None;
        while self.unit_word(found.is_none()) {
            self.unit_exponent();
            let text = self.scanner.line.slice(start..self.scanner.at).text;
            match Unit::parse(text) {
                Ok(unit) => found = Some((unit, self.scanner.at)),
                Err(_) => break,
            }
        }
        self.scanner.at = found.as_ref().map_or(before, |(_, end)| *end);
        found.map(|(unit, _)| unit)
    }

    /// Goes behind the next unit word, and behind the sign before it unless it is the first.
    fn unit_word(&mut self, first: bool) -> bool {
        self.scanner.next();
        if !first && matches!(self.scanner.peek(), Some('/' | '·' | '⋅' | '*')) {
            self.scanner.advance(self.scanner.here().end - self.scanner.here().start);
            self.scanner.next();
        }
        let word = unit_text(self.scanner.rest(), self.scanner.peek_word());
        let taken = !word.is_empty()
            && is_unit_word(word)
            && !self.scanner.opens_after(word)
            && (first || !self.is_word_before_quantity(word));
        if taken {
            self.scanner.advance(word.len());
        }
        taken
    }

    /// Whether the `s` after a unit is the word `s` of a quantity rather than the second.
    fn is_word_before_quantity(&self, word: &str) -> bool {
        let after = self.scanner.rest().get(word.len()..).unwrap_or("").trim_start();
        let next = Scanner::new(Passage { text: after, start: 0 }).peek_word();
        word == "s" && !next.is_empty() && !ENDINGS.contains(&next)
    }

    /// `^2`, `^-3`, `²` after a unit word.
    fn unit_exponent(&mut self) {
        let rest = self.scanner.rest();
        let caret = rest.strip_prefix('^').map(|power| {
            let signed = power.strip_prefix(['-', '−']).unwrap_or(power);
            let digits = signed.bytes().take_while(u8::is_ascii_digit).count();
            if digits == 0 { 0 } else { rest.len() - signed.len() + digits }
        });
        let raised = self.scanner.peek_superscript().chars().count();
        let length = caret.unwrap_or_else(|| rest.chars().take(raised).map(char::len_utf8).sum());
        self.scanner.advance(length);
    }

    /// Whatever starts with a letter.
    fn named(&mut self) -> Parsed<Expression> {
        let from = self.scanner.at;
        let word = self.scanner.peek_word();
        let opens = self.scanner.opens_after(word);
        if let Some((_, function, arguments)) = FUNCTIONS.iter().find(|(name, ..)| *name == word) {
            return self.call(word, *function, *arguments);
        }
        if let Some((first, second, prefix)) = self.prefix_word(word) {
            return self.word(first, second, prefix);
        }
        match word {
            "blank" => self.blank(),
            "M" | "ν" | "nu" | "factor" if opens => self.chemistry(word),
            "pi" | "π" => self.constant(word, Constant::Pi),
            "e" => self.constant(word, Constant::E),
            "log" | "lg" if opens => Err(self.two_logarithms(word, from)),
            _ if ENDINGS.contains(&word) => Err(self.unexpected("a value before it")),
            _ if !opens && is_unit_name(word) => Err(self.bare_unit(word, from)),
            _ => self.quantity(),
        }
    }

    fn bare_unit(&self, word: &str, from: usize) -> Box<Finding> {
        let place = self.scanner.line.place(from..from + word.len());
        let message = format!("`{word}` is a unit, not a name; a unit stands after a number");
        let hint = format!("write `1 {word}`, or give the quantity an entity, such as `{word}(sample)`");
        Box::new(Finding::error(Code::SyntaxError, place, message).hint(hint))
    }

    fn two_logarithms(&self, word: &str, from: usize) -> Box<Finding> {
        let place = self.scanner.line.place(from..from + word.len());
        let message = format!("`{word}` could mean two logarithms");
        Box::new(Finding::error(Code::SyntaxError, place, message).hint("write `log10(…)` or `ln(…)`"))
    }

    fn constant(&mut self, word: &str, constant: Constant) -> Parsed<Expression> {
        let from = self.scanner.at;
        self.scanner.advance(word.len());
        self.node(ExpressionKind::Constant(constant), from)
    }

    /// `sqrt(a)`, `min(a, b)`
    fn call(&mut self, name: &str, function: Function, wanted: usize) -> Parsed<Expression> {
        let from = self.scanner.at;
        self.scanner.advance(name.len());
        let arguments = self.arguments(name)?;
        if arguments.len() != wanted && wanted != 0 {
            let message = format!("`{name}` takes one value, not {}", arguments.len());
            return Err(Box::new(Finding::error(Code::SyntaxError, self.scanner.since(from), message)));
        }
        self.node(ExpressionKind::Call(function, arguments), from)
    }

    /// The values in the brackets after a function.
    fn arguments(&mut self, name: &str) -> Parsed<Vec<Expression>> {
        if self.scanner.next() != Some('(') {
            let hint = format!("write `{name}(…)`");
            return Err(Box::new(self.problem(format!("`{name}` needs brackets after it")).hint(hint)));
        }
        let open = self.scanner.at;
        self.scanner.advance(1);
        let mut arguments = vec![self.expression(0)?];
        while self.separator()? {
            arguments.push(self.expression(0)?);
        }
        self.close(open)?;
        Ok(arguments)
    }

    /// Whether another argument follows.
    fn separator(&mut self) -> Parsed<bool> {
        let (wanted, other) = if self.comma { (';', ',') } else { (',', ';') };
        if self.scanner.next() == Some(other) {
            let mark = if self.comma { "comma" } else { "point" };
            let message = format!("arguments are separated by `{wanted}` where the decimal mark is a {mark}");
            return Err(Box::new(self.problem(message)));
        }
        Ok(self.scanner.take(wanted))
    }

    /// `blank(…)`
    fn blank(&mut self) -> Parsed<Expression> {
        let from = self.scanner.at;
        self.scanner.advance("blank".len());
        if self.scanner.next() != Some('(') {
            let hint = "write `blank(m(residue))`";
            return Err(Box::new(self.problem("`blank` needs brackets after it").hint(hint)));
        }
        let open = self.scanner.at;
        self.scanner.advance(1);
        let inside = self.expression(0)?;
        self.close(open)?;
        self.node(ExpressionKind::Blank(Box::new(inside)), from)
    }

    /// `M(…)`, `ν(…)`, `factor(…)`: the text in the brackets, verbatim.
    fn chemistry(&mut self, word: &str) -> Parsed<Expression> {
        let from = self.scanner.at;
        self.scanner.advance(word.len());
        self.scanner.next();
        let text = self.entity_text()?;
        let spanned = Spanned::new(text.text.to_owned(), text.span());
        let kind = match word {
            "M" => ExpressionKind::MolarMass(spanned),
            "factor" => ExpressionKind::Factor(spanned),
            _ => ExpressionKind::Coefficient(spanned),
        };
        self.node(kind, from)
    }

    /// The text in the brackets that open here, without blanks at its ends; never empty.
    fn entity_text(&mut self) -> Parsed<Passage<'a>> {
        let open = self.scanner.at;
        let text = self.scanner.bracketed().ok_or_else(|| self.never_closed(open))?.trim();
        if text.text.is_empty() {
            let message = "nothing stands in the brackets";
            return Err(Box::new(Finding::error(Code::SyntaxError, self.scanner.since(open), message)));
        }
        Ok(text)
    }

    /// `(water)` after a symbol, if it is there; blanks folded.
    fn entity(&mut self) -> Parsed<Option<String>> {
        if !self.scanner.opens_after("") {
            return Ok(None);
        }
        self.scanner.next();
        Ok(Some(fold_blanks(self.entity_text()?.text).into_owned()))
    }

    /// `symbol`, `symbol(entity)`, either with `[trial]`.
    fn quantity(&mut self) -> Parsed<Expression> {
        let from = self.scanner.at;
        let name = self.scanner.peek_word();
        self.scanner.advance(name.len());
        let entity = self.entity()?;
        let trial = self.trial()?;
        let symbol = Symbol { name: name.to_owned(), entity };
        self.node(ExpressionKind::Quantity { symbol, trial }, from)
    }

    /// `[A]`
    fn trial(&mut self) -> Parsed<Option<Spanned<String>>> {
        if self.scanner.peek() != Some('[') {
            return Ok(None);
        }
        let open = self.scanner.at;
        let inside = self.scanner.bracketed().map(Passage::trim).filter(|name| !name.text.is_empty());
        match inside {
            Some(name) => Ok(Some(Spanned::new(name.text.to_owned(), name.span()))),
            None => {
                let place = self.scanner.line.place(open..self.scanner.at.max(open + 1));
                let message = "expected the name of a trial in closed brackets, such as `[A]`";
                Err(Box::new(Finding::error(Code::SyntaxError, place, message)))
            }
        }
    }

    /// The prefix word that starts here: its first and second part.
    fn prefix_word(&self, word: &str) -> Option<(&'static str, &'static str, Word)> {
        let after = self.scanner.rest().get(word.len()..).unwrap_or("").trim_start();
        let second = Scanner::new(Passage { text: after, start: 0 }).peek_word();
        let fits =
            |(first, then, _): &&(&str, &str, Word)| *first == word && (then.is_empty() || *then == second);
        WORDS.iter().find(fits).copied()
    }

    /// `mean w(water)`: a word and the one quantity after it.
    fn word(&mut self, first: &str, second: &str, word: Word) -> Parsed<Expression> {
        let from = self.scanner.at;
        self.scanner.advance(first.len());
        if !second.is_empty() {
            self.scanner.next();
            self.scanner.advance(second.len());
        }
        let words = self.scanner.line.slice(from..self.scanner.at);
        let inside = self.word_target(words)?;
        self.node(ExpressionKind::Word(word, Box::new(inside)), from)
    }

    /// The quantity after a word; brackets around it alone are allowed.
    fn word_target(&mut self, word: Passage) -> Parsed<Expression> {
        if self.scanner.next() != Some('(') {
            return self.one_quantity(word);
        }
        let open = self.scanner.at;
        self.scanner.advance(1);
        let inside = self.one_quantity(word)?;
        if self.scanner.take(')') {
            return Ok(inside);
        }
        let place = self.scanner.line.place(open..open + 1);
        let message = format!("`{}` takes one quantity, not a formula", word.text);
        let hint = "define the formula as a symbol on a line of its own";
        Err(Box::new(Finding::error(Code::SyntaxError, place, message).hint(hint)))
    }

    fn one_quantity(&mut self, word: Passage) -> Parsed<Expression> {
        self.scanner.next();
        let name = self.scanner.peek_word();
        let opens = self.scanner.opens_after(name);
        let chemistry = opens && matches!(name, "M" | "ν" | "nu" | "factor");
        if name.is_empty() || reserved(name, opens).is_some() && !chemistry {
            return Err(needs_quantity(word));
        }
        if chemistry { self.chemistry(name) } else { self.quantity() }
    }
}

fn needs_quantity(word: Passage) -> Box<Finding> {
    let message = format!("`{}` needs a quantity after it", word.text);
    let finding = Finding::error(Code::SyntaxError, word.span(), message);
    Box::new(match word.text {
        "s" => finding.hint("as the second, `s` stands after a number"),
        _ => finding.hint("a symbol follows, such as `mean w(water)`"),
    })
}

/// The unit word a text starts with: the word itself, or one of the signs `%`, `‰`, `°` with its letter.
fn unit_text<'a>(rest: &'a str, word: &'a str) -> &'a str {
    match rest.chars().next() {
        Some(sign @ ('%' | '‰')) => rest.get(..sign.len_utf8()).unwrap_or(""),
        Some('°') => {
            let letters =
                rest.chars().skip(1).take_while(|c| c.is_alphabetic()).map(char::len_utf8).sum::<usize>();
            rest.get(.."°".len() + letters).unwrap_or("")
        }
        _ => word,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tree in brackets, operators first.
    fn tree(expression: &Expression) -> String {
        let all = |parts: &[Expression]| parts.iter().map(tree).collect::<Vec<_>>().join(" ");
        match &expression.kind {
            ExpressionKind::Parts(parts) => format!("{} parts", parts.len()),
            ExpressionKind::Number { value, unit: None } => value.to_string(),
            ExpressionKind::Number { value, unit: Some(unit) } => format!("{value}[{unit}]"),
            ExpressionKind::Quantity { symbol, trial: None } => symbol.to_string(),
            ExpressionKind::Quantity { symbol, trial: Some(trial) } => format!("{symbol}@{}", trial.value),
            ExpressionKind::MolarMass(text) => format!("M<{}>", text.value),
            ExpressionKind::Coefficient(text) => format!("ν<{}>", text.value),
            ExpressionKind::Factor(text) => format!("factor<{}>", text.value),
            ExpressionKind::Constant(constant) => format!("{constant:?}"),
            ExpressionKind::Negate(inside) => format!("(neg {})", tree(inside)),
            ExpressionKind::Binary(operator, one, other) => {
                format!("({operator:?} {} {})", tree(one), tree(other))
            }
            ExpressionKind::Call(function, arguments) => format!("({function:?} {})", all(arguments)),
            ExpressionKind::Word(word, inside) => format!("({word:?} {})", tree(inside)),
            ExpressionKind::Blank(inside) => format!("(blank {})", tree(inside)),
            ExpressionKind::Bracket(inside) => format!("[{}]", tree(inside)),
        }
    }

    fn parse(text: &str, comma: bool) -> Result<String, Box<Finding>> {
        let mut cx = Context::new();
        Parser::new(Passage { text, start: 0 }, comma).formula(&mut cx).map(|found| tree(&found))
    }

    fn read(text: &str) -> String {
        parse(text, false).unwrap_or_else(|finding| panic!("{text}: {finding:?}"))
    }

    /// The bytes a finding is about, and its message.
    fn fault(text: &str) -> (usize, usize, String) {
        let finding = parse(text, false).expect_err(text);
        let span = finding.span.expect("a place");
        (span.start, span.end, finding.message)
    }

    #[test]
    fn powers_are_right_associative_and_stronger_than_the_sign() {
        assert_eq!(read("2^3^2"), "(Power 2 (Power 3 2))");
        assert_eq!(read("-2^2"), "(neg (Power 2 2))");
        assert_eq!(read("2^-1"), "(Power 2 (neg 1))");
        assert_eq!(read("10^-3 * x"), "(Multiply (Power 10 (neg 3)) x)");
        assert_eq!(read("x² + x⁻¹"), "(Add (Power x 2) (Power x -1))");
    }

    #[test]
    fn sums_and_products_lean_to_the_left() {
        assert_eq!(read("a - b - c"), "(Subtract (Subtract a b) c)");
        assert_eq!(read("a / b / c * k"), "(Multiply (Divide (Divide a b) c) k)");
        assert_eq!(read("a + b * c"), "(Add a (Multiply b c))");
        assert_eq!(read("-a * b"), "(Multiply (neg a) b)");
        assert_eq!(read("(a + b) * c"), "(Multiply [(Add a b)] c)");
        assert_eq!(read("a × b ÷ c · k − q"), "(Subtract (Multiply (Divide (Multiply a b) c) k) q)");
    }

    #[test]
    fn a_number_with_its_unit_and_a_number_before_a_quantity_bind_first() {
        assert_eq!(read("x / 2 M(H2O)"), "(Divide x (Juxtapose 2 M<H2O>))");
        assert_eq!(read("5 M(H2O) / M(CuSO4·5H2O)"), "(Divide (Juxtapose 5 M<H2O>) M<CuSO4·5H2O>)");
        assert_eq!(read("2 (a + b)"), "(Juxtapose 2 [(Add a b)])");
        assert_eq!(read("x / 250.0 mL"), "(Divide x 250.0[mL])");
        assert_eq!(read("5 x^2"), "(Juxtapose 5 (Power x 2))");
        assert_eq!(read("-5 x"), "(neg (Juxtapose 5 x))");
        assert_eq!(read("2 sqrt(x)"), "(Juxtapose 2 (Sqrt x))");
    }

    #[test]
    fn a_number_before_a_known_unit_is_a_quantity_before_anything_else_a_factor() {
        assert_eq!(read("0.1 mol/L * V"), "(Multiply 0.1[mol/L] V)");
        assert_eq!(read("36.09 %"), "36.09[%]");
        assert_eq!(read("36.09%"), "36.09[%]");
        assert_eq!(read("5 cm^2"), "5[cm^2]");
        assert_eq!(read("8000 kg/m³"), "8000[kg/m³]");
        assert_eq!(read("9.81 m s^-2"), "9.81[m s^-2]");
        assert_eq!(read("105 °C"), "105[°C]");
        assert_eq!(read("5 widgets"), "(Juxtapose 5 widgets)");
        assert_eq!(read("3 V"), "3[V]");
        assert_eq!(read("2 mS/cm"), "2[mS/cm]");
        assert_eq!(read("100 TS / MW"), "(Divide (Juxtapose 100 TS) MW)");
        assert_eq!(read("V / 3"), "(Divide V 3)");
    }

    #[test]
    fn a_word_before_a_bracket_is_never_a_unit() {
        assert_eq!(read("5 m(water)"), "(Juxtapose 5 m(water))");
        assert_eq!(read("5 m (water)"), "(Juxtapose 5 m(water))");
        assert_eq!(read("12 g / M(H2O)"), "(Divide 12[g] M<H2O>)");
        assert_eq!(read("2 g/m(x)"), "(Divide 2[g] m(x))");
        assert_eq!(read("3 min(a, b)"), "(Juxtapose 3 (Min a b))");
        assert_eq!(read("3 min"), "3[min]");
    }

    #[test]
    fn s_is_the_second_after_a_number_and_the_word_before_a_quantity() {
        assert_eq!(read("s w(water)"), "(StandardDeviation w(water))");
        assert_eq!(read("5 s"), "5[s]");
        assert_eq!(read("2 g s x"), "(Juxtapose 2[g] (StandardDeviation x))");
        assert_eq!(fault("s + 1").2, "`s` needs a quantity after it");
        assert_eq!(fault("x + s"), (4, 5, "`s` needs a quantity after it".to_owned()));
    }

    #[test]
    fn words_take_the_one_quantity_after_them() {
        assert_eq!(read("mean w(water) - theory w(water)"), "(Subtract (Mean w(water)) (Theory w(water)))");
        assert_eq!(read("percent error x"), "(PercentError x)");
        assert_eq!(read("relative s x / 2"), "(Divide (RelativeStandardDeviation x) 2)");
        assert_eq!(read("relative difference x"), "(RelativeDifference x)");
        assert_eq!(read("average deviation x"), "(AverageDeviation x)");
        assert_eq!(read("range (w(water))"), "(Range w(water))");
        assert_eq!(read("average + relative"), "(Add average relative)");
        assert_eq!(fault("mean (a + b)").2, "`mean` takes one quantity, not a formula");
        assert_eq!(fault("mean 5"), (0, 4, "`mean` needs a quantity after it".to_owned()));
    }

    #[test]
    fn entities_and_formulas_are_text_with_balanced_brackets() {
        assert_eq!(read("m( crucible  +  residue )"), "m(crucible + residue)");
        assert_eq!(read("w(a (b) #3, in c)"), "w(a (b) #3, in c)");
        assert_eq!(read("M(K4[Fe(CN)6]·3H2O)"), "M<K4[Fe(CN)6]·3H2O>");
        assert_eq!(read("ν(stage 1: H2O/CaC2O4·H2O)"), "ν<stage 1: H2O/CaC2O4·H2O>");
        assert_eq!(read("nu(H2O/CO2) * factor(P, Mg2P2O7)"), "(Multiply ν<H2O/CO2> factor<P, Mg2P2O7>)");
        assert_eq!(read("w(water)[A] - x[B 2]"), "(Subtract w(water)@A x@B 2)");
        assert_eq!(read("blank(m(residue)) + α_1"), "(Add (blank m(residue)) α_1)");
        assert_eq!(read("2 pi * e"), "(Multiply (Juxtapose 2 Pi) E)");
    }

    #[test]
    fn with_a_decimal_comma_semicolons_part_the_arguments() {
        assert_eq!(parse("min(1,5; 2)", true).unwrap(), "(Min 1.5 2)");
        assert_eq!(parse("min(1, 2)", true).unwrap_err().span.unwrap(), crate::span::Span::new(5, 6));
        assert_eq!(parse("1.5", true).unwrap_err().code, Code::DecimalComma);
        assert_eq!(parse("1,5", false).unwrap_err().code, Code::DecimalComma);
        assert_eq!(parse("min(1,5)", false).unwrap_err().hints.len(), 2);
        assert_eq!(parse("max(1; 2)", false).unwrap_err().span.unwrap(), crate::span::Span::new(5, 6));
    }

    #[test]
    fn faults_stand_at_their_bytes() {
        for (text, start, end) in [
            ("(a + b", 0, 1),
            ("a + b)", 5, 6),
            ("a + * b", 4, 5),
            ("a +", 3, 3),
            ("a b", 2, 3),
            ("2 3", 2, 3),
            ("2^3 x", 4, 5),
            ("x %", 2, 3),
            ("a = b", 2, 3),
            ("m(water", 1, 2),
            ("m()", 1, 3),
            ("sqrt x", 5, 6),
            ("sqrt(a, b)", 0, 10),
            ("log(x)", 0, 3),
            ("x + g", 4, 5),
            ("x[]", 1, 3),
            ("x[A", 1, 2),
            ("x @ y", 2, 3),
        ] {
            let (from, to, message) = fault(text);
            assert_eq!((from, to), (start, end), "{text}: {message}");
        }
    }

    #[test]
    fn depth_and_size_are_bounded() {
        let deep = "(".repeat(10_000);
        assert_eq!(parse(&deep, false).unwrap_err().code, Code::TooLarge);
        assert_eq!(parse(&"-".repeat(10_000), false).unwrap_err().code, Code::TooLarge);
        assert_eq!(parse(&format!("{}2", "2^".repeat(10_000)), false).unwrap_err().code, Code::TooLarge);
        assert_eq!(parse(&format!("{}2", "x + ".repeat(10_000)), false).unwrap_err().code, Code::TooLarge);
        assert_eq!(parse("1e999999", false).unwrap_err().code, Code::TooLarge);
        assert!(parse(&format!("{}x{}", "(".repeat(90), ")".repeat(90)), false).is_ok());
    }
}
