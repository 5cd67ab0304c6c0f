//! The correction for air buoyancy through whole notebooks.

use reweigh::evaluation::results::{AirResult, Results};
use reweigh::finding::{Code, Severity};

fn results(text: &str) -> Results {
    reweigh::compute("a.md", text.as_bytes(), &reweigh::files::Memory::default()).results
}

fn notebook(buoyancy: &str) -> String {
    format!(
        "# A\n\n```experiment\ntitle = \"A\"\ndate = 2026-05-06\n{buoyancy}\n```\n\n```masses\nunit: g\ntrial: A\n\
         crucible: 18.2746\ncrucible + sample: 19.3127\n```\n\n```working\nby_hand = m(crucible + sample) - m(crucible)\n\
         ratio = by_hand / m(sample)\n```\n"
    )
}

const ROOM: &str = r#"
[buoyancy]
temperature = "20.00 °C ± 0.2 °C"
pressure    = "1013.25 ± 0.5 hPa"
humidity    = "50 % ± 5 %"
[buoyancy.density]
sample = "2.32 g/cm^3"
"#;

fn value(results: &Results, symbol: &str) -> f64 {
    let quantity = results.quantities.iter().find(|quantity| quantity.symbol == symbol).unwrap();
    quantity.trials[0].value().unwrap().number.to_f64()
}

fn uncertainty(results: &Results, symbol: &str) -> f64 {
    let quantity = results.quantities.iter().find(|quantity| quantity.symbol == symbol).unwrap();
    quantity.trials[0].value().unwrap().evaluated.unwrap().standard
}

fn grave(results: &Results) -> Vec<(Code, String)> {
    let grave = results.findings.iter().filter(|finding| finding.severity != Severity::Note);
    grave.map(|finding| (finding.code, finding.message.clone())).collect()
}

/// The density of the air by CIPM-2007 at 20 °C, 1013.25 hPa and 50 % is 1.199314 kg/m³ (own evaluation of the
/// published equation), by the simplified form of OIML R 111-1 1.1993 kg/m³.
#[test]
fn the_air_of_the_room() {
    let found = results(&notebook(ROOM));
    assert_eq!(grave(&found), []);
    let buoyancy = found.buoyancy.as_ref().unwrap();
    assert!((buoyancy.density.number.to_f64() - 1.199_314).abs() < 1e-6);
    let AirResult::Cipm2007 { conditions, simplified } = &buoyancy.air else { panic!("not by CIPM-2007") };
    assert_eq!(conditions.len(), 3);
    assert!((simplified.unwrap() - 1.199_29).abs() < 1e-5);
    // ∂ρ/∂t ≈ −ρ/T and the vapour's −0.0011/5 % … by differences of the equation: 0.2/√3 K → 5.1e-4, 0.5/√3 hPa →
    // 3.4e-4, 5/√3 % → 3.0e-4 kg/m³, together 6.9e-4.
    assert!((buoyancy.density_uncertainty - 6.9e-4).abs() < 0.3e-4, "{}", buoyancy.density_uncertainty);
}

/// 1.0381 g × (1 − 1.199314/8000)/(1 − 1.199314/2320) = 1.038482 g. The vessel has no density: it cancels.
#[test]
fn the_tare_cancels() {
    let found = results(&notebook(ROOM));
    assert!((value(&found, "m(sample)") - 1.038_481).abs() < 2e-6, "{}", value(&found, "m(sample)"));
    assert!((value(&found, "by_hand") - value(&found, "m(sample)")).abs() < 1e-15);
    assert!((value(&found, "ratio") - 1.0).abs() < 1e-15);
    let sample = found.quantities.iter().find(|quantity| quantity.symbol == "m(sample)").unwrap();
    assert_eq!(sample.trials[0].value().unwrap().printed.ascii(), "1.0385");
}

/// A vessel with a density changes its own mass, not the sample's.
#[test]
fn a_vessel_may_be_corrected_too() {
    let both = ROOM.to_owned() + "crucible = \"2.4 g/cm^3\"\n";
    let (plain, found) = (results(&notebook(ROOM)), results(&notebook(&both)));
    assert!((value(&plain, "m(sample)") - value(&found, "m(sample)")).abs() < 1e-15);
    assert!((value(&found, "by_hand") - value(&found, "m(sample)")).abs() < 1e-15);
}

/// Air of 1.2 ± 0.1 kg/m³ (standard uncertainty) moves 1 g of water by 0.1 × (1/997.3 − 1/8000) g = 0.088 mg.
#[test]
fn the_air_is_in_the_uncertainty() {
    let given = |u: &str| {
        let block = format!(
            "[buoyancy]\nair-density = \"1.2 kg/m^3 ± {u} kg/m^3 normal\"\n[buoyancy.density]\nsample = \"997.3 kg/m^3 ± 0 kg/m^3\"\n"
        );
        uncertainty(&results(&notebook(&block)), "m(sample)")
    };
    let (still, moved) = (given("0.0"), given("0.1"));
    let of_air = (moved.powi(2) - still.powi(2)).sqrt();
    assert!((of_air - 1.0385 * 0.0878e-3).abs() < 1e-6, "{of_air}");
}

/// By difference: what is left in the bottle is never known, and does not have to be.
#[test]
fn weighing_by_difference() {
    let text = "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n[buoyancy]\nair-density = \"1.20 kg/m^3\"\n\
                [buoyancy.density]\nsample = \"2.00 g/mL\"\n```\n\n```masses\nunit: g\nbottle + rest + sample: 30.0000\n\
                bottle + rest: 29.0000\n```\n";
    // (1 − 1.2/8000)/(1 − 1.2/2000) = 1.000450
    assert!((value(&results(text), "m(sample)") - 1.000_450).abs() < 1e-6);
}

#[test]
fn what_cannot_be_corrected_is_said() {
    let cases = [
        ("buoyancy = true", Code::BadSetting, "yes or no"),
        ("[buoyancy]\nair-density = \"1.2 kg/m^3\"\n", Code::Buoyancy, "no density"),
        ("[buoyancy.density]\nsample = \"2.32 g/cm^3\"\n", Code::Buoyancy, "nothing is said of the air"),
        ("[buoyancy]\nweights = \"8000 kg/m^3\"\n", Code::Buoyancy, "no density"),
        (&ROOM.replace("humidity", "humidty"), Code::UnknownKey, "humidty"),
        (&ROOM.replace("humidity    = \"50 % ± 5 %\"", ""), Code::BadSetting, "needs `humidity`"),
        (&ROOM.replace("50 % ±", "150 % ±"), Code::BadSetting, "between 0 and 100 %"),
        (&ROOM.replace("hPa", "kg"), Code::BadSetting, "pressure"),
        (&ROOM.replace("1013.25", "0"), Code::BadSetting, "not above zero"),
        (&ROOM.replace("1013.25", "101.325"), Code::Buoyancy, "101.3 hPa"),
        (&ROOM.replace("2.32 g/cm^3", "0.0011 g/cm^3"), Code::Buoyancy, "no denser than the air"),
        (&ROOM.replace("2.32 g/cm^3", "-2.32 g/cm^3"), Code::BadSetting, "not above zero"),
        (&ROOM.replace("2.32 g/cm^3", "heavy"), Code::BadSetting, "expected a number"),
        (&ROOM.replace("sample =", "smaple ="), Code::Buoyancy, "in no load"),
        (
            &ROOM.replace("temperature", "air-density = \"1.2 kg/m^3\"\ntemperature"),
            Code::BadSetting,
            "two statements",
        ),
    ];
    for (block, code, words) in cases {
        let found = grave(&results(&notebook(block)));
        assert!(
            found.iter().any(|(other, message)| *other == code && message.contains(words)),
            "{block}: {found:?}"
        );
    }
}

/// Where the correction cannot be made the masses stay as weighed, and the finding is an error.
#[test]
fn without_a_correction_masses_stay_as_weighed() {
    let found = results(&notebook(&ROOM.replace("2.32 g/cm^3", "0.0011 g/cm^3")));
    assert!(found.buoyancy.is_none());
    assert!((value(&found, "m(sample)") - 1.0381).abs() < 1e-12);
    assert!(found.findings.iter().any(|finding| finding.severity == Severity::Error));
}
