//! The store: opened, brought up to this version, read and written.

use super::aside::{FileState, close_to_others, look, set_aside, set_odd_parts_aside};
use super::database::{FILE, FileIdentity, MANNER, VERSION, as_database_error, connect};
use super::fault::{KeepFault, Trouble};
use super::outbox;
use super::rows::{Body, read_ledger, read_number};
use super::stamp::SavedAt;
use crate::clock::Clock;
use crate::judge::ledger::Ledger;
use crate::verdict::IncidentId;
use rusqlite::Connection;
use rustix::fs::{Access, FlockOperation, access, flock};
use std::fs::{File, OpenOptions};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// The first version of the store.
const TABLES: &str = "
    PRAGMA application_id = 0x74726179;
    PRAGMA user_version = 1;
    -- The ledger of the drives' counters as JSON, in the only row.
    CREATE TABLE ledger (id INTEGER PRIMARY KEY CHECK (id = 1), body TEXT NOT NULL) STRICT;";

/// What the third version has more than the second.
const NUMBER: &str = "
    -- The last number that was given to an incident, in the only row.
    CREATE TABLE given (id INTEGER PRIMARY KEY CHECK (id = 1), incident INTEGER NOT NULL) STRICT;";

/// Nobody else may read what is kept: serial numbers, where alerts go, what they say. It is served by the state socket.
const MODE: u32 = 0o600;

/// The store. While it lives, no other agent gets the same folder.
pub struct Store {
    database: Connection,
    pub(super) clock: Clock,
    pub(super) file: PathBuf,
    identity: FileIdentity,
    /// Holds the lock on the folder.
    _folder: File,
}

impl Store {
    /// Opens the store in the state folder; makes both where they are not there. A file that cannot be used is set
    /// aside under another name and a new store is begun: each time that is so is a remark, in words for the owner.
    pub fn open(state_dir: &Path, clock: Clock) -> Result<(Self, Vec<String>), KeepFault> {
        let folder = take(state_dir)?;
        let file = state_dir.join(FILE);
        let mut remarks = Vec::new();
        for place in [&file, &unfinished(&file)] {
            for (part, aside) in set_odd_parts_aside(place).map_err(KeepFault::system(place))? {
                let (part, aside) = (part.display(), aside.display());
                remarks.push(format!(
                    "{part}: expected a regular file of the store, found another kind of file; it is kept as {aside}"
                ));
            }
        }
        let found = look(&file)?;
        if let FileState::Unusable(found) = &found {
            let aside = set_aside(&file).map_err(KeepFault::system(&file))?;
            let (file, aside) = (file.display(), aside.display());
            remarks.push(format!(
                "{file}: expected a store of version {VERSION}, found {found}; it is kept as {aside}, a new store is begun"
            ));
        }
        if found != FileState::Good {
            create(&file)?;
        }
        close_to_others(&file, MODE).map_err(KeepFault::system(&file))?;
        let ready = || {
            let database = connect(&file)?;
            database.execute_batch(MANNER)?;
            bring_up(&database, "").map(|()| database)
        };
        let database = ready().map_err(KeepFault::database(&file))?;
        let identity = FileIdentity::of(&file).map_err(KeepFault::system(&file))?;
        Ok((Self { database, clock, file, identity, _folder: folder }, remarks))
    }

    /// The ledger as it was saved last, in terms of this boot; an empty one when none was.
    pub fn load_ledger(&self) -> Result<Ledger, KeepFault> {
        let kept = read_ledger(&self.database).map_err(KeepFault::database(&self.file))?;
        let (mut ledger, stamp) = kept.unwrap_or_default();
        if let Some(stamp) = stamp {
            stamp.bring_over(&mut ledger, &SavedAt::of(&self.clock));
        }
        let given = read_number(&self.database).map_err(KeepFault::database(&self.file))?;
        ledger.incident_store.number_was_given(IncidentId(given));
        Ok(ledger)
    }

    /// Keeps the last number that was given to an incident, a few hundred bytes, and returns when the disk has it.
    pub fn keep_number(&self, last: IncidentId) -> Result<(), KeepFault> {
        let keep = "INSERT INTO given (id, incident) VALUES (1, ?1) \
                    ON CONFLICT (id) DO UPDATE SET incident = max(incident, excluded.incident)";
        self.database.execute(keep, [last.0]).map(drop).map_err(KeepFault::database(&self.file))
    }

    /// The file that it is in.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Sees whether the store is where it was opened.
    ///
    /// # Errors
    /// When it is not: what is written to it is found by nobody.
    pub fn is_there(&self) -> Result<(), KeepFault> {
        self.identity.is_still(&self.file)
    }

    /// Saves the ledger in place of the one before, and returns when the disk has it.
    ///
    /// # Errors
    /// When the disk is full, can only be read, or fails. What was saved before stays. Also when the file is not there any
    /// more: what is written to it then is found by nobody.
    pub fn save_ledger(&self, ledger: &Ledger) -> Result<(), KeepFault> {
        self.identity.is_still(&self.file)?;
        let save = || {
            let body = Body { ledger, kept: Some(SavedAt::of(&self.clock)) };
            let body = serde_json::to_string(&body).map_err(as_database_error)?;
            self.database.execute("REPLACE INTO ledger (id, body) VALUES (1, ?1)", [body]).map(drop)
        };
        save().map_err(KeepFault::database(&self.file))
    }
}

/// Makes the folder and locks it. The lock ends with the process, however that ends.
#[allow(clippy::disallowed_methods, reason = "the state folder is this module's own edge")]
fn take(state_dir: &Path) -> Result<File, KeepFault> {
    let system = KeepFault::system(state_dir);
    std::fs::create_dir_all(state_dir).map_err(&system)?;
    // Said here in plain words; the database would say it in many ways.
    access(state_dir, Access::WRITE_OK).map_err(|error| system(error.into()))?;
    let folder = File::open(state_dir).map_err(&system)?;
    match flock(&folder, FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => Ok(folder),
        Err(rustix::io::Errno::WOULDBLOCK) => {
            Err(KeepFault { at: state_dir.to_owned(), trouble: Trouble::AnotherAgent })
        }
        Err(error) => Err(system(error.into())),
    }
}

/// Where a store is made before it has its name.
fn unfinished(file: &Path) -> PathBuf {
    file.with_extension("new")
}

/// Makes a new store under another name first, so that a store is never half made.
#[allow(clippy::disallowed_methods, reason = "the state folder is this module's own edge")]
fn create(file: &Path) -> Result<(), KeepFault> {
    let unfinished = unfinished(file);
    match unfinished.symlink_metadata() {
        Ok(found) if !found.is_file() => drop(set_aside(&unfinished).map_err(KeepFault::system(&unfinished))?),
        Ok(_) => std::fs::remove_file(&unfinished).map_err(KeepFault::system(&unfinished))?,
        Err(_) => {}
    }
    // Made here, so that it is never open to others.
    let made = OpenOptions::new().write(true).create_new(true).mode(MODE).open(&unfinished);
    made.map_err(KeepFault::system(&unfinished))?;
    let make = || bring_up(&connect(&unfinished)?, TABLES);
    make().map_err(KeepFault::database(&unfinished))?;
    std::fs::rename(&unfinished, file).map_err(KeepFault::system(file))
}

/// Brings a store of an older version up to this one. One transaction: the marks and the tables are there together or
/// not at all.
fn bring_up(database: &Connection, before: &str) -> rusqlite::Result<()> {
    let change = database.unchecked_transaction()?;
    change.execute_batch(before)?;
    if change.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0))? < 2 {
        change.execute_batch(outbox::TABLES)?;
        change.execute_batch("PRAGMA user_version = 2;")?;
    }
    if change.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0))? < 3 {
        change.execute_batch(NUMBER)?;
        change.execute_batch("PRAGMA user_version = 3;")?;
    }
    // The facts of conditions have another form: one that holds any of the older form is not used, see `look`.
    change.pragma_update(None, "user_version", VERSION)?;
    outbox::bring_up(&change)?;
    change.execute_batch(outbox::LATER_TABLES)?;
    change.commit()
}

#[cfg(test)]
pub(super) mod tests;
