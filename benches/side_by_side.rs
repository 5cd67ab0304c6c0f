//! Two sides of one comparison, measured in one run by one harness, and their ratio.
//!
//! The other side is a Python program that is started beside the benchmark. It is told how often to repeat its work, takes
//! the time inside its own process and reports it, so neither its start nor the pipe is counted. Where Python or a
//! library is missing, the own side is still measured and the run says that there is no ratio.
//!
//! The talk, line by line: Python says `ready` and what it is; the benchmark asks `WORK REPEATS`; Python answers
//! with nanoseconds. `python/side.py` holds the other end.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, SamplingMode};

#[cfg(all(feature = "allocator", not(target_env = "msvc")))]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

/// Samples of each side; a ratio is that of their medians.
const SAMPLES: usize = 20;

/// A Python program at the other end of a pipe.
pub struct Python {
    child: Child,
    questions: ChildStdin,
    answers: BufReader<ChildStdout>,
    /// What it says it is: libraries and versions.
    pub is: String,
}

impl Python {
    /// Starts `benches/python/SCRIPT` with the interpreter named by `REWEIGH_PYTHON`, else the one of
    /// `tests/oracle/README.md`, else `python3`. `None`, with the reason on the standard error, where it does not
    /// get ready.
    pub fn start(script: &str) -> Option<Python> {
        let interpreter = interpreter();
        let started = Python::try_start(&interpreter, script);
        if started.is_none() {
            let shown = interpreter.display();
            eprintln!("{shown} cannot run {script}: no ratio (see tests/oracle/README.md)");
        }
        started
    }

    fn try_start(interpreter: &Path, script: &str) -> Option<Python> {
        let script = here().join("python").join(script);
        let mut child = Command::new(interpreter)
            .arg(script)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .ok()?;
        let questions = child.stdin.take()?;
        let mut answers = BufReader::new(child.stdout.take()?);
        let is = line(&mut answers)?.strip_prefix("ready ")?.to_owned();
        Some(Python { child, questions, answers, is })
    }

    /// The time its own clock takes for so many repeats of a work it knows.
    ///
    /// # Panics
    /// If the program has ended: its own message is on the standard error.
    pub fn time(&mut self, work: &str, repeats: u64) -> Duration {
        let asked = writeln!(self.questions, "{work} {repeats}");
        asked.and_then(|()| self.questions.flush()).expect("the Python side listens");
        let answer = line(&mut self.answers).expect("the Python side answers");
        Duration::from_nanos(answer.parse().unwrap_or_else(|_| panic!("{answer} is no time")))
    }
}

impl Drop for Python {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn line(answers: &mut impl BufRead) -> Option<String> {
    let mut line = String::new();
    answers.read_line(&mut line).ok().filter(|read| *read > 0)?;
    Some(line.trim_end().to_owned())
}

/// The events `pulldown-cmark` finds in a notebook, merely parsed: the other side of a review.
pub fn parsed(text: &str) -> usize {
    let options = pulldown_cmark::Options::ENABLE_TABLES
        | pulldown_cmark::Options::ENABLE_FOOTNOTES
        | pulldown_cmark::Options::ENABLE_TASKLISTS
        | pulldown_cmark::Options::ENABLE_STRIKETHROUGH
        | pulldown_cmark::Options::ENABLE_MATH;
    pulldown_cmark::Parser::new_ext(text, options).into_offset_iter().count()
}

/// The folder of the benchmarks.
pub fn here() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn interpreter() -> PathBuf {
    let chosen = std::env::var_os("REWEIGH_PYTHON").map(PathBuf::from);
    let kept = Some(here().join("../target/oracle/bin/python")).filter(|path| path.exists());
    chosen.or(kept).unwrap_or_else(|| PathBuf::from("python3"))
}

/// One comparison: rounds of both sides under one name, then the ratio of their medians.
pub struct Comparison<'a, 'b> {
    group: &'a mut BenchmarkGroup<'b, WallTime>,
    own: Option<Duration>,
    /// How many pieces of work one round holds; what is printed is per piece.
    pieces: u32,
}

impl<'a, 'b> Comparison<'a, 'b> {
    /// A comparison in a group. One round does `pieces` pieces of work.
    pub fn new(group: &'a mut BenchmarkGroup<'b, WallTime>, pieces: usize) -> Self {
        group.sampling_mode(SamplingMode::Flat).sample_size(SAMPLES);
        Comparison { group, own: None, pieces: pieces.try_into().expect("a small number of pieces") }
    }

    /// Measures the own side, one round at a time; the median per piece, or `None` where a filter leaves it out.
    pub fn own(&mut self, name: &str, mut round: impl FnMut()) -> Option<Duration> {
        self.own = measured(self.group, name, |rounds| {
            let start = Instant::now();
            (0..rounds).for_each(|_| round());
            start.elapsed()
        });
        let each = self.own? / self.pieces;
        println!("{name}: {each:?} each\n");
        Some(each)
    }

    /// Measures another side, which takes its own time for so many rounds, and prints its ratio to the own side.
    pub fn other(&mut self, name: &str, rounds: impl FnMut(u64) -> Duration) -> Option<f64> {
        let median = measured(self.group, name, rounds)?;
        let ratio = median.as_secs_f64() / self.own?.as_secs_f64();
        println!("{name}: {:?} each, {ratio:.1} × the own side\n", median / self.pieces);
        Some(ratio)
    }
}

/// The median time of one round, by the harness' samples; `None` where a filter leaves the benchmark out.
fn measured(
    group: &mut BenchmarkGroup<'_, WallTime>,
    name: &str,
    mut time: impl FnMut(u64) -> Duration,
) -> Option<Duration> {
    let mut samples = Vec::new();
    group.bench_function(name, |bencher| {
        // Once for each step of the warm-up, then once for each sample.
        bencher.iter_custom(|rounds| {
            let elapsed = time(rounds);
            samples.push(elapsed.div_f64(rounds as f64));
            elapsed
        });
    });
    let mut samples = samples.split_off(samples.len().saturating_sub(SAMPLES));
    samples.sort();
    samples.get(samples.len() / 2).copied()
}
