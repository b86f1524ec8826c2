//! drive-gone: an expected drive is not there.

use super::pools;
use super::rule::Rule;
use crate::kinds::{Traits, Trouble};
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::memory::drives;
use crate::play::{Play, Who};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{DriveKey, Snapshot};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity, Subject};

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::DriveGone).about_trays().sign_of(Trouble::Connection).played(Play::fast(
        &[],
        60,
        |the_box, _| the_box.lose(Who::One),
    ))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    if condition.kind() != Kind::DriveGone {
        return Vec::new();
    }
    vec![
        limit!("limit.drive-gone.away", hold = set!(settings, drive.gone_hold)),
        limit!("limit.drive-gone.back", hold = set!(settings, drive.back_hold)),
    ]
}

/// What is seen of every expected drive.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if drives::is_blind(snapshot) {
        return Vec::new();
    }
    let limits = &settings.limits.drive;
    // Drives may need this long to start turning and to be found; one that was found and is gone needs no time.
    let in_grace = memory.may_appear(snapshot.taken);
    let observation = |(key, drive): (&DriveKey, &drives::RememberedDrive)| {
        let its_pools = || snapshot.pools.iter().filter(|pool| drive.is_in(&pool.key));
        // Of several pools the one that can lose no more is the one to speak of.
        let pool = its_pools().find(|pool| !memory.drives.leave_in(pool).is_empty()).or_else(|| its_pools().next());
        let severity = if !drive.pools.is_empty() { Severity::Critical } else { Severity::Warning };
        let pool_agrees = its_pools().any(|pool| pools::misses(pool, &drive.device));
        // At the start the pool's word tells nothing more: it never saw the drive, nor perhaps what it is plugged into.
        let hold = if pool_agrees && drive.appeared { Duration::ZERO } else { limits.gone_hold };
        let clear = if drive.accepted { Duration::ZERO } else { limits.back_hold };
        let zone = match drive.present || drive.accepted {
            true => Zone::Clear,
            false if in_grace && !drive.appeared => Zone::Between,
            false => Zone::Raised(severity),
        };
        Observation {
            subject: Subject::Drive(key.clone()),
            zone,
            seen: snapshot.taken,
            finding: Finding::DriveGone {
                drive: drive.place.clone(),
                pool: pool.map(|pool| pool.name.clone()).or_else(|| {
                    let known = drive.pools.first().and_then(|pool| memory.ledger.pools.get(pool));
                    known.map(|known| known.name.clone())
                }),
                leave_in: pool.map(|pool| memory.drives.leave_in(pool)).unwrap_or_default(),
            },
            holds: Holds::new(hold, clear),
        }
    };
    memory.drives.expected().map(observation).collect()
}
