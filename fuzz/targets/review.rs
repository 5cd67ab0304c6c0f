//! Reviewing: any notebook comes to a review in every form, and right JSON.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::files::Memory;
use reweigh::review::formats::{self, Reviewed};
use reweigh::template::Purpose;
use reweigh::{Wanted, review};

fuzz_target!(|bytes: &[u8]| {
    let wanted = Wanted { template: None, purpose: Purpose::Review };
    let computed = reweigh::compute_as("fuzz.md", bytes, &Memory::default(), &wanted);
    let review = review::review(&computed.results);
    let reviewed = [Reviewed {
        file: "fuzz.md",
        notebook: &computed.notebook,
        results: &computed.results,
        review: &review,
        template: computed.template.as_deref(),
        own: bytes.len(),
        of_report: &[],
    }];
    formats::text(&reviewed[0]);
    formats::csv(&reviewed);
    formats::junit(&reviewed);
    formats::sarif(&reviewed);
    formats::html(&reviewed).expect("the page fills with any review");
    assert!(formats::json(&reviewed).starts_with('{'));
});
