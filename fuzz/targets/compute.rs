//! Reading and evaluating: any bytes come to results that are well-formed JSON, and to findings at places of the text.
#![no_main]

mod common;

use common::places_fit;
use libfuzzer_sys::fuzz_target;
use reweigh::evaluation::results_file;
use reweigh::files::Memory;

fuzz_target!(|bytes: &[u8]| {
    let computed = reweigh::compute("fuzz.md", bytes, &Memory::default());
    places_fit(&computed.notebook.text, &computed.results.findings);
    let file = results_file(&computed.results, &computed.notebook.text);
    assert!(file.starts_with('{') && file.ends_with("}\n"));
});
