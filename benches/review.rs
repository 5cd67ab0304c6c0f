//! A review in memory against `pulldown-cmark` merely parsing the same bytes, and what a claim that differs costs.
//!
//! A review reads the notebook, evaluates it and compares every claim. Goals: at most 15 × the parse when nothing
//! differs, and at most 1 ms more for each claim that differs, whose slip is looked for.

use std::hint::black_box;
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use reweigh::files::Memory;
use reweigh::review::{Review, ValueVerdict, review};
use reweigh::template::Purpose;
use reweigh::{Computed, Wanted};
use reweigh_benches::{Comparison, here, parsed};

/// A demo notebook with prose, and claims of what it comes to (worked in the demo's own check).
fn notebook(water: &str) -> String {
    let demo = std::fs::read_to_string(here().join("../notebooks/selenite.md")).expect("the demo");
    format!(
        "{demo}\n```claimed\ntrial: A B C\nm(sample): 1.1223 g 1.0347 g 1.1888 g\nw(water): {water}\n```\n"
    )
}

fn reviewed(text: &str) -> Review {
    review(&evaluated(text).results)
}

/// Read and evaluated as `reweigh review` does it.
fn evaluated(text: &str) -> Computed {
    let wanted = Wanted { purpose: Purpose::Review, ..Wanted::default() };
    reweigh::compute_as("selenite.md", text.as_bytes(), &Memory::default(), &wanted)
}

/// The time of so many rounds.
fn time<T>(rounds: u64, work: impl Fn() -> T) -> Duration {
    let start = Instant::now();
    (0..rounds).for_each(|_| drop(black_box(work())));
    start.elapsed()
}

fn in_memory(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("a review in memory");
    group.measurement_time(Duration::from_secs(4));
    let right = notebook("20.83 % 20.86 % 20.86 %");
    // 0.2338/0.8885 = 26.31 %: the residue for the sample in trial A; the other two trials alike.
    let wrong = notebook("26.31 % 26.35 % 26.36 %");
    let differing = reviewed(&wrong).count(&ValueVerdict::Differs);
    assert!(reviewed(&right).count(&ValueVerdict::Agrees) == 6 && differing == 3);
    let mut comparison = Comparison::new(&mut group, 1);
    comparison.own("reweigh", || drop(black_box(reviewed(&right))));
    if let Some(ratio) = comparison.other("pulldown-cmark", |rounds| time(rounds, || parsed(&right))) {
        println!("a review where nothing differs: {:.1} × the parse (goal: at most 15 ×)\n", 1.0 / ratio);
    }
    let rounds = 200;
    let evaluating = time(rounds, || evaluated(&right));
    let whole = time(rounds, || reviewed(&right));
    println!(
        "reading and evaluating take {:.0} % of it\n",
        100.0 * evaluating.as_secs_f64() / whole.as_secs_f64()
    );
    let (with, without) = (time(rounds, || reviewed(&wrong)), time(rounds, || reviewed(&right)));
    let more = with.saturating_sub(without).as_secs_f64() * 1e3 / rounds as f64 / differing as f64;
    println!("each claim that differs: {more:.3} ms more (goal: at most 1 ms)\n");
}

criterion_group!(benches, in_memory);
criterion_main!(benches);
