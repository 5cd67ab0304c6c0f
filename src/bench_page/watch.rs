//! Which files a notebook rests on, and word from the system when one of them changes.
//!
//! Folders are watched, not files: editors write beside a file and change the names. A file that is named and
//! missing counts too, so that a picture which is put there later is seen.

use crate::files::{FileProblem, Files, Folder};
use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// How deep folders below a template's are watched.
const MOST_DEPTH: usize = 4;
/// Most of them.
const MOST_FOLDERS: usize = 200;
/// A name that stands for any file of a folder.
const ANY: &str = "any";

/// The files beside a notebook, noting what is asked for.
pub struct Noting {
    folder: Folder,
    asked: Mutex<BTreeSet<String>>,
}

impl Noting {
    /// The files of a folder.
    pub fn new(folder: Folder) -> Self {
        Noting { folder, asked: Mutex::new(BTreeSet::new()) }
    }

    /// Everything that was asked for, files and folders, relative to the notebook's folder.
    pub fn asked(self) -> BTreeSet<String> {
        self.asked.into_inner().unwrap_or_default()
    }

    fn note(&self, path: &str) {
        if let Ok(mut asked) = self.asked.lock() {
            asked.insert(path.to_owned());
        }
    }
}

impl Files for Noting {
    fn read(&self, path: &str) -> Result<Vec<u8>, FileProblem> {
        self.note(path);
        self.folder.read(path)
    }

    fn list(&self, folder: &str) -> Option<Vec<String>> {
        self.note(folder);
        let found = self.folder.list(folder);
        found.iter().flatten().for_each(|file| self.note(&format!("{folder}/{file}")));
        found
    }
}

/// The watch on the folders of the notebooks.
pub struct Watch {
    watcher: RecommendedWatcher,
    folders: BTreeSet<PathBuf>,
}

impl Watch {
    /// A watch that tells of every changed path.
    ///
    /// # Errors
    ///
    /// The system offers none.
    pub fn new(tell: impl Fn(Vec<PathBuf>) + Send + 'static) -> notify::Result<Self> {
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            match event {
                // Reading is no change; without this a build would call for the next one.
                Ok(event) if is_reading(event.kind) => {}
                Ok(event) => tell(event.paths),
                // Words may be lost when there are too many: look at everything again.
                Err(_) => tell(Vec::new()),
            }
        })?;
        Ok(Watch { watcher, folders: BTreeSet::new() })
    }

    /// Watches the folders of some files, and no others any more. Says whether that are more than before.
    pub fn watch(&mut self, files: &BTreeSet<PathBuf>) -> bool {
        let folders: BTreeSet<PathBuf> = files.iter().filter_map(|file| standing_folder(file)).collect();
        for gone in self.folders.difference(&folders) {
            drop(self.watcher.unwatch(gone));
        }
        let watched = folders.into_iter().filter(|folder| {
            self.folders.contains(folder) || self.watcher.watch(folder, RecursiveMode::NonRecursive).is_ok()
        });
        let watched: BTreeSet<PathBuf> = watched.collect();
        let more = watched.iter().any(|folder| !self.folders.contains(folder));
        self.folders = watched;
        more
    }
}

/// A path in every folder below one, for [`Watch::watch`].
pub fn below(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut next = vec![(folder.to_path_buf(), 0)];
    while let Some((folder, depth)) = next.pop() {
        if depth >= MOST_DEPTH || found.len() >= MOST_FOLDERS {
            continue;
        }
        let entries = std::fs::read_dir(&folder).into_iter().flatten().flatten();
        // A link is not followed: it may lead back.
        let folders = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_dir()));
        for path in folders.map(|entry| entry.path()) {
            found.push(path.join(ANY));
            next.push((path, depth + 1));
        }
    }
    found
}

/// Whether an event is about reading alone; the end of a writing is not.
fn is_reading(kind: EventKind) -> bool {
    matches!(kind, EventKind::Access(access) if access != AccessKind::Close(AccessMode::Write))
}

/// The nearest folder of a path that is there.
fn standing_folder(path: &Path) -> Option<PathBuf> {
    path.ancestors().skip(1).find(|folder| folder.is_dir()).map(Path::to_path_buf)
}
