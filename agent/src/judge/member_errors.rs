//! member-errors and drive-back-not-used: what pools count on their members, and members that are there and not used.

use super::ledger::Ledger;
use super::track::{Holds, Side, Sight};
use super::{Memory, drives, redundancy};
use crate::reading::{Drive, MemberErrorKind, Pool, PoolRunning, Snapshot};
use crate::verdict::{Finding, Severity, Subject};
use std::time::Duration;
use traylight_config::Settings;

pub(crate) const HOUR: Duration = Duration::from_secs(3600);
pub(crate) const WEEK: Duration = Duration::from_secs(7 * 86_400);
const AT_ONCE: Holds = Holds::new(Duration::ZERO, Duration::ZERO);
/// A pool takes a member back by itself within this time, or not at all.
pub(crate) const LEFT_OUT: Holds = Holds::new(Duration::from_secs(120), Duration::ZERO);
/// More than so many within an hour are critical (starting value, no source).
pub(crate) const MANY: i64 = 100;
const KINDS: [MemberErrorKind; 5] = [
    MemberErrorKind::Read,
    MemberErrorKind::Write,
    MemberErrorKind::Flush,
    MemberErrorKind::Checksum,
    MemberErrorKind::Generation,
];

/// Takes in what pools count on their members: growth is judged, so the ledger keeps it.
pub fn learn(ledger: &mut Ledger, known: &drives::Known, snapshot: &Snapshot) {
    for pool in &snapshot.pools {
        for member in pool.members.iter().filter(|member| !member.errors.is_empty()) {
            let Some(drive) = known.key_behind(&pool.key, &member.drive_device) else { continue };
            for errors in &member.errors {
                let count = i64::try_from(errors.count).unwrap_or(i64::MAX);
                ledger.note(drive, &counter(pool, errors.kind), count);
            }
        }
    }
}

/// What the ledger calls a pool's count on a member.
fn counter(pool: &Pool, kind: MemberErrorKind) -> String {
    let kind = match kind {
        MemberErrorKind::Read => "read",
        MemberErrorKind::Write => "write",
        MemberErrorKind::Flush => "flush",
        MemberErrorKind::Checksum => "checksum",
        MemberErrorKind::Generation => "generation",
    };
    format!("{kind}_errors in {}", pool.key)
}

/// What is seen of every pool's members.
pub fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    if drives::is_blind(snapshot) {
        return Vec::new();
    }
    let members = snapshot.pools.iter().flat_map(|pool| errors(settings, memory, snapshot, pool));
    let lost = snapshot.pools.iter().filter_map(|pool| data_lost(snapshot, pool));
    members.chain(lost).chain(not_used(settings, memory, snapshot)).collect()
}

/// One sight a drive: the kind of error that grew most.
fn errors(settings: &Settings, memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Vec<Sight> {
    let of_drive = |drive: &Drive| {
        let member = pool.members.iter().find(|member| member.drive_device == drive.device && !member.device_gone)?;
        let growth = |kind, within| memory.ledger.growth(&drive.key, &counter(pool, kind), within).unwrap_or(0);
        let (kind, grown) = KINDS.map(|kind| (kind, growth(kind, WEEK))).into_iter().max_by_key(|(_, grown)| *grown)?;
        let side = match growth(kind, HOUR) {
            many if many > MANY => Side::Raised(Severity::Critical),
            _ if grown > 0 => Side::Raised(Severity::Warning),
            _ => Side::Clear,
        };
        let finding = Finding::MemberErrors {
            pool: pool.name.clone(),
            drive: drives::place_of(settings, drive),
            kind,
            grown,
            within: WEEK,
        };
        let subject = Subject::Drive(drive.key.clone());
        (!member.errors.is_empty()).then_some(Sight { subject, side, seen: snapshot.taken, finding, holds: AT_ONCE })
    };
    snapshot.drives.iter().filter_map(of_drive).collect()
}

fn data_lost(snapshot: &Snapshot, pool: &Pool) -> Option<Sight> {
    let pieces = pool.lost_data?;
    let side = if pieces > 0 { Side::Raised(Severity::Critical) } else { Side::Clear };
    let finding = Finding::DataLost { pool: pool.name.clone(), pieces };
    let subject = Subject::Pool(pool.key.clone());
    Some(Sight { subject, side, seen: snapshot.taken, finding, holds: AT_ONCE })
}

/// A drive that its pool lost, is there again, and is still not used by it.
fn not_used(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let sight = |drive: &Drive| {
        let known = memory.drives.get(&drive.key)?;
        let lacks_it = |pool: &&Pool| {
            let running = pool.running.get() == Some(&PoolRunning::Running);
            let is_member =
                pool.members.iter().any(|member| member.drive_device == drive.device && !member.device_gone);
            running && known.is_in(&pool.key) && !is_member && redundancy::standing(pool).lost > 0
        };
        let pool = snapshot.pools.iter().find(lacks_it);
        let side = if pool.is_some() { Side::Raised(Severity::Warning) } else { Side::Clear };
        let finding = Finding::DriveBackNotUsed {
            drive: drives::place_of(settings, drive),
            pool: pool.map(|pool| pool.name.clone()).unwrap_or_default(),
        };
        Some(Sight { subject: Subject::Drive(drive.key.clone()), side, seen: snapshot.taken, finding, holds: LEFT_OUT })
    };
    snapshot.drives.iter().filter_map(sight).collect()
}
