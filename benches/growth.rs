//! How the time of a review grows with the notebook: readings, claims, trials and formulas that rest on one another, each
//! from few to many; and that of a section with its notebooks.
//!
//! What is printed is the slope over the top decade on paper with logarithmic axes: 1 is in proportion, 2 would be
//! four times the time for twice the work. Goal: at most 1.05. Beside each time stands `pulldown-cmark` merely
//! parsing the same bytes, in the same run.

use std::hint::black_box;
use std::time::{Duration, Instant};

use reweigh::Wanted;
use reweigh::files::Memory;
use reweigh::notebook::MOST_TRIALS;
use reweigh::review::formats::Reviewed;
use reweigh::review::section::decisions::Decisions;
use reweigh::review::section::forms;
use reweigh::review::section::{Desk, Facts, Row, Section, recurring, row, statistics};
use reweigh::review::{Review, ValueVerdict, review};
use reweigh::template::Purpose;
use reweigh_benches::parsed;

/// Times measured of one notebook; the least counts, for whatever else runs only adds to it.
const SAMPLES: usize = 5;
/// A measurement repeats its work until it takes so long.
const AT_LEAST: Duration = Duration::from_millis(20);
/// After so long no further measurement is begun.
const ENOUGH: Duration = Duration::from_secs(10);
/// Trials of the notebooks that grow in something else.
const TRIALS: usize = 4;
/// Their portions.
const PORTIONS: usize = 20;

/// A notebook of so many portions in so many trials, each weighed four times: a dish, the dish with a portion, and
/// twice with its residue. Of so many of them a formula gives the loss, and so many of these are claimed, rightly.
fn notebook(portions: usize, trials: usize, claims: usize) -> String {
    of_bench(0, portions, trials, claims)
}

/// The same with readings of its own for each bench.
fn of_bench(bench: usize, portions: usize, trials: usize, claims: usize) -> String {
    let mut text = String::from(
        "# Losses\n\n```experiment\ntitle = \"Losses\"\ndate = 2026-03-04\n[balance.B]\nreadability = \"0.1 mg\"\n\
         repeatability = \"0.1 mg\"\n```\n\n```masses\nunit: g\nbalance: B\ntrial:",
    );
    let row = |of: &dyn Fn(usize) -> String| (0..trials).map(of).collect::<String>();
    text.push_str(&row(&|trial| format!(" T{trial}")));
    for k in 0..portions {
        // Portions near 1 g in dishes near 20 g, with a fifth to a third lost.
        let dish = |trial: usize| 200_000 + (k * 37 + trial * 911 + bench * 7_919) % 90_000;
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

fn reviewed(text: &str) -> Review {
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
    let begun = Instant::now();
    let in_time = |done: &usize| *done == 0 || begun.elapsed() < ENOUGH;
    (0..SAMPLES).take_while(in_time).map(|_| sample()).fold(f64::INFINITY, f64::min)
}

/// A notebook whose formulas rest one on another: each adds a mass to the one before, and in the end the last is divided.
fn chain(formulas: usize) -> String {
    let head = notebook(2, TRIALS, 0);
    let mut text = format!("{head}\n```working\ny0 = m(soil 0x)\n");
    for k in 1..formulas {
        text.push_str(&format!("y{k} = y{} + m(rest {}x)\n", k - 1, k % 2));
    }
    text.push_str(&format!("share = m(soil 0x) / y{} in %\n```\n", formulas - 1));
    text
}

/// A notebook with more columns than are read.
fn columns(many: usize) -> String {
    let cells = |of: &str| format!("{of}{}\n", " 20.0000".repeat(many));
    let names: String = (0..many).map(|k| format!(" T{k}")).collect();
    format!(
        "# Columns\n\n```masses\nunit: g\ntrial:{names}\n{}{}```\n",
        cells("dish:"),
        cells("dish + soil:")
    )
}

/// A section reviewed in memory, its rows put down as JSON.
fn section(texts: &[String]) -> usize {
    let decisions = Decisions::default();
    let followed = ["w(loss 0x)".to_owned()];
    let desk = Desk { unknowns: None, decisions: &decisions, marks: None, followed: &followed };
    let one = |(index, text): (usize, &String)| {
        let file = format!("bench-{index}.md");
        let wanted = Wanted { purpose: Purpose::Review, ..Wanted::default() };
        let computed = reweigh::compute_as(&file, text.as_bytes(), &Memory::default(), &wanted);
        let review = review(&computed.results);
        let reviewed = Reviewed {
            file: &file,
            notebook: &computed.notebook,
            results: &computed.results,
            review: &review,
            template: None,
            own: text.len(),
            of_report: &[],
        };
        row(&reviewed, &desk)
    };
    let (rows, facts): (Vec<Row>, Vec<Facts>) =
        texts.iter().enumerate().map(one).map(|made| (made.row, made.facts)).unzip();
    let (recurring, more_recurring) = recurring::questions(&facts);
    let (count, statistics) = (rows.len(), statistics::of(&facts));
    let section =
        Section { rows: count, reviewed: count, statistics, recurring, more_recurring, ..Section::default() };
    let mut json = Vec::new();
    forms::json(&section, &rows, &mut json).expect("a form in memory");
    json.len()
}

/// So many notebooks of two portions, each with readings of its own.
fn notebooks(many: usize) -> Vec<String> {
    (0..many).map(|bench| of_bench(bench, 2, TRIALS, 8)).collect()
}

/// So many notebooks that have all readings in common.
fn copies(many: usize) -> Vec<String> {
    let one = notebook(2, TRIALS, 8);
    (0..many).map(|bench| one.replacen("# Losses", &format!("# Losses of bench {bench}"), 1)).collect()
}

/// A review where every claim is right.
fn right(text: &str) -> Review {
    let right = reviewed(text);
    assert_eq!(right.count(&ValueVerdict::Agrees), right.claims.len(), "every claim is right");
    right
}

/// Times of notebooks that grow, and the slope over the last factor of ten.
fn grows(name: &str, sizes: &[usize], notebook: impl Fn(usize) -> String) {
    let times = sizes.iter().map(|size| {
        let text = notebook(*size);
        right(&text);
        let (own, parse) = (seconds(|| reviewed(&text)), seconds(|| parsed(&text)));
        println!("{size:>7} {name}: {:>10.3} ms, {:.1} × the parse", own * 1e3, own / parse);
        (*size as f64, own)
    });
    slope(name, &times.collect::<Vec<_>>());
}

/// Times of sections that grow.
fn sections(name: &str, sizes: &[usize], notebooks: impl Fn(usize) -> Vec<String>) {
    let times = sizes.iter().map(|size| {
        let texts = notebooks(*size);
        let own = seconds(|| section(&texts));
        println!("{size:>7} {name}: {:>10.3} ms", own * 1e3);
        (*size as f64, own)
    });
    slope(name, &times.collect::<Vec<_>>());
}

/// The slope from the size nearest to a tenth of the largest.
fn slope(name: &str, times: &[(f64, f64)]) {
    let Some((most, last)) = times.last().copied() else { return };
    let from = |(size, _): &&(f64, f64)| (size * 10.0 / most).ln().abs();
    let Some((size, time)) = times.iter().min_by(|a, b| from(a).total_cmp(&from(b))) else { return };
    let slope = (last / time).ln() / (most / size).ln();
    println!("{name}: slope {slope:.3} from {size} to {most} (goal: at most 1.05)\n");
}

fn main() {
    let wanted = std::env::args().skip(1).find(|argument| !argument.starts_with('-'));
    let is_wanted = |name: &str| wanted.as_ref().is_none_or(|wanted| name.contains(wanted.as_str()));
    let grown = |name: &str, sizes: &[usize], notebook: &dyn Fn(usize) -> String| {
        if is_wanted(name) {
            grows(name, sizes, notebook);
        }
    };
    grown("readings", &[16, 96, 992, 9_984, 99_984], &|readings| notebook(readings / 4 / TRIALS, TRIALS, 0));
    grown("claims", &[8, 100, 1_000, 10_000], &|claims| notebook(PORTIONS, TRIALS, claims));
    grown("trials", &[1, 5, MOST_TRIALS], &|trials| notebook(PORTIONS, trials, 0));
    grown("columns (refused)", &[100, 1_000, 10_000, 100_000], &columns);
    grown("formulas", &[10, 100, 1_000, 10_000], &chain);
    let grown = |name: &str, sizes: &[usize], notebooks: &dyn Fn(usize) -> Vec<String>| {
        if is_wanted(name) {
            sections(name, sizes, notebooks);
        }
    };
    grown("notebooks", &[1, 10, 100, 1_000, 10_000], &notebooks);
    grown("notebooks that are alike", &[1, 10, 100, 1_000, 10_000], &copies);
}
