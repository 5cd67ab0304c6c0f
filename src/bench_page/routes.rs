//! What the server answers, behind its door.
//!
//! | address | answer |
//! | --- | --- |
//! | `GET` (nothing), `page.css`, `page.js`, `icon.svg` | the page |
//! | `GET list` | the notebooks by name |
//! | `GET n/0/state?since=3&near=0,1` | the newest version, as soon as there is one after 3, with what stands on the first two pages; no content where none came |
//! | `GET n/0/page/HASH.json`, `….svg` | what stands on a page, and the picture of one that is drawn here |
//! | `GET n/0/image/NAME` | a picture on a page |
//! | `GET font/3` | the file of a font |
//! | `GET n/0/value?key=…` | the derivation of a value, and what rests on it |
//! | `POST n/0/check` | what is to be said of an entry |
//! | `POST n/0/write` | the entry is written into the notebook |

use super::additions::new_line;
use super::checking;
use super::notebooks::{Bench, OnBench};
use super::sheet::Sheet;
use super::write_back::{At, Entry, Refusal, Why, enter};
use hyper::StatusCode;
use hyper::body::Bytes;
use serde::Deserialize;
use serde_json::json;
use std::sync::Arc;
use std::time::Duration;

/// How long a question for the next version is kept waiting.
const WAITING: Duration = Duration::from_secs(25);

/// Most pages that are sent with a version.
const MOST_NEAR: usize = 4;

const PAGE: &str = include_str!("page/page.html");
const STYLE: &str = include_str!("page/page.css");
const ICON: &str = include_str!("page/icon.svg");
const SCRIPTS: &[&str] = &[
    include_str!("page/parts.js"),
    include_str!("page/report.js"),
    include_str!("page/readings.js"),
    include_str!("page/adding.js"),
    include_str!("page/page.js"),
];

/// An answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The status.
    pub status: StatusCode,
    /// What kind of text the body is.
    pub kind: &'static str,
    /// The body.
    pub body: Bytes,
    /// Whether it stays true for ever.
    pub lasting: bool,
}

impl Answer {
    fn new(status: StatusCode, kind: &'static str, body: impl Into<Bytes>) -> Answer {
        Answer { status, kind, body: body.into(), lasting: false }
    }

    /// A sentence.
    pub fn text(status: StatusCode, text: &'static str) -> Answer {
        Answer::new(status, "text/plain; charset=utf-8", text)
    }

    fn json(status: StatusCode, body: impl Into<Bytes>) -> Answer {
        Answer::new(status, "application/json", body)
    }

    fn nothing() -> Answer {
        Answer::text(StatusCode::NOT_FOUND, "There is nothing here.")
    }
}

/// Answers a question. `over` comes to pass when the server ends.
pub async fn get(bench: &Bench, path: &str, query: &str, over: impl Future<Output = ()>) -> Answer {
    match path {
        "" => Answer::new(StatusCode::OK, "text/html; charset=utf-8", PAGE),
        "page.css" => Answer::new(StatusCode::OK, "text/css; charset=utf-8", STYLE),
        "page.js" => Answer::new(StatusCode::OK, "text/javascript; charset=utf-8", SCRIPTS.concat()),
        "icon.svg" => Answer::new(StatusCode::OK, "image/svg+xml", ICON),
        "list" => {
            let names: Vec<&str> = bench.notebooks.iter().map(|notebook| notebook.name()).collect();
            Answer::json(StatusCode::OK, json!(names).to_string())
        }
        path if path.starts_with("font/") => font(bench, path).unwrap_or_else(Answer::nothing),
        path => match notebook(bench, path) {
            Some((notebook, "state")) => state(notebook, query, over).await,
            Some((notebook, "value")) => {
                let key = parameter(query, "key").unwrap_or_default();
                Answer::json(StatusCode::OK, notebook.sheet().value(&key))
            }
            Some((notebook, path)) => page(notebook, path).unwrap_or_else(Answer::nothing),
            None => Answer::nothing(),
        },
    }
}

/// `n/0/state` as the notebook and the rest.
fn notebook<'b, 'p>(bench: &'b Bench, path: &'p str) -> Option<(&'b Arc<OnBench>, &'p str)> {
    let (number, rest) = path.strip_prefix("n/")?.split_once('/')?;
    let index: usize = number.parse().ok()?;
    bench.notebooks.get(index).map(|notebook| (notebook, rest))
}

/// The newest version, once it is newer than the one that the page has.
async fn state(notebook: &OnBench, query: &str, over: impl Future<Output = ()>) -> Answer {
    let since: u64 = parameter(query, "since").and_then(|since| since.parse().ok()).unwrap_or(0);
    let near = parameter(query, "near").unwrap_or_default();
    let near: Vec<usize> = near.split(',').filter_map(|place| place.parse().ok()).collect();
    notebook.note_in_view(&near);
    let mut follow = notebook.follow();
    let newer = async {
        let sheet = follow.wait_for(|sheet| sheet.version > since).await;
        sheet.ok().map(|sheet| sheet.clone())
    };
    let found = tokio::select! {
        sheet = newer => sheet,
        () = tokio::time::sleep(WAITING) => None,
        () = over => None,
    };
    match found {
        Some(sheet) => Answer::json(StatusCode::OK, with_layers(&sheet, &near)),
        None => Answer::json(StatusCode::NO_CONTENT, ""),
    }
}

/// A version as the page is sent it, with what stands on the pages at these places.
fn with_layers(sheet: &Sheet, near: &[usize]) -> String {
    let pages = near.iter().take(MOST_NEAR).filter_map(|place| sheet.pages.get(*place));
    let layers: Vec<String> = pages.map(|page| format!("\"{}\":{}", page.hash, page.layer)).collect();
    match sheet.state.strip_suffix('}') {
        Some(state) if !layers.is_empty() => format!("{state},\"layers\":{{{}}}}}", layers.join(",")),
        _ => sheet.state.to_string(),
    }
}

fn font(bench: &Bench, path: &str) -> Option<Answer> {
    let number: usize = path.strip_prefix("font/")?.parse().ok()?;
    let file = (bench.font)(number)?;
    Some(Answer { lasting: true, ..Answer::new(StatusCode::OK, "font/otf", file) })
}

fn page(notebook: &OnBench, path: &str) -> Option<Answer> {
    if let Some(name) = path.strip_prefix("image/") {
        return image(notebook, name);
    }
    let (hash, form) = path.strip_prefix("page/")?.split_once('.')?;
    let sheet = notebook.sheet();
    let page = sheet.pages.iter().find(|page| page.hash == hash)?;
    let answer = match form {
        "svg" => Answer::new(StatusCode::OK, "image/svg+xml", page.picture.as_ref()?.to_string()),
        "json" => Answer::json(StatusCode::OK, page.layer.clone()),
        _ => return None,
    };
    Some(Answer { lasting: true, ..answer })
}

fn image(notebook: &OnBench, name: &str) -> Option<Answer> {
    let sheet = notebook.sheet();
    let mut images = sheet.pages.iter().flat_map(|page| &page.images);
    let (_, mime, file) = images.find(|(known, ..)| known == name)?;
    let kind = ["image/png", "image/jpeg", "image/gif", "image/webp", "image/svg+xml"];
    let kind = kind.into_iter().find(|kind| kind == mime)?;
    Some(Answer { lasting: true, ..Answer::new(StatusCode::OK, kind, file.to_vec()) })
}

/// A value of a query, its escapes undone.
fn parameter(query: &str, name: &str) -> Option<String> {
    let value = query.split('&').find_map(|pair| pair.split_once('=').filter(|(key, _)| *key == name))?.1;
    let mut bytes = Vec::with_capacity(value.len());
    let mut rest = value.bytes();
    while let Some(byte) = rest.next() {
        bytes.push(match byte {
            b'+' => b' ',
            b'%' => {
                let digits = [rest.next()?, rest.next()?];
                u8::from_str_radix(std::str::from_utf8(&digits).ok()?, 16).ok()?
            }
            byte => byte,
        });
    }
    String::from_utf8(bytes).ok()
}

/// An entry as the page sends it. `label`, `nth`, `column` and `trial` say where ([`At`]).
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, tag = "kind", rename_all = "lowercase")]
enum Sent {
    /// A reading into a cell.
    Reading {
        label: String,
        nth: usize,
        column: usize,
        trial: String,
        was: String,
        reading: String,
        #[serde(default)]
        reason: String,
        #[serde(default)]
        time: String,
    },
    /// Another weighing.
    Further { label: String, nth: usize, column: usize, trial: String, treatment: String, reading: String },
    /// Another load, behind a line; `load` is its label.
    Load { label: String, nth: usize, column: usize, trial: String, load: String, reading: String },
    /// Another trial.
    Trial { label: String, nth: usize, name: String },
}

impl From<Sent> for Entry {
    fn from(sent: Sent) -> Entry {
        let was = String::new();
        match sent {
            Sent::Reading { label, nth, column, trial, was, reading, reason, time } => {
                let why = (!reason.trim().is_empty()).then_some(Why { reason, time });
                Entry::Reading { at: At { label, nth, column, trial, was }, reading, why }
            }
            Sent::Further { label, nth, column, trial, treatment, reading } => {
                Entry::Further { at: At { label, nth, column, trial, was }, treatment, reading }
            }
            Sent::Load { label, nth, column, trial, load, reading } => {
                Entry::Load { behind: At { label, nth, column, trial, was }, label: load, reading }
            }
            Sent::Trial { label, nth, name } => Entry::Trial { label, nth, name },
        }
    }
}

/// Takes an entry.
pub async fn post(bench: &Arc<Bench>, path: &str, body: Bytes) -> Answer {
    let Some((notebook, task)) = notebook(bench, path).map(|(notebook, task)| (notebook.clone(), task))
    else {
        return Answer::nothing();
    };
    let Ok(sent) = serde_json::from_slice::<Sent>(&body) else {
        return said(StatusCode::BAD_REQUEST, "the page sent something that is no entry", false);
    };
    let entry = Entry::from(sent);
    let work: Box<dyn FnOnce() -> Answer + Send> = match task {
        "check" => Box::new(move || check(&notebook, &entry)),
        "write" => {
            let bench = bench.clone();
            Box::new(move || write(&bench, &notebook, &entry))
        }
        _ => return Answer::nothing(),
    };
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| said(StatusCode::INTERNAL_SERVER_ERROR, "this could not be worked out", false))
}

fn said(status: StatusCode, message: &str, conflict: bool) -> Answer {
    Answer::json(status, json!({ "message": message, "conflict": conflict }).to_string())
}

fn check(notebook: &OnBench, entry: &Entry) -> Answer {
    match notebook.now() {
        Ok((bytes, computed)) => {
            let checked = checking::check(&computed, &bytes, entry, &notebook.files(), &notebook.wanted());
            Answer::json(StatusCode::OK, serde_json::to_string(&checked).unwrap_or_default())
        }
        Err(message) => said(StatusCode::CONFLICT, &message, false),
    }
}

/// Why an entry was not written.
enum NotWritten {
    Refused(Refusal),
    Failed(String),
}

impl From<String> for NotWritten {
    fn from(message: String) -> Self {
        NotWritten::Failed(message)
    }
}

fn write(bench: &Bench, notebook: &OnBench, entry: &Entry) -> Answer {
    let line = std::cell::RefCell::new(None);
    let change = |bytes: &[u8], computed: &crate::Computed| {
        line.replace(new_line(&computed.notebook, entry));
        enter(bytes, &computed.notebook, entry).map_err(NotWritten::Refused)
    };
    match notebook.rewrite(change) {
        Ok(()) => {
            bench.look_at(notebook);
            let line = line.take().map(|(label, nth)| json!({ "label": label, "nth": nth }));
            Answer::json(StatusCode::OK, json!({ "message": "written", "line": line }).to_string())
        }
        Err(NotWritten::Refused(refusal)) => {
            let conflict = matches!(refusal, Refusal::Conflict { .. });
            let status = if conflict { StatusCode::CONFLICT } else { StatusCode::UNPROCESSABLE_ENTITY };
            said(status, &refusal.to_string(), conflict)
        }
        Err(NotWritten::Failed(message)) => said(StatusCode::INTERNAL_SERVER_ERROR, &message, false),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parameters_are_unescaped() {
        let key = |query: &str| parameter(query, "key");
        assert_eq!(key("since=3&key=w%28water%29%7CA+b"), Some("w(water)|A b".to_owned()));
        assert_eq!(key("key="), Some(String::new()));
        assert_eq!(key("key=%f"), None);
        assert_eq!(key("key=%ff"), None);
        assert_eq!(key("other=1"), None);
    }
}
