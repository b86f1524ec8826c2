//! volume-readonly, volume-absent, volume-errors and inodes-or-metadata-low: whether volumes are there, can be written to
//! and hold together, and what besides bytes they can run out of.

use super::rule::Rule;
use crate::kinds::{Several, Story, TOGETHER, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::volumes::{is_mounted, is_wanted};
use crate::track::{Holds, Side, Sight};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::MINUTE;
use traylight_data::reading::{Pool, Snapshot, Volume, Writing};
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
/// Metadata that is full is critical with less than this not allocated, and a warning with less than the larger of the other
/// and a hundredth of the pool.
const NONE_LEFT: u64 = 512 << 20;
/// Less than this not allocated is a warning, in bytes.
const HARDLY_ANY_LEFT: u64 = 2 << 30;
/// Less than this part of the pool not allocated is a warning, too.
const SCARCE_PART: u64 = 100;

/// The rule of this file.
pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::VolumeReadonly).story(Story::OfItsVolume),
        Traits::of(Kind::VolumeAbsent).several(Several::BegunWithin(TOGETHER)).story(Story::OfItsVolume),
        Traits::of(Kind::VolumeErrors).story(Story::OfItsVolume),
        Traits::of(Kind::InodesOrMetadataLow),
    ],
    sights,
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
            share = Percent(100.0 / SCARCE_PART as f64),
            critical = Bytes(NONE_LEFT)
        )],
        _ => Vec::new(),
    }
}

/// What is seen of every volume, and of those that should be there.
fn sights(_settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    if snapshot.is_blind_to("mounts") {
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
fn readonly(memory: &Memory, snapshot: &Snapshot, volume: &Volume, in_grace: bool) -> Option<Sight> {
    let known = memory.ledger.volumes.get(&volume.mount);
    let was_writable = known.is_some_and(|known| known.was_writable);
    let may_become = in_grace && !memory.at_once && !known.is_some_and(|known| known.was_writable_in_this_boot);
    let writing = match volume.writing {
        Writing::Allowed if memory.ledger.volumes.has_stopped(volume) => Writing::StoppedByError,
        other => other,
    };
    let is_meant_to_be_written = !volume.meant_read_only && (was_writable || volume.meant_writable);
    let side = match writing {
        Writing::Allowed => Side::Clear,
        Writing::StoppedByError | Writing::ShutDown => Side::Raised(Severity::Critical),
        Writing::ReadOnly if !is_meant_to_be_written => Side::Clear,
        Writing::ReadOnly if may_become => Side::Between,
        Writing::ReadOnly => Side::Raised(Severity::Critical),
    };
    let finding = Finding::VolumeReadonly { mount: volume.mount.clone(), writing };
    Some(sight(&volume.mount, snapshot, side, finding, STOPPED))
}

/// What is not mounted, and what was not: a volume can be mounted again while nobody watches.
fn absent(memory: &Memory, snapshot: &Snapshot, in_grace: bool) -> Vec<Sight> {
    let known = memory.tracks.keys().filter_map(|(kind, subject)| match subject {
        Subject::Volume(mount) if *kind == Kind::VolumeAbsent => Some(mount),
        _ => None,
    });
    let mounts: BTreeSet<&String> = known.chain(snapshot.unmounted.iter().map(|wanted| &wanted.mount)).collect();
    let seen = mounts.into_iter().map(|mount| {
        let wanted = snapshot.unmounted.iter().find(|wanted| wanted.mount == *mount);
        let side = match wanted {
            None => Side::Clear,
            Some(_) if in_grace && !memory.ledger.volumes.appeared(mount) => Side::Between,
            Some(_) => Side::Raised(Severity::Critical),
        };
        let source = wanted.map(|wanted| wanted.source.clone()).unwrap_or_default();
        sight(mount, snapshot, side, Finding::VolumeAbsent { mount: mount.clone(), source }, GONE)
    });
    seen.collect()
}

/// What is still told of a volume that somebody has unmounted is over, whatever it is.
fn no_longer(memory: &Memory, snapshot: &Snapshot, in_grace: bool) -> Vec<Sight> {
    let of_it = memory.open().filter_map(|held| match &held.subject {
        Subject::Volume(mount) if held.kind() != Kind::VolumeAbsent => {
            let may_come = in_grace && !memory.ledger.volumes.appeared(mount);
            let is_there = is_mounted(snapshot, mount) || is_wanted(snapshot, mount) || may_come;
            (!is_there).then(|| sight(mount, snapshot, Side::Clear, held.finding.clone(), GONE))
        }
        _ => None,
    });
    of_it.collect()
}

/// The file system keeps the number until it was checked.
fn errors(snapshot: &Snapshot, volume: &Volume) -> Option<Sight> {
    let count = volume.errors?;
    let side = if count > 0 { Side::Raised(Severity::Warning) } else { Side::Clear };
    let finding = Finding::VolumeErrors { mount: volume.mount.clone(), count };
    Some(sight(&volume.mount, snapshot, side, finding, Holds::NONE))
}

fn files(volume: &Volume) -> Option<Sight> {
    let files = volume.room.get()?.files?;
    let used = Percent::of((files.total - files.free) as f64, files.total as f64)?;
    let side = match used.0 {
        _ if volume.writing == Writing::ReadOnly => Side::Clear,
        used if used >= USED[2] => Side::Raised(Severity::Critical),
        used if used >= USED[1] => Side::Raised(Severity::Warning),
        used if used >= USED[0] => Side::Between,
        _ => Side::Clear,
    };
    let what = Scarce::Files { mount: volume.mount.clone(), free: files.free, used };
    let subject = Subject::Volume(volume.mount.clone());
    Some(Sight {
        subject,
        side,
        seen: volume.room.taken,
        finding: Finding::InodesOrMetadataLow { what },
        holds: SLOWLY,
    })
}

/// Metadata that is nearly full is trouble only when nothing is left that could become more of it.
fn metadata(snapshot: &Snapshot, pool: &Pool) -> Option<Sight> {
    let room = pool.metadata?;
    let size = pool.size.get()?.0;
    let used = Percent::of(room.used.0 as f64, room.total.0 as f64)?;
    let scarce = HARDLY_ANY_LEFT.max(size / SCARCE_PART);
    let left = room.unallocated.0;
    let side = match used.0 {
        used if used >= USED[1] && left < NONE_LEFT => Side::Raised(Severity::Critical),
        used if used >= USED[1] && left < scarce => Side::Raised(Severity::Warning),
        used if used >= USED[0] && left < scarce => Side::Between,
        _ => Side::Clear,
    };
    let what = Scarce::Metadata { pool: pool.name.clone(), unallocated: room.unallocated, used };
    let subject = Subject::Pool(pool.key.clone());
    Some(Sight { subject, side, seen: snapshot.taken, finding: Finding::InodesOrMetadataLow { what }, holds: SLOWLY })
}

fn sight(mount: &str, snapshot: &Snapshot, side: Side, finding: Finding, holds: Holds) -> Sight {
    Sight { subject: Subject::Volume(mount.to_owned()), side, seen: snapshot.taken, finding, holds }
}
