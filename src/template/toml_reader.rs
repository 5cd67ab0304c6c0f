//! Reading a table of TOML key by key: every key has its kind, and what is unknown is said with the key
//! that may be meant.

use crate::finding::{Code, Finding, nearest};
use crate::notebook::settings::Date;
use crate::quantity::{Decimal, Number};
use crate::span::{Span, Spanned};
use toml::de::{DeTable, DeValue};

pub(super) type Key<'i> = toml::Spanned<std::borrow::Cow<'i, str>>;
pub(super) type Value<'i> = toml::Spanned<DeValue<'i>>;

/// Entries in the order written.
pub(super) fn in_order<'t, 'i>(table: &'t DeTable<'i>) -> Vec<(&'t Key<'i>, &'t Value<'i>)> {
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    entries
}

/// The kind of a value in words.
pub(super) fn kind(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// A value on one line, as a person would say it.
pub(super) fn flat(value: &DeValue) -> String {
    match value {
        DeValue::String(text) => format!("“{text}”"),
        DeValue::Integer(number) => number.as_str().to_owned(),
        DeValue::Float(number) => number.as_str().to_owned(),
        DeValue::Boolean(yes) => yes.to_string(),
        DeValue::Datetime(moment) => moment.to_string(),
        DeValue::Array(list) => list.iter().map(|item| flat(item.get_ref())).collect::<Vec<_>>().join(", "),
        DeValue::Table(table) => in_order(table)
            .into_iter()
            .map(|(key, value)| format!("{} {}", key.get_ref(), flat(value.get_ref())))
            .collect::<Vec<_>>()
            .join("; "),
    }
}

/// A table while it is read.
pub(super) struct Section<'r, 't, 'i> {
    table: &'t DeTable<'i>,
    /// How the table is called in messages.
    name: String,
    /// Its place, for what it lacks.
    place: Option<Span>,
    /// The keys that were asked for.
    known: Vec<&'static str>,
    findings: &'r mut Vec<Finding>,
}

impl<'r, 't, 'i> Section<'r, 't, 'i> {
    pub(super) fn new(
        table: &'t DeTable<'i>,
        name: &str,
        place: Option<Span>,
        findings: &'r mut Vec<Finding>,
    ) -> Self {
        Section { table, name: name.to_owned(), place, known: Vec::new(), findings }
    }

    /// Another section that reports to the same place.
    fn below<'s>(&'s mut self, table: &'t DeTable<'i>, name: &str, place: Span) -> Section<'s, 't, 'i> {
        Section::new(table, name, Some(place), self.findings)
    }

    pub(super) fn push(&mut self, finding: Finding) {
        self.findings.push(finding);
    }

    /// Takes keys as known that something else reads.
    pub(super) fn pass(&mut self, keys: &[&'static str]) {
        self.known.extend(keys);
    }

    fn get(&mut self, key: &'static str) -> Option<&'t Value<'i>> {
        self.known.push(key);
        self.table.get(key)
    }

    /// The place of the table itself.
    pub(super) fn place(&self) -> Option<Span> {
        self.place
    }

    /// The place of the value of a key.
    pub(super) fn place_of(&self, key: &str) -> Option<Span> {
        self.table.get(key).map(|value| value.span().into())
    }

    fn wrong(&mut self, key: &str, value: &Value, expected: &str) {
        let message = format!("`{key}` is {}; expected {expected}", kind(value.get_ref()));
        self.findings.push(Finding::error(Code::BadSetting, Span::from(value.span()), message));
    }

    /// A text, not blank.
    pub(super) fn text(&mut self, key: &'static str) -> Option<String> {
        let value = self.get(key)?;
        self.text_in(key, value).map(|text| text.value)
    }

    /// A text with its place.
    pub(super) fn text_at(&mut self, key: &'static str) -> Option<Spanned<String>> {
        let value = self.get(key)?;
        self.text_in(key, value)
    }

    fn text_in(&mut self, key: &str, value: &Value) -> Option<Spanned<String>> {
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => {
                let folded = text.split_whitespace().collect::<Vec<_>>().join(" ");
                Some(Spanned::new(folded, value.span().into()))
            }
            DeValue::String(_) => None,
            _ => {
                self.wrong(key, value, "a text in quotation marks");
                None
            }
        }
    }

    /// A text that has to be there.
    pub(super) fn needed(&mut self, key: &'static str) -> String {
        self.text(key).unwrap_or_else(|| {
            self.lacks(key);
            String::new()
        })
    }

    /// Says that a key is missing.
    pub(super) fn lacks(&mut self, key: &str) {
        if self.table.get(key).is_some_and(|value| !matches!(value.get_ref(), DeValue::String(_))) {
            return; // its kind is wrong, which has been said
        }
        let message = format!("{} has no `{key}`", self.name);
        let finding = Finding::error(Code::BadTemplate, self.place, message);
        self.findings.push(finding.hint(format!("add `{key} = \"…\"`")));
    }

    /// One text or a list of them.
    pub(super) fn texts(&mut self, key: &'static str) -> Vec<Spanned<String>> {
        match self.get(key) {
            Some(value) => self.texts_in(key, value),
            None => Vec::new(),
        }
    }

    pub(super) fn texts_in(&mut self, key: &str, value: &'t Value<'i>) -> Vec<Spanned<String>> {
        match value.get_ref() {
            DeValue::Array(list) => list.iter().filter_map(|item| self.text_in(key, item)).collect(),
            _ => self.text_in(key, value).into_iter().collect(),
        }
    }

    /// A whole number, not below zero.
    pub(super) fn whole(&mut self, key: &'static str) -> Option<usize> {
        let value = self.get(key)?;
        let number = value.get_ref().as_integer().and_then(|number| number.as_str().parse().ok());
        if number.is_none() {
            self.wrong(key, value, "a whole number, not below zero");
        }
        number
    }

    /// A number, not below zero, as it is written.
    pub(super) fn number(&mut self, key: &'static str) -> Option<Number> {
        let value = self.get(key)?;
        let written = match value.get_ref() {
            DeValue::Integer(number) => Some(number.as_str()),
            DeValue::Float(number) => Some(number.as_str()),
            _ => None,
        };
        let number = written.and_then(|text| Decimal::parse(text, false).ok());
        let number = number.map(|decimal| decimal.to_number()).filter(|number| !number.is_negative());
        if number.is_none() {
            let expected = "a number, not below zero";
            let found = written.unwrap_or(kind(value.get_ref()));
            let message = format!("`{key}` is {found}; expected {expected}");
            self.findings.push(Finding::error(Code::BadSetting, Span::from(value.span()), message));
        }
        number
    }

    /// `true` or `false`; `false` where it is not said.
    pub(super) fn flag(&mut self, key: &'static str) -> bool {
        let Some(value) = self.get(key) else { return false };
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong(key, value, "`true` or `false`");
        }
        flag.unwrap_or(false)
    }

    /// A day.
    pub(super) fn date(&mut self, key: &'static str) -> Option<Date> {
        let value = self.get(key)?;
        let date = match value.get_ref() {
            DeValue::Datetime(moment) => moment.date,
            _ => None,
        };
        if date.is_none() {
            self.wrong(key, value, "a day such as `2026-03-04`, without quotation marks");
        }
        date.map(|date| Date { year: date.year, month: date.month, day: date.day })
    }

    /// One of a few words.
    pub(super) fn choice<T: Copy>(&mut self, key: &'static str, choices: &[(&str, T)]) -> Option<T> {
        let value = self.get(key)?;
        let text = self.text_in(key, value)?;
        self.chosen(&text, choices)
    }

    /// The meaning of a word, or a finding that lists the words there are.
    pub(super) fn chosen<T: Copy>(&mut self, text: &Spanned<String>, choices: &[(&str, T)]) -> Option<T> {
        let found = choices.iter().find(|(word, _)| *word == text.value).map(|(_, choice)| *choice);
        if found.is_none() {
            let words: Vec<&str> = choices.iter().map(|(word, _)| *word).collect();
            let message = format!("found `{}`; expected one of `{}`", text.value, words.join("`, `"));
            let finding = Finding::error(Code::BadSetting, text.span, message);
            self.findings.push(match nearest(&text.value, words) {
                Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
                None => finding,
            });
        }
        found
    }

    /// A table below this one.
    pub(super) fn table<T>(
        &mut self,
        key: &'static str,
        read: impl FnOnce(&mut Section<'_, 't, 'i>) -> T,
    ) -> Option<T> {
        let value = self.get(key)?;
        match value.get_ref() {
            DeValue::Table(table) => Some(self.one(table, &format!("`[{key}]`"), value, read)),
            _ => {
                self.wrong(key, value, &format!("a table: `[{key}]` and its keys below it"));
                None
            }
        }
    }

    /// A list of tables below this one (`[[key]]`).
    pub(super) fn tables<T>(
        &mut self,
        key: &'static str,
        mut read: impl FnMut(&mut Section<'_, 't, 'i>) -> Option<T>,
    ) -> Vec<T> {
        let Some(value) = self.get(key) else { return Vec::new() };
        let name = format!("a `[[{key}]]`");
        let DeValue::Array(list) = value.get_ref() else {
            self.wrong(key, value, &format!("a list of tables: `[[{key}]]` before each"));
            return Vec::new();
        };
        let mut found = Vec::new();
        for item in list.iter() {
            match item.get_ref() {
                DeValue::Table(table) => found.extend(self.one(table, &name, item, &mut read)),
                _ => self.wrong(key, item, &format!("a table: `[[{key}]]` and its keys below it")),
            }
        }
        found
    }

    fn one<T>(
        &mut self,
        table: &'t DeTable<'i>,
        name: &str,
        value: &Value,
        read: impl FnOnce(&mut Section<'_, 't, 'i>) -> T,
    ) -> T {
        let mut section = self.below(table, name, value.span().into());
        let result = read(&mut section);
        section.end();
        result
    }

    /// Every entry of a table whose keys are free.
    pub(super) fn entries(&mut self) -> Vec<(Spanned<String>, &'t Value<'i>)> {
        self.known.clear();
        let named = |(key, value): (&'t Key<'i>, &'t Value<'i>)| {
            (Spanned::new(key.get_ref().to_string(), key.span().into()), value)
        };
        let entries: Vec<_> = in_order(self.table).into_iter().map(named).collect();
        self.place = None;
        self.name.clear();
        entries
    }

    /// Says which keys nothing asked for.
    pub(super) fn end(self) {
        if self.name.is_empty() {
            return; // its keys are free
        }
        for (key, _) in in_order(self.table) {
            if self.known.contains(&key.get_ref().as_ref()) {
                continue;
            }
            let message = format!("the key `{}` of {} is not known", key.get_ref(), self.name);
            let finding = Finding::warning(Code::UnknownKey, Span::from(key.span()), message);
            self.findings.push(match nearest(key.get_ref(), self.known.iter().copied()) {
                Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
                None => finding.hint(format!("known are `{}`", self.known.join("`, `"))),
            });
        }
    }
}
