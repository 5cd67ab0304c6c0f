//! Published worked examples (`tests/published`) as notebooks for the real command. Each sidecar names its
//! source and whether the figures were read there or recalled; where a tolerance is wider than the last printed
//! place it says why.

use crate::common::{Case, check_folder, expectations, label, text};

#[test]
fn published_examples_come_out_as_published() {
    check_folder("tests/published", 36, names_its_source);
}

/// A published case says where it is from, how well that is known, and the reason of each tolerance.
fn names_its_source(case: &Case) -> Vec<String> {
    let mut failures = Vec::new();
    let status = text(&case.sidecar, "status").unwrap_or("");
    if !["READ", "MEMORY", "computed"].iter().any(|word| status.starts_with(word)) {
        failures.push(format!("status `{status}` does not begin with READ, MEMORY or computed"));
    }
    let reason_for_all = case.sidecar.contains_key("why");
    let bare =
        expectations(case).filter(|entry| entry.contains_key("tolerance") && !entry.contains_key("why"));
    failures.extend(
        bare.filter(|_| !reason_for_all)
            .map(|entry| format!("{}: a tolerance without a reason", label(entry))),
    );
    failures
}
