//! Formulas sought and reactions, as notebooks hold them.

use reweigh::evaluation::results::{FormulaFound, Results};
use reweigh::files::Memory;
use reweigh::finding::{Code, Severity};

fn results(body: &str) -> Results {
    let head = "```experiment\ntitle = \"Case\"\ndate = 2026-11-25\n```\n\n";
    reweigh::compute("case.md", format!("{head}{body}").as_bytes(), &Memory::default()).results
}

fn sought(lines: &str) -> FormulaFound {
    results(&format!("```working\n{lines}\n```\n")).formulas.into_iter().next().expect("a formula is sought")
}

// OpenStax Chemistry 2e, section 3.2: nitrogen 0.130 g with oxygen 0.370 g is N2O5; C 40.0 %, H 6.71 %,
// O 53.28 % is CH2O; C 27.29 %, O 72.71 % is CO2. The digits written set the uncertainty.
#[test]
fn published_empirical_formulas() {
    let nitrogen = sought("formula(oxide) = N: 0.130 g / M(N), O: 0.370 g / M(O)");
    assert_eq!(nitrogen.formula.as_deref(), Some("N2O5"));
    let carbon = sought("formula(oxide) = C: 27.29 g / M(C), O: 72.71 g / M(O)");
    assert_eq!(carbon.formula.as_deref(), Some("CO2"));
    let sugar = sought("formula(sugar) = C: 40.0 g / M(C), H: 6.71 g / M(H), O: 53.28 g / M(O)");
    assert_eq!(sugar.formula.as_deref(), Some("CH2O"));
}

// A school exercise on barium chloride (31.623, 33.632 and 33.376 g with crucible and cover): 1.69 molecules of
// water are no whole number, and one heating shows no constant mass.
#[test]
fn a_number_of_water_that_is_far_from_whole() {
    let found = results(
        "```masses\ncrucible: 31.623\ncrucible + sample: 33.632\ncrucible + salt, heating 1: 33.376\n```\n\n\
         ```working\nformula(salt) = BaCl2: m(salt) / M(BaCl2), H2O: (m(sample) - m(salt)) / M(H2O)\n```\n",
    );
    let formula = &found.formulas[0];
    assert_eq!(formula.formula, None);
    assert!(formula.verdict.contains("BaCl2·2H2O"), "{}", formula.verdict);
    assert!(found.findings.iter().any(|finding| finding.code == Code::ConstantMass));
    assert!(
        found
            .findings
            .iter()
            .any(|finding| finding.code == Code::NoFormula && finding.severity == Severity::Note)
    );
}

// Oxford's virtual chemistry laboratory: Fe2+ with permanganate, 5 1 8 -> 5 1 4.
#[test]
fn coefficients_come_from_the_balanced_reaction() {
    let found = results(
        "```reaction\nFe^2+ + MnO4^- + H^+ -> Fe^3+ + Mn^2+ + H2O\n```\n\n```working\nr = ν(Fe^2+/MnO4^-)\n```\n",
    );
    let r = found.quantities.iter().find(|quantity| quantity.symbol == "r").expect("the ratio");
    let value = r.scalar.as_ref().and_then(|outcome| outcome.value()).expect("a value");
    assert_eq!(value.printed.ascii(), "5");
    assert!(found.reactions[0].balanced.as_ref().is_some_and(|balanced| balanced.unicode().contains("8 H⁺")));
}

#[test]
fn a_coefficient_of_two_reactions_needs_a_name() {
    let reactions = "```reaction\none: CaCO3 -> CaO + CO2\ntwo: CaCO3 + C -> CaO + CO\n```\n\n";
    let ambiguous = results(&format!("{reactions}```working\nr = ν(CaO/CaCO3)\n```\n"));
    assert!(ambiguous.findings.iter().any(|finding| finding.code == Code::UnknownReaction));
    let named = results(&format!("{reactions}```working\nr = ν(two: CO/CaCO3)\n```\n"));
    let value = named.quantities[0].scalar.as_ref().and_then(|outcome| outcome.value()).expect("a value");
    assert_eq!(value.printed.ascii(), "2");
}

// The chempy test suite: CO = CO2 has no solution; with CO, CO2 and water it has several.
#[test]
fn reactions_that_cannot_be_balanced_are_told_apart() {
    let of = |equation: &str| {
        let found = results(&format!("```reaction\n{equation}\n```\n"));
        let finding = found.findings.into_iter().find(|finding| finding.code == Code::UnbalancedReaction);
        finding.expect("a finding").message
    };
    assert!(of("CO -> CO2").contains("no coefficients"));
    assert!(of("C2H6 + O2 -> H2O + CO2 + CO").contains("not unique"));
}

// Common practice: nickel by its dimethylglyoximate, chloride as AgCl, magnesium as pyrophosphate. Factors by
// the CIAAW 2021 abridged weights: 58.693/288.917, 35.45/143.32, 2 × 24.305/222.551.
#[test]
fn factors_follow_the_shared_element() {
    for (line, value) in [
        ("f = factor(Ni, Ni(C4H7N2O2)2)", 58.693 / 288.917),
        ("f = factor(Cl, AgCl)", 35.45 / 143.32),
        ("f = factor(Mg, Mg2P2O7)", 2.0 * 24.305 / 222.551),
    ] {
        let found = results(&format!("```working\n{line}\n```\n"));
        let outcome =
            found.quantities[0].scalar.as_ref().and_then(|outcome| outcome.value()).expect("a value");
        assert!((outcome.number.to_f64() - value).abs() < 1e-12, "{line}");
    }
}

// The rule of sums (the coarsest last place) in units whose factor is no power of ten: tenths of an hour with
// hundredths are tenths; ties go to the even digit (10.05 is 10.0, 10.25 is 10.2).
#[test]
fn sums_of_times_keep_the_coarsest_last_place() {
    for (line, printed) in [
        ("x = 2.00 h + 0.5 h in h", "2.5"),
        ("x = 9.5 min + 0.55 min in min", "10.0"),
        ("x = 10.5 h - 0.25 h in h", "10.2"),
        ("x = 1.0 h + 30 min in h", "1.5"),
    ] {
        let found = results(&format!("```working\n{line}\n```\n"));
        let outcome =
            found.quantities[0].scalar.as_ref().and_then(|outcome| outcome.value()).expect("a value");
        assert_eq!(outcome.printed.ascii(), printed, "{line}");
    }
}
