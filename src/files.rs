//! The one trait for the outside: the files beside a notebook.
//!
//! The library asks for files only through [`Files`]; it never opens, prints or exits by itself. A path is
//! confined to the notebook's folder: absolute paths, `..` and links that lead out are refused.

use std::path::{Component, Path, PathBuf};

/// Files beside a notebook.
pub trait Files {
    /// The bytes of a file by its path relative to the notebook's folder.
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem>;
}

/// Why a file was not read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FileProblem {
    /// The path leads out of the notebook's folder.
    Outside,
    /// There is no such file.
    NotFound,
    /// It is larger than the program takes on (bytes).
    TooLarge(u64),
    /// Anything else, in the system's words.
    Other(String),
}

impl std::fmt::Display for FileProblem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            FileProblem::Outside => f.write_str("it lies outside the notebook's folder"),
            FileProblem::NotFound => f.write_str("there is no such file"),
            FileProblem::TooLarge(size) => write!(f, "it has {size} bytes, more than {MOST_BYTES}"),
            FileProblem::Other(text) => f.write_str(text),
        }
    }
}

/// Most bytes of one file beside a notebook.
pub const MOST_BYTES: u64 = 64 << 20;

/// A folder of the file system.
#[derive(Clone, Debug)]
pub struct Folder {
    root: PathBuf,
}

impl Folder {
    /// The files at and below `root`.
    pub fn new(root: impl Into<PathBuf>) -> Self {
        Folder { root: root.into() }
    }
}

impl Files for Folder {
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem> {
        let relative = Path::new(path);
        if relative.components().any(|part| !matches!(part, Component::Normal(_) | Component::CurDir)) {
            return Err(FileProblem::Outside);
        }
        let full = self.root.join(relative).canonicalize().map_err(problem)?;
        let root = self.root.canonicalize().map_err(problem)?;
        if !full.starts_with(&root) {
            return Err(FileProblem::Outside);
        }
        read_bounded(&full)
    }
}

/// Reads a regular file of bounded size.
pub fn read_bounded(path: &Path) -> Result<Vec<u8>, FileProblem> {
    let facts = std::fs::metadata(path).map_err(problem)?;
    if !facts.is_file() {
        return Err(FileProblem::Other("it is not a regular file".into()));
    }
    if facts.len() > MOST_BYTES {
        return Err(FileProblem::TooLarge(facts.len()));
    }
    std::fs::read(path).map_err(problem)
}

fn problem(error: std::io::Error) -> FileProblem {
    match error.kind() {
        std::io::ErrorKind::NotFound => FileProblem::NotFound,
        _ => FileProblem::Other(error.to_string()),
    }
}

/// Files held in memory, for tests and for text without a folder.
#[derive(Clone, Debug, Default)]
pub struct Memory(pub std::collections::BTreeMap<String, Vec<u8>>);

impl Files for Memory {
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem> {
        self.0.get(path).cloned().ok_or(FileProblem::NotFound)
    }
}

/// Writes a file whole or not at all: into a temporary file beside it, flushed, then moved into place.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    use std::io::Write;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder)?;
    let mut file = tempfile::Builder::new().prefix(".reweigh-").tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    set_usual_permissions(file.as_file())?;
    file.persist(path).map_err(|error| error.error)?;
    Ok(())
}

#[cfg(unix)]
fn set_usual_permissions(file: &std::fs::File) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn set_usual_permissions(_: &std::fs::File) -> std::io::Result<()> {
    Ok(())
}
