//! The command as people run it: output, findings, exit status, files.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn reweigh(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the command starts")
}

fn status(output: &Output) -> i32 {
    output.status.code().expect("it ends by itself, not by a signal")
}

fn errors(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("findings are UTF-8")
}

fn text(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("results are UTF-8")
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

fn with(name: &str, bytes: impl AsRef<[u8]>) -> tempfile::TempDir {
    let folder = folder();
    std::fs::write(folder.path().join(name), bytes).expect("the notebook is written");
    folder
}

/// What the first value in the prose of a notebook is, and whether it is marked provisional.
fn first_in_prose(text: &str) -> (String, bool) {
    let computed = reweigh::compute("a.md", text.as_bytes(), &reweigh::files::Memory::default());
    let value = computed.results.inline[0].values[0].clone();
    (value.printed.ascii(), value.provisional)
}

#[test]
fn a_mean_in_the_prose_is_provisional_while_a_series_is_unfinished() {
    // (0.0015/1.0012 + 0.0017/1.0032)/2 = 0.16 %; with 1.5 mg more left in A its last change is 1.2 mg.
    assert_eq!(first_in_prose(SOUND), ("0.16".to_string(), false));
    assert!(first_in_prose(&SOUND.replace("20.1049", "20.1064")).1);
}

// By the rule of constant mass: the change of C, whose last weighing is that of A, is 9.7 mg; that of A is 0.2 mg.
#[test]
fn a_value_picked_from_an_unfinished_trial_is_provisional_where_another_trial_uses_it() {
    let text = "```experiment\nconstant-mass = \"0.5 mg\"\n```\n\n```masses\ntrial: A B C\ndish: 10.0000 11.0000 10.0000\n\
                dish + sample: 10.5000 11.5000 10.6000\ndish + residue, heating 1: 10.2005 11.2005 10.2100\n\
                dish + residue, heating 2: 10.2003 11.2003 = A\n```\n\n```working\nx = m(residue)[C] / m(sample)\n\
                y = m(residue)[A] / m(sample)\nz = m(residue) / m(sample)\nd = m(residue)[C] - m(residue)[A]\n```\n\n\
                {m(residue)[C]} {m(residue)[A]}\n";
    let results = reweigh::compute("a.md", text.as_bytes(), &reweigh::files::Memory::default()).results;
    let provisional = |symbol: &str| -> Vec<bool> {
        let quantity =
            results.quantities.iter().find(|quantity| quantity.symbol == symbol).expect("a quantity");
        let values = quantity.scalar.iter().chain(&quantity.trials).filter_map(|outcome| outcome.value());
        values.map(|value| value.provisional).collect()
    };
    assert_eq!(provisional("x"), [true, true, true]);
    assert_eq!(provisional("y"), [false, false, false]);
    assert_eq!(provisional("z"), [false, false, true]);
    assert_eq!(provisional("d"), [true]);
    let inline: Vec<bool> = results.inline.iter().map(|inline| inline.values[0].provisional).collect();
    assert_eq!(inline, [true, false]);
}

// RFC 4180 rows with times, and words of `measured`, as written.
#[test]
fn the_results_file_keeps_times_and_words() {
    let csv =
        "load,trial,reading,time\ndish,A,10.0000,09:40\ndish,B,11.0000,\ndish + sample,A,10.5000,09:55\n";
    let text = "```masses\ntrial: A B\nfrom: w.csv\n```\n\n```measured\ncrucible: K7   K9\ncolour: – white\n\
                oven: small\nV: 5.0 mL 5.1 mL\n```\n";
    let files = reweigh::files::Memory([("w.csv".to_string(), csv.as_bytes().to_vec())].into());
    let results = reweigh::compute("a.md", text.as_bytes(), &files).results;
    let file: serde_json::Value =
        serde_json::from_str(&reweigh::evaluation::results_file(&results, text)).expect("JSON");
    let cells = &file["series"][0]["rows"][0]["cells"];
    assert_eq!(cells["A"]["time"], "09:40", "{cells}");
    assert!(cells["B"].get("time").is_none(), "{cells}");
    let said = &file["measured_words"];
    assert_eq!(said[0]["trials"], serde_json::json!({ "A": "K7", "B": "K9" }), "{said}");
    assert_eq!(said[1]["trials"], serde_json::json!({ "B": "white" }), "{said}");
    assert_eq!((&said[2]["name"], &said[2]["all"]), (&"oven".into(), &"small".into()), "{said}");
    assert_eq!(said.as_array().map(Vec::len), Some(3), "{said}");
}

/// A notebook without a fault: two trials brought to constant mass.
const SOUND: &str = r#"# Ash of a filter paper

```experiment
title   = "Ash of a filter paper"
authors = ["Bench 1"]
date    = 2026-05-06
```

```masses
trial:                          A          B
crucible:                       20.1034    21.4480
crucible + sample:              21.1046    22.4512
crucible + residue, heating 1:  20.1052    21.4499
crucible + residue, heating 2:  20.1049    21.4497
```

```working
w(ash) = m(residue) / m(sample) in %
```

It left {mean w(ash)} of ash.
"#;

/// The results of the sound notebook with some more lines in its `experiment`.
fn with_settings(lines: &str) -> String {
    let notebook = SOUND.replace("```experiment\n", &format!("```experiment\n{lines}\n"));
    let folder = with("ash.md", notebook);
    let output = reweigh(folder.path(), &["compute", "ash.md"]);
    assert_eq!(status(&output), 0, "{}", errors(&output));
    text(&output)
}

// Each weighing: 0.1 mg/√12 = 0.0288675 mg. In trial A w = 1.5/1001.2 = 0.149820 %; it changes by 1/1001.2 mg with the
// residue, by (1 − w)/1001.2 mg with the crucible and by w/1001.2 mg with the sample, so that u =
// 0.0288675/1001.2 × √(1 + 0.9985² + 0.0015²) = 0.0040746 % and U = 0.0081492 %.
#[test]
fn the_uncertainty_is_shown_where_the_setting_says_so() {
    assert!(!with_settings("").contains('±'));
    assert!(!with_settings("uncertainty = \"off\"\ndigits = \"uncertainty\"").contains('±'));
    let short = with_settings("uncertainty = \"short\"");
    assert!(short.contains("0.15 ± 0.008"), "{short}");
    assert_eq!(short.matches("stands the expanded uncertainty U = k u").count(), 1, "{short}");
    let digits = with_settings("digits = \"uncertainty\"");
    assert!(digits.contains("0.1498 ± 0.0081"), "{digits}");
    let concise = with_settings("digits = \"uncertainty\"\nuncertainty-form = \"concise\"");
    assert!(concise.contains("0.1498(41)") && !concise.contains('±'), "{concise}");
    let plain = with_settings("digits = \"uncertainty\"\nuncertainty-form = \"plain\"");
    assert!(plain.contains("0.1498") && !plain.contains('±') && !plain.contains("(41)"), "{plain}");
}

// JCGM 100:2008, table G.1: k = 1.960 for 95 %, 99.73 % for k = 3; U = 1.960 × 0.0040746 % = 0.0079861 %.
#[test]
fn the_words_say_what_the_coverage_is() {
    let said = |lines: &str| {
        let shown = with_settings(&format!("digits = \"uncertainty\"\n{lines}"));
        let words = shown.split_whitespace().collect::<Vec<_>>().join(" ");
        let of = |words: &str| words.split_once("After ±").map(|(_, after)| format!("After ±{after}"));
        (shown.contains("0.1498 ± 0.0080"), of(&words).unwrap_or_else(|| panic!("{shown}")))
    };
    let (rounded, words) = said("coverage = \"95 %\"");
    let expected =
        "After ± stands the expanded uncertainty U = k u with k chosen for a level of confidence of 95 %. ";
    assert!(rounded && words.starts_with(expected), "{words}");
    let (_, words) = said("coverage = \"57.7 %\"");
    assert!(words.contains("for a level of confidence of 57.7 %. "), "{words}");
    for (k, level) in [("2", "about 95 %"), ("3", "about 99.7 %"), ("10", "more than 99.999 %")] {
        let (_, words) = said(&format!("coverage = \"k = {k}\""));
        let expected = format!("with the coverage factor k = {k}, for a level of confidence of {level}. ");
        assert!(words.contains(&expected), "{words}");
    }
}

#[test]
fn a_notebook_without_a_title_goes_by_its_first_heading() {
    let untitled = SOUND.replace("title   = \"Ash of a filter paper\"\n", "");
    let named = |notebook: &str| {
        let folder = with("ash.md", notebook);
        text(&reweigh(folder.path(), &["compute", "ash.md"])).lines().next().unwrap_or_default().to_owned()
    };
    assert_eq!(named(&untitled.replace("# Ash of", "# *Ash* of")), "Ash of a filter paper");
    assert_eq!(named(&untitled.replace("# Ash of a filter paper", "")), "ash.md");
}

#[test]
fn a_sound_notebook_ends_with_zero_and_says_nothing() {
    let folder = with("ash.md", SOUND);
    let output = reweigh(folder.path(), &["compute", "ash.md"]);
    assert_eq!(status(&output), 0, "{}", errors(&output));
    assert_eq!(errors(&output), "");
    // (20.1049 − 20.1034) / (21.1046 − 20.1034) = 0.0015/1.0012 and 0.0017/1.0032: two figures each.
    let line = text(&output).lines().find(|line| line.contains("w(ash)")).expect("the result").to_string();
    assert!(line.contains("0.15") && line.contains("0.17"), "{line}");
}

#[test]
fn findings_go_to_the_standard_error_and_results_to_the_standard_output() {
    let folder = with("a.md", SOUND.replace("m(sample) in %", "m(smaple) in %"));
    let output = reweigh(folder.path(), &["compute", "a.md"]);
    assert_eq!(status(&output), 1);
    assert!(errors(&output).contains("error[unknown-symbol]"));
    assert!(errors(&output).contains("did you mean m(sample)?"));
    assert!(text(&output).contains("m(residue) / g"), "what can be computed still is");
    assert!(!text(&output).contains("error["));
}

#[test]
fn plain_findings_stand_on_one_line_each_with_their_place() {
    let folder = with("a.md", SOUND.replace("m(sample) in %", "m(smaple) in %"));
    let output = reweigh(folder.path(), &["--plain", "compute", "a.md"]);
    let said = errors(&output);
    let line = said.lines().next().expect("a finding");
    // Line 18 of the notebook above, after `w(ash) = m(residue) / `, which is 22 characters.
    assert!(line.starts_with("a.md:18:23: error: "), "{line}");
    assert!(line.ends_with("did you mean m(sample)?"), "{line}");
}

#[test]
fn warnings_count_as_found_and_notes_do_not() {
    let unfinished = SOUND.replace("20.1049", "20.0952");
    let output = reweigh(with("a.md", unfinished).path(), &["compute", "a.md"]);
    assert_eq!(status(&output), 1);
    assert!(errors(&output).contains("warning[provisional]"), "{}", errors(&output));
    let once = SOUND.replace("crucible + residue, heating 2:  20.1049    21.4497\n", "");
    let output = reweigh(with("a.md", once).path(), &["compute", "a.md"]);
    assert_eq!(status(&output), 0);
    assert!(errors(&output).contains("note[constant-mass]"), "{}", errors(&output));
}

#[test]
fn a_command_that_cannot_run_ends_with_two() {
    let folder = folder();
    for arguments in
        [&["compute", "absent.md"][..], &["compute"], &["compute", "."], &["compute", "--format", "xml", "a"]]
    {
        let output = reweigh(folder.path(), arguments);
        assert_eq!(status(&output), 2, "{arguments:?}");
        assert!(!errors(&output).is_empty());
        assert!(output.stdout.is_empty());
    }
    assert_eq!(status(&reweigh(folder.path(), &["--help"])), 0);
    assert_eq!(status(&reweigh(folder.path(), &["--version"])), 0);
}

#[test]
fn a_closed_pipe_is_no_error() {
    use std::process::Stdio;
    let folder = with("ash.md", SOUND);
    let mut child = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(["compute", "ash.md", "--format", "json"])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(status(&output), 0, "{}", errors(&output));
}

/// Bad input: no panic, an exit status of its own, and a finding that names what was found.
#[test]
fn bad_input_gets_findings() {
    let masses = "```masses\ncrucible: 18.2000\ncrucible + sample: 19.0000\n```\n";
    let working = |lines: &str| format!("{masses}\n```working\n{lines}\n```\n").into_bytes();
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("empty", Vec::new(), "empty-notebook"),
        ("blank", b"\n\n".to_vec(), "empty-notebook"),
        ("no trials", b"```masses\nunit: g\n```\n".to_vec(), "no-trials"),
        ("below zero", masses.replace("19.0000", "18.1000").into_bytes(), "net-mass-below-zero"),
        ("text for a number", masses.replace("19.0000", "nineteen").into_bytes(), "bad-reading"),
        ("a comma nobody declared", masses.replace("19.0000", "19,0000").into_bytes(), "decimal-comma"),
        ("unknown symbol", working("x = m(smaple)"), "unknown-symbol"),
        ("unknown unit", working("x = m(sample) in stone"), "bad-unit"),
        ("circle", working("x = y\ny = x"), "cycle"),
        ("division by zero", working("x = 1 / (m(sample) - m(sample))"), "division-by-zero"),
        ("unlike kinds", working("x = m(sample) + 1 mol"), "dimension-mismatch"),
        ("root of a negative number", working("x = sqrt(0 - 4)"), "not-computable"),
        ("a huge exponent", working("x = 1e999999"), "too-large"),
        ("a huge power", working("x = 10^(10^9)"), "too-large"),
        (
            "ten thousand brackets",
            working(&format!("x = {}1{}", "(".repeat(10_000), ")".repeat(10_000))),
            "too-large",
        ),
        ("no formula", working("x = M(Xy2)"), "unknown-formula"),
        ("not UTF-8", b"# Caf\xe9\n".to_vec(), "invalid-text"),
        ("two titles", b"```experiment\ntitle = \"a\"\ntitle = \"b\"\n```\n".to_vec(), "repeated-setting"),
        ("an unknown key", b"```experiment\ntitel = \"a\"\n```\n".to_vec(), "unknown-key"),
        ("a path that leads out", b"```masses\nfrom: ../secret.csv\n```\n".to_vec(), "bad-file"),
    ];
    let mut wrong = Vec::new();
    for (name, bytes, code) in cases {
        let folder = with("bad.md", bytes);
        let output = reweigh(folder.path(), &["compute", "bad.md"]);
        let said = errors(&output);
        if output.status.code() != Some(1) || !said.contains(&format!("[{code}]")) {
            wrong.push(format!("{name}: status {:?}, expected [{code}] in:\n{said}", output.status.code()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn line_endings_and_a_byte_order_mark_change_nothing() {
    let plain = reweigh(with("ash.md", SOUND).path(), &["compute", "ash.md"]);
    let tablet = format!("\u{FEFF}{}", SOUND.replace('\n', "\r\n"));
    let same = reweigh(with("ash.md", tablet).path(), &["compute", "ash.md"]);
    assert_eq!(text(&plain), text(&same));
    assert_eq!(status(&same), 0, "{}", errors(&same));
}

/// A name that would steer a terminal is printed, not obeyed.
#[test]
fn escapes_do_not_reach_the_terminal() {
    let steering = SOUND
        .replace("Ash of a filter paper\"", "Ash \\u001b[31m\"")
        .replace("m(residue) /", "m(\u{1b}[2J) /");
    let output = reweigh(with("a.md", steering).path(), &["compute", "a.md"]);
    assert!(!output.stdout.contains(&0x1b), "{}", text(&output));
    assert!(!output.stderr.contains(&0x1b), "{}", errors(&output));
}

/// The output that the README shows is what the command prints.
#[test]
fn the_readme_shows_what_is_printed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = std::fs::read_to_string(root.join("README.md")).expect("the README");
    let command = "$ reweigh compute notebooks/selenite.md\n";
    let shown = readme.split(command).nth(1).and_then(|rest| rest.split("```").next()).expect("an excerpt");
    let printed = text(&reweigh(root, &["compute", "notebooks/selenite.md"]));
    let mut lines = printed.lines();
    let mut checked = 0;
    for line in shown.lines().filter(|line| !line.is_empty() && *line != "…") {
        assert!(lines.any(|printed| printed == line), "not printed, or not in this order: {line}");
        checked += 1;
    }
    assert!(checked > 10, "the excerpt holds {checked} lines");
}

/// Every notebook of the project: its results file keeps to the published schema.
#[test]
fn results_files_keep_to_the_schema() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let schema =
        std::fs::read_to_string(root.join("src/evaluation/results-1.schema.json")).expect("the schema");
    let schema: serde_json::Value = serde_json::from_str(&schema).expect("the schema is JSON");
    let schema = jsonschema::validator_for(&schema).expect("the schema is one");
    let mut checked = 0;
    for folder in ["notebooks", "notebooks/field", "tests/published"] {
        for notebook in markdown_files(&root.join(folder)) {
            let output = reweigh(root, &["compute", &notebook.to_string_lossy(), "--format", "json"]);
            let results: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
            let problems: Vec<String> =
                schema.iter_errors(&results).map(|e| format!("{} at {}", e, e.instance_path())).collect();
            assert!(problems.is_empty(), "{}: {}", notebook.display(), problems.join("\n"));
            checked += 1;
        }
    }
    assert!(checked > 50, "only {checked} notebooks were found");
}

fn markdown_files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).expect("the folder").map(|entry| entry.expect("an entry").path());
    entries.filter(|path| path.extension().is_some_and(|ending| ending == "md")).collect()
}

#[cfg(feature = "pdf")]
mod report {
    use super::*;

    #[test]
    fn the_report_lands_under_build_and_its_path_is_printed() {
        let folder = with("ash.md", SOUND);
        let output = reweigh(folder.path(), &["report", "ash.md"]);
        assert_eq!(status(&output), 0, "{}", errors(&output));
        assert_eq!(text(&output), "build/ash.pdf\n");
        let pdf = std::fs::read(folder.path().join("build/ash.pdf")).expect("the report");
        assert!(pdf.starts_with(b"%PDF-"));
    }

    #[test]
    fn the_same_notebook_gives_the_same_bytes_in_any_folder() {
        let bytes = |folder: &tempfile::TempDir, name: &str| {
            reweigh(folder.path(), &["report", "ash.md", "--output", name]);
            std::fs::read(folder.path().join(name)).expect("the report")
        };
        let (one, other) = (with("ash.md", SOUND), with("ash.md", SOUND));
        assert_eq!(bytes(&one, "one.pdf"), bytes(&other, "deep/other.pdf"));
    }

    #[test]
    fn several_notebooks_go_to_a_folder_each_under_its_name() {
        let folder = with("a.md", SOUND);
        std::fs::write(folder.path().join("b.md"), SOUND.replace("paper", "card"))
            .expect("a second notebook");
        let output = reweigh(folder.path(), &["report", "a.md", "b.md", "--output", "out"]);
        assert_eq!(status(&output), 0, "{}", errors(&output));
        assert!(folder.path().join("out/a.pdf").is_file() && folder.path().join("out/b.pdf").is_file());
    }

    #[test]
    fn two_reports_never_share_a_file() {
        let folder = with("a.md", SOUND);
        std::fs::create_dir(folder.path().join("other")).expect("a folder");
        std::fs::write(folder.path().join("other/a.md"), SOUND).expect("a notebook of the same name");
        let output = reweigh(folder.path(), &["report", "a.md", "other/a.md"]);
        assert_eq!(status(&output), 2);
        assert!(!folder.path().join("build").exists());
    }

    #[test]
    fn a_notebook_is_never_replaced_by_its_report() {
        let folder = with("ash.md", SOUND);
        let output = reweigh(folder.path(), &["report", "ash.md", "--output", "ash.md"]);
        assert_eq!(status(&output), 2);
        assert_eq!(std::fs::read_to_string(folder.path().join("ash.md")).expect("the notebook"), SOUND);
    }

    #[test]
    fn a_report_with_errors_is_still_set() {
        let folder = with("a.md", SOUND.replace("m(sample) in %", "m(smaple) in %"));
        let output = reweigh(folder.path(), &["report", "a.md"]);
        assert_eq!(status(&output), 1, "{}", errors(&output));
        assert!(folder.path().join("build/a.pdf").is_file());
    }

    #[test]
    fn a_report_that_was_there_survives_a_run_that_fails() {
        let folder = with("ash.md", SOUND);
        reweigh(folder.path(), &["report", "ash.md"]);
        let report = folder.path().join("build/ash.pdf");
        let before = std::fs::read(&report).expect("the report");
        std::fs::remove_file(folder.path().join("ash.md")).expect("the notebook goes");
        assert_eq!(status(&reweigh(folder.path(), &["report", "ash.md"])), 2);
        assert_eq!(std::fs::read(&report).expect("the report is still there"), before);
        let left: Vec<_> = std::fs::read_dir(folder.path().join("build")).expect("the folder").collect();
        assert_eq!(left.len(), 1, "nothing half-written is left");
    }
}

#[test]
fn claims_with_a_like_slip_each_show_their_own_recomputation() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks/from-templates/hydrate.md");
    let sound = std::fs::read_to_string(demo).expect("the demo is there");
    let swapped = sound.replace("m(sample):       1.0387 g", "m(sample):       1.0378 g");
    let swapped = swapped.replace("mean w(water):   14.68 %", "mean w(water):   14.86 %");
    let folder = with("notebook.md", swapped);
    let said = text(&reweigh(folder.path(), &["review", "notebook.md"]));
    assert!(said.contains("1.0387 g with two digits swapped is 1.0378 g"), "{said}");
    assert!(said.contains("14.68 % with two digits swapped is 14.86 %"), "{said}");
}

#[test]
fn the_ending_of_the_output_says_the_form_of_a_report() {
    let folder = with("n.md", SOUND);
    let begins = |name: &str, with: &str| {
        let bytes = std::fs::read(folder.path().join(name)).expect("there is a report");
        bytes.starts_with(with.as_bytes())
    };
    for (name, with) in
        [("a.html", "<!DOCTYPE html>"), ("a.HTM", "<!DOCTYPE html>"), ("a.pdf", "%PDF-"), ("a", "%PDF-")]
    {
        assert_eq!(status(&reweigh(folder.path(), &["report", "n.md", "--output", name])), 0, "{name}");
        assert!(begins(name, with), "{name}");
    }
    assert_eq!(status(&reweigh(folder.path(), &["report", "n.md", "--output", "a.md"])), 0);
    assert!(begins("a.md", &SOUND[..10]));
    assert_eq!(status(&reweigh(folder.path(), &["report", "n.md", "--as", "html", "--output", "b.page"])), 0);
    assert!(begins("b.page", "<!DOCTYPE html>"));
    let both = reweigh(folder.path(), &["report", "n.md", "--as", "html", "--output", "b.pdf"]);
    assert_eq!(status(&both), 2);
    assert!(
        errors(&both).contains("b.pdf ends as a PDF does, and --as asks for an HTML page"),
        "{}",
        errors(&both)
    );
    assert!(!folder.path().join("b.pdf").exists());
    let own = reweigh(folder.path(), &["report", "n.md", "--output", "n.md"]);
    assert_eq!(status(&own), 2, "the notebook stays: {}", errors(&own));
    assert_eq!(std::fs::read(folder.path().join("n.md")).expect("the notebook"), SOUND.as_bytes());
}
