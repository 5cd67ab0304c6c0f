//! Statistics against certified and tabulated values.
//!
//! Data files in `statistics/`: the NIST Statistical Reference Datasets for univariate summary statistics (read in the
//! GNU Scientific Library's statistics/test_nist.c, with their certified values); `pennies.txt`, D. Harvey, Modern
//! Analytical Chemistry (2000), table 4.12; `flour.txt`, Analytical Methods Committee 1989, dataset chem of the R
//! package MASS; `student-t.tsv` and `grubbs.tsv`, computed with SciPy 1 (the second from the closed form).

use reweigh::quantity::{Decimal, Number};
use reweigh::statistics::{Agreement, Dixon, DixonLevel, DixonVerdict, Grubbs, GrubbsVerdict};
use reweigh::statistics::{dixon_critical, grubbs_critical, interval_of_mean, median, student_t};

fn file(name: &str) -> String {
    let path = format!("{}/tests/statistics/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn number(text: &str) -> Number {
    Decimal::parse(text, false).unwrap_or_else(|error| panic!("{text}: {error}")).to_number()
}

fn numbers(name: &str) -> Vec<Number> {
    file(name).split_whitespace().map(number).collect()
}

fn agreement(name: &str) -> Agreement {
    Agreement::of(&numbers(name)).unwrap().unwrap()
}

/// The certified values have 15 figures: all of them, not the 13 that binary floating point can be held to. NumAcc4
/// is beyond it (about 7 figures): 0.1 and 0.3 do not exist near 1e7 in binary.
#[test]
fn nist_reference_datasets() {
    let certified = [
        ("Lew.txt", 200, "-177.435000000000", "277.332168044316"),
        ("Lottery.txt", 218, "518.958715596330", "291.699727470969"),
        ("Mavro.txt", 50, "2.00185600000000", "0.000429123454003053"),
        ("Michelso.txt", 100, "299.852400000000", "0.0790105478190518"),
        ("PiDigits.txt", 5000, "4.53480000000000", "2.86733906028871"),
        ("NumAcc1.txt", 3, "10000002", "1"),
        ("NumAcc3.txt", 1001, "1000000.2", "0.1"),
        ("NumAcc4.txt", 1001, "10000000.2", "0.1"),
    ];
    for (name, n, mean, s) in certified {
        let found = agreement(name);
        assert_eq!(found.n, n, "{name}");
        assert_eq!(number(&found.mean.to_figures(15)), number(mean), "mean of {name}");
        assert_eq!(number(&found.s().unwrap().to_figures(15)), number(s), "s of {name}");
    }
}

#[test]
fn where_the_root_comes_out_s_is_exact() {
    for name in ["NumAcc3.txt", "NumAcc4.txt"] {
        let s = agreement(name).s().unwrap();
        assert!(s.is_exact() && s == Number::from_ratio(1, 10), "{name}");
    }
}

/// Harvey gives 3.095 g and 0.0346 g (from memory). The printed frequency table adds up to 110 (13 for 3 in the class
/// from 3.143 g, 15 and 23 for 14 and 24): a recount is what the data say.
#[test]
fn one_hundred_pennies() {
    let found = agreement("pennies.txt");
    assert_eq!(found.n, 100);
    assert!((found.mean.to_f64() - 3.095).abs() < 6e-4);
    assert!((found.s().unwrap().to_f64() - 0.0346).abs() < 5e-5);
    let masses: Vec<f64> = numbers("pennies.txt").iter().map(Number::to_f64).collect();
    let class = |from: f64| masses.iter().filter(|m| **m > from - 5e-4 && **m < from + 0.0185).count();
    let counts: Vec<usize> = (0..11).map(|index| class(2.991 + 0.019 * f64::from(index))).collect();
    assert_eq!(counts, [2, 0, 4, 19, 14, 24, 19, 12, 3, 1, 2]);
}

/// Harvey, table 4.1: median 3.107 g. Of the six smallest it is 3.1005, printed 3.101 on a course's slide.
#[test]
fn medians_of_pennies() {
    assert_eq!(median(&[3.080, 3.094, 3.107, 3.056, 3.112, 3.174, 3.198]), Some(3.107));
    assert!((median(&[3.080, 3.094, 3.107, 3.056, 3.112, 3.174]).unwrap() - 3.1005).abs() < 1e-12);
}

fn rows(name: &str) -> Vec<Vec<f64>> {
    let text = file(name);
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines.map(|line| line.split_whitespace().map(|cell| cell.parse().unwrap()).collect()).collect()
}

#[test]
fn quantiles_of_t_for_every_row_of_the_table() {
    let table = rows("student-t.tsv");
    assert_eq!(table.len(), 33);
    for row in table {
        for (probability, tabulated) in [0.90, 0.95, 0.98, 0.99, 0.999].into_iter().zip(&row[1..]) {
            let t = student_t(row[0], probability).unwrap();
            assert!((t - tabulated).abs() < 5.1e-5, "ν = {}, {probability}: {t} is not {tabulated}", row[0]);
        }
    }
}

/// Columns: one-sided 5, 2.5 and 1 %, two-sided 5 and 1 %. One-sided 2.5 % is two-sided 5 %.
#[test]
fn critical_values_of_grubbs_for_every_row_of_the_table() {
    let table = rows("grubbs.tsv");
    assert_eq!(table.len(), 28);
    for row in table {
        for (level, tabulated) in [0.10, 0.05, 0.02, 0.05, 0.01].into_iter().zip(&row[1..]) {
            let g = grubbs_critical(row[0] as usize, level).unwrap();
            assert!((g - tabulated).abs() < 5.1e-5, "n = {}, {level}: {g} is not {tabulated}", row[0]);
        }
    }
}

/// Two million simulated samples per n (standard error about 0.0005; fixed fixture): the table of 1991 is within 0.003
/// of them at 90 and 95 % and within 0.005 at 99 %. A one-sided column would be off by 0.03 or more.
#[test]
fn dixon_table_against_simulation() {
    let levels = [DixonLevel::Ninety, DixonLevel::NinetyFive, DixonLevel::NinetyNine];
    let table = rows("dixon-simulated.tsv");
    assert_eq!(table.len(), 8);
    for row in table {
        for ((level, simulated), within) in levels.into_iter().zip(&row[1..]).zip([0.0031, 0.0031, 0.0051]) {
            let critical = dixon_critical(row[0] as usize, level).unwrap().to_f64();
            assert!((critical - simulated).abs() < within, "n = {}: {critical}, {simulated}", row[0]);
        }
    }
}

/// The flour's 28.95 is beyond any critical value: G = 4.657 (computed), n = 24. Dixon's table ends at n = 10.
#[test]
fn copper_in_flour_has_an_outlier() {
    let grubbs = Grubbs::of(&numbers("flour.txt")).unwrap();
    assert!((grubbs.g - 4.657).abs() < 5e-4);
    assert_eq!((grubbs.suspect.index, grubbs.verdict), (16, GrubbsVerdict::Outlier));
    assert_eq!(Dixon::of(&numbers("flour.txt")), None);
}

/// Vogel, Textbook of Quantitative Chemical Analysis, 5th ed., 4.10, example 2: Q = 0.727, retained.
#[test]
fn cadmium_in_dust() {
    let dixon = Dixon::of(&["4.3", "4.1", "4.0", "3.2"].map(number)).unwrap();
    assert!((dixon.q.to_f64() - 0.727).abs() < 5e-4);
    assert_eq!(dixon.verdict, DixonVerdict::Within);
}

/// Harris, Quantitative Chemical Analysis, problem 4-5 (data from memory): mean 108.6, s 7.1, range 18.1, 90 %
/// interval ± 6.8. Trap: 3.1 for s/√n is a truncation, it is 3.2.
#[test]
fn a_problem_set() {
    let values = ["116.0", "97.9", "114.2", "106.8", "108.3"].map(number);
    let found = Agreement::of(&values).unwrap().unwrap();
    let s = found.s().unwrap().to_f64();
    assert!((found.mean.to_f64() - 108.64).abs() < 1e-9);
    assert!((s - 7.140).abs() < 5e-4);
    assert_eq!(found.range, number("18.1"));
    assert!((interval_of_mean(s, 5, 0.90).unwrap() - 6.8).abs() < 0.05);
    assert!((s / 5f64.sqrt() - 3.2).abs() < 0.05);
}
