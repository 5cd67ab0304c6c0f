//! Files that travel inside a report.

use super::images::Pictures;
use crate::notebook::Notebook;
use crate::template::Template;

/// A file attached to the PDF.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attachment {
    /// Its name, as a reader shows it.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Its media type.
    pub mime: String,
    /// What it is, in a few words.
    pub description: String,
    /// How it relates to the report.
    pub relationship: Relationship,
}

/// How an attached file relates to the report (PDF 2.0, AFRelationship).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relationship {
    /// The report was made from it.
    Source,
    /// It holds the data shown.
    Data,
    /// It adds to the report.
    Supplement,
}

impl Relationship {
    /// The typesetter's word for it.
    pub fn word(self) -> &'static str {
        match self {
            Relationship::Source => "source",
            Relationship::Data => "data",
            Relationship::Supplement => "supplement",
        }
    }
}

impl Attachment {
    /// The notebook the report was made from.
    pub fn source(name: &str, bytes: Vec<u8>) -> Self {
        Attachment {
            name: safe_name(name),
            bytes,
            mime: "text/markdown".to_owned(),
            description: "The notebook this report was made from".to_owned(),
            relationship: Relationship::Source,
        }
    }

    /// The results file.
    pub fn results(name: &str, bytes: Vec<u8>) -> Self {
        Attachment {
            name: safe_name(name),
            bytes,
            mime: "application/json".to_owned(),
            description: "Every reading and result of this report, unrounded".to_owned(),
            relationship: Relationship::Data,
        }
    }

    /// A file that the notebook names (weighings, an image).
    pub fn file(name: &str, bytes: Vec<u8>) -> Self {
        let mime = mime_of(name, &bytes);
        Attachment {
            name: safe_name(name),
            bytes,
            mime: mime.to_owned(),
            description: "A file the notebook names".to_owned(),
            relationship: if mime == "text/csv" { Relationship::Data } else { Relationship::Supplement },
        }
    }
}

/// A relative path without steps up or empty parts.
fn safe_name(name: &str) -> String {
    let parts = name.split(['/', '\\']).filter(|part| !matches!(*part, "" | "." | ".."));
    let name: Vec<String> =
        parts.map(|part| part.chars().filter(|c| !c.is_control() && *c != ':').collect()).collect();
    if name.iter().all(String::is_empty) { "file".to_owned() } else { name.join("/") }
}

fn mime_of(name: &str, bytes: &[u8]) -> &'static str {
    if let Ok(format) = super::images::format_of(bytes) {
        return format.mime();
    }
    let ending = name.rsplit_once('.').map_or(String::new(), |(_, ending)| ending.to_lowercase());
    match ending.as_str() {
        "csv" => "text/csv",
        "json" => "application/json",
        "md" => "text/markdown",
        "toml" => "application/toml",
        _ => "application/octet-stream",
    }
}

/// Everything that travels inside a report: the caller's files, the template's, and what the notebook names.
pub(super) fn every(
    notebook: &Notebook,
    attachments: &[Attachment],
    pictures: &Pictures,
    template: Option<&Template>,
) -> Vec<Attachment> {
    let read = pictures.read().map(|picture| Attachment::file(&picture.name, picture.bytes.clone()));
    let beside = notebook.files.iter().map(|(name, bytes)| Attachment::file(name, bytes.clone()));
    distinct(attachments.iter().cloned().chain(of_template(template)).chain(beside).chain(read).collect())
}

/// The template's files, as attachments: `hydrate.method.md`. Nothing of `marking/` is among them.
fn of_template(template: Option<&Template>) -> impl Iterator<Item = Attachment> {
    let files = template.into_iter().flat_map(|template| {
        template
            .files
            .iter()
            .map(move |(path, bytes)| (format!("{}.{}", template.id, path.replace('/', ".")), bytes))
    });
    files.map(|(name, bytes)| Attachment::file(&name, bytes.clone()))
}

/// Attachments with names that are all different.
fn distinct(attachments: Vec<Attachment>) -> Vec<Attachment> {
    let mut distinct: Vec<Attachment> = Vec::new();
    for mut attachment in attachments {
        if distinct.iter().any(|known| known.name == attachment.name && known.bytes == attachment.bytes) {
            continue;
        }
        let name = attachment.name.clone();
        let mut number = 2;
        while distinct.iter().any(|known| known.name == attachment.name) {
            attachment.name = format!("{number}-{name}");
            number += 1;
        }
        distinct.push(attachment);
    }
    distinct
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_inside() {
        assert_eq!(safe_name("../a/./b.csv"), "a/b.csv");
        assert_eq!(safe_name("C:\\x\\y.png"), "C/x/y.png");
        assert_eq!(safe_name("/"), "file");
    }

    #[test]
    fn equal_names_are_told_apart_and_equal_files_taken_once() {
        let a = Attachment::file("a.csv", b"1".to_vec());
        let b = Attachment::file("a.csv", b"2".to_vec());
        let names: Vec<String> = distinct(vec![a.clone(), b, a]).into_iter().map(|x| x.name).collect();
        assert_eq!(names, ["a.csv", "2-a.csv"]);
    }
}
