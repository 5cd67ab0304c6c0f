//! What goes wrong around the program: full disks, kills at any moment, devices and folders where files are expected, two runs at
//! once, pipes that close. A report is the old one or the new one, never half of one, and nothing else is left behind.
//!
//! System calls are made to fail, and the program is killed between them, by `strace` (Debian package `strace`), where the
//! system lets one process trace another.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

const NOTEBOOK: &str = "```experiment\ntitle = \"Salt\"\ndate = 2026-03-04\n```\n\n```masses\nbalance: B-1\n\
    trial: A B\ncup: 20.0000 21.0000\ncup + salt: 21.0000 22.5000\n```\n\n{mean m(salt)} of it.\n";
const OLD: &str = "the report that was there before";

/// A folder with a notebook and an old report.
struct Place {
    folder: tempfile::TempDir,
}

impl Place {
    fn new() -> Place {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("n.md"), NOTEBOOK).expect("a notebook");
        let place = Place { folder };
        place.put_old();
        place
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn put_old(&self) {
        std::fs::write(self.path("n.html"), OLD).expect("an old report");
    }

    /// The names in the folder.
    fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).expect("the folder");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// A command with the program behind it.
    fn under(&self, before: &[&str], arguments: &[&str]) -> Output {
        let program = env!("CARGO_BIN_EXE_reweigh");
        let words: Vec<&str> =
            before.iter().copied().chain([program]).chain(arguments.iter().copied()).collect();
        Command::new(words[0])
            .args(&words[1..])
            .current_dir(self.folder.path())
            .stdin(Stdio::null())
            .output()
            .expect("it runs")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.under(&[], arguments)
    }

    /// What the command is told when the shell has set a limit.
    fn limited(&self, limit: &str, arguments: &[&str]) -> Output {
        self.under(&["bash", "-c", &format!("{limit}; exec \"$@\""), "bash"], arguments)
    }

    /// The report as it is without trouble.
    fn report(&self) -> Vec<u8> {
        let output = self.run(&REPORT);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let report = std::fs::read(self.path("n.html")).expect("a report");
        self.put_old();
        report
    }

    /// The old report or the new one stands there; says whether it is the new one.
    fn whole(&self, new: &[u8], when: &str) -> bool {
        let now = std::fs::read(self.path("n.html")).expect("there is a report");
        assert!(now == new || now == OLD.as_bytes(), "{when}: a report of {} bytes", now.len());
        now == new
    }
}

const REPORT: [&str; 6] = ["report", "--as", "html", "n.md", "--output", "n.html"];

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Whether processes can be traced here. Where not, that is said past the test runner, which keeps the words of tests that pass
/// to itself.
fn can_trace(test: &str) -> bool {
    let tried = Command::new("strace").args(["-o", "/dev/null", "true"]).output();
    let tried = tried.expect("strace is installed (Debian package `strace`)");
    if !tried.status.success() {
        let line = format!("NOT TRIED: {test}: this system lets no process be traced\n");
        drop(std::io::stderr().write_all(line.as_bytes()));
    }
    tried.status.success()
}

/// The system calls of the first thread from a little before it begins to write its report until it ends: the name of each, and
/// how often that thread has made it by then.
fn calls(place: &Place) -> Vec<(String, usize)> {
    let log = tempfile::NamedTempFile::new().expect("a log");
    let name = log.path().to_str().expect("a plain name").to_owned();
    place.under(&["strace", "-f", "-o", &name], &REPORT);
    place.put_old();
    let text = std::fs::read_to_string(log.path()).expect("the log");
    let first = text.split_whitespace().next().expect("a process").to_owned();
    let call = |line: &str| {
        let (process, rest) = line.split_once(' ')?;
        let name = rest.trim_start().split_once('(')?.0;
        (process == first && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_'))
            .then(|| name.to_owned())
    };
    let (mut made, mut counted, mut begins) = (BTreeMap::new(), Vec::new(), None);
    for (line, name) in text.lines().filter_map(|line| Some((line, call(line)?))) {
        begins = begins.or_else(|| line.contains(".reweigh-").then_some(counted.len()));
        let count = made.entry(name.clone()).or_insert(0);
        *count += 1;
        counted.push((name, *count));
    }
    counted.split_off(begins.expect("it writes a temporary file").saturating_sub(3))
}

/// Stops the program with a signal at each of these calls.
/// Gives how often the old report was left and how often the new one; nothing where processes cannot be traced.
fn stopped(signal: &str, test: &str, after: impl Fn(&Place, &Output, bool)) -> Option<(usize, usize)> {
    if !can_trace(test) {
        return None;
    }
    let place = Place::new();
    let new = place.report();
    let (mut old, mut done) = (0, 0);
    for (call, nth) in calls(&place) {
        let inject = format!("inject={call}:signal={signal}:when={nth}");
        let output = place.under(&["strace", "-f", "-q", "-o", "/dev/null", "-e", &inject], &REPORT);
        let is_new = place.whole(&new, &format!("{signal} at {call} {nth}"));
        if is_new {
            done += 1
        } else {
            old += 1
        }
        after(&place, &output, is_new);
        place.put_old();
    }
    Some((old, done))
}

#[test]
fn killed_at_any_call_it_leaves_the_old_report_or_the_new_one() {
    let counts = stopped("KILL", "killed at any system call of a write", |place, _, _| {
        // Nobody can take a file away after that.
        for name in place.names().iter().filter(|name| name.starts_with(".reweigh-")) {
            std::fs::remove_file(place.path(name)).expect("taken away");
        }
        assert_eq!(place.names(), ["n.html", "n.md"]);
    });
    if let Some((old, done)) = counts {
        assert!(old > 5 && done > 1, "killed {old} times before the report was there, {done} times after");
    }
}

#[test]
fn ctrl_c_at_any_call_leaves_nothing_half_written() {
    use std::os::unix::process::ExitStatusExt;
    let counts = stopped("INT", "Ctrl-C at any system call of a write", |place, output, is_new| {
        assert_eq!(place.names(), ["n.html", "n.md"], "{}", said(output));
        let interrupted = output.status.signal() == Some(2) || output.status.code() == Some(130);
        assert!(interrupted || is_new, "{:?}", output.status);
    });
    if let Some((old, done)) = counts {
        assert!(old + done > 10, "interrupted {old} and {done} times");
    }
}

#[test]
fn a_call_that_fails_is_said_and_leaves_the_old_report() {
    if !can_trace("system calls that fail") {
        return;
    }
    let place = Place::new();
    let new = place.report();
    for (call, error) in [
        ("write", "ENOSPC"),
        ("write", "EIO"),
        ("fsync", "EIO"),
        ("fchmod", "EPERM"),
        ("/^rename", "EROFS"),
        ("/^rename", "EACCES"),
    ] {
        for when in 1..=4 {
            let inject = format!("inject={call}:error={error}:when={when}");
            let output = place.under(&["strace", "-f", "-q", "-o", "/dev/null", "-e", &inject], &REPORT);
            let is_new = place.whole(&new, &inject);
            assert_eq!(place.names(), ["n.html", "n.md"], "{inject}");
            assert!(is_new || output.status.code() == Some(2), "{inject}: {:?}", output.status);
            assert!(is_new || said(&output).contains("cannot write n.html"), "{inject}: {}", said(&output));
            place.put_old();
        }
    }
}

#[test]
fn a_full_disk_is_said_and_the_old_report_stays() {
    let place = Place::new();
    place.report();
    let output = place.limited("ulimit -f 1", &REPORT);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("cannot write n.html"), "{}", said(&output));
    assert_eq!(std::fs::read_to_string(place.path("n.html")).expect("the old one"), OLD);
    assert_eq!(place.names(), ["n.html", "n.md"]);
    let output = place.limited("exec >/dev/full", &["compute", "n.md"]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("reweigh: cannot write"), "{}", said(&output));
}

/// A report moved into the place of a device would take the device away.
#[test]
fn what_is_no_file_is_not_replaced() {
    let place = Place::new();
    let made = Command::new("mkfifo").arg(place.path("pipe")).status().expect("mkfifo runs");
    assert!(made.success());
    std::fs::create_dir(place.path("folder")).expect("a folder");
    std::fs::write(place.path("kept.html"), OLD).expect("a report");
    let mut kept = std::fs::metadata(place.path("kept.html")).expect("its facts").permissions();
    kept.set_readonly(true);
    std::fs::set_permissions(place.path("kept.html"), kept).expect("read-only");
    std::fs::create_dir(place.path("section")).expect("a folder");
    std::fs::copy(place.path("n.md"), place.path("section/a.md")).expect("a hand-in");
    for (output, why) in [("pipe", "a device or a pipe"), ("kept.html", "nobody may write to")] {
        for command in [&["report", "--as", "html", "n.md"][..], &["section", "section", "--format", "html"]]
        {
            let ended = place.run(&[command, &["--output", output]].concat());
            assert_eq!(ended.status.code(), Some(2), "{output}: {}", said(&ended));
            assert!(said(&ended).contains(why), "{output}: {}", said(&ended));
        }
    }
    let ended = place.run(&["section", "section", "--output", "folder", "--format", "html"]);
    assert!(ended.status.code() == Some(2) && said(&ended).contains("it is a folder"), "{}", said(&ended));
    let nowhere = place.run(&["report", "--as", "html", "n.md", "--output", "/proc/reweigh.html"]);
    assert!(
        nowhere.status.code() == Some(2) && said(&nowhere).contains("cannot write"),
        "{}",
        said(&nowhere)
    );
    let below_a_file = place.run(&["report", "--as", "html", "n.md", "--output", "n.md/n.html"]);
    assert_eq!(below_a_file.status.code(), Some(2), "{}", said(&below_a_file));
    assert_eq!(std::fs::read_to_string(place.path("kept.html")).expect("kept"), OLD);
    assert_eq!(std::fs::read_to_string(place.path("n.md")).expect("kept"), NOTEBOOK);
    assert_eq!(place.names(), ["folder", "kept.html", "n.html", "n.md", "pipe", "section"]);
}

#[test]
fn what_is_no_file_is_not_read() {
    let place = Place::new();
    assert!(Command::new("mkfifo").arg(place.path("pipe.md")).status().expect("it runs").success());
    std::fs::create_dir(place.path("folder.md")).expect("a folder");
    for notebook in ["pipe.md", "folder.md", "/dev/zero", "missing.md"] {
        for command in ["compute", "report", "review"] {
            let ended = place.run(&[command, notebook]);
            assert_eq!(ended.status.code(), Some(2), "{command} {notebook}: {}", said(&ended));
            assert!(said(&ended).contains(&format!("cannot read {notebook}")), "{}", said(&ended));
        }
    }
}

#[test]
fn several_runs_on_one_output_leave_one_whole_report() {
    let place = Place::new();
    let mut reports = Vec::new();
    for index in 0..6 {
        let name = format!("n{index}.md");
        std::fs::write(place.path(&name), NOTEBOOK.replace("Salt", &"Salt ".repeat(index * 500 + 1)))
            .expect("written");
        assert_eq!(
            place.run(&["report", "--as", "html", &name, "--output", "n.html"]).status.code(),
            Some(0)
        );
        reports.push(std::fs::read(place.path("n.html")).expect("a report"));
    }
    let runs: Vec<_> = (0..6)
        .map(|index| {
            Command::new(env!("CARGO_BIN_EXE_reweigh"))
                .args(["report", "--as", "html", &format!("n{index}.md"), "--output", "n.html"])
                .current_dir(place.folder.path())
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .expect("it starts")
        })
        .collect();
    for mut run in runs {
        assert_eq!(run.wait().expect("it ends").code(), Some(0));
    }
    let last = std::fs::read(place.path("n.html")).expect("a report");
    assert!(reports.contains(&last), "a report of {} bytes that is none of them", last.len());
    assert!(place.names().iter().all(|name| !name.starts_with('.')), "{:?}", place.names());
}

/// The report carries what was read, whatever the file holds by then: it stays consistent with itself.
#[test]
fn a_notebook_that_changes_while_it_is_read_gives_a_report_of_what_was_read() {
    let place = Place::new();
    let path = place.path("n.md");
    let over = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for turn in 0.. {
                if over.load(std::sync::atomic::Ordering::Relaxed) {
                    return;
                }
                // In place, not by a new name: a reader may find half of it.
                let more = "More words.\n\n".repeat(turn % 300);
                std::fs::write(&path, format!("{NOTEBOOK}\n{more}")).expect("written");
            }
        });
        for _ in 0..10 {
            let output = place.run(&REPORT);
            assert!(matches!(output.status.code(), Some(0 | 1)), "{}", said(&output));
            let review = place.run(&["review", "n.html"]);
            let all = format!("{}{}", String::from_utf8_lossy(&review.stdout), said(&review));
            assert!(all.contains("consistent with itself"), "{all}");
        }
        over.store(true, std::sync::atomic::Ordering::Relaxed);
    });
}

#[test]
fn no_clock_has_a_say() {
    let place = Place::new();
    let new = place.report();
    for time in ["1970-01-02", "2037-12-31"] {
        let touched = Command::new("touch")
            .args(["-d", time])
            .arg(place.path("n.md"))
            .arg(place.path("n.html"))
            .status();
        assert!(touched.expect("touch runs").success());
        assert_eq!(place.report(), new, "a file of {time}");
    }
}

#[test]
fn a_pipe_that_closes_early_is_no_error() {
    let place = Place::new();
    let many: String = (0..400).map(|n| format!("m(salt): {n}.0000 {n}.5000\n")).collect();
    std::fs::write(place.path("long.md"), format!("{NOTEBOOK}\n```claimed\ntrial: A B\n{many}```\n"))
        .expect("written");
    let program = env!("CARGO_BIN_EXE_reweigh");
    for command in [
        "compute long.md --format json",
        "review long.md --format csv",
        "section . --format json",
        "formula H2O",
        "--help",
    ] {
        // The status is that of the program, behind a reader that is gone before it has said much.
        let script = format!("set -o pipefail; {program} {command} | true; echo ${{PIPESTATUS[0]}}");
        let output = Command::new("bash")
            .args(["-c", &script])
            .current_dir(place.folder.path())
            .output()
            .expect("runs");
        let status = String::from_utf8_lossy(&output.stdout).trim().to_owned();
        assert!(matches!(status.as_str(), "0" | "1"), "{command}: {status}\n{}", said(&output));
        assert!(!said(&output).contains("panicked"), "{}", said(&output));
    }
}

#[test]
fn with_too_little_memory_the_old_report_stays() {
    let place = Place::new();
    let new = place.report();
    let (mut ended, mut done) = (0, 0);
    for step in 1..=24 {
        let output = place.limited(&format!("ulimit -v {}", step * 16 * 1024), &REPORT);
        let is_new = place.whole(&new, &format!("{} MiB", step * 16));
        assert!(is_new || output.status.code() != Some(0), "{}", said(&output));
        assert_eq!(place.names(), ["n.html", "n.md"], "{} MiB: {}", step * 16, said(&output));
        if is_new {
            done += 1
        } else {
            ended += 1
        }
        place.put_old();
    }
    assert!(ended > 0 && done > 0, "{ended} runs were stopped, {done} were not");
}

/// What a notebook names is looked for in its own folder and nowhere else, by whatever way the path leads out.
#[test]
fn no_path_leads_out_of_the_notebook_s_folder() {
    let outside = tempfile::tempdir().expect("a folder");
    let secret = outside.path().join("secret.csv");
    std::fs::write(&secret, "load,trial,reading\nsecret cup,A,77.7777\n").expect("written");
    let picture =
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"1\" height=\"1\"><title>secret cup</title></svg>";
    std::fs::write(outside.path().join("secret.svg"), picture).expect("written");
    let place = Place::new();
    let link = |to: &Path, name: &str| std::os::unix::fs::symlink(to, place.path(name)).expect("a link");
    link(&secret, "link.csv");
    link(&outside.path().join("secret.svg"), "link.svg");
    link(outside.path(), "linked");
    std::fs::create_dir(place.path("folder.csv")).expect("a folder");
    let out = outside.path().file_name().expect("a name").to_string_lossy().into_owned();
    let full = secret.display().to_string();
    let beside = format!("../{out}/secret.csv");
    for path in [
        "link.csv",
        "linked/secret.csv",
        &beside,
        &full,
        "folder.csv",
        "./x/../../secret.csv",
        "/etc/hostname",
    ] {
        let picture = path.replace(".csv", ".svg");
        let text = format!("```masses\nfrom: {path}\n```\n\n![a picture]({picture})\n");
        std::fs::write(place.path("n.md"), &text).expect("written");
        let output = place.run(&REPORT);
        assert_eq!(output.status.code(), Some(1), "{path}: {}", said(&output));
        let report = std::fs::read_to_string(place.path("n.html")).expect("a report");
        assert!(!report.contains("77.7777") && !report.contains("secret cup"), "{path} was read");
        assert!(
            said(&output).contains("bad-file") || said(&output).contains("bad-csv"),
            "{path}: {}",
            said(&output)
        );
    }
    for template in ["../hydrate", "linked", &out, "/etc"] {
        let text = format!("```experiment\ntemplate = \"{template}\"\n```\n");
        std::fs::write(place.path("n.md"), &text).expect("written");
        let output = place.run(&["compute", "n.md"]);
        assert!(said(&output).contains("no-template"), "{template}: {}", said(&output));
    }
}
