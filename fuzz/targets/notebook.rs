//! The reader of notebooks: any bytes, and every span it gives lies in the text on whole characters.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::notebook;
use reweigh::span::Span;

fuzz_target!(|bytes: &[u8]| {
    let read = notebook::read("fuzz.md", bytes, &Memory::default());
    let fits = |span: Span| assert!(read.text.get(span.start..span.end).is_some(), "{span:?} does not fit");
    read.blocks.iter().for_each(|block| fits(block.span));
    read.inline.iter().for_each(|inline| fits(inline.span));
    read.checks.iter().for_each(|check| fits(check.span));
    for finding in read.findings.iter().filter(|finding| finding.file.is_none()) {
        finding.span.into_iter().for_each(fits);
        finding.labels.iter().for_each(|(span, _)| fits(*span));
    }
});
