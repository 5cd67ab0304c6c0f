//! What random notebooks brought to light (`tests/oracle/soak.py`), each a test named after it.

use reweigh::evaluation::results::{QuantityResult, Results};
use reweigh::files::Memory;
use reweigh::finding::Code;

fn results(text: &str) -> Results {
    reweigh::compute("a.md", text.as_bytes(), &Memory::default()).results
}

fn quantity<'a>(results: &'a Results, symbol: &str) -> &'a QuantityResult {
    results.quantities.iter().find(|quantity| quantity.symbol == symbol).expect("the quantity is listed")
}

/// A net mass is known by what it is the mass of: `RESIDUE, WASHED` in a load and `residue, washed` elsewhere are one thing.
#[test]
fn a_limit_and_a_mark_find_a_net_mass_however_its_things_are_written() {
    let text = "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n\
        repeatability = { \"m(residue, washed)\" = \"0.1 g\" }\n```\n\n\
        ```masses\nunit: g\ntrial: A  B\ndish: 20.0000  21.0000\ndish + RESIDUE, WASHED: 21.0000  22.5000\n```\n\n\
        ```theory\nm(residue, Washed) = 1.0 g\n```\n";
    let results = results(text);
    let codes: Vec<Code> = results.findings.iter().map(|finding| finding.code).collect();
    assert!(codes.contains(&Code::Repeatability), "the trials are 0.5 g apart: {codes:?}");
    assert!(!codes.contains(&Code::BadSetting) && !codes.contains(&Code::UnknownSymbol), "{codes:?}");
    let mass = quantity(&results, "m(RESIDUE, WASHED)");
    assert!(mass.agreement.as_ref().is_some_and(|agreement| agreement.repeatability.is_some()));
    assert!(mass.theory.is_some(), "its theory stands with it");
    let found = reweigh::review::marks::quantity(&results, None, "m(residue, washed)");
    assert!(found.is_some_and(|found| found.symbol == mass.symbol));
}

/// B shares the last reading of A's series, and its own series has not come to an end with it.
fn shared(aside: &str) -> String {
    format!(
        "```experiment\ntitle = \"A\"\ndate = 2026-05-06\nconstant-mass = \"1 mg\"\n```\n\n\
         ```masses\nunit: g\ntrial: A  B\ndish, drying 1: 20.0000  15.0000\ndish, drying 2: 20.0000  15.0000\n\
         dish + sample, drying 1: 21.0000  16.5000\ndish + sample, drying 2: 21.0000  = A\n{aside}```\n\n\
         ```working\nr = mean m(sample)\n```\n"
    )
}

#[test]
fn a_mean_is_not_provisional_by_a_trial_that_was_set_aside() {
    let provisional = |text: &str| quantity(&results(text), "r").provisional;
    assert!(provisional(&shared("")), "B counts, and is unfinished");
    assert!(!provisional(&shared("set aside: B (it cracked)\n")), "A alone counts, and is finished");
}

/// What depends on the trial is worked out for a blank too, where `blank(…)` asks for it, and is no result of one.
#[test]
fn a_theory_of_each_trial_has_no_line_for_a_blank() {
    let text = "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n```\n\n\
        ```masses\nunit: g\ntrial: A  blank  B\ndish: 20.0000  15.0000  21.0000\n\
        dish + ash: 21.0000  15.0010  22.5000\n```\n\n\
        ```working\nw = m(ash) / 2.000 g\n```\n\n```theory\nw = m(ash) / 2.010 g\n```\n";
    let files = Memory::default();
    let computed = reweigh::compute("a.md", text.as_bytes(), &files);
    let report = reweigh::report::markdown::markdown(
        text.as_bytes(),
        &computed.notebook,
        &computed.results,
        &files,
        None,
    );
    let report = String::from_utf8(report.bytes).expect("text");
    assert!(report.contains(", trial A |") && report.contains(", trial B |"), "{report}");
    assert!(!report.contains("trial blank"), "{report}");
}
