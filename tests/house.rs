//! The house: each room uses only rooms before it, and every file says what it is for.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The rooms in the order in which they may use each other.
const ROOMS: [&str; 14] = [
    "span",
    "finding",
    "files",
    "quantity",
    "chemistry",
    "statistics",
    "notebook",
    "weighing",
    "evaluation",
    "template",
    "report",
    "review",
    "bench_page",
    "cli",
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

fn all() -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    sources(&root, &mut found);
    found.sort();
    let read = |path: PathBuf| {
        let text = std::fs::read_to_string(&path).unwrap();
        (path.strip_prefix(&root).unwrap().to_path_buf(), text)
    };
    found.into_iter().map(read).collect()
}

fn room(path: &Path) -> String {
    let first = path.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_string()
}

/// The rooms a file names by `crate::room`, tests of the file left out.
fn used(text: &str) -> Vec<(usize, String)> {
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or("");
    let mut used = Vec::new();
    for (number, line) in code.lines().enumerate().filter(|(_, line)| !line.trim_start().starts_with("//")) {
        for (at, _) in line.match_indices("crate::") {
            let name: String =
                line[at + 7..].chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            used.push((number + 1, name));
        }
    }
    used
}

#[test]
fn rooms_use_only_rooms_before_them() {
    let place: BTreeMap<&str, usize> = ROOMS.iter().enumerate().map(|(index, room)| (*room, index)).collect();
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (path, text) in all() {
        let Some(own) = place.get(room(&path).as_str()) else { continue };
        seen += 1;
        for (line, other) in used(&text) {
            if place.get(other.as_str()).is_some_and(|other| other > own) {
                wrong.push(format!("{}:{line} uses {other}", path.display()));
            }
        }
    }
    assert!(seen > 20, "only {seen} files of rooms were found");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_is_in_a_room_and_says_what_it_is_for() {
    for (path, text) in all() {
        let name = room(&path);
        assert!(
            name == "lib" || name == "main" || ROOMS.contains(&name.as_str()),
            "{} is in no room",
            path.display()
        );
        assert!(text.starts_with("//!"), "{} does not open with what it is for", path.display());
    }
}

/// The table of promises names tests that exist.
#[test]
fn every_test_that_a_promise_names_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let guide = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let promises = guide.split("## Promises").nth(1).unwrap().split("\n## ").next().unwrap();
    let mut named = 0;
    for (file, test) in promises.split('`').filter_map(|code| code.split_once(": ")) {
        if !file.chars().all(|c| c.is_ascii_lowercase() || c == '_') {
            continue;
        }
        let text = std::fs::read_to_string(root.join(format!("tests/{file}.rs"))).unwrap_or_default();
        assert!(text.contains(&format!("fn {test}(")), "tests/{file}.rs has no {test}");
        named += 1;
    }
    assert!(named > 30, "only {named} tests are named");
}

/// A file of tests that no one takes in would never run.
#[test]
fn every_file_of_tests_is_taken_in() {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let taken = std::fs::read_to_string(tests.join("all.rs")).unwrap();
    let mut files = 0;
    for entry in std::fs::read_dir(&tests).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        if path.extension().is_none_or(|ending| ending != "rs") || name == "all" {
            continue;
        }
        assert!(taken.lines().any(|line| line == format!("mod {name};")), "tests/all.rs lacks mod {name}");
        files += 1;
    }
    assert!(files > 40, "only {files} files of tests were found");
}
