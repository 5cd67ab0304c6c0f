//! What a template requires of a notebook: each thing that is missing is said once, at the place it belongs.

use super::apply::Applied;
use super::model::{RequiredLoad, SampleSize, Template};
use crate::evaluation::results::{ReadingCell, Results, Series, SeriesRow};
use crate::finding::{Code, Finding};
use crate::notebook::blocks::BlockKind;
use crate::notebook::settings::RECORD_KEYS;
use crate::notebook::{Item, Notebook, load_key, things};
use crate::quantity::{Decimal, Unit};
use crate::span::Span;
use pulldown_cmark::{Event, Tag, TagEnd};

/// Says what is missing. Returns the required checks that the notebook does not have.
pub(super) fn check(
    notebook: &Notebook,
    template: &Template,
    applied: &Applied,
    results: &mut Results,
) -> Vec<String> {
    let mut checker = Checker::new(notebook, template, applied, results);
    checker.trials();
    checker.loads(true);
    checker.decimals();
    checker.same_balance();
    checker.record();
    checker.headings();
    let missing = checker.checks();
    checker.samples();
    let findings = checker.findings;
    // A key that is required and missing is said once.
    let required = |key: &str| template.required.record.iter().any(|required| required == key);
    results.findings.retain(|finding| match finding.code {
        Code::MissingDate => !required("date"),
        Code::MissingTitle => !required("title"),
        _ => true,
    });
    results.findings.extend(findings);
    missing
}

/// Says what a filled skeleton lacks: loads, headings and checks. Readings and the record are the student's.
pub(super) fn check_form(
    notebook: &Notebook,
    template: &Template,
    applied: &Applied,
    results: &Results,
) -> Vec<Finding> {
    let mut checker = Checker::new(notebook, template, applied, results);
    checker.loads(false);
    checker.headings();
    checker.checks();
    checker.findings
}

/// What a template asks of the readings, in the words of a notebook that it was applied to: how many trials, and each
/// load with the weighings it needs.
pub fn asked(notebook: &Notebook, template: &Template) -> (usize, Vec<RequiredLoad>) {
    let names = super::aliases::Names::of(notebook, template);
    let own_words = |required: &RequiredLoad| {
        let things: Vec<String> = things(&required.load).iter().map(|thing| names.thing(thing)).collect();
        RequiredLoad { load: things.join(" + "), cycles: required.cycles }
    };
    (template.required.trials, template.required.loads.iter().map(own_words).collect())
}

struct Checker<'a> {
    notebook: &'a Notebook,
    template: &'a Template,
    applied: &'a Applied,
    results: &'a Results,
    findings: Vec<Finding>,
}

impl<'a> Checker<'a> {
    fn new(
        notebook: &'a Notebook,
        template: &'a Template,
        applied: &'a Applied,
        results: &'a Results,
    ) -> Self {
        Checker { notebook, template, applied, results, findings: Vec::new() }
    }

    fn missing(&mut self, place: Option<Span>, message: String, hint: &str) {
        self.findings.push(Finding::warning(Code::MissingItem, place, message).hint(hint));
    }

    /// The first block of readings.
    fn readings_place(&self) -> Option<Span> {
        let is_masses = |block: &&crate::notebook::blocks::Block| matches!(block.kind, BlockKind::Masses(_));
        self.notebook.blocks.iter().find(is_masses).map(|block| block.span)
    }

    /// The trials that count and have a reading, by index.
    fn weighed_trials(&self) -> Vec<usize> {
        let trials = self.results.trials.iter().enumerate().filter(|(_, trial)| trial.counts());
        let has_reading = |trial: usize| self.results.series.iter().any(|series| count(series, trial) > 0);
        trials.map(|(index, _)| index).filter(|index| has_reading(*index)).collect()
    }

    fn trials(&mut self) {
        let (wanted, found) = (self.template.required.trials, self.weighed_trials().len());
        if found < wanted {
            let message = format!("the template requires {}; {found} with readings", trials(wanted));
            let place = self.readings_place();
            self.missing(place, message, "a trial is a column of `masses`; one set aside does not count");
        }
    }

    /// The things of a required load in the notebook's words.
    fn key(&self, load: &str) -> String {
        let renamed = |thing: &String| self.applied.names.thing(thing);
        load_key(&things(load).iter().map(renamed).collect::<Vec<_>>())
    }

    fn series(&self, load: &str) -> Option<&Series> {
        let key = self.key(load);
        self.results.series.iter().find(|series| load_key(&things(&series.load)) == key)
    }

    /// The loads that are not weighed at all, and where asked for those that are weighed too seldom.
    fn loads(&mut self, counted: bool) {
        for required in &self.template.required.loads {
            match self.series(&required.load) {
                None => {
                    let message =
                        format!("the template requires the load `{}`, which is not weighed", required.load);
                    let hint = format!("add the line `{}: …` to `masses`", required.load);
                    let place = self.readings_place();
                    self.missing(place, message, &hint);
                }
                Some(series) if counted => {
                    if let Some((place, message)) = self.short(required, series) {
                        self.missing(
                            Some(place),
                            message,
                            "weigh it again, and write each weighing on a line of its own",
                        );
                    }
                }
                Some(_) => {}
            }
        }
    }

    /// The trials that weighed a load too seldom.
    fn short(&self, required: &RequiredLoad, series: &Series) -> Option<(Span, String)> {
        let name = |trial: usize| self.results.trials.get(trial).map_or("", |trial| trial.name.as_str());
        let short: Vec<String> = self
            .weighed_trials()
            .into_iter()
            .map(|trial| (trial, count(series, trial)))
            .filter(|(_, count)| *count < required.cycles)
            .map(|(trial, count)| format!("trial {} has {}", name(trial), number(count)))
            .collect();
        let place = series.rows.last()?.span;
        let wanted = if required.cycles == 1 {
            "one weighing".to_owned()
        } else {
            format!("{} weighings", required.cycles)
        };
        let message =
            format!("the template requires {wanted} of {} in each trial; {}", series.load, short.join(", "));
        (!short.is_empty()).then_some((place, message))
    }

    /// Every reading of a required load has so many decimals of a gram.
    fn decimals(&mut self) {
        let Some(wanted) = self.template.required.decimals else { return };
        let loads: Vec<&Series> =
            self.template.required.loads.iter().filter_map(|required| self.series(&required.load)).collect();
        let mut short: Vec<Span> = Vec::new();
        for series in loads {
            let few = |row: &&SeriesRow| {
                row.readings
                    .iter()
                    .filter_map(|cell| decimals(cell, &series.unit))
                    .any(|found| found < wanted as i64)
            };
            short.extend(series.rows.iter().filter(|row| !row.struck).filter(few).map(|row| row.span));
        }
        for place in short {
            let said = |finding: &Finding| {
                finding.code == Code::DecimalPlaces && finding.span.is_some_and(|span| place.contains(span))
            };
            if !self.results.findings.iter().any(said) {
                let message = format!("the template requires readings with {wanted} decimals of a gram");
                self.missing(Some(place), message, "write every digit that the balance shows, zeros too");
            }
        }
    }

    fn same_balance(&mut self) {
        let said = self.results.findings.iter().any(|finding| finding.code == Code::BalanceChanged);
        if !self.template.required.same_balance || said {
            return;
        }
        for (trial, found) in self.results.trials.iter().enumerate() {
            let rows =
                || self.results.series.iter().flat_map(|series| &series.rows).filter(|row| !row.struck);
            let weighed = |row: &SeriesRow| row.readings.get(trial).is_some_and(|cell| cell.node.is_some());
            let balance =
                |row: &SeriesRow| row.balances.get(trial).cloned().flatten().filter(|_| weighed(row));
            let Some(first) = rows().find_map(balance) else { continue };
            let other =
                rows().find_map(|row| Some((balance(row)?, row.span)).filter(|(name, _)| *name != first));
            if let Some((other, place)) = other {
                let message = format!(
                    "the template requires one balance for a trial; trial {} was weighed on {first} and {other}",
                    found.name
                );
                let finding = Finding::warning(Code::BalanceChanged, place, message);
                let hint = format!("weigh on {first} again, or say in the text why that could not be");
                self.findings.push(finding.hint(hint));
                return;
            }
        }
    }

    fn record(&mut self) {
        let settings = &self.notebook.settings;
        for key in &self.template.required.record {
            let there = match key.as_str() {
                "title" => settings.title.is_some(),
                "authors" => !settings.authors.is_empty(),
                "date" => settings.date.is_some(),
                "unknown" => settings.unknown.is_some(),
                key => settings.record.iter().any(|entry| entry.key == key),
            };
            if !there {
                let heading = RECORD_KEYS.iter().find(|(known, _)| known == key).map(|(_, heading)| *heading);
                let words = heading.map_or(String::new(), |heading| format!(" ({})", heading.to_lowercase()));
                let message = format!("the template requires `{key}`{words} in the `experiment` block");
                self.missing(settings.span, message, &record_hint(key));
            }
        }
    }

    fn headings(&mut self) {
        let found: Vec<String> = self.applied.headings.iter().map(|text| folded(text)).collect();
        for wanted in &self.template.required.headings {
            if !found.contains(&folded(wanted)) {
                let message = format!("the template requires a section “{wanted}”");
                self.missing(None, message, &format!("add the heading `## {wanted}`"));
            }
        }
    }

    fn checks(&mut self) -> Vec<String> {
        let found: Vec<String> = self.notebook.checks.iter().map(|check| folded(&check.text)).collect();
        let wanted = self.template.required.checks.iter();
        let missing: Vec<String> =
            wanted.filter(|wanted| !found.contains(&folded(wanted))).cloned().collect();
        for text in &missing {
            let message = format!("the template requires the check “{text}”");
            self.missing(None, message, &format!("add the line `- [ ] {text}`, and tick it when it is done"));
        }
        missing
    }

    /// A sample outside the usual range is said, not called wrong.
    fn samples(&mut self) {
        for sample in &self.template.samples {
            if let Some(message) = self.unusual(sample) {
                let place = self.readings_place();
                self.findings.push(Finding::note(Code::SampleSize, place, message));
            }
        }
    }

    fn unusual(&self, sample: &SampleSize) -> Option<String> {
        let symbol = self.applied.names.name(&sample.symbol.value);
        let quantity = self.results.quantities.iter().find(|quantity| quantity.symbol == symbol)?;
        let (low, high) = &sample.range;
        let outside = |(index, outcome): (usize, &crate::evaluation::results::Outcome)| {
            let trial = self.results.trials.get(index).filter(|trial| !trial.blank)?;
            let value = outcome.value()?;
            let found = self.results.graph.quantity(value.node);
            let inside = found.dimension != low.dimension
                || (low.number <= found.number && found.number <= high.number);
            let shown =
                format!("{} {} in trial {}", value.printed.ascii(), quantity.unit.symbol(), trial.name);
            (!inside).then_some(shown)
        };
        let outside: Vec<String> = quantity.trials.iter().enumerate().filter_map(outside).collect();
        let message = format!("{symbol} is {}; usual is {}", outside.join(", "), sample.words);
        (!outside.is_empty()).then_some(message)
    }
}

fn trials(count: usize) -> String {
    if count == 1 { "one trial".to_owned() } else { format!("{count} trials") }
}

fn number(count: usize) -> String {
    if count == 0 { "none".to_owned() } else { count.to_string() }
}

/// The readings of a trial in a series, struck ones left out.
fn count(series: &Series, trial: usize) -> usize {
    let there = |row: &&SeriesRow| row.readings.get(trial).is_some_and(|cell| cell.node.is_some());
    series.rows.iter().filter(|row| !row.struck).filter(there).count()
}

/// The decimals of a reading in grams, as written.
fn decimals(cell: &ReadingCell, unit: &Unit) -> Option<i64> {
    cell.node?;
    let written = Decimal::parse(cell.written.as_ref()?, false).ok()?;
    let unit = cell.unit.as_ref().unwrap_or(unit);
    let shift = unit.factor().div(Unit::gram().factor()).ok()?.leading_power()?;
    Some(-i64::from(written.exponent) - i64::from(shift))
}

/// Every heading: its text and the index of the item behind it.
pub(super) fn headings(notebook: &Notebook) -> Vec<(String, usize)> {
    let mut found = Vec::new();
    let mut open: Option<String> = None;
    for (index, item) in notebook.items.iter().enumerate() {
        match item {
            Item::Event(Event::Start(Tag::Heading { .. }), _) => open = Some(String::new()),
            Item::Event(Event::End(TagEnd::Heading(_)), _) => {
                found.extend(open.take().map(|text| (text, index + 1)));
            }
            Item::Event(Event::Text(text) | Event::Code(text), _) => {
                open.iter_mut().for_each(|open| open.push_str(text));
            }
            _ => {}
        }
    }
    found
}

/// Words as they are compared: case, blanks and punctuation at the end make no difference.
pub(super) fn folded(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    words.join(" ").trim_end_matches(['.', ':', ';', '!', '?']).to_lowercase().replace('’', "'")
}

/// How to mend a key that is missing, or that the skeleton left blank (a second line of it would be wrong).
fn record_hint(key: &str) -> String {
    match key {
        "date" => "write `date = 2026-03-04`: year, month, day of the work".to_owned(),
        "authors" => "write `authors = [\"…\"]`".to_owned(),
        key => format!("write `{key} = \"…\"`"),
    }
}
