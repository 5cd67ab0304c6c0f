//! What verdicts are worth: `marking/marks.toml` item by item, with points worked by hand.

use reweigh::files::Memory;
use reweigh::quantity::Number;
use reweigh::review::marks::{Award, FromReference, Marking, points_text, totals};
use reweigh::review::review;
use reweigh::template::marks::marks;
use reweigh::template::{Origin, Purpose, load};
use std::sync::Arc;

/// Two trials by hand: 0.4000 g gave 0.5000 g, w(SO4) = 0.5 × 0.411576/0.4 = 51.447 %; 0.4000 g gave 0.5040 g, so 51.859 %.
/// The factor SO4/BaSO4 is 96.056/233.386 (CIAAW 2021, abridged).
const NOTEBOOK: &str = "# Sulfate

```experiment
title    = \"Sulfate\"
authors  = [\"A\"]
date     = 2026-03-04
template = \"precipitation\"
sample   = \"issued\"
basis    = \"as received\"
```

## Purpose

## Procedure

## Readings

```masses
unit: g
balance: B-04
trial:                               A        B
crucible, ignition 1:                17.6002  18.2003
crucible, ignition 2:                17.6000  18.2000
bottle + sample:                     14.4000  14.8000
bottle:                              14.0000  14.4000
crucible + precipitate, ignition 1:  18.1003  18.7044
crucible + precipitate, ignition 2:  18.1000  18.7040
```

```claimed
trial:  A  B
CLAIMS
```
";

fn awards(of: &str, claims: &str) -> Vec<Award> {
    awarded(of, claims, &|_| FromReference::None("no list".to_owned()))
}

fn awarded(of: &str, claims: &str, reference: &dyn Fn(&str) -> FromReference) -> Vec<Award> {
    awarded_by("precipitation", of, &NOTEBOOK.replace("CLAIMS", claims), reference)
}

fn awarded_by(name: &str, of: &str, text: &str, reference: &dyn Fn(&str) -> FromReference) -> Vec<Award> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates").join(name);
    let mut files = Memory::default();
    for file in ["template.toml", "method.md", "notebook.md"] {
        files.0.insert(file.to_owned(), std::fs::read(folder.join(file)).expect("a file"));
    }
    files.0.insert("marking/marks.toml".to_owned(), of.as_bytes().to_vec());
    let template = Arc::new(load(&files, Origin::Shipped));
    let (marks, said) = marks(&template);
    assert!(said.is_empty(), "{said:?}");
    let wanted = reweigh::Wanted { template: Some(template.clone()), purpose: Purpose::Review };
    let computed = reweigh::compute_as("a.md", text.as_bytes(), &Memory::default(), &wanted);
    let review = review(&computed.results);
    let template = Some(&*template);
    Marking { marks: &marks, template, results: &computed.results, review: &review, reference }.awards()
}

/// The points of the only item, or `open`.
fn points(of: &str, claims: &str) -> String {
    let awards = awards(of, claims);
    assert_eq!(awards.len(), 1);
    awards[0].points.as_ref().map_or("open".to_owned(), points_text)
}

const CLAIM: &str = "[[mark]]\nclaim = \"w(SO4)\"\npoints = 3\ndigits = 1\n";

#[test]
fn a_claim_has_its_points_for_value_and_digits_shared_by_the_trials() {
    assert_eq!(points(CLAIM, "w(SO4): 51.45 % 51.86 %"), "3");
    assert_eq!(points(CLAIM, "w(SO4): 51.4 % 51.86 %"), "2.5", "too few digits in one of two");
    assert_eq!(points(CLAIM, "w(SO4): 51.46 % 51.86 %"), "3", "one off in the last place counts as right");
    assert_eq!(points(CLAIM, "w(SO4): 59.45 % 51.86 %"), "2", "one of two values: 1 + 1");
    assert_eq!(points(CLAIM, "w(SO4): 51.45 % –"), "1.5", "one of two is claimed");
    assert_eq!(points(CLAIM, "m(sample): 0.4000 g 0.4000 g"), "0", "not claimed");
}

#[test]
fn a_mean_stands_for_trials_that_are_not_claimed() {
    // (51.447 + 51.859)/2 = 51.653.
    assert_eq!(points(CLAIM, "mean w(SO4): 51.65 %"), "3");
    let mean = "[[mark]]\nclaim = \"mean w(SO4)\"\npoints = 2\n";
    assert_eq!(points(mean, "w(SO4): 51.45 % 51.86 %"), "0", "the mean itself is asked for");
}

#[test]
fn another_name_of_the_quantity_is_the_same_claim() {
    assert_eq!(points(CLAIM, "w(sulfate): 51.45 % 51.86 %"), "3");
}

#[test]
fn what_cannot_be_checked_or_is_marked_by_hand_stays_open() {
    assert_eq!(points(CLAIM, "w(SO4): 51.45 g 51.86 g"), "open");
    assert_eq!(points("[[mark]]\nheading = \"Discussion\"\npoints = 2\n", "w(SO4): 51.45 % 51.86 %"), "open");
}

#[test]
fn what_follows_from_a_wrong_value_has_its_points() {
    // m(precipitate)[A] copied with two digits swapped, 0.0500 g for 0.5000 g; w(SO4)[A] from it is 5.145 %.
    let of = format!("[[mark]]\nclaim = \"m(precipitate)\"\npoints = 2\n{CLAIM}");
    let awards = awards(
        &of,
        "m(sample): 0.4000 g 0.4000 g\nm(precipitate): 0.0500 g 0.5040 g\nw(SO4): 5.145 % 51.86 %",
    );
    let points: Vec<String> =
        awards.iter().map(|award| points_text(award.points.as_ref().expect("points"))).collect();
    assert_eq!(points[0], "1");
    assert_eq!(awards[1].why.split(';').next(), Some("1 carried forward, 1 agrees"));
}

#[test]
fn one_slip_in_two_items_is_charged_once() {
    // The vessel 18.2746 g read as 18.2946 g shortens both masses of trial A by 0.0200 g: m(sample) is 1.0381 g, m(residue)
    // 0.6635 g. The first item loses one of its two trials, the second nothing.
    let text = "# Water\n\n```experiment\ntitle = \"Water\"\ndate = 2026-03-04\ntemplate = \"hydrate\"\n```\n\n```masses\nunit: g\n\
        trial:                          A        B\n\
        crucible, heating 1:            18.2749  17.9034\n\
        crucible, heating 2:            18.2746  17.9031\n\
        crucible + sample:              19.3127  18.9466\n\
        crucible + residue, heating 1:  18.9384  18.5708\n\
        crucible + residue, heating 2:  18.9381  18.5705\n```\n\n\
        ```claimed\ntrial:  A  B\nm(sample): 1.0181 g 1.0435 g\nm(residue): 0.6435 g 0.6674 g\n```\n";
    let of = "[[mark]]\nclaim = \"m(sample)\"\npoints = 2\n[[mark]]\nclaim = \"m(residue)\"\npoints = 2\n";
    let awards = awarded_by("hydrate", of, text, &|_| FromReference::None(String::new()));
    assert_eq!(awards[1].why, "the same slip as in m(sample), counted once");
    let (reached, open, possible) = totals(&awards);
    assert_eq!(
        (points_text(&reached), points_text(&open), points_text(&possible)),
        ("3".into(), "0".into(), "4".into())
    );
}

#[test]
fn agreement_accuracy_and_completeness_go_by_their_limits() {
    // Range 0.4116 over 51.653 is 0.797 %.
    let agreement = |within: &str| {
        format!("[[mark]]\nagreement = \"w(SO4)\"\nsteps = [{{ within = \"{within} %\", points = 2 }}]\n")
    };
    assert_eq!(points(&agreement("0.80"), ""), "2");
    assert_eq!(points(&agreement("0.79"), ""), "0");
    // Theory M(SO4)/M(K2SO4) = 96.056/174.252 = 55.125 %; (51.653 − 55.125)/55.125 = −6.30 %.
    let theory = "[[mark]]\naccuracy = \"w(SO4)\"\nagainst = \"theory\"\nsteps = [{ within = \"6.4 %\", points = 1 }, { within = \"6.2 %\", points = 2 }]\n";
    let stated = "\n```theory\nw(SO4) = M(SO4) / M(K2SO4)  in %\n```\n";
    let none = |_: &str| FromReference::None("no list".to_owned());
    let by_theory = |text: &str| {
        let awards = awarded_by("precipitation", theory, &text.replace("CLAIMS", ""), &none);
        awards[0].points.as_ref().map_or("open".to_owned(), points_text)
    };
    assert_eq!(by_theory(&format!("{NOTEBOOK}{stated}")), "1");
    assert_eq!(by_theory(NOTEBOOK), "0", "the method states no theory of an unknown");
    // Missing are the heading Discussion and eight checks: nine things.
    let complete = "[[mark]]\ncomplete = true\npoints = 2\neach = 0.1\n";
    assert_eq!(points(complete, ""), "1.1");
    assert_eq!(points("[[mark]]\ncomplete = true\npoints = 2\n", ""), "0", "never below zero");
}

#[test]
fn the_reference_value_decides_the_accuracy_and_without_it_the_points_are_open() {
    let of = "[[mark]]\naccuracy = \"w(SO4)\"\nsteps = [{ within = \"1 %\", points = 3 }]\n";
    let with = |thousandths: i64| {
        let awards = awarded(of, "", &|_| FromReference::Error(Number::from_ratio(thousandths, 1000)));
        awards[0].points.as_ref().map(points_text)
    };
    assert_eq!(with(-10).as_deref(), Some("3"), "1 % low is within 1 %");
    assert_eq!(with(11).as_deref(), Some("0"));
    assert_eq!(points(of, ""), "open");
}

#[test]
fn points_are_exact_until_they_are_printed() {
    let third = Number::from_ratio(1, 3);
    let sum = third.add(&third).and_then(|two| two.add(&third)).expect("a sum");
    assert_eq!((points_text(&third).as_str(), points_text(&sum).as_str()), ("0.33", "1"));
}
