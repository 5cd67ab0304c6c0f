//! Skeletons: any two texts, parted by a line `=====`, are the template.toml and the notebook.md of a template. It is
//! filled for nobody and for a student, twice to the same text, and the check of the template reads what it gives.
//!
//! What makes a long text within the language before it is put (`*`, `~`, `+`) is left out: for that, a foreign skeleton
//! runs in a process with a limit on memory.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::template::skeleton::{self, Student};
use reweigh::template::{Origin, check, load};

fuzz_target!(|text: &str| {
    let (head, source) = text.split_once("\n=====\n").unwrap_or(("", text));
    if common::makes_long_texts(source) {
        return;
    }
    let files = [("template.toml", head), ("notebook.md", source)];
    let files = files.map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec()));
    let template = load(&Memory(files.into_iter().collect()), Origin::Folder("t".into()));
    let row = [("unknown", "U-7"), ("name", "Bench <<1>>")].map(|(key, text)| (key.to_owned(), text.to_owned()));
    let student = Student { name: "Bench <<1>>".into(), unknown: "U-7".into(), row: row.into_iter().collect() };
    match skeleton::fill(&template, &student) {
        Ok(filled) => assert_eq!(skeleton::fill(&template, &student).ok(), Some(filled)),
        Err(finding) => common::lines_fit(source, &[*finding]),
    }
    check::check(&template);
});
