//! Marks: any text as the `marking/marks.toml` of a template.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::template::{Template, marks};

fuzz_target!(|text: &str| {
    let mut template = Template::default();
    template.marking.insert("marks.toml".into(), text.as_bytes().to_vec());
    let (_, findings) = marks::marks(&template);
    common::lines_fit(text, &findings);
});
