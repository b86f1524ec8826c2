//! The box before a fault, with what it has to have for it.

use traylight_config::Settings;
use traylight_data::reading::{DriveKey, Snapshot};

/// The box in calm, and what of it the fault is about.
#[derive(Debug)]
pub struct Calm {
    /// The settings, without grace.
    pub settings: Settings,
    /// The box.
    pub snapshot: Snapshot,
    /// The drive that it is about.
    pub one: DriveKey,
    /// Another one.
    pub other: DriveKey,
    /// The pool, by its key, where the fault needs one.
    pub pool: Option<String>,
    /// The volume, by its mount point.
    pub volume: Option<String>,
    /// The fan, by its key.
    pub fan: Option<String>,
    /// The network port, by its name.
    pub link: Option<String>,
}
