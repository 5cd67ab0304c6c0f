//! Verdicts on results through whole notebooks: theory, limits, outliers, scatter.

use reweigh::evaluation::results::{QuantityResult, Results};
use reweigh::evaluation::verdicts::{ConformityVerdict, TheoryVerdict};
use reweigh::finding::{Code, Severity};
use reweigh::statistics::{DixonVerdict, GrubbsVerdict};

fn results(text: &str) -> Results {
    reweigh::compute("a.md", text.as_bytes(), &reweigh::files::Memory::default()).results
}

/// Trials of a measured `r` without uncertainty of its own worth naming, `w = r`, a theory, and keys of `experiment`.
fn notebook(keys: &str, values: &str, unit: &str, theory: &str) -> String {
    format!(
        "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n{keys}\n```\n\n```measured\nr: {values} ± 0 {unit}\n```\n\n\
         ```working\nw = r   in {unit}\n```\n\n```theory\n{theory}\n```\n"
    )
}

fn quantity<'a>(results: &'a Results, symbol: &str) -> &'a QuantityResult {
    results.quantities.iter().find(|quantity| quantity.symbol == symbol).unwrap()
}

fn verdict(text: &str) -> TheoryVerdict {
    let results = results(text);
    quantity(&results, "w").theory.as_ref().unwrap().test.as_ref().unwrap().verdict.clone()
}

/// 36.0, 36.2, 36.1 %: s = 0.1, s/√3 = 0.0577, t (95 %, 2 degrees of freedom) = 4.303, so U = 0.248.
const THREE: &str = "36.0 %  36.2 %  36.1 %";

#[test]
fn three_trials_against_an_exact_theory() {
    assert_eq!(verdict(&notebook("", THREE, "%", "w = 363/10 * 1 %")), TheoryVerdict::Agrees);
    assert_eq!(verdict(&notebook("", THREE, "%", "w = 364/10 * 1 %")), TheoryVerdict::Differs);
}

/// Harris, Quantitative Chemical Analysis, problem 4-5 (data from memory): the 90 % interval of five values is
/// 108.6 ± 6.8 (± 6.81). A theory just inside agrees, one just outside does not.
#[test]
fn the_interval_of_a_problem_set() {
    let five = "116.0 g/L  97.9 g/L  114.2 g/L  106.8 g/L  108.3 g/L";
    let at = |theory: &str| verdict(&notebook("coverage = \"90 %\"", five, "g/L", theory));
    assert_eq!(at("w = 11544/100 * 1 g/L"), TheoryVerdict::Agrees);
    assert_eq!(at("w = 11546/100 * 1 g/L"), TheoryVerdict::Differs);
}

/// ± 0.4 % rectangular is u = 0.231; with 0.0577 of the scatter u = 0.238, and with hundreds of effective degrees of
/// freedom U = 1.96 × 0.238 = 0.467: 36.4 % agrees, which it does not as an exact value. 36.6 % does not agree.
#[test]
fn a_theory_may_be_uncertain() {
    assert_eq!(verdict(&notebook("", THREE, "%", "w = 36.4 ± 0.4 %")), TheoryVerdict::Agrees);
    assert_eq!(verdict(&notebook("", THREE, "%", "w = 36.4 % ± 0.4 % rectangular")), TheoryVerdict::Agrees);
    assert_eq!(verdict(&notebook("", THREE, "%", "w = 36.6 ± 0.4 %")), TheoryVerdict::Differs);
    assert_eq!(verdict(&notebook("", THREE, "%", "w = 36.4 ± 0.4 % k = 2   in %")), TheoryVerdict::Agrees);
    let found = results(&notebook("", THREE, "%", "w = 36.4 ± 0.4 %"));
    let test = quantity(&found, "w").theory.as_ref().unwrap().test.clone().unwrap();
    assert!((test.evaluated.standard - 0.2380).abs() < 5e-4);
    assert!((test.evaluated.expanded - 0.467).abs() < 2e-3);
    let (difference, expanded) = test.printed.unwrap();
    assert_eq!((difference.ascii().as_str(), expanded.expanded.as_str()), ("-0.30", "0.47"));
}

#[test]
fn two_trials_are_too_few_to_say() {
    let weighed = "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n```\n```masses\nunit: g\ntrial: A B\nsample: 1.0000 \
                   1.0000\nash: 0.5000 0.5002\n```\n```working\nw = m(ash) / m(sample) in %\n```\n```theory\nw = 50 %\n```\n";
    assert_eq!(verdict(weighed), TheoryVerdict::TooFewTrials);
    let found = results(weighed);
    assert_eq!(quantity(&found, "w").scatter, None, "no balance states its repeatability");
    let three = weighed
        .replace("A B", "A B C")
        .replace("1.0000\nash", "1.0000 1.0000\nash")
        .replace("0.5002", "0.5002 0.5001");
    assert_eq!(verdict(&three), TheoryVerdict::Agrees);
}

/// With the standard deviation of the method stated, two trials can be judged: s/√2 of 0.02 % is 0.0141 %, with 24 degrees
/// of freedom U = 2.06 × 0.0141 = 0.029 %. 50.01 % agrees with 50.03 %, not with 50.05 %. Where it is said not to count,
/// nothing is judged.
#[test]
fn a_stated_repeatability_makes_two_trials_enough() {
    let text = |theory: &str, s: &str| {
        format!(
            "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n[method-repeatability]\nw = \"{s}\"\n```\n```masses\nunit: g\n\
             trial: A B\nsample: 1.0000 1.0000\nash: 0.5000 0.5002\n```\n```working\nw = m(ash) / m(sample) in %\n```\n\
             ```theory\nw = {theory} * 1 %\n```\n"
        )
    };
    assert_eq!(verdict(&text("5003/100", "0.02 % dof = 24")), TheoryVerdict::Agrees);
    assert_eq!(verdict(&text("5005/100", "0.02 % dof = 24")), TheoryVerdict::Differs);
    assert_eq!(verdict(&text("5003/100", "none")), TheoryVerdict::TooFewTrials);
}

/// The molar masses stand in result and theory alike. With r near 1 their uncertainty cancels: what is left is the
/// scatter, 0.0001/√3 of 0.0722 = 4.2e-6; either alone would bring 0.0722 × 1e-4 or so.
#[test]
fn what_result_and_theory_share_cancels() {
    let text = "```measured\nr: 1.0001 1.0002 1.0003 ± 0\n```\n```working\nw = r * M(H2O) / M(CuSO4·5H2O)\n```\n\
                ```theory\nw = M(H2O) / M(CuSO4·5H2O)\n```\n";
    let found = results(text);
    let test = quantity(&found, "w").theory.as_ref().unwrap().test.clone().unwrap();
    assert!((test.evaluated.standard / 4.166e-6 - 1.0).abs() < 0.01, "{}", test.evaluated.standard);
}

/// A theory that depends on the trial is compared trial by trial: 1.01, 2.02, 3.03 against 1, 2, 3 differ by 0.01,
/// 0.02, 0.03, mean 0.02, s/√3 = 0.00577, U = 0.0248.
#[test]
fn a_theory_for_each_trial() {
    let text = |theory: &str| {
        format!(
            "```measured\na: 1.01 g/L 2.02 g/L 3.03 g/L ± 0 g/L\nb: 1.00 g/L 2.00 g/L 3.00 g/L ± 0 g/L\n```\n\
             ```working\nw = a\n```\n```theory\nw = {theory}\n```\n"
        )
    };
    assert_eq!(verdict(&text("b")), TheoryVerdict::Agrees);
    assert_eq!(verdict(&text("b - 0.006 g/L")), TheoryVerdict::Differs);
}

#[test]
fn a_sign_of_uncertainty_needs_a_number() {
    for theory in ["w = 5 M(H2O) ± 0.2 %", "w = ± 0.2 %", "w = 36 % ±", "w = 36 % ± 0.2 g"] {
        let found = results(&notebook("", THREE, "%", theory));
        assert!(found.findings.iter().any(|finding| finding.severity == Severity::Error), "{theory}");
    }
}

fn held(limit: &str, values: &str) -> (ConformityVerdict, Option<f64>) {
    let keys = format!("[[limit]]\nof = \"w\"\n{limit}");
    let found = results(&notebook(&keys, values, "%", "w = 36 %"));
    let conformity = quantity(&found, "w").conformity.first().cloned().unwrap_or_else(|| {
        panic!("{limit}: {:?}", found.findings);
    });
    (conformity.verdict, conformity.probability_of_conformity)
}

/// The mean is 36.1 % with U = 0.248 %.
#[test]
fn a_limit_by_either_rule() {
    let simple = |limit: &str| held(&format!("{limit}\ndecision = \"simple acceptance\""), THREE).0;
    let guarded = |limit: &str| held(&format!("{limit}\ndecision = \"guard band\""), THREE).0;
    assert_eq!(simple("not-more-than = \"36.1 %\""), ConformityVerdict::Conforms);
    assert_eq!(simple("not-more-than = \"36.09 %\""), ConformityVerdict::DoesNotConform);
    assert_eq!(simple("not-less-than = \"36.2 %\""), ConformityVerdict::DoesNotConform);
    assert_eq!(guarded("not-more-than = \"36.2 %\""), ConformityVerdict::InGuardBand);
    assert_eq!(guarded("not-more-than = \"36.34 %\""), ConformityVerdict::InGuardBand);
    assert_eq!(guarded("not-more-than = \"36.35 %\""), ConformityVerdict::Conforms);
    assert_eq!(guarded("not-more-than = \"36.0 %\""), ConformityVerdict::DoesNotConform);
    assert_eq!(
        guarded("not-more-than = \"36.35 %\"\nnot-less-than = \"36.0 %\""),
        ConformityVerdict::InGuardBand
    );
}

/// By the words alone: a pure number's limits are pure numbers; of a result in per cent 0.2 may mean 0.2 % or 20 %.
#[test]
fn limits_without_a_unit_are_for_pure_numbers() {
    let keys = |number: &str| {
        format!(
            "repeatability = {{ \"w\" = \"{number}\" }}\n[[limit]]\nof = \"w\"\nnot-more-than = \"{number}\"\n\
             decision = \"simple acceptance\""
        )
    };
    let errors = |found: &Results| -> Vec<String> {
        let errors = found.findings.iter().filter(|finding| finding.severity == Severity::Error);
        errors.map(|finding| finding.message.clone()).collect()
    };
    let pure = notebook(&keys("36.1"), &THREE.replace('%', ""), "", "w = 36").replace("   in \n", "\n");
    let pure = results(&pure);
    let w = quantity(&pure, "w");
    assert_eq!(errors(&pure), Vec::<String>::new());
    assert_eq!(w.conformity[0].verdict, ConformityVerdict::Conforms);
    assert!(w.agreement.as_ref().unwrap().repeatability.as_ref().unwrap().1);
    let percent = results(&notebook(&keys("0.5"), THREE, "%", "w = 36 %"));
    let said = errors(&percent);
    assert!(
        said.len() == 2 && said.iter().all(|said| said.contains("no unit, and w is shown in %")),
        "{said:?}"
    );
}

/// Student's t with two degrees of freedom has the share 1/2 + t/(2 √(2 + t²)) below t; (36.2 − 36.1)/0.0577 = √3
/// gives 0.8873. For both limits at that distance it is 2 × 0.8873 − 1.
#[test]
fn the_probability_of_conformity() {
    let of = |limit: &str| held(&format!("{limit}\ndecision = \"simple acceptance\""), THREE).1.unwrap();
    assert!((of("not-more-than = \"36.2 %\"") - 0.8873).abs() < 1e-4);
    assert!((of("not-more-than = \"36.2 %\"\nnot-less-than = \"36.0 %\"") - 0.7746).abs() < 1e-4);
}

#[test]
fn limits_that_cannot_be_used_are_said() {
    let cases = [
        ("[[limit]]\nof = \"w\"\nnot-more-than = \"36 %\"", "decision"),
        ("[[limit]]\nof = \"w\"\ndecision = \"guard band\"", "not-more-than"),
        ("[[limit]]\nnot-more-than = \"36 %\"\ndecision = \"guard band\"", "`of`"),
        ("[[limit]]\nof = \"v\"\nnot-more-than = \"36 %\"\ndecision = \"guard band\"", "nothing defines"),
        ("[[limit]]\nof = \"w\"\nnot-more-than = \"36 mg\"\ndecision = \"guard band\"", "unit that fits"),
        ("[[limit]]\nof = \"w\"\nnot-more-than = \"36 %\"\ndecision = \"guard\"", "expected one of"),
        (
            "[[limit]]\nof = \"w\"\nnot-more-than = \"35 %\"\nnot-less-than = \"36 %\"\ndecision = \"guard band\"",
            "below",
        ),
        ("limit = 5", "whole number"),
    ];
    for (keys, words) in cases {
        let found = results(&notebook(keys, THREE, "%", "w = 36 %"));
        let said = found.findings.iter().any(|f| f.severity == Severity::Error && f.message.contains(words));
        assert!(said, "{keys}: {:?}", found.findings);
    }
}

/// D. B. Rorabacher 1991: five values, 95 %: 0.710. 12.56, 12.61, 12.63, 12.66 and 11.67: Q = 0.89/0.99 = 0.899;
/// G = 1.782 (worked by hand: mean 12.426, s 0.4242), critical at 1 %: 1.764.
#[test]
fn an_outlier_is_a_note_and_stays_in_the_mean() {
    let found = results(&notebook("", "12.56 %  12.61 %  12.63 %  12.66 %  11.67 %", "%", "w = 12 %"));
    let quantity = quantity(&found, "w");
    let advice = quantity.outliers.as_ref().unwrap();
    let (dixon, grubbs) = (advice.dixon.as_ref().unwrap(), advice.grubbs.as_ref().unwrap());
    assert_eq!((dixon.suspect.index, dixon.verdict), (4, DixonVerdict::Beyond));
    assert!((dixon.q.to_f64() - 0.899).abs() < 5e-4);
    assert_eq!((grubbs.suspect.index, grubbs.verdict), (4, GrubbsVerdict::Outlier));
    assert!((grubbs.g - 1.782).abs() < 1e-3);
    let notes: Vec<_> = found.findings.iter().filter(|finding| finding.code == Code::Outlier).collect();
    assert_eq!(notes.len(), 1);
    assert_eq!(notes[0].severity, Severity::Note);
    assert!(notes[0].message.contains("Rorabacher") && notes[0].message.contains("ISO 5725-2"));
    assert_eq!(quantity.agreement.as_ref().unwrap().numbers.n, 5);
}

/// A mass is as large as the portion taken: no outlier test, no scatter.
#[test]
fn what_grows_with_the_portion_is_not_tested() {
    let found = results("```measured\nr: 1.0 g 1.1 g 9.0 g ± 0 g\n```\n```working\nm_1 = r in g\n```\n");
    assert!(quantity(&found, "m_1").outliers.is_none());
    assert!(!found.findings.iter().any(|finding| finding.code == Code::Outlier));
}

fn weighed(ash: &str, repeatability: &str) -> Results {
    results(&format!(
        "```experiment\ntitle = \"A\"\ndate = 2026-05-06\n[balance.B]\nreadability = \"0.1 mg\"\n{repeatability}\n```\n\
         ```masses\nunit: g\nbalance: B\ntrial: A B C\nsample: 1.0000 1.0000 1.0000\nash: {ash}\n```\n```working\nw = \
         m(ash) / m(sample) in %\n```\n"
    ))
}

/// Two of three values are equal or nearly so in every third set of readings; where the third is within what the
/// readings can tell, the tests would cry out at nothing.
#[test]
fn within_the_readings_nothing_is_said() {
    let found = weighed("0.5000 0.5000 0.5002", "repeatability = \"0.1 mg\"");
    let advice = quantity(&found, "w").outliers.clone().unwrap();
    assert!(advice.within_readings);
    assert_eq!(advice.dixon.unwrap().verdict, DixonVerdict::Beyond);
    assert!(!found.findings.iter().any(|finding| finding.code == Code::Outlier));
}

/// u of one trial: 0.1 mg in each of two weighings, √(1 + 0.25) × 0.01 % = 0.0112 %; s of 50.00, 50.20, 50.40 % is
/// 0.2 %: 17.9 times.
#[test]
fn scatter_beyond_the_balance() {
    let found = weighed("0.5000 0.5020 0.5040", "repeatability = \"0.1 mg\"");
    let scatter = quantity(&found, "w").scatter.unwrap();
    assert!((scatter.ratio - 17.9).abs() < 0.05, "{}", scatter.ratio);
    assert!(scatter.dominates && found.findings.iter().any(|finding| finding.code == Code::Scatter));
    let near = weighed("0.5000 0.5001 0.5002", "repeatability = \"0.1 mg\"");
    assert!(!quantity(&near, "w").scatter.unwrap().dominates);
    assert!(quantity(&weighed("0.5000 0.5020 0.5040", ""), "w").scatter.is_none());
}

/// The critical range of three results is 3.3/2.8 of the limit r (ISO 5725-6, CR0.95): 0.4 × 3.3/2.8 = 0.4714…, 5 % of 36.1
/// makes 2.127…, 3 % of 978 makes 34.6. Printed to two figures or to the last place of the mean, the finer of the two;
/// a limit that stands as stated (n = 2) keeps its digits.
#[test]
fn the_limit_of_repeatability_is_printed_rounded() {
    let limit = |r: &str, values: &str| {
        let found = results(&notebook(&format!("[repeatability]\nw = \"{r}\""), values, "%", "w = 36 %"));
        let agreement = quantity(&found, "w").agreement.clone().unwrap();
        agreement.repeatability.unwrap().0.printed.ascii()
    };
    assert_eq!(limit("0.4 %", THREE), "0.47");
    assert_eq!(limit("relative 5 %", THREE), "2.1");
    assert_eq!(limit("200 %", "978 % 977 % 979 %"), "236");
    assert_eq!(limit("2 %", "36.0 % 36.2 %"), "2");
}
