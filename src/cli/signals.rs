//! Ctrl-C, and other words to end: what is half written is taken away, then the program ends as the signal asks, so that a
//! shell knows of it (status 130 for Ctrl-C, by common practice).
//!
//! A signal that whoever started the program has set to be ignored stays ignored, as after `nohup`. A limit on the size of files
//! is no end: the write that meets it fails and says so.

use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};
use signal_hook::iterator::Signals;
use signal_hook::low_level::emulate_default_handler;

/// Begins to listen. Where that is not to be had, signals end the program as ever.
pub(super) fn listen() {
    let ignored = ignored();
    let heard =
        [SIGHUP, SIGINT, SIGTERM, SIGXFSZ].into_iter().filter(|signal| ignored >> (signal - 1) & 1 == 0);
    let Ok(mut signals) = Signals::new(heard) else { return };
    let listen = move || {
        for signal in signals.forever().filter(|signal| *signal != SIGXFSZ) {
            crate::files::abandon();
            drop(emulate_default_handler(signal));
        }
    };
    drop(std::thread::Builder::new().name("signals".into()).spawn(listen));
}

/// The signals that are ignored, a bit for each, as Linux tells them; none where it is not told.
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0)
}
