//! Which conditions that no rule about causes explains have one reason all the same, and are one incident: what a setting
//! or a habit of the box is behind, what several parts began to show together, and what is told of one part.

use crate::causes::view::View;
use crate::kinds::TOGETHER;
use std::time::Duration;
use traylight_data::verdict::{Condition, Finding, Kind, Subject};

/// A setting or a habit of the box is behind these, however many parts show it and since when.
const OF_THE_BOX: [Kind; 2] = [Kind::RecoveryTimeMismatch, Kind::CheckOverdue];

/// Something that several parts share is behind these when they begin together: one hand, one switch, one plug, one room.
/// How far apart they may begin goes by how often they are read.
const SHARED: [(Kind, Duration); 11] = [
    (Kind::DriveNewOrMoved, Duration::from_secs(60)),
    (Kind::SataSlow, TOGETHER),
    (Kind::UsbSlow, TOGETHER),
    (Kind::DriveMissingAtStart, READ),
    (Kind::DriveCold, READ),
    (Kind::TemperatureLost, READ),
    (Kind::LinkTrouble, TOGETHER),
    (Kind::FanStopped, TOGETHER),
    (Kind::FanWeak, READ),
    (Kind::VolumeAbsent, TOGETHER),
    (Kind::RailOutOfRange, TOGETHER),
];
/// Temperatures and speeds are read and held over minutes.
const READ: Duration = Duration::from_secs(600);

/// A pool's own story.
const OF_A_POOL: [Kind; 5] =
    [Kind::PoolDegraded, Kind::PoolDown, Kind::PoolBusy, Kind::RebuildStalled, Kind::MemberFaulty];
/// A volume's own story.
const OF_A_VOLUME: [Kind; 3] = [Kind::VolumeReadonly, Kind::VolumeAbsent, Kind::VolumeErrors];

/// True when two conditions have one reason.
pub fn one_reason(view: &View, one: &Condition, other: &Condition) -> bool {
    let (kind, same_kind) = (one.kind(), one.kind() == other.kind());
    let both = |kinds: &[Kind]| kinds.contains(&kind) && kinds.contains(&other.kind());
    let began_together = |within: Duration| one.since.apart(other.since) <= within;
    let shared = || SHARED.iter().any(|(shared, within)| *shared == kind && began_together(*within));
    (same_kind && (OF_THE_BOX.contains(&kind) || shared()))
        || (both(&OF_A_POOL) && one.subject.pool() == other.subject.pool())
        || (both(&OF_A_VOLUME) && on_one_source(view, one, other))
}

/// True when two conditions are about one volume, under whatever names it is mounted.
fn on_one_source(view: &View, one: &Condition, other: &Condition) -> bool {
    let source = |condition: &Condition| match (&condition.finding, &condition.subject) {
        (Finding::VolumeAbsent { source, .. }, _) if !source.is_empty() => Some(source.clone()),
        (_, Subject::Volume(mount)) => {
            view.snapshot.volumes.iter().find(|volume| volume.mount == *mount).map(|volume| volume.source.clone())
        }
        _ => None,
    };
    one.subject == other.subject || source(one).is_some_and(|found| Some(found) == source(other))
}
