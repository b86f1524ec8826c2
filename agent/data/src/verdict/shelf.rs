//! The shelves of the box and what to show of each tray.

use super::place::Place;
use super::severity::Severity;
use crate::reading::DriveKey;
use crate::units::Celsius;

/// A shelf as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelf {
    /// The owner's name for it; empty for the drives without a named tray.
    pub name: String,
    /// Its trays, left to right.
    pub trays: Vec<Tray>,
}

/// A tray as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Tray {
    /// Its label; of a drive without a named tray, its serial or its port.
    pub place: Place,
    /// The drive that is or was in it.
    pub drive: Option<DriveKey>,
    /// What to show of it.
    pub state: TrayState,
    /// The worst that holds for its drive.
    pub severity: Option<Severity>,
}

/// What to show of a tray.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TrayState {
    /// No drive was expected and none is there.
    Empty,
    /// Its drive is gone.
    Gone,
    /// The pool has thrown the drive out.
    Bad,
    /// The pool is filling the drive.
    Rebuilding,
    /// A healthy drive asleep.
    Asleep,
    /// A drive with a temperature.
    Warm(Celsius),
    /// A drive whose temperature is missing, or a tray that is not known to be empty: drives cannot be read.
    NoReading,
}
