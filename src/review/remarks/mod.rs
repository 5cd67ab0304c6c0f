//! Remarks: what a student reads after a review, filled from the template's `marking/remarks.md` or from our own text.
//!
//! Remarks speak of one notebook and to its author. A slip is put as a question, what is right is said first, and
//! where the template does not show results no recomputed number is given away.
//!
//! 1. [`values()`] gathers what may be said of a review, as plain data.
//! 2. [`fill`] puts it into a `remarks.md`, by the language of skeletons; that is the Markdown form.
//! 3. [`html`] makes a page of it. The PDF is the Markdown, set as a report.

mod marked;
mod questions;
mod specimen;
mod values;

pub use marked::Marked;
pub use specimen::specimen;

use super::formats::Reviewed;
use crate::finding::{Code, Finding};
use crate::template::{Template, skeleton};
use minijinja::context;
use serde_json::Value;

/// The text of a template's remarks in its folder `marking`.
pub const REMARKS: &str = "remarks.md";
/// What is said in any case; a `remarks.md` puts it with `<<standard>>`.
const STANDARD: &str = include_str!("standard.md");
/// What is said of marks; a `remarks.md` that wants them told puts it with `<<marked>>`.
const MARKED: &str = include_str!("marked.md");
/// The remarks of a notebook whose template has none of its own.
const WHOLE: &str = include_str!("whole.md");
/// The page's template.
const PAGE: &str = include_str!("page.html");
/// Most bytes of one student's remarks.
const MOST_BYTES: usize = 1 << 20;

/// A text of remarks to be filled: where it stands, and what it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text {
    /// The file, as findings name it.
    pub file: String,
    /// What it says.
    pub source: String,
}

/// The remarks of a template, or our own where it has none.
pub fn text_of(template: Option<&Template>) -> Text {
    let own = template.and_then(|template| {
        let bytes = template.marking.get(REMARKS)?;
        let source = String::from_utf8_lossy(bytes).trim_start_matches('\u{feff}').to_owned();
        Some(Text { file: template.path(&format!("{}/{REMARKS}", crate::template::MARKING)), source })
    });
    own.unwrap_or_else(|| Text { file: REMARKS.to_owned(), source: WHOLE.to_owned() })
}

/// What may be said of a review to the notebook's author, in plain values. `marked` are marks, where a template gives
/// some.
///
/// # Errors
///
/// A finding, should our own text not be filled.
pub fn values(reviewed: &Reviewed, marked: Option<&Marked>) -> Result<Value, Box<Finding>> {
    let mut values = values::values(reviewed, marked);
    for (key, source) in [("standard", STANDARD), ("marked", MARKED)] {
        let filled = fill(&Text { file: format!("{key}.md"), source: source.into() }, &values)?;
        values[key] = Value::String(filled.trim_end().to_owned());
    }
    Ok(values)
}

/// Remarks as Markdown.
///
/// # Errors
///
/// A finding at the line of the text that could not be filled.
pub fn fill(text: &Text, values: &Value) -> Result<String, Box<Finding>> {
    let filled = skeleton::filled(&text.source, values, MOST_BYTES).map_err(|problem| {
        let mut finding = problem.in_text(&text.file, &text.source);
        finding.code = Code::BadRemarks;
        finding.hints = vec!["what remarks can put is listed in the guide to templates".to_owned()];
        Box::new(finding)
    })?;
    Ok(one_blank_line(&filled))
}

/// The text with at most one blank line between two others, and one newline at its end.
fn one_blank_line(text: &str) -> String {
    let mut lines: Vec<&str> = Vec::new();
    for line in text.lines().map(str::trim_end) {
        if !line.is_empty() || lines.last().is_some_and(|last| !last.is_empty()) {
            lines.push(line);
        }
    }
    format!("{}\n", lines.join("\n").trim_end())
}

/// Remarks as a PDF: the Markdown set in the plain layout, under the notebook's authors and date.
///
/// # Errors
///
/// What the typesetter says, in a sentence.
#[cfg(feature = "pdf")]
pub fn pdf(markdown: &str, reviewed: &Reviewed) -> Result<Vec<u8>, String> {
    let settings = &reviewed.results.settings;
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let authors: Vec<String> = settings.authors.iter().map(|author| quoted(author)).collect();
    let date = settings.date.as_ref().map_or(String::new(), |date| format!("date = {}\n", date.value));
    let title = quoted(&format!("Remarks: {}", reviewed.title()));
    let head = format!("```experiment\ntitle = {title}\nauthors = [{}]\n{date}```\n\n", authors.join(", "));
    let text = format!("{head}{markdown}");
    let files = crate::files::Memory::default();
    let computed = crate::compute("remarks.md", text.as_bytes(), &files);
    let set = crate::report::pdf(&computed.notebook, &computed.results, &[], &files);
    set.map(|pdf| pdf.bytes).map_err(|problems| {
        let said = problems.first().map_or("it could not be set", |problem| problem.message.as_str());
        said.to_owned()
    })
}

/// Remarks as an HTML page that needs no network and no script. HTML in the Markdown is left out.
///
/// # Errors
///
/// The page's template, in words: the one that ships has no fault.
pub fn html(markdown: &str, title: &str) -> Result<String, String> {
    let mut options = comrak::Options::default();
    options.extension.table = true;
    options.extension.strikethrough = true;
    let body = comrak::markdown_to_html(markdown, &options);
    let mut environment = minijinja::Environment::new();
    environment.set_formatter(super::formats::visible_value);
    environment.add_template("page.html", PAGE).map_err(|error| error.to_string())?;
    let page = environment.get_template("page.html").map_err(|error| error.to_string())?;
    let body = minijinja::Value::from_safe_string(body);
    page.render(context! { title, body }).map_err(|error| error.to_string())
}
