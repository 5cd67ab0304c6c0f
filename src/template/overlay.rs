//! `local.toml`: what one college changes in a template, without a copy of it.
//!
//! Its keys replace those of `template.toml`. Tables are laid over each other key by key; a value, a list and a
//! list of tables (`[[hazard]]`) is replaced whole.

use super::model::Overlay;
use super::reader::leaves;
use crate::span::Lines;
use toml::de::{DeTable, DeValue};

/// Lays a table over another.
pub(super) fn lay<'i>(over: DeTable<'i>, base: &mut DeTable<'i>) {
    for (key, value) in over {
        match (base.get_mut(key.get_ref().as_ref()).map(toml::Spanned::get_mut), value) {
            (Some(DeValue::Table(base)), value) if value.get_ref().is_table() => {
                if let DeValue::Table(over) = value.into_inner() {
                    lay(over, base);
                }
            }
            (_, value) => {
                base.remove(key.get_ref().as_ref());
                base.insert(key, value);
            }
        }
    }
}

/// What an overlay changes, in the order of its lines. `text` is the overlay's, places counted from `offset`.
pub(super) fn changes(over: &DeTable, base: &DeTable, text: &str, offset: usize) -> Vec<Overlay> {
    let (mut new, mut old) = (Vec::new(), Vec::new());
    leaves(over, "", &mut new);
    leaves(base, "", &mut old);
    let lines = Lines::of(text);
    let one = |(key, is): (crate::span::Spanned<String>, String)| {
        let was = old.iter().find(|(name, _)| name.value == key.value).map(|(_, was)| was.clone());
        let line = lines.place(text, key.span.start.saturating_sub(offset)).0;
        Overlay { key: key.value, was, is, line }
    };
    new.into_iter().map(one).collect()
}
