//! drive-missing-at-start: a drive that keeps missing when the box is switched on, and works after a restart: it starts
//! slowly or gets too little power at start. Only cold starts count.

use super::rule::Rule;
use crate::kinds::{SLOWLY, Several, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::drives;
use crate::memory::starts::STARTS;
use crate::play::Play;
use crate::track::{Holds, Observation, Zone};
use traylight_config::Settings;
use traylight_data::reading::{DriveKey, Snapshot};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity, Subject};

/// Missing in so many of the last cold starts is a warning.
const TOO_MANY: u32 = 2;

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::DriveMissingAtStart)
        .several(Several::BegunWithin(SLOWLY))
        .played(Play { missed_starts: 2, ..Play::fast(&[], 10, |_, _| {}) })],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::DriveMissingAtStart => {
            vec![limit!("limit.drive-missing-at-start", missing = TOO_MANY, of = STARTS)]
        }
        _ => Vec::new(),
    }
}

/// What is seen of every drive that is there. One that is not there is drive-gone, not late.
fn observations(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let present = memory.drives.iter().filter(|(_, drive)| drive.present);
    let observation = |(key, drive): (&DriveKey, &drives::RememberedDrive)| {
        let (missing, of) = memory.ledger.starts.of(key);
        let zone = if missing >= TOO_MANY { Zone::Raised(Severity::Warning) } else { Zone::Clear };
        let finding = Finding::DriveMissingAtStart { drive: drive.place.clone(), missing, of };
        Observation { subject: Subject::Drive(key.clone()), zone, seen: snapshot.taken, finding, holds: Holds::NONE }
    };
    present.map(observation).collect()
}
