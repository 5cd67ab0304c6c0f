//! Rosters: any text. Each line has a file name of its own that is safe anywhere, and a name.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::template::roster;
use std::collections::BTreeSet;

fuzz_target!(|text: &str| {
    let Ok(entries) = roster::read(text) else { return };
    assert!(!entries.is_empty());
    let mut taken = BTreeSet::new();
    for entry in &entries {
        assert!(!entry.student.name.is_empty());
        let name = entry.file.strip_suffix(".md").expect("a notebook");
        assert!(!name.is_empty() && name.len() < 90, "{name}");
        assert!(name.chars().all(|c| c.is_alphanumeric() || c == '_' || c == '-'), "{name}");
        assert!(!name.starts_with('-') && !name.ends_with('-'), "{name}");
        assert!(taken.insert(name.to_lowercase()), "{name} twice");
    }
});
