//! Chemistry against outside figures.

use reweigh::chemistry::{AtomicWeights, Formula};

#[test]
fn first_look() {
    let table = AtomicWeights::abridged();
    for text in [
        "CuSO4.5H2O",
        "KAl(SO4)2·12H2O",
        "[Fe(CN)6]^4-",
        "NH4+",
        "e-",
        "^13CO2(g)",
        "CaSO4·½H2O",
        "Fe0.95O",
        "D2O",
        "Fe³⁺",
        "CuSO₄·5H₂O",
        "Fe+3",
        "SO4^2-(aq)",
    ] {
        let f = Formula::parse(text).unwrap();
        println!(
            "{text} {} {} {} {} {} {:?} {:?}",
            f.text(),
            f.unicode(),
            f.html(),
            f.typst(),
            f.spoken(),
            f.ambiguity(),
            f.charge()
        );
        println!(
            "   {:?}",
            f.molar_mass(&table).map(|m| (
                m.grams_per_mole.fraction().to_f64().value(),
                m.place,
                m.uncertainty
            ))
        );
        assert_eq!(Formula::parse(&f.text()).unwrap().text(), f.text());
    }
    for text in [
        "",
        "water",
        "NaCL",
        "FE2O3",
        "Hx",
        "Fe3+",
        "SO42-",
        "5H2O",
        "CuSO4·xH2O",
        "(OH",
        "OH)",
        "H0",
        "Tc",
        "^13",
        "A^",
        "CuSO4 5H2O",
        "e",
        "Ca(OH]2",
        "()",
    ] {
        println!("{text:?} {:?}", Formula::parse(text).map(|f| f.molar_mass(&table)));
    }
}

#[test]
fn second_look() {
    use reweigh::chemistry::*;
    for text in [
        "[Cr(N2H4CO)6]4[Cr(CN)6]3 + KMnO4 + H2SO4 = K2Cr2O7 + MnSO4 + CO2 + KNO3 + K2SO4 + H2O",
        "Fe^2+ + MnO4^- + H^+ = Fe^3+ + Mn^2+ + H2O",
        "Zn+2 + e- = Zn",
        "CO = CO2",
        "C7H5(NO2)3 + Al + NH4NO3 = CO + H2O + N2",
        "C2H6 + O2 = H2O + CO2 + CO",
        "H2O2 + KMnO4 + H2SO4 = K2SO4 + MnSO4 + O2 + H2O",
        "5H2O2 + 2KMnO4 + 3H2SO4 = K2SO4 + 2MnSO4 + 5O2 + 8H2O",
        "KClO3 + HCl = KCl + Cl2 + ClO2 + H2O",
        "Cr2(SO4)3 + KMnO4 + H2SO4 = K2Cr2O7 + MnSO4 + K2SO4 + H2O",
        "1 Cr2(SO4)3 + 7KMnO4 + 8H2SO4 = 1K2Cr2O7 + 7MnSO4 + 1K2SO4 + 8H2O",
        "H2+½O2→H2O",
        "H2+O2->H2O2+H2O",
        "2H2+O2->2H2O",
        "2H2+3O2->2H2O",
        "Na+ + Cl- -> NaCl",
        "Na+Cl2->NaCl",
        "Fe3+ + e- -> Fe2+",
        "A -> B",
        "H2O -> ",
        "-> H2O",
        "H2 + O2",
        "H2 + + O2 -> H2O",
        "Fe^2+ -> Fe^3+",
        "Zn -> Zn^2+",
        "Na^+ -> Cl^-",
        "CaC2O4·H2O(s) -> CaC2O4 + H2O(g)",
        "H2O -> H2O",
        "Fe+3+e-->Fe+2",
        "Fe+3+e- ->Fe+2",
        "2H2+ O2 -> H2O",
        "2 CaSO4.H2O -> 2 CaSO4 + H2O",
        "Zn + 2HCl -> ZnCl2 + H2",
        "CO2 + H2O + N2 -> C6H12O6 + O2 + N2H4",
    ] {
        match Reaction::parse(text) {
            Err(e) => println!("{text}\n    PARSE {e:?}"),
            Ok(r) => {
                println!("{} \n  {} | {} | {}", r.text(), r.unicode(), r.typst(), r.spoken());
                match r.balance() {
                    Ok(b) => println!("   OK {} {:?}", b.reaction.text(), b.given),
                    Err(p) => println!("   {} / {}", p.message(), p.hint()),
                }
            }
        }
    }
}
