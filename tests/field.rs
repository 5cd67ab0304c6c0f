//! Messy notebooks of our own (`notebooks/field`), each against expected values that were worked before the
//! program existed.

use crate::common;

use std::path::Path;

#[test]
fn field_notebooks_come_out_as_worked_by_hand() {
    common::check_folder("notebooks/field", 14, |_| Vec::new());
}

#[test]
fn demo_notebooks_have_nothing_to_mend() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks");
    for name in ["baking-soda", "calcium-oxalate", "china-clay", "kieserite", "magnesium-ribbon", "selenite"]
    {
        let (document, exit) = common::compute(&folder.join(name).with_extension("md")).expect("results");
        assert_eq!(exit, Some(0), "{name}: {}", document["findings"]);
        for quantity in document["quantities"].as_array().expect("quantities") {
            let missing = quantity.to_string().contains("\"missing\"");
            assert!(!missing, "{name}: a value of {} is missing", quantity["symbol"]);
        }
    }
}
