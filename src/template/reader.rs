//! `template.toml`: every section of it, key by key.

use super::model::*;
use super::toml_reader::{Section, in_order};
use crate::finding::{Code, Finding};
use crate::notebook::settings::RECORD_KEYS;
use crate::notebook::{RULE_KEYS, read_rules};
use crate::quantity::{Decimal, Quantity, Unit};
use crate::span::{Span, Spanned};
use toml::de::DeTable;

/// Keys of `experiment`, besides those of the record, that a template may require.
const MORE_RECORD_KEYS: [&str; 4] = ["title", "authors", "date", "unknown"];

/// Reads the (merged) table into a template. Places of findings are bytes of the text it was parsed from.
pub(super) fn read(table: &DeTable, template: &mut Template, findings: &mut Vec<Finding>) {
    let (rules, said) = read_rules(table);
    template.rules = rules;
    findings.extend(said);
    let mut top = Section::new(table, "`template.toml`", None, findings);
    top.pass(RULE_KEYS);
    identity(&mut top, template);
    template.reveal = top.choice("reveal", &REVEALS).unwrap_or_default();
    template.layout_name = top.text("layout");
    template.procedure = top.text("procedure").unwrap_or_else(|| "Procedure".to_owned());
    template.required = top.table("required", required).unwrap_or_default();
    template.samples = top.tables("sample", sample);
    template.cautions = cautions(&mut top);
    template.questions = top.tables("question", question);
    template.aliases = top.table("aliases", aliases).unwrap_or_default();
    top.end();
}

const REVEALS: [(&str, Reveal); 3] =
    [("all", Reveal::All), ("after claim", Reveal::AfterClaim), ("readings only", Reveal::ReadingsOnly)];

fn identity(top: &mut Section, template: &mut Template) {
    template.id = top.needed("id");
    if !template.id.is_empty() && !is_plain_name(&template.id) {
        let message = format!("the id `{}` is no plain name", template.id);
        let finding = Finding::error(Code::BadSetting, top.place_of("id"), message);
        top.push(finding.hint("use small letters, digits and `-`, such as `loss-on-ignition`"));
        template.id = String::new();
    }
    template.version = top.needed("version");
    template.title = top.needed("title");
    template.institution = top.text("institution");
    template.licence = top.text("licence");
    template.language = top.text("language").unwrap_or_else(|| "en".to_owned());
    if !is_language(&template.language) {
        let message = format!("`{}` is no language tag such as `en` or `pt-BR`", template.language);
        top.push(Finding::error(Code::BadSetting, top.place_of("language"), message));
        template.language = "en".to_owned();
    }
    template.changes = top.tables("change", |section| {
        let (version, date) = (section.needed("version"), section.date("date"));
        Some(Change { version, date, what: section.needed("what") })
    });
    template.review = top.table("review", review).flatten();
}

/// Whether an id can be a file name anywhere.
pub(super) fn is_plain_name(text: &str) -> bool {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    text.len() <= 64 && text.starts_with(|c: char| c.is_ascii_lowercase()) && text.chars().all(plain)
}

/// A language and optionally a region, as BCP 47 writes them.
fn is_language(tag: &str) -> bool {
    let (language, region) = tag.split_once('-').unwrap_or((tag, "XX"));
    let letters = |text: &str| text.chars().all(|c| c.is_ascii_alphabetic());
    matches!(language.len(), 2 | 3) && letters(language) && region.len() == 2 && letters(region)
}

/// An empty `[review]` is no review: both who and when have to be there.
fn review(section: &mut Section) -> Option<Review> {
    let (by, on) = (section.text("by"), section.date("on"));
    if by.is_some() != on.is_some() {
        section.lacks(if by.is_none() { "by" } else { "on" });
    }
    Some(Review { by: by?, on: on? })
}

fn required(section: &mut Section) -> Required {
    Required {
        trials: section.whole("trials").unwrap_or(0),
        decimals: section.whole("decimals"),
        same_balance: section.flag("same-balance"),
        record: record_keys(section),
        headings: section.texts("headings").into_iter().map(|text| text.value).collect(),
        loads: section.tables("load", |section| {
            let load = section.needed("load");
            let cycles = section.whole("cycles").unwrap_or(1).max(1);
            (!load.is_empty()).then_some(RequiredLoad { load, cycles })
        }),
        checks: section
            .tables("check", |section| Some(section.needed("text")).filter(|text| !text.is_empty())),
    }
}

fn record_keys(section: &mut Section) -> Vec<String> {
    let known = || RECORD_KEYS.iter().map(|(key, _)| *key).chain(MORE_RECORD_KEYS);
    let choices: Vec<(&str, &str)> = known().map(|key| (key, key)).collect();
    let wanted = section.texts("record");
    wanted.iter().filter_map(|key| section.chosen(key, &choices)).map(str::to_owned).collect()
}

fn sample(section: &mut Section) -> Option<SampleSize> {
    let symbol = section.text_at("symbol");
    let symbol =
        symbol.unwrap_or_else(|| Spanned::new("m(sample)".to_owned(), section.place().unwrap_or_default()));
    let (low, high) = (amount(section, "low"), amount(section, "high"));
    let words = section.text("words");
    let ((low, unit, low_text), (high, _, high_text)) = (low?, high?);
    if low.dimension != high.dimension || low.number > high.number {
        let message = "the sample's `low` is not below its `high`";
        let finding = Finding::error(Code::BadSetting, section.place_of("low"), message);
        section.push(finding.hint("both are of one kind, as in `low = \"0.8 g\"` and `high = \"1.5 g\"`"));
        return None;
    }
    let words = words.unwrap_or_else(|| format!("{low_text} to {high_text}"));
    Some(SampleSize { symbol, range: (low, high), unit, words })
}

/// A number with its unit, as exact as it is written, and the text.
fn amount(section: &mut Section, key: &'static str) -> Option<(Quantity, Unit, String)> {
    let text = section.needed(key);
    if text.is_empty() {
        return None;
    }
    let read = || {
        let (number, unit) = text.split_once(' ')?;
        let unit = Unit::parse(unit.trim()).ok()?;
        Some((Quantity::from_decimal(&Decimal::parse(number, false).ok()?, &unit, false).ok()?, unit))
    };
    let read = read();
    if read.is_none() {
        let message = format!("`{text}` is no amount; expected a number and its unit such as `0.8 g`");
        section.push(Finding::error(Code::BadSetting, section.place_of(key), message));
    }
    read.map(|(quantity, unit)| (quantity, unit, text.clone()))
}

fn cautions(top: &mut Section) -> Cautions {
    Cautions {
        hazards: top.tables("hazard", hazard),
        gases: top.tables("gas", |section| line(section, &["step", "gas"])),
        signs: top.tables("sign", sign),
        general: top.tables("caution", |section| line(section, &[])),
        spills: top.tables("spill", |section| line(section, &["substance"])),
        disposal: top.tables("disposal", |section| line(section, &["substance"])),
    }
}

/// The source of a line; `None` and a warning where there is none, so that the line is left out.
fn provenance(section: &mut Section, what: &str) -> Option<Provenance> {
    let (source, date) = (section.text("source"), section.date("date"));
    if source.is_none() {
        let place = section.place_of("text").or(section.place_of("substance")).or(section.place_of("sign"));
        let message = format!("{what} names no source, so it is not printed");
        let finding = Finding::warning(Code::NoSource, place, message);
        section.push(finding.hint("add `source = \"…\"` and the `date` of the source or of its reading"));
    }
    Some(Provenance { source: source?, date })
}

fn line(section: &mut Section, about: &[&'static str]) -> Option<Line> {
    let about: Vec<String> = about.iter().filter_map(|key| section.text(key)).collect();
    let text = section.needed("text");
    let provenance = provenance(section, &format!("the line “{text}”"))?;
    (!text.is_empty()).then(|| Line { about: about.join(": "), text, provenance })
}

fn sign(section: &mut Section) -> Option<Sign> {
    let choices = SIGNS.map(|sign| (sign.word, sign));
    let kind = section.choice("sign", &choices);
    let text = section.needed("text");
    let provenance = provenance(section, &format!("the line “{text}”"))?;
    Some(Sign { kind: kind?, text, provenance })
}

fn hazard(section: &mut Section) -> Option<Hazard> {
    let substance = section.needed("substance");
    let concentration = section.needed("concentration");
    let signal = section.choice("signal", &[("Danger", Signal::Danger), ("Warning", Signal::Warning)]);
    let choices = PICTOGRAMS.map(|pictogram| (pictogram.code, pictogram));
    let codes = section.texts("pictograms");
    let pictograms = codes.iter().filter_map(|code| section.chosen(code, &choices)).collect();
    let mut values = |key| section.texts(key).into_iter().map(|text| text.value).collect::<Vec<_>>();
    let (statements, precautions) = (values("statements"), values("precautions"));
    if statements.is_empty() {
        section.lacks("statements");
    }
    let provenance = provenance(section, &format!("the hazard of {substance}"))?;
    if provenance.date.is_none() {
        section.lacks("date");
    }
    Some(Hazard { substance, concentration, signal, pictograms, statements, precautions, provenance })
}

fn question(section: &mut Section) -> Option<Question> {
    let choices = [("high", When::High), ("low", When::Low), ("always", When::Always)];
    let when = section.choice("when", &choices).unwrap_or(When::Always);
    let of = section.text_at("of");
    if when != When::Always && of.is_none() {
        section.lacks("of");
    }
    let text = section.needed("text");
    (!text.is_empty()).then_some(Question { when, of, text })
}

fn aliases(section: &mut Section) -> Vec<Alias> {
    let mut found = Vec::new();
    for (symbol, value) in section.entries() {
        let others = section.texts_in(&symbol.value.clone(), value);
        found.push(Alias { symbol, others });
    }
    found
}

/// What is said of TOML that is not well-formed.
pub(super) fn malformed(error: &toml::de::Error) -> Finding {
    let place = error.span().map(Span::from);
    let message = error.message().trim().replace('\n', "; ").to_lowercase();
    // A word that begins like `true` or `false` is taken for one of them.
    let bare = message.contains("must be quoted") || message.contains("invalid boolean");
    let finding = Finding::error(Code::BadToml, place, message);
    if bare {
        finding.hint(
            "a number stands in digits (`trials = 2`), a text in quotation marks (`layout = \"sheet\"`)",
        )
    } else {
        finding
    }
}

/// The keys of a table and of the tables below it, each with its value on one line.
pub(super) fn leaves(table: &DeTable, prefix: &str, found: &mut Vec<(Spanned<String>, String)>) {
    for (key, value) in in_order(table) {
        let name =
            if prefix.is_empty() { key.get_ref().to_string() } else { format!("{prefix}.{}", key.get_ref()) };
        match value.get_ref() {
            toml::de::DeValue::Table(below) => leaves(below, &name, found),
            other => {
                let place = Span::from(key.span());
                found.push((Spanned::new(name, place), super::toml_reader::flat(other)));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bare_word_is_told_how_numbers_and_texts_stand() {
        for word in ["two", "three", "four", "several"] {
            let text = format!("trials = {word}\n");
            let (_, errors) = DeTable::parse_recoverable(&text);
            let hints: Vec<String> = errors.iter().flat_map(|error| malformed(error).hints).collect();
            assert!(hints.iter().any(|hint| hint.contains("`trials = 2`")), "{errors:?}");
        }
    }
}
