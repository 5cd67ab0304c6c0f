//! The results of an earlier run over a section: any bytes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::review::section::since::{Comparison, Earlier};

fuzz_target!(|bytes: &[u8]| {
    if let Ok(earlier) = Earlier::read(bytes) {
        Comparison::new(&earlier).finish();
    }
});
