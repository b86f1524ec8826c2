//! One drive and what is known of it: what the rules about single drives work with.

use crate::memory::Memory;
use crate::memory::drives;
use crate::track::{Holds, Observation, Zone};
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Drive, DriveKey, Snapshot};
use traylight_data::verdict::{Finding, Place, Subject};

/// One drive and what is known of it.
pub struct DriveContext<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// What is remembered.
    pub memory: &'a Memory,
    /// What was read of the box.
    pub snapshot: &'a Snapshot,
    /// What was read of the drive.
    pub drive: &'a Drive,
}

impl DriveContext<'_> {
    /// What the drive is known by.
    pub fn key(&self) -> &DriveKey {
        &self.drive.key
    }

    /// The drive as a subject.
    pub fn subject(&self) -> Subject {
        Subject::Drive(self.key().clone())
    }

    /// Where it sits.
    pub fn place(&self) -> Place {
        drives::place_of(self.settings, self.drive)
    }

    /// What is seen of it, by readings that were taken then.
    pub fn observation_at(&self, seen: Moment, zone: Zone, finding: Finding, holds: Holds) -> Observation {
        Observation { subject: self.subject(), zone, seen, finding, holds }
    }
}
