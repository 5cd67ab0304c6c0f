//! The bench sheet: one HTML file for those who may install nothing. Cautions first, a field for every reading the
//! template asks for, what is to be said of each while the crucible is still there, and a button that saves a notebook.
//!
//! The page's own scripts (`offline/*.js`) hold the rules once more, in exact fractions: `tests/bench_sheet.rs` compares
//! them with the program's on generated tables. The page stores what is typed in the browser; it fetches and sends nothing, and a
//! content-security policy in it lets only its own scripts run.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use sha2::Digest;

use crate::files::Memory;
use crate::notebook::blocks::{BlockKind, Cell, CellValue, LoadRow, Masses, Row};
use crate::notebook::settings::{ConstantMassRule, DecimalMark, MassLimit};
use crate::notebook::{self, Notebook};
use crate::quantity::{Number, Unit};
use crate::report::html;
use crate::span::Span;
use crate::template::Template;
use crate::template::skeleton::Student;
use crate::weighing::constant_mass::default_rule;

/// The rules, which run without a page too.
pub const RULES: &str = concat!(
    include_str!("offline/numbers.js"),
    include_str!("offline/rules.js"),
    include_str!("offline/checks.js"),
    include_str!("offline/text.js")
);
/// What fills the page and listens to it.
const PAGE: &str = include_str!("offline/page.js");
/// How it looks.
const STYLE: &str = include_str!("offline/sheet.css");
/// Stands for the student's name while the skeleton is filled.
const NAME: &str = "name-to-be-typed";
/// Stands for the number of the unknown.
const UNKNOWN: &str = "unknown-to-be-typed";

/// For whom the skeleton of a sheet is filled: the page puts what is typed in place of both.
pub fn student() -> Student {
    Student { name: NAME.to_owned(), unknown: UNKNOWN.to_owned(), ..Student::default() }
}

/// The sheet of a template. `skeleton` is its skeleton, filled for [`student`].
///
/// # Errors
///
/// In words: the skeleton has no block of readings.
pub fn sheet(template: &Template, skeleton: &str) -> Result<String, String> {
    let data = data(template, skeleton)?;
    let script = format!("\n\"use strict\";\n{RULES}{PAGE}");
    let hash = STANDARD.encode(sha2::Sha256::digest(script.as_bytes()));
    let policy =
        format!("default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src 'sha256-{hash}'");
    let title = html::escaped(&template.title);
    let cautions =
        if template.cautions.is_empty() { String::new() } else { html::cautions(&template.cautions) };
    Ok(format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
        <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
        <meta http-equiv=\"Content-Security-Policy\" content=\"{policy}\">\n\
        <title>{title}: bench sheet</title>\n<style>\n{STYLE}{}</style>\n</head>\n<body>\n{}</body>\n</html>\n",
        html::CAUTIONS_STYLE,
        body(&title, &cautions, &html::data_block("sheet-data", &data.to_string()), &script)
    ))
}

fn body(title: &str, cautions: &str, data: &str, script: &str) -> String {
    format!(
        r##"<header>
<h1>{title}</h1>
<p class="small">Bench sheet. It works without a network, and sends nothing anywhere. <span id="kept">What you type is kept in this browser.</span></p>
</header>
<main>
{cautions}
<noscript><p class="bad">This sheet needs the scripts inside it; the browser has them switched off.</p></noscript>
<section aria-labelledby="who"><h2 id="who">Who and what</h2><div class="facts" id="facts"></div></section>
<section aria-labelledby="checks-head" id="checks-part"><h2 id="checks-head">Checks</h2><ul class="checks" id="checks"></ul></section>
<section aria-labelledby="readings-head"><h2 id="readings-head">Readings</h2>
<p class="small">Write every digit of the display. A reading that is changed later stays, struck, with its reason.</p>
<div id="readings"></div>
<button type="button" id="trial">Another trial</button></section>
<section aria-labelledby="save-head"><h2 id="save-head">Save</h2>
<p class="small">The notebook is a text file for any editor; Reweigh works it out and makes the report.</p>
<div id="problems" role="alert"></div>
<div class="do"><button type="button" id="save">Save the notebook</button><button type="button" id="anew">Begin a new sheet</button></div>
<p id="saved" role="status"></p>
<details id="preview"><summary>The text of the notebook</summary><label for="text">The text, to be copied where a browser saves nothing</label><textarea id="text" readonly></textarea></details></section>
</main>
{data}<script>{script}</script>
"##
    )
}

/// Everything the page's scripts need to know.
fn data(template: &Template, skeleton: &str) -> Result<Value, String> {
    let comma = template.rules.decimal == DecimalMark::Comma;
    let read = if comma { notebook::read_with_comma } else { notebook::read };
    let notebook = read("notebook.md", skeleton.as_bytes(), &Memory::default());
    let masses = masses(&notebook).ok_or("the skeleton has no `masses` block")?;
    let (before, after) = around(&notebook.text, masses)?;
    let mut data = table(&notebook, template.rules.constant_mass.as_ref().map(|rule| &rule.value));
    let balance = notebook.settings.balances.first().map(|balance| balance.name.value.clone());
    let samples = template.samples.iter().filter_map(|sample| {
        let thing = sample.symbol.value.strip_prefix("m(")?.strip_suffix(')')?;
        let (low, high) = (fraction(&sample.range.0.number), fraction(&sample.range.1.number));
        Some(json!({ "thing": notebook::thing_key(thing), "low": low, "high": high, "words": sample.words }))
    });
    let own = json!({
        "id": template.id,
        "version": template.version,
        "before": before,
        "after": after,
        "checks": template.required.checks,
        "facts": facts(&notebook, balance.as_deref(), skeleton),
        "balance": balance,
        "marks": { "name": NAME, "unknown": UNKNOWN },
        "samples": samples.collect::<Vec<_>>(),
    });
    if let (Some(data), Value::Object(own)) = (data.as_object_mut(), own) {
        data.extend(own);
    }
    Ok(data)
}

/// The fields above the readings: those the skeleton has room for.
fn facts(notebook: &Notebook, balance: Option<&str>, skeleton: &str) -> Vec<Value> {
    let has = |start: &str| notebook.text.lines().any(|line| line.starts_with(start));
    let known = [
        ("name", "Names, or the bench", "", skeleton.contains(NAME)),
        ("date", "Date of the work", "", has("# date")),
        (
            "unknown",
            "Unknown (the number of the issued sample), if there is one",
            "",
            skeleton.contains(UNKNOWN),
        ),
        ("sample", "Sample, as it is labelled", "", has("sample ")),
        ("balance", "Balance, by its name", balance.unwrap_or(""), balance.is_some()),
    ];
    let shown = known.into_iter().filter(|(_, _, _, shown)| *shown);
    shown.map(|(key, label, value, _)| json!({ "key": key, "label": label, "value": value })).collect()
}

fn masses(notebook: &Notebook) -> Option<&Masses> {
    notebook.blocks.iter().find_map(|block| match &block.kind {
        BlockKind::Masses(masses) => Some(masses),
        _ => None,
    })
}

/// The text before and behind the rows of the readings; the line of the trials is written anew with them.
fn around<'t>(text: &'t str, masses: &Masses) -> Result<(String, &'t str), String> {
    let span = |row: &Row| match row {
        Row::Load(row) => row.span,
        Row::Event(event) => event.span,
    };
    let (Some(first), Some(last)) = (masses.rows.first().map(span), masses.rows.last().map(span)) else {
        return Err("the `masses` block of the skeleton has no lines".to_owned());
    };
    let line_start = |at: usize| text.get(..at).and_then(|text| text.rfind('\n')).map_or(0, |at| at + 1);
    let line_end =
        |at: usize| text.get(at..).and_then(|text| text.find('\n')).map_or(text.len(), |end| at + end + 1);
    let mut before = text.get(..line_start(first.start)).unwrap_or("").to_owned();
    let trials = masses.columns.trials.as_ref().and_then(|trials| trials.first()).map(|name| name.span);
    if let Some(Span { start, .. }) = trials.filter(|span| span.end <= before.len()) {
        before.replace_range(line_start(start)..line_end(start).min(before.len()), "");
    }
    // A line's span may hold its line break.
    let end = text.get(..last.end).map_or(last.end, |text| text.trim_end_matches('\n').len());
    Ok((before, text.get(line_end(end)..).unwrap_or("")))
}

/// The readings of a notebook's first `masses` block and the rules they are judged by, as the scripts take them. `rule` holds where the
/// notebook states none.
pub fn table(notebook: &Notebook, rule: Option<&ConstantMassRule>) -> Value {
    let settings = &notebook.settings;
    let own = settings.constant_mass.as_ref().map(|rule| rule.value.clone());
    let rule = own.or_else(|| rule.cloned()).unwrap_or_else(default_rule);
    let masses = masses(notebook);
    let unit =
        masses.and_then(|masses| masses.unit.as_ref()).map_or_else(Unit::gram, |unit| unit.value.clone());
    let readability = settings.balances.first().and_then(|balance| balance.readability.as_ref());
    let rows = masses.map_or(&[][..], |masses| masses.rows.as_slice());
    let most =
        rows.iter().map(|row| if let Row::Load(row) = row { row.cells.len() } else { 0 }).max().unwrap_or(0);
    let named = masses.and_then(|masses| masses.columns.trials.as_ref());
    let trials: Vec<String> = match named {
        Some(names) => names.iter().map(|name| name.value.clone()).collect(),
        None => (1..=most.max(1)).map(|number| number.to_string()).collect(),
    };
    json!({
        "unit": fraction(unit.factor()),
        "unitName": unit.symbol(),
        "readability": readability.map(|readability| fraction(&readability.number)),
        "mark": if settings.decimal == DecimalMark::Comma { "," } else { "." },
        "rule": { "text": rule.text, "strict": rule.strict, "limit": limit(&rule.limit) },
        "lines": rows.iter().map(|row| line(row, trials.len(), notebook)).collect::<Vec<_>>(),
        "trials": trials,
    })
}

fn line(row: &Row, trials: usize, notebook: &Notebook) -> Value {
    let row: &LoadRow = match row {
        Row::Load(row) => row,
        Row::Event(event) => return json!({ "eventText": event.span.text(&notebook.text).trim() }),
    };
    let typed = |cell: Option<&Cell>| match cell.map(|cell| &cell.value) {
        Some(CellValue::Number(decimal)) if notebook.settings.decimal == DecimalMark::Comma => {
            decimal.to_string().replace('.', ",")
        }
        Some(CellValue::Number(decimal)) => decimal.to_string(),
        _ => String::new(),
    };
    json!({
        "label": row.label.value,
        "things": row.things.iter().map(|thing| notebook::thing_key(thing)).collect::<Vec<_>>(),
        "treatment": row.treatment.as_ref().map_or("", |treatment| treatment.name.as_str()),
        "number": row.treatment.as_ref().map_or(0, |treatment| treatment.number),
        "readings": (0..trials).map(|trial| typed(row.cells.get(trial))).collect::<Vec<_>>(),
    })
}

fn limit(of: &MassLimit) -> Value {
    let factor = |kind: &str, number: &Number| json!({ "kind": kind, "factor": fraction(number) });
    match of {
        MassLimit::Absolute(mass, _) => json!({ "kind": "absolute", "mass": fraction(&mass.number) }),
        MassLimit::PerSample(ratio, _) => factor("per sample", &ratio.number),
        MassLimit::Relative { fraction, gross: true } => factor("of gross", &fraction.number),
        MassLimit::Relative { fraction, gross: false } => factor("of net", &fraction.number),
        MassLimit::ScaleIntervals(count) => factor("scale intervals", &count.to_number()),
        MassLimit::Smaller(a, b) => json!({ "kind": "smaller", "a": limit(a), "b": limit(b) }),
        MassLimit::Larger(a, b) => json!({ "kind": "larger", "a": limit(a), "b": limit(b) }),
        MassLimit::FixedTime => json!({ "kind": "fixed time" }),
    }
}

/// A number as `numerator/denominator`.
fn fraction(number: &Number) -> String {
    let fraction = number.fraction();
    format!("{}/{}", fraction.numerator(), fraction.denominator())
}
