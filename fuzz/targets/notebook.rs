//! The reader of notebooks: any bytes, and every span it gives lies in the text on whole characters.
#![no_main]

mod common;

use common::{fits, places_fit};
use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::notebook::{self, Item};

fuzz_target!(|bytes: &[u8]| {
    let read = notebook::read("fuzz.md", bytes, &Memory::default());
    for block in &read.blocks {
        fits(&read.text, block.span);
        fits(&read.text, block.content);
    }
    read.inline.iter().for_each(|inline| fits(&read.text, inline.span));
    read.checks.iter().for_each(|check| fits(&read.text, check.span));
    read.images.iter().for_each(|image| fits(&read.text, image.span));
    for item in &read.items {
        if let Item::Event(_, span) = item {
            fits(&read.text, *span);
        }
    }
    places_fit(&read.text, &read.findings);
});
