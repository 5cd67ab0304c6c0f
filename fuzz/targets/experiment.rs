//! TOML: any text as the `experiment` block of a notebook with readings.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;

fuzz_target!(|text: &str| {
    let notebook = format!("```experiment\n{text}\n```\n\n{}", common::READINGS);
    common::computed(&notebook, &Memory::default());
});
