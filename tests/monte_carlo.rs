//! Monte Carlo draws against JCGM 101:2008, against values in closed form, and whatever the number of cores.
//!
//! The inputs of the clause 9 examples are as published; their printed results are from memory, and each one was
//! confirmed by the closed form beside it or by a simulation in another language.

use reweigh::evaluation::results::Results;
use reweigh::evaluation::uncertainty::monte_carlo::{Checked, Drawn, Verdict};
use reweigh::files::Folder;
use reweigh::finding::{Finding, Severity};

/// A notebook of measured lines and one working line.
fn results(keys: &str, measured: &str, working: &str) -> Results {
    let notebook = format!(
        "# Draws\n\n```experiment\ntitle = \"Draws\"\ndate = 2026-03-04\n{keys}\n```\n\n```measured\n{measured}\n```\n\n\
         ```working\n{working}\n```\n"
    );
    reweigh::compute("draws.md", notebook.as_bytes(), &Folder::new(env!("CARGO_MANIFEST_DIR"))).results
}

fn only(results: &Results) -> &Checked {
    let errors: Vec<&Finding> = results.findings.iter().filter(|f| f.severity == Severity::Error).collect();
    assert!(errors.is_empty(), "{errors:?}");
    let checked = &results.monte_carlo.as_ref().expect("draws").checked;
    assert_eq!(checked.len(), 1);
    &checked[0]
}

fn u(drawn: &Drawn) -> f64 {
    drawn.standard_uncertainty.expect("a standard uncertainty")
}

fn assert_near(value: f64, expected: f64, within: f64) {
    assert!((value - expected).abs() <= within, "{value} is not {expected} within {within}");
}

const SUM: &str = "Y = X_1 + X_2 + X_3 + X_4";

fn four(first_three: &str, fourth: &str) -> String {
    format!("X_1: 0 {first_three}\nX_2: 0 {first_three}\nX_3: 0 {first_three}\nX_4: 0 {fourth}")
}

// 9.2.2: four standard normal inputs: u = 2.00, [−3.92, 3.92] (exact: 1.95996 × 2). 200,000 draws fix an end to 0.024
// (one standard deviation: √(0.025 × 0.975 / M) over the density there).
#[test]
fn four_normal_inputs() {
    let results = results("monte-carlo = { draws = 200_000 }", &four("± 1 normal", "± 1 normal"), SUM);
    let Checked { drawn, validation, .. } = only(&results);
    assert_eq!((drawn.draws, drawn.without_value), (200_000, 0));
    assert_near(drawn.mean.unwrap(), 0.0, 0.018);
    assert_near(u(drawn), 2.0, 0.013);
    let interval = drawn.symmetric.unwrap();
    assert_near(interval.low, -3.92, 0.05);
    assert_near(interval.high, 3.92, 0.05);
    assert_eq!(validation.unwrap().verdict, Verdict::Agrees);
}

// 9.2.3: four rectangular inputs of standard deviation 1: u = 2.00, [−3.88, 3.88]; 9.2.4: the fourth ten times as
// wide: u = 10.1 (exact: √103), [−17.0, 17.0], while first order has [−19.9, 19.9], which is not validated.
#[test]
fn rectangular_inputs() {
    let narrow = "± 1.7320508 rectangular";
    let equal = results("monte-carlo = { draws = 200_000 }", &four(narrow, narrow), SUM);
    let Checked { drawn, validation, .. } = only(&equal);
    assert_near(u(drawn), 2.0, 0.012);
    assert_near(drawn.symmetric.unwrap().high, 3.88, 0.04);
    assert_near(drawn.symmetric.unwrap().low, -3.88, 0.04);
    assert_eq!(validation.unwrap().verdict, Verdict::Agrees);

    let keys = "monte-carlo = { draws = 200_000, digits = 2 }";
    let one_wide = results(keys, &four(narrow, "± 17.320508 rectangular"), SUM);
    let Checked { drawn, validation, .. } = only(&one_wide);
    assert_near(u(drawn), 103f64.sqrt(), 0.05);
    assert_near(drawn.symmetric.unwrap().high, 17.0, 0.1);
    let validation = validation.unwrap();
    assert_near(validation.first_order.high, 19.9, 0.05);
    assert_near(validation.tolerance, 0.5, 1e-12);
    assert_eq!(validation.verdict, Verdict::Differs);
}

const MASSES: &str = "m_R: 100000.000 mg ± 0.050 mg normal\n\
                      d_R: 1.234 mg ± 0.020 mg normal\n\
                      rho_a: 1.20 kg/m^3 ± 0.10 kg/m^3 rectangular\n\
                      rho_W: 8000 kg/m^3 ± 1000 kg/m^3 rectangular\n\
                      rho_R: 8000 kg/m^3 ± 50 kg/m^3 rectangular";
const DIFFERENCE: &str =
    "d_m = (m_R + d_R) * (1 + (rho_a - 1200 g/m^3) * (1/rho_W - 1/rho_R)) - 100 g   in mg";

// 9.3, calibration of a mass standard: first order 1.2340 mg, u = 0.0539 mg, [1.1285, 1.3395] mg; draws 1.2341 mg,
// 0.0754 mg, shortest interval [1.0834, 1.3825] mg; δ = 0.005 mg, and the first-order result is not validated.
// With the second-order terms u is 0.0750 mg, [1.0870, 1.3810] mg, and it is.
#[test]
fn mass_calibration() {
    let results_of = |keys: &str| results(keys, MASSES, DIFFERENCE);
    let first = results_of("monte-carlo = { draws = 400_000 }");
    let Checked { drawn, validation, .. } = only(&first);
    assert_near(drawn.mean.unwrap(), 1.2341, 5e-4);
    assert_near(u(drawn), 0.0754, 3e-4);
    let shortest = drawn.shortest.unwrap();
    assert_near(shortest.low, 1.0834, 0.005);
    assert_near(shortest.high, 1.3825, 0.005);
    let validation = validation.unwrap();
    assert_near(validation.standard, 0.0539, 5e-5);
    assert_near(validation.first_order.low, 1.1285, 1e-4);
    assert_near(validation.first_order.high, 1.3395, 1e-4);
    assert_near(validation.tolerance, 0.005, 1e-12);
    assert_eq!(validation.verdict, Verdict::Differs);
    // Its u differs by more than δ, not only its interval: that is a warning.
    let found: Vec<&Finding> =
        first.findings.iter().filter(|finding| finding.code.text() == "monte-carlo").collect();
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].severity, Severity::Warning);

    let second = results_of("monte-carlo = { draws = 400_000 }\nsecond-order = true");
    let validation = only(&second).validation.unwrap();
    assert_near(validation.standard, 0.0750, 5e-5);
    assert_near(validation.first_order.low, 1.0870, 1e-4);
    assert_near(validation.first_order.high, 1.3810, 1e-4);
    assert_eq!(validation.verdict, Verdict::Agrees);
}

fn comparison_loss(x: &str) -> Results {
    let measured = format!("x_1: {x} ± 0.005 normal\nx_2: 0 ± 0.005 normal");
    results("monte-carlo = { draws = 400_000 }", &measured, "y = x_1^2 + x_2^2")
}

// 9.4, comparison loss, without correlation, in units of 10⁻⁶: at x₁ = 0 first order has u = 0, draws 50 ± 50 and the
// shortest interval [0, 150]; at 0.010 u = 100 and 112, [0, 367]; at 0.050 u = 500 and 502, [1590, 3543]. Exact: the
// mean is x₁² + 2σ², the variance 4σ⁴ + 4x₁²σ² (noncentral χ²), and at x₁ = 0 the shortest interval ends at
// −2σ² ln 0.05 = 149.8 (exponential distribution).
#[test]
fn comparison_loss_without_correlation() {
    for (x, mean, standard, low, high, first) in [
        ("0", 50.0, 50.0, 0.0, 150.0, 0.0),
        ("0.010", 150.0, 112.0, 0.0, 367.0, 100.0),
        ("0.050", 2550.0, 502.0, 1590.0, 3543.0, 500.0),
    ] {
        let results = comparison_loss(x);
        let Checked { drawn, validation, .. } = only(&results);
        assert_near(drawn.mean.unwrap() * 1e6, mean, 0.008 * standard + 0.5);
        assert_near(u(drawn) * 1e6, standard, 0.01 * standard);
        let shortest = drawn.shortest.unwrap();
        assert_near(shortest.low * 1e6, low, 0.04 * standard);
        assert_near(shortest.high * 1e6, high, 0.04 * standard);
        let validation = validation.unwrap();
        assert_near(validation.standard * 1e6, first, 1e-6 + 1e-9 * first);
        assert_eq!(validation.verdict, Verdict::Differs, "at {x}");
    }
}

// 9.4 with a correlation of 0.9: u = 67, 121 and 505, shortest intervals [0, 185], [13, 398] and [1628, 3555], in units
// of 10⁻⁶ (confirmed by four million draws in numpy). Exact: the variance is 4σ⁴(1 + r²) + 4x₁²σ².
#[test]
fn comparison_loss_with_correlation() {
    let keys = "monte-carlo = { draws = 400_000 }\n\n[[correlation]]\nbetween = [\"x_1\", \"x_2\"]\ncoefficient = 0.9";
    for (x, standard, low, high) in
        [("0", 67.0, 0.0, 185.0), ("0.010", 121.0, 13.0, 398.0), ("0.050", 505.0, 1628.0, 3555.0)]
    {
        let measured = format!("x_1: {x} ± 0.005 normal\nx_2: 0 ± 0.005 normal");
        let results = results(keys, &measured, "y = x_1^2 + x_2^2");
        let drawn = &only(&results).drawn;
        assert_near(u(drawn) * 1e6, standard, 0.012 * standard);
        let shortest = drawn.shortest.unwrap();
        assert_near(shortest.low * 1e6, low, 0.05 * standard);
        assert_near(shortest.high * 1e6, high, 0.05 * standard);
    }
}

const GAUGE: &str = "l_s: 50000623 nm ± 75 nm k = 3 dof = 18\n\
    difference: 215 nm ± 5.8 nm normal dof = 24 (a) ± 3.9 nm normal dof = 5 (b) ± 6.7 nm normal dof = 8 (c)\n\
    alpha: 0.0000115 K^-1 ± 0.000002 K^-1 rectangular\n\
    dalpha: 0 K^-1 ± 0.000001 K^-1 rectangular dof = 50\n\
    theta: -0.1 K ± 0.2 K normal (mean) ± 0.5 K arcsine (cycle)\n\
    dtheta: 0 K ± 0.05 K rectangular dof = 2";

// JCGM 100, H.1 by draws: few degrees of freedom are Student's t. Variances in closed form, in nm²: 25² × 18/16 +
// 5.8² × 24/22 + 3.9² × 5/3 + 6.7² × 8/6 + (l α)² 0.05²/3 + the two products 144.4 (33.911² − 31.71²) come to
// 35.3² (numpy: 35.34, [745.9, 930.2] above 50 mm). First order has 32 nm, but its k = 2.92 of Student's t reaches as
// far: clause 8 compares intervals, and they agree.
#[test]
fn end_gauge_with_few_degrees_of_freedom() {
    let working = "length = l_s + difference - l_s * (dalpha * theta + alpha * dtheta)  in nm";
    let results = results("coverage = \"99 %\"\nmonte-carlo = { draws = 400_000 }", GAUGE, working);
    let Checked { drawn, validation, .. } = only(&results);
    assert_near(drawn.mean.unwrap(), 50_000_838.0, 0.3);
    assert_near(u(drawn), 35.3, 0.25);
    let validation = validation.unwrap();
    assert_near(validation.standard, 31.7, 0.05);
    let interval = drawn.symmetric.unwrap();
    assert_near(interval.low, 50_000_745.9, 1.5);
    assert_near(interval.high, 50_000_930.2, 1.5);
    assert_eq!(validation.verdict, Verdict::Agrees);
}

// One digit of u has to be settled: δ of 0.05 at least, so few draws do; two digits take more, and all are stable.
#[test]
fn as_many_draws_as_the_digits_need() {
    let drawn_with = |keys: &str| {
        let results = results(keys, &four("± 1 normal", "± 1 normal"), SUM);
        only(&results).drawn.clone()
    };
    let one = drawn_with("monte-carlo = true");
    assert!(one.stable && one.draws <= 200_000, "{one:?}");
    let tight = drawn_with("monte-carlo = { digits = 2, draws = 100_000 }");
    assert!(!tight.stable);
    assert_near(tight.tolerance, 0.05, 1e-12);
}

// P(x < 0) of a normal x of mean 1 and standard deviation 1 is 15.866 %: there ln x has no value.
#[test]
fn draws_without_a_value_are_counted_and_told() {
    let results = results("monte-carlo = { draws = 200_000 }", "x: 1 ± 1 normal", "y = ln(x)");
    let drawn = &only(&results).drawn;
    assert_near(drawn.without_value as f64 / drawn.draws as f64, 0.158_66, 0.0035);
    let told = results.findings.iter().find(|finding| finding.message.contains("have no value")).unwrap();
    assert_eq!(told.severity, Severity::Warning);
}

// A quotient of two normal values around zero has neither mean nor standard deviation: no number of draws settles
// them, and that is told.
#[test]
fn what_has_no_mean_is_never_stable() {
    let keys = "monte-carlo = { draws = 200_000 }";
    let results = results(keys, "a: 1 ± 1 normal\nb: 1 ± 1 normal", "y = a / b");
    assert!(!only(&results).drawn.stable);
    assert!(results.findings.iter().any(|finding| finding.message.contains("not stable")));
}

#[test]
fn the_same_on_any_number_of_cores_and_another_with_another_seed() {
    let drawn = |threads: usize, keys: &str| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| results(keys, MASSES, DIFFERENCE).monte_carlo.unwrap())
    };
    let keys = "monte-carlo = true\nseed = 11";
    let one = drawn(1, keys);
    assert_eq!(one, drawn(3, keys));
    assert_eq!(one.plan.seed, 11);
    assert_ne!(one.checked[0].drawn.mean, drawn(1, "monte-carlo = true\nseed = 12").checked[0].drawn.mean);
}

#[test]
fn nothing_is_drawn_unless_asked_for() {
    for keys in ["", "monte-carlo = false", "uncertainty = \"full\"\nmonte-carlo = false"] {
        assert_eq!(results(keys, MASSES, DIFFERENCE).monte_carlo, None);
    }
    assert!(results("uncertainty = \"full\"", MASSES, DIFFERENCE).monte_carlo.is_some());
}
