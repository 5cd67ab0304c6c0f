//! The search for slips, measured on simulated notebooks (see `simulated/mod.rs`).
//!
//! `REWEIGH_SIMULATED=5000 cargo test --no-default-features --test review_simulated -- --nocapture` measures on
//! 5,000 notebooks with one slip each, as many right ones and as many with an error of no known kind, and prints
//! a table; without the variable the numbers are smaller.

mod simulated;

use reweigh::review::slips::SlipKind;
use reweigh::review::{Review, ValueVerdict, review};
use simulated::{Habit, Simulated, Truth, Wanted};
use std::collections::BTreeMap;

/// How many notebooks of each sort.
fn count() -> u64 {
    std::env::var("REWEIGH_SIMULATED").ok().and_then(|text| text.parse().ok()).unwrap_or(400)
}

fn reviewed(simulated: &Simulated) -> Review {
    let files = reweigh::files::Memory::default();
    let computed = reweigh::compute("simulated.md", simulated.text.as_bytes(), &files);
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

#[test]
fn the_right_slip_is_named() {
    let outcomes = each(0..count(), |seed| {
        let simulated = simulated::notebook(seed, Wanted::Slip);
        let review = reviewed(&simulated);
        let outcome = outcome(&simulated, &review);
        if std::env::var("REWEIGH_SHOW").is_ok_and(|wanted| format!("{outcome:?}") == wanted) {
            show(seed, &simulated, &review);
        }
        let Truth::Slip(slip) = simulated.truth else { panic!() };
        (slip.kind, outcome)
    });
    let mut table: BTreeMap<&str, BTreeMap<Outcome, usize>> = BTreeMap::new();
    for (kind, outcome) in &outcomes {
        *table.entry(kind).or_default().entry(*outcome).or_default() += 1;
        *table.entry("~ all").or_default().entry(*outcome).or_default() += 1;
    }
    for (kind, row) in &table {
        println!("{kind:30} {row:?}");
    }
    let all = |outcome| table["~ all"].get(&outcome).copied().unwrap_or(0) as f64;
    let counted = all(Outcome::Right) + all(Outcome::Wrong) + all(Outcome::Unnamed);
    println!("right slip named: {:.2} % of {counted} notebooks", 100.0 * all(Outcome::Right) / counted);
    assert!(all(Outcome::Right) >= 0.95 * counted);
}

#[test]
fn an_error_of_no_known_kind_is_rarely_named() {
    let named = each(0..count(), |seed| {
        let simulated = simulated::notebook(seed + 1_000_000, Wanted::Unknown);
        let review = reviewed(&simulated);
        let named = review.claims.iter().find_map(|claim| claim.slip.as_ref()).map(|slip| slip.kind);
        if named.is_some() && std::env::var("REWEIGH_SHOW").is_ok_and(|wanted| wanted == "Unknown") {
            show(seed, &simulated, &review);
        }
        named
    });
    let kinds: Vec<SlipKind> = named.iter().flatten().copied().collect();
    let mut by_kind: BTreeMap<SlipKind, usize> = BTreeMap::new();
    kinds.iter().for_each(|kind| *by_kind.entry(*kind).or_default() += 1);
    println!("a slip named for {} of {} errors of no known kind: {by_kind:?}", kinds.len(), named.len());
    assert!(kinds.len() as f64 <= 0.02 * named.len() as f64);
}

#[test]
fn right_notebooks_agree_and_rounding_on_the_way_never_differs() {
    let verdicts = each(0..count(), |seed| {
        let simulated = simulated::notebook(seed + 2_000_000, Wanted::Right);
        let review = reviewed(&simulated);
        let words: Vec<&str> = review.claims.iter().map(|claim| claim.value.word()).collect();
        let bad = match simulated.habit {
            Habit::Calculator => words.iter().any(|word| *word != "agrees"),
            _ => words.contains(&"differs"),
        };
        if bad && std::env::var("REWEIGH_SHOW").is_ok_and(|wanted| wanted == "Bad") {
            show(seed, &simulated, &review);
        }
        (simulated.habit, words, bad)
    });
    let mut table: BTreeMap<(String, &str), usize> = BTreeMap::new();
    for (habit, words, _) in &verdicts {
        words.iter().for_each(|word| *table.entry((format!("{habit:?}"), word)).or_default() += 1);
    }
    println!("{table:#?}");
    assert_eq!(verdicts.iter().filter(|(_, _, bad)| *bad).count(), 0);
}

fn show(seed: u64, simulated: &Simulated, review: &Review) {
    let files = reweigh::files::Memory::default();
    let results = reweigh::compute("simulated.md", simulated.text.as_bytes(), &files).results;
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
