//! `start` and `template check` as people run them.

use std::path::Path;
use std::process::{Command, Output};

fn reweigh(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_reweigh"));
    command.args(arguments).current_dir(folder).output().expect("the command runs")
}

fn errors(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn a_notebook_is_begun_and_never_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    assert_eq!(reweigh(folder.path(), &["start", "hydrate", "mine.md"]).status.code(), Some(0));
    let file = folder.path().join("mine.md");
    std::fs::write(&file, "my work").expect("it is written");
    let again = reweigh(folder.path(), &["start", "hydrate", "mine.md"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(errors(&again).contains("mine.md is there already; nothing was written"), "{}", errors(&again));
    assert_eq!(std::fs::read_to_string(&file).expect("it is there"), "my work");
}

#[test]
fn a_roster_gives_one_notebook_each_or_none() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("names.csv"), "name,unknown\nBench 1,U-3\n../Bench 2,U-4\n")
        .expect("written");
    let output = reweigh(folder.path(), &["start", "hydrate", "class", "--roster", "names.csv"]);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
    let second =
        std::fs::read_to_string(folder.path().join("class/Bench-2.md")).expect("its name is made safe");
    assert!(
        second.contains("unknown  = \"U-4\"") && second.contains("authors  = [\"../Bench 2\"]"),
        "{second}"
    );
    std::fs::remove_file(folder.path().join("class/Bench-1.md")).expect("removed");
    let output = reweigh(folder.path(), &["start", "hydrate", "class", "--roster", "names.csv"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(!folder.path().join("class/Bench-1.md").exists(), "nothing is written where one file is there");
    std::fs::write(folder.path().join("twice.csv"), "name\nLee\nlee\n").expect("written");
    let output = reweigh(folder.path(), &["start", "hydrate", "class", "--roster", "twice.csv"]);
    assert!(errors(&output).contains("lines 2 (“Lee”) and 3 (“lee”)"), "{}", errors(&output));
}

#[test]
fn a_template_that_is_nowhere_is_told_with_those_that_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = reweigh(folder.path(), &["start", "hydrte"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(errors(&output).contains("did you mean `hydrate`?"), "{}", errors(&output));
}

#[test]
fn a_foreign_skeleton_without_an_end_is_stopped_at_its_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("own");
    std::fs::create_dir(&own).expect("a folder");
    std::fs::write(own.join("template.toml"), "id = \"own\"\nversion = \"1\"\ntitle = \"T\"\n")
        .expect("written");
    let endless = "# a\n\n<% for i in range(99999) %><% for j in range(99999) %>x<% endfor %><% endfor %>\n";
    std::fs::write(own.join("notebook.md"), endless).expect("written");
    let output = reweigh(folder.path(), &["--plain", "start", "own", "n.md"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(errors(&output).contains("own/notebook.md:3:"), "{}", errors(&output));
    assert!(!folder.path().join("n.md").exists());
}

#[test]
fn a_check_tells_what_it_looked_at_and_what_local_rules_change() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("hydrate");
    std::fs::create_dir_all(own.join("marking")).expect("a folder");
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/hydrate");
    for file in ["template.toml", "method.md", "notebook.md", "marking/sample.md"] {
        std::fs::copy(shipped.join(file), own.join(file)).expect("a copy");
    }
    std::fs::write(own.join("local.toml"), "constant-mass = \"1 mg\"\n").expect("written");
    let output = reweigh(folder.path(), &["template", "check", "hydrate"]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
    assert!(
        said.contains("local.toml:1: constant-mass is “1 mg” instead of “not more than 0.5 mg”"),
        "{said}"
    );
    assert!(said.contains("method on the sample data: 7 quantities computed, in order"), "{said}");
}
