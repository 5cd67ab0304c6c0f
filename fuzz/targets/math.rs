//! Mathematics in prose: any text as the listed part of LaTeX, spoken, and set in a page.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::report::{html, math};

fuzz_target!(|text: &str| {
    if let Ok(math) = math::read(text) {
        math::spoken(&math);
    }
    let notebook = format!("$$\n{text}\n$$\n\n${text}$\n");
    let computed = reweigh::compute("fuzz.md", notebook.as_bytes(), &Memory::default());
    let page = html::html(&computed.notebook, &computed.results, &[], &Memory::default(), None);
    assert!(page.text.ends_with("</html>\n"));
});
