//! Reports that are handed in as PDF: any bytes. What comes out is worked out and compared, as a review does.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::review::report_file;

fuzz_target!(|bytes: &[u8]| {
    let Ok(report) = report_file::open(bytes) else { return };
    let computed = report_file::for_author(&report);
    report_file::results_agree(&report, &computed);
});
