//! Notebooks as they come from the command line.

use crate::files::{Folder, read_bounded};
use std::path::{Path, PathBuf};

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
