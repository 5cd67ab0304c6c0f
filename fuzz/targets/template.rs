//! Templates: any three texts, parted by a line `=====`, are a template.toml, a method and a notebook of it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::template;

fuzz_target!(|text: &str| {
    let mut parts = text.splitn(3, "\n=====\n");
    let mut part = || parts.next().unwrap_or_default();
    let files = [("t/template.toml", part()), ("t/method.md", part())];
    let notebook = part();
    let folder = files.map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec()));
    let beside = Memory(folder.into_iter().collect());
    if let Ok(template) = template::find("t", &beside) {
        let wanted = reweigh::Wanted { template: Some(template.into()), ..Default::default() };
        reweigh::compute_as("fuzz.md", notebook.as_bytes(), &beside, &wanted);
    }
});
