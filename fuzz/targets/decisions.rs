//! Decisions of a marker: any text.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::review::section::decisions;

fuzz_target!(|text: &str| {
    let (decisions, findings) = decisions::read("decisions.toml", text);
    common::lines_fit(text, &findings);
    assert!(decisions.list.len() >= decisions.of("0").count());
});
