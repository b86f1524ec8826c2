//! What may be done with trays while something is wrong: whether a drive may be taken out, which must stay in, and when
//! nobody can say which drive is meant. Taking out is allowed by one rule only, the last one here.

use crate::judge::causes::Diagnosis;
use crate::judge::causes::view::View;
use crate::judge::drives::KnownDrive;
use crate::judge::pools::leave_in;
use crate::judge::redundancy::standing;
use crate::reading::{ActivityKind, DriveKey, MemberState, Pool, PoolRunning};
use crate::verdict::{Cause, Condition, Handling, Kind, Subject};

/// Where trays are at stake: redundancy, connections, and drives that fail. Heat, space, settings and the like are not
/// about trays, whatever state their pool is in.
const AT_STAKE: [Kind; 18] = [
    Kind::DriveGone,
    Kind::DriveFlapping,
    Kind::DriveBackNotUsed,
    Kind::DriveLostPower,
    Kind::DriveTimeouts,
    Kind::DriveNotAnswering,
    Kind::DriveSaysFailing,
    Kind::PendingOrUncorrectable,
    Kind::ReallocatedGrowth,
    Kind::SsdWorn,
    Kind::SataCrcGrowth,
    Kind::SataSlow,
    Kind::MemberErrors,
    Kind::Mismatches,
    Kind::PoolDegraded,
    Kind::PoolDown,
    Kind::RebuildStalled,
    Kind::ControllerTrouble,
];

/// What may be done.
pub fn handling(view: &View, diagnosis: &Diagnosis, conditions: &[&Condition]) -> Handling {
    let one = match &diagnosis.drives[..] {
        [key] => view.memory.drives.get(key).map(|known| (key, known)),
        _ => None,
    };
    if let (Cause::WrongTray, Some((_, known))) = (diagnosis.cause, one) {
        return Handling::PutBack { tray: known.place.label() };
    }
    if !conditions.iter().any(|condition| AT_STAKE.contains(&condition.kind())) {
        return Handling::NoTray;
    }
    let concerned = concerned(view, diagnosis, conditions);
    let down = conditions.iter().any(|condition| condition.kind() == Kind::PoolDown);
    if down || has_its_reason_elsewhere(diagnosis.cause) {
        return Handling::PullNothing;
    }
    if let (Cause::DriveFails, Some((key, known))) = (diagnosis.cause, one) {
        return of_failing(view, key, known);
    }
    let mut labels: Vec<String> = concerned.iter().flat_map(|pool| leave_in(view.memory, pool)).collect();
    labels.sort();
    labels.dedup();
    let at_its_end = concerned.iter().any(|pool| {
        let stands = standing(pool);
        stands.is_redundant && stands.lost > 0 && stands.spare == 0
    });
    if at_its_end {
        Handling::LeaveIn(labels)
    } else if is_of_a_connection(diagnosis.cause) && !diagnosis.drives.is_empty() {
        Handling::PullNothing
    } else {
        Handling::NoTray
    }
}

/// Where a hand that pulls would make it worse, or hide what happened.
fn is_of_a_connection(cause: Cause) -> bool {
    matches!(
        cause,
        Cause::Unclear | Cause::DriveHangs | Cause::TrayPower | Cause::TrayConnection | Cause::LinkPowerSaving
    )
}

/// The pools that the drives are in, or that the conditions are about.
fn concerned<'a>(view: &View<'a>, diagnosis: &Diagnosis, conditions: &[&Condition]) -> Vec<&'a Pool> {
    let holds = |pool: &&Pool| {
        let known = |key: &DriveKey| view.memory.drives.get(key).is_some_and(|known| known.is_in(&pool.key));
        let told = conditions.iter().any(|condition| condition.subject == Subject::Pool(pool.key.clone()));
        told || diagnosis.drives.iter().any(known)
    };
    view.snapshot.pools.iter().filter(holds).collect()
}

fn has_its_reason_elsewhere(cause: Cause) -> bool {
    matches!(
        cause,
        Cause::Supply
            | Cause::ControllerStopped
            | Cause::ControllerHot
            | Cause::Lane
            | Cause::UsbBridge
            | Cause::UsbPower
            | Cause::SharedPath
            | Cause::PathHangs
            | Cause::KernelUpdate
            | Cause::DataPath
    )
}

/// A failing drive may be taken out only when it is certain which one it is, its pool does not need it, nothing is being
/// rebuilt and nothing else is missing.
fn of_failing(view: &View, key: &DriveKey, known: &KnownDrive) -> Handling {
    let everything = Handling::LeaveIn(Vec::new());
    let Some(serial) = known.place.serial_tail() else {
        let place = known.place.port.clone().unwrap_or_else(|| key.0.clone());
        return Handling::Compare { serial: place };
    };
    let Some(tray) = known.place.tray.clone() else { return Handling::Compare { serial } };
    let pools: Vec<&Pool> = view.snapshot.pools.iter().filter(|pool| known.is_in(&pool.key)).collect();
    // Data on a single drive has nothing to be rebuilt from; and of a pool that was not read nothing is known.
    if pools.is_empty() || pools.len() < known.pools.len() {
        return Handling::PullNothing;
    }
    let spared = |pool: &&Pool| {
        let member = pool.members.iter().find(|member| member.drive_device == known.device && !member.device_gone);
        let is_filled = pool.members.iter().any(|member| member.state == MemberState::Rebuilding);
        let works = is_filled || !matches!(pool.activity.kind, ActivityKind::Idle | ActivityKind::Check);
        let runs = pool.running.get() == Some(&PoolRunning::Running);
        let stands = standing(pool);
        let is_out = member.is_none_or(|member| member.state == MemberState::Faulty);
        let is_vital = member.and_then(|member| member.slot).is_none_or(|slot| stands.vital.contains(&slot));
        // Out already: it alone is what is missing. Still in: nothing is missing, and its loss would be survived.
        !works
            && runs
            && stands.lives
            && stands.is_redundant
            && if is_out { stands.lost <= 1 } else { stands.lost == 0 && !is_vital }
    };
    // Still in a whole pool is safer than out of it, until its successor is there: so it stays.
    let is_out_everywhere = pools
        .iter()
        .all(|pool| !pool.members.iter().any(|member| member.drive_device == known.device && member.is_working()));
    match pools.iter().all(spared) && is_out_everywhere {
        true => Handling::MayPull { tray, while_on: view.settings.hot_swap },
        false => everything,
    }
}
