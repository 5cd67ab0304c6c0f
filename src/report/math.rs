//! Mathematics in prose: a listed part of LaTeX, read into a tree that is set and spoken.
//!
//! # What is understood
//!
//! * letters, digits, `+ - = < > / * ! ' , ; : . | ( ) [ ]`, groups `{…}`, `_` and `^` (also `'`), `~`;
//! * `\frac`, `\dfrac`, `\tfrac`, `\sqrt`, `\sqrt[n]`, `\left … \right` with `( ) [ ] | . \{ \}`;
//! * `\text`, `\mathrm`, `\mathit`, `\mathbf`, `\operatorname`, and `\ce` with formulas, `+`, `->`, `<=>`
//!   and numbers;
//! * `\bar`, `\overline`, `\underline`, `\hat`, `\tilde`, `\dot`, `\vec`;
//! * the Greek letters, `\varepsilon`, `\vartheta`, `\varphi`; `\partial`, `\infty`, `\degree`, `\circ`,
//!   `\ell`, `\hbar`;
//! * `\cdot \times \div \pm \mp \ast`, `\le \leq \ge \geq \ne \neq \ll \gg \approx \sim \simeq \equiv
//!   \propto \in`, `\to \rightarrow \longrightarrow \leftarrow \leftrightarrow \Rightarrow \Leftrightarrow
//!   \rightleftharpoons \uparrow \downarrow`, `\ldots \dots \cdots`, `\sum \prod \int`;
//! * `\sin \cos \tan \log \ln \lg \exp \lim \min \max`;
//! * spaces `\, \: \; \! \quad \qquad` and `\ `; `\% \$ \# \& \_ \{ \}`;
//! * in displays `\\` and `&`, also within `\begin{aligned} … \end{aligned}`.
//!
//! Anything else leaves the whole formula as its source text, with a finding. Nothing of the source reaches
//! the typesetter but as string literals.

use super::code;
use super::words::{self, Ink, Words};
use crate::chemistry::Formula;
use crate::quantity::derivation::NodeId;
use crate::span::Span;

/// A formula, or a part of one.
#[derive(Clone, Debug, PartialEq)]
pub enum Math {
    /// Parts side by side.
    Row(Vec<Math>),
    /// A letter that stands for a quantity.
    Letter(String),
    /// Digits or upright words.
    Upright(String),
    /// Bold letters.
    Bold(String),
    /// An operator, relation, bracket or other sign: the character and its word.
    Sign(char, &'static str),
    /// `log`, `sin`: a word with the spacing of an operator.
    Function(String),
    /// A fraction.
    Fraction(Box<Math>, Box<Math>),
    /// A root with its index.
    Root(Option<Box<Math>>, Box<Math>),
    /// A base with what stands below and above right of it.
    Scripts(Box<Math>, Option<Box<Math>>, Option<Box<Math>>),
    /// Brackets that grow.
    Fenced(Option<char>, Option<char>, Box<Math>),
    /// A mark over (or under) its base.
    Accent(Accent, Box<Math>),
    /// A space, in em.
    Space(f64),
    /// A line break of a display.
    NextLine,
    /// An alignment point of a display.
    Align,
    /// A number with its unit.
    Quantity(Quantity),
    /// The symbol of a quantity, as runs of text.
    Symbol(Words),
    /// The thin space between a number and what it multiplies.
    Thin,
    /// A comma or semicolon between arguments.
    Separator(&'static str),
    /// A value that is not there.
    Missing,
}

/// A number in a worked calculation.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Quantity {
    /// Its digits as printed, the guard digit left out.
    pub digits: String,
    /// The guard digit.
    pub guard: Option<String>,
    /// A power of ten as printed.
    pub power: Option<String>,
    /// Its unit.
    pub unit: Option<Words>,
    /// Which value of the derivation graph it is.
    pub node: Option<NodeId>,
}

/// Marks over a letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Accent {
    /// A bar.
    Bar,
    /// A line above the whole base.
    Overline,
    /// A line below it.
    Underline,
    /// A hat.
    Hat,
    /// A tilde.
    Tilde,
    /// A dot.
    Dot,
    /// An arrow.
    Vector,
}

/// Why a formula is set as its source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unsupported(pub String);

/// How deep groups may nest.
const DEEPEST: usize = 24;

/// Reads the listed part of LaTeX.
pub fn read(source: &str) -> Result<Math, Unsupported> {
    let mut reader = Reader { rest: source.trim(), depth: 0 };
    let math = reader.row(Stop::End, Face::Italic)?;
    Ok(math)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Stop {
    End,
    Brace,
    Bracket,
    Right,
    Environment,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Face {
    Italic,
    Upright,
    Bold,
}

struct Reader<'a> {
    rest: &'a str,
    depth: usize,
}

type Read<T> = Result<T, Unsupported>;

fn unsupported<T>(what: impl Into<String>) -> Read<T> {
    Err(Unsupported(what.into()))
}

impl<'a> Reader<'a> {
    fn next(&mut self) -> Option<char> {
        let c = self.rest.chars().next()?;
        self.rest = self.rest.get(c.len_utf8()..).unwrap_or("");
        Some(c)
    }

    fn eat(&mut self, prefix: &str) -> bool {
        match self.rest.strip_prefix(prefix) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    fn skip_blanks(&mut self) {
        self.rest = self.rest.trim_start();
    }

    fn row(&mut self, stop: Stop, face: Face) -> Read<Math> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return unsupported("groups nested too deep");
        }
        let mut items = Vec::new();
        while !self.at_stop(stop)? {
            self.item(face, &mut items)?;
        }
        self.depth -= 1;
        Ok(Math::Row(items))
    }

    /// Whether the row ends here; the end is consumed.
    fn at_stop(&mut self, stop: Stop) -> Read<bool> {
        self.skip_blanks();
        let ended = match stop {
            Stop::End => self.rest.is_empty(),
            Stop::Brace => self.eat("}"),
            Stop::Bracket => self.eat("]"),
            Stop::Right => self.eat("\\right"),
            Stop::Environment => self.eat("\\end{aligned}"),
        };
        if !ended && self.rest.is_empty() {
            return unsupported("a group that is not closed");
        }
        Ok(ended)
    }

    fn item(&mut self, face: Face, items: &mut Vec<Math>) -> Read<()> {
        match self.next() {
            Some('_') => self.script(face, items, false),
            Some('^') => self.script(face, items, true),
            Some('\'') => attach(items, Math::Sign('′', "prime"), true),
            Some(c) => {
                let atom = self.atom(c, face)?;
                items.push(atom);
                Ok(())
            }
            None => Ok(()),
        }
    }

    fn script(&mut self, face: Face, items: &mut Vec<Math>, above: bool) -> Read<()> {
        let script = self.argument(face)?;
        attach(items, script, above)
    }

    /// One group, command or character.
    fn argument(&mut self, face: Face) -> Read<Math> {
        self.skip_blanks();
        match self.next() {
            Some('}' | ']' | '_' | '^' | '&') | None => unsupported("a missing argument"),
            Some(c) => self.atom_of_one(c, face),
        }
    }

    fn atom_of_one(&mut self, c: char, face: Face) -> Read<Math> {
        if c.is_ascii_digit() { Ok(Math::Upright(c.to_string())) } else { self.atom(c, face) }
    }

    fn atom(&mut self, c: char, face: Face) -> Read<Math> {
        match c {
            '{' => self.row(Stop::Brace, face),
            '\\' => self.command(face),
            '~' => Ok(Math::Space(0.25)),
            '&' => Ok(Math::Align),
            '0'..='9' => Ok(Math::Upright(self.digits(c))),
            c if c.is_alphabetic() => Ok(letter(c, face)),
            c => sign(c)
                .map(|word| Math::Sign(if c == '-' { '−' } else { c }, word))
                .ok_or_else(|| Unsupported(c.to_string())),
        }
    }

    fn digits(&mut self, first: char) -> String {
        let mut digits = String::from(first);
        while let Some(c) = self.rest.chars().next() {
            let after = self.rest.get(1..).and_then(|rest| rest.chars().next());
            let mark = c == '.' && after.is_some_and(|c| c.is_ascii_digit());
            if !c.is_ascii_digit() && !mark {
                break;
            }
            digits.push(c);
            self.next();
        }
        digits
    }

    fn command(&mut self, face: Face) -> Read<Math> {
        let letters = self.rest.chars().take_while(char::is_ascii_alphabetic).count();
        if letters == 0 {
            return self.next().map_or_else(|| unsupported("\\"), escaped);
        }
        let (name, rest) = self.rest.split_at(letters);
        self.rest = rest;
        if let Some((c, word)) = sign_command(name) {
            return Ok(Math::Sign(c, word));
        }
        if let Some(c) = letter_command(name) {
            return Ok(letter(c, face));
        }
        self.construct(name, face)
    }

    fn construct(&mut self, name: &str, face: Face) -> Read<Math> {
        match name {
            "frac" | "dfrac" | "tfrac" => {
                let over = self.argument(face)?;
                Ok(Math::Fraction(Box::new(over), Box::new(self.argument(face)?)))
            }
            "sqrt" => self.root(face),
            "left" => self.fenced(face),
            "text" | "operatorname" | "textrm" => self.verbatim().map(|text| match name {
                "operatorname" => Math::Function(text),
                _ => Math::Upright(text),
            }),
            "ce" => self.verbatim().and_then(|text| chemistry(&text)),
            "mathrm" => self.argument(Face::Upright),
            "mathit" => self.argument(Face::Italic),
            "mathbf" => self.argument(Face::Bold),
            "begin" => self.environment(face),
            "quad" => Ok(Math::Space(1.0)),
            "qquad" => Ok(Math::Space(2.0)),
            "sin" | "cos" | "tan" | "log" | "ln" | "lg" | "exp" | "lim" | "min" | "max" => {
                Ok(Math::Function(name.to_owned()))
            }
            name => match accent(name) {
                Some(accent) => Ok(Math::Accent(accent, Box::new(self.argument(face)?))),
                None => unsupported(format!("\\{name}")),
            },
        }
    }

    fn root(&mut self, face: Face) -> Read<Math> {
        self.skip_blanks();
        let index = if self.eat("[") { Some(Box::new(self.row(Stop::Bracket, face)?)) } else { None };
        Ok(Math::Root(index, Box::new(self.argument(face)?)))
    }

    fn fenced(&mut self, face: Face) -> Read<Math> {
        let open = self.delimiter()?;
        let body = self.row(Stop::Right, face)?;
        let close = self.delimiter()?;
        Ok(Math::Fenced(open, close, Box::new(body)))
    }

    fn delimiter(&mut self) -> Read<Option<char>> {
        self.skip_blanks();
        self.eat("\\");
        match self.next() {
            Some('.') => Ok(None),
            Some(c @ ('(' | ')' | '[' | ']' | '|' | '{' | '}')) => Ok(Some(c)),
            _ => unsupported("\\left with this bracket"),
        }
    }

    fn environment(&mut self, face: Face) -> Read<Math> {
        if !self.eat("{aligned}") {
            return unsupported("\\begin");
        }
        self.row(Stop::Environment, face)
    }

    /// The text of a braced group, as it is.
    fn verbatim(&mut self) -> Read<String> {
        self.skip_blanks();
        if !self.eat("{") {
            return unsupported("a missing argument");
        }
        match self.rest.split_once('}') {
            Some((text, rest)) if !text.contains(['{', '\\', '$']) => {
                self.rest = rest;
                Ok(text.to_owned())
            }
            _ => unsupported("commands within text"),
        }
    }
}

/// Gives the last item a script.
fn attach(items: &mut Vec<Math>, script: Math, above: bool) -> Read<()> {
    let (base, below, raised) = match items.pop() {
        Some(Math::Scripts(base, below, raised)) => (base, below, raised),
        Some(base) => (Box::new(base), None, None),
        None => (Box::new(Math::Row(Vec::new())), None, None),
    };
    let script = Some(Box::new(script));
    let scripts = match (above, below, raised) {
        (true, below, None) => Math::Scripts(base, below, script),
        (false, None, raised) => Math::Scripts(base, script, raised),
        _ => return unsupported("two scripts at one place"),
    };
    items.push(scripts);
    Ok(())
}

fn letter(c: char, face: Face) -> Math {
    match face {
        Face::Italic => Math::Letter(c.to_string()),
        Face::Upright => Math::Upright(c.to_string()),
        Face::Bold => Math::Bold(c.to_string()),
    }
}

fn escaped(c: char) -> Read<Math> {
    match c {
        ',' => Ok(Math::Space(0.17)),
        ':' => Ok(Math::Space(0.22)),
        ';' => Ok(Math::Space(0.28)),
        '!' => Ok(Math::Space(-0.17)),
        ' ' => Ok(Math::Space(0.25)),
        '\\' => Ok(Math::NextLine),
        '%' | '$' | '#' | '&' | '_' => Ok(Math::Upright(c.to_string())),
        '{' => Ok(Math::Sign('{', "open brace")),
        '}' => Ok(Math::Sign('}', "close brace")),
        c => unsupported(format!("\\{c}")),
    }
}

fn sign(c: char) -> Option<&'static str> {
    Some(match c {
        '+' => "plus",
        '-' | '−' => "minus",
        '=' => "equals",
        '<' => "is less than",
        '>' => "is greater than",
        '/' => "over",
        '*' => "times",
        '!' => "factorial",
        ',' => ",",
        ';' => ";",
        ':' => "to",
        '.' => ".",
        '|' => "bar",
        '(' => "open bracket",
        ')' => "close bracket",
        '[' => "open square bracket",
        ']' => "close square bracket",
        '·' => "times",
        '×' => "times",
        '±' => "plus or minus",
        '°' => "degrees",
        '→' => "gives",
        '%' => "per cent",
        _ => return None,
    })
}

fn sign_command(name: &str) -> Option<(char, &'static str)> {
    Some(match name {
        "cdot" => ('⋅', "times"),
        "times" => ('×', "times"),
        "div" => ('÷', "divided by"),
        "pm" => ('±', "plus or minus"),
        "mp" => ('∓', "minus or plus"),
        "ast" => ('∗', "times"),
        "le" | "leq" => ('≤', "is at most"),
        "ge" | "geq" => ('≥', "is at least"),
        "ne" | "neq" => ('≠', "is not equal to"),
        "ll" => ('≪', "is much less than"),
        "gg" => ('≫', "is much greater than"),
        "approx" => ('≈', "is about"),
        "sim" => ('∼', "is similar to"),
        "simeq" => ('≃', "is about equal to"),
        "equiv" => ('≡', "is identical to"),
        "propto" => ('∝', "is proportional to"),
        "in" => ('∈', "in"),
        "to" | "rightarrow" => ('→', "gives"),
        "longrightarrow" => ('⟶', "gives"),
        "leftarrow" => ('←', "is formed from"),
        "leftrightarrow" => ('↔', "and back"),
        "Rightarrow" => ('⇒', "implies"),
        "Leftrightarrow" => ('⇔', "is equivalent to"),
        "rightleftharpoons" => ('⇌', "is in equilibrium with"),
        "uparrow" => ('↑', "escapes as gas"),
        "downarrow" => ('↓', "settles as solid"),
        "ldots" | "dots" => ('…', "and so on"),
        "cdots" => ('⋯', "and so on"),
        "sum" => ('∑', "the sum of"),
        "prod" => ('∏', "the product of"),
        "int" => ('∫', "the integral of"),
        "partial" => ('∂', "partial"),
        "infty" => ('∞', "infinity"),
        "degree" => ('°', "degrees"),
        "circ" => ('∘', "circle"),
        _ => return None,
    })
}

fn letter_command(name: &str) -> Option<char> {
    Some(match name {
        "alpha" => 'α',
        "beta" => 'β',
        "gamma" => 'γ',
        "delta" => 'δ',
        "epsilon" => 'ϵ',
        "varepsilon" => 'ε',
        "zeta" => 'ζ',
        "eta" => 'η',
        "theta" => 'θ',
        "vartheta" => 'ϑ',
        "iota" => 'ι',
        "kappa" => 'κ',
        "lambda" => 'λ',
        "mu" => 'μ',
        "nu" => 'ν',
        "xi" => 'ξ',
        "pi" => 'π',
        "rho" => 'ρ',
        "sigma" => 'σ',
        "tau" => 'τ',
        "upsilon" => 'υ',
        "phi" => 'ϕ',
        "varphi" => 'φ',
        "chi" => 'χ',
        "psi" => 'ψ',
        "omega" => 'ω',
        "Gamma" => 'Γ',
        "Delta" => 'Δ',
        "Theta" => 'Θ',
        "Lambda" => 'Λ',
        "Xi" => 'Ξ',
        "Pi" => 'Π',
        "Sigma" => 'Σ',
        "Upsilon" => 'Υ',
        "Phi" => 'Φ',
        "Psi" => 'Ψ',
        "Omega" => 'Ω',
        "ell" => 'ℓ',
        "hbar" => 'ℏ',
        _ => return None,
    })
}

fn accent(name: &str) -> Option<Accent> {
    Some(match name {
        "bar" => Accent::Bar,
        "overline" => Accent::Overline,
        "underline" => Accent::Underline,
        "hat" => Accent::Hat,
        "tilde" => Accent::Tilde,
        "dot" => Accent::Dot,
        "vec" => Accent::Vector,
        _ => return None,
    })
}

/// The inside of `\ce{…}`: formulas, numbers and arrows separated by blanks.
fn chemistry(text: &str) -> Read<Math> {
    let mut items = Vec::new();
    for word in text.split_whitespace() {
        items.push(match word {
            "+" => Math::Sign('+', "plus"),
            "->" => Math::Sign('⟶', "gives"),
            "<=>" => Math::Sign('⇌', "is in equilibrium with"),
            "^" => Math::Sign('↑', "escapes as gas"),
            "v" => Math::Sign('↓', "settles as solid"),
            number if number.chars().all(|c| c.is_ascii_digit()) => Math::Upright(number.to_owned()),
            formula => return_formula(formula)?,
        });
        items.push(Math::Space(0.17));
    }
    items.pop();
    Ok(Math::Row(items))
}

fn return_formula(text: &str) -> Read<Math> {
    let formula = Formula::parse(text).map_err(|_| Unsupported(format!("\\ce with {text}")))?;
    let mut items = Vec::new();
    for run in words::formula(&formula.text()) {
        match run {
            words::Run::Lowered(count) => attach(&mut items, Math::Upright(count), false)?,
            words::Run::Raised(charge) => attach(&mut items, Math::Upright(charge), true)?,
            other => items.push(Math::Upright(words::text_of(&[other]))),
        }
    }
    Ok(Math::Row(items))
}

// ------------------------------------------------------------------------------------------------
// Set and spoken
// ------------------------------------------------------------------------------------------------

/// The formula as Typst code: calls and string literals.
pub(super) fn set(math: &Math, ink: &Ink, span: Span) -> String {
    let inner = |math: &Math| set(math, ink, span);
    match math {
        Math::Row(items) => code::joined(&joined_items(items, &inner)),
        Math::Letter(text) => format!("layout.letters({})", ink.text(text, Some(span))),
        Math::Upright(text) => format!("layout.upright({})", ink.text(text, Some(span))),
        Math::Bold(text) => format!("layout.bold({})", ink.text(text, Some(span))),
        Math::Sign(c, _) => format!("symbol({})", code::string(&c.to_string())),
        Math::Function(name) => format!("math.op({})", ink.text(name, Some(span))),
        Math::Fraction(over, under) => format!("math.frac({}, {})", inner(over), inner(under)),
        Math::Root(None, body) => format!("math.sqrt({})", inner(body)),
        Math::Root(Some(index), body) => format!("math.root({}, {})", inner(index), inner(body)),
        Math::Scripts(base, below, above) => set_scripts(base, below.as_deref(), above.as_deref(), &inner),
        Math::Fenced(open, close, body) => set_fenced(*open, *close, &inner(body)),
        Math::Accent(accent, base) => set_accent(*accent, &inner(base)),
        Math::Space(em) => format!("h({}em)", code::decimal(*em)),
        Math::NextLine => "linebreak()".to_owned(),
        Math::Align => "layout.align-point".to_owned(),
        Math::Quantity(quantity) => set_quantity(quantity, ink),
        Math::Symbol(words) => format!("layout.symbol({})", ink.words(words, None)),
        Math::Thin => "layout.thin".to_owned(),
        Math::Separator(sign) => format!("{{ {}; h(0.2em) }}", code::string(sign)),
        Math::Missing => "layout.dash".to_owned(),
    }
}

fn set_quantity(quantity: &Quantity, ink: &Ink) -> String {
    code::Fields::new()
        .text("digits", &quantity.digits)
        .optional_text("guard", quantity.guard.as_deref())
        .optional_text("power", quantity.power.as_deref())
        .optional("unit", quantity.unit.as_ref().map(|unit| ink.words(unit, None)))
        .optional("node", ink.node(quantity.node))
        .call("layout.quantity")
}

/// Neighbouring upright letters become one word, so that they are spaced and read as one.
fn joined_items(items: &[Math], inner: &dyn Fn(&Math) -> String) -> Vec<String> {
    let mut pieces = Vec::new();
    let mut word = String::new();
    for item in items {
        if let Math::Upright(text) = item {
            word.push_str(text);
            continue;
        }
        if !word.is_empty() {
            pieces.push(inner(&Math::Upright(std::mem::take(&mut word))));
        }
        pieces.push(inner(item));
    }
    if !word.is_empty() {
        pieces.push(inner(&Math::Upright(word)));
    }
    pieces
}

fn set_scripts(
    base: &Math,
    below: Option<&Math>,
    above: Option<&Math>,
    inner: &dyn Fn(&Math) -> String,
) -> String {
    let fields = code::Fields::new().optional("b", below.map(inner)).optional("t", above.map(inner));
    fields.call_with("math.attach", &[inner(base)])
}

fn set_fenced(open: Option<char>, close: Option<char>, body: &str) -> String {
    let fence = |c: Option<char>| c.map(|c| format!("symbol({})", code::string(&c.to_string())));
    let pieces: Vec<String> =
        [fence(open), Some(body.to_owned()), fence(close)].into_iter().flatten().collect();
    format!("math.lr({})", code::joined(&pieces))
}

fn set_accent(accent: Accent, base: &str) -> String {
    match accent {
        Accent::Overline => format!("math.overline({base})"),
        Accent::Underline => format!("math.underline({base})"),
        Accent::Bar => format!("math.accent({base}, \"¯\")"),
        Accent::Hat => format!("math.accent({base}, \"^\")"),
        Accent::Tilde => format!("math.accent({base}, \"~\")"),
        Accent::Dot => format!("math.accent({base}, \".\")"),
        Accent::Vector => format!("math.accent({base}, \"→\")"),
    }
}

/// The formula in words.
pub fn spoken(math: &Math) -> String {
    let mut words = Vec::new();
    speak(math, &mut words);
    words.join(" ").replace(" ,", ",").replace(" .", ".")
}

fn speak(math: &Math, words: &mut Vec<String>) {
    match math {
        Math::Row(items) => items.iter().for_each(|item| speak(item, words)),
        Math::Letter(text) | Math::Upright(text) | Math::Bold(text) | Math::Function(text) => {
            words.push(text.clone());
        }
        Math::Sign(_, word) => words.push((*word).to_owned()),
        Math::Fraction(over, under) => {
            speak_between(words, "the fraction", over, "over");
            speak_between(words, "", under, "end of fraction");
        }
        Math::Root(None, body) => speak_between(words, "the square root of", body, "end of root"),
        Math::Root(Some(index), body) => {
            speak_between(words, "the root of index", index, "of");
            speak_between(words, "", body, "end of root");
        }
        Math::Scripts(base, below, above) => {
            speak(base, words);
            below.iter().for_each(|below| speak_between(words, "sub", below, ""));
            above.iter().for_each(|above| speak_between(words, "to the", above, ""));
        }
        Math::Fenced(open, close, body) => {
            words.extend(open.and_then(sign).map(str::to_owned));
            speak(body, words);
            words.extend(close.and_then(sign).map(str::to_owned));
        }
        Math::Accent(accent, base) => {
            speak(base, words);
            words.push(accent_word(*accent).to_owned());
        }
        Math::NextLine => words.push(";".to_owned()),
        Math::Symbol(text) => words.push(words::text_of(text)),
        Math::Quantity(quantity) => {
            let guard = quantity.guard.as_deref().unwrap_or_default();
            words.push(format!("{}{guard}", quantity.digits));
            words.extend(quantity.power.iter().map(|power| format!("times ten to the {power}")));
            words.extend(quantity.unit.iter().map(|unit| words::text_of(unit)));
        }
        Math::Missing => words.push("a missing value".to_owned()),
        Math::Space(_) | Math::Align | Math::Thin | Math::Separator(_) => {}
    }
}

fn speak_between(words: &mut Vec<String>, before: &str, math: &Math, after: &str) {
    if !before.is_empty() {
        words.push(before.to_owned());
    }
    speak(math, words);
    if !after.is_empty() {
        words.push(after.to_owned());
    }
}

fn accent_word(accent: Accent) -> &'static str {
    match accent {
        Accent::Bar | Accent::Overline => "bar",
        Accent::Underline => "underlined",
        Accent::Hat => "hat",
        Accent::Tilde => "tilde",
        Accent::Dot => "dot",
        Accent::Vector => "vector",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(source: &str) -> String {
        spoken(&read(source).unwrap())
    }

    #[test]
    fn a_reaction_in_upright_letters() {
        let source = r"\mathrm{CaSO_4 \cdot 2\,H_2O \longrightarrow CaSO_4 + 2\,H_2O}";
        assert_eq!(said(source), "C a S O sub 4 times 2 H sub 2 O gives C a S O sub 4 plus 2 H sub 2 O");
    }

    #[test]
    fn fractions_roots_and_scripts() {
        assert_eq!(
            said(r"\frac{m_1}{\sqrt{x^2}}"),
            "the fraction m sub 1 over the square root of x to the 2 end of root end of fraction"
        );
        assert_eq!(said(r"x^10"), "x to the 1 0");
        assert_eq!(said(r"3.14 x"), "3.14 x");
    }

    #[test]
    fn formulas_by_ce() {
        assert_eq!(
            said(r"\ce{CuSO4.5H2O -> CuSO4 + 5 H2O}"),
            "CuSO sub 4 ·5H sub 2 O gives CuSO sub 4 plus 5 H sub 2 O"
        );
    }

    #[test]
    fn what_is_not_listed_is_refused() {
        for source in [
            r"\input{x}",
            r"\begin{matrix}a\end{matrix}",
            r"x^^2",
            r"{",
            r"}",
            r"a_1_2",
            r"\left( x",
            "\\",
            "#",
        ] {
            assert!(read(source).is_err(), "{source}");
        }
    }

    #[test]
    fn deep_nesting_is_refused_and_does_not_overflow() {
        assert!(read(&"{".repeat(100_000)).is_err());
    }

    #[test]
    fn the_code_holds_literals_only() {
        let ink = Ink::new(&|_| crate::report::words::Glyph::Everywhere);
        let code = set(&read(r"\text{a #b $}").unwrap_or(Math::Row(vec![])), &ink, Span::default());
        assert_eq!(code, "[]");
        let code = set(&read(r"\text{a #b}").unwrap(), &ink, Span::default());
        assert_eq!(code, "layout.upright(\"a #b\")");
    }
}
