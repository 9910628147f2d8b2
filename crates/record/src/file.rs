//! The one place that opens a file.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use crate::error::{ErrorKind, Trouble};
use crate::{ReadOptions, Record, RecordError, read_bytes};

/// Reads a record from a file; `progress` is told the bytes read so far and, where known, how
/// many there are.
///
/// # Errors
/// If the file can't be opened, or as [`read_bytes`].
pub fn read_file(
    path: &Path,
    options: &ReadOptions,
    progress: impl FnMut(u64, Option<u64>),
) -> Result<Record, RecordError> {
    let name = path.display().to_string();
    let file = File::open(path).map_err(|error| {
        let help = "check the name of the file and whether it may be read";
        Trouble::new(ErrorKind::Unreadable, format!("it can't be opened: {error}"), help)
            .in_file(&name)
    })?;
    let total = file.metadata().ok().filter(std::fs::Metadata::is_file).map(|about| about.len());
    read_bytes(&name, Watched { inner: file, read: 0, total, progress }, options)
}

/// Tells how far the reading is.
struct Watched<R, P> {
    inner: R,
    read: u64,
    total: Option<u64>,
    progress: P,
}

impl<R: Read, P: FnMut(u64, Option<u64>)> Read for Watched<R, P> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(into)?;
        self.read += count as u64;
        (self.progress)(self.read, self.total);
        Ok(count)
    }
}
