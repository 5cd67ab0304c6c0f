//! A section as a PDF for print. What is shown comes from the same [`view`] as the page; how it looks is the layout's.

use super::{Audience, Completed, Rows, summary, view};
use crate::report::press::{InProcess, Job, Press, Problem};
use crate::report::{Glyph, PLAIN_LAYOUT, glyph};
use crate::review::section::Section;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The layout.
pub const LAYOUT: &str = include_str!("section.typ");
/// The generated document: everything it shows is in the data.
const MAIN: &str = "#import \"report.typ\" as layout\n#layout.section(json(\"section.json\"))\n";

/// The PDF of a section.
///
/// # Errors
///
/// Why it could not be set, in a sentence.
pub fn pdf(section: &Section, rows: &dyn Rows, audience: Audience) -> Result<Vec<u8>, String> {
    let mut shown = Vec::new();
    if audience == Audience::Instructor {
        let each = Completed { rows, section };
        each.each(&mut |row| {
            shown.push(json!(view::row(&row)));
            Ok(())
        })
        .map_err(|error| format!("cannot read the rows: {error}"))?;
    }
    let mut data = json!({
        "section": summary::section(section, audience), "rows": shown, "several": section.statistics.len() > 1,
        "about_tests": summary::about_tests(), "about_recurring": summary::ABOUT_RECURRING,
        "version": env!("CARGO_PKG_VERSION"),
    });
    printable(&mut data);
    let bytes = serde_json::to_vec(&data).map_err(|error| error.to_string())?;
    let ident = crate::sha256(&bytes);
    let job = Job {
        statements: Vec::new(),
        main: MAIN.to_owned(),
        layout: LAYOUT.to_owned(),
        parts: PLAIN_LAYOUT.to_owned(),
        files: BTreeMap::from([("section.json".to_owned(), bytes)]),
        ident,
        foreign: false,
    };
    InProcess.set(&job).map_err(|problems| {
        let said: Vec<&str> = problems.iter().map(|problem: &Problem| problem.message.as_str()).collect();
        format!("the typesetter could not set the section: {}", said.join("; "))
    })
}

/// Characters that the built-in fonts lack are written by their code points.
fn printable(value: &mut Value) {
    match value {
        Value::String(text) => {
            let missing = |c: char| !matches!(glyph(c), Glyph::Everywhere);
            if text.contains(missing) {
                let one = |c: char| if missing(c) { format!("[U+{:04X}]", c as u32) } else { c.to_string() };
                *text = text.chars().map(one).collect();
            }
        }
        Value::Array(values) => values.iter_mut().for_each(printable),
        Value::Object(fields) => fields.values_mut().for_each(printable),
        _ => {}
    }
}
