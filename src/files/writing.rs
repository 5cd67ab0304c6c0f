//! Files are written whole or not at all: into a temporary file beside their place, flushed, then moved into it.
//!
//! Whatever happens on the way (a full disk, a signal, the end of the power), the place holds the old file or the new one.
//! A temporary file is taken away when writing fails and when the program is told to end ([`abandon`]); only a process
//! that is killed outright leaves one behind, under a name that begins with `.reweigh-`.

use std::collections::BTreeSet;
use std::io::{Error, ErrorKind, Result, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Temporary files that are being written.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes away every file that is being written, and keeps new ones from being begun: for a program that ends at once.
pub fn abandon() {
    let unfinished = unfinished();
    for path in unfinished.iter() {
        drop(std::fs::remove_file(path));
    }
    std::mem::forget(unfinished);
}

/// Writes a file whole or not at all.
///
/// # Errors
///
/// It could not be written, or what is there is no file or may not be changed; then that is still there.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<()> {
    may_be_replaced(path)?;
    Unfinished::with(path, bytes)?.move_to(path)
}

/// Writes a new file whole or not at all; a file that is there already is left as it is, and that is an error
/// ([`ErrorKind::AlreadyExists`]).
///
/// # Errors
///
/// It could not be written, or is there already.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<()> {
    Unfinished::with(path, bytes)?.move_to_new(path)
}

/// Writes a file whole or not at all, piece by piece: what is long need not be held in memory.
///
/// # Errors
///
/// As [`write_atomically`].
pub fn write_atomically_with(path: &Path, write: impl FnOnce(&mut dyn Write) -> Result<()>) -> Result<()> {
    may_be_replaced(path)?;
    let mut file = Unfinished::beside(path)?;
    {
        let mut buffered = std::io::BufWriter::new(file.file.as_file_mut());
        write(&mut buffered)?;
        buffered.flush()?;
    }
    file.finish()?;
    file.move_to(path)
}

/// Writes a file whole or not at all, if it still holds what it held; `false` where it holds something else by now, and
/// then nothing is written. A link is followed, and the file keeps its permissions.
///
/// Between the last look and the change of name lies a moment in which another program can write; it is as short as
/// the file system allows.
///
/// # Errors
///
/// The file could not be read or written.
pub fn replace_unchanged(path: &Path, held: &[u8], bytes: &[u8]) -> Result<bool> {
    let path = path.canonicalize()?;
    may_be_replaced(&path)?;
    let permissions = std::fs::metadata(&path)?.permissions();
    let file = Unfinished::with(&path, bytes)?;
    file.file.as_file().set_permissions(permissions)?;
    if std::fs::read(&path)? != held {
        return Ok(false);
    }
    file.move_to(&path)?;
    Ok(true)
}

/// Whether what stands at a path may give way to a new file: a device or a pipe would be gone, and who has taken the right
/// to write from a file wants it kept.
fn may_be_replaced(path: &Path) -> Result<()> {
    let facts = match std::fs::metadata(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
        facts => facts?,
    };
    if facts.is_dir() {
        Err(Error::new(ErrorKind::IsADirectory, "it is a folder"))
    } else if !facts.is_file() {
        Err(Error::new(ErrorKind::InvalidInput, "it is a device or a pipe, not a file"))
    } else if facts.permissions().readonly() {
        Err(Error::new(ErrorKind::PermissionDenied, "it is a file that nobody may write to"))
    } else {
        Ok(())
    }
}

/// A file that is not yet at its place; it is taken away where it does not get there.
struct Unfinished {
    file: tempfile::NamedTempFile,
}

impl Unfinished {
    /// An empty one in the folder of a path, which is made where it is missing.
    fn beside(path: &Path) -> Result<Unfinished> {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder)?;
        // Nothing is abandoned between the making of a file and its entry in the list.
        let mut unfinished = unfinished();
        let file = tempfile::Builder::new().prefix(".reweigh-").tempfile_in(folder)?;
        unfinished.insert(file.path().to_owned());
        Ok(Unfinished { file })
    }

    /// One that holds these bytes, flushed.
    fn with(path: &Path, bytes: &[u8]) -> Result<Unfinished> {
        let mut new = Unfinished::beside(path)?;
        new.file.write_all(bytes)?;
        new.finish()?;
        Ok(new)
    }

    /// Flushed to the disk, and readable as other files are.
    fn finish(&self) -> Result<()> {
        self.file.as_file().sync_all()?;
        set_usual_permissions(self.file.as_file())
    }

    fn move_to(self, path: &Path) -> Result<()> {
        let temporary = self.file.path().to_owned();
        let moved = self.file.persist(path).map_err(|error| error.error);
        unfinished().remove(&temporary);
        moved.map(drop)
    }

    fn move_to_new(self, path: &Path) -> Result<()> {
        let temporary = self.file.path().to_owned();
        let moved = self.file.persist_noclobber(path).map_err(|error| error.error);
        unfinished().remove(&temporary);
        moved.map(drop)
    }
}

#[cfg(unix)]
fn set_usual_permissions(file: &std::fs::File) -> Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn set_usual_permissions(_: &std::fs::File) -> Result<()> {
    Ok(())
}
