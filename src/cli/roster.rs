//! The file of a roster.

use crate::files::read_bounded;
use crate::template::roster::{self, Entry};
use std::path::Path;

/// Reads a roster. The error is a sentence that names the file and the line.
pub(super) fn roster(path: &Path) -> Result<Vec<Entry>, String> {
    let bytes = read_bounded(path).map_err(|problem| format!("cannot read {}: {problem}", path.display()))?;
    let text = std::str::from_utf8(&bytes).map_err(|_| format!("{} is not UTF-8 text", path.display()))?;
    roster::read(text).map_err(|problem| format!("{}: {problem}", path.display()))
}
