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
