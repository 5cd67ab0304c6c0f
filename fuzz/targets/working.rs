//! Expressions: any text as the formulas of a notebook with readings.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::notebook::read_formula;

fuzz_target!(|text: &str| {
    for comma in [false, true] {
        if let Err(finding) = read_formula(text, 0, comma) {
            common::places_fit(text, &[*finding]);
        }
    }
    let (first, second) = text.split_once("\n=====\n").unwrap_or((text, ""));
    let blocks = format!("```working\n{first}\n```\n\n```theory\n{second}\n```\n");
    common::computed(&format!("{}\n{blocks}", common::READINGS), &Memory::default());
});
