//! Rows that wait on the disc until the whole section is known: in memory, ten thousand of them would be a burden.

use crate::review::section::Row;
use crate::review::section::forms::Rows;
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Error, Result, Seek, Write};

/// Rows in a temporary file without a name, one a line.
pub(super) struct Spool {
    file: BufWriter<File>,
}

impl Spool {
    pub(super) fn new() -> Result<Self> {
        Ok(Spool { file: BufWriter::new(tempfile::tempfile()?) })
    }

    pub(super) fn add(&mut self, row: &Row) -> Result<()> {
        serde_json::to_writer(&mut self.file, row)?;
        self.file.write_all(b"\n")
    }

    /// The rows, to be read as often as they are asked for.
    pub(super) fn finish(self) -> Result<Spooled> {
        Ok(Spooled(self.file.into_inner().map_err(std::io::IntoInnerError::into_error)?))
    }
}

/// Rows that are all there.
pub(super) struct Spooled(File);

impl Rows for Spooled {
    fn each(&self, take: &mut dyn FnMut(Row) -> Result<()>) -> Result<()> {
        let mut file = &self.0;
        file.rewind()?;
        for line in BufReader::new(file).lines() {
            take(serde_json::from_str(&line?).map_err(Error::other)?)?;
        }
        Ok(())
    }
}
