//! A folder with a notebook and an old report, and ways to run the program there that go wrong: with limits, and with system
//! calls that fail or bring a signal, by `strace` where the system lets one process trace another.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};

pub const NOTEBOOK: &str = "```experiment\ntitle = \"Salt\"\ndate = 2026-03-04\n```\n\n```masses\nbalance: B-1\n\
    trial: A B\ncup: 20.0000 21.0000\ncup + salt: 21.0000 22.5000\n```\n\n{mean m(salt)} of it.\n";
pub const OLD: &str = "the report that was there before";
pub const REPORT: [&str; 6] = ["report", "--as", "html", "n.md", "--output", "n.html"];

/// A folder with a notebook and an old report.
pub struct Place {
    pub folder: tempfile::TempDir,
}

impl Place {
    pub fn new() -> Place {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("n.md"), NOTEBOOK).expect("a notebook");
        let place = Place { folder };
        place.put_old();
        place
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn put_old(&self) {
        std::fs::write(self.path("n.html"), OLD).expect("an old report");
    }

    /// The names in the folder.
    pub fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).expect("the folder");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// Every file below the folder, with what it holds.
    pub fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let (mut found, mut folders) = (BTreeMap::new(), vec![String::new()]);
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(self.path(&folder)).expect("a folder") {
                let name = format!("{folder}{}", entry.expect("an entry").file_name().to_string_lossy());
                if self.path(&name).is_dir() {
                    folders.push(format!("{name}/"));
                } else {
                    found.insert(name.clone(), std::fs::read(self.path(&name)).expect("a file"));
                }
            }
        }
        found
    }

    /// A command with the program behind it. Whoever runs the tests in the background of a shell has Ctrl-C ignored; the
    /// program would keep to that.
    pub fn under(&self, before: &[&str], arguments: &[&str]) -> Output {
        let program = env!("CARGO_BIN_EXE_reweigh");
        Command::new("env")
            .arg("--default-signal=INT")
            .args(before)
            .arg(program)
            .args(arguments)
            .current_dir(self.folder.path())
            .stdin(Stdio::null())
            .output()
            .expect("it runs")
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        self.under(&[], arguments)
    }

    /// What the command is told when the shell has set a limit.
    pub fn limited(&self, limit: &str, arguments: &[&str]) -> Output {
        self.under(&["bash", "-c", &format!("{limit}; exec \"$@\""), "bash"], arguments)
    }

    /// The same with something done to the nth call of a name by the first thread. Before it writes for good, and before it
    /// ends, it waits a moment, so that a signal is heard in time.
    pub fn injected(&self, call: &str, done: &str, nth: usize, arguments: &[&str]) -> Output {
        let inject = format!("inject={call}:{done}:when={nth}");
        let slow: Vec<&str> =
            ["fsync", "renameat", "exit_group"].into_iter().filter(|name| *name != call).collect();
        let (slow, trace) = (slow.join(","), format!("trace={call},fsync,renameat,exit_group"));
        let slow = format!("inject={slow}:delay_enter=20000");
        let words = ["strace", "-f", "-q", "-o", "/dev/null", "-e", &trace, "-e", &slow, "-e", &inject];
        self.under(&words, arguments)
    }

    /// The report as it is without trouble.
    pub fn report(&self) -> Vec<u8> {
        let output = self.run(&REPORT);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let report = std::fs::read(self.path("n.html")).expect("a report");
        self.put_old();
        report
    }

    /// The old report or the new one stands there; says whether it is the new one.
    pub fn whole(&self, new: &[u8], when: &str) -> bool {
        let now = std::fs::read(self.path("n.html")).expect("there is a report");
        assert!(now == new || now == OLD.as_bytes(), "{when}: a report of {} bytes", now.len());
        now == new
    }

    /// The system calls of the first thread of a command: the name of each, how often that thread has made it by then, and
    /// whether a temporary file is being written by then.
    pub fn calls(&self, arguments: &[&str]) -> Vec<(String, usize, bool)> {
        let log = tempfile::NamedTempFile::new().expect("a log");
        let name = log.path().to_str().expect("a plain name").to_owned();
        self.under(&["strace", "-f", "-o", &name], arguments);
        let text = std::fs::read_to_string(log.path()).expect("the log");
        let first = text.split_whitespace().next().expect("a process").to_owned();
        let call = |line: &str| {
            let (process, rest) = line.split_once(' ')?;
            let name = rest.trim_start().split_once('(')?.0;
            let plain = name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
            (process == first && plain && name != "execve").then(|| name.to_owned())
        };
        let (mut made, mut counted, mut writes) = (BTreeMap::new(), Vec::new(), false);
        for (line, name) in text.lines().filter_map(|line| Some((line, call(line)?))) {
            writes |= line.contains(".reweigh-");
            let count = made.entry(name.clone()).or_insert(0);
            *count += 1;
            counted.push((name, *count, writes));
        }
        counted
    }
}

pub fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Some of the calls, evenly spread over all of them; all of them where `REWEIGH_EVERY_CALL` is set.
pub fn spread<T: Clone>(calls: &[(String, usize, T)], most: usize) -> Vec<(String, usize, T)> {
    if std::env::var_os("REWEIGH_EVERY_CALL").is_some() || calls.len() <= most {
        return calls.to_vec();
    }
    let even = (0..most).map(|k| k * (calls.len() - 1) / (most - 1));
    even.collect::<BTreeSet<_>>().into_iter().map(|at| calls[at].clone()).collect()
}

/// Whether processes can be traced here. Where not, that is said.
pub fn can_trace(test: &str) -> bool {
    let tried = Command::new("strace").args(["-o", "/dev/null", "true"]).output();
    let traced = tried.expect("strace is installed (Debian package `strace`)").status.success();
    if !traced {
        not_tried(test, "this system lets no process be traced");
    }
    traced
}

/// Says what was not tried past the test runner, which keeps the words of tests that pass to itself.
pub fn not_tried(test: &str, why: &str) {
    drop(std::io::stderr().write_all(format!("NOT TRIED: {test}: {why}\n").as_bytes()));
}
