//! `experiment`: TOML, checked key by key. Every value that cannot be used is a finding at its place, and
//! the others still count.

mod balance;
mod buoyancy;
mod limits;
mod monte_carlo;
mod uncertainty;

use super::context::{self, Context};
use super::expression::Parser;
use super::joined::Joined;
use super::passage::{Passage, is_dash};
use super::rules;
use super::settings::*;
use crate::chemistry::{AtomicWeights, elements, looks_like_formula};
use crate::finding::{Code, Finding, nearest};
use crate::quantity::{Decimal, Dimension, Quantity, Rounding};
use crate::span::{Lines, Span, Spanned};
use std::collections::BTreeSet;
use toml::de::{DeTable, DeValue};

/// Most bytes of an `experiment` block.
const MOST_BYTES: usize = 1 << 18;

/// The keys besides those of the record.
const KEYS: &[&str] = &[
    "title",
    "authors",
    "date",
    "template",
    "unknown",
    "digits",
    "rounding",
    "uncertainty",
    "uncertainty-form",
    "guard-digit",
    "decimal",
    "constant-mass",
    "repeatability",
    "buoyancy",
    "correlation",
    "coverage",
    "second-order",
    "limit",
    "monte-carlo",
    "seed",
    "balance",
    "method-repeatability",
    "atomic-weights",
    "molar-masses",
];

/// The keys that a template may set too: the rules of the calculation.
pub const RULE_KEYS: &[&str] = &[
    "digits",
    "rounding",
    "decimal",
    "constant-mass",
    "repeatability",
    "method-repeatability",
    "buoyancy",
    "correlation",
    "coverage",
    "limit",
    "monte-carlo",
    "second-order",
    "uncertainty",
    "uncertainty-form",
    "guard-digit",
    "balance",
    "atomic-weights",
    "molar-masses",
];

/// A key or a value with its place in the joined text.
type Key<'i> = toml::Spanned<std::borrow::Cow<'i, str>>;
type Value<'i> = toml::Spanned<DeValue<'i>>;

/// Reads the block; `place` is the whole fence.
pub(super) fn read(lines: &[Passage], place: Span, cx: &mut Context) -> Settings {
    let joined = Joined::of(lines);
    let settings = Settings { span: Some(place), ..Settings::default() };
    if joined.text.len() > MOST_BYTES {
        let message = "an `experiment` block of more than 256 KiB";
        cx.push(Finding::error(Code::TooLarge, place, message));
        return settings;
    }
    let (table, errors) = DeTable::parse_recoverable(&joined.text);
    let lines = if errors.is_empty() { Lines::default() } else { Lines::of(&joined.text) };
    let mut reader = Reader { joined: &joined, lines, cx, settings };
    let broken: BTreeSet<usize> = errors.iter().map(|error| reader.malformed(error, place)).collect();
    reader.table(table.get_ref(), &broken);
    reader.settings
}

/// Reads the keys of a table that a template may set too ([`RULE_KEYS`]), such as `constant-mass` or
/// `[balance.NAME]`, by the rules of `experiment`. Places are bytes of the text the table was parsed from.
pub(super) fn rules(table: &DeTable, cx: &mut Context) -> Settings {
    let joined = Joined::plain();
    let mut reader = Reader { joined: &joined, lines: Lines::default(), cx, settings: Settings::default() };
    reader.entries(&in_order(table), |key| RULE_KEYS.contains(&key.get_ref().as_ref()));
    reader.settings
}

/// What a notebook without (or with a bare) `experiment` block lacks.
pub(super) fn check_presence(settings: &Settings, cx: &mut Context) {
    if settings.title.is_none() {
        let finding = Finding::note(Code::MissingTitle, settings.span, "no title is stated");
        cx.push(finding.hint("add `title = \"…\"` to the `experiment` block"));
    }
    if settings.date.is_none() {
        let finding = Finding::note(
            Code::MissingDate,
            settings.span,
            "no date is stated; a fixed one stands in the file's metadata",
        );
        cx.push(finding.hint("add `date = 2026-03-04` to the `experiment` block"));
    }
}

/// Entries in the order written.
fn in_order<'t, 'i>(table: &'t DeTable<'i>) -> Vec<(&'t Key<'i>, &'t Value<'i>)> {
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    entries
}

struct Reader<'j, 'c> {
    joined: &'j Joined,
    /// The lines of the joined text; looked at only where some are malformed.
    lines: Lines,
    cx: &'c mut Context,
    settings: Settings,
}

impl Reader<'_, '_> {
    fn place<T>(&self, of: &toml::Spanned<T>) -> Span {
        self.joined.place(of.span())
    }

    /// Says what is wrong with the TOML; returns the line (by count) it is on.
    fn malformed(&mut self, error: &toml::de::Error, block: Span) -> usize {
        let range = error.span().unwrap_or(0..0);
        let place = if error.span().is_some() { self.joined.place(range.clone()) } else { block };
        let message = error.message().trim().replace('\n', "; ").to_lowercase();
        let (code, hint) = match &message {
            text if text.contains("duplicate key") => (Code::RepeatedSetting, Some("remove one of the two")),
            // A word that begins like `true` or `false` is taken for one of them.
            text if text.contains("must be quoted") || text.contains("invalid boolean") => {
                (Code::BadToml, Some("texts stand in quotation marks: `title = \"…\"`"))
            }
            _ => (Code::BadToml, None),
        };
        let finding = Finding::error(code, place, message);
        self.cx.push(match hint {
            Some(hint) => finding.hint(hint),
            None => finding,
        });
        self.line_of(range.start)
    }

    fn line_of(&self, at: usize) -> usize {
        self.lines.place(&self.joined.text, at).0
    }

    /// Every key but those on lines that were malformed: what was recovered there is not what was written.
    fn table(&mut self, table: &DeTable, broken: &BTreeSet<usize>) {
        let entries = in_order(table);
        let broken_keys: BTreeSet<usize> = entries
            .iter()
            .map(|(key, _)| key.span().start)
            .filter(|start| !broken.is_empty() && broken.contains(&self.line_of(*start)))
            .collect();
        self.entries(&entries, |key| !broken_keys.contains(&key.span().start));
        self.amendment(table);
        self.check_form();
    }

    /// The wanted keys; the decimal mark first: the other values are read by it.
    fn entries(&mut self, entries: &[(&Key, &Value)], wanted: impl Fn(&Key) -> bool) {
        let is_mark = |key: &Key| key.get_ref() == "decimal" && wanted(key);
        for (_, value) in entries.iter().filter(|(key, _)| is_mark(key)) {
            self.decimal(value);
        }
        for (key, value) in entries.iter().filter(|(key, _)| wanted(key)) {
            let stated = Spanned::new(key.get_ref().to_string(), self.place(key));
            self.settings.stated.push(stated);
            self.entry(key, value);
        }
    }

    fn entry(&mut self, key: &Key, value: &Value) {
        match key.get_ref().as_ref() {
            "title" => self.settings.title = self.text(key, value),
            "template" => self.settings.template = self.text(key, value),
            "unknown" => self.settings.unknown = self.plain_text(key, value),
            "authors" => self.settings.authors = self.authors(key, value),
            "date" => self.settings.date = self.date(value),
            "digits" => self.digits(value),
            "rounding" => self.rounding(value),
            "uncertainty" => self.uncertainty(value),
            "uncertainty-form" => self.uncertainty_form(value),
            "guard-digit" => self.guard_digit(value),
            "decimal" => {}
            "constant-mass" => self.constant_mass(key, value),
            "repeatability" => self.repeatability(key, value),
            "buoyancy" => self.buoyancy(key, value),
            "limit" => self.limits(value),
            "correlation" => self.correlations(value),
            "method-repeatability" => self.method_repeatability(value),
            "coverage" => self.coverage(key, value),
            "second-order" => self.second_order(value),
            "monte-carlo" => self.monte_carlo(value),
            "seed" => self.seed(value),
            "balance" => self.balances(value),
            "atomic-weights" => self.atomic_weights(value),
            "molar-masses" => self.molar_masses(value),
            name => match RECORD_KEYS.iter().find(|(record, _)| *record == name) {
                Some((name, heading)) => self.record(name, heading, value),
                None => self.unknown_key(key),
            },
        }
    }

    fn bad(&mut self, value: &Value, message: impl Into<String>, hint: &str) {
        let place = self.place(value);
        self.cx.push(Finding::error(Code::BadSetting, place, message).hint(hint));
    }

    fn unknown_key(&mut self, key: &Key) {
        let place = self.place(key);
        let message = format!("the key `{}` is not known", key.get_ref());
        let finding = Finding::warning(Code::UnknownKey, place, message);
        let known = KEYS.iter().copied().chain(RECORD_KEYS.iter().map(|(name, _)| *name));
        self.cx.push(match nearest(key.get_ref(), known) {
            Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
            None => finding.hint("text for the reader stands outside the block"),
        });
    }

    /// A text, not blank.
    fn text(&mut self, key: &Key, value: &Value) -> Option<Spanned<String>> {
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => {
                Some(Spanned::new(text.trim().to_owned(), self.place(value)))
            }
            DeValue::String(_) => None,
            other => {
                let message = format!("`{}` is {}; expected a text", key.get_ref(), kind(other));
                self.bad(value, message, "put it in quotation marks");
                None
            }
        }
    }

    /// A text, or a number taken as one.
    fn plain_text(&mut self, key: &Key, value: &Value) -> Option<String> {
        match value.get_ref() {
            DeValue::Integer(number) => Some(number.as_str().to_owned()),
            _ => self.text(key, value).map(|text| text.value),
        }
    }

    fn authors(&mut self, key: &Key, value: &Value) -> Vec<String> {
        match value.get_ref() {
            DeValue::Array(list) => {
                list.iter().filter_map(|author| self.text(key, author)).map(|author| author.value).collect()
            }
            _ => self.text(key, value).map(|author| author.value).into_iter().collect(),
        }
    }

    fn date(&mut self, value: &Value) -> Option<Spanned<Date>> {
        let date = match value.get_ref() {
            DeValue::Datetime(moment) => {
                moment.date.map(|date| Date { year: date.year, month: date.month, day: date.day })
            }
            DeValue::String(text) => iso_date(text),
            _ => None,
        };
        match date {
            Some(date) => Some(Spanned::new(date, self.place(value))),
            None => {
                self.bad(
                    value,
                    "not a day of the calendar; expected year, month and day",
                    "write `date = 2026-03-04`",
                );
                None
            }
        }
    }

    /// One of a few words; `None` (and a finding) for anything else.
    fn choice<T: Copy>(&mut self, value: &Value, choices: &[(&str, T)]) -> Option<T> {
        let text = value.get_ref().as_str().unwrap_or("").trim();
        let found = choices.iter().find(|(name, _)| *name == text).map(|(_, choice)| *choice);
        if found.is_none() {
            let names: Vec<_> = choices.iter().map(|(name, _)| *name).collect();
            let message = format!("expected one of `{}`", names.join("`, `"));
            match nearest(text, names) {
                Some(meant) => self.bad(value, message, &format!("did you mean `{meant}`?")),
                None => self.bad(value, message, "put the words in quotation marks"),
            }
        }
        found
    }

    fn decimal(&mut self, value: &Value) {
        let choices = [
            ("comma", DecimalMark::Comma),
            (",", DecimalMark::Comma),
            ("point", DecimalMark::Point),
            (".", DecimalMark::Point),
        ];
        if let Some(mark) = self.choice(value, &choices) {
            self.settings.decimal = mark;
            self.cx.comma = mark == DecimalMark::Comma;
        }
    }

    fn digits(&mut self, value: &Value) {
        let choices = [
            ("significant figures", DigitsPolicy::SignificantFigures),
            ("uncertainty", DigitsPolicy::Uncertainty),
        ];
        self.settings.digits = self.choice(value, &choices).unwrap_or_default();
    }

    fn rounding(&mut self, value: &Value) {
        let choices =
            [("half even", Rounding::HalfEven), ("half away from zero", Rounding::HalfAwayFromZero)];
        self.settings.rounding = self.choice(value, &choices).unwrap_or_default();
    }

    fn uncertainty(&mut self, value: &Value) {
        let choices = [
            ("off", ShownUncertainty::Off),
            ("short", ShownUncertainty::Short),
            ("full", ShownUncertainty::Full),
        ];
        self.settings.uncertainty = self.choice(value, &choices);
    }

    fn uncertainty_form(&mut self, value: &Value) {
        let choices = [
            ("plus-minus", UncertaintyForm::PlusMinus),
            ("concise", UncertaintyForm::Concise),
            ("plain", UncertaintyForm::Plain),
        ];
        let form = self.choice(value, &choices);
        self.settings.uncertainty_form = form.map(|form| Spanned::new(form, self.place(value)));
    }

    /// A form that the other settings leave no use for.
    fn check_form(&mut self) {
        let Some(form) = self.settings.uncertainty_form.clone() else { return };
        let (code, span) = (Code::BadSetting, form.span);
        if self.settings.shown_uncertainty() == ShownUncertainty::Off {
            let message = "`uncertainty-form` has no effect: the uncertainty is not shown";
            let hint = "add `uncertainty = \"short\"`, or take `uncertainty-form` out";
            self.cx.push(Finding::note(code, span, message).hint(hint));
        } else if form.value == UncertaintyForm::Concise && self.settings.form() != form.value {
            let message = "the concise form counts in units of the last digit, which significant figures choose \
                           without regard to the uncertainty; `±` is printed";
            let hint = "add `digits = \"uncertainty\"`, or write `uncertainty-form = \"plus-minus\"`";
            self.cx.push(Finding::warning(code, span, message).hint(hint));
        }
    }

    fn guard_digit(&mut self, value: &Value) {
        match value.get_ref() {
            DeValue::Boolean(shown) => self.settings.no_guard_digit = !shown,
            _ => self.bad(value, "expected `true` or `false`", "write `guard-digit = false`"),
        }
    }

    fn constant_mass(&mut self, key: &Key, value: &Value) {
        let Some(text) = self.text(key, value) else { return };
        match rules::constant_mass(&text.value, self.cx.comma) {
            Ok(rule) => self.settings.constant_mass = Some(Spanned::new(rule, text.span)),
            Err(problem) => {
                self.bad(
                    value,
                    problem,
                    "write for example `not more than the larger of 0.5 mg and 2 scale intervals`",
                );
            }
        }
    }

    fn repeatability(&mut self, key: &Key, value: &Value) {
        let hint = "write `repeatability = { \"w(water)\" = \"0.2 %\" }`";
        let DeValue::Table(table) = value.get_ref() else {
            let message =
                format!("`repeatability` is {}; expected a limit for each symbol", kind(value.get_ref()));
            return self.bad(value, message, hint);
        };
        let _ = key;
        for (symbol, value) in in_order(table) {
            self.repeatability_of(symbol, value, hint);
        }
    }

    /// A key that is a symbol, as it is written everywhere.
    fn key_symbol(&mut self, key: &Key, hint: &str) -> Option<Spanned<String>> {
        let place = self.place(key);
        match Parser::new(Passage { text: key.get_ref(), start: 0 }, false).symbol() {
            Ok(symbol) => Some(Spanned::new(symbol.value.to_string(), place)),
            Err(_) => {
                let message = format!("`{}` is no symbol", key.get_ref());
                self.cx.push(Finding::error(Code::BadSetting, place, message).hint(hint));
                None
            }
        }
    }

    fn repeatability_of(&mut self, key: &Key, value: &Value, hint: &str) {
        let Some(symbol) = self.key_symbol(key, hint) else { return };
        let Some(text) = self.text(key, value) else { return };
        match rules::repeatability(&text.value, self.cx.comma) {
            Ok((limit, unit, relative)) => {
                self.settings.repeatability.push(RepeatabilityLimit { symbol, limit, unit, relative });
            }
            Err(problem) => self.bad(value, problem, hint),
        }
    }

    fn seed(&mut self, value: &Value) {
        let seed = value
            .get_ref()
            .as_integer()
            .and_then(|number| u64::from_str_radix(number.as_str(), number.radix()).ok());
        match seed {
            Some(seed) => self.settings.seed = Some(seed),
            None => self.bad(value, "expected a whole number, not below zero", "write `seed = 1`"),
        }
    }

    fn balances(&mut self, value: &Value) {
        let DeValue::Table(table) = value.get_ref() else {
            let hint = "write `[balance.B-04]` and below it `readability = \"0.1 mg\"`";
            return self.bad(value, "expected a table for each balance", hint);
        };
        for (name, value) in in_order(table) {
            match value.get_ref() {
                DeValue::Table(facts) => {
                    let balance = self.balance(name, facts);
                    self.settings.balances.push(balance);
                }
                other => {
                    let message =
                        format!("`{}` is {}; expected a table of its own", name.get_ref(), kind(other));
                    self.bad(value, message, "write `[balance.NAME]` and its keys below it");
                }
            }
        }
    }

    /// A mass such as `"0.1 mg"`; above zero where asked for.
    fn mass(&mut self, key: &Key, value: &Value, positive: bool) -> Option<Quantity> {
        let hint = "write a mass with its unit, such as `\"0.1 mg\"`";
        let text = value.get_ref().as_str();
        let read = text.ok_or_else(|| format!("`{}` has no unit", key.get_ref())).and_then(|text| {
            let (number, unit) = rules::amount(text, self.cx.comma)?;
            let quantity = rules::quantity(&number, &unit)?;
            match unit.dimension() == Dimension::MASS && (!positive || rules::is_positive(&number)) {
                true => Ok(quantity),
                false => Err(format!("`{text}` is no mass above zero")),
            }
        });
        read.map_err(|problem| self.bad(value, problem, hint)).ok()
    }

    fn atomic_weights(&mut self, value: &Value) {
        match value.get_ref() {
            DeValue::String(_) => self.atomic_weight_table(value),
            DeValue::Table(table) => {
                for (key, value) in in_order(table) {
                    match key.get_ref().as_ref() {
                        "table" => self.atomic_weight_table(value),
                        symbol if elements::is_element(symbol) => {
                            let weight = self.positive(value, "an atomic weight such as `\"16.00\"`");
                            let symbol = Spanned::new(symbol.to_owned(), self.place(key));
                            self.settings.atomic_weights.extend(weight.map(|weight| (symbol, weight)));
                        }
                        _ => self.no_element(key),
                    }
                }
            }
            _ => self.bad(
                value,
                "expected elements with their weights",
                "write `[atomic-weights]` and below it `O = \"16.00\"`",
            ),
        }
    }

    fn no_element(&mut self, key: &Key) {
        let place = self.place(key);
        let message = format!("`{}` is no element", key.get_ref());
        let finding = Finding::error(Code::BadSetting, place, message);
        self.cx.push(match elements::nearest_symbol(key.get_ref()) {
            Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
            None => finding.hint("write the element's symbol, such as `O`"),
        });
    }

    /// The name of a built-in table.
    fn atomic_weight_table(&mut self, value: &Value) {
        let name = value.get_ref().as_str().unwrap_or("").trim();
        if AtomicWeights::by_name(name).is_some() {
            self.settings.atomic_weight_table = Some(Spanned::new(name.to_owned(), self.place(value)));
        } else {
            let names: Vec<_> = AtomicWeights::names().collect();
            let message = format!("no table of atomic weights named `{name}`");
            self.bad(value, message, &format!("there are `{}`", names.join("`, `")));
        }
    }

    fn molar_masses(&mut self, value: &Value) {
        let DeValue::Table(table) = value.get_ref() else {
            let hint = "write `[molar-masses]` and below it `BaSO4 = \"233.43\"`";
            return self.bad(value, "expected formulas with their molar masses", hint);
        };
        for (key, value) in in_order(table) {
            let formula = key.get_ref().trim();
            let place = self.place(key);
            if !looks_like_formula(formula) {
                let message = format!("`{formula}` is no chemical formula");
                self.cx.push(Finding::error(Code::UnknownFormula, place, message));
                continue;
            }
            let mass = self.positive(value, "a molar mass in g/mol such as `\"233.43\"`");
            let formula = Spanned::new(formula.to_owned(), place);
            self.settings.molar_masses.extend(mass.map(|mass| (formula, mass)));
        }
    }

    /// A number above zero, as a text or as TOML's own number; `g/mol` behind it is understood.
    fn positive(&mut self, value: &Value, expected: &str) -> Option<Decimal> {
        let (text, comma) = match value.get_ref() {
            DeValue::String(text) => {
                (text.trim().trim_end_matches("g/mol").trim_end().to_owned(), self.cx.comma)
            }
            DeValue::Float(number) => (number.as_str().replace('_', ""), false),
            DeValue::Integer(number) if number.radix() == 10 => (number.as_str().replace('_', ""), false),
            _ => (String::new(), false),
        };
        match context::number(Passage { text: &text, start: 0 }, comma, expected) {
            Ok(number) if rules::is_positive(&number) => Some(number),
            Ok(_) => {
                self.bad(value, format!("not above zero; expected {expected}"), "check the number");
                None
            }
            Err(finding) => {
                let place = self.place(value);
                self.cx.push(Finding { span: Some(place), code: Code::BadSetting, ..*finding });
                None
            }
        }
    }

    /// An entry of the record; the entries stay in the order of [`RECORD_KEYS`].
    fn record(&mut self, key: &str, heading: &str, value: &Value) {
        let lines = lines(value);
        if lines.is_empty() {
            return;
        }
        let rank = |key: &str| RECORD_KEYS.iter().position(|(name, _)| *name == key);
        let at = self.settings.record.partition_point(|entry| rank(&entry.key) < rank(key));
        let entry = RecordEntry { key: key.to_owned(), heading: heading.to_owned(), lines };
        self.settings.record.insert(at, entry);
    }

    /// An amended report says why.
    fn amendment(&mut self, table: &DeTable) {
        if let (Some((key, _)), None) = (table.get_key_value("amends"), table.get("reason")) {
            let place = self.place(key);
            let finding = Finding::warning(Code::BadSetting, place, "an amendment without a reason");
            self.cx.push(finding.hint("add `reason = \"…\"`"));
        }
    }
}

/// `2026-03-04`, its day checked against the calendar.
fn iso_date(text: &str) -> Option<Date> {
    let mut parts = text.trim().split(is_dash);
    let mut part = |length: usize| {
        let digits =
            parts.next().filter(|part| part.len() == length && part.bytes().all(|b| b.is_ascii_digit()))?;
        digits.parse::<u16>().ok()
    };
    let (year, month, day) = (part(4)?, part(2)?, part(2)?);
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 => {
            if leap {
                29
            } else {
                28
            }
        }
        _ => return None,
    };
    let fits = parts.next().is_none() && (1..=days).contains(&day);
    fits.then_some(Date { year, month: u8::try_from(month).ok()?, day: u8::try_from(day).ok()? })
}

/// The kind of a value in words.
fn kind(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "yes or no",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// A value of the record as lines of text: one per item of a list, one per key of a table.
fn lines(value: &Value) -> Vec<String> {
    match value.get_ref() {
        DeValue::Array(list) => list.iter().map(flat).filter(|line| !line.is_empty()).collect(),
        DeValue::Table(table) => in_order(table).into_iter().map(|(key, value)| keyed(key, value)).collect(),
        _ => Some(flat(value)).filter(|line| !line.is_empty()).into_iter().collect(),
    }
}

fn keyed(key: &Key, value: &Value) -> String {
    format!("{}: {}", key.get_ref(), flat(value))
}

/// A value on one line.
fn flat(value: &Value) -> String {
    match value.get_ref() {
        DeValue::String(text) => text.split_whitespace().collect::<Vec<_>>().join(" "),
        DeValue::Integer(number) => number.as_str().to_owned(),
        DeValue::Float(number) => number.as_str().to_owned(),
        DeValue::Boolean(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        DeValue::Datetime(moment) => moment.to_string(),
        DeValue::Array(list) => list.iter().map(flat).collect::<Vec<_>>().join(", "),
        DeValue::Table(table) => in_order(table)
            .into_iter()
            .map(|(key, value)| format!("{} {}", key.get_ref(), flat(value)))
            .collect::<Vec<_>>()
            .join(", "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_days_of_the_calendar() {
        let date = |text| iso_date(text).map(|date| (date.year, date.month, date.day));
        assert_eq!(date("2026-03-04"), Some((2026, 3, 4)));
        assert_eq!(date("2024–02–29"), Some((2024, 2, 29)));
        for text in [
            "2026-02-29",
            "2100-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-1-01",
            "04.03.2026",
            "2026-03-04-05",
        ] {
            assert_eq!(date(text), None, "{text}");
        }
    }

    #[test]
    fn the_heading_of_every_record_key_is_known_once() {
        let keys: std::collections::BTreeSet<_> = RECORD_KEYS.iter().map(|(key, _)| key).collect();
        assert_eq!(keys.len(), RECORD_KEYS.len());
        assert!(RECORD_KEYS.iter().all(|(key, _)| !KEYS.contains(key)));
    }
}
