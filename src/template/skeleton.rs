//! The notebook a student starts from: `notebook.md` of the template, filled.
//!
//! The skeleton is written in minijinja with delimiters of its own, which no notebook uses: `<<name>>` puts a value,
//! `<% for … %>` and `<% if … %>` are instructions, `<# … #>` is left out. Nothing is escaped; `|toml` writes a value
//! as TOML does, `|pad(34)` fills a text up to a width, `|columns` sets the items of a list side by side.

use super::cautions;
use super::model::{Template, When};
use crate::finding::{Code, Finding};
use crate::notebook::settings::DecimalMark;
use crate::span::Span;
use minijinja::syntax::SyntaxConfig;
use minijinja::{Environment, Error, ErrorKind, UndefinedBehavior, Value};
use std::collections::BTreeMap;

/// The path of the skeleton in its folder.
pub const SKELETON: &str = "notebook.md";
/// Most steps of filling one skeleton, so that it comes to an end.
const MOST_STEPS: u64 = 2_000_000;
/// Widest column that is padded.
const MOST_WIDTH: usize = 200;
/// The rule of constant mass where a template states none.
const USUAL_RULE: &str = "not more than the larger of 0.5 mg and two scale intervals";
/// The width of a cell of readings.
const COLUMN: usize = 12;
/// Most bytes of a filled skeleton.
const MOST_BYTES: usize = 4 << 20;

/// For whom a notebook is started. Everything may be blank.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Student {
    /// The name, or the bench.
    pub name: String,
    /// The number of the unknown that was issued.
    pub unknown: String,
    /// Every column of the roster, by its head.
    pub row: BTreeMap<String, String>,
}

/// Fills the skeleton of a template.
///
/// # Errors
///
/// A finding at the line of `notebook.md` that could not be filled.
pub fn fill(template: &Template, student: &Student) -> Result<String, Box<Finding>> {
    let source = template.files.get(SKELETON).map(|bytes| String::from_utf8_lossy(bytes).into_owned());
    let Some(source) = source else {
        let finding = Finding::error(Code::BadTemplate, None, "the template has no such file");
        return Err(Box::new(finding.in_file(template.path(SKELETON))));
    };
    let problem =
        |error: &Error| Box::new(problem(error, &source).in_text(&template.path(SKELETON), &source));
    let mut environment = environment().map_err(|error| problem(&error))?;
    environment.add_template(SKELETON, &source).map_err(|error| problem(&error))?;
    let skeleton = environment.get_template(SKELETON).map_err(|error| problem(&error))?;
    rendered(&skeleton, values(template, student), MOST_BYTES).map_err(|error| problem(&error))
}

/// A text in the language of skeletons, filled with plain values, as remarks are, to at most so many bytes.
///
/// # Errors
///
/// A finding at its bytes of the text.
pub(crate) fn filled(source: &str, values: &serde_json::Value, most: usize) -> Result<String, Box<Finding>> {
    let problem = |error: Error| Box::new(problem(&error, source));
    let mut environment = environment().map_err(problem)?;
    environment.add_template("text.md", source).map_err(problem)?;
    let text = environment.get_template("text.md").map_err(problem)?;
    rendered(&text, Value::from(minijinja::value::Serde(values)), most).map_err(problem)
}

/// Fills a text until it has too many bytes, so that no loop of it fills the memory.
fn rendered(text: &minijinja::Template, values: Value, most: usize) -> Result<String, Error> {
    let mut filled = Bounded { bytes: Vec::new(), most };
    let said = |message: String| Error::new(ErrorKind::WriteFailure, message);
    text.render_captured_to(values, &mut filled).map_err(|error| match error.kind() {
        ErrorKind::WriteFailure => said(format!("filled, the text has more than {most} bytes")),
        _ => error,
    })?;
    String::from_utf8(filled.bytes).map_err(|_| said("filled, it is no text".to_owned()))
}

/// Takes bytes up to a number of them.
struct Bounded {
    bytes: Vec<u8>,
    most: usize,
}

impl std::io::Write for Bounded {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        if self.bytes.len() + bytes.len() > self.most {
            return Err(std::io::ErrorKind::FileTooLarge.into());
        }
        self.bytes.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

fn environment<'a>() -> Result<Environment<'a>, Error> {
    let mut environment = Environment::new();
    environment.set_syntax(
        SyntaxConfig::builder()
            .block_delimiters("<%", "%>")
            .variable_delimiters("<<", ">>")
            .comment_delimiters("<#", "#>")
            .trim_blocks(true)
            .lstrip_blocks(true)
            .keep_trailing_newline(true)
            .build()?,
    );
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_fuel(Some(MOST_STEPS));
    environment.set_auto_escape_callback(|_| minijinja::AutoEscape::None);
    environment.add_filter("toml", |value: Value| toml_literal(&value));
    environment.add_filter("pad", |text: String, width: usize| padded(&text, width));
    environment.add_filter("columns", columns);
    Ok(environment)
}

/// A text with blanks behind it up to a width, at least one.
fn padded(text: &str, width: usize) -> String {
    let length = text.chars().count();
    format!("{text}{}", " ".repeat(width.min(MOST_WIDTH).saturating_sub(length).max(1)))
}

/// A cell for each item of a list, under each other line by line: the item, or the same text for each.
fn columns(items: Vec<String>, text: Option<String>) -> String {
    let cells = items.iter().map(|item| padded(text.as_ref().unwrap_or(item), COLUMN));
    cells.collect::<String>().trim_end().to_owned()
}

/// A text or a list of texts as TOML writes it.
fn toml_literal(value: &Value) -> String {
    if value.kind() == minijinja::value::ValueKind::Seq {
        let items: Vec<String> = value
            .try_iter()
            .map_or_else(|_| Vec::new(), |items| items.map(|item| toml_literal(&item)).collect());
        return format!("[{}]", items.join(", "));
    }
    let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    toml::Value::String(text.split_whitespace().collect::<Vec<_>>().join(" ")).to_string()
}

fn texts(list: impl IntoIterator<Item = String>) -> Value {
    Value::from(list.into_iter().map(Value::from).collect::<Vec<Value>>())
}

fn map(entries: impl IntoIterator<Item = (&'static str, Value)>) -> Value {
    Value::from(
        entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect::<BTreeMap<String, Value>>(),
    )
}

/// Everything a skeleton can put (listed in `report-templates/README.md`).
fn values(template: &Template, student: &Student) -> Value {
    let rules = &template.rules;
    let balances = rules.balances.iter().map(|balance| balance.name.value.clone());
    let constant_mass =
        rules.constant_mass.as_ref().map_or_else(|| USUAL_RULE.to_owned(), |rule| rule.value.text.clone());
    let required = &template.required;
    let loads = required
        .loads
        .iter()
        .map(|load| map([("load", Value::from(load.load.clone())), ("cycles", Value::from(load.cycles))]));
    let row = student.row.iter().map(|(key, text)| (key.clone(), Value::from(text.clone())));
    map([
        ("id", Value::from(template.id.clone())),
        ("version", Value::from(template.version.clone())),
        ("title", Value::from(template.title.clone())),
        ("institution", Value::from(template.institution.clone().unwrap_or_default())),
        ("language", Value::from(template.language.clone())),
        ("decimal", Value::from(if rules.decimal == DecimalMark::Comma { "comma" } else { "point" })),
        ("constant_mass", Value::from(constant_mass)),
        ("balances", texts(balances)),
        ("name", Value::from(student.name.clone())),
        ("unknown", Value::from(student.unknown.clone())),
        ("row", Value::from(row.collect::<BTreeMap<String, Value>>())),
        ("trials", texts(letters(required.trials.max(1)))),
        ("loads", Value::from(loads.collect::<Vec<Value>>())),
        ("headings", texts(required.headings.iter().cloned())),
        ("checks", texts(required.checks.iter().cloned())),
        ("samples", texts(template.samples.iter().map(|sample| sample.words.clone()))),
        ("cautions", Value::from(cautions::markdown(&template.cautions))),
        ("questions", questions(template)),
    ])
}

/// A, B, C …; beyond Z numbers.
fn letters(count: usize) -> Vec<String> {
    let letter = |index: usize| match u8::try_from(index) {
        Ok(index) if index < 26 => char::from(b'A' + index).to_string(),
        _ => (index + 1).to_string(),
    };
    (0..count).map(letter).collect()
}

fn questions(template: &Template) -> Value {
    let when = |when: When| match when {
        When::High => "high",
        When::Low => "low",
        When::Always => "always",
    };
    let one = |question: &super::model::Question| {
        map([
            ("when", Value::from(when(question.when))),
            ("of", Value::from(question.of.as_ref().map_or_else(String::new, |of| of.value.clone()))),
            ("text", Value::from(question.text.clone())),
        ])
    };
    Value::from(template.questions.iter().map(one).collect::<Vec<Value>>())
}

/// What went wrong, at its bytes of the skeleton.
fn problem(error: &Error, source: &str) -> Finding {
    let start_of = |line: usize| {
        let before: usize = source.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
        let length = source.get(before..).and_then(|rest| rest.lines().next()).map_or(0, str::len);
        Span::new(before, before + length)
    };
    let place = error.range().map(Span::from).or_else(|| error.line().map(start_of));
    let message = match error.detail() {
        Some(detail) if error.kind() == ErrorKind::WriteFailure => detail.to_owned(),
        Some(detail) => format!("{}: {detail}", error.kind()),
        None => error.kind().to_string(),
    };
    let finding = Finding::error(Code::BadSkeleton, place, message);
    match error.kind() {
        ErrorKind::UndefinedError => {
            finding.hint("the values a skeleton can put are listed in the guide to templates")
        }
        ErrorKind::OutOfFuel => finding.hint("a loop of the skeleton does not come to an end"),
        ErrorKind::WriteFailure => finding.hint("a loop of it writes too much"),
        _ => finding,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_becomes_too_long_is_not_filled_to_its_end() {
        let nothing = serde_json::json!({});
        let long = filled("<% for i in range(90000) %><<'a' * 900000>><% endfor %>", &nothing, 1 << 20);
        let finding = long.expect_err("81 GB are too much");
        assert_eq!(finding.message, "filled, the text has more than 1048576 bytes");
        assert_eq!(filled("<<'é' * 3>>", &nothing, 6).expect("just as many"), "ééé");
        assert!(filled("<<'é' * 3>>", &nothing, 5).is_err());
    }
}
