//! Serves the state of the box: one document, one schema.

pub mod document;
pub mod drive_part;
pub mod outlook_part;
mod parts;
pub mod socket;
pub mod table;
