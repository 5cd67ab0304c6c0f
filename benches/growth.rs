//! How the time of a review grows with the notebook: readings, claims and trials, each from few to many.
//!
//! What is printed is the slope over the top decade on paper with logarithmic axes: 1 is in proportion, 2 would be
//! four times the time for twice the work. Goal: at most 1.05. Beside each time stands `pulldown-cmark` merely
//! parsing the same bytes, in the same run.

use std::hint::black_box;
use std::time::{Duration, Instant};

use reweigh::Wanted;
use reweigh::files::Memory;
use reweigh::notebook::MOST_TRIALS;
use reweigh::review::{ValueVerdict, review};
use reweigh::template::Purpose;
use reweigh_benches::parsed;

/// Times measured of one notebook; the least counts, for whatever else runs only adds to it.
const SAMPLES: usize = 5;
/// A measurement repeats its work until it takes so long.
const AT_LEAST: Duration = Duration::from_millis(20);
/// Trials of the notebooks that grow in something else.
const TRIALS: usize = 4;
/// Their portions.
const PORTIONS: usize = 20;

/// A notebook of so many portions in so many trials, each weighed four times: a dish, the dish with a portion, and
/// twice with its residue. Of so many of them a formula gives the loss, and so many of these are claimed, rightly.
fn notebook(portions: usize, trials: usize, claims: usize) -> String {
    let mut text = String::from(
        "# Losses\n\n```experiment\ntitle = \"Losses\"\ndate = 2026-03-04\n[balance.B]\nreadability = \"0.1 mg\"\n\
         repeatability = \"0.1 mg\"\n```\n\n```masses\nunit: g\nbalance: B\ntrial:",
    );
    let row = |of: &dyn Fn(usize) -> String| (0..trials).map(of).collect::<String>();
    text.push_str(&row(&|trial| format!(" T{trial}")));
    for k in 0..portions {
        // Portions near 1 g in dishes near 20 g, with a fifth to a third lost.
        let dish = |trial: usize| 200_000 + (k * 37 + trial * 911) % 9_000;
        let wet = |trial: usize| dish(trial) + 10_000 + (k * 13 + trial * 101) % 700;
        let dry = |trial: usize| wet(trial) - 2_500 - (k * 7 + trial * 53) % 600;
        let cells = |of: &dyn Fn(usize) -> usize| row(&|trial| format!(" {}", grams(of(trial))));
        text.push_str(&format!("\ndish {k}x:{}", cells(&dish)));
        text.push_str(&format!("\ndish {k}x + soil {k}x:{}", cells(&wet)));
        text.push_str(&format!("\ndish {k}x + rest {k}x, heating 1:{}", cells(&|trial| dry(trial) + 2)));
        text.push_str(&format!("\ndish {k}x + rest {k}x, heating 2:{}", cells(&dry)));
    }
    text.push_str("\n```\n\n```working\n");
    (0..portions).for_each(|k| {
        text.push_str(&format!("w(loss {k}x) = (m(soil {k}x) - m(rest {k}x)) / m(soil {k}x) in %\n"));
    });
    text.push_str("```\n");
    if claims > 0 {
        text.push_str(&format!("\n```claimed\ntrial:{}\n", row(&|trial| format!(" T{trial}"))));
        for k in (0..claims.div_ceil(trials)).map(|k| k % portions) {
            // The same readings as above: what a portion weighs is the second less the first.
            let soil = |trial: usize| grams(10_000 + (k * 13 + trial * 101) % 700);
            text.push_str(&format!("m(soil {k}x):{}\n", row(&|trial| format!(" {} g", soil(trial)))));
        }
        text.push_str("```\n");
    }
    text
}

/// Tenths of a milligram as grams.
fn grams(tenths: usize) -> String {
    format!("{}.{:04}", tenths / 10_000, tenths % 10_000)
}

fn reviewed(text: &str) -> reweigh::review::Review {
    let wanted = Wanted { purpose: Purpose::Review, ..Wanted::default() };
    review(&reweigh::compute_as("growth.md", text.as_bytes(), &Memory::default(), &wanted).results)
}

/// The least time of one round in seconds.
fn seconds<T>(work: impl Fn() -> T) -> f64 {
    let sample = || {
        let (start, mut rounds) = (Instant::now(), 0u32);
        while rounds == 0 || start.elapsed() < AT_LEAST {
            drop(black_box(work()));
            rounds += 1;
        }
        start.elapsed().as_secs_f64() / f64::from(rounds)
    };
    (0..SAMPLES).map(|_| sample()).fold(f64::INFINITY, f64::min)
}

/// Times of notebooks that grow, and the slope over the last factor of ten.
fn grows(name: &str, sizes: &[usize], notebook: impl Fn(usize) -> String) {
    let mut times: Vec<(f64, f64)> = Vec::new();
    for size in sizes {
        let text = notebook(*size);
        let right = reviewed(&text);
        assert_eq!(right.count(&ValueVerdict::Agrees), right.claims.len(), "every claim is right");
        let (own, parse) = (seconds(|| reviewed(&text)), seconds(|| parsed(&text)));
        println!("{size:>7} {name}: {:>10.3} ms, {:.1} × the parse", own * 1e3, own / parse);
        times.push((*size as f64, own));
    }
    let Some((most, last)) = times.last().copied() else { return };
    // The notebook nearest to a tenth of the largest.
    let from = |(size, _): &&(f64, f64)| (size * 10.0 / most).ln().abs();
    let Some((size, time)) = times.iter().min_by(|a, b| from(a).total_cmp(&from(b))) else { return };
    let slope = (last / time).ln() / (most / size).ln();
    println!("{name}: slope {slope:.3} from {size} to {most} (goal: at most 1.05)\n");
}

fn main() {
    grows("readings", &[16, 96, 992, 9_984], |readings| notebook(readings / 4 / TRIALS, TRIALS, 0));
    grows("claims", &[8, 100, 1_000, 10_000], |claims| notebook(PORTIONS, TRIALS, claims));
    grows("trials", &[1, 5, MOST_TRIALS], |trials| notebook(PORTIONS, trials, 0));
}
