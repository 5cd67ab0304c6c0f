//! Readings written into a notebook: any notebook, any of its lines and any words. Either nothing is written, or every byte of
//! the notebook is still there, in its order, and the rest of it reads as before.
//!
//! The first line of the input is the entry: a digit for its kind, one for the line, one for the column, then three texts parted
//! by `|`.
#![no_main]

mod common;

use libfuzzer_sys::fuzz_target;
use reweigh::Wanted;
use reweigh::bench_page::checking;
use reweigh::bench_page::write_back::{At, Entry, Why, cell_text, enter, lines, trial_names};
use reweigh::files::Memory;
use reweigh::notebook::Notebook;

fuzz_target!(|bytes: &[u8]| {
    let mut parts = bytes.splitn(2, |byte| *byte == b'\n');
    let (Some(head), Some(own)) = (parts.next(), parts.next()) else { return };
    let computed = reweigh::compute("fuzz.md", own, &Memory::default());
    let Some((entry, was)) = entry(&String::from_utf8_lossy(head), &computed.notebook) else { return };
    if let Ok(written) = enter(own, &computed.notebook, &entry) {
        assert!(keeps(own, &written, &was), "bytes of the notebook changed");
        assert_ne!(own, written);
    }
    checking::check(&computed, own, &entry, &Memory::default(), &Wanted::default());
});

/// An entry, and the bytes of the dash that it may take out.
fn entry(head: &str, notebook: &Notebook) -> Option<(Entry, String)> {
    let digit = |at: usize| head.chars().nth(at).and_then(|c| c.to_digit(10)).map(|digit| digit as usize);
    let (kind, nth, column) = (digit(0)?, digit(1)?, digit(2)?);
    let mut words = head.chars().skip(3).collect::<String>();
    words.truncate(words.trim_end().len());
    let mut words = words.split('|').map(str::to_owned);
    let mut word = || words.next().unwrap_or_default();
    let lines = lines(notebook);
    let line = lines.get(nth % lines.len().max(1))?;
    let label = line.row.label.value.clone();
    let was = cell_text(notebook, line.row, column).to_owned();
    let trial = trial_names(notebook, line.masses).get(column).cloned().unwrap_or_default();
    let at = At { label: label.clone(), nth: line.nth, column, trial, was };
    let dash = line.row.cells.get(column).map_or("", |cell| cell.written.text(&notebook.text)).to_owned();
    let entry = match kind % 4 {
        0 => {
            let (reading, reason, time) = (word(), word(), word());
            Entry::Reading { at, reading, why: (!reason.is_empty()).then_some(Why { reason, time }) }
        }
        1 => Entry::Further { at, reading: word(), treatment: word() },
        2 => Entry::Load { behind: at, reading: word(), label: word() },
        _ => Entry::Trial { label, nth: line.nth, name: word() },
    };
    Some((entry, dash))
}

/// Whether a text still stands in another one, all its bytes in their order, save for one dash.
fn keeps(own: &[u8], written: &[u8], dash: &str) -> bool {
    let without = |at: usize| [&own[..at], &own[at + dash.len()..]].concat();
    let dashes = own.windows(dash.len().max(1)).enumerate().filter(|(_, window)| *window == dash.as_bytes());
    let is_dash = matches!(dash, "–" | "-" | "−" | "—");
    stands_in(own, written) || is_dash && dashes.into_iter().any(|(at, _)| stands_in(&without(at), written))
}

fn stands_in(own: &[u8], written: &[u8]) -> bool {
    let mut rest = written.iter();
    own.iter().all(|byte| rest.any(|other| other == byte))
}
