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

/// Whether a word alone is taken by a unit. The volt is not: `V` is the usual name of a volume.
pub(super) fn is_unit_name(word: &str) -> bool {
    word != "V" && Unit::known(word)
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
        let found = self.scanner.operator().or_else(|| {
            self.multiplies(left).then_some((BinaryOperator::Juxtapose, 0))
        });
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
        let start = self.scanner.at;
        let Ok(exponent) = Decimal::parse(&power, self.comma) else { return Ok(value) };
        self.scanner.advance(self.scanner.rest().chars().take(power.chars().count()).map(char::len_utf8).sum());
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
        Box::new(Finding::error(Code::SyntaxError, place, "this bracket is never closed").hint("add the missing `)`"))
    }

    /// A number and its unit.
    fn number(&mut self) -> Parsed<Expression> {
        let from = self.scanner.at;
        let text = self.scanner.peek_number();
        let passage = self.scanner.line.slice(from..from + text.len());
        let value = context::number(passage, self.comma, "a number").map_err(|finding| self.separator_hint(finding))?;
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
            && Unit::known(word)
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
            "log" | "lg" if opens => Err(Box::new(
                self.problem(format!("`{word}` could mean two logarithms")).hint("write `log10(…)` or `ln(…)`"),
            )),
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
        Ok(Some(fold_blanks(self.entity_text()?.text)))
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
        let inside = self.scanner.bracketed().map(Passage::trim).filter(|name| !name.text.is_empty());
        match inside {
            Some(name) => Ok(Some(Spanned::new(name.text.to_owned(), name.span()))),
            None => Err(Box::new(self.problem("expected the name of a trial in closed brackets, such as `[A]`"))),
        }
    }

    /// The prefix word that starts here: its first and second part.
    fn prefix_word(&self, word: &str) -> Option<(&'static str, &'static str, Word)> {
        let after = self.scanner.rest().get(word.len()..).unwrap_or("").trim_start();
        let second = Scanner::new(Passage { text: after, start: 0 }).peek_word();
        let fits = |(first, then, _): &&(&str, &str, Word)| *first == word && (then.is_empty() || *then == second);
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
        let inside = self.word_target(self.scanner.line.slice(from..self.scanner.at).text)?;
        self.node(ExpressionKind::Word(word, Box::new(inside)), from)
    }

    /// The quantity after a word; brackets around it alone are allowed.
    fn word_target(&mut self, word: &str) -> Parsed<Expression> {
        if self.scanner.next() != Some('(') {
            return self.one_quantity(word);
        }
        let open = self.scanner.at;
        self.scanner.advance(1);
        let inside = self.one_quantity(word)?;
        if !self.scanner.take(')') {
            return Err(Box::new(
                Finding::error(
                    Code::SyntaxError,
                    self.scanner.line.place(open..open + 1),
                    format!("`{word}` takes one quantity, not a formula"),
                )
                .hint("define the formula as a symbol on a line of its own"),
            ));
        }
        Ok(inside)
    }

    fn one_quantity(&mut self, word: &str) -> Parsed<Expression> {
        self.scanner.next();
        let name = self.scanner.peek_word();
        let opens = self.scanner.opens_after(name);
        if name.is_empty() || reserved(name, opens).is_some() && !(opens && matches!(name, "ν" | "nu" | "factor")) {
            let mut finding = self.problem(format!("`{word}` needs a quantity after it"));
            if word == "s" {
                finding = finding.hint("as the second, `s` stands after a number");
            }
            return Err(Box::new(finding));
        }
        if matches!(name, "M" | "ν" | "nu" | "factor") && opens { self.chemistry(name) } else { self.quantity() }
    }
}

/// The unit word a text starts with: the word itself, or one of the signs `%`, `‰`, `°` with its letter.
fn unit_text<'a>(rest: &'a str, word: &'a str) -> &'a str {
    match rest.chars().next() {
        Some(sign @ ('%' | '‰')) => rest.get(..sign.len_utf8()).unwrap_or(""),
        Some('°') => {
            let letters = rest.chars().skip(1).take_while(|c| c.is_alphabetic()).map(char::len_utf8).sum::<usize>();
            rest.get(.."°".len() + letters).unwrap_or("")
        }
        _ => word,
    }
}
