//! The files that travel inside a report: the notebook, the results file, the template, what the notebook names.
//!
//! They stand in one data block at the end of the page, as JSON that no browser runs, so that `reweigh review` can take
//! them out again. A file that is UTF-8 stands as text, any other one in base64 (RFC 4648).

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};

use super::markup::Markup;
use crate::report::Attachment;

/// The id of the data block.
const ID: &str = "carried-files";
/// The name and version of its form.
const SCHEMA: &str = "reweigh/carried/1";
/// How the block begins.
const OPEN: &str = "<script type=\"application/json\" id=\"carried-files\">";

#[derive(Serialize, Deserialize)]
struct Carried {
    schema: String,
    files: Vec<File>,
}

#[derive(Serialize, Deserialize)]
struct File {
    name: String,
    relationship: String,
    mime: String,
    description: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    base64: Option<String>,
}

/// A file taken out of a report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CarriedFile {
    /// Its name.
    pub name: String,
    /// How it relates to the report (`source`, `data`, `supplement`).
    pub relationship: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Writes the data block.
pub(super) fn write(page: &mut Markup, attachments: &[Attachment]) {
    let file = |attachment: &Attachment| {
        let text = String::from_utf8(attachment.bytes.clone()).ok();
        let base64 = text.is_none().then(|| STANDARD.encode(&attachment.bytes));
        File {
            name: attachment.name.clone(),
            relationship: attachment.relationship.word().to_owned(),
            mime: attachment.mime.clone(),
            description: attachment.description.clone(),
            text,
            base64,
        }
    };
    let carried = Carried { schema: SCHEMA.to_owned(), files: attachments.iter().map(file).collect() };
    // Strings and arrays of strings: there is nothing in it that JSON cannot say.
    page.data_block(ID, &serde_json::to_string(&carried).unwrap_or_default());
}

/// Whether bytes are a page of HTML, by how they begin (blanks and a byte-order mark apart).
pub fn is_page(bytes: &[u8]) -> bool {
    let head = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
    [&b"<!doctype html"[..], b"<html"]
        .iter()
        .any(|begins| head.get(..begins.len()).is_some_and(|head| head.eq_ignore_ascii_case(begins)))
}

/// The files inside a page.
///
/// # Errors
///
/// In words: the page carries none, or they cannot be read.
pub fn carried(page: &str) -> Result<Vec<CarriedFile>, String> {
    let (_, after) = page.rsplit_once(OPEN).ok_or("a page that carries no notebook")?;
    let (json, _) = after.split_once("</script>").ok_or("a page whose carried files do not end")?;
    let unreadable = |error| format!("a page whose carried files cannot be read: {error}");
    let carried: Carried = serde_json::from_str(json).map_err(unreadable)?;
    if carried.schema != SCHEMA {
        return Err(format!(
            "a page whose carried files are {:?}, where {SCHEMA:?} is understood",
            carried.schema
        ));
    }
    carried.files.into_iter().map(taken_out).collect()
}

fn taken_out(file: File) -> Result<CarriedFile, String> {
    let bytes = match (file.text, file.base64) {
        (Some(text), None) => text.into_bytes(),
        (None, Some(code)) => STANDARD
            .decode(code)
            .map_err(|error| format!("a page whose file {:?} cannot be read: {error}", file.name))?,
        _ => return Err(format!("a page whose file {:?} has no content, or two", file.name)),
    };
    Ok(CarriedFile { name: file.name, relationship: file.relationship, bytes })
}

/// Bytes as an address that holds them (RFC 2397).
pub(super) fn data_address(mime: &str, bytes: &[u8]) -> String {
    format!("data:{mime};base64,{}", STANDARD.encode(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_carried_comes_out_byte_for_byte() {
        let notebook = "\u{feff}# A </script><!-- & \r\n\u{2028}\0".as_bytes().to_vec();
        let picture = vec![0x89, b'P', 0xff, 0];
        let attachments =
            [Attachment::source("a.md", notebook.clone()), Attachment::file("p.png", picture.clone())];
        let mut page = Markup::new();
        page.own("<!DOCTYPE html>\n");
        write(&mut page, &attachments);
        let page = page.into_text();
        assert!(is_page(page.as_bytes()));
        let files = carried(&page).unwrap();
        assert_eq!((files[0].bytes.clone(), files[1].bytes.clone()), (notebook, picture));
        assert_eq!(files[0].relationship, "source");
    }

    #[test]
    fn a_page_without_files_is_none() {
        assert!(is_page(b"\n<!DOCTYPE html><p>x") && is_page(b"\xef\xbb\xbf<HTML lang=en>"));
        assert!(!is_page(b"# A <html>") && !is_page(b"<h"));
        assert!(carried("<!DOCTYPE html><p>x").is_err());
        assert!(carried(&format!("{OPEN}{{}}</script>")).is_err());
    }
}
