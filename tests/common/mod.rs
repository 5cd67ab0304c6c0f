//! What the folders of cases share: a notebook `NAME.md`, its expected values `NAME.toml`, and the real
//! command. One new pair of files is one new test; every case is checked before any failure is reported.
//!
//! A sidecar holds `source`, `status`, optionally `exit` and `by` (what its values were worked by, if not by `how`), and lists of
//!
//! * `expect`: `symbol`, `trial` (a trial's name, or `scalar`, `mean`, `s`, `range`, `n`, `theory`, `percent error`,
//!   `difference`, `relative s`, `relative difference`, `relative average deviation`, the first four and `n` also
//!   ` with set aside`), then `printed`, `value` (with `tolerance`, else one unit of its last place), `missing`,
//!   `not` (printed forms that must not come out), `u`, `U`, `k`, `degrees_of_freedom`, `uncertainty_of`, `title` and
//!   `budget` (contributions by name), `fields` (texts by their path in the results file below the trial's entry, such
//!   as `{ u = "0.021" }`; `trial = "quantity"` is the quantity itself); `how` is the working, checked by
//!   `tests/oracle/check.py`;
//! * `change`: `load`, `trial`, `values`;
//! * `constant_mass`: `load`, `trial`, `verdict`, `at`;
//! * `finding`: `code`, `severity`, `line` (one, or several of which one has to fit), each optional. Every warning and error has
//!   to be listed. With `allowed` it may come or not: for what the rules leave open.

pub mod bench;
pub mod browser;
pub mod equations;
pub mod examples;
#[cfg(unix)]
pub mod place;

use dashu_ratio::RBig;
use serde_json::Value as Json;
use std::path::{Path, PathBuf};
use toml::{Table, Value as Toml};

const KEYS: &[&str] = &[
    "source",
    "status",
    "why",
    "by",
    "exit",
    "rounding",
    "weights",
    "expect",
    "change",
    "constant_mass",
    "finding",
];
const EXPECT_KEYS: &[&str] = &[
    "u",
    "U",
    "k",
    "degrees_of_freedom",
    "uncertainty_of",
    "title",
    "budget",
    "symbol",
    "trial",
    "how",
    "by",
    "aside",
    "printed",
    "value",
    "tolerance",
    "why",
    "missing",
    "not",
    "fields",
];

/// One notebook with what is expected of it.
pub struct Case {
    /// The file name without its ending.
    pub name: String,
    /// What the sidecar says.
    pub sidecar: Table,
    notebook: PathBuf,
}

/// Checks every case of a folder by the common checks and by `extra`, and fails with all failures at once.
pub fn check_folder(folder: &str, at_least: usize, extra: fn(&Case) -> Vec<String>) {
    let cases = cases(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder));
    let mut failures: Vec<String> = Vec::new();
    for case in &cases {
        match case {
            Ok(case) => failures.extend(named(case, check(case).into_iter().chain(extra(case)))),
            Err(failure) => failures.push(failure.clone()),
        }
    }
    assert!(
        cases.len() >= at_least,
        "{folder} holds {} cases, at least {at_least} are expected",
        cases.len()
    );
    assert!(failures.is_empty(), "{} failures in {folder}:\n{}", failures.len(), failures.join("\n"));
}

fn named(case: &Case, failures: impl Iterator<Item = String>) -> Vec<String> {
    failures.map(|failure| format!("  {}: {failure}", case.name)).collect()
}

fn cases(folder: &Path) -> Vec<Result<Case, String>> {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("a readable folder").path()).collect();
    paths.sort();
    let mut found: Vec<_> =
        paths.iter().filter(|path| has_ending(path, "md")).map(|path| read_case(path)).collect();
    let lonely = paths.iter().filter(|path| has_ending(path, "toml") && !path.with_extension("md").exists());
    found.extend(lonely.map(|path| Err(format!("  {}: no notebook beside it", path.display()))));
    found
}

fn has_ending(path: &Path, ending: &str) -> bool {
    path.extension().is_some_and(|found| found == ending)
}

fn read_case(notebook: &Path) -> Result<Case, String> {
    let name = notebook.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let text = std::fs::read_to_string(notebook.with_extension("toml"))
        .map_err(|error| format!("  {name}: no expected values ({error})"))?;
    let sidecar = text.parse::<Table>().map_err(|error| format!("  {name}: {error}"))?;
    Ok(Case { name, sidecar, notebook: notebook.to_owned() })
}

fn check(case: &Case) -> Vec<String> {
    let mut failures = form_of(case);
    match compute(&case.notebook) {
        Err(failure) => failures.push(failure),
        Ok((document, exit)) => {
            failures.extend(list(case, "expect").flat_map(|entry| check_expectation(entry, &document)));
            failures.extend(list(case, "change").flat_map(|entry| check_change(entry, &document)));
            failures.extend(list(case, "constant_mass").flat_map(|entry| check_verdict(entry, &document)));
            failures.extend(check_findings(case, &document));
            failures.extend(check_exit(case, &document, exit));
        }
    }
    failures
}

/// What is wrong with the sidecar itself: misspelt keys, nothing expected.
fn form_of(case: &Case) -> Vec<String> {
    let unknown = case.sidecar.keys().filter(|key| !KEYS.contains(&key.as_str()));
    let mut failures: Vec<String> =
        unknown.map(|key| format!("unknown key `{key}` in the sidecar")).collect();
    for entry in list(case, "expect") {
        let unknown = entry.keys().filter(|key| !EXPECT_KEYS.contains(&key.as_str()));
        failures.extend(unknown.map(|key| format!("unknown key `{key}` in {}", label(entry))));
        if !["printed", "value", "missing", "not", "u", "U", "fields"]
            .iter()
            .any(|key| entry.contains_key(*key))
        {
            failures.push(format!("{} expects nothing", label(entry)));
        }
    }
    for key in ["source", "status"] {
        if text(&case.sidecar, key).is_none_or(str::is_empty) {
            failures.push(format!("the sidecar names no {key}"));
        }
    }
    let required = list(case, "finding").filter(|entry| !flag(entry, "allowed")).count();
    if required + list(case, "expect").count() + list(case, "constant_mass").count() == 0 {
        failures.push("the sidecar expects nothing".into());
    }
    failures
}

/// Runs the command on a notebook: its results and its exit status.
pub fn compute(notebook: &Path) -> Result<(Json, Option<i32>), String> {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .arg("compute")
        .arg(notebook)
        .args(["--format", "json"])
        .output()
        .map_err(|error| format!("the command did not run: {error}"))?;
    let said = String::from_utf8_lossy(&output.stderr);
    let document = serde_json::from_slice(&output.stdout)
        .map_err(|error| format!("no results ({error}); exit {:?}; it said: {said}", output.status.code()))?;
    Ok((document, output.status.code()))
}

fn list<'a>(case: &'a Case, key: &str) -> impl Iterator<Item = &'a Table> {
    let entries = case.sidecar.get(key).and_then(Toml::as_array);
    entries.into_iter().flatten().filter_map(Toml::as_table)
}

/// The expectations of a case.
#[allow(dead_code)] // not every test file needs it
pub fn expectations(case: &Case) -> impl Iterator<Item = &Table> {
    list(case, "expect")
}

/// A text of a table.
pub fn text<'a>(table: &'a Table, key: &str) -> Option<&'a str> {
    table.get(key).and_then(Toml::as_str)
}

fn flag(table: &Table, key: &str) -> bool {
    table.get(key).and_then(Toml::as_bool).unwrap_or(false)
}

/// `w(water) A`
pub fn label(entry: &Table) -> String {
    let first = text(entry, "symbol").or(text(entry, "load")).unwrap_or("?");
    format!("{first} {}", text(entry, "trial").unwrap_or("?"))
}

fn check_expectation(entry: &Table, document: &Json) -> Vec<String> {
    let place = format!("{} ({})", label(entry), text(entry, "how").unwrap_or("no working"));
    let Some(quantity) = quantity(document, text(entry, "symbol").unwrap_or("")) else {
        return vec![format!("{place}: no such quantity in the results")];
    };
    let figure = figure(quantity, text(entry, "trial").unwrap_or(""));
    if flag(entry, "missing") {
        let there = figure.is_some_and(|figure| !written(figure, "value").is_empty());
        return there.then(|| format!("{place}: expected no value, found one")).into_iter().collect();
    }
    let Some(figure) = figure.filter(|figure| !figure.is_null()) else {
        return vec![format!("{place}: no value in the results")];
    };
    let mut failures = Vec::new();
    failures.extend(check_printed(entry, &written(figure, "printed")));
    failures.extend(check_value(entry, &written(figure, "value")));
    failures.extend(check_fields(entry, figure));
    failures.extend(check_uncertainty(entry, figure));
    failures.into_iter().map(|failure| format!("{place}: {failure}")).collect()
}

fn quantity<'a>(document: &'a Json, symbol: &str) -> Option<&'a Json> {
    document["quantities"].as_array()?.iter().find(|quantity| quantity["symbol"] == symbol)
}

/// The part of a quantity that a `trial` names.
fn figure<'a>(quantity: &'a Json, trial: &str) -> Option<&'a Json> {
    if let Some(plain) = trial.strip_suffix(" with set aside") {
        return quantity.get("with_set_aside")?.get(plain);
    }
    match trial {
        "scalar" => quantity.get("value").map(|_| quantity),
        "quantity" => Some(quantity),
        "mean" | "s" | "range" | "n" | "theory" | "difference" => quantity.get(trial),
        "percent error" | "relative s" | "relative difference" | "relative average deviation" => {
            quantity.get(trial.replace(' ', "_"))
        }
        _ => quantity.get("trials")?.get(trial),
    }
}

/// A figure's number, whether it stands alone or under a key.
fn written(figure: &Json, key: &str) -> String {
    match figure.get(key).unwrap_or(figure) {
        Json::String(text) => text.clone(),
        Json::Number(number) => number.to_string(),
        _ => String::new(),
    }
}

/// Texts, numbers and verdicts by their path (`theory/agreement/verdict`).
fn check_fields(entry: &Table, figure: &Json) -> Vec<String> {
    let Some(fields) = entry.get("fields").and_then(Toml::as_table) else { return Vec::new() };
    let check = |(path, wanted): (&String, &Toml)| {
        let found = figure.pointer(&format!("/{path}")).unwrap_or(&Json::Null);
        let found = found.as_str().map_or_else(|| found.to_string(), str::to_owned);
        let wanted = wanted.as_str().map_or_else(|| wanted.to_string(), str::to_owned);
        (found != wanted).then(|| format!("{path}: expected {wanted}, found {found}"))
    };
    fields.iter().filter_map(check).collect()
}

fn check_printed(entry: &Table, printed: &str) -> Vec<String> {
    let mut failures = Vec::new();
    if let Some(expected) = text(entry, "printed").filter(|expected| *expected != printed) {
        failures.push(format!("expected {expected} printed, found {printed}"));
    }
    let traps = entry.get("not").and_then(Toml::as_array);
    if traps.is_some_and(|traps| traps.iter().any(|trap| trap.as_str() == Some(printed))) {
        failures.push(format!("{printed} is the wrong value that must not come out"));
    }
    failures
}

/// u, U, k and the degrees of freedom as they stand in the results, and contributions of the budget by name.
fn check_uncertainty(entry: &Table, figure: &Json) -> Vec<String> {
    let mut failures = Vec::new();
    for key in ["u", "U", "k", "degrees_of_freedom", "uncertainty_of"] {
        let found = figure.get(key).and_then(Json::as_str).unwrap_or("none");
        if let Some(expected) = text(entry, key).filter(|expected| *expected != found) {
            failures.push(format!("expected {key} {expected}, found {found}"));
        }
    }
    let title = figure["budget"]["title"].as_str().unwrap_or("none");
    if let Some(expected) = text(entry, "title").filter(|expected| *expected != title) {
        failures.push(format!("expected the budget of the {expected}, found {title}"));
    }
    let expected = entry.get("budget").and_then(Toml::as_table).into_iter().flatten();
    failures.extend(expected.filter_map(|(name, wanted)| check_contribution(name, wanted.as_str()?, figure)));
    failures
}

/// A contribution within one unit of the last place it is given with.
fn check_contribution(name: &str, expected: &str, figure: &Json) -> Option<String> {
    let mut entries = figure["budget"]["entries"].as_array().into_iter().flatten();
    let found = entries.find(|entry| entry["name"] == name).and_then(|entry| entry["contribution"].as_str());
    let digits = expected.split_once(['e', 'E']).map_or(expected, |(digits, _)| digits);
    let power = expected
        .split_once(['e', 'E'])
        .map_or(RBig::ONE, |(_, power)| RBig::from(10u8).pow(power.parse().expect("a power")));
    let tolerance = last_place(digits)? * power;
    let (Some(wanted), Some(value)) = (fraction(expected), found.and_then(fraction)) else {
        return Some(format!("no contribution of {name} in the budget"));
    };
    let off = if value > wanted { value - wanted } else { wanted - value };
    (off > tolerance)
        .then(|| format!("expected {name} to contribute {expected}, found {}", found.unwrap_or("")))
}

fn check_value(entry: &Table, value: &str) -> Option<String> {
    let expected = text(entry, "value")?;
    let tolerance = text(entry, "tolerance").map_or_else(|| last_place(expected), fraction);
    let (Some(wanted), Some(tolerance)) = (fraction(expected), tolerance) else {
        return Some(format!("the sidecar's {expected} or its tolerance is no number"));
    };
    let Some(found) = fraction(value) else { return Some(format!("expected {expected}, found `{value}`")) };
    let off = if found > wanted { found - wanted } else { wanted - found };
    (off > tolerance).then(|| format!("expected {expected} within {tolerance}, found {value}"))
}

/// An exact fraction from a decimal, with or without a power of ten; `…` at the end is left out.
fn fraction(text: &str) -> Option<RBig> {
    let text = text.trim_end_matches('…');
    let (digits, power) = text.split_once(['e', 'E']).unwrap_or((text, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len() as i32);
    let whole: dashu_int::IBig = digits.replace('.', "").parse().ok()?;
    let power = power.parse::<i32>().ok()? - decimals;
    Some(RBig::from(whole) * RBig::from(10u8).pow(power as isize))
}

fn last_place(text: &str) -> Option<RBig> {
    let decimals = text.split_once('.').map_or(0, |(_, after)| after.len());
    fraction(&format!("1e-{decimals}"))
}

fn series<'a>(document: &'a Json, entry: &Table) -> Result<&'a Json, String> {
    let load = text(entry, "load").unwrap_or("");
    let all = document["series"].as_array().into_iter().flatten();
    all.into_iter()
        .find(|series| series["load"] == load)
        .ok_or(format!("no series of `{load}` in the results"))
}

fn check_change(entry: &Table, document: &Json) -> Option<String> {
    let series = match series(document, entry) {
        Ok(series) => series,
        Err(failure) => return Some(failure),
    };
    let changes = series["changes"].get(text(entry, "trial").unwrap_or("")).and_then(Json::as_array);
    let found: Vec<&str> = changes.into_iter().flatten().filter_map(Json::as_str).collect();
    let wanted: Vec<&str> =
        entry.get("values").and_then(Toml::as_array).into_iter().flatten().filter_map(Toml::as_str).collect();
    (found != wanted).then(|| format!("changes of {}: expected {wanted:?}, found {found:?}", label(entry)))
}

fn check_verdict(entry: &Table, document: &Json) -> Vec<String> {
    let series = match series(document, entry) {
        Ok(series) => series,
        Err(failure) => return vec![failure],
    };
    let judged = series["constant_mass"].get(text(entry, "trial").unwrap_or("")).unwrap_or(&Json::Null);
    let found = judged["verdict"].as_str().unwrap_or("none");
    let wanted = text(entry, "verdict").unwrap_or("?");
    let mut failures = Vec::new();
    if found != wanted {
        failures.push(format!("constant mass of {}: expected {wanted}, found {judged}", label(entry)));
    }
    let at = entry.get("at").and_then(Toml::as_integer);
    if at.is_some() && judged["at"].as_i64() != at {
        failures.push(format!("constant mass of {}: expected at {at:?}, found {judged}", label(entry)));
    }
    failures
}

fn check_findings(case: &Case, document: &Json) -> Vec<String> {
    let found: Vec<&Json> = document["findings"].as_array().into_iter().flatten().collect();
    let listed: Vec<&Table> = list(case, "finding").collect();
    let unexpected =
        found.iter().filter(|finding| is_grave(finding) && !listed.iter().any(|entry| fits(entry, finding)));
    let mut failures: Vec<String> =
        unexpected.map(|finding| format!("unexpected finding {}", short(finding))).collect();
    let needed = listed.iter().filter(|entry| !flag(entry, "allowed"));
    let absent = needed.filter(|entry| !found.iter().any(|finding| fits(entry, finding)));
    failures.extend(absent.map(|entry| format!("no finding {}", entry.to_string().replace('\n', ", "))));
    failures
}

fn is_grave(finding: &Json) -> bool {
    finding["severity"] != "note"
}

fn short(finding: &Json) -> String {
    format!("{} [{}] line {}: {}", finding["severity"], finding["code"], finding["line"], finding["message"])
}

fn fits(entry: &Table, finding: &Json) -> bool {
    let same = |key: &str| text(entry, key).is_none_or(|wanted| finding[key] == wanted);
    let line = finding["line"].as_i64();
    let here = match entry.get("line") {
        None => true,
        Some(Toml::Array(lines)) => lines.iter().any(|wanted| wanted.as_integer() == line),
        Some(wanted) => wanted.as_integer() == line,
    };
    same("code") && same("severity") && here
}

/// The exit status the sidecar names, and in any case the documented one: 1 with warnings or errors, else 0.
fn check_exit(case: &Case, document: &Json, exit: Option<i32>) -> Vec<String> {
    let grave = document["findings"].as_array().into_iter().flatten().any(is_grave);
    let mut failures = Vec::new();
    if exit != Some(i32::from(grave)) {
        failures.push(format!("exit status {exit:?} does not follow from the findings"));
    }
    let wanted = case.sidecar.get("exit").and_then(Toml::as_integer);
    if wanted.is_some_and(|wanted| exit.map(i64::from) != Some(wanted)) {
        failures.push(format!("expected exit status {wanted:?}, found {exit:?}"));
    }
    failures
}
