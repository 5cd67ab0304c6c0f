//! Reports that are handed in as a page: any bytes, and any text as the files that a page carries.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::review::report_file;

const HEAD: &str = "<!DOCTYPE html>\n<script type=\"application/json\" id=\"carried-files\">";

fuzz_target!(|bytes: &[u8]| {
    let whole = [HEAD.as_bytes(), bytes, b"</script>"].concat();
    for page in [bytes, &whole] {
        if !report_file::is_page(page) {
            continue;
        }
        let Ok(report) = report_file::open(page) else { continue };
        let computed = report_file::for_author(&report);
        report_file::results_agree(&report, &computed);
        report_file::page_agrees(page, &report, &computed);
    }
});
