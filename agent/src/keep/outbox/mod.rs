//! The outbox in the store: what waits for which channel, which incidents were told, and which channels are known to arrive.
//! It has a connection of its own, since whoever sends works beside whoever saves the ledger.

use super::database::{FILE, FileIdentity, MANNER, as_database_error, connect};
use super::fault::KeepFault;
use crate::tell::message::{Message, Stamp};
use crate::tell::outbox::{Kept, KeptPause, LastSuccess, REMEMBERED, ReportedIncident, Waiting, Write};
use rusqlite::{Connection, OptionalExtension, Transaction, params};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What the second version has more than the first.
pub(super) const TABLES: &str = "
    -- Messages that wait, as JSON, in the order of their making; the panel's picture is a PNG file.
    CREATE TABLE message (
        number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, body TEXT NOT NULL, page BLOB
    ) STRICT;
    -- Which channel each waits for, how often it was tried, how many before it were left out.
    CREATE TABLE waiting (
        channel TEXT NOT NULL, message INTEGER NOT NULL REFERENCES message (number),
        tried INTEGER NOT NULL DEFAULT 0, left_out INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (channel, message)
    ) STRICT, WITHOUT ROWID;
    -- Incidents that are open, as they were told, as JSON.
    CREATE TABLE story (incident TEXT PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID;
    -- The names of the last messages that were taken in.
    CREATE TABLE taken (number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE) STRICT;
    -- When it was last said that all is well, as JSON, in the only row.
    CREATE TABLE all_well (id INTEGER PRIMARY KEY CHECK (id = 1), body TEXT NOT NULL) STRICT;
    -- The code that was sent on each channel to this target, and whether somebody has read it there.
    CREATE TABLE confirmation (
        channel TEXT PRIMARY KEY, target TEXT NOT NULL, code TEXT NOT NULL, confirmed INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID;";

/// Tables that are empty where they are not there: stores of this version that are older have none.
pub(super) const LATER_TABLES: &str = "
    -- How each channel that was tried and has not taken what it was given is left alone, as JSON.
    CREATE TABLE IF NOT EXISTS pause (channel TEXT PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID;
    -- When each channel has accepted something last, as JSON.
    CREATE TABLE IF NOT EXISTS success (channel TEXT PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID;";

/// Brings up a store that calls channels by an older name.
pub(super) fn bring_up(change: &Connection) -> rusqlite::Result<()> {
    for table in ["waiting", "confirmation", "pause"] {
        if change.column_exists(None, table, "way")? {
            change.execute_batch(&format!("ALTER TABLE {table} RENAME COLUMN way TO channel"))?;
        }
    }
    Ok(())
}

/// The outbox of a store.
pub struct OutboxStore {
    database: Connection,
    file: PathBuf,
    identity: FileIdentity,
}

impl OutboxStore {
    /// The outbox of the store in this folder, which must be there. It can be open in two processes: each change is
    /// whole.
    pub fn open(state_dir: &Path) -> Result<Self, KeepFault> {
        let file = state_dir.join(FILE);
        let identity = FileIdentity::of(&file).map_err(KeepFault::system(&file))?;
        let open = || {
            let database = connect(&file)?;
            database.execute_batch(MANNER)?;
            load(&database).map(|_| database)
        };
        let database = open().map_err(KeepFault::database(&file))?;
        Ok(Self { database, file, identity })
    }

    /// The state folder.
    pub fn folder(&self) -> Option<&Path> {
        self.file.parent()
    }

    /// All that waits.
    pub fn load(&self) -> Result<Kept, KeepFault> {
        load(&self.database).map_err(KeepFault::database(&self.file))
    }

    /// Stores what is new, all of it or nothing, and returns when the disk has it.
    ///
    /// # Errors
    /// When the disk is full, can only be read, or fails, or the store is gone.
    pub fn apply(&mut self, writes: &[Write]) -> Result<(), KeepFault> {
        if writes.is_empty() {
            return Ok(());
        }
        self.change(|change| writes.iter().try_for_each(|write| apply(change, write)))
    }

    /// Stores this in place of all that waited; in a new store, where the old one is gone.
    pub fn replace(&mut self, kept: &Kept) -> Result<(), KeepFault> {
        if self.identity.is_still(&self.file).is_err() {
            if let Some(folder) = self.file.parent() {
                *self = Self::open(folder)?;
            }
        }
        self.change(|change| {
            change.execute_batch(
                "DELETE FROM waiting; DELETE FROM message; DELETE FROM story; DELETE FROM all_well; DELETE FROM taken; \
                 DELETE FROM pause; DELETE FROM success;",
            )?;
            kept.taken.iter().try_for_each(|id| put_taken(change, id))?;
            for Waiting { channel, message, tried, left_out } in &kept.waiting {
                put(change, message, std::slice::from_ref(channel))?;
                let place = "UPDATE waiting SET tried = ?3, left_out = ?4 WHERE channel = ?1 AND message = \
                             (SELECT number FROM message WHERE id = ?2)";
                change.execute(place, params![channel, message.id, tried, left_out])?;
            }
            kept.incidents.iter().try_for_each(|reported| put_incident(change, reported))?;
            kept.pauses.iter().try_for_each(|pause| put_pause(change, pause))?;
            kept.successes.iter().try_for_each(|success| put_success(change, success))?;
            kept.all_well.iter().try_for_each(|stamp| put_all_well(change, stamp))
        })
    }

    /// Remembers the code that is sent to this target to see whether it arrives.
    pub fn ask(&mut self, channel: &str, target: &str, code: &str) -> Result<(), KeepFault> {
        let ask = "REPLACE INTO confirmation (channel, target, code, confirmed) VALUES (?1, ?2, ?3, 0)";
        self.change(|change| change.execute(ask, [channel, target, code]).map(drop))
    }

    /// The channel on which this code was sent and has now been read; `None` when no code of any channel is this one.
    pub fn confirm(&mut self, code: &str) -> Result<Option<String>, KeepFault> {
        self.change(|change| {
            let confirm = "UPDATE confirmation SET confirmed = 1 WHERE code = ?1 RETURNING channel";
            change.query_row(confirm, [code], |row| row.get(0)).optional()
        })
    }

    /// Whether somebody has read on this channel, at this target, what was sent there.
    pub fn is_confirmed(&self, channel: &str, target: &str) -> Result<bool, KeepFault> {
        let look = "SELECT confirmed FROM confirmation WHERE channel = ?1 AND target = ?2";
        let found = self.database.query_row(look, [channel, target], |row| row.get(0)).optional();
        found.map(|confirmed| confirmed.unwrap_or(false)).map_err(KeepFault::database(&self.file))
    }

    /// From now on there is no room for anything large, as on a full disk (SQLite's document on result codes, SQLITE_FULL).
    #[cfg(test)]
    pub(crate) fn fill_up(&mut self) {
        let pages: i64 = self.database.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap_or(1);
        let _ = self.database.execute_batch(&format!("PRAGMA max_page_count = {pages}"));
    }

    fn change<T>(&mut self, change: impl FnOnce(&Transaction) -> rusqlite::Result<T>) -> Result<T, KeepFault> {
        self.identity.is_still(&self.file)?;
        let whole = || {
            let transaction = self.database.transaction()?;
            let done = change(&transaction)?;
            transaction.commit().map(|()| done)
        };
        whole().map_err(KeepFault::database(&self.file))
    }
}

fn apply(change: &Transaction, write: &Write) -> rusqlite::Result<()> {
    match write {
        Write::Put(message, channels) => {
            put(change, message, channels)?;
            put_taken(change, &message.id)
        }
        Write::Tried(channel, ids) => {
            let tried = "UPDATE waiting SET tried = tried + 1 WHERE channel = ?1 AND message = \
                         (SELECT number FROM message WHERE id = ?2)";
            ids.iter().try_for_each(|id| change.execute(tried, [channel, id]).map(drop))
        }
        Write::Done(channel, ids) => {
            let done =
                "DELETE FROM waiting WHERE channel = ?1 AND message = (SELECT number FROM message WHERE id = ?2)";
            let unwanted = "DELETE FROM message WHERE id = ?1 AND number NOT IN (SELECT message FROM waiting)";
            ids.iter().try_for_each(|id| {
                change.execute(done, [channel, id])?;
                change.execute(unwanted, [id]).map(drop)
            })
        }
        Write::LeftOut(channel, id, count) => {
            let count_it = "UPDATE waiting SET left_out = ?3 WHERE channel = ?1 AND message = \
                            (SELECT number FROM message WHERE id = ?2)";
            change.execute(count_it, params![channel, id, count]).map(drop)
        }
        Write::Incident(reported) => put_incident(change, reported),
        Write::IncidentOver(incident) => change.execute("DELETE FROM story WHERE incident = ?1", [incident]).map(drop),
        Write::AllWell(stamp) => put_all_well(change, stamp),
        Write::Pause(pause) => put_pause(change, pause),
        Write::Success(success) => put_success(change, success),
        Write::PauseOver(channel) => change.execute("DELETE FROM pause WHERE channel = ?1", [channel]).map(drop),
    }
}

fn put(change: &Transaction, message: &Message, channels: &[String]) -> rusqlite::Result<()> {
    let body = serde_json::to_string(message).map_err(as_database_error)?;
    let insert = "INSERT INTO message (id, body, page) VALUES (?1, ?2, ?3) ON CONFLICT (id) DO NOTHING";
    change.execute(insert, params![message.id, body, message.page])?;
    let wait =
        "INSERT INTO waiting (channel, message) SELECT ?1, number FROM message WHERE id = ?2 ON CONFLICT DO NOTHING";
    channels.iter().try_for_each(|channel| change.execute(wait, [channel, &message.id]).map(drop))
}

fn put_taken(change: &Transaction, id: &str) -> rusqlite::Result<()> {
    change.execute("INSERT INTO taken (id) VALUES (?1) ON CONFLICT DO NOTHING", [id])?;
    let forget = "DELETE FROM taken WHERE number <= (SELECT max(number) FROM taken) - ?1";
    change.execute(forget, [REMEMBERED as i64]).map(drop)
}

fn put_incident(change: &Transaction, reported: &ReportedIncident) -> rusqlite::Result<()> {
    let body = serde_json::to_string(reported).map_err(as_database_error)?;
    change.execute("REPLACE INTO story (incident, body) VALUES (?1, ?2)", [&reported.last.incident, &body]).map(drop)
}

fn put_all_well(change: &Transaction, stamp: &Stamp) -> rusqlite::Result<()> {
    let body = serde_json::to_string(stamp).map_err(as_database_error)?;
    change.execute("REPLACE INTO all_well (id, body) VALUES (1, ?1)", [body]).map(drop)
}

fn put_pause(change: &Transaction, pause: &KeptPause) -> rusqlite::Result<()> {
    let body = serde_json::to_string(pause).map_err(as_database_error)?;
    change.execute("REPLACE INTO pause (channel, body) VALUES (?1, ?2)", [&pause.channel, &body]).map(drop)
}

fn put_success(change: &Transaction, success: &LastSuccess) -> rusqlite::Result<()> {
    let body = serde_json::to_string(success).map_err(as_database_error)?;
    change.execute("REPLACE INTO success (channel, body) VALUES (?1, ?2)", [&success.channel, &body]).map(drop)
}

/// All that waits, as the database has it: one that is not brought up yet, too.
pub(super) fn load(database: &Connection) -> rusqlite::Result<Kept> {
    let mut messages: BTreeMap<i64, Arc<Message>> = BTreeMap::new();
    let mut read = database.prepare("SELECT number, body, page FROM message")?;
    let mut rows = read.query([])?;
    while let Some(row) = rows.next()? {
        let message: Message = serde_json::from_str(row.get_ref(1)?.as_str()?).map_err(as_database_error)?;
        messages.insert(row.get(0)?, Arc::new(Message { page: row.get(2)?, ..message }));
    }
    let mut kept = Kept::default();
    let channel = if database.column_exists(None, "waiting", "way")? { "way" } else { "channel" };
    let mut read = database
        .prepare(&format!("SELECT {channel}, message, tried, left_out FROM waiting ORDER BY message, {channel}"))?;
    let mut rows = read.query([])?;
    while let Some(row) = rows.next()? {
        if let Some(message) = messages.get(&row.get(1)?) {
            let message = Arc::clone(message);
            kept.waiting.push(Waiting { channel: row.get(0)?, message, tried: row.get(2)?, left_out: row.get(3)? });
        }
    }
    let mut read = database.prepare("SELECT body FROM story ORDER BY incident")?;
    let mut rows = read.query([])?;
    while let Some(row) = rows.next()? {
        kept.incidents.push(serde_json::from_str(row.get_ref(0)?.as_str()?).map_err(as_database_error)?);
    }
    let mut read = database.prepare("SELECT id FROM taken ORDER BY number")?;
    let mut rows = read.query([])?;
    while let Some(row) = rows.next()? {
        kept.taken.push(row.get(0)?);
    }
    let body: Option<String> =
        database.query_row("SELECT body FROM all_well WHERE id = 1", [], |row| row.get(0)).optional()?;
    kept.all_well = body.map(|body| serde_json::from_str(&body).map_err(as_database_error)).transpose()?;
    if database.table_exists(None, "pause")? {
        let mut read = database.prepare(&format!("SELECT body FROM pause ORDER BY {channel}"))?;
        let mut rows = read.query([])?;
        while let Some(row) = rows.next()? {
            kept.pauses.push(serde_json::from_str(row.get_ref(0)?.as_str()?).map_err(as_database_error)?);
        }
    }
    if database.table_exists(None, "success")? {
        let mut read = database.prepare("SELECT body FROM success ORDER BY channel")?;
        let mut rows = read.query([])?;
        while let Some(row) = rows.next()? {
            kept.successes.push(serde_json::from_str(row.get_ref(0)?.as_str()?).map_err(as_database_error)?);
        }
    }
    Ok(kept)
}

#[cfg(test)]
mod tests;
