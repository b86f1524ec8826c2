//! The ledger and the last number of an incident, as they stand in their tables.

use super::database::as_database_error;
use super::stamp::SavedAt;
use crate::judge::ledger::Ledger;
use rusqlite::{Connection, OptionalExtension};
use serde::{Deserialize, Serialize};

/// What is in the only row: the ledger, and beside its fields when it was kept.
#[derive(Serialize)]
pub(super) struct Body<'a> {
    #[serde(flatten)]
    pub(super) ledger: &'a Ledger,
    pub(super) kept: Option<SavedAt>,
}

/// The part of it that the ledger does not know of; older stores have none.
#[derive(Deserialize)]
struct KeptAt {
    kept: Option<SavedAt>,
}

pub(super) fn read_ledger(database: &Connection) -> rusqlite::Result<Option<(Ledger, Option<SavedAt>)>> {
    let body: Option<String> =
        database.query_row("SELECT body FROM ledger WHERE id = 1", [], |row| row.get(0)).optional()?;
    let read = |body: String| -> serde_json::Result<_> {
        Ok((serde_json::from_str(&body)?, serde_json::from_str::<KeptAt>(&body)?.kept))
    };
    body.map(read).transpose().map_err(as_database_error)
}

/// The last number that was given to an incident; 0 when none was.
pub(super) fn read_number(database: &Connection) -> rusqlite::Result<u32> {
    let number = database.query_row("SELECT incident FROM given WHERE id = 1", [], |row| row.get(0)).optional()?;
    let number: u32 = number.unwrap_or_default();
    // No box gets so far: the file is damaged, and what comes next must have a number, too.
    if number > u32::MAX / 2 {
        return Err(rusqlite::Error::IntegralValueOutOfRange(0, number.into()));
    }
    Ok(number)
}
