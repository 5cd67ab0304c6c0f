//! Claimed values against recomputed ones: the verdicts, the slips, the forms of a review, the command.
//!
//! Expected values are worked by hand beside each case; `review_simulated.rs` measures the search for slips.

use reweigh::review::formats::{self, Reviewed};
use reweigh::review::slips::SlipKind;
use reweigh::review::{ClaimReview, DigitsVerdict, ValueVerdict, review};
use std::path::Path;
use std::process::Command;

/// A hydrate in two trials. By hand: m(sample) 1.0381 and 1.0435, m(residue) 0.6635 and 0.6674, so the water is
/// 0.3746 and 0.3761, w(water) 36.085 % and 36.042 %, mean 36.063 %.
const NOTEBOOK: &str = r#"# Bluestone

```experiment
title = "Bluestone"
date  = 2026-03-04
```

```masses
unit:  g
trial:                          A        B
crucible, heating 1:            18.2749  17.9034
crucible, heating 2:            18.2746  17.9031
crucible + sample:              19.3127  18.9466
crucible + residue, heating 1:  18.9384  18.5708
crucible + residue, heating 2:  18.9381  18.5705
```

```working
m(water) = m(sample) - m(residue)
w(water) = m(water) / m(sample)   in %
n(salt)  = m(residue) / M(CuSO4)  in mmol
```

```theory
w(water) = 5 M(H2O) / M(CuSO4·5H2O)  in %
```

```claimed
trial:  A  B
CLAIMS
```
"#;

fn computed(claims: &str) -> reweigh::Computed {
    let text = NOTEBOOK.replace("CLAIMS", claims);
    reweigh::compute("bluestone.md", text.as_bytes(), &reweigh::files::Memory::default())
}

fn reviewed(claims: &str) -> Vec<ClaimReview> {
    review(&computed(claims).results).claims
}

/// The value verdict's words and the digits verdict of the only claims there are.
fn verdicts(claims: &str) -> Vec<(&'static str, Option<DigitsVerdict>)> {
    reviewed(claims).iter().map(|claim| (claim.value.word(), claim.digits)).collect()
}

#[test]
fn a_claim_agrees_where_the_value_rounded_at_its_last_place_is_it() {
    use DigitsVerdict::{Fitting, TooFew, TooMany};
    assert_eq!(verdicts("w(water): 36.09 % 36.04 %"), [("agrees", Some(Fitting)), ("agrees", Some(Fitting))]);
    assert_eq!(verdicts("w(water): 36.1 % 36.0422 %"), [("agrees", Some(TooFew)), ("agrees", Some(TooMany))]);
    assert_eq!(
        verdicts("w(water): 36.08 % 36.05 %")[0].0,
        "off by one in the last place",
        "36.0852 rounds to 36.09"
    );
    assert_eq!(verdicts("m(sample): 1038.1 mg 1.0435 g"), [("agrees", Some(Fitting)); 2], "other units");
}

#[test]
fn a_percent_error_without_a_sign_is_compared_by_magnitude() {
    // (36.0634 − 36.0772)/36.0772, the theory being 5 × 18.015/249.677: about −0.04 %, by hand.
    assert_eq!(verdicts("percent error w(water): 0.04 %")[0].0, "agrees");
    assert_eq!(verdicts("percent error w(water): -0.04 %")[0].0, "agrees");
    assert_ne!(verdicts("percent error w(water): +0.04 %")[0].0, "agrees");
}

#[test]
fn what_cannot_be_compared_says_why() {
    let claims = reviewed("w(sand): 36.06 % 36.04 %");
    let [ClaimReview { value: ValueVerdict::CannotBeChecked(reason), .. }, _] = &claims[..] else {
        panic!("{claims:?}");
    };
    assert!(reason.contains("w(sand)"), "{reason}");
}

#[test]
fn one_slip_costs_one_mark() {
    // m(residue)[B] with two digits swapped in the result; w(water)[B] from it is (1.0435 − 0.6764)/1.0435 = 35.18 %,
    // and the mean of 36.09 and 35.18 is 35.64 (35.635 to the even digit).
    let claims = reviewed("m(residue): 0.6635 g 0.6764 g\nw(water): 36.09 % 35.18 %\nmean w(water): 35.63 %");
    let words: Vec<&str> = claims.iter().map(|claim| claim.value.word()).collect();
    assert_eq!(words, ["agrees", "differs", "agrees", "carried forward", "carried forward"]);
    let slip = claims[1].slip.as_ref().expect("a slip that stands out");
    assert_eq!(slip.kind, SlipKind::DigitsSwapped);
    assert_eq!(slip.recomputation, "0.6674 g with two digits swapped is 0.6764 g");
}

#[test]
fn the_molar_mass_of_another_formula_is_seen_in_every_trial_and_counts_once() {
    // 0.6635/249.677 = 2.657 mmol and 0.6674/249.677 = 2.673 mmol: the hydrate's molar mass for the salt's.
    let claims = reviewed("n(salt): 2.657 mmol 2.673 mmol");
    let slip = claims[0].slip.as_ref().expect("a slip that stands out");
    assert_eq!(slip.kind, SlipKind::WrongMolarMass);
    assert!(slip.what.contains("M(CuSO4·5H2O) taken for M(CuSO4)"), "{}", slip.what);
    assert_eq!(claims[1].same_slip_as, Some(0));
}

#[test]
fn a_value_by_older_atomic_weights_is_said_to_be_so() {
    // IUPAC 1999: Cu 63.546, S 32.065, O 15.9994 make M(CuSO4) 159.6086 where the abridged table has 159.602:
    // 0.6635/159.6086 = 4.15704 mmol, against 4.15722 mmol. The table's values are quoted from memory.
    let claims = reviewed("n(salt): 4.15704 mmol 4.182 mmol");
    assert_eq!(claims[0].value, ValueVerdict::OtherTable("IUPAC 1999, revised 2001".into()));
}

#[test]
fn a_digit_misread_is_named_only_with_a_second_support() {
    // 19.3127 read as 19.8127: m(sample)[A] is 1.5381 g. Alone, an error of any kind could give it.
    let alone = reviewed("m(sample): 1.5381 g 1.0435 g");
    assert!(alone[0].slip.as_ref().is_none_or(|slip| slip.kind != SlipKind::DigitMisread));
    // The crucible read as 18.2946 shortens both masses by 0.0200 g.
    let both = reviewed("m(sample): 1.0181 g 1.0435 g\nm(residue): 0.6435 g 0.6674 g");
    let slip = both[0].slip.as_ref().expect("two claims support it");
    assert_eq!(slip.kind, SlipKind::DigitMisread);
    assert!(slip.what.contains("18.2746") && slip.what.contains("18.2946"), "{}", slip.what);
}

#[test]
fn claims_in_prose_and_tables_are_reviewed_like_those_of_blocks() {
    let text = NOTEBOOK.replace(
        "```claimed\ntrial:  A  B\nCLAIMS\n```",
        "It held {mean w(water) claimed 36.06 %}.\n\n| what | value |\n| --- | --- |\n| A | {w(water)[A] claimed 39.06 %} |",
    );
    let computed = reweigh::compute("a.md", text.as_bytes(), &reweigh::files::Memory::default());
    let claims = review(&computed.results).claims;
    let words: Vec<&str> = claims.iter().map(|claim| claim.value.word()).collect();
    assert_eq!(words, ["agrees", "differs"]);
}

/// Everything a review can hold: a slip, what follows from it, a claim of nothing, digits that do not fit, and a
/// title that means something to other programs.
const MANY: &str = "m(residue): 0.6635 g 0.6764 g\nw(water): 36.09 % 35.18 %\nmean w(sand): 1 %\nn(salt): 2.657 mmol 2.7 mmol";

fn in_form(form: impl Fn(&[Reviewed]) -> String, title: &str, file: &str) -> String {
    let text =
        NOTEBOOK.replace("title = \"Bluestone\"", &format!("title = {title:?}")).replace("CLAIMS", MANY);
    let computed = reweigh::compute("a.md", text.as_bytes(), &reweigh::files::Memory::default());
    let verdicts = review(&computed.results);
    form(&[Reviewed {
        file,
        notebook: &computed.notebook,
        results: &computed.results,
        review: &verdicts,
        template: None,
        own: text.len(),
        of_report: &[],
    }])
}

fn valid(schema: &str, instance: &str) {
    let schema: serde_json::Value = serde_json::from_str(schema).expect("a schema");
    let instance: serde_json::Value = serde_json::from_str(instance).expect("a document");
    let validator = jsonschema::validator_for(&schema).expect("a schema of a known draft");
    let errors: Vec<String> = validator
        .iter_errors(&instance)
        .map(|error| format!("{error} at {}", error.instance_path()))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

#[test]
fn the_review_file_keeps_to_its_schema() {
    let text = in_form(formats::json, "Bluestone", "a.md");
    valid(include_str!("../src/review/review-1.schema.json"), &text);
    assert!(text.contains("\"verdict\": \"carried forward\""));
}

#[test]
fn the_sarif_log_keeps_to_the_published_schema() {
    // One pattern of the published schema, of a property that is not written here, is no regular expression.
    let schema = include_str!("review/sarif-2.1.0-rtm.5.json").replace("{2}]?$", "{2}$");
    valid(&schema, &in_form(formats::sarif, "Bluestone", "a b/ü.md"));
}

/// What a program says of a document that it reads from its standard input.
fn said_of(document: &str, program: &str, arguments: &[&str]) -> String {
    use std::process::Stdio;
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{program}: {error}"));
    let mut input = child.stdin.take().expect("an input");
    std::io::Write::write_all(&mut input, document.as_bytes()).expect("written");
    drop(input);
    let output = child.wait_with_output().expect("it ends");
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

fn against_the_junit_schema(document: &str) -> String {
    let schema = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/review/junit-10.xsd");
    said_of(document, "xmllint", &["--noout", "--nonet", "--schema", &schema.display().to_string(), "-"])
}

#[test]
fn junit_xml_keeps_to_the_published_schema() {
    let hostile = ["a.md", "a<&\"b.md", "a\u{1b}[31m\u{0}\u{fffe}\n.md"];
    for file in hostile {
        let text = in_form(formats::junit, "Bluestone", file);
        assert_eq!(against_the_junit_schema(&text).trim(), "- validates", "{text}");
    }
    assert_eq!(against_the_junit_schema(&formats::junit(&[])).trim(), "- validates", "of no file at all");
    // The checker does find what the schema does not allow.
    let text = in_form(formats::junit, "Bluestone", "a.md");
    let without = text.replace("  <testsuite name=\"a.md\" tests=\"7\"", "  <testsuite name=\"a.md\"");
    assert_ne!(without, text);
    assert!(against_the_junit_schema(&without).contains("fails to validate"), "{without}");
    let other = text.replace("<failure ", "<fault ").replace("</failure>", "</fault>");
    assert!(against_the_junit_schema(&other).contains("fails to validate"), "{other}");
}

#[test]
fn junit_xml_counts_what_differs() {
    let text = in_form(formats::junit, "Bluestone", "a<&\"b.md");
    let python = "import sys, xml.etree.ElementTree as t\nr = t.fromstring(sys.stdin.buffer.read())\ns = r[0]\nprint(r.tag, s.get('name'), s.get('tests'), len(s.findall('testcase')), s.get('failures'), len(s.findall('testcase/failure')), len(s.findall('testcase/skipped')))";
    // Seven claims: three differ (m(residue)[B], both n(salt)), one cannot be checked.
    assert_eq!(said_of(&text, "python3", &["-c", python]).trim(), "testsuites a<&\"b.md 7 7 3 3 1");
}

#[test]
fn a_page_escapes_what_comes_from_a_notebook_and_asks_for_no_network() {
    let html = |title: &str| in_form(|reviews| formats::html(reviews).expect("a page"), title, "a.md");
    let page = html("<script>alert(1)</script>");
    assert!(!page.contains("<script"));
    assert!(page.contains("&lt;script&gt;"));
    assert!(
        !page.contains("src=")
            && !page.contains("http:")
            && !page.contains("https:")
            && !page.contains("url(")
    );
    // 1.0435 g − 0.6674 g: the derivation of w(water)[B] is there to be opened.
    assert!(page.contains("<details>") && page.contains("18.5705"));
}

#[test]
fn lines_of_text_keep_to_eighty_columns() {
    let text = in_form(|reviews| formats::text(&reviews[0]), "Bluestone", "a.md");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(text.contains("- m(residue)") && text.contains("+ m(residue)"));
}

fn run(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the command starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code().expect("an exit status"), text(output.stdout), text(output.stderr))
}

#[test]
fn the_command_tells_by_its_status_whether_a_value_differs() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, claims: &str| {
        std::fs::write(folder.path().join(name), NOTEBOOK.replace("CLAIMS", claims)).expect("written");
    };
    write("right.md", "w(water): 36.09 % 36.04 %");
    write("off.md", "w(water): 36.90 % 36.04 %");
    assert_eq!(run(folder.path(), &["review", "right.md"]).0, 0);
    assert_eq!(run(folder.path(), &["review", "off.md"]).0, 1);
    let (status, output, errors) = run(folder.path(), &["review", "right.md", "missing.md", "off.md"]);
    assert_eq!(status, 2);
    assert!(output.contains("right.md: 2 claimed values: 2 agree") && output.contains("off.md"));
    assert!(errors.contains("missing.md"));
}
