//! Readings from a file: any bytes behind the first as the CSV file that a notebook names; the first one says with which decimal mark.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;

fuzz_target!(|bytes: &[u8]| {
    let Some((first, table)) = bytes.split_first() else { return };
    let mark = if first % 2 == 0 { "" } else { "decimal = \"comma\"\n" };
    let notebook = format!("```experiment\n{mark}```\n\n```masses\nfrom: w.csv\n```\n");
    let mut files = Memory::default();
    files.0.insert("w.csv".into(), table.to_vec());
    let computed = common::computed(&notebook, &files);
    // Places in the file are lines; ends of lines are counted however they are written.
    let last = table.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).count() + 1;
    for finding in computed.results.findings.iter().filter(|finding| finding.file.is_some()) {
        assert!(
            finding.place.is_none_or(|(line, column)| (1..=last).contains(&line) && column > 0),
            "{finding:?}"
        );
    }
});
