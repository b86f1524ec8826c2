//! Whether a file can be used as the store, and out of the way with one that cannot. It is never deleted: somebody may
//! want to know what was in it.

use super::database::{APPLICATION, VERSION, connect};
use super::fault::{KeepFault, is_of_the_contents};
use super::outbox;
use super::rows::{read_ledger, read_number};
use rusqlite::Connection;
use rusqlite::config::DbConfig;
use std::fs::Permissions;
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// What the database keeps beside its file while it works (SQLite's document on temporary files), then the file.
const PARTS: [&str; 4] = ["-wal", "-shm", "-journal", ""];

/// The header of a database, in bytes (SQLite's file format, 1.3).
const HEADER: u64 = 100;

/// What a look at a file found.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum FileState {
    /// Nothing is there.
    Nothing,
    /// A store that can be used.
    Good,
    /// Something else; what it is.
    Unusable(String),
}

/// Looks at the file, all of it, without changing it.
///
/// # Errors
/// When the disk or the rights do not let it be read, which says nothing of what is in it.
pub(super) fn look(file: &Path) -> Result<FileState, KeepFault> {
    match std::fs::metadata(file) {
        Ok(found) if !found.is_file() => return Ok(FileState::Unusable("another kind of file".to_owned())),
        // The database takes an empty file, and one of a single byte, for a new one.
        Ok(found) if found.len() < HEADER => {
            return Ok(FileState::Unusable(format!(
                "{} of the {HEADER} bytes that a database begins with",
                found.len()
            )));
        }
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            // A log without its file would be played into the next file of that name.
            let left_behind = PARTS.iter().any(|part| with(file, part).exists());
            let unusable = || FileState::Unusable("the log of a store without the store".to_owned());
            return Ok(if left_behind { unusable() } else { FileState::Nothing });
        }
        Err(error) => return Err(KeepFault::system(file)(error)),
    }
    match connect(file).and_then(|database| flaw(&database)) {
        Ok(None) => Ok(FileState::Good),
        Ok(Some(flaw)) => Ok(FileState::Unusable(flaw)),
        Err(error) if is_of_the_contents(&error) => Ok(FileState::Unusable(format!("a damaged file ({error})"))),
        Err(error) => Err(KeepFault::database(file)(error)),
    }
}

/// What makes a database no store of ours. Its log stays where it is, so that a file that is set aside is as it was.
fn flaw(database: &Connection) -> rusqlite::Result<Option<String>> {
    database.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    let number = |name| database.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    if number("application_id")? != APPLICATION {
        return Ok(Some("the database of another program".to_owned()));
    }
    let version = number("user_version")?;
    if version > VERSION {
        return Ok(Some(format!("version {version}, which a newer traylight wrote")));
    }
    if version < 1 {
        return Ok(Some(format!("version {version}, which no traylight wrote")));
    }
    let check: String = database.pragma_query_value(None, "quick_check", |row| row.get(0))?;
    if check != "ok" {
        return Ok(Some(format!("a damaged file ({check})")));
    }
    let ledger = read_ledger(database);
    if version < VERSION && ledger.is_err() {
        return Ok(Some(format!("version {version}, with conditions as an older traylight wrote them")));
    }
    ledger?;
    // The first version had no outbox.
    if version > 1 {
        outbox::load(database)?;
    }
    // Nor did the second know the last number by itself.
    if version > 2 {
        read_number(database)?;
    }
    Ok(None)
}

/// Takes from others the right to read the store, and what the database keeps beside it.
pub(super) fn close_to_others(file: &Path, mode: u32) -> io::Result<()> {
    for part in PARTS.map(|part| with(file, part)) {
        match std::fs::metadata(&part) {
            Ok(found) if found.permissions().mode() & 0o7777 != mode => {
                std::fs::set_permissions(&part, Permissions::from_mode(mode))?;
            }
            Ok(_) => {}
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// Moves out of the way what stands where the database keeps its own files and is none: a folder, a pipe, a link. The store
/// itself stays. The new names of what was moved.
pub(super) fn set_odd_parts_aside(file: &Path) -> io::Result<Vec<(PathBuf, PathBuf)>> {
    let mut moved = Vec::new();
    for part in PARTS {
        let part = with(file, part);
        // The store may be a link to another disk; what the database keeps beside it may not.
        let is_odd = part.symlink_metadata().is_ok_and(|found| !found.is_file());
        if part != file && is_odd {
            let aside = set_aside(&part)?;
            moved.push((part, aside));
        }
    }
    Ok(moved)
}

/// Moves the file and what belongs to it to the first free name with a number; that name.
pub(super) fn set_aside(file: &Path) -> io::Result<PathBuf> {
    let is_free = |aside: &PathBuf| PARTS.iter().all(|part| with(aside, part).symlink_metadata().is_err());
    let mut names = (1..u32::MAX).map(|number| with(file, &format!(".aside-{number}")));
    let aside = names.find(is_free).ok_or(io::ErrorKind::AlreadyExists)?;
    // The file goes last: cut short, this leaves a file that is looked at once more.
    for part in PARTS {
        match std::fs::rename(with(file, part), with(&aside, part)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    Ok(aside)
}

/// The path with more at the end of its last name.
fn with(file: &Path, more: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(more);
    PathBuf::from(name)
}
