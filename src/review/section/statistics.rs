//! What the results of a section say together: robust means by unknown, scatter, balances and benches.
//!
//! Notebooks with the same readings are one measurement and count once (partners hand in one each). Results of different
//! unknowns are compared by how far each lies from its own centre: the reference value where it may be used, else the
//! robust mean of that unknown.
//!
//! A balance or bench is said to lie high or low only where a rank-sum test against all others says so after Holm's
//! correction for the number of such tests; with fewer than [`FEWEST_TESTED`] notebooks it is not tested. The clearest one
//! is set apart first, and the rest are tested without it.

use super::unknowns::key;
use super::{Facts, Value};
use crate::statistics::{Histogram, RankSum, Robust, ZVerdict, holm, median, z_score, z_verdict};
use std::collections::{BTreeMap, BTreeSet};

/// The fewest results of an unknown from which a robust standard deviation and z scores are worked out.
pub const FEWEST_SCORED: usize = 5;
/// Fewer results than this make an estimate of scatter a rough one.
pub const FEW: usize = 12;
/// The fewest notebooks of a balance or bench, and the fewest others, that are tested.
pub const FEWEST_TESTED: usize = 5;
/// The level of the tests, all of one sort together.
pub const LEVEL: f64 = 0.05;
/// The most groups that are set apart one after the other; further ones are tested beside each other.
const MOST_SET_APART: usize = 20;
/// How much narrower the bins of the histogram are than Scott's rule says: a balance that lies apart should show.
const FINE: f64 = 1.5;
/// The same for the columns of the dot plot.
const FINER: f64 = 4.0;

/// The statistics of one result.
#[derive(Clone, Debug, PartialEq)]
pub struct Statistics {
    /// What it is of.
    pub of: String,
    /// The unit of the results.
    pub unit: String,
    /// How many notebooks have it.
    pub notebooks: usize,
    /// How many measurements they are: those with the same readings count once.
    pub n: usize,
    /// Unknown by unknown; notebooks that name none stand together.
    pub unknowns: Vec<OfUnknown>,
    /// How far results lie from their centres, in per cent; `None` where no unknown has a centre.
    pub spread: Option<Spread>,
}

/// The results of one unknown.
#[derive(Clone, Debug, PartialEq)]
pub struct OfUnknown {
    /// The unknown as first written; `None` where none is named.
    pub unknown: Option<String>,
    /// How many measurements.
    pub n: usize,
    /// The middle value.
    pub median: f64,
    /// Robust mean and standard deviation; `None` below [`FEWEST_SCORED`].
    pub robust: Option<Robust>,
    /// The reference value in the results' unit, where it may be used.
    pub reference: Option<f64>,
    /// How many results have |z| of 2 to 3, and of 3 or more.
    pub beyond: (usize, usize),
}

impl OfUnknown {
    /// What a result is compared with in the section: the reference value, else the robust mean.
    pub fn centre(&self) -> Option<f64> {
        self.reference.or(self.robust.map(|robust| robust.mean)).filter(|centre| *centre != 0.0)
    }
}

/// What results are compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Centres {
    /// The reference value of each unknown.
    References,
    /// The robust mean of each unknown.
    RobustMeans,
    /// The one where it may be used, else the other.
    Both,
}

impl Centres {
    /// The words for it.
    pub fn words(self) -> &'static str {
        match self {
            Centres::References => "reference values",
            Centres::RobustMeans => "robust means",
            Centres::Both => "reference values or robust means",
        }
    }
}

/// How far the results lie from their centres, in per cent of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// What the centres are.
    pub centres: Centres,
    /// How many measurements.
    pub n: usize,
    /// Their robust mean and standard deviation.
    pub robust: Option<Robust>,
    /// Their histogram.
    pub histogram: Option<Histogram>,
    /// The trials in columns of equal width: name and columns.
    pub trials: Vec<(String, Histogram)>,
    /// By balance.
    pub balances: Vec<OfGroup>,
    /// By bench.
    pub benches: Vec<OfGroup>,
}

/// A balance or bench beside all others.
#[derive(Clone, Debug, PartialEq)]
pub struct OfGroup {
    /// Its name.
    pub name: String,
    /// How many measurements.
    pub n: usize,
    /// How many others.
    pub others: usize,
    /// The middle deviation of the group in per cent.
    pub median: f64,
    /// The test; `None` where there are too few.
    pub test: Option<GroupTest>,
}

/// What the test says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroupTest {
    /// How far the group lies above the others, in per cent (the median of all differences).
    pub shift: f64,
    /// The probability by the rank-sum test.
    pub p: f64,
    /// The same after Holm's correction for the tests of its sort.
    pub adjusted: f64,
}

impl GroupTest {
    /// Whether the group lies apart.
    pub fn apart(&self) -> bool {
        self.adjusted < LEVEL
    }
}

/// The notebooks that count as a measurement of their own, by place in the list: of those with the same bytes or the same
/// readings, the first.
pub fn measurements(facts: &[Facts]) -> Vec<bool> {
    let mut seen: BTreeSet<String> = BTreeSet::new();
    let mut first = |facts: &Facts| {
        let readings: Vec<String> =
            facts.readings.iter().map(|reading| format!("{}e{}", reading.steps, reading.place)).collect();
        // Without any reading there is nothing to tell two notebooks apart by but their bytes.
        let mark = if readings.is_empty() {
            facts.sha256.clone()
        } else {
            crate::sha256(readings.join(" ").as_bytes())
        };
        seen.insert(mark)
    };
    facts.iter().map(&mut first).collect()
}

/// The statistics of every result that some notebook has, in alphabetical order.
pub fn of(facts: &[Facts]) -> Vec<Statistics> {
    let counts = measurements(facts);
    let results: BTreeSet<&str> =
        facts.iter().flat_map(|f| f.values.iter().map(|value| value.of.as_str())).collect();
    results.into_iter().map(|of| of_result(of, facts, &counts)).collect()
}

/// One measurement of a result.
struct Measured<'a> {
    facts: &'a Facts,
    value: &'a Value,
}

fn of_result(of: &str, facts: &[Facts], counts: &[bool]) -> Statistics {
    let value = |facts: &'_ Facts| facts.values.iter().position(|value| value.of == of);
    let notebooks = facts.iter().filter(|facts| value(facts).is_some()).count();
    let all = facts
        .iter()
        .zip(counts)
        .filter(|(_, counts)| **counts)
        .filter_map(|(facts, _)| Some(Measured { facts, value: &facts.values[value(facts)?] }));
    let all: Vec<Measured> = all.collect();
    let unit = all.first().map_or(String::new(), |measured| measured.value.unit.clone());
    // A result shown in another unit than the others is left out rather than mixed with them.
    let all: Vec<Measured> = all.into_iter().filter(|measured| measured.value.unit == unit).collect();
    let unknowns = of_unknowns(&all);
    let spread = spread(&all, &unknowns);
    Statistics { of: of.to_owned(), unit, notebooks, n: all.len(), unknowns, spread }
}

fn of_unknowns(all: &[Measured]) -> Vec<OfUnknown> {
    let mut groups: BTreeMap<Option<String>, Vec<&Measured>> = BTreeMap::new();
    for measured in all {
        groups.entry(measured.facts.unknown.as_deref().map(key)).or_default().push(measured);
    }
    let one = |group: Vec<&Measured>| {
        let values: Vec<f64> = group.iter().map(|measured| measured.value.mean).collect();
        let robust = Robust::algorithm_a(&values).filter(|_| values.len() >= FEWEST_SCORED);
        let score =
            |value: &f64| robust.and_then(|robust| z_score(*value, robust.mean, robust.s)).map(z_verdict);
        let count = |verdict| values.iter().filter(|value| score(value) == Some(verdict)).count();
        OfUnknown {
            unknown: group.first().and_then(|measured| measured.facts.unknown.clone()),
            n: values.len(),
            median: median(&values).unwrap_or(f64::NAN),
            robust,
            reference: group.iter().find_map(|measured| measured.value.reference),
            beyond: (count(ZVerdict::Warning), count(ZVerdict::Action)),
        }
    };
    groups.into_values().map(one).collect()
}

impl Statistics {
    /// The unknown's results that a notebook's belongs to.
    pub fn unknown(&self, unknown: Option<&str>) -> Option<&OfUnknown> {
        let wanted = unknown.map(key);
        self.unknowns.iter().find(|group| group.unknown.as_deref().map(key) == wanted)
    }

    /// The z score of a notebook's result.
    pub fn z(&self, unknown: Option<&str>, value: f64) -> Option<f64> {
        let robust = self.unknown(unknown)?.robust?;
        z_score(value, robust.mean, robust.s)
    }
}

/// A deviation in per cent, and what it is of.
struct Deviation<'a> {
    percent: f64,
    trials: Vec<(&'a str, f64)>,
    facts: &'a Facts,
}

/// How far each measurement lies from the centre of its unknown.
fn deviations<'a>(all: &[Measured<'a>], unknowns: &[OfUnknown]) -> Vec<Deviation<'a>> {
    let centre = |measured: &Measured| {
        let wanted = measured.facts.unknown.as_deref().map(key);
        unknowns.iter().find(|group| group.unknown.as_deref().map(key) == wanted)?.centre()
    };
    let one = |measured: &Measured<'a>| {
        let centre = centre(measured)?;
        let percent = |value: f64| (value - centre) / centre.abs() * 100.0;
        let trials = measured.value.trials.iter().map(|(name, value)| (name.as_str(), percent(*value)));
        let trials = trials.filter(|(_, percent)| percent.is_finite()).collect();
        // Values may be so large or small that the difference of two is beyond the numbers of the machine.
        let percent = Some(percent(measured.value.mean)).filter(|percent| percent.is_finite())?;
        Some(Deviation { percent, trials, facts: measured.facts })
    };
    all.iter().filter_map(one).collect()
}

fn spread(all: &[Measured], unknowns: &[OfUnknown]) -> Option<Spread> {
    let deviations = deviations(all, unknowns);
    if deviations.is_empty() {
        return None;
    }
    let values: Vec<f64> = deviations.iter().map(|deviation| deviation.percent).collect();
    let robust = Robust::algorithm_a(&values).filter(|_| values.len() >= FEWEST_SCORED);
    let around = |values: &[f64], finer: f64| {
        let robust = robust?;
        Histogram::around(values, robust.mean, robust.s, finer)
    };
    let of_trials =
        deviations.iter().flat_map(|deviation| deviation.trials.iter().map(|(_, percent)| *percent));
    let of_trials: Vec<f64> = of_trials.collect();
    let balance = |facts: &Facts| match facts.balances.as_slice() {
        [] => None,
        [only] => Some(only.clone()),
        // Readings of several balances belong to none of them.
        _ => Some("several balances".to_owned()),
    };
    Some(Spread {
        centres: centres(unknowns),
        n: values.len(),
        robust,
        histogram: around(&values, FINE),
        trials: around(&of_trials, FINER).map_or(Vec::new(), |columns| trials(&deviations, &columns)),
        balances: groups(&deviations, &balance),
        benches: groups(&deviations, &|facts: &Facts| facts.bench.clone()),
    })
}

fn centres(unknowns: &[OfUnknown]) -> Centres {
    let with_centre = unknowns.iter().filter(|group| group.centre().is_some());
    let references: Vec<bool> = with_centre.map(|group| group.reference.is_some()).collect();
    match (references.contains(&true), references.contains(&false)) {
        (true, false) => Centres::References,
        (false, _) => Centres::RobustMeans,
        (true, true) => Centres::Both,
    }
}

fn trials(deviations: &[Deviation], columns: &Histogram) -> Vec<(String, Histogram)> {
    let mut by_name: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for (name, percent) in deviations.iter().flat_map(|deviation| &deviation.trials) {
        by_name.entry(name).or_default().push(*percent);
    }
    by_name.into_iter().map(|(name, values)| (name.to_owned(), columns.again(&values))).collect()
}

/// Groups by name, each tested against all others that have one. A group that lies apart makes each of the others seem to
/// lie on the other side: the clearest one is set apart first, and the rest are tested without it, as long as three can be.
fn groups(deviations: &[Deviation], name: &dyn Fn(&Facts) -> Option<String>) -> Vec<OfGroup> {
    let mut by_name: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for deviation in deviations {
        if let Some(name) = name(deviation.facts) {
            by_name.entry(name).or_default().push(deviation.percent);
        }
    }
    let mut left: BTreeMap<&str, &[f64]> =
        by_name.iter().map(|(name, values)| (name.as_str(), values.as_slice())).collect();
    let mut done: BTreeMap<&str, OfGroup> = BTreeMap::new();
    loop {
        let round = beside_each_other(&left);
        let tested = round.iter().filter_map(|group| group.test.map(|test| (group, test)));
        let clearest = tested.clone().min_by(|(_, a), (_, b)| a.p.total_cmp(&b.p));
        let goes_on = tested.count() > 2 && done.len() < MOST_SET_APART;
        let clearest = clearest.filter(|(_, test)| goes_on && test.apart());
        let Some((clearest, _)) = clearest.map(|(group, test)| (group.clone(), test)) else {
            let rest = left.keys().copied().zip(round);
            done.extend(rest);
            return done.into_values().collect();
        };
        let own = left.keys().copied().find(|name| *name == clearest.name);
        if let Some(own) = own {
            left.remove(own);
            done.insert(own, clearest);
        }
    }
}

/// Each group beside all the others.
fn beside_each_other(groups: &BTreeMap<&str, &[f64]>) -> Vec<OfGroup> {
    let total: usize = groups.values().map(|values| values.len()).sum();
    let test = |own: &str, values: &[f64]| {
        if values.len() < FEWEST_TESTED || total - values.len() < FEWEST_TESTED {
            return None;
        }
        let rest = groups.iter().filter(|(name, _)| **name != own);
        let rest: Vec<f64> = rest.flat_map(|(_, values)| values.iter().copied()).collect();
        RankSum::of(values, &rest)
    };
    let tests: Vec<Option<RankSum>> = groups.iter().map(|(name, values)| test(name, values)).collect();
    let tested: Vec<f64> = tests.iter().flatten().map(|test| test.p).collect();
    let mut adjusted = holm(&tested).into_iter();
    let one = |((name, values), test): ((&&str, &&[f64]), &Option<RankSum>)| OfGroup {
        name: (*name).to_owned(),
        n: values.len(),
        others: total - values.len(),
        median: median(values).unwrap_or(f64::NAN),
        test: test
            .and_then(|test| Some(GroupTest { shift: test.shift, p: test.p, adjusted: adjusted.next()? })),
    };
    groups.iter().zip(&tests).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::section::Reading;

    /// A notebook with one result; its readings are those of the number.
    fn notebook(number: i64, unknown: &str, balance: &str, mean: f64, reference: Option<f64>) -> Facts {
        Facts {
            file: format!("{number}.md"),
            sha256: format!("{number}"),
            unknown: Some(unknown.to_owned()),
            balances: vec![balance.to_owned()],
            values: vec![Value {
                of: "w(Cl)".into(),
                unit: "%".into(),
                mean,
                trials: vec![("A".into(), mean), ("B".into(), mean)],
                reference,
            }],
            readings: vec![Reading { steps: number, place: -4, alone: true, line: 1 }],
            ..Facts::default()
        }
    }

    // A. Analytical Methods Committee, Analyst 114 (1989) 1693, copper in wholemeal flour as in the R package MASS (`chem`);
    // `hubers` gives 3.2055 and 0.6737 there (from memory; its factor is 1.1335, the standard's 1.134).
    #[test]
    fn the_robust_mean_of_a_section_is_that_of_algorithm_a() {
        let flour = [
            2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2, 5.28, 3.37, 3.03, 3.03, 28.95, 3.77,
            3.4, 2.2, 3.5, 3.6, 3.7, 3.7,
        ];
        let facts: Vec<Facts> = flour
            .iter()
            .zip(0..)
            .map(|(value, number)| notebook(number, "F", "B-01", *value, None))
            .collect();
        let statistics = &of(&facts)[0];
        let robust = statistics.unknowns[0].robust.unwrap();
        assert_eq!((statistics.n, statistics.unknowns[0].n), (24, 24));
        assert!((robust.mean - 3.2055).abs() < 5e-4 && (robust.s - 0.6737).abs() < 2e-3, "{robust:?}");
        // 28.95 and 5.28: z = 38 and 3.08.
        assert_eq!(statistics.unknowns[0].beyond, (0, 2));
        assert!((statistics.z(Some("f"), 28.95).unwrap() - (28.95 - 3.2055) / 0.6737).abs() < 0.2);
    }

    #[test]
    fn notebooks_with_the_same_readings_count_once() {
        let mut facts: Vec<Facts> = (0..6).map(|n| notebook(n, "U", "B-01", 40.0 + n as f64, None)).collect();
        facts.push(Facts { file: "partner.md".into(), sha256: "other".into(), ..facts[2].clone() });
        let statistics = &of(&facts)[0];
        assert_eq!((statistics.notebooks, statistics.n), (7, 6));
    }

    #[test]
    fn a_balance_that_reads_low_is_told_and_a_small_group_is_not_tested() {
        // Deviations in per cent of 50: the balance B-04 is 0.3 % low, the others scatter by 0.05 %.
        let scatter = |number: i64| (number * 37 % 19 - 9) as f64 * 0.005;
        let facts: Vec<Facts> = (0..40)
            .map(|number| {
                let (balance, shift) = match number {
                    0..=9 => ("B-04", -0.3),
                    10..=24 => ("B-01", 0.0),
                    25..=37 => ("B-02", 0.0),
                    _ => ("B-09", -0.3),
                };
                let value = 50.0 * (1.0 + (shift + scatter(number)) / 100.0);
                notebook(number, if number % 2 == 0 { "U-1" } else { "U-2" }, balance, value, Some(50.0))
            })
            .collect();
        let statistics = of(&facts);
        let spread = statistics[0].spread.as_ref().unwrap();
        assert_eq!(spread.centres, Centres::References);
        let group = |name: &str| spread.balances.iter().find(|group| group.name == name).unwrap();
        let low = group("B-04").test.unwrap();
        assert!(low.apart() && (low.shift + 0.3).abs() < 0.06, "{low:?}");
        assert_eq!((group("B-04").n, group("B-04").others), (10, 30));
        assert_eq!(group("B-09").test, None, "two notebooks say nothing");
    }

    #[test]
    fn one_low_balance_does_not_make_the_others_high() {
        // Three balances of twelve notebooks each; B-03 is 0.8 % low. Beside one good and one low balance, a good one would
        // seem to be high.
        let scatter = |number: i64| (number * 37 % 19 - 9) as f64 * 0.005;
        let one = |number: i64| {
            let balance = ["B-01", "B-02", "B-03"][number as usize % 3];
            let shift = if balance == "B-03" { -0.8 } else { 0.0 };
            let value = 50.0 * (1.0 + (shift + scatter(number)) / 100.0);
            notebook(number, "U", balance, value, Some(50.0))
        };
        let facts: Vec<Facts> = (0..36).map(one).collect();
        let told = |facts: &[Facts]| -> Vec<(String, usize)> {
            let statistics = of(facts);
            let balances = &statistics[0].spread.as_ref().unwrap().balances;
            let apart = balances.iter().filter(|group| group.test.is_some_and(|test| test.apart()));
            apart.map(|group| (group.name.clone(), group.others)).collect()
        };
        assert_eq!(told(&facts), [("B-03".to_owned(), 24)]);
        // Of two alone, nobody can say which one it is: both are told.
        let two: Vec<Facts> = facts.into_iter().filter(|facts| facts.balances[0] != "B-01").collect();
        assert_eq!(told(&two), [("B-02".to_owned(), 12), ("B-03".to_owned(), 12)]);
    }

    #[test]
    fn one_population_is_rarely_told_apart() {
        // Four balances of one population, many times: some group of four may be told in about one of twenty.
        let mut state = 1u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / (1u64 << 31) as f64
        };
        let told = (0..400)
            .filter(|_| {
                let facts: Vec<Facts> = (0..40)
                    .map(|n| {
                        notebook(n, "U", ["a", "b", "c", "d"][n as usize % 4], 50.0 + next(), Some(50.0))
                    })
                    .collect();
                let statistics = of(&facts);
                let balances = &statistics[0].spread.as_ref().unwrap().balances;
                balances.iter().any(|group| group.test.is_some_and(|test| test.apart()))
            })
            .count();
        assert!(told <= 36, "{told} of 400, where 20 are expected (three standard deviations: 33)");
    }

    #[test]
    fn without_a_reference_value_a_small_group_has_no_centre() {
        let facts: Vec<Facts> = (0..4).map(|n| notebook(n, "U", "B", 40.0 + n as f64, None)).collect();
        let statistics = &of(&facts)[0];
        assert_eq!(statistics.unknowns[0].robust, None);
        assert_eq!(statistics.spread, None);
    }
}
