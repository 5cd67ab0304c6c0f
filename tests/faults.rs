//! What goes wrong around the program: full disks, kills at any moment, devices and folders where files are expected, two runs at
//! once, pipes that close. A report is the old one or the new one, never half of one, and nothing else is left behind.
//!
//! System calls are made to fail, and the program is killed between them, by `strace` (Debian package `strace`), where the
//! system lets one process trace another.

use crate::common::place::{NOTEBOOK, OLD, Place, REPORT, can_trace, not_tried, said, spread};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// So many of the calls of a write a signal comes at; `REWEIGH_EVERY_CALL=1` tries all of them.
const MOST: usize = 16;

/// Stops the program with a signal at calls that are spread over the writing of a report.
/// Gives how often the old report was left and how often the new one; nothing where processes cannot be traced.
fn stopped(signal: &str, test: &str, after: impl Fn(&Place, &Output, bool)) -> Option<(usize, usize)> {
    if !can_trace(test) {
        return None;
    }
    let place = Place::new();
    let new = place.report();
    let calls = place.calls(&REPORT);
    place.put_old();
    let begins = calls.iter().position(|(_, _, writes)| *writes).expect("it writes a temporary file");
    let (mut old, mut done) = (0, 0);
    for (call, nth, _) in spread(&calls[begins.saturating_sub(3)..], MOST) {
        let output = place.injected(&call, &format!("signal={signal}"), nth, &REPORT);
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
        assert!(old > 3 && done > 0, "killed {old} times before the report was there, {done} times after");
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
        ("renameat", "EROFS"),
        ("renameat", "EACCES"),
    ] {
        for when in [1, 2] {
            let output = place.injected(call, &format!("error={error}"), when, &REPORT);
            let tried = format!("{error} at {call} {when}");
            let is_new = place.whole(&new, &tried);
            assert_eq!(place.names(), ["n.html", "n.md"], "{tried}");
            assert!(is_new || output.status.code() == Some(2), "{tried}: {:?}", output.status);
            assert!(is_new || said(&output).contains("cannot write n.html"), "{tried}: {}", said(&output));
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

/// The same on a file system that is full indeed: a small one in memory, mounted where only the test sees it.
#[test]
fn on_a_file_system_without_room_the_old_files_stay() {
    let place = Place::new();
    let report = place.report();
    std::fs::create_dir(place.path("small")).expect("a folder");
    std::fs::create_dir(place.path("section")).expect("a folder");
    std::fs::copy(place.path("n.md"), place.path("section/a.md")).expect("a hand-in");
    let script = r#"mount -t tmpfs -o size="$1"k none small 2>/dev/null || exit 77
        cp n.md n.html small; head -c 1000000 /dev/zero >small/filling 2>/dev/null
        truncate -s -"$2" small/filling; shift 2
        "$@" >small/said; status=$?; cat small/n.html; ls -A small; exit $status"#;
    let kilobytes = (report.len() / 1024 + 64).to_string();
    // What is left has room for a part of the output, or for nothing at all.
    for (left, command, message) in [
        (
            "8192",
            &["report", "--as", "html", "small/n.md", "--output", "small/n.html"][..],
            "write small/n.html",
        ),
        ("0", &["section", "section", "--format", "html", "--output", "small/n.html"], "write small/n.html"),
        ("0", &["start", "hydrate", "small/new.md"], "write small/new.md"),
        ("0", &["compute", "n.md", "--format", "json"], "write the results"),
    ] {
        let before = ["unshare", "-rm", "bash", "-c", script, "bash", &kilobytes, left];
        let output = place.under(&before, command);
        if output.status.code() == Some(77) || said(&output).contains("unshare") {
            return not_tried("a full file system", "this system mounts none for a test");
        }
        assert_eq!(output.status.code(), Some(2), "{command:?}: {}", said(&output));
        assert!(said(&output).contains(&format!("cannot {message}")), "{command:?}: {}", said(&output));
        let there = String::from_utf8_lossy(&output.stdout).into_owned();
        assert_eq!(there, format!("{OLD}filling\nn.html\nn.md\nsaid\n"), "{command:?}");
    }
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

/// The table of a section is that of one run, whichever was last.
#[test]
fn several_sections_on_one_output_leave_one_whole_table() {
    let place = Place::new();
    let command = |index: usize| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_reweigh"));
        command
            .args(["section", &format!("group-{index}"), "--format", "json", "--output", "section.json"])
            .current_dir(place.folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command
    };
    let mut tables = Vec::new();
    for index in 0..4 {
        let folder = place.path(&format!("group-{index}"));
        std::fs::create_dir(&folder).expect("a folder");
        for number in 0..=index * 4 {
            std::fs::write(folder.join(format!("n{number}.md")), NOTEBOOK).expect("written");
        }
        assert_eq!(command(index).status().expect("it ends").code(), Some(0));
        tables.push(std::fs::read(place.path("section.json")).expect("a table"));
    }
    let lengths: BTreeSet<usize> = tables.iter().map(Vec::len).collect();
    assert_eq!(lengths.len(), 4, "each has a table of its own");
    let runs: Vec<_> = (0..4).map(|index| command(index).spawn().expect("it starts")).collect();
    for mut run in runs {
        assert_eq!(run.wait().expect("it ends").code(), Some(0));
    }
    let last = std::fs::read(place.path("section.json")).expect("a table");
    assert!(tables.contains(&last), "a table of {} bytes that is none of them", last.len());
    assert!(place.names().iter().all(|name| !name.starts_with('.')), "{:?}", place.names());
}

/// Whoever reads a notebook reads it once: what is said of it is of one version, never of two.
#[test]
fn a_notebook_that_is_saved_again_and_again_is_read_as_one_version() {
    let place = Place::new();
    std::fs::create_dir(place.path("group")).expect("a folder");
    let claim = "\n```claimed\ntrial: A B\nm(salt): 1.0000 1.5000\n```\n";
    let versions = ["21.0000 22.5000", "21.0300 22.5400"].map(|readings| {
        let text = NOTEBOOK.replace("cup + salt: 21.0000 22.5000", &format!("cup + salt: {readings}"));
        assert!(text.contains(readings));
        text + claim
    });
    let commands: [&[&str]; 3] = [
        &["compute", "group/n.md", "--format", "json"],
        &["review", "group/n.md", "--format", "json"],
        &["section", "group", "--format", "json"],
    ];
    let save = |text: &str| {
        std::fs::write(place.path("new.md"), text).expect("written");
        std::fs::rename(place.path("new.md"), place.path("group/n.md")).expect("it takes the name");
    };
    let said_of = |text: &str| {
        save(text);
        commands.map(|command| place.run(command).stdout)
    };
    let (one, other) = (said_of(&versions[0]), said_of(&versions[1]));
    let over = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !over.load(std::sync::atomic::Ordering::Relaxed) {
                versions.iter().for_each(|version| save(version));
            }
        });
        for (command, (one, other)) in commands.iter().zip(one.iter().zip(&other)) {
            assert!(one != other && one.len() > 100, "{command:?} tells the two apart");
            for _ in 0..10 {
                let output = place.run(command);
                let is_one = output.stdout == *one || output.stdout == *other;
                assert!(is_one, "{command:?}: {}{}", String::from_utf8_lossy(&output.stdout), said(&output));
            }
        }
        over.store(true, std::sync::atomic::Ordering::Relaxed);
    });
}

/// Of several who begin one notebook at once, one does.
#[test]
fn several_starts_of_one_notebook_leave_one_whole_notebook() {
    let place = Place::new();
    assert_eq!(place.run(&["start", "hydrate", "alone.md"]).status.code(), Some(0));
    let whole = std::fs::read(place.path("alone.md")).expect("a notebook");
    let outputs: Vec<Output> = std::thread::scope(|scope| {
        let runs: Vec<_> =
            (0..6).map(|_| scope.spawn(|| place.run(&["start", "hydrate", "new.md"]))).collect();
        runs.into_iter().map(|run| run.join().expect("it ends")).collect()
    });
    let begun = outputs.iter().filter(|output| output.status.code() == Some(0)).count();
    assert_eq!(begun, 1, "{:?}", outputs.iter().map(said).collect::<Vec<_>>());
    assert!(outputs.iter().all(|output| matches!(output.status.code(), Some(0 | 2))));
    assert_eq!(std::fs::read(place.path("new.md")).expect("a notebook"), whole);
    assert_eq!(place.names(), ["alone.md", "n.html", "n.md", "new.md"]);
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
    if Command::new("faketime").arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_err()
    {
        return not_tried(
            "a clock that is set back",
            "faketime (Debian package `faketime`) is not installed",
        );
    }
    // The second run is before the first, whose report and notebook are of the future to it.
    for time in ["2037-12-31 23:59:59", "1999-01-01 00:00:00", "2024-02-29 12:00:00"] {
        let output = place.under(&["faketime", "-f", time], &REPORT);
        assert_eq!(output.status.code(), Some(0), "{time}: {}", said(&output));
        assert_eq!(std::fs::read(place.path("n.html")).expect("a report"), new, "a clock at {time}");
    }
}

#[test]
fn a_pipe_that_closes_early_is_no_error() {
    let place = Place::new();
    let many: String = (0..400).map(|n| format!("m(salt): {n}.0000 {n}.5000\n")).collect();
    std::fs::write(place.path("long.md"), format!("{NOTEBOOK}\n```claimed\ntrial: A B\n{many}```\n"))
        .expect("written");
    let program = env!("CARGO_BIN_EXE_reweigh");
    let forms = ["text", "json", "csv", "html", "junit", "sarif"];
    let mut commands: Vec<String> =
        forms.iter().map(|form| format!("review long.md --format {form}")).collect();
    commands.extend(forms[..4].iter().map(|form| format!("section . --format {form}")));
    commands.extend(
        [
            "compute long.md",
            "compute long.md --format json",
            "report --as html n.md long.md",
            "report --as markdown n.md long.md",
            "start hydrate new.md",
            "start hydrate --sheet new.html",
            "template check hydrate",
            "formula H2O",
            "--help",
            "report --help",
        ]
        .map(str::to_owned),
    );
    for command in commands {
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
    for megabytes in [16, 48, 80, 96, 128, 192, 384, 1024] {
        let output = place.limited(&format!("ulimit -v {}", megabytes * 1024), &REPORT);
        let is_new = place.whole(&new, &format!("{megabytes} MiB"));
        assert!(is_new || output.status.code() != Some(0), "{}", said(&output));
        assert!(!said(&output).contains("panicked"), "{megabytes} MiB: {}", said(&output));
        assert_eq!(place.names(), ["n.html", "n.md"], "{megabytes} MiB: {}", said(&output));
        if is_new {
            done += 1
        } else {
            ended += 1
        }
        place.put_old();
    }
    assert!(ended > 0 && done > 0, "{ended} runs were stopped, {done} were not");
}

/// Pages are set on several threads. Where there is no memory for those, the program says so and does not break off.
#[cfg(feature = "pdf")]
#[test]
fn with_too_little_memory_for_threads_the_old_report_stays() {
    let place = Place::new();
    let (mut ended, mut done) = (0, 0);
    for megabytes in (56..160).step_by(8).chain([1024]) {
        std::fs::write(place.path("n.pdf"), OLD).expect("written");
        let limit = format!("ulimit -v {}", megabytes * 1024);
        let output = place.limited(&limit, &["report", "n.md", "--output", "n.pdf"]);
        assert!(!said(&output).contains("panicked"), "{megabytes} MiB: {}", said(&output));
        let report = std::fs::read(place.path("n.pdf")).expect("there is one");
        if output.status.code() == Some(0) {
            assert!(report.starts_with(b"%PDF-"), "{megabytes} MiB");
            done += 1;
        } else {
            assert_eq!(report, OLD.as_bytes(), "{megabytes} MiB");
            ended += 1;
        }
    }
    assert!(ended > 0 && done > 0, "{ended} runs were stopped, {done} were not");
}

/// A run that is stopped gives no whole results, and says by its status that it failed.
#[test]
fn with_too_little_memory_nothing_is_taken_for_a_result() {
    let place = Place::new();
    std::fs::write(
        place.path("c.md"),
        format!("{NOTEBOOK}\n```claimed\ntrial: A B\nm(salt): 1.0000 1.5000\n```\n"),
    )
    .expect("written");
    for command in [["compute", "--format", "json", "n.md"], ["review", "--format", "json", "c.md"]] {
        let usual = place.run(&command);
        let before = place.names();
        let (mut ended, mut done) = (0, 0);
        for megabytes in [12, 32, 64, 96, 256, 1024] {
            let output = place.limited(&format!("ulimit -v {}", megabytes * 1024), &command);
            assert_eq!(place.names(), before, "{command:?}, {megabytes} MiB");
            if output.status.code() == usual.status.code() {
                assert_eq!(output.stdout, usual.stdout, "{command:?}, {megabytes} MiB");
                done += 1;
            } else {
                assert_ne!(output.status.code(), Some(0), "{command:?}, {megabytes} MiB");
                ended += 1;
            }
        }
        assert!(ended > 0 && done > 0, "{command:?}: {ended} runs were stopped, {done} were not");
    }
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
