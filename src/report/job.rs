//! What the typesetter is given, and what comes back: plain data, so that another process can do the work.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::ops::Range;

/// One report to set: texts and files by path, nothing else.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Job {
    /// The generated document.
    pub main: String,
    /// The statements of its body ([`super::Source::statements`]).
    pub statements: Vec<Range<usize>>,
    /// The layout.
    pub layout: String,
    /// The parts it may import.
    pub parts: String,
    /// Every other file: pictures, attachments, signs, the results, the template's own.
    pub files: BTreeMap<String, Vec<u8>>,
    /// What identifies the report.
    pub ident: String,
    /// Whether the layout is someone else's.
    pub foreign: bool,
}

impl Job {
    /// The job as bytes: one line of JSON (texts, and the paths and lengths of the files), then the files.
    pub fn to_bytes(&self) -> Vec<u8> {
        let lengths: Vec<(&str, usize)> =
            self.files.iter().map(|(path, bytes)| (path.as_str(), bytes.len())).collect();
        let texts = (&self.main, &self.layout, &self.parts);
        let head = (texts, &self.statements, &self.ident, self.foreign, lengths);
        let mut bytes = serde_json::to_vec(&head).unwrap_or_default();
        bytes.push(b'\n');
        self.files.values().for_each(|file| bytes.extend_from_slice(file));
        bytes
    }

    /// The job that [`Job::to_bytes`] wrote; `None` where the bytes are something else.
    pub fn from_bytes(bytes: &[u8]) -> Option<Job> {
        type Head = ((String, String, String), Vec<Range<usize>>, String, bool, Vec<(String, usize)>);
        let end = bytes.iter().position(|byte| *byte == b'\n')?;
        let (texts, statements, ident, foreign, lengths): Head =
            serde_json::from_slice(bytes.get(..end)?).ok()?;
        let (main, layout, parts) = texts;
        let mut rest = bytes.get(end + 1..)?;
        let mut files = BTreeMap::new();
        for (path, length) in lengths {
            files.insert(path, rest.get(..length)?.to_vec());
            rest = rest.get(length..)?;
        }
        Some(Job { main, statements, layout, parts, files, ident, foreign })
    }
}

/// Why a document was not set.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What the typesetter says.
    pub message: String,
    /// How it may be mended.
    pub hints: Vec<String>,
    /// The file it is about.
    pub file: String,
    /// Bytes of the generated document, where it leads there.
    pub in_main: Option<Range<usize>>,
    /// The text of the generated document there.
    pub text: String,
    /// File and bytes in the layout or another file of the template, where it leads there.
    pub in_template: Option<(String, Range<usize>)>,
}

impl Problem {
    /// A problem without a place.
    pub fn saying(message: impl Into<String>) -> Self {
        Problem { message: message.into(), ..Problem::default() }
    }
}
