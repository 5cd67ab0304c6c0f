//! Published equations and atomic weights through the command: `reweigh formula` on each, and `reaction` blocks.
//!
//! The sources stand in the tables; a coefficient or value recalled rather than read is marked so there. Traps are equations
//! that must not be balanced, and a wrong answer that circulates.

use crate::common::equations::EQUATIONS;
use std::process::Command;

/// What `reweigh formula` prints, and its exit status.
fn formula(arguments: &[&str]) -> (String, Option<i32>) {
    let output = Command::new(env!("CARGO_BIN_EXE_reweigh")).arg("formula").args(arguments).output();
    let output = output.expect("the command runs");
    (String::from_utf8(output.stdout).expect("text"), output.status.code())
}

/// The coefficients of a printed equation, left to right.
fn coefficients(line: &str) -> Vec<String> {
    let sides = line.split(['=', '→']).flat_map(|side| side.split(" + "));
    let first = |term: &str| {
        let word = term.split_whitespace().next().unwrap_or("");
        if word.chars().all(|c| c.is_ascii_digit()) { word.to_owned() } else { "1".to_owned() }
    };
    sides.map(first).collect()
}

#[test]
fn published_equations_balance() {
    for (source, text, expected) in EQUATIONS {
        let (printed, exit) = formula(&[text]);
        let found = coefficients(printed.lines().next().unwrap_or("")).join(" ");
        assert_eq!((found.as_str(), exit), (*expected, Some(0)), "{text} ({source})");
    }
}

/// Traps: what has no answer, or no single one, must be refused with the reason. The first three are from the test suite
/// of chempy 0.10.2, the next two from memory; the last is a wrong answer of a question site (voprosom.ru q336001), which claims
/// 1 7 8 -> 1 7 1 8: the null space has mixed signs.
#[test]
fn equations_without_one_answer_are_refused() {
    for (text, said) in [
        ("CO = CO2", "no coefficients make C and O equal"),
        ("C7H5(NO2)3 + Al + NH4NO3 = CO + H2O + N2", "Al"),
        ("C2H6 + O2 = H2O + CO2 + CO", "not unique"),
        ("H2O2 + KMnO4 + H2SO4 = K2SO4 + MnSO4 + O2 + H2O", "2 independent reactions"),
        ("KClO3 + HCl = KCl + Cl2 + ClO2 + H2O", "2 independent reactions"),
        (
            "Cr2(SO4)3 + KMnO4 + H2SO4 = K2Cr2O7 + MnSO4 + K2SO4 + H2O",
            "on the wrong side: H2SO4, K2SO4 and H2O",
        ),
        ("Cr2(SO4)3 + 7 KMnO4 + 8 H2SO4 = K2Cr2O7 + 7 MnSO4 + K2SO4 + 8 H2O", "wrong side"),
    ] {
        let (printed, exit) = formula(&[text]);
        assert!(printed.contains(said) && exit == Some(1), "{text}: {printed}");
    }
}

/// The same equations in a `reaction` block: coefficients in the results file.
#[test]
fn published_equations_balance_in_a_notebook() {
    let folder = tempfile::tempdir().expect("a folder");
    let lines: Vec<&str> = EQUATIONS.iter().map(|(_, text, _)| *text).collect();
    let lines: Vec<String> = lines.iter().map(|text| text.replace(" = ", " -> ")).collect();
    let head = "```experiment\ntitle = \"Equations\"\ndate = 2026-11-25\n```\n\n";
    let path = folder.path().join("equations.md");
    std::fs::write(&path, format!("{head}```reaction\n{}\n```\n", lines.join("\n"))).expect("a file");
    let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .arg("compute")
        .arg(&path)
        .args(["--format", "json"])
        .output()
        .expect("the command runs");
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).expect("results");
    let reactions = document["reactions"].as_array().expect("reactions");
    assert_eq!(reactions.len(), EQUATIONS.len());
    for (reaction, (source, text, expected)) in reactions.iter().zip(EQUATIONS) {
        let balanced = reaction["balanced"].as_str().unwrap_or("").replace("->", "→");
        assert_eq!(coefficients(&balanced).join(" "), *expected, "{text} ({source})");
    }
}

/// Symbol, weight and half-width of every element, as the file says.
fn table() -> Vec<(String, String, String)> {
    let text = include_str!("atomic_weights.tsv");
    let row = |line: &str| {
        let mut cells = line.split('\t').map(str::to_owned);
        (cells.next().unwrap_or_default(), cells.next().unwrap_or_default(), cells.next().unwrap_or_default())
    };
    text.lines().filter(|line| !line.starts_with('#')).map(row).collect()
}

/// The standard atomic weights of 2021 with the revisions of 2024, element by element.
#[test]
fn every_atomic_weight_of_the_table_is_printed() {
    let table = table();
    assert_eq!(table.len(), 118);
    for (symbol, weight, half_width) in table {
        let (printed, exit) = formula(&[&symbol]);
        if weight == "none" {
            assert_eq!((printed.as_str(), exit), ("", Some(1)), "{symbol}");
            continue;
        }
        let row = printed.lines().last().unwrap_or("").split_whitespace().collect::<Vec<_>>();
        assert_eq!(row[..3], [symbol.as_str(), "1", weight.as_str()], "{printed}");
        let u = printed.split("u = ").nth(1).and_then(|rest| rest.split_whitespace().next());
        let u: f64 = u.expect("an uncertainty").parse().expect("a number");
        let half_width: f64 = half_width.parse().expect("a number");
        assert!((u * 3f64.sqrt() / half_width - 1.0).abs() < 6e-3, "{symbol}: {u} for ± {half_width}");
    }
}

/// CIAAW, revisions of 2024 (two public sources): ZrO2 moves from 123.222 to 123.220 between the two tables.
#[test]
fn the_revision_of_zirconium_is_in_the_later_table_only() {
    for (table, mass) in
        [("CIAAW 2021 abridged", "123.222"), ("CIAAW 2021 abridged, revised 2024", "123.220")]
    {
        let (printed, _) = formula(&["ZrO2", "--atomic-weights", table]);
        let zirconium = printed.lines().find(|line| line.trim_start().starts_with("Zr ")).expect("zirconium");
        let weight: f64 = zirconium.split_whitespace().nth(2).expect("a weight").parse().expect("a number");
        let mass: f64 = mass.parse().expect("a number");
        assert!((weight + 2.0 * 15.999 - mass).abs() < 1e-9, "{printed}");
    }
}

/// OpenStax Chemistry 2e, section 3.2, example fs-idm162294688: aspirin holds C 60.00, H 4.476, O 35.52 %.
#[test]
fn percent_composition_is_printed() {
    let (printed, _) = formula(&["C9H8O4"]);
    for (element, percent) in [("C", 60.00), ("H", 4.476), ("O", 35.52)] {
        let row = printed.lines().find(|line| line.trim_start().starts_with(&format!("{element} ")));
        let last = row.and_then(|row| row.split_whitespace().last()).expect("a percentage");
        let found: f64 = last.parse().expect("a number");
        assert!((found - percent).abs() < 0.005, "{element}: {found}");
    }
}
