//! What may be done with trays while something is wrong: whether a drive may be taken out, which must stay in, and when
//! nobody can say which drive is meant. Taking out is allowed by one rule only, [`of_failing`].

use crate::causes::Diagnosis;
use crate::causes::view::CauseView;
use crate::kinds::Trouble;
use crate::memory::drives::RememberedDrive;
use crate::redundancy::standing;
use traylight_data::reading::port::controller_of;
use traylight_data::reading::{
    ActivityKind, Controller, DriveKey, Listing, Member, MemberState, Pool, PoolKind, PoolRunning, UsedBy,
};
use traylight_data::verdict::{Cause, Condition, Handling, Kind, Subject};

/// What may be done.
pub fn handling(view: &CauseView, diagnosis: &Diagnosis, conditions: &[&Condition]) -> Handling {
    let one = match &diagnosis.drives[..] {
        [key] => view.memory.drives.get(key).map(|known| (key, known)),
        _ => None,
    };
    if let (Cause::WrongTray, Some((_, known))) = (diagnosis.cause, one) {
        return Handling::PutBack { tray: known.place.label() };
    }
    if !conditions.iter().any(|condition| view.kinds.of(condition.kind()).is_about_trays) {
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
    let leave_in = |pool: &&Pool| view.memory.drives.leave_in(pool);
    let is_at_its_end = |pool: &&&Pool| {
        let stands = standing(pool);
        stands.is_redundant && stands.lost > 0 && stands.spare == 0
    };
    let at_their_end: Vec<Vec<String>> = concerned.iter().filter(is_at_its_end).map(leave_in).collect();
    if at_their_end.iter().any(Vec::is_empty) {
        // Of one pool all stay: a list for the others would leave them out.
        Handling::LeaveIn(Vec::new())
    } else if !at_their_end.is_empty() {
        let mut labels: Vec<String> = concerned.iter().flat_map(leave_in).collect();
        labels.sort();
        labels.dedup();
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
        Cause::Unknown | Cause::DriveHangs | Cause::TrayPower | Cause::TrayConnection | Cause::LinkPowerSaving
    )
}

/// The pools that the drives are in, or that the conditions are about.
fn concerned<'a>(view: &CauseView<'a>, diagnosis: &Diagnosis, conditions: &[&Condition]) -> Vec<&'a Pool> {
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
            | Cause::PcieLink
            | Cause::UsbBridge
            | Cause::UsbPower
            | Cause::SharedPath
            | Cause::PathHangs
            | Cause::KernelUpdate
            | Cause::DataPath
    )
}

/// A failing drive may be taken out only when it is certain which one it is, nothing needs it, nothing is being rebuilt and
/// nothing else is missing.
fn of_failing(view: &CauseView, key: &DriveKey, known: &RememberedDrive) -> Handling {
    let pools: Vec<&Pool> = view.snapshot.pools.iter().filter(|pool| known.is_in(&pool.key)).collect();
    // Data on a single drive has nothing to be rebuilt from; and of a pool that was not read nothing is known.
    if pools.is_empty() || pools.len() < known.pools.len() {
        return Handling::PullNothing;
    }
    let is_spared = pools.iter().all(|pool| spares(pool, known) && is_sound_without(view, key, pool));
    let is_spared = is_spared && !is_in_use(view, key, known, &pools);
    if !is_spared || shares_its_serial(view, key, known) {
        return Handling::LeaveIn(Vec::new());
    }
    match (known.place.serial_tail(), known.place.tray.clone()) {
        (None, _) => Handling::Nameless,
        (Some(_), Some(tray)) if !has_moved(view) => Handling::MayPull { tray },
        (Some(serial), _) => Handling::Compare { serial },
    }
}

/// True when a pool has let go of a drive, runs and rests, and lacks nothing else. Still in a whole pool is safer than out of
/// it, until its successor is there: so one that works stays.
fn spares(pool: &Pool, known: &RememberedDrive) -> bool {
    let member = pool.members.iter().find(|member| member.drive_device == known.device && !member.device_gone);
    let is_filled = pool.members.iter().any(|member| member.state == MemberState::Rebuilding);
    let works = is_filled || !matches!(pool.activity.kind, ActivityKind::Idle | ActivityKind::Check);
    let runs = pool.running.get() == Some(&PoolRunning::Running);
    let stands = standing(pool);
    let is_out = member.is_none_or(|member| member.state == MemberState::Faulty);
    !works && runs && !pool.is_read_in_part() && stands.lives && stands.is_redundant && is_out && stands.lost <= 1
}

/// True when what a pool still has is sound: no other drive of it hangs, and no controller of them has stopped, for what is
/// cut off may be lost next; and where it can lose no more no other fails, for then what the drive holds may be needed.
fn is_sound_without(view: &CauseView, key: &DriveKey, pool: &Pool) -> bool {
    let others = || view.suspects.iter().filter(|other| other.key != key && other.known.is_in(&pool.key));
    let works = |known: &RememberedDrive| {
        let controller = known.place.port.as_deref().and_then(controller_of);
        controller.and_then(|key| view.controller(key)).is_none_or(Controller::works)
    };
    let all_work = view.memory.drives.iter().filter(|(_, known)| known.is_in(&pool.key)).all(|(_, known)| works(known));
    let at_its_end = standing(pool).spare == 0;
    all_work
        && !others().any(|other| other.has(&[Kind::DriveNotAnswering]) || (at_its_end && other.shows(Trouble::Media)))
}

/// True when a drive, or a partition of it, serves for something besides the pools that have let go of it, or when that is
/// not known: another pool or a spare of one, a volume, swap, whatever else is on it.
fn is_in_use(view: &CauseView, key: &DriveKey, known: &RememberedDrive, pools: &[&Pool]) -> bool {
    let Some(drive) = view.snapshot.drives.iter().find(|drive| drive.key == *key) else { return true };
    let serves = |member: &Member| {
        member.drive_device == known.device && !member.device_gone && member.state != MemberState::Faulty
    };
    let is_of = |by: &UsedBy| match by {
        UsedBy::Holder(name) => pools.iter().any(|pool| pool.kind == PoolKind::Md && pool.name == *name),
        UsedBy::Mount(_) | UsedBy::Swap => false,
    };
    let is_on = |block: &str| {
        let rest = block.strip_prefix(known.device.as_str());
        rest.is_some_and(|rest| rest.trim_start_matches('p').chars().all(|letter| letter.is_ascii_digit()))
    };
    let is_mounted = |source: &str| source.strip_prefix("/dev/").is_some_and(is_on);
    view.snapshot.pools.iter().flat_map(|pool| &pool.members).any(serves)
        || view.snapshot.volumes.iter().any(|volume| is_mounted(&volume.source))
        || view.snapshot.is_blind_to(&Listing::Mounts)
        || view.snapshot.is_blind_to(&Listing::Pools)
        || drive.uses.get().is_none_or(|uses| !uses.iter().all(|one| is_of(&one.by)))
}

/// True when another drive claims the same serial: neither label nor map tells which is meant.
fn shares_its_serial(view: &CauseView, key: &DriveKey, known: &RememberedDrive) -> bool {
    let others = view.memory.drives.iter().filter(|(other, _)| *other != key);
    known.place.serial.is_some() && others.map(|(_, other)| &other.place.serial).any(|it| *it == known.place.serial)
}

/// True when a drive is not where its owner agreed that it is: then no tray is certain.
fn has_moved(view: &CauseView) -> bool {
    let is_as_agreed = |(key, known): (&DriveKey, &RememberedDrive)| {
        let agreed = view.memory.ledger.known_drives.get(key);
        !known.present || agreed.is_some_and(|agreed| agreed.port == known.place.port)
    };
    !view.memory.drives.expected().all(is_as_agreed)
}
