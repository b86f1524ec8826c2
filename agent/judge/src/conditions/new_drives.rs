//! drive-new-or-moved: a drive that its owner has not agreed to yet, or one that sits elsewhere than it did.

use super::rule::Rule;
use crate::kinds::{Several, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::drives;
use crate::play::{Play, Who};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::Snapshot;
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity, Subject};

/// Somebody may still be trying trays.
const STEADY: Holds = Holds::new(Duration::from_secs(30), Duration::ZERO);

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::DriveNewOrMoved).several(Several::BegunWithin(Duration::from_secs(60))).played(
        Play::fast(&[], 60, |the_box, _| {
            the_box.each(Who::One, |drive| drive.port = Some("0000/test/ata-9".to_owned()))
        }),
    )],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::DriveNewOrMoved => vec![limit!("limit.drive-new-or-moved", hold = STEADY.notice)],
        _ => Vec::new(),
    }
}

/// What is seen of every drive that is part of the box.
fn observations(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if drives::is_blind(snapshot) {
        return Vec::new();
    }
    let observation = |(key, drive): (&traylight_data::reading::DriveKey, &drives::RememberedDrive)| {
        let agreed = memory.ledger.known_drives.get(key);
        let is_as_agreed = agreed.is_some_and(|agreed| agreed.port == drive.place.port);
        // One that is gone is told of elsewhere.
        let zone = if drive.present && !is_as_agreed { Zone::Raised(Severity::Notice) } else { Zone::Clear };
        let from = agreed.and_then(|agreed| agreed.port.clone());
        let finding = Finding::DriveNewOrMoved { drive: drive.place.clone(), from };
        Observation { subject: Subject::Drive(key.clone()), zone, seen: snapshot.taken, finding, holds: STEADY }
    };
    memory.drives.expected().map(observation).collect()
}
