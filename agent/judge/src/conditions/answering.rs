//! drive-not-answering and drive-flapping: a drive that has work and finishes none, and one that comes and goes. Both
//! from the kernel's own counts; such a drive is asked nothing.

use super::rule::Rule;
use crate::kinds::{Traits, Trouble};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::drives;
use crate::memory::signs::STANDS_STILL;
use crate::play::{Play, Who};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::{DAY, HOUR, Moment};
use traylight_data::reading::{DriveKey, Snapshot};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity, Subject};

/// So many losses are too many: within the longer span a warning, within the shorter one critical.
const LOSSES: usize = 3;
/// Losses within this are critical.
const CRITICAL_WITHIN: Duration = HOUR;
/// Losses within this are a warning.
const WARNING_WITHIN: Duration = DAY;
/// A drive that stands still.
const STALLED: Holds = Holds {
    notice: STANDS_STILL,
    warning: STANDS_STILL,
    critical: Duration::from_secs(90),
    clear: Duration::from_secs(60),
};

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::DriveNotAnswering).about_trays().sign_of(Trouble::Connection).played(Play::fast(
            &[],
            120,
            |the_box, second| the_box.stand_still(Who::One, second),
        )),
        Traits::of(Kind::DriveFlapping).about_trays().sign_of(Trouble::Connection).played(Play::fast(
            &[],
            60,
            |the_box, second| {
                if second % 20 < 4 {
                    the_box.pull(Who::One);
                }
            },
        )),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::DriveNotAnswering => vec![limit!(
            "limit.drive-not-answering",
            warning = STALLED.warning,
            critical = STALLED.critical,
            over = STALLED.clear
        )],
        Kind::DriveFlapping => {
            vec![limit!("limit.drive-flapping", losses = LOSSES, warning = WARNING_WITHIN, critical = CRITICAL_WITHIN)]
        }
        _ => Vec::new(),
    }
}

/// What is seen of every drive.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if drives::is_blind(snapshot) {
        return Vec::new();
    }
    let stalled = snapshot.drives.iter().map(|drive| Observation {
        subject: Subject::Drive(drive.key.clone()),
        zone: drive.stalled_since.map_or(Zone::Clear, |_| Zone::Raised(Severity::Critical)),
        seen: snapshot.taken,
        finding: Finding::DriveNotAnswering {
            drive: drives::place_of(settings, drive),
            stalled: drive.stalled_since.map_or(Duration::ZERO, |since| snapshot.taken.since(since)),
        },
        holds: STALLED,
    });
    let flapping = memory.drives.expected().map(|(key, drive)| flapping(snapshot.taken, key, drive));
    stalled.chain(flapping).collect()
}

fn flapping(now: Moment, key: &DriveKey, drive: &drives::RememberedDrive) -> Observation {
    let losses = &drive.losses;
    let recent: Vec<Moment> = losses.iter().copied().filter(|loss| now.since(*loss) <= WARNING_WITHIN).collect();
    // So many within an hour are critical, until six hours without one.
    let crowded = losses
        .windows(LOSSES)
        .any(|some| some[LOSSES - 1].since(some[0]) <= CRITICAL_WITHIN && now.since(some[LOSSES - 1]) <= 6 * HOUR);
    let zone = match recent.len() {
        _ if crowded => Zone::Raised(Severity::Critical),
        LOSSES.. => Zone::Raised(Severity::Warning),
        0 => Zone::Clear,
        _ => Zone::Between,
    };
    let finding =
        Finding::DriveFlapping { drive: drive.place.clone(), losses: recent.len() as u32, within: WARNING_WITHIN };
    Observation { subject: Subject::Drive(key.clone()), zone, seen: now, finding, holds: Holds::NONE }
}
