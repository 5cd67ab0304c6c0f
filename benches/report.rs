//! Reports against the bare typesetter: one in a process of its own (time and memory), a thousand, and where the time
//! of the first goes.
//!
//! Both sides are programs, built before this runs, with the crate itself optimised as the typesetter is:
//! `CARGO_PROFILE_DEV_OPT_LEVEL=2 cargo build --bin reweigh --example bare`. `REWEIGH_PROGRAMS` names another folder than
//! `target/debug`, `REWEIGH_NOTEBOOKS` another number than a thousand. Goals: one report in at most 1.15 × the time and 1.25 ×
//! the memory of the typesetter that sets the same document, a thousand in at most 1.2 ×.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use reweigh_benches::{Comparison, here};
use wait4::Wait4;

/// Rounds of each side of the many reports; the least time counts.
const ROUNDS: usize = 3;

/// The two programs and a folder to work in.
struct Desk {
    own: PathBuf,
    bare: PathBuf,
    folder: PathBuf,
}

impl Desk {
    /// `None`, with the reason on the standard error, where a program is missing.
    fn of(name: &str) -> Option<Desk> {
        let programs = std::env::var_os("REWEIGH_PROGRAMS").map(PathBuf::from);
        let programs = programs.unwrap_or_else(|| here().join("../target/debug"));
        let (own, bare) = (programs.join("reweigh"), programs.join("examples/bare"));
        let missing = [&own, &bare].into_iter().find(|program| !program.exists());
        if let Some(missing) = missing {
            eprintln!(
                "{} is not built: nothing is measured (see the head of this benchmark)",
                missing.display()
            );
            return None;
        }
        let folder = std::env::temp_dir().join(format!("reweigh-{name}-{}", std::process::id()));
        ["notebooks", "jobs", "own", "bare"].iter().for_each(|part| {
            std::fs::create_dir_all(folder.join(part)).expect("a folder for the measurement");
        });
        Some(Desk { own, bare, folder })
    }

    fn at(&self, path: &str) -> PathBuf {
        self.folder.join(path)
    }

    /// Keeps the documents of notebooks for the bare side.
    fn keep(&self, notebooks: &[PathBuf]) {
        run(Command::new(&self.bare).arg("jobs").arg(self.at("jobs")).args(notebooks));
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        drop(std::fs::remove_dir_all(&self.folder));
    }
}

/// Runs a program to its end; its time, and the most memory it held, in KiB.
fn run(command: &mut Command) -> (Duration, u64) {
    let start = Instant::now();
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program starts");
    let used = child.wait4().expect("the program ends");
    assert!(used.status.success(), "{command:?} failed");
    (start.elapsed(), used.rusage.maxrss / 1024)
}

/// A hydrate notebook of its own for each number: two trials whose readings differ from those of every other.
fn notebook(number: usize) -> String {
    let grams = |tenths: usize| format!("{}.{:04}", tenths / 10_000, tenths % 10_000);
    let mut masses = String::new();
    let cup = [224_111 + number % 97, 219_755 + number % 89];
    let salt = [10_387 + number % 499, 11_024 + number % 503];
    let rest = salt.map(|salt| salt * 853 / 1_000);
    let mut row = |name: &str, of: &dyn Fn(usize) -> usize| {
        writeln!(masses, "{name}: {} {}", grams(of(0)), grams(of(1))).expect("a string takes all");
    };
    row("crucible, heating 1", &|trial| cup[trial] + 5);
    row("crucible, heating 2", &|trial| cup[trial]);
    row("crucible + sample", &|trial| cup[trial] + salt[trial]);
    row("crucible + residue, heating 1", &|trial| cup[trial] + rest[trial] + 19);
    row("crucible + residue, heating 2", &|trial| cup[trial] + rest[trial] + 3);
    row("crucible + residue, heating 3", &|trial| cup[trial] + rest[trial]);
    format!(
        "# Water of crystallisation, bench {number}\n\n```experiment\ntitle = \"Water of crystallisation\"\n\
         authors = [\"Bench {number}\"]\ndate = 2026-03-04\ntemplate = \"hydrate\"\n[balance.B-01]\n\
         readability = \"0.1 mg\"\nrepeatability = \"0.1 mg\"\nlinearity = \"0.2 mg\"\n```\n\n## Procedure\n\n\
         Two crucibles were heated to constant mass, then the salt in them.\n\n\
         ## Readings\n\n```masses\nunit: g\nbalance: B-01\ntrial: A B\n{masses}```\n\n## Discussion\n\n\
         The crystals held {{mean w(water)}} of water, {{mean x}} molecules to a formula unit.\n"
    )
}

fn one(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("one report");
    group.measurement_time(Duration::from_secs(10));
    let Some(desk) = Desk::of("one") else { return };
    let notebook = here().join("../notebooks/selenite.md");
    desk.keep(std::slice::from_ref(&notebook));
    let (job, to, bare_to) = (desk.at("jobs/selenite.job"), desk.at("own/a.pdf"), desk.at("bare/a.pdf"));
    let own = || run(Command::new(&desk.own).arg("report").arg(&notebook).arg("--output").arg(&to));
    let bare = || run(Command::new(&desk.bare).arg("set").args([&job, &bare_to]));
    let mut comparison = Comparison::new(&mut group, 1);
    comparison.own("reweigh", || {
        own();
    });
    let other = comparison.other("bare typesetter", |rounds| (0..rounds).map(|_| bare().0).sum());
    let Some(ratio) = other else { return };
    println!("one report: {:.3} × the time of the bare typesetter (goal: at most 1.15 ×)", 1.0 / ratio);
    let most = |side: &dyn Fn() -> (Duration, u64)| (0..ROUNDS).map(|_| side().1).max().unwrap_or(0);
    let (own, bare) = (most(&own), most(&bare));
    let ratio = own as f64 / bare as f64;
    println!("memory of one report: {own} KiB, {ratio:.3} × that of {bare} KiB (goal: at most 1.25 ×)\n");
    phases(&desk, &job);
    drop(group);
}

/// What the typesetter's parts take in a process that has just begun, and the program's start.
fn phases(desk: &Desk, job: &Path) {
    let started = (0..20).map(|_| run(Command::new(&desk.own).arg("--version")).0).min();
    println!("start of the program: {:?}", started.unwrap_or_default());
    let said = Command::new(&desk.bare).arg("phases").arg(job).output().expect("the program starts");
    println!("{}", String::from_utf8_lossy(&said.stdout));
}

fn many(_: &mut Criterion) {
    let Some(desk) = Desk::of("many") else { return };
    let count = std::env::var("REWEIGH_NOTEBOOKS").ok().and_then(|count| count.parse().ok()).unwrap_or(1_000);
    let write = |number: usize| {
        let path = desk.at(&format!("notebooks/{number}.md"));
        std::fs::write(&path, notebook(number)).expect("the notebook can be written");
        path
    };
    let notebooks: Vec<PathBuf> = (0..count).map(write).collect();
    desk.keep(&notebooks);
    let mut least = [Duration::MAX; 2];
    for _ in 0..ROUNDS {
        let own = run(Command::new(&desk.own).arg("report").args(&notebooks).arg("-o").arg(desk.at("own")));
        let bare = run(Command::new(&desk.bare).arg("many").args([desk.at("jobs"), desk.at("bare")]));
        println!(
            "{count} reports: {:?} and {} KiB, the bare typesetter {:?} and {} KiB",
            own.0, own.1, bare.0, bare.1
        );
        least = [least[0].min(own.0), least[1].min(bare.0)];
    }
    let ratio = least[0].as_secs_f64() / least[1].as_secs_f64();
    println!(
        "{count} reports: {ratio:.3} × the time of as many warm documents on the same cores (goal: at most 1.2 ×)\n"
    );
}

criterion_group!(reports, one, many);
criterion_main!(reports);
