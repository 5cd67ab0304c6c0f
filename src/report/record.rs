//! What stands at the end of a report: checks, the record of the work, the findings, how it was computed.

use super::code::{self, Fields};
use super::words::Ink;
use crate::evaluation::results::{Results, TemplateUsed};
use crate::evaluation::uncertainty::percent;
use crate::evaluation::{digits_word, rounding_word};
use crate::finding::{Finding, Severity};
use crate::notebook::Check;
use crate::notebook::settings::{Balance, Coverage, DecimalMark, DigitsPolicy, Settings, ShownUncertainty};
use crate::span::{Lines, Span};

/// A heading with its lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Entry {
    pub(super) heading: String,
    pub(super) lines: Vec<String>,
    /// What stands behind each line, in characters that are never parted (a hash).
    pub(super) codes: Vec<String>,
}

/// The checks of the task lists.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Checks {
    pub(super) entries: Vec<Check>,
    /// What the template requires and the notebook lacks.
    pub(super) missing: Vec<String>,
}

/// A finding as a report lists it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Listed {
    pub(super) severity: Severity,
    pub(super) place: Option<String>,
    pub(super) message: String,
    pub(super) hints: Vec<String>,
    pub(super) span: Option<Span>,
}

impl Entry {
    fn new(heading: &str, line: impl Into<String>) -> Self {
        Entry::of(heading, vec![line.into()])
    }

    fn of(heading: &str, lines: Vec<String>) -> Self {
        Entry { heading: heading.to_owned(), lines, codes: Vec::new() }
    }

    fn line(&self, index: usize, ink: &Ink) -> String {
        let text = self.lines.get(index).map_or("[]".to_owned(), |line| ink.plain(line, None));
        match self.codes.get(index) {
            Some(code) if !code.is_empty() => code::joined(&[text, code::string(code)]),
            _ => text,
        }
    }

    fn set(&self, ink: &Ink) -> String {
        Fields::new()
            .code("heading", ink.text(&self.heading, None))
            .code("lines", code::array((0..self.lines.len()).map(|index| self.line(index, ink))))
            .dictionary()
    }
}

/// Entries as a call of the layout's function (`record`, `foot`).
pub(super) fn set_entries(function: &str, entries: &[Entry], ink: &Ink) -> String {
    format!("layout.{function}({})\n", code::lines(entries.iter().map(|entry| entry.set(ink))))
}

/// The checks; `None` where there is none.
pub(super) fn checks(results: &Results) -> Option<Checks> {
    let missing = results.template.as_ref().map_or(Vec::new(), |template| template.missing_checks.clone());
    let checks = Checks { entries: results.checks.clone(), missing };
    (!checks.entries.is_empty() || !checks.missing.is_empty()).then_some(checks)
}

impl Checks {
    /// How many are ticked.
    pub(super) fn ticked(&self) -> usize {
        self.entries.iter().filter(|check| check.ticked).count()
    }

    /// As a call of the layout.
    pub(super) fn set(&self, ink: &Ink) -> String {
        let entry = |check: &Check| {
            Fields::new()
                .code("text", ink.plain(&check.text, Some(check.span)))
                .code("ticked", check.ticked.to_string())
                .dictionary()
        };
        let checks = Fields::new()
            .code("ticked", self.ticked().to_string())
            .code("entries", code::array(self.entries.iter().map(entry)));
        let missing = self.missing.iter().map(|text| ink.plain(text, None));
        let missing = (!self.missing.is_empty()).then(|| code::array(missing));
        format!("layout.checks({})\n", checks.optional("missing", missing).dictionary())
    }
}

/// The record of the work: what `experiment` states beyond title, authors and date.
pub(super) fn record(results: &Results) -> Vec<Entry> {
    let settings = &results.settings;
    let mut entries: Vec<Entry> =
        settings.record.iter().map(|entry| Entry::of(&entry.heading, entry.lines.clone())).collect();
    entries.extend(settings.unknown.iter().map(|unknown| Entry::new("Unknown", unknown)));
    if !settings.balances.is_empty() {
        let lines = settings.balances.iter().map(|balance| balance_line(balance, settings)).collect();
        entries.push(Entry::of("Balances", lines));
    }
    entries
}

/// `B-04: readability 0.1 mg, repeatability 0.1 mg, …`
fn balance_line(balance: &Balance, settings: &Settings) -> String {
    let mut facts: Vec<String> = Vec::new();
    facts.extend(balance.readability_text.iter().map(|text| format!("readability {text}")));
    let milligrams = |quantity: &Option<crate::quantity::Quantity>| {
        let unit = crate::quantity::Unit::parse("mg").ok()?;
        let quantity = quantity.as_ref()?;
        let number = quantity.number_in(&unit).ok()?;
        let printed = crate::quantity::print(&number, quantity.digits_in(&unit), settings.rounding);
        Some(format!("{} mg", printed.typographic(settings.decimal == DecimalMark::Comma)))
    };
    facts.extend(milligrams(&balance.repeatability).map(|text| format!("repeatability {text}")));
    facts.extend(milligrams(&balance.linearity).map(|text| format!("linearity {text}")));
    facts.extend(balance.facts.iter().map(|(key, text)| format!("{key} {text}")));
    if facts.is_empty() {
        balance.name.value.clone()
    } else {
        format!("{}: {}", balance.name.value, facts.join(", "))
    }
}

/// The findings with their lines, the gravest first.
pub(super) fn findings(findings: &[Finding], text: &str) -> Vec<Listed> {
    let lines = Lines::of(text);
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_key(|finding| {
        (std::cmp::Reverse(finding.severity), finding.file.is_some(), finding.span.map(|span| span.start))
    });
    let listed = |finding: &Finding| Listed {
        severity: finding.severity,
        place: match (&finding.file, finding.span) {
            (Some(_), _) => finding.elsewhere(),
            (None, Some(span)) => Some(format!("line {}", lines.place(text, span.start).0)),
            (None, None) => None,
        },
        message: finding.message.clone(),
        hints: finding.hints.clone(),
        span: finding.span,
    };
    sorted.into_iter().map(listed).collect()
}

/// Findings as a call of the layout; empty where there is none.
pub(super) fn set_findings(findings: &[Listed], ink: &Ink) -> String {
    if findings.is_empty() {
        return String::new();
    }
    let entry = |finding: &Listed| {
        Fields::new()
            .text("severity", finding.severity.word())
            .optional("place", finding.place.as_ref().map(|place| ink.text(place, None)))
            .code("message", ink.plain(&finding.message, finding.span))
            .optional("hints", hints(finding, ink))
            .dictionary()
    };
    format!("layout.findings({})\n", code::lines(findings.iter().map(entry)))
}

/// The ways to mend a finding; `None` where none is known.
fn hints(finding: &Listed, ink: &Ink) -> Option<String> {
    let hints = finding.hints.iter().map(|hint| ink.plain(hint, finding.span));
    (!finding.hints.is_empty()).then(|| code::array(hints))
}

/// How many findings there are of a severity.
pub(super) fn count(findings: &[Finding], severity: Severity) -> usize {
    findings.iter().filter(|finding| finding.severity == severity).count()
}

/// How the report was computed: versions, tables, policies, hashes.
pub(super) fn foot(results: &Results) -> Vec<Entry> {
    let settings = &results.settings;
    let mut entries = vec![
        Entry::new("Computed by", format!("Reweigh {}", env!("CARGO_PKG_VERSION"))),
        Entry::new("Atomic weights", results.atomic_weights.clone()),
    ];
    entries.extend(changed_weights(settings));
    entries.push(Entry::new("Digits", digits_sentence(settings.digits)));
    entries.extend(uncertainty_sentence(settings).map(|sentence| Entry::new("Uncertainty", sentence)));
    entries.push(Entry::new("Rounding", rounding_sentence(rounding_word(settings.rounding))));
    entries.extend(rules(results).map(|rule| Entry::new("Constant mass", rule)));
    match &results.template {
        Some(template) => entries.extend(template_entries(template)),
        None => entries.extend(
            settings
                .template
                .as_ref()
                .map(|name| Entry::new("Template", format!("{}, not found", name.value))),
        ),
    }
    if !results.sha256.is_empty() {
        let own = std::iter::once((&results.name, &results.sha256));
        let files = own.chain(results.files.iter().map(|(name, hash)| (name, hash)));
        let (lines, codes) = files.map(|(name, hash)| (format!("{name}: "), hash.clone())).unzip();
        entries.push(Entry { heading: "SHA-256".to_owned(), lines, codes });
    }
    entries
}

/// Which template, whose, reviewed by whom, and whose formulas were used.
fn template_entries(template: &TemplateUsed) -> Vec<Entry> {
    let by = template.institution.as_ref().map_or(String::new(), |by| format!(", by {by}"));
    let reviewed = match &template.reviewed {
        Some((by, on)) => format!("reviewed by {by}, {on}"),
        None => "not reviewed by your institution".to_owned(),
    };
    let mut lines = vec![format!("{} {}{by}; {}", template.id, template.version, template.origin), reviewed];
    if !template.local.is_empty() {
        lines.push(format!("changed here: {}", template.local.join(", ")));
    }
    lines.push("SHA-256 of its files: ".to_owned());
    let codes = lines.iter().skip(1).map(|_| String::new()).chain([template.sha256.clone()]).collect();
    let template_entry = Entry { heading: "Template".to_owned(), lines, codes };
    vec![template_entry, Entry::new("Computed", template.working.clone())]
}

fn digits_sentence(policy: DigitsPolicy) -> String {
    match policy {
        DigitsPolicy::SignificantFigures => format!("by {}", digits_word(policy)),
        DigitsPolicy::Uncertainty => "by uncertainty: two figures of U decide the last place".to_owned(),
    }
}

/// How the uncertainty was evaluated, where it is shown.
fn uncertainty_sentence(settings: &Settings) -> Option<String> {
    let coverage = match settings.coverage {
        Coverage::Factor(k) => format!("k = {k}"),
        Coverage::Probability(p) => format!("k for {} % by Student’s t", percent(p)),
    };
    let coverage = if settings.decimal == DecimalMark::Comma { coverage.replace('.', ",") } else { coverage };
    let order = if settings.second_order { "first and second order" } else { "first order" };
    let shown = settings.shown_uncertainty() != ShownUncertainty::Off;
    shown.then(|| format!("{order} (JCGM 100:2008), U = k u with {coverage}"))
}

fn rounding_sentence(word: &str) -> String {
    format!("{word}, only in print; nothing is rounded before")
}

/// The constant-mass rules in force, each once.
fn rules(results: &Results) -> impl Iterator<Item = String> {
    let mut rules: Vec<String> = results.series.iter().filter_map(|series| series.rule.clone()).collect();
    rules.dedup();
    rules.into_iter()
}

/// Atomic weights and molar masses that the notebook sets itself.
fn changed_weights(settings: &Settings) -> Option<Entry> {
    let elements =
        settings.atomic_weights.iter().map(|(element, value)| format!("{} = {value}", element.value));
    let masses =
        settings.molar_masses.iter().map(|(formula, value)| format!("M({}) = {value} g/mol", formula.value));
    let all: Vec<String> = elements.chain(masses).collect();
    (!all.is_empty()).then(|| Entry::new("Set by the notebook", all.join("; ")))
}
