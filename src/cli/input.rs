//! Notebooks as they come from the command line.

use crate::files::{Folder, read_bounded};
use crate::template::{Origin, Template};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A notebook file with its folder.
pub(super) struct Input {
    /// As given.
    pub(super) path: PathBuf,
    /// The file name, for print.
    pub(super) name: String,
    /// Its bytes.
    pub(super) bytes: Vec<u8>,
    /// The files beside it.
    pub(super) folder: Folder,
}

/// Reads a notebook file; the error is a sentence that names the file.
pub(super) fn read(path: &Path) -> Result<Input, String> {
    let bytes = read_bounded(path).map_err(|problem| format!("cannot read {}: {problem}", path.display()))?;
    let name =
        path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    let parent = path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Ok(Input { path: path.to_path_buf(), name, bytes, folder: Folder::new(parent) })
}

/// A template as named on the command line: a folder by its path, else a shipped one by its name. The error is a
/// sentence.
pub(super) fn template(name: &str) -> Result<Arc<Template>, String> {
    let path = Path::new(name);
    if path.join("template.toml").is_file() {
        let shown = path.to_string_lossy().trim_end_matches('/').to_owned();
        return Ok(Arc::new(crate::template::load(&Folder::new(path), Origin::Folder(shown))));
    }
    if path.is_dir() {
        return Err(format!("{name} is a folder without a `template.toml`, so it is no template"));
    }
    let found = crate::template::find(name, &Folder::new("."));
    found.map(Arc::new).map_err(|finding| {
        let hints: Vec<String> = finding.hints.iter().map(|hint| format!(" ({hint})")).collect();
        format!("{}{}", finding.message, hints.concat())
    })
}

/// The name, the text and the hash of a file beside the notebooks.
pub(super) fn text(path: &Path) -> Result<(String, String, String), String> {
    let bytes = read_bounded(path).map_err(|problem| format!("cannot read {}: {problem}", path.display()))?;
    let sha256 = crate::sha256(&bytes);
    let text = String::from_utf8(bytes).map_err(|_| format!("{} is not UTF-8 text", path.display()))?;
    Ok((path.display().to_string(), text, sha256))
}
