//! Serves the state of the box: one document, one schema.

pub mod alerts;
pub mod control;
pub mod document;
pub mod drive_part;
pub mod incident_part;
pub mod listener;
pub mod outlook_part;
mod part;
pub mod parts;
pub mod pool_part;
pub mod socket;
pub mod supply_part;
pub mod table;
pub mod volume_part;
