//! Chemical formulas: any text, and what was read can be read again from its own print.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::chemistry::{AtomicWeights, Formula};

fuzz_target!(|text: &str| {
    if let Ok(formula) = Formula::parse(text) {
        let again = Formula::parse(&formula.text()).expect("its own print is a formula");
        assert_eq!(again.text(), formula.text());
        drop(formula.molar_mass(&AtomicWeights::abridged()));
    }
});
