//! Whether one of a few values lies too far from the others: Dixon's Q and Grubbs' G. Advice only: a value is
//! set aside by a person who knows a reason, never by a test.

use super::agreement::Agreement;
use super::student::student_t;
use crate::quantity::Number;
use std::sync::OnceLock;

/// The table that the critical values of Q are taken from.
pub const DIXON_TABLE: &str = "Dixon Q, r10, two-sided 95 %: Rorabacher 1991, table 1";
/// How the critical values of G are had.
pub const GRUBBS_TABLE: &str =
    "Grubbs G, one value, two-sided 5 % and 1 %: ISO 5725-2, computed from Student's t";

/// D. B. Rorabacher, Anal. Chem. 63 (1991) 139, table 1, r10 for n = 3 … 10: two-sided 90, 95 and 99 % in
/// thousandths. The same numbers are one-sided 95, 97.5 and 99.5 %. They were interpolated from Dixon's, and some
/// are off by up to 0.005 from simulation.
const DIXON: [[i64; 3]; 8] = [
    [941, 970, 994],
    [765, 829, 926],
    [642, 710, 821],
    [560, 625, 740],
    [507, 568, 680],
    [468, 526, 634],
    [437, 493, 598],
    [412, 466, 568],
];

/// How near to the critical value a Q says nothing either way: the doubt of the table itself, in thousandths.
const DIXON_DOUBT: i64 = 5;

/// A two-sided level of Dixon's table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DixonLevel {
    /// 90 %, as many textbooks use it.
    Ninety,
    /// 95 %
    NinetyFive,
    /// 99 %
    NinetyNine,
}

/// The critical value of Q for n values by [`DIXON_TABLE`]; `None` outside n = 3 … 10.
pub fn dixon_critical(n: usize, level: DixonLevel) -> Option<Number> {
    let row = DIXON.get(n.checked_sub(3)?)?;
    let column = match level {
        DixonLevel::Ninety => 0,
        DixonLevel::NinetyFive => 1,
        DixonLevel::NinetyNine => 2,
    };
    Some(Number::from_ratio(row[column], 1000))
}

/// Which value a test looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Suspect {
    /// Its index among the values tested.
    pub index: usize,
    /// Whether it is the largest; else the smallest.
    pub largest: bool,
}

/// What Dixon's test finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DixonVerdict {
    /// Q is not above the critical value.
    Within,
    /// Q is nearer to the critical value than the table is certain.
    Borderline,
    /// Q is above the critical value.
    Beyond,
}

/// Dixon's test of the value with the larger gap to its neighbour.
#[derive(Clone, Debug, PartialEq)]
pub struct Dixon {
    /// The value tested.
    pub suspect: Suspect,
    /// Gap to the neighbour over the range; exact.
    pub q: Number,
    /// The critical value, two-sided 95 %.
    pub critical: Number,
    /// What follows.
    pub verdict: DixonVerdict,
}

impl Dixon {
    /// The test of the values, exactly; `None` outside n = 3 … 10 or without any scatter.
    pub fn of(values: &[Number]) -> Option<Self> {
        let critical = dixon_critical(values.len(), DixonLevel::NinetyFive)?;
        let mut order: Vec<usize> = (0..values.len()).collect();
        order.sort_by(|a, b| values[*a].cmp(&values[*b]));
        let [smallest, next, before, largest] = four(&order)?;
        let gap = |upper: usize, lower: usize| values[upper].sub(&values[lower]).ok();
        let (low, high) = (gap(next, smallest)?, gap(largest, before)?);
        let up = high >= low;
        let q = if up { high } else { low }.div(&gap(largest, smallest)?).ok()?;
        let suspect = Suspect { index: if up { largest } else { smallest }, largest: up };
        let verdict = dixon_verdict(&q, &critical)?;
        Some(Dixon { suspect, q, critical, verdict })
    }
}

/// Smallest, next, next to largest, largest; of three values the two in the middle are one.
fn four(order: &[usize]) -> Option<[usize; 4]> {
    let n = order.len();
    (n >= 3).then(|| [order[0], order[1], order[n - 2], order[n - 1]])
}

fn dixon_verdict(q: &Number, critical: &Number) -> Option<DixonVerdict> {
    let off = q.sub(critical).ok()?;
    Some(if off.abs() <= Number::from_ratio(DIXON_DOUBT, 1000) {
        DixonVerdict::Borderline
    } else if off.is_negative() {
        DixonVerdict::Within
    } else {
        DixonVerdict::Beyond
    })
}

/// The critical value of G = |suspect − mean|/s for n values, two-sided at `level` (0.05, 0.01):
/// (n − 1)/√n × √(t²/(n − 2 + t²)) with t the quantile of Student's t of n − 2 degrees of freedom at
/// 1 − level/(2n) (F. E. Grubbs, Technometrics 11 (1969) 1; the table of ISO 5725-2 to its last digit).
/// `None` for fewer than three values.
pub fn grubbs_critical(n: usize, level: f64) -> Option<f64> {
    let freedom = n.checked_sub(2).filter(|freedom| *freedom > 0)? as f64;
    let count = n as f64;
    let t = student_t(freedom, 1.0 - level / count)?;
    Some((count - 1.0) / count.sqrt() * (t * t / (freedom + t * t)).sqrt())
}

/// The critical values of G for n values at 5 % and 1 %. Those of few values are worked out once.
fn grubbs_criticals(n: usize) -> Option<(f64, f64)> {
    static FEW: [OnceLock<Option<(f64, f64)>>; 64] = [const { OnceLock::new() }; 64];
    let both = || grubbs_critical(n, 0.05).zip(grubbs_critical(n, 0.01));
    FEW.get(n).map_or_else(both, |known| *known.get_or_init(both))
}

/// What Grubbs' test finds, in the words of ISO 5725-2, 7.3.4.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GrubbsVerdict {
    /// Not beyond the critical value at 5 %.
    Within,
    /// Beyond it at 5 %, not at 1 %.
    Straggler,
    /// Beyond it at 1 %.
    Outlier,
}

/// Grubbs' test of the value that is farthest from the mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Grubbs {
    /// The value tested.
    pub suspect: Suspect,
    /// |suspect − mean|/s.
    pub g: f64,
    /// The critical value at 5 %.
    pub critical_5: f64,
    /// The critical value at 1 %.
    pub critical_1: f64,
    /// What follows.
    pub verdict: GrubbsVerdict,
}

impl Grubbs {
    /// The test of the values; `None` for fewer than three, or without any scatter.
    pub fn of(values: &[Number]) -> Option<Self> {
        let agreement = Agreement::of(values).ok()??;
        let s = agreement.s_as_double().filter(|s| *s != 0.0)?;
        let away = |index: &usize| values[*index].sub(&agreement.mean).ok();
        let farthest = |a: &usize, b: &usize| away(a).map(|d| d.abs()).cmp(&away(b).map(|d| d.abs()));
        let index = (0..values.len()).max_by(farthest)?;
        let off = away(&index)?;
        let g = off.abs().to_f64() / s;
        let (critical_5, critical_1) = grubbs_criticals(values.len())?;
        let verdict = match g {
            g if g > critical_1 => GrubbsVerdict::Outlier,
            g if g > critical_5 => GrubbsVerdict::Straggler,
            _ => GrubbsVerdict::Within,
        };
        let suspect = Suspect { index, largest: !off.is_negative() };
        Some(Grubbs { suspect, g, critical_5, critical_1, verdict })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Decimal;

    fn numbers(text: &str) -> Vec<Number> {
        text.split(' ').map(|text| Decimal::parse(text, false).unwrap().to_number()).collect()
    }

    // Vogel, Textbook of Quantitative Chemical Analysis, 5th ed., 4.10, example 2: cadmium in dust, Q = 0.727, retained
    // (its table has 0.831 for n = 4; Rorabacher's has 0.829).
    #[test]
    fn cadmium_in_dust_is_retained() {
        let dixon = Dixon::of(&numbers("4.3 4.1 4.0 3.2")).unwrap();
        assert_eq!(dixon.q, Number::from_ratio(8, 11));
        assert_eq!(dixon.suspect, Suspect { index: 3, largest: false });
        assert_eq!(dixon.verdict, DixonVerdict::Within);
        assert!((dixon.critical.to_f64() - 0.831).abs() < 0.003);
    }

    // D. B. Rorabacher, Anal. Chem. 63 (1991) 139, table 1, r10 (as in the R package `outliers`, qdixon).
    // Trap: 0.466 (n = 10) is 95 % two-sided and 97.5 % one-sided; the 90 % column is the one of many textbooks
    // (Harris: 0.76 for n = 4).
    #[test]
    fn the_columns_are_two_sided() {
        let critical = |n, level| dixon_critical(n, level).unwrap();
        assert_eq!(critical(10, DixonLevel::NinetyFive), Number::from_ratio(466, 1000));
        assert_eq!(critical(4, DixonLevel::NinetyNine), Number::from_ratio(926, 1000));
        assert!((critical(4, DixonLevel::Ninety).to_f64() - 0.76).abs() < 0.0051);
        assert_eq!(dixon_critical(2, DixonLevel::NinetyFive), None);
        assert_eq!(dixon_critical(11, DixonLevel::NinetyFive), None);
    }

    // The table was interpolated: simulations put n = 6, 95 % at 0.628 where it has 0.625.
    #[test]
    fn near_the_limit_the_table_decides_nothing() {
        // Gap 626 of a range of 1000.
        let dixon = Dixon::of(&numbers("0 10 20 30 374 1000")).unwrap();
        assert_eq!(dixon.q, Number::from_ratio(626, 1000));
        assert_eq!(dixon.verdict, DixonVerdict::Borderline);
        assert_eq!(Dixon::of(&numbers("0 10 20 30 350 1000")).unwrap().verdict, DixonVerdict::Beyond);
    }

    // Grubbs' critical values: 2.290 (n = 10, two-sided 5 %) in the solutions manual of D. Harvey, Analytical
    // Chemistry 2.1; 2.032 (n = 8, one-sided 5 %, so two-sided 10 %) in the NIST/SEMATECH e-Handbook, 1.3.5.17.1.
    #[test]
    fn published_critical_values() {
        assert!((grubbs_critical(10, 0.05).unwrap() - 2.290).abs() < 5e-4);
        assert!((grubbs_critical(8, 0.10).unwrap() - 2.032).abs() < 5e-4);
        assert_eq!(grubbs_critical(2, 0.05), None);
    }

    // NIST/SEMATECH e-Handbook, 1.3.5.17.1: uranium isotopes (data from memory), G = 2.469.
    #[test]
    fn uranium_isotopes() {
        let values = numbers("199.31 199.53 200.19 200.82 201.92 201.95 202.18 245.57");
        let grubbs = Grubbs::of(&values).unwrap();
        assert!((grubbs.g - 2.469).abs() < 5e-4);
        assert_eq!(grubbs.suspect, Suspect { index: 7, largest: true });
        assert_eq!(grubbs.verdict, GrubbsVerdict::Outlier);
    }

    // Harris, Quantitative Chemical Analysis, problem 4-5 (data from memory): G(97.9) = 1.504, retained.
    #[test]
    fn five_values_with_a_low_one() {
        let grubbs = Grubbs::of(&numbers("116.0 97.9 114.2 106.8 108.3")).unwrap();
        assert!((grubbs.g - 1.504).abs() < 5e-4);
        assert_eq!(grubbs.suspect, Suspect { index: 1, largest: false });
        assert_eq!(grubbs.verdict, GrubbsVerdict::Within);
    }

    #[test]
    fn nothing_to_test() {
        assert_eq!(Dixon::of(&numbers("1 2")), None);
        assert_eq!(Dixon::of(&numbers("1 1 1")), None);
        assert_eq!(Grubbs::of(&numbers("1 2")), None);
        assert_eq!(Grubbs::of(&numbers("1 1 1")), None);
    }
}
