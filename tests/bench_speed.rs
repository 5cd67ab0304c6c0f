//! How fast a saved file is on the screen, and whether memory stays flat: measurements, printed and not judged.
//!
//! ```text
//! cargo test --release --test all bench_speed:: -- --ignored --nocapture --test-threads 1
//! ```
//!
//! (Without `--release`, the program is the one that development builds.)
//!
//! The clock starts when the file was written (the last event of a save comes with that) and stops in the browser, after
//! the frame in which the new pages were painted. `REWEIGH_EDITS` sets the number of edits.

use crate::common::bench::Served;
use crate::common::browser::Browser;
use serde_json::Value;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// The last readings of the three trials of the demo, but for their last digit.
const LAST: [(&str, &str); 3] = [("25.404", "6"), ("24.706", "1"), ("26.045", "4")];

/// A notebook of ten pages after so many edits: a demo with prose behind it. Each edit gives the last reading of one
/// trial after the other another last digit, so that hardly any version comes twice.
fn notebook(edit: usize) -> String {
    let mut edited = include_str!("../notebooks/selenite.md").to_owned();
    for (trial, (reading, digit)) in LAST.into_iter().enumerate() {
        let written = format!("{reading}{digit}");
        assert!(edited.contains(&written), "the demo has the reading that is edited");
        let edits_of_it = (edit + 2 - trial) / 3;
        // Never the same digit twice in a row, and another order in each trial.
        let digit = (1..=edits_of_it)
            .fold(6, |digit, turn| (digit + 1 + (turn * (2 * trial + 3) + turn / 4) % 9) % 10);
        edited = edited.replacen(&written, &format!("{reading}{digit}"), 1);
    }
    let paragraph = "The crucible was heated to dull red, left on a square of ceramic until it no longer glowed, and then \
        in the desiccator for twenty minutes, as long as it takes to come to the temperature of the balance. Every weighing \
        was read twice, with the doors closed, and written down before the crucible was lifted off the pan.";
    let mut text = edited;
    for section in 1..=18 {
        text.push_str(&format!("\n## Notes on day {section}\n\n"));
        for number in 1..=4 {
            text.push_str(&format!("{number}. {paragraph}\n"));
        }
        text.push('\n');
    }
    text
}

fn edits(default: usize) -> usize {
    std::env::var("REWEIGH_EDITS").ok().and_then(|edits| edits.parse().ok()).unwrap_or(default)
}

fn percentiles(name: &str, mut times: Vec<f64>) {
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[((times.len() as f64 * share).ceil() as usize).clamp(1, times.len()) - 1];
    let (median, p95, most) = (at(0.5), at(0.95), at(1.0));
    println!("{name}: median {median:.1} ms, 95th percentile {p95:.1} ms, most {most:.1} ms");
}

#[test]
#[ignore = "a measurement"]
fn from_the_save_to_the_screen() {
    let served = Served::start(&[("n.md", &notebook(0))]);
    let browser = Browser::start(1400, 900);
    browser.go(&served.address);
    browser.wait_for("document.querySelectorAll('.page svg').length >= 2");
    let pages = browser.script("return document.querySelectorAll('.page').length");
    println!("{pages} pages, {} edits of a reading", edits(100));
    for page in [0, 1, 3] {
        browser.script(&format!("document.querySelectorAll('.page')[{page}].scrollIntoView()"));
        browser.wait_for("near().join(',') === asked.near && !asked.question.signal.aborted");
        let near = browser.script("return asked.near");
        println!("pages in view, counted from 0: {near}");
        from_saves_to_the_screen(&served, &browser, near.as_str().unwrap());
    }
}

fn from_saves_to_the_screen(served: &Served, browser: &Browser, near: &str) {
    let (mut seen, mut engine) = (Vec::new(), Vec::new());
    for edit in 0..edits(100) {
        let version = browser.script("return state.version").as_u64().unwrap();
        served.save("n.md", &notebook(edit + 1));
        let saved = SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs_f64() * 1000.0;
        // Whoever asks the browser meanwhile holds it up.
        std::thread::sleep(Duration::from_millis(150));
        browser.wait_for(&format!("shown.times.some(([version]) => version > {version})"));
        let shown: Value = browser.script(&format!(
            "const time = shown.times.find(([version]) => version > {version}); return [time[1], time[2]]"
        ));
        seen.push(shown[0].as_f64().unwrap() - saved);
        engine.push(shown[1].as_f64().unwrap() / 1000.0);
        // The pages in view come first; the next save is not in the midst of the others.
        let whole = complete(&served.address, version, near);
        browser.wait_for(&format!("shown.times.some(([version]) => version >= {whole})"));
        std::thread::sleep(Duration::from_millis(100));
    }
    percentiles("from the save to the painted page", seen);
    percentiles("of which from the first event to the version", engine);
}

/// The number of the first complete version after this one.
fn complete(address: &str, mut version: u64, near: &str) -> u64 {
    loop {
        let asked = minreq::get(format!("{address}n/0/state?since={version}&near={near}"));
        let state = asked.with_timeout(60).send().unwrap().json::<Value>().unwrap();
        version = state["version"].as_u64().unwrap();
        if state["complete"] == true {
            return version;
        }
    }
}

#[test]
#[ignore = "a measurement"]
fn memory_over_many_edits() {
    let served = Served::start(&[("n.md", &notebook(0))]);
    let mut version = 0;
    let next = |version: u64| -> u64 {
        for _ in 0..10 {
            let asked = minreq::get(format!("{}n/0/state?since={version}", served.address));
            let answer = asked.with_timeout(60).send().unwrap();
            if answer.status_code == 200 {
                return answer.json::<Value>().unwrap()["version"].as_u64().unwrap();
            }
            println!("no version came within the time that a question is kept waiting");
        }
        panic!("no version came after version {version}");
    };
    version = next(version);
    for edit in 0..edits(1000) {
        if edit % 100 == 0 {
            println!("after {edit:>4} edits: {} MiB resident", resident(served.process()) >> 10);
        }
        let prose = format!("Note {edit} of many.");
        served.save("n.md", &notebook(edit + 1).replacen("Notes on day 3", &prose, 1));
        version = next(version);
    }
    println!("after {:>4} edits: {} MiB resident", edits(1000), resident(served.process()) >> 10);
}

/// The resident memory of a process in KiB (Linux).
fn resident(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// The work of one version in this process: reading and evaluating, the pages from there, and of these the typesetter.
#[test]
#[ignore = "a measurement"]
fn where_the_time_goes() {
    use reweigh::report::pages::{Look, Standing};
    let mut standing = Standing::default();
    let files = reweigh::files::Memory::default();
    let (mut computing, mut setting, mut typesetting) = (Vec::new(), Vec::new(), Vec::new());
    let mut different: Vec<usize> = Vec::new();
    let mut before: Vec<Look> = Vec::new();
    let milliseconds = |begun: Instant| begun.elapsed().as_secs_f64() * 1000.0;
    for edit in 0..edits(100) {
        let text = notebook(edit + 1);
        let begun = Instant::now();
        let computed = reweigh::compute("n.md", text.as_bytes(), &files);
        let read = milliseconds(begun);
        let mut typesetter = 0.0;
        let (pages, _) =
            reweigh::report::pages_with(&computed.notebook, &computed.results, &files, None, &mut |job| {
                let begun = Instant::now();
                let pages = standing.set(job);
                typesetter += milliseconds(begun);
                pages
            })
            .expect("it can be set");
        let all = milliseconds(begun);
        let looks: Vec<Look> = pages.iter().map(|page| page.look.clone()).collect();
        different.push(looks.iter().filter(|look| !before.contains(look)).count());
        before = looks;
        standing.rest();
        if edit == 0 {
            println!("{} pages; the first version took {all:.0} ms", pages.len());
            continue;
        }
        computing.push(read);
        setting.push(all - read);
        typesetting.push(typesetter);
    }
    different.sort_unstable();
    println!("pages that look different after an edit: median {}", different[different.len() / 2]);
    percentiles("reading and evaluating", computing);
    percentiles("setting the pages", setting);
    percentiles("of which the typesetter", typesetting);
}

/// How soon the pages in view are there, by the typesetter and the reading of its frames alone, and how often they are
/// not there before the others.
#[test]
#[ignore = "a measurement"]
fn how_soon_what_is_in_view_is_there() {
    use reweigh::report::pages::Standing;
    let files = reweigh::files::Memory::default();
    for in_view in [0, 1, 2, 3] {
        let mut standing = Standing::default();
        let (mut sooner, mut all) = (Vec::new(), Vec::new());
        for edit in 0..=edits(100) {
            let text = notebook(edit + 1);
            let computed = reweigh::compute("n.md", text.as_bytes(), &files);
            let set = &mut |job: &reweigh::report::press::Job| {
                let begun = Instant::now();
                let milliseconds = || begun.elapsed().as_secs_f64() * 1000.0;
                let mut first = None;
                let pages =
                    standing.set_from(job, Some((in_view, in_view)), &mut |_| first = Some(milliseconds()));
                if edit > 0 {
                    sooner.extend(first);
                    all.push(milliseconds());
                }
                pages
            };
            reweigh::report::pages_with(&computed.notebook, &computed.results, &files, None, set)
                .expect("it can be set");
            standing.rest();
        }
        println!("page {}: {} of {} times before the others", in_view + 1, sooner.len(), all.len());
        percentiles("what is in view", sooner);
        percentiles("all", all);
    }
}
