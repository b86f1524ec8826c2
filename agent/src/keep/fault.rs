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
                f.write_str("expected a folder used by this agent only, found the store of another running traylight")
            }
            Trouble::Refused(why) => write!(f, "expected a writable folder, found {why:?}"),
            Trouble::Full => f.write_str("expected free space for the store, found a full disk"),
            Trouble::ReadOnly => f.write_str("expected a writable store, found a read-only disk or file"),
            Trouble::Locked => f.write_str("expected a writable store, found it locked by another program"),
            Trouble::DiskFails(why) => {
                write!(f, "expected a readable and writable store, found a failing disk ({why})")
            }
            Trouble::Damaged(why) => {
                write!(f, "expected an intact store, found a damaged one ({why}); the next start sets it aside")
            }
            Trouble::Vanished => f.write_str("expected the store that was opened, found it removed or replaced"),
            Trouble::Hangs => f.write_str("expected the previous save to have ended, found it still running"),
            Trouble::Other(why) => write!(f, "expected a working store, found {why:?}"),
        }
    }
}

impl std::error::Error for KeepFault {}
