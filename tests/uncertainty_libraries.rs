//! First-order uncertainty against three general-purpose libraries, on 500 random formulas with shared inputs.
//!
//! `tests/oracle/uncertainty.tsv` holds the formulas and what the libraries say; `tests/oracle/uncertainty.py` writes it,
//! and its first line names the versions. Each case goes through a whole notebook.

use reweigh::evaluation::results::{Computed, Results};
use reweigh::files::Memory;

/// Relative difference allowed. Two libraries differentiate exactly; the third takes some derivatives numerically.
const ALLOWED: [f64; 3] = [1e-9, 1e-9, 1e-4];

/// Degrees of freedom above this are those of an input that cancels but for the rounding of doubles.
const MANY: f64 = 1e6;

fn cases() -> Vec<Vec<&'static str>> {
    let lines = include_str!("oracle/uncertainty.tsv").lines();
    lines.filter(|line| !line.starts_with('#')).map(|line| line.split('\t').collect()).collect()
}

/// `x1 5.363 0.038 normal` as a line of `measured`.
fn measured(input: &str) -> String {
    let parts: Vec<&str> = input.split(' ').collect();
    let kind = match parts[3] {
        "normal" | "rectangular" => parts[3].to_owned(),
        dof => format!("normal dof = {dof}"),
    };
    format!("{}: {} ± {} {kind}\n", parts[0], parts[1], parts[2])
}

fn correlation(declared: &str) -> String {
    let parts: Vec<&str> = declared.split(' ').collect();
    format!("[[correlation]]\nbetween = [\"{}\", \"{}\"]\ncoefficient = {}\n", parts[0], parts[1], parts[2])
}

fn notebook(case: &[&str]) -> String {
    let inputs: String = case[0].split("; ").map(measured).collect();
    let correlations: String = case[1].split("; ").filter(|text| *text != "-").map(correlation).collect();
    let lines = case[2].replace("; ", "\n");
    format!(
        "```experiment\ntitle = \"x\"\ndate = 2026-04-21\n{correlations}```\n\n```measured\n{inputs}```\n\n\
         ```working\n{lines}\n```\n"
    )
}

fn last(results: &Results) -> Option<&Computed> {
    let quantity = results.quantities.iter().find(|quantity| quantity.symbol == "r")?;
    quantity.trials.first().or(quantity.scalar.as_ref())?.value()
}

/// What differs from what the libraries say.
fn differences(case: &[&str]) -> Vec<String> {
    let text = notebook(case);
    let results = reweigh::compute("a.md", text.as_bytes(), &Memory::default()).results;
    let Some(found) = last(&results) else { return vec![format!("no value: {:?}", results.findings)] };
    let mut differences = Vec::new();
    let mut compare = |what: &str, expected: &str, found: Option<f64>, allowed: f64| {
        let Ok(expected) = expected.parse::<f64>() else { return };
        if found.is_none_or(|found| (found / expected - 1.0).abs() > allowed) {
            differences.push(format!("{what}: expected {expected}, found {found:?} in {}", case[2]));
        }
    };
    for (library, allowed) in ALLOWED.iter().enumerate() {
        compare("u", case[3 + library], found.evaluated.map(|found| found.standard), *allowed);
    }
    // The one that differentiates exactly; the libraries give none where an input is correlated.
    if case[6].parse::<f64>().is_ok_and(|freedom| freedom < MANY) {
        compare(
            "degrees of freedom",
            case[6],
            found.evaluated.and_then(|found| found.degrees_of_freedom),
            1e-8,
        );
    }
    differences
}

#[test]
fn first_order_is_what_three_libraries_say() {
    let cases = cases();
    assert_eq!(cases.len(), 500);
    let correlated = cases.iter().filter(|case| case[1] != "-").count();
    let with_freedom = cases.iter().filter(|case| case[6] != "-").count();
    assert!(correlated > 100 && with_freedom > 100, "{correlated} correlated, {with_freedom} with freedom");
    let differences: Vec<String> = cases.iter().flat_map(|case| differences(case)).collect();
    assert!(differences.is_empty(), "{} differences:\n{}", differences.len(), differences.join("\n"));
}
