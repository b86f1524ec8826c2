//! drive-missing-at-start: a drive that keeps missing when the box is switched on, and works after a restart: it starts
//! slowly or gets too little power at start. Only cold starts count.

use super::rule::Rule;
use crate::memory::Memory;
use crate::memory::drives;
pub use crate::memory::starts::STARTS;
use crate::track::{Holds, Side, Sight};
use traylight_config::Settings;
use traylight_data::reading::{DriveKey, Snapshot};
use traylight_data::verdict::{Finding, Severity, Subject};

/// Missing in so many of the last cold starts is a warning.
pub const TOO_MANY: u32 = 2;

/// The rule of this file.
pub const RULE: Rule = Rule { sights };

/// What is seen of every drive that is there. One that is not there is drive-gone, not late.
fn sights(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let present = memory.drives.iter().filter(|(_, drive)| drive.present);
    let sight = |(key, drive): (&DriveKey, &drives::KnownDrive)| {
        let (missing, of) = memory.ledger.starts.of(key);
        let side = if missing >= TOO_MANY { Side::Raised(Severity::Warning) } else { Side::Clear };
        let finding = Finding::DriveMissingAtStart { drive: drive.place.clone(), missing, of };
        Sight { subject: Subject::Drive(key.clone()), side, seen: snapshot.taken, finding, holds: Holds::NONE }
    };
    present.map(sight).collect()
}
