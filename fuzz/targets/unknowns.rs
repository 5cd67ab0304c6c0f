//! Issued unknowns and their reference values: any text.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::review::section::unknowns;

fuzz_target!(|text: &str| {
    for of in [None, Some("w(water)")] {
        let (unknowns, findings) = unknowns::read("unknowns.csv", text, of, None);
        common::lines_fit(text, &findings);
        unknowns.results();
        unknowns.counts();
    }
});
