//! Serves the state of the box: one document, one schema.
//!
//! In reading order: [`document`] is the whole; `part` declares a part of it, and the files `*_part` and [`parts`] are those
//! parts. [`table`], with its footnotes `notes`, [`drive_detail`] and [`alerts`] print it for people. [`socket`] hands it out and [`control`] takes requests, both on a
//! [`listener`].

pub mod alerts;
pub mod channel_part;
pub mod condition_part;
pub mod control;
pub mod document;
pub mod drive_detail;
pub mod drive_part;
pub mod forecast_part;
pub mod history_part;
pub mod incident_part;
pub mod listener;
mod notes;
pub mod part;
pub mod parts;
pub mod pool_part;
pub mod rehearsal_part;
pub mod shelf_part;
pub mod socket;
pub mod supply_part;
pub mod table;
pub mod volume_part;
pub mod why;

#[cfg(test)]
mod tests;
