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

/// The scalar a line of `working` comes to, with the reactions before it.
fn scalar(reactions: &str, line: &str) -> (f64, Results) {
    let found = results(&format!("```reaction\n{reactions}\n```\n\n```working\n{line}\n```\n"));
    let outcome = found.quantities[0].scalar.as_ref().and_then(|outcome| outcome.value());
    let value = outcome.unwrap_or_else(|| panic!("{line}: {:?}", found.findings)).number.to_f64();
    (value, found)
}

// Two-step chains of a teaching laboratory (common practice), by the CIAAW 2021 abridged weights, added by hand:
// chloride as AgCl by way of the solution; phosphate as MgNH4PO4·6H2O by way of the molybdate; magnesium as
// pyrophosphate; nickel by its dimethylglyoximate; calcium oxalate by way of the carbonate to the oxide.
#[test]
fn factors_along_chains_of_reactions() {
    let cases = [
        (
            "solution: NaCl -> Na^+ + Cl^-\nprecipitation: Ag^+ + Cl^- -> AgCl",
            "f = factor(solution + precipitation: NaCl, AgCl)",
            58.44 / 143.32,
        ),
        (
            "yellow: PO4^3- + MoO4^2- + NH4^+ + H^+ -> (NH4)3PMo12O40 + H2O\n\
             dissolving: (NH4)3PMo12O40 + OH^- -> PO4^3- + MoO4^2- + NH4^+ + H2O\n\
             white: PO4^3- + Mg^2+ + NH4^+ + H2O -> MgNH4PO4·6H2O\n\
             ignition: MgNH4PO4·6H2O -> Mg2P2O7 + NH3 + H2O",
            "f = factor(yellow + dissolving + white + ignition: PO4^3-, Mg2P2O7)",
            2.0 * (30.974 + 4.0 * 15.999) / 222.551,
        ),
        (
            "white: Mg^2+ + NH3 + HPO4^2- + H2O -> MgNH4PO4·6H2O\nignition: MgNH4PO4·6H2O -> Mg2P2O7 + NH3 + H2O",
            "f = factor(white + ignition: Mg, Mg2P2O7)",
            2.0 * 24.305 / 222.551,
        ),
        (
            "red: Ni^2+ + C4H8N2O2 -> Ni(C4H7N2O2)2 + H^+",
            "f = factor(red: Ni^2+, Ni(C4H7N2O2)2)",
            58.693 / 288.917,
        ),
        (
            "stage 1: CaC2O4·H2O -> CaC2O4 + H2O\nstage 2: CaC2O4 -> CaCO3 + CO\nstage 3: CaCO3 -> CaO + CO2",
            "f = factor(stage 1 + stage 2 + stage 3: CaC2O4·H2O, CaO)",
            146.111 / 56.077,
        ),
    ];
    for (reactions, line, value) in cases {
        let (found, results) = scalar(reactions, line);
        assert!((found - value).abs() < 1e-9, "{line}: {found} for {value}");
        assert_eq!(results.findings.len(), 0, "{line}: {:?}", results.findings);
        let reason = results.worked[0].reason.as_ref().expect("a line that says why");
        assert!(reason.contains(line.split(['(', '+', ':']).nth(1).expect("a name").trim()), "{reason}");
    }
}

// The oxalate and the carbonate share calcium (one to one) and carbon (two to one): elements alone give no
// factor. Copper in nitric acid (OpenStax Chemistry 2e, section 4.1: 3 8 -> 3 4 2): eight HNO3 for two NO by the
// reaction, one for one by nitrogen.
#[test]
fn the_route_of_a_factor_is_told() {
    let (carbonate, found) = scalar("stage 2: CaC2O4 -> CaCO3 + CO", "f = factor(CaC2O4, CaCO3)");
    assert!((carbonate - 128.096 / 100.086).abs() < 1e-9 && found.findings.is_empty());
    let acid = "dissolving: Cu + HNO3 -> Cu(NO3)2 + H2O + NO";
    for (line, ratio, taken) in [
        ("f = factor(HNO3, NO)", 1.0, "by the shared N"),
        ("f = factor(dissolving: HNO3, NO)", 4.0, "by dissolving"),
    ] {
        let (value, found) = scalar(acid, line);
        assert!((value - ratio * 63.012 / 30.006).abs() < 1e-9, "{line}");
        let note = found.findings.iter().find(|finding| finding.code == Code::FactorRoute).expect("a note");
        assert!(note.message.contains(taken) && note.severity == Severity::Note, "{}", note.message);
    }
}

#[test]
fn a_chain_that_does_not_hold_is_an_error() {
    let reactions = "one: CaCO3 -> CaO + CO2\ntwo: MgCO3 -> MgO + CO2";
    for (line, said) in [
        ("f = factor(one + two: CaCO3, MgO)", "does not lead from"),
        ("f = factor(one + three: CaCO3, MgO)", "no reaction is named three"),
        ("f = factor(Na3PO3, Hg2Cl2)", "no element in common"),
        ("f = w(Fe2O3 in Fe3O4)", "does not hold"),
    ] {
        let found = results(&format!("```reaction\n{reactions}\n```\n\n```working\n{line}\n```\n"));
        assert!(
            found.findings.iter().any(|finding| finding.message.contains(said)),
            "{line}: {:?}",
            found.findings
        );
    }
}

// OpenStax Chemistry 2e, section 3.2: aspirin C9H8O4 holds C 60.00, H 4.476, O 35.52 %. Handout "Percent water in a
// hydrate": CuSO4·5H2O holds 36.08 % of water (with M(CuSO4) = 159.62).
#[test]
fn the_mass_fraction_of_an_element_or_a_group() {
    for (line, percent, tolerance) in [
        ("w(C) = w(C in C9H8O4) in %", 60.00, 0.005),
        ("w(H) = w(H in C9H8O4) in %", 4.476, 0.0005),
        ("w(O) = w(O in C9H8O4) in %", 35.52, 0.005),
        ("w(aq) = w(H2O in CuSO4·5H2O) in %", 36.08, 0.005),
    ] {
        let (value, _) = scalar("CO + O2 -> CO2", line);
        assert!((value - percent).abs() < tolerance, "{line}: {value}");
    }
}

/// A formula that cannot be read is shown at its own characters, wherever it stands.
#[test]
fn a_formula_that_cannot_be_read_is_shown_where_it_stands() {
    for (line, place) in [
        ("yield(BaQzO4) = BaCl2: m(a), Na2SO4: m(b)  in g", "Qz"),
        ("yield( loss: BaQzO4 ) = BaCl2: m(a), Na2SO4: m(b)  in g", "Qz"),
        ("yield(BaSO4) = BaCl2: m(a), Na2QzO4: m(b)  in g", "Qz"),
        ("x = factor(Fe, Fe2\u{fffd}O3)", "\u{fffd}"),
        ("x = factor( Qz, Fe2O3)", "Qz"),
        ("x = ν(BaSO4/Na2\u{fffd}SO4)", "\u{fffd}"),
    ] {
        let text = format!(
            "```reaction\nBaCl2 + Na2SO4 -> BaSO4 + NaCl\n```\n\n```masses\na: 1.0000\nb: 1.0000\n```\n\n\
             ```working\n{line}\n```\n"
        );
        let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
        let found = computed.results.findings.iter().find(|finding| finding.code == Code::UnknownFormula);
        let span = found.and_then(|finding| finding.span).unwrap_or_else(|| panic!("{line}: {found:?}"));
        assert_eq!(span.text(&computed.notebook.text), place, "{line}: {found:?}");
    }
}

// OpenStax Chemistry 2e, section 4.4, exercise fs-idp70668864: Na2C2O4 0.4031 g limits beside UO2(NO3)2 1.481 g;
// 1.073 g of the trihydrate are 86.56 % (86.555 with today's weights). Trial B is made up: equal amounts.
#[test]
fn the_limiting_reagent_and_the_yield() {
    let found = results(
        "```reaction\nUO2(NO3)2 + Na2C2O4 + H2O -> UO2(C2O4)·3H2O + NaNO3\n```\n\n\
         ```masses\ntrial: A B\noxalate: 0.4031 0.5037\nnitrate: 1.481 1.481\nproduct: 1.073 1.311\n```\n\n\
         ```working\nyield(UO2(C2O4)·3H2O) = Na2C2O4: m(oxalate), UO2(NO3)2: m(nitrate) in g\n\
         Y = m(product) / yield(UO2(C2O4)·3H2O) in %\n```\n",
    );
    assert!(found.findings.is_empty(), "{:?}", found.findings);
    let value = |symbol: &str| {
        let quantity =
            found.quantities.iter().find(|quantity| quantity.symbol == symbol).expect("a quantity");
        quantity.trials[0].value().expect("a value").number.to_f64()
    };
    assert!((value("Y") - 86.56).abs() < 0.01);
    let verdicts: Vec<&str> =
        found.yields[0].verdicts.iter().map(|v| v.as_deref().expect("a verdict")).collect();
    assert!(
        verdicts[0].starts_with("Na₂C₂O₄ limits") && verdicts[0].contains("UO₂(NO₃)₂ is 24.9 % in excess")
    );
    assert!(verdicts[1].contains("cannot be told apart"), "{}", verdicts[1]);
    assert!(verdicts[0].contains("H₂O is taken to be in excess"));
    let reasons: Vec<_> = found.worked.iter().filter_map(|line| line.reason.as_deref()).collect();
    assert!(reasons[0].starts_with("Na₂C₂O₄ limits"), "{reasons:?}");
}

// Harvey, Analytical Chemistry 2.0, practice exercise 8.7: 0.0500 g of CO2 between 600 and 1000 °C are 43.88 % of
// CaC2O4 in 0.3317 g. A general-chemistry exercise: 8.35 g of CaCO3 and CaO lose 1.98 g, so 46.1 % is CaO.
#[test]
fn components_change_in_steps_and_stand_beside_their_products() {
    let found = results(
        "```masses\nsample: 0.3317\nwarm: 0.1794\nhot: 0.1294\nbefore: 8.35\nafter: 6.37\n```\n\n\
         ```mixture\nm(sample) = CaC2O4 + MgC2O4 + inert\nm(warm) = CaCO3 + MgO + inert\n\
         m(hot) = CaO + MgO + inert\nCaC2O4 -> CaCO3 + CO\nCaCO3 -> CaO + CO2\nMgC2O4 -> MgO + CO + CO2\n```\n\n\
         ```mixture\nm(before) = CaCO3 + CaO\nm(after) = CaO\nCaCO3 -> CaO + CO2\n```\n",
    );
    let value = |symbol: &str| {
        let quantity =
            found.quantities.iter().find(|quantity| quantity.symbol == symbol).expect("a quantity");
        quantity.trials[0].value().expect("a value").number.to_f64()
    };
    assert!((value("w(CaC2O4)") - 43.88).abs() < 0.005);
    assert!((value("w(CaO)") - 46.1).abs() < 0.05);
}

// Worked by hand: of 1.0000 g of SrCO3 and clay 92 % of the carbonate burn, and 0.1370 g of CO2 are lost:
// m(SrCO3) = 0.1370 M(SrCO3) / M(CO2) / 0.92 with 147.628 and 44.009 g/mol.
#[test]
fn a_component_that_changes_in_part() {
    let of = |extent: &str| {
        results(&format!(
            "```masses\nbefore: 1.0000\nafter: 0.8630\n```\n\n```mixture\nm(before) = SrCO3 + clay\n\
             m(after) = SrO + SrCO3 + clay\nSrCO3 -> SrO + CO2{extent}\n```\n"
        ))
    };
    let found = of(", 92 %");
    let quantity =
        found.quantities.iter().find(|quantity| quantity.symbol == "m(SrCO3)").expect("a quantity");
    let value = quantity.trials[0].value().expect("a value").number.to_f64();
    assert!((value - 0.1370 * 147.628 / 44.009 / 0.92).abs() < 1e-5, "{value}");
    for (extent, said) in [("", "which it becomes"), (", 120 %", "between 0 and 1"), (", ", "expected")] {
        let found = of(extent);
        assert!(
            found.findings.iter().any(|finding| finding.message.contains(said)),
            "{extent}: {:?}",
            found.findings
        );
    }
}

// Sand and carbonate that gain mass: 0.05 mg, half a scale interval, is within the uncertainty of the readings; a
// loss of 0.45 g would need more carbonate than there is.
#[test]
fn a_component_below_zero_by_more_and_by_less_than_its_uncertainty() {
    let of = |after: &str| {
        let found = results(&format!(
            "```masses\nbefore: 1.0000\nafter: {after}\n```\n\n```mixture\nm(before) = CaCO3 + sand\n\
             m(after) = CaO + sand\nCaCO3 -> CaO + CO2\n```\n"
        ));
        let mut findings = found.findings.into_iter().filter(|finding| finding.code == Code::BadMixture);
        findings.next().expect("a finding")
    };
    let beyond = of("0.5500");
    assert!(beyond.severity == Severity::Warning && beyond.hints[0].contains("one more total"));
    let within = of("1.00005");
    assert_eq!(within.severity, Severity::Note, "{within:?}");
    assert!(within.message.contains("not distinguishable from zero"), "{}", within.message);
}

// The three cases a teaching laboratory meets (common practice), as values that were measured.
#[test]
fn a_whole_number_of_the_theory_is_named_or_not() {
    let of = |value: &str| {
        let body = format!("```measured\nx: {value} k = 2\n```\n\n```theory\nx = 5\n```\n");
        let found = results(&body);
        let said = found.whole_numbers.into_iter().next().expect("a verdict");
        (said.whole, said.candidates, said.verdict)
    };
    assert_eq!(of("4.98 ± 0.03").0, Some(5));
    let (whole, candidates, verdict) = of("4.5 ± 0.7");
    assert_eq!((whole, candidates), (None, vec![4, 5]));
    assert!(verdict.contains("better than ± 0.50"), "{verdict}");
    let (whole, candidates, verdict) = of("4.72 ± 0.08");
    assert!(whole.is_none() && candidates.is_empty() && verdict.contains("up to 24"), "{verdict}");
}

/// Found and theoretical change of each stage in per cent, of the first trial.
fn steps(masses: &str) -> Vec<(String, f64, Option<f64>)> {
    let reactions =
        "stage 1: CaC2O4·H2O -> CaC2O4 + H2O\nstage 2: CaC2O4 -> CaCO3 + CO\nstage 3: CaCO3 -> CaO + CO2";
    let found = results(&format!("```reaction\n{reactions}\n```\n\n```masses\nunit: mg\n{masses}\n```\n"));
    let number = |figure: &reweigh::evaluation::results::Figure| figure.number.to_f64();
    let of = |step: &reweigh::evaluation::results::StepResult| {
        let share = step.trials[0].share.as_ref().map(number).expect("a change");
        (step.stage.clone(), share, step.theory.as_ref().map(number))
    };
    found.steps.iter().flat_map(|steps| steps.steps.iter().map(of)).collect()
}

// Harvey, Analytical Chemistry 2.0, thermogravimetry example, p. 382-383: 17.61 mg of CaC2O4·H2O lose 12.3, 19.2 and
// 30.1 % (2.17, 3.38 and 5.30 mg; the sample mass and the first loss are from memory). Theory by the CIAAW 2021
// abridged weights: 18.015, 28.010 and 44.009 of 146.111.
#[test]
fn the_steps_of_a_thermogram() {
    let by_events = "pan: 100.00\npan + sample: 117.61\nevent: stage 1, to 250 °C\npan + residue: 115.44\n\
                     event: stage 2, to 550 °C\npan + residue: 112.06\nevent: stage 3, to 800 °C\npan + residue: 106.76";
    let by_name =
        "sample: 17.61\nresidue of stage 1: 15.44\nresidue of stage 2: 12.06\nresidue of stage 3: 6.76";
    let by_formula = "CaC2O4·H2O: 17.61\nCaC2O4: 15.44\nCaCO3: 12.06\nCaO: 6.76";
    let in_order = by_events.replace("stage ", "heated ");
    for masses in [by_events, by_name, by_formula, &in_order] {
        let steps = steps(masses);
        assert_eq!(steps.len(), 3, "{masses}");
        let published = [12.3, 19.2, 30.1].into_iter().zip([18.015, 28.010, 44.009]);
        for ((stage, found, theory), (percent, molar_mass)) in steps.iter().zip(published) {
            assert!((found + percent).abs() < 0.05, "{stage}: {found}");
            let theory = theory.unwrap_or_else(|| panic!("{masses}: no theory of {stage}"));
            assert!((theory + 100.0 * molar_mass / 146.111).abs() < 1e-9, "{stage}: {theory}");
        }
    }
}

// Silica by hydrofluoric acid (common practice): the loss of the crucible is the silica, whatever the reaction holds.
#[test]
fn a_stage_without_a_reaction_has_a_change_and_no_theory() {
    let masses = "pan: 100.00\npan + sample: 150.00\nevent: stage 1, dried\npan + residue: 143.00\n\
                  event: acid fumed off\npan + residue: 121.00";
    let steps = steps(masses);
    assert_eq!(steps.iter().map(|(_, found, _)| *found).collect::<Vec<_>>(), [-14.0, -44.0]);
    assert!(steps[0].2.is_some() && steps[1].2.is_none());
}

// By the words alone: what an event happens to hold is no name of its stage; at its beginning, or behind "stage", it is.
#[test]
fn an_event_that_happens_to_hold_the_name_of_a_reaction_is_not_its_stage() {
    let theories = |first: &str, second: &str| -> Vec<Option<f64>> {
        let found = results(&format!(
            "```reaction\nwater: CaC2O4·H2O -> CaC2O4 + H2O\nacid: CaC2O4 -> CaCO3 + CO\nlast: CaCO3 -> CaO + CO2\n\
             ```\n\n```masses\npan: 100.0000\npan + sample: 101.0000\nevent: {first}\npan + residue: 100.8770\n\
             event: {second}\npan + residue: 100.6860\n```\n"
        ));
        let of = |step: &reweigh::evaluation::results::StepResult| {
            step.theory.as_ref().map(|theory| theory.number.to_f64())
        };
        found.steps[0].steps.iter().map(of).collect()
    };
    assert_eq!(theories("ten drops of water added", "fumed off with acid"), [None, None]);
    assert_eq!(theories("watery, left to stand", "acidic by now"), [None, None]);
    // By the CIAAW 2021 abridged weights: 18.015 and 28.010 of 146.111.
    let by_name = [Some(-1801.5 / 146.111), Some(-2801.0 / 146.111)];
    let near = |found: Vec<Option<f64>>| {
        let close =
            |(a, b): (&Option<f64>, &Option<f64>)| a.zip(*b).is_some_and(|(a, b)| (a - b).abs() < 1e-9);
        found.len() == 2 && found.iter().zip(&by_name).all(close)
    };
    assert!(near(theories("Water, to 250 °C", "acid: to 550 °C")));
    assert!(near(theories("end of stage water", "on to stage acid")));
}

/// The findings of a mixture block with three totals of 1.0000, 0.9000 and 0.5000 g.
fn mixture(lines: &str) -> Results {
    results(&format!(
        "```masses\nsample: 1.0000\ndried: 0.9000\nignited: 0.5000\n```\n\n```mixture\n{lines}\n```\n"
    ))
}

// Worked by hand: 0.1000 g of water are 0.1000 M(MgCO3·3H2O)/(3 M(H2O)) of the trihydrate; of the 0.4000 g of CO2 the
// trihydrate brings M(CO2)/(3 M(H2O)) times 0.1000 g, the rest is of CaCO3. By the CIAAW 2021 abridged weights.
#[test]
fn three_components_and_three_totals() {
    let found = mixture(
        "m(sample) = MgCO3·3H2O + CaCO3 + sand\nm(dried) = MgCO3 + CaCO3 + sand\nm(ignited) = MgO + CaO + sand\n\
         MgCO3·3H2O -> MgCO3 + H2O\nMgCO3 -> MgO + CO2\nCaCO3 -> CaO + CO2",
    );
    let value = |symbol: &str| {
        let quantity =
            found.quantities.iter().find(|quantity| quantity.symbol == symbol).expect("a quantity");
        quantity.trials[0].value().expect("a value").number.to_f64()
    };
    let water = 3.0 * 18.015;
    let trihydrate = 0.1 * (84.313 + water) / water;
    let calcite = (0.4 - 0.1 * 44.009 / water) * 100.086 / 44.009;
    assert!((value("m(MgCO3·3H2O)") - trihydrate).abs() < 1e-9);
    assert!((value("m(CaCO3)") - calcite).abs() < 1e-9);
    assert!((value("m(sand)") - (1.0 - trihydrate - calcite)).abs() < 1e-9);
}

#[test]
fn a_mixture_that_cannot_be_solved_says_why() {
    let alike = mixture(
        "m(sample) = MgCO3·3H2O + BaCO3 + sand\nm(dried) = MgCO3 + BaCO3 + sand\nm(ignited) = MgO + BaCO3 + sand\n\
         MgCO3·3H2O -> MgCO3 + H2O\nMgCO3 -> MgO + CO2",
    );
    assert!(alike.findings[0].hints[0].starts_with("BaCO3 and sand change alike"), "{:?}", alike.findings);
    let idle =
        mixture("m(sample) = MgCO3 + sand\nm(ignited) = MgO + sand\nMgCO3 -> MgO + CO2\nCaCO3 -> CaO + CO2");
    let warned =
        |finding: &reweigh::finding::Finding| finding.message.contains("no component of the mixture");
    assert!(idle.findings.iter().any(warned), "{:?}", idle.findings);
    let two_ways = mixture(
        "m(sample) = MgCO3 + sand\nm(ignited) = MgO + MgSO4 + sand\nMgCO3 -> MgO + CO2\nMgCO3 + H2SO4 -> MgSO4 + H2O + CO2",
    );
    assert!(
        two_ways.findings.iter().any(|finding| finding.message.contains("two equations")),
        "{:?}",
        two_ways.findings
    );
}
