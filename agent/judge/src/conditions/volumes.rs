//! volume-readonly, volume-absent, volume-errors and inodes-or-metadata-low: whether volumes are there, can be written to
//! and hold together, and what besides bytes they can run out of.

use super::rule::Rule;
use crate::kinds::{Companions, Several, TOGETHER, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::volumes::{is_mounted, is_wanted};
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::MINUTE;
use traylight_data::reading::{Listing, Pool, Snapshot, Volume, Writing};
use traylight_data::units::{Bytes, Percent};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Scarce, Severity, Subject};

/// A volume that cannot be written to.
const STOPPED: Holds = Holds::new(Duration::from_secs(10), MINUTE);
/// A volume that is not mounted.
const GONE: Holds = Holds::new(Duration::from_secs(30), MINUTE);
/// Files or metadata that run out.
const SLOWLY: Holds = Holds::new(Duration::from_secs(300), Duration::from_secs(600));
/// Percent used: over below the first, a warning from the second, critical from the third.
const USED: [f64; 3] = [87.0, 90.0, 97.0];
/// Metadata that is full is critical with less than this not allocated, and a warning with less than the larger of the
/// two below.
const NONE_LEFT: u64 = 512 << 20;
/// Less than this not allocated is a warning, in bytes.
const HARDLY_ANY_LEFT: u64 = 2 << 30;
/// Less than this share of the pool not allocated, in percent, is a warning, too.
const SCARCE_PERCENT: u64 = 1;

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::VolumeReadonly).companions(Companions::OfItsVolume).played(Play::fast(
            &[Need::Volume],
            30,
            |the_box, _| the_box.volume(|volume| volume.writing = Writing::StoppedByError),
        )),
        Traits::of(Kind::VolumeAbsent)
            .several(Several::BegunWithin(TOGETHER))
            .companions(Companions::OfItsVolume)
            .played(Play::fast(&[Need::Volume], 60, |the_box, _| the_box.unmount())),
        Traits::of(Kind::VolumeErrors).companions(Companions::OfItsVolume).played(Play::fast(
            &[Need::Volume],
            10,
            |the_box, _| the_box.volume(|volume| volume.errors = volume.errors.map(|errors| errors + 2)),
        )),
        Traits::of(Kind::InodesOrMetadataLow)
            .played(Play::slow(&[Need::Volume], 10, |the_box, _| the_box.leave_files(0.01))),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let [over, warning, critical] = USED.map(Percent);
    match condition.finding {
        Finding::VolumeReadonly { .. } => vec![limit!("limit.volume-readonly", hold = STOPPED.critical)],
        Finding::VolumeAbsent { .. } => vec![limit!("limit.volume-absent", hold = GONE.critical)],
        Finding::VolumeErrors { .. } => vec![limit!("limit.volume-errors")],
        Finding::InodesOrMetadataLow { what: Scarce::Files { .. } } => {
            vec![limit!("limit.files-low", warning = warning, hold = SLOWLY.warning, critical = critical, over = over)]
        }
        Finding::InodesOrMetadataLow { what: Scarce::Metadata { .. } } => vec![limit!(
            "limit.metadata-low",
            used = warning,
            hold = SLOWLY.warning,
            warning = Bytes(HARDLY_ANY_LEFT),
            share = Percent(SCARCE_PERCENT as f64),
            critical = Bytes(NONE_LEFT)
        )],
        _ => Vec::new(),
    }
}

/// What is seen of every volume, and of those that should be there.
fn observations(_settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if snapshot.is_blind_to(&Listing::Mounts) {
        return Vec::new();
    }
    let in_grace = snapshot.taken.since_boot() < memory.grace.pools;
    let of_volumes = snapshot
        .volumes
        .iter()
        .flat_map(|volume| [readonly(memory, snapshot, volume, in_grace), errors(snapshot, volume), files(volume)]);
    let of_pools = snapshot.pools.iter().map(|pool| metadata(snapshot, pool));
    let absent = absent(memory, snapshot, in_grace);
    of_volumes.chain(of_pools).flatten().chain(absent).chain(no_longer(memory, snapshot, in_grace)).collect()
}

/// A volume that stopped by itself says so; one that is only read-only is judged by what it was, or by `/etc/fstab`. A
/// system that starts mounts its own volume read-only first.
fn readonly(memory: &Memory, snapshot: &Snapshot, volume: &Volume, in_grace: bool) -> Option<Observation> {
    let known = memory.ledger.volumes.get(&volume.mount);
    let was_writable = known.is_some_and(|known| known.was_writable);
    let may_become = in_grace && !memory.at_once && !known.is_some_and(|known| known.was_writable_in_this_boot);
    let writing = match volume.writing {
        Writing::Allowed if memory.ledger.volumes.has_stopped(volume) => Writing::StoppedByError,
        other => other,
    };
    let is_meant_to_be_written = !volume.meant_read_only && (was_writable || volume.meant_writable);
    let zone = match writing {
        Writing::Allowed => Zone::Clear,
        Writing::StoppedByError | Writing::ShutDown => Zone::Raised(Severity::Critical),
        Writing::ReadOnly if !is_meant_to_be_written => Zone::Clear,
        Writing::ReadOnly if may_become => Zone::Between,
        Writing::ReadOnly => Zone::Raised(Severity::Critical),
    };
    let finding = Finding::VolumeReadonly { mount: volume.mount.clone(), writing };
    Some(observation(&volume.mount, snapshot, zone, finding, STOPPED))
}

/// What is not mounted, and what was not: a volume can be mounted again while nobody watches.
fn absent(memory: &Memory, snapshot: &Snapshot, in_grace: bool) -> Vec<Observation> {
    let known = memory.tracks.keys().filter_map(|(kind, subject)| match subject {
        Subject::Volume(mount) if *kind == Kind::VolumeAbsent => Some(mount),
        _ => None,
    });
    let mounts: BTreeSet<&String> = known.chain(snapshot.unmounted.iter().map(|wanted| &wanted.mount)).collect();
    let seen = mounts.into_iter().map(|mount| {
        let wanted = snapshot.unmounted.iter().find(|wanted| wanted.mount == *mount);
        let zone = match wanted {
            None => Zone::Clear,
            Some(_) if in_grace && !memory.ledger.volumes.appeared(mount) => Zone::Between,
            Some(_) => Zone::Raised(Severity::Critical),
        };
        let source = wanted.map(|wanted| wanted.source.clone()).unwrap_or_default();
        observation(mount, snapshot, zone, Finding::VolumeAbsent { mount: mount.clone(), source }, GONE)
    });
    seen.collect()
}

/// What is still told of a volume that somebody has unmounted is over, whatever it is.
fn no_longer(memory: &Memory, snapshot: &Snapshot, in_grace: bool) -> Vec<Observation> {
    let of_it = memory.open().filter_map(|held| match &held.subject {
        Subject::Volume(mount) if held.kind() != Kind::VolumeAbsent => {
            let may_come = in_grace && !memory.ledger.volumes.appeared(mount);
            let is_there = is_mounted(snapshot, mount) || is_wanted(snapshot, mount) || may_come;
            (!is_there).then(|| observation(mount, snapshot, Zone::Clear, held.finding.clone(), GONE))
        }
        _ => None,
    });
    of_it.collect()
}

/// The file system keeps the number until it was checked.
fn errors(snapshot: &Snapshot, volume: &Volume) -> Option<Observation> {
    let count = volume.errors?;
    let zone = if count > 0 { Zone::Raised(Severity::Warning) } else { Zone::Clear };
    let finding = Finding::VolumeErrors { mount: volume.mount.clone(), count };
    Some(observation(&volume.mount, snapshot, zone, finding, Holds::NONE))
}

fn files(volume: &Volume) -> Option<Observation> {
    let files = volume.room.get()?.files?;
    let used = Percent::of((files.total - files.free) as f64, files.total as f64)?;
    let zone = match used.0 {
        _ if volume.writing == Writing::ReadOnly => Zone::Clear,
        used if used >= USED[2] => Zone::Raised(Severity::Critical),
        used if used >= USED[1] => Zone::Raised(Severity::Warning),
        used if used >= USED[0] => Zone::Between,
        _ => Zone::Clear,
    };
    let what = Scarce::Files { mount: volume.mount.clone(), free: files.free, used };
    let subject = Subject::Volume(volume.mount.clone());
    Some(Observation {
        subject,
        zone,
        seen: volume.room.taken,
        finding: Finding::InodesOrMetadataLow { what },
        holds: SLOWLY,
    })
}

/// Metadata that is nearly full is trouble only when nothing is left that could become more of it.
fn metadata(snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    let room = pool.metadata?;
    let size = pool.size.get()?.0;
    let used = Percent::of(room.used.0 as f64, room.total.0 as f64)?;
    let scarce = HARDLY_ANY_LEFT.max(size / 100 * SCARCE_PERCENT);
    let left = room.unallocated.0;
    let zone = match used.0 {
        used if used >= USED[1] && left < NONE_LEFT => Zone::Raised(Severity::Critical),
        used if used >= USED[1] && left < scarce => Zone::Raised(Severity::Warning),
        used if used >= USED[0] && left < scarce => Zone::Between,
        _ => Zone::Clear,
    };
    let what = Scarce::Metadata { pool: pool.name.clone(), unallocated: room.unallocated, used };
    let subject = Subject::Pool(pool.key.clone());
    Some(Observation {
        subject,
        zone,
        seen: snapshot.taken,
        finding: Finding::InodesOrMetadataLow { what },
        holds: SLOWLY,
    })
}

fn observation(mount: &str, snapshot: &Snapshot, zone: Zone, finding: Finding, holds: Holds) -> Observation {
    Observation { subject: Subject::Volume(mount.to_owned()), zone, seen: snapshot.taken, finding, holds }
}
