//! space-low: a volume is nearly full, or will be soon. Small volumes and large ones are not full at the same share, so most
//! limits are a share and an amount together. What is mounted read-only cannot fill: images and snapshots are full by nature.

use super::rule::Rule;
use crate::kinds::Traits;
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::{Settings, VolumeLimits};
use traylight_data::reading::{Room, Snapshot, Volume, Writing, is_system};
use traylight_data::units::{Bytes, Percent};
use traylight_data::verdict::{Condition, Estimate, Figure, Finding, Kind, Limit, Severity, SpaceLimit, Subject};

const fn gib(count: u64) -> Bytes {
    Bytes(count << 30)
}

const fn mib(count: u64) -> Bytes {
    Bytes(count << 20)
}

/// A volume that will be full within this time is told of; it is over when that is further off than the other.
const SOON: Duration = Duration::from_secs(7 * 86_400);
const NOT_SOON: Duration = Duration::from_secs(10 * 86_400);

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::SpaceLow).played(Play::slow(&[Need::Volume], 10, |the_box, _| the_box.fill(0.0)))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let Finding::SpaceLow { mount, size, .. } = &condition.finding else { return Vec::new() };
    let floor = if is_system(mount) {
        has_floor(*size, mib(settings.limits.volume.root_floor_mib))
            .then(|| limit!("limit.space-low.floor", floor = set!(settings, volume.root_floor_mib, mib)))
    } else {
        has_floor(*size, gib(settings.limits.volume.data_floor_gib))
            .then(|| limit!("limit.space-low.floor", floor = set!(settings, volume.data_floor_gib, gib)))
    };
    let of_volume = if is_system(mount) {
        [
            limit!("limit.space-low.system-warning", share = set!(settings, volume.root_warning_percent, Percent)),
            limit!("limit.space-low.system-critical", share = set!(settings, volume.root_critical_percent, Percent)),
        ]
    } else {
        [
            limit!(
                "limit.space-low.warning",
                share = set!(settings, volume.data_warning_percent, Percent),
                below = set!(settings, volume.data_warning_below_gib, gib)
            ),
            limit!(
                "limit.space-low.critical",
                share = set!(settings, volume.data_critical_percent, Percent),
                below = set!(settings, volume.data_critical_below_gib, gib)
            ),
        ]
    };
    let of_all = [
        limit!("limit.space-low.held", hold = set!(settings, volume.hold)),
        limit!(
            "limit.space-low.over",
            points = set!(settings, volume.clear_percent, Figure::Points),
            hold = set!(settings, volume.clear_hold)
        ),
        limit!("limit.space-low.ahead", soon = SOON),
    ];
    of_volume.into_iter().chain(floor).chain(of_all).collect()
}

/// On a volume that is hardly larger than the floor, the floor would always be passed: there it does not count.
fn has_floor(size: Bytes, floor: Bytes) -> bool {
    size.0 / 4 >= floor.0
}

/// What is seen of every volume whose room is known.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let full_in = full_in(memory, snapshot);
    let watched = |volume: &&Volume| !settings.watch.ignore_volumes.contains(&volume.mount);
    let observation =
        |volume: &Volume| observation(&settings.limits.volume, volume, full_in.get(&volume.mount).copied());
    snapshot.volumes.iter().filter(watched).filter_map(observation).collect()
}

/// When volumes will be full, by mount point, where the days carry that.
pub fn full_in(memory: &Memory, snapshot: &Snapshot) -> BTreeMap<String, Estimate> {
    let of = |volume: &Volume| {
        let full = memory.ledger.fill.full_when(&volume.mount, volume.room.get()?)?;
        Some((volume.mount.clone(), full.left))
    };
    snapshot.volumes.iter().filter_map(of).collect()
}

fn observation(limits: &VolumeLimits, volume: &Volume, full_in: Option<Estimate>) -> Option<Observation> {
    let room = volume.room.get()?;
    let share = Percent::of(room.free.0 as f64, (room.free.0 + room.used.0) as f64)?;
    let can_fill = volume.writing != Writing::ReadOnly;
    let raised = passed(limits, volume, room, share, 0.0);
    let full_within = |time: Duration| full_in.is_some_and(|full_in| full_in.middle < time);
    let zone = match raised {
        _ if !can_fill => Zone::Clear,
        Some((severity, _)) => Zone::Raised(severity),
        None if full_within(SOON) => Zone::Raised(Severity::Notice),
        None if full_within(NOT_SOON) => Zone::Between,
        None if passed(limits, volume, room, share, limits.clear_percent).is_some() => Zone::Between,
        None => Zone::Clear,
    };
    let (mount, limit) = (volume.mount.clone(), raised.map(|(_, limit)| limit));
    Some(Observation {
        subject: Subject::Volume(volume.mount.clone()),
        zone,
        seen: volume.room.taken,
        finding: Finding::SpaceLow { mount, free: room.free, size: room.size, share, limit, full_in, soon: SOON },
        holds: Holds::new(limits.hold, limits.clear_hold),
    })
}

/// The worst limit that is passed, with all limits moved up by `margin` percent.
fn passed(
    limits: &VolumeLimits,
    volume: &Volume,
    room: &Room,
    share: Percent,
    margin: f64,
) -> Option<(Severity, SpaceLimit)> {
    let below_share = |percent: f64| share.0 < percent + margin;
    let below = |amount: Bytes| (room.free.0 as f64) < amount.0 as f64 * (1.0 + margin / 100.0);
    let floor = |amount: Bytes| has_floor(room.size, amount) && below(amount);
    let at =
        |severity, percent: Option<f64>, amount| Some((severity, SpaceLimit { share: percent.map(Percent), amount }));

    if is_system(&volume.mount) {
        let least = mib(limits.root_floor_mib);
        return match () {
            () if below_share(limits.root_critical_percent) => {
                at(Severity::Critical, Some(limits.root_critical_percent), None)
            }
            () if floor(least) => at(Severity::Critical, None, Some(least)),
            () if below_share(limits.root_warning_percent) => {
                at(Severity::Warning, Some(limits.root_warning_percent), None)
            }
            () => None,
        };
    }
    let (warning_below, critical_below) = (gib(limits.data_warning_below_gib), gib(limits.data_critical_below_gib));
    if below_share(limits.data_critical_percent) && below(critical_below) {
        return at(Severity::Critical, Some(limits.data_critical_percent), Some(critical_below));
    }
    let least = gib(limits.data_floor_gib);
    if floor(least) {
        return at(Severity::Critical, None, Some(least));
    }
    // Copy-on-write file systems need room to change anything: for them the share counts at any size.
    let any_size = matches!(volume.file_system.as_str(), "zfs" | "btrfs");
    (below_share(limits.data_warning_percent) && (any_size || below(warning_below)))
        .then(|| at(Severity::Warning, Some(limits.data_warning_percent), (!any_size).then_some(warning_below)))?
}
