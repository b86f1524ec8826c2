//! What every part of the store's file is read and written by: its marks, and how it is opened.

use super::fault::{KeepFault, Trouble};
use rusqlite::Connection;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::Duration;

/// The database in the state folder.
pub(super) const FILE: &str = "store.db";
/// Marks the database as ours (SQLite's file format, 1.3.17): "tray" in ASCII.
pub(super) const APPLICATION: i64 = 0x7472_6179;
/// The version of what is in it. Whoever changes the tables or the form of a body raises it and brings older stores
/// up to it; a field more, which is empty where it is not there, needs no new version.
pub(super) const VERSION: i64 = 5;
/// Another program that has the database open is waited for no longer; only whoever writes to it is in the way.
const PATIENCE: Duration = Duration::from_secs(1);

/// A log ahead of the file costs flash the least; FULL waits until the disk has it; a quarter of a MiB is cache enough.
pub(super) const MANNER: &str = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA cache_size = -256;";

pub(super) fn connect(file: &Path) -> rusqlite::Result<Connection> {
    let database = Connection::open(file)?;
    database.busy_timeout(PATIENCE)?;
    Ok(database)
}

/// A body that is no ledger, as the database's own error for a column that is not what it should be.
pub(super) fn as_database_error(error: serde_json::Error) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(0, rusqlite::types::Type::Text, Box::new(error))
}

/// Which file it is that was opened, whatever comes to bear its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct FileIdentity {
    device: u64,
    inode: u64,
}

impl FileIdentity {
    pub(super) fn of(file: &Path) -> std::io::Result<Self> {
        std::fs::metadata(file).map(|found| Self { device: found.dev(), inode: found.ino() })
    }

    /// # Errors
    /// When another file or none has this name now.
    pub(super) fn is_still(&self, file: &Path) -> Result<(), KeepFault> {
        match Self::of(file) {
            Ok(found) if found == *self => Ok(()),
            _ => Err(KeepFault { at: file.to_owned(), trouble: Trouble::Vanished }),
        }
    }
}
