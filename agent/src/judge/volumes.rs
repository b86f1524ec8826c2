//! volume-readonly, volume-absent, volume-errors and inodes-or-metadata-low: whether volumes are there, can be written to
//! and hold together, and what besides bytes they can run out of.

use super::Memory;
use super::track::{Holds, Side, Sight};
use crate::reading::{Pool, Snapshot, Volume, Writing};
use crate::units::Percent;
use crate::verdict::{Finding, Severity, Subject};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::Settings;

const MINUTE: Duration = Duration::from_secs(60);
pub(crate) const STOPPED: Holds = Holds::new(Duration::from_secs(10), MINUTE);
pub(crate) const GONE: Holds = Holds::new(Duration::from_secs(30), MINUTE);
const AT_ONCE: Holds = Holds::new(Duration::ZERO, Duration::ZERO);
pub(crate) const SLOWLY: Holds = Holds::new(Duration::from_secs(300), Duration::from_secs(600));
/// Percent used: over below the first, a warning from the second, critical from the third.
pub(crate) const USED: [f64; 3] = [87.0, 90.0, 97.0];
/// Metadata that is full is critical with less than this not allocated, and a warning with less than the larger of the other
/// and a hundredth of the pool.
pub(crate) const NONE_LEFT: u64 = 512 << 20;
pub(crate) const HARDLY_ANY_LEFT: u64 = 2 << 30;

/// What was seen of volumes since the program began to watch.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// Mount points that could be written to.
    writable: BTreeSet<String>,
    /// Mount points that could not be written to at the last look, by the mount table.
    stopped: BTreeSet<String>,
    /// How many errors each had written down when it was first seen, or since they were last fewer.
    errors: BTreeMap<String, u64>,
    /// Mount points that were missing once: they clear only when they are there again.
    absent: BTreeSet<String>,
}

impl Known {
    /// Takes in which volumes are there and writable, and which are missing.
    pub fn learn(&mut self, snapshot: &Snapshot) {
        let writable = snapshot.volumes.iter().filter(|volume| volume.writing == Writing::Allowed);
        self.writable.extend(writable.map(|volume| volume.mount.clone()));
        self.writable.retain(|mount| snapshot.volumes.iter().any(|volume| volume.mount == *mount));
        self.errors.retain(|mount, _| snapshot.volumes.iter().any(|volume| volume.mount == *mount));
        let stopped = |volume: &&Volume| volume.writing != Writing::Allowed;
        for (volume, errors) in snapshot.volumes.iter().filter_map(|volume| Some((volume, volume.errors?))) {
            let at_first = self.errors.entry(volume.mount.clone()).or_insert(errors);
            // What is written to again after the mount table called it stopped was mounted anew, with its errors in it.
            let is_mounted_anew = volume.writing == Writing::Allowed && self.stopped.contains(&volume.mount);
            *at_first = if is_mounted_anew { errors } else { errors.min(*at_first) };
        }
        self.stopped = snapshot.volumes.iter().filter(stopped).map(|volume| volume.mount.clone()).collect();
        self.absent.extend(snapshot.unmounted.iter().map(|wanted| wanted.mount.clone()));
    }
}

impl Known {
    /// True for a volume that stops at errors and has had some since it is watched, whatever the mount table says.
    fn has_stopped(&self, volume: &Volume) -> bool {
        volume.stops_at_errors && volume.errors > self.errors.get(&volume.mount).copied()
    }
}

/// What is seen of every volume, and of those that should be there.
pub fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    if snapshot.is_blind_to("mounts") {
        return Vec::new();
    }
    let in_grace = snapshot.taken.since_boot() < settings.limits.grace.pools;
    let of_volumes = snapshot
        .volumes
        .iter()
        .flat_map(|volume| [readonly(memory, snapshot, volume), errors(snapshot, volume), files(volume)]);
    let of_pools = snapshot.pools.iter().map(|pool| metadata(snapshot, pool));
    let mut found: Vec<Sight> = of_volumes.chain(of_pools).flatten().chain(absent(memory, snapshot)).collect();
    if in_grace {
        // A system that starts mounts one after another, and its own volume read-only first.
        for sight in found.iter_mut().filter(|sight| matches!(sight.side, Side::Raised(_))) {
            sight.side = Side::Between;
        }
    }
    found
}

/// A volume that stopped by itself says so; one that is only read-only is judged by what it was, or by `/etc/fstab`.
fn readonly(memory: &Memory, snapshot: &Snapshot, volume: &Volume) -> Option<Sight> {
    let was_writable = memory.volumes.writable.contains(&volume.mount);
    let writing = match volume.writing {
        Writing::Allowed if memory.volumes.has_stopped(volume) => Writing::StoppedByError,
        other => other,
    };
    let side = match writing {
        Writing::Allowed => Side::Clear,
        Writing::StoppedByError | Writing::ShutDown => Side::Raised(Severity::Critical),
        Writing::ReadOnly if was_writable && !volume.meant_read_only => Side::Raised(Severity::Critical),
        Writing::ReadOnly => Side::Clear,
    };
    let finding = Finding::VolumeReadonly { mount: volume.mount.clone(), writing };
    Some(sight(&volume.mount, snapshot, side, finding, STOPPED))
}

fn absent(memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let seen = memory.volumes.absent.iter().map(|mount| {
        let wanted = snapshot.unmounted.iter().find(|wanted| wanted.mount == *mount);
        let side = if wanted.is_some() { Side::Raised(Severity::Critical) } else { Side::Clear };
        let source = wanted.map(|wanted| wanted.source.clone()).unwrap_or_default();
        sight(mount, snapshot, side, Finding::VolumeAbsent { mount: mount.clone(), source }, GONE)
    });
    seen.collect()
}

/// The file system keeps the number until it was checked.
fn errors(snapshot: &Snapshot, volume: &Volume) -> Option<Sight> {
    let count = volume.errors?;
    let side = if count > 0 { Side::Raised(Severity::Warning) } else { Side::Clear };
    let finding = Finding::VolumeErrors { mount: volume.mount.clone(), count };
    Some(sight(&volume.mount, snapshot, side, finding, AT_ONCE))
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
    let finding = Finding::FilesLow { mount: volume.mount.clone(), free: files.free, used };
    let subject = Subject::Volume(volume.mount.clone());
    Some(Sight { subject, side, seen: volume.room.taken, finding, holds: SLOWLY })
}

/// Metadata that is nearly full is trouble only when nothing is left that could become more of it.
fn metadata(snapshot: &Snapshot, pool: &Pool) -> Option<Sight> {
    let room = pool.metadata?;
    let size = pool.size.get()?.0;
    let used = Percent::of(room.used.0 as f64, room.total.0 as f64)?;
    let scarce = HARDLY_ANY_LEFT.max(size / 100);
    let left = room.unallocated.0;
    let side = match used.0 {
        used if used >= USED[1] && left < NONE_LEFT => Side::Raised(Severity::Critical),
        used if used >= USED[1] && left < scarce => Side::Raised(Severity::Warning),
        used if used >= USED[0] && left < scarce => Side::Between,
        _ => Side::Clear,
    };
    let finding = Finding::MetadataLow { pool: pool.name.clone(), unallocated: room.unallocated, used };
    let subject = Subject::Pool(pool.key.clone());
    Some(Sight { subject, side, seen: snapshot.taken, finding, holds: SLOWLY })
}

fn sight(mount: &str, snapshot: &Snapshot, side: Side, finding: Finding, holds: Holds) -> Sight {
    Sight { subject: Subject::Volume(mount.to_owned()), side, seen: snapshot.taken, finding, holds }
}
