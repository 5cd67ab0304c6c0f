//! Equations: any text, by itself and as a block of a notebook.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::chemistry::Reaction;
use reweigh::files::Memory;

fuzz_target!(|text: &str| {
    if let Ok(reaction) = Reaction::parse(text) {
        drop(reaction.balance());
    }
    let notebook = format!("{}\n```reaction\n{text}\n```\n", common::READINGS);
    common::computed(&notebook, &Memory::default());
});
