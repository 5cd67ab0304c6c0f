//! Templates: the shipped ones hold together, and what a template requires is said once where it is missing.

use reweigh::files::Memory;
use reweigh::finding::Code;
use reweigh::template::{self, check::check};

#[test]
fn every_shipped_template_holds_together() {
    let nothing = Memory::default();
    for name in template::shipped_names() {
        let template = template::find(name, &nothing).expect("a shipped template is found");
        assert_eq!(template.id, name);
        let report = check(&template);
        assert!(report.findings.is_empty(), "{name}: {:#?}", report.findings);
    }
}

#[test]
fn a_notebook_without_formulas_is_computed_by_the_method() {
    let nothing = Memory::default();
    let template = template::find("hydrate", &nothing).expect("it is shipped");
    let sample = &template.marking["sample.md"];
    let computed = reweigh::compute("sample.md", sample, &nothing);
    assert!(computed.results.findings.iter().all(|finding| finding.code != Code::MissingItem));
    let water = computed.results.quantities.iter().find(|quantity| quantity.symbol == "w(water)");
    let values: Vec<String> = water
        .expect("the method defines it")
        .trials
        .iter()
        .map(|outcome| outcome.value().expect("it has a value").printed.ascii())
        .collect();
    // By hand: (21.2214 − 21.0588)/(21.2214 − 20.1182) = 0.1626/1.1032 = 14.739 %; 0.1537/1.0412 = 14.762 %.
    assert_eq!(values, ["14.74", "14.76"]);
}
