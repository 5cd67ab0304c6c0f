//! What an inline expression prints: value and unit, or every trial's, or a dash.

use super::code::{self, Fields};
use super::prose_typst::Context;
use super::tables::Beside;
use super::words;
use crate::evaluation::results::InlineValue;

/// The content of the inline expression with this index.
pub(super) fn value(context: &Context, index: usize) -> String {
    let Some(result) = context.results.inline.get(index).filter(|result| !result.values.is_empty()) else {
        return "layout.dash".to_owned();
    };
    let mark = context.results.settings.decimal;
    let printed = |value: &InlineValue| {
        let unit = (!value.unit.is_empty()).then(|| context.ink.words(&words::unit(&value.unit), None));
        let fields = Fields::new().text("digits", &words::digits(&value.printed.digits, mark));
        let beside = value.uncertainty.as_ref().map(|uncertainty| Beside::of(uncertainty).field(mark));
        let fields = match &beside {
            Some((key, text)) => fields.text(key, text),
            None => fields,
        };
        fields
            .optional_text("power", value.printed.exponent.map(words::power).as_deref())
            .optional("unit", unit)
            .flag("provisional", value.provisional)
            .optional("trial", value.trial.as_ref().map(|trial| context.ink.text(trial, None)))
            .optional("node", context.ink.node(value.node))
            .call("layout.quantity")
    };
    let separated: Vec<String> = result.values.iter().map(printed).collect();
    code::joined(
        &[separated.join("; \", \"; ")]
            .map(|list| if result.values.len() > 1 { format!("{{ {list} }}") } else { list }),
    )
}
