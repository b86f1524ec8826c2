//! What can go wrong with keeping, and how it is told. Nothing here decides what is done about it.

use rusqlite::ErrorCode;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Why something could not be kept or found again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeepFault {
    /// The file or folder.
    pub at: PathBuf,
    /// What is wrong there.
    pub trouble: Trouble,
}

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trouble {
    /// Another agent keeps its store in this folder.
    AnotherAgent,
    /// The system refuses the folder or file; its words.
    Refused(String),
    /// There is no room.
    Full,
    /// The disk or the file can only be read.
    ReadOnly,
    /// Another program writes to the store.
    Locked,
    /// The disk fails to read or to write; the database's words.
    DiskFails(String),
    /// What is written there is not what was written; the database's words.
    Damaged(String),
    /// The file that was opened is gone: removed, or hidden by another disk.
    Vanished,
    /// A save was begun and has not ended since.
    Hangs,
    /// Anything else; the database's words.
    Other(String),
}

impl KeepFault {
    /// Turns what the system says of this place into a fault.
    pub(super) fn system(at: &Path) -> impl Fn(io::Error) -> Self {
        move |error| Self {
            at: at.to_owned(),
            trouble: match error.kind() {
                io::ErrorKind::StorageFull => Trouble::Full,
                io::ErrorKind::ReadOnlyFilesystem => Trouble::ReadOnly,
                _ => Trouble::Refused(error.to_string()),
            },
        }
    }

    /// A store for which there was no thread.
    pub fn thread(at: PathBuf, error: &io::Error) -> Self {
        Self { at, trouble: Trouble::Other(format!("no thread to spare: {error}")) }
    }

    /// Turns what the database says of this file into a fault.
    pub(super) fn database(at: &Path) -> impl Fn(rusqlite::Error) -> Self {
        move |error| {
            let trouble = match error.sqlite_error_code() {
                _ if is_of_the_contents(&error) => Trouble::Damaged(error.to_string()),
                Some(ErrorCode::DiskFull) => Trouble::Full,
                // The index of the log could not grow.
                _ if error.sqlite_extended_error_code() == Some(rusqlite::ffi::SQLITE_IOERR_SHMSIZE) => Trouble::Full,
                Some(ErrorCode::ReadOnly) => Trouble::ReadOnly,
                Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Trouble::Locked,
                Some(ErrorCode::SystemIoFailure) => Trouble::DiskFails(error.to_string()),
                _ => Trouble::Other(error.to_string()),
            };
            Self { at: at.to_owned(), trouble }
        }
    }
}

/// True when the file's contents are at fault, not the disk, the rights or the moment.
pub(super) fn is_of_the_contents(error: &rusqlite::Error) -> bool {
    // What it says of a column that is not there.
    if matches!(error, rusqlite::Error::SqlInputError { .. }) {
        return true;
    }
    match error.sqlite_error_code() {
        // `Unknown` is what the database says of a table that is not there.
        Some(code) => matches!(code, ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::Unknown),
        None => matches!(
            error,
            rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::InvalidColumnType(..)
                | rusqlite::Error::Utf8Error(..)
        ),
    }
}

impl fmt::Display for KeepFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.at.display())?;
        match &self.trouble {
            Trouble::AnotherAgent => {
                f.write_str("found another traylight that keeps its store here, wanted a folder of its own")
            }
            Trouble::Refused(why) => write!(f, "found {why:?}, wanted a folder that can be written to"),
            Trouble::Full => f.write_str("found no room left on the disk, wanted some for the store"),
            Trouble::ReadOnly => f.write_str("found a disk or file that can only be read, wanted to write"),
            Trouble::Locked => f.write_str("found it locked by another program, wanted to write"),
            Trouble::DiskFails(why) => write!(f, "found a disk that fails ({why}), wanted to read and write"),
            Trouble::Damaged(why) => {
                write!(f, "found a damaged store ({why}), wanted a whole one; the next start sets it aside")
            }
            Trouble::Vanished => f.write_str("found it removed or replaced, wanted the store that was opened"),
            Trouble::Hangs => f.write_str("found the save before still under way, wanted it to end"),
            Trouble::Other(why) => write!(f, "found {why:?}, wanted to keep the store"),
        }
    }
}

impl std::error::Error for KeepFault {}
