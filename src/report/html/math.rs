//! Mathematics as MathML Core.

use super::markup::Markup;
use crate::report::math::{Accent, Math, Quantity};
use crate::report::words::Run;

/// A formula in running text, or on a line of its own.
pub(super) fn formula(page: &mut Markup, math: &Math, display: bool, spoken: &str) {
    let form = if display { "block" } else { "inline" };
    page.element("math", &[("display", form), ("alttext", spoken)], |page| match rows(math) {
        Some(rows) => table(page, &rows),
        None => part(page, math),
    });
}

/// A piece of a worked calculation: set as large as a display, but in the line. An operator it begins with keeps the
/// spaces of one that stands between two terms.
pub(super) fn piece(page: &mut Markup, equals: bool, math: &Math) {
    let infix = |page: &mut Markup, c: char| page.text_in("mo", &[("form", "infix")], &c.to_string());
    page.element("math", &[("displaystyle", "true")], |page| {
        if equals {
            infix(page, '=');
        }
        match math {
            Math::Row(items) if !equals => match items.as_slice() {
                [Math::Sign(c, _), rest @ ..] => {
                    infix(page, *c);
                    row(page, rest);
                }
                items => row(page, items),
            },
            math => part(page, math),
        }
    });
}

/// The lines of a display and the cells of each, where it has any break or alignment point.
fn rows<'m>(math: &'m Math) -> Option<Vec<Vec<Vec<&'m Math>>>> {
    let Math::Row(items) = math else { return None };
    if let [inside @ Math::Row(_)] = items.as_slice() {
        return rows(inside);
    }
    if !items.iter().any(|item| matches!(item, Math::NextLine | Math::Align)) {
        return None;
    }
    let cells = |line: &'m [Math]| line.split(|item| *item == Math::Align).map(|cell| cell.iter().collect());
    Some(items.split(|item| *item == Math::NextLine).map(|line| cells(line).collect()).collect())
}

fn table(page: &mut Markup, rows: &[Vec<Vec<&Math>>]) {
    page.element("mtable", &[("displaystyle", "true"), ("class", "aligned")], |page| {
        for row in rows {
            page.element("mtr", &[], |page| {
                for cell in row {
                    page.element("mtd", &[], |page| cell.iter().for_each(|item| part(page, item)));
                }
            });
        }
    });
}

fn part(page: &mut Markup, math: &Math) {
    match math {
        Math::Row(items) => page.element("mrow", &[], |page| row(page, items)),
        Math::Letter(text) => letters(page, text),
        Math::Upright(text) => upright(page, text),
        Math::Bold(text) => page.text_in("mi", &[("mathvariant", "normal"), ("class", "bold")], text),
        Math::Sign(c, _) => sign(page, *c),
        Math::Function(name) => {
            page.text_in("mi", &[("mathvariant", "normal")], name);
            page.text_in("mo", &[], "\u{2061}");
        }
        Math::Fraction(over, under) => two(page, "mfrac", over, under),
        Math::Root(None, body) => page.element("msqrt", &[], |page| part(page, body)),
        Math::Root(Some(index), body) => two(page, "mroot", body, index),
        Math::Scripts(base, below, above) => scripts(page, base, below.as_deref(), above.as_deref()),
        Math::Fenced(open, close, body) => fenced(page, *open, *close, body),
        Math::Accent(accent, base) => accented(page, *accent, base),
        Math::Space(em) => space(page, *em),
        Math::NextLine | Math::Align => {}
        Math::Quantity(value) => quantity(page, value),
        Math::Symbol(words) => page.element("mrow", &[], |page| runs(page, words)),
        Math::Thin => space(page, 0.17),
        Math::Separator(sign) => page.text_in("mo", &[("separator", "true")], sign),
        Math::Missing => page.text_in("mtext", &[], "–"),
    }
}

/// Items side by side; neighbouring upright letters are one word, with the counts and charges of a formula.
fn row(page: &mut Markup, items: &[Math]) {
    let mut word: Vec<Run> = Vec::new();
    for item in items {
        match upright_runs(item) {
            Some(runs) => word.extend(runs),
            None => {
                runs(page, &std::mem::take(&mut word));
                part(page, item);
            }
        }
    }
    runs(page, &word);
}

/// Upright letters, alone or with one upright script: a part of a word. A number with an exponent is none.
fn upright_runs(math: &Math) -> Option<Vec<Run>> {
    let upright = |math: &Math| match math {
        Math::Upright(text) => Some(text.clone()),
        Math::Row(items) => match items.as_slice() {
            [Math::Upright(text)] => Some(text.clone()),
            _ => None,
        },
        _ => None,
    };
    match math {
        Math::Upright(text) => Some(vec![Run::Plain(text.clone())]),
        Math::Scripts(base, below, above) => {
            let base = upright(base).filter(|base| !base.ends_with(|c: char| c.is_ascii_digit()))?;
            let script = match (below, above) {
                (Some(below), None) => Run::Lowered(upright(below)?),
                (None, Some(above)) => Run::Raised(upright(above)?),
                _ => return None,
            };
            Some(vec![Run::Plain(base), script])
        }
        _ => None,
    }
}

fn upright(page: &mut Markup, text: &str) {
    runs(page, &[Run::Plain(text.to_owned())]);
}

/// MathML drops blanks at the ends of a token.
fn hard_blanks(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

fn sign(page: &mut Markup, c: char) {
    match c {
        '(' | ')' | '[' | ']' | '{' | '}' | '|' => {
            page.text_in("mo", &[("stretchy", "false")], &c.to_string());
        }
        '°' | '%' | '…' | '⋯' => page.text_in("mtext", &[], &c.to_string()),
        c => page.text_in("mo", &[], &c.to_string()),
    }
}

fn two(page: &mut Markup, tag: &'static str, first: &Math, second: &Math) {
    page.element(tag, &[], |page| {
        whole(page, first);
        whole(page, second);
    });
}

/// A part as exactly one element.
fn whole(page: &mut Markup, math: &Math) {
    page.element("mrow", &[], |page| part(page, math));
}

fn scripts(page: &mut Markup, base: &Math, below: Option<&Math>, above: Option<&Math>) {
    let tag = match (below, above) {
        (Some(_), Some(_)) => "msubsup",
        (Some(_), None) => "msub",
        (None, _) => "msup",
    };
    page.element(tag, &[], |page| {
        whole(page, base);
        below.into_iter().chain(above).for_each(|script| whole(page, script));
    });
}

fn fenced(page: &mut Markup, open: Option<char>, close: Option<char>, body: &Math) {
    let fence = |page: &mut Markup, c: Option<char>, form: &str| {
        if let Some(c) = c {
            page.text_in("mo", &[("fence", "true"), ("stretchy", "true"), ("form", form)], &c.to_string());
        }
    };
    page.element("mrow", &[], |page| {
        fence(page, open, "prefix");
        part(page, body);
        fence(page, close, "postfix");
    });
}

fn accented(page: &mut Markup, accent: Accent, base: &Math) {
    let (tag, mark, stretchy) = match accent {
        Accent::Bar => ("mover", "¯", "false"),
        Accent::Overline => ("mover", "¯", "true"),
        Accent::Underline => ("munder", "_", "true"),
        Accent::Hat => ("mover", "^", "false"),
        Accent::Tilde => ("mover", "~", "false"),
        Accent::Dot => ("mover", "˙", "false"),
        Accent::Vector => ("mover", "→", "false"),
    };
    page.element(tag, &[], |page| {
        whole(page, base);
        page.text_in("mo", &[("stretchy", stretchy)], mark);
    });
}

fn space(page: &mut Markup, em: f64) {
    page.element("mspace", &[("width", &format!("{em}em"))], |_| {});
}

fn quantity(page: &mut Markup, value: &Quantity) {
    page.element("mrow", &[], |page| {
        page.text_in("mn", &[], &value.digits);
        if let Some(guard) = &value.guard {
            page.text_in("mn", &[("class", "guard")], guard);
        }
        if let Some(power) = &value.power {
            page.text_in("mo", &[], "×");
            page.element("msup", &[], |page| {
                page.text_in("mn", &[], "10");
                page.text_in("mn", &[], power);
            });
        }
        if let Some(unit) = &value.unit {
            space(page, 0.17);
            runs(page, unit);
        }
    });
}

/// Runs of text: letters of a symbol are identifiers (with what is lowered after them), all else is words, in which what
/// is lowered or raised stands as in running text.
fn runs(page: &mut Markup, words: &[Run]) {
    let mut rest = words;
    while let Some(first) = rest.first() {
        let length = match (first, rest.get(1)) {
            (Run::Italic(text), Some(Run::Lowered(script))) => {
                page.element("msub", &[], |page| {
                    letters(page, text);
                    page.text_in("mtext", &[], &hard_blanks(script));
                });
                2
            }
            (Run::Italic(text), _) => {
                letters(page, text);
                1
            }
            _ => {
                let length = rest.iter().take_while(|run| !matches!(run, Run::Italic(_))).count();
                word(page, &rest[..length]);
                length
            }
        };
        rest = &rest[length..];
    }
}

fn letters(page: &mut Markup, text: &str) {
    page.text_in("mi", &[("mathvariant", "normal"), ("class", "letters")], text);
}

fn word(page: &mut Markup, runs: &[Run]) {
    let plain = |run: &Run| match run {
        Run::Plain(text) => text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ',')),
        _ => false,
    };
    let tag = if runs.iter().all(plain) { "mn" } else { "mtext" };
    let scripts = runs.iter().any(|run| matches!(run, Run::Lowered(_) | Run::Raised(_)));
    page.element(tag, &[], |page| match scripts {
        // Mixed content is set side by side only within one element of running text.
        true => page.element("span", &[], |page| text_of_word(page, runs)),
        false => text_of_word(page, runs),
    });
}

fn text_of_word(page: &mut Markup, runs: &[Run]) {
    for run in runs {
        match run {
            Run::Plain(text) | Run::Italic(text) => page.text(&hard_blanks(text)),
            Run::Lowered(text) => page.text_in("sub", &[], text),
            Run::Raised(text) => page.text_in("sup", &[], text),
            Run::Break => page.text("\u{a0}"),
        }
    }
}
