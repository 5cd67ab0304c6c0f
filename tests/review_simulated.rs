//! The search for slips, measured on simulated notebooks (see `simulated/mod.rs`).
//!
//! `REWEIGH_SIMULATED=5000 cargo test --no-default-features --test all review_simulated:: -- --nocapture` measures on
//! 5,000 notebooks with one slip each, as many right ones and as many with an error of no known kind, of each source,
//! and prints tables; without the variable the numbers are smaller. The shipped templates are measured on two sets of
//! seeds: the search was looked at with one of them, the other one was held out.

use crate::simulated;

use crate::simulated::{Habit, Simulated, Source, Truth, Wanted};
use reweigh::review::slips::SlipKind;
use reweigh::review::{Review, ValueVerdict, review};
use reweigh::template::Purpose;
use std::collections::BTreeMap;
use std::ops::Range;

/// Seeds of the notebooks that are held out: no one looked at them while the search was changed.
const HELD_OUT: u64 = 50_000_000;

/// How many notebooks of each sort.
fn count(usual: u64) -> u64 {
    std::env::var("REWEIGH_SIMULATED").ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

fn reviewed(simulated: &Simulated) -> Review {
    let files = reweigh::files::Memory::default();
    let wanted = reweigh::Wanted { template: None, purpose: Purpose::Review };
    let computed = reweigh::compute_as("simulated.md", simulated.text.as_bytes(), &files, &wanted);
    let errors = computed.results.findings.iter().filter(|f| f.severity == reweigh::finding::Severity::Error);
    let said: Vec<_> = errors.collect();
    assert!(said.is_empty(), "{said:?}\n{}", simulated.text);
    review(&computed.results)
}

/// Works a range of seeds on all cores.
fn each<T: Send>(seeds: std::ops::Range<u64>, work: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get()) as u64;
    let work = &work;
    let start = seeds.start;
    std::thread::scope(|scope| {
        let handles: Vec<_> = (0..cores)
            .map(|core| {
                let own = (start + core..seeds.end).step_by(cores as usize);
                scope.spawn(move || own.map(work).collect::<Vec<T>>())
            })
            .collect();
        handles.into_iter().flat_map(|handle| handle.join().expect("a finished thread")).collect()
    })
}

fn kind(kind: SlipKind) -> &'static str {
    match kind {
        SlipKind::PowerOfTen => "factor 100",
        other => other.word(),
    }
}

/// What the review made of a notebook with a slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    /// The right kind was named, and no other.
    Right,
    /// Another kind was named.
    Wrong,
    /// Nothing was named.
    Unnamed,
    /// Nothing was named, and the right kind stands among several that give the same printed value.
    Pair,
    /// Nothing was named of a misread digit that no second claim supports.
    Unsupported,
    /// No value verdict is `differs`: the slip moved no claim by more than one place or rounding on the way.
    NoneDiffers,
}

fn outcome(simulated: &Simulated, review: &Review) -> Outcome {
    let Truth::Slip(slip) = &simulated.truth else { panic!("a notebook with a slip") };
    let named: Vec<&str> =
        review.claims.iter().filter_map(|c| c.slip.as_ref()).map(|s| kind(s.kind)).collect();
    let pair = |name: &str| {
        let several = review.claims.iter().filter(|claim| claim.possible.len() > 1);
        several.flat_map(|claim| &claim.possible).any(|explanation| kind(explanation.kind) == name)
    };
    if simulated.is_another_reading {
        Outcome::Pair
    } else if named.iter().any(|name| *name != slip.kind) {
        Outcome::Wrong
    } else if !named.is_empty() {
        Outcome::Right
    } else if review.claims.iter().all(|claim| claim.value != ValueVerdict::Differs) {
        Outcome::NoneDiffers
    } else if slip.kind == "digit misread" && simulated.supports < 2 {
        Outcome::Unsupported
    } else if pair(slip.kind) {
        Outcome::Pair
    } else {
        Outcome::Unnamed
    }
}

/// Whether notebooks of an outcome are to be printed.
fn is_asked_for(outcome: &str) -> bool {
    std::env::var("REWEIGH_SHOW").is_ok_and(|wanted| wanted == outcome)
}

type Table = BTreeMap<String, BTreeMap<Outcome, usize>>;

/// Reviews notebooks with one slip each, and holds what is named to its limit.
fn measure_slips(what: &str, seeds: Range<u64>, source: Source) {
    let outcomes = each(seeds, |seed| {
        let simulated = simulated::notebook(seed, Wanted::Slip, source);
        let review = reviewed(&simulated);
        let outcome = outcome(&simulated, &review);
        if is_asked_for(&format!("{outcome:?}")) {
            show(seed, &simulated, &review);
        }
        let Truth::Slip(slip) = simulated.truth else { panic!() };
        (slip.kind, simulated.scheme, outcome)
    });
    let mut table: Table = BTreeMap::new();
    for (kind, scheme, outcome) in &outcomes {
        for row in [kind.to_string(), format!("of {scheme}"), "~ all".to_string()] {
            *table.entry(row).or_default().entry(*outcome).or_default() += 1;
        }
    }
    println!("{what}: one known slip each");
    for (kind, row) in &table {
        let (right, counted) = right_of(row);
        println!("  {kind:30} {:6.2} % of {counted:5}  {row:?}", 100.0 * right as f64 / counted as f64);
    }
    let (right, counted) = right_of(&table["~ all"]);
    assert!(right as f64 >= 0.95 * counted as f64, "{what}: {right} of {counted} named rightly");
}

/// How many were named rightly, and how many could be told.
fn right_of(row: &BTreeMap<Outcome, usize>) -> (usize, usize) {
    let of = |outcome| row.get(&outcome).copied().unwrap_or(0);
    (of(Outcome::Right), of(Outcome::Right) + of(Outcome::Wrong) + of(Outcome::Unnamed))
}

/// Reviews notebooks with an error of no known kind, and holds what is named all the same to its limit.
fn measure_unknown(what: &str, seeds: Range<u64>, source: Source) {
    let named = each(seeds, |seed| {
        let simulated = simulated::notebook(seed, Wanted::Unknown, source);
        let review = reviewed(&simulated);
        let named = review.claims.iter().find_map(|claim| claim.slip.as_ref()).map(|slip| slip.kind);
        if named.is_some() && is_asked_for("Unknown") {
            show(seed, &simulated, &review);
        }
        (simulated.scheme, named)
    });
    let mut of_scheme: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    let mut by_kind: BTreeMap<SlipKind, usize> = BTreeMap::new();
    for (scheme, kind) in &named {
        let row = of_scheme.entry(scheme).or_default();
        *row = (row.0 + usize::from(kind.is_some()), row.1 + 1);
        kind.iter().for_each(|kind| *by_kind.entry(*kind).or_default() += 1);
    }
    let wrong: usize = by_kind.values().sum();
    println!("{what}: a slip named for {wrong} of {} errors of no known kind: {by_kind:?}", named.len());
    of_scheme.iter().for_each(|(scheme, (named, all))| println!("  of {scheme:27} {named} of {all}"));
    assert!(wrong as f64 <= 0.02 * named.len() as f64, "{what}: {wrong} of {} named", named.len());
}

/// Reviews right notebooks: none differs, and those of a calculator's digits agree.
fn measure_right(what: &str, seeds: Range<u64>, source: Source) {
    let verdicts = each(seeds, |seed| {
        let simulated = simulated::notebook(seed, Wanted::Right, source);
        let review = reviewed(&simulated);
        let words: Vec<&str> = review.claims.iter().map(|claim| claim.value.word()).collect();
        let bad = match simulated.habit {
            Habit::Calculator => words.iter().any(|word| *word != "agrees"),
            _ => words.contains(&"differs"),
        };
        if bad && is_asked_for("Bad") {
            show(seed, &simulated, &review);
        }
        (simulated.habit, words, bad)
    });
    let mut table: BTreeMap<(String, &str), usize> = BTreeMap::new();
    for (habit, words, _) in &verdicts {
        words.iter().for_each(|word| *table.entry((format!("{habit:?}"), word)).or_default() += 1);
    }
    println!("{what}: right notebooks {table:?}");
    assert_eq!(verdicts.iter().filter(|(_, _, bad)| *bad).count(), 0, "{what}");
}

#[test]
fn the_right_slip_is_named() {
    measure_slips("own formulas", 0..count(400), Source::Schemes);
}

#[test]
fn the_right_slip_is_named_in_notebooks_of_every_shipped_template() {
    measure_slips("templates", 0..count(300), Source::Templates);
    measure_slips("templates, held out", HELD_OUT..HELD_OUT + count(300), Source::Templates);
}

#[test]
fn an_error_of_no_known_kind_is_rarely_named() {
    let from = 1_000_000;
    measure_unknown("own formulas", from..from + count(400), Source::Schemes);
    measure_unknown("templates", from..from + count(300), Source::Templates);
    let from = from + HELD_OUT;
    measure_unknown("templates, held out", from..from + count(300), Source::Templates);
}

#[test]
fn right_notebooks_agree_and_rounding_on_the_way_never_differs() {
    let from = 2_000_000;
    measure_right("own formulas", from..from + count(400), Source::Schemes);
    measure_right("templates", from..from + count(300), Source::Templates);
    let from = from + HELD_OUT;
    measure_right("templates, held out", from..from + count(300), Source::Templates);
}

/// Right notebooks of which a ratio was once said to differ: the masses of the mixture had been rounded to the decimals of
/// the balance on the way, and the ratio of two amounts made from them magnifies that.
#[test]
fn masses_of_a_mixture_rounded_to_the_decimals_of_the_balance_are_right() {
    for seed in [2_001_801, 2_002_005, 2_002_101, 2_002_995, 2_003_817, 2_004_513, 2_004_615] {
        measure_right("templates", seed..seed + 1, Source::Templates);
    }
}

fn show(seed: u64, simulated: &Simulated, review: &Review) {
    let files = reweigh::files::Memory::default();
    let wanted = reweigh::Wanted { template: None, purpose: Purpose::Review };
    let results = reweigh::compute_as("simulated.md", simulated.text.as_bytes(), &files, &wanted).results;
    let mut said = format!(
        "--- {seed} {:?} {:?} supports {} changed {}\n{}",
        simulated.truth, simulated.habit, simulated.supports, simulated.changed, simulated.text
    );
    for (claim, review) in results.claims.iter().zip(&review.claims) {
        if review.value == ValueVerdict::Agrees {
            continue;
        }
        let trial = claim.trial.map_or("", |trial| &results.trials[trial].name);
        said += &format!(
            "{} [{trial}] {} | {:?} | {:?}\n",
            claim.of,
            claim.written,
            review.recomputed.as_ref().map(|printed| printed.ascii()),
            review.value
        );
        for slip in review.slip.iter().chain(&review.possible) {
            said += &format!(
                "      {:?} {} | {} (supports {:?})\n",
                slip.kind, slip.what, slip.recomputation, slip.supports
            );
        }
    }
    println!("{said}");
}
