//! The one trait for the outside: the files beside a notebook.
//!
//! The library asks for files only through [`Files`]; it never opens, prints or exits by itself. A path is
//! confined to the notebook's folder: absolute paths, `..` and links that lead out are refused.

mod writing;

pub use writing::{abandon, replace_unchanged, write_atomically, write_atomically_with, write_new};

use std::path::{Component, Path, PathBuf};

/// Files beside a notebook.
pub trait Files {
    /// The bytes of a file by its path relative to the notebook's folder.
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem>;

    /// The paths of the files at and below a folder (relative to it, parts joined by `/`, sorted), or `None`
    /// where there is no such folder. Hidden files and links are left out; at most [`MOST_FILES`] are listed.
    fn list(&self, folder: &str) -> Option<Vec<String>> {
        let _ = folder;
        None
    }
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

/// Most files of one folder that are listed.
pub const MOST_FILES: usize = 500;
/// Deepest folder that is listed.
const MOST_DEPTH: usize = 8;

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

impl Folder {
    /// The full path of a file or folder within this one.
    fn confined(&self, path: &str) -> Result<PathBuf, FileProblem> {
        let relative = Path::new(path);
        if relative.components().any(|part| !matches!(part, Component::Normal(_) | Component::CurDir)) {
            return Err(FileProblem::Outside);
        }
        let full = self.root.join(relative).canonicalize().map_err(problem)?;
        let root = self.root.canonicalize().map_err(problem)?;
        if full.starts_with(&root) { Ok(full) } else { Err(FileProblem::Outside) }
    }
}

impl Files for Folder {
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem> {
        read_bounded(&self.confined(path)?)
    }

    fn list(&self, folder: &str) -> Option<Vec<String>> {
        let full = self.confined(folder).ok().filter(|full| full.is_dir())?;
        let mut found = Vec::new();
        list_into(&full, "", 0, &mut found);
        found.sort();
        Some(found)
    }
}

/// Adds the files of a folder to a list, folder by folder in the order of their names.
fn list_into(folder: &Path, prefix: &str, depth: usize, found: &mut Vec<String>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    let mut entries: Vec<_> = entries.filter_map(Result::ok).collect();
    entries.sort_by_key(std::fs::DirEntry::file_name);
    for entry in entries {
        let (Ok(name), Ok(kind)) = (entry.file_name().into_string(), entry.file_type()) else { continue };
        if name.starts_with('.') || found.len() >= MOST_FILES {
            continue;
        }
        let path = if prefix.is_empty() { name } else { format!("{prefix}/{name}") };
        if kind.is_dir() && depth < MOST_DEPTH {
            list_into(&entry.path(), &path, depth + 1, found);
        } else if kind.is_file() {
            found.push(path);
        }
    }
}

/// The files below one folder of others, such as a template's beside a notebook.
#[derive(Clone, Copy)]
pub struct Below<'a> {
    files: &'a dyn Files,
    folder: &'a str,
}

impl<'a> Below<'a> {
    /// The files at and below `folder`.
    pub fn new(files: &'a dyn Files, folder: &'a str) -> Self {
        Below { files, folder }
    }
}

impl Files for Below<'_> {
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem> {
        if path.split('/').any(|part| part == "..") || path.starts_with('/') {
            return Err(FileProblem::Outside);
        }
        self.files.read(&format!("{}/{path}", self.folder))
    }

    fn list(&self, folder: &str) -> Option<Vec<String>> {
        if folder.is_empty() || folder == "." {
            return self.files.list(self.folder);
        }
        self.files.list(&format!("{}/{folder}", self.folder))
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
    // It may grow while it is read.
    let mut bytes = Vec::with_capacity(usize::try_from(facts.len()).unwrap_or_default());
    let file = std::fs::File::open(path).map_err(problem)?;
    std::io::Read::read_to_end(&mut std::io::Read::take(file, MOST_BYTES + 1), &mut bytes)
        .map_err(problem)?;
    match bytes.len() as u64 {
        size if size > MOST_BYTES => Err(FileProblem::TooLarge(size)),
        _ => Ok(bytes),
    }
}

fn problem(error: std::io::Error) -> FileProblem {
    match error.kind() {
        std::io::ErrorKind::NotFound => FileProblem::NotFound,
        _ => FileProblem::Other(error.to_string()),
    }
}

/// What was found below a folder.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// The files, relative to the folder, in the order of their paths.
    pub files: Vec<PathBuf>,
    /// Folders that could not be looked into, with the system's words.
    pub closed: Vec<(PathBuf, String)>,
    /// How many links were not followed.
    pub links: usize,
    /// Whether there is more than was taken: too many files, or folders too deep.
    pub more: bool,
}

/// Most files that [`found_below`] takes.
const MOST_FOUND: usize = 100_000;
/// Deepest folder that it looks into.
const MOST_FOUND_DEPTH: usize = 32;

/// The files at and below a folder for which `wanted` holds. Hidden files are left out, links are not followed, and a
/// folder for which `skip` holds is left out with all it holds.
///
/// # Errors
///
/// The folder itself cannot be read.
pub fn found_below(
    root: &Path,
    wanted: &dyn Fn(&Path) -> bool,
    skip: &dyn Fn(&Path) -> bool,
) -> std::io::Result<Found> {
    std::fs::read_dir(root)?;
    let mut found = Found::default();
    let mut open = vec![(PathBuf::new(), 0)];
    while let Some((folder, depth)) = open.pop() {
        match std::fs::read_dir(root.join(&folder)) {
            Err(error) => found.closed.push((folder, error.to_string())),
            Ok(entries) => {
                for entry in entries.filter_map(Result::ok) {
                    let path = folder.join(entry.file_name());
                    let Ok(kind) = entry.file_type() else { continue };
                    if entry.file_name().to_string_lossy().starts_with('.') {
                        continue;
                    }
                    if kind.is_dir() && !skip(&entry.path()) {
                        if depth < MOST_FOUND_DEPTH {
                            open.push((path, depth + 1))
                        } else {
                            found.more = true
                        }
                    } else if kind.is_symlink() {
                        found.links += 1;
                    } else if kind.is_file() && wanted(&path) {
                        found.files.push(path);
                    }
                }
            }
        }
    }
    found.files.sort();
    found.closed.sort();
    found.more |= found.files.len() > MOST_FOUND;
    found.files.truncate(MOST_FOUND);
    Ok(found)
}

/// Files held in memory, for tests and for text without a folder.
#[derive(Clone, Debug, Default)]
pub struct Memory(pub std::collections::BTreeMap<String, Vec<u8>>);

impl Files for Memory {
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem> {
        self.0.get(path).cloned().ok_or(FileProblem::NotFound)
    }

    fn list(&self, folder: &str) -> Option<Vec<String>> {
        let prefix = if matches!(folder, "" | ".") { String::new() } else { format!("{folder}/") };
        let below = self.0.keys().filter_map(|path| path.strip_prefix(&prefix));
        let found: Vec<String> = below.map(str::to_owned).collect();
        (!found.is_empty()).then_some(found)
    }
}
