//! Formulas and equations: any text, and what was read can be read again from its own print.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::chemistry::{AtomicWeights, Formula, Reaction};

fuzz_target!(|text: &str| {
    if let Ok(formula) = Formula::parse(text) {
        let again = Formula::parse(&formula.text()).expect("its own print is a formula");
        assert_eq!(again.text(), formula.text());
        drop(formula.molar_mass(&AtomicWeights::abridged()));
    }
    if let Ok(reaction) = Reaction::parse(text) {
        drop(reaction.balance());
    }
});
