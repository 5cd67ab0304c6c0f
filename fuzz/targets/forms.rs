//! The forms of a report that need no typesetter: any notebook as a page, as Markdown, and as the typesetter's source.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::report::{Attachment, Glyph, Means, Pictures, html, markdown, typst_source};

fuzz_target!(|text: &str| {
    let files = Memory::default();
    let Ok(own) = markdown::without_computed(text.as_bytes()) else { return };
    let computed = reweigh::compute("fuzz.md", &own, &files);
    let (notebook, results) = (&computed.notebook, &computed.results);
    let template = computed.template.as_deref();
    let written = markdown::markdown(&own, notebook, results, &files, template);
    let back = markdown::without_computed(&written.bytes).expect("what was put in can be taken out");
    assert!(back == own, "taking out gives other bytes");
    common::places_fit(&notebook.text, &written.findings);
    let attachments = [Attachment::source("fuzz.md", own.clone())];
    let page = html::html(notebook, results, &attachments, &files, template);
    let carried = html::carried(&page.text).expect("the page carries its notebook");
    assert!(carried.iter().any(|file| file.bytes == own));
    let means = Means {
        pictures: &Pictures::of(notebook, &files),
        attachments: &[],
        glyph: &|_| Glyph::Everywhere,
        template,
    };
    let source = typst_source(notebook, results, &means);
    common::places_fit(&notebook.text, &source.findings);
});
