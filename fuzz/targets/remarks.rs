//! Texts of remarks: any text, filled with one of everything that remarks can put, and the page that is made of it.
//!
//! What makes a long text within the language before it is put (`*`, `~`, `+`) is left out: for that, foreign remarks
//! are filled in a process with a limit on memory.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::review::remarks::{self, Text};
use serde_json::Value;
use std::sync::LazyLock;

static EVERYTHING: LazyLock<Value> = LazyLock::new(remarks::specimen);

fuzz_target!(|source: &str| {
    if common::makes_long_texts(source) {
        return;
    }
    let text = Text { file: "remarks.md".into(), source: source.into() };
    match remarks::fill(&text, &EVERYTHING) {
        Ok(filled) => {
            assert!(filled.ends_with('\n') && !filled.contains("\n\n\n"));
            let page = remarks::html(&filled, "<title>").expect("the page fills with any remarks");
            assert!(!page.contains("<script") && page.contains("Remarks: &lt;title&gt;"));
        }
        Err(finding) => common::lines_fit(source, &[*finding]),
    }
});
