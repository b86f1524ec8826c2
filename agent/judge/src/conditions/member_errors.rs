//! member-errors and drive-back-not-used: what pools count on their members, and members that are there and not used. A
//! drive can be in several pools, and with several partitions in one: what is told is told of a drive in a pool.

use super::rule::Rule;
use crate::kinds::{Traits, Trouble};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::counters::member_counter;
use crate::memory::drives;
use crate::play::{Need, Play, Who};
use crate::redundancy;
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{Drive, Member, MemberErrorKind, MemberState, Pool, PoolRunning, Snapshot};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, PoolErrors, Severity, Subject};

/// Errors within this may be critical.
const FAST_WITHIN: Duration = Duration::from_secs(3600);
/// Errors within this are a warning.
const GROWN_WITHIN: Duration = Duration::from_secs(7 * 86_400);
/// A pool takes a member back by itself within this time, or not at all.
const LEFT_OUT: Holds = Holds::new(Duration::from_secs(120), Duration::ZERO);
/// More than so many within an hour are critical (starting value, no source).
const MANY: i64 = 100;
const KINDS: [MemberErrorKind; 5] = [
    MemberErrorKind::Read,
    MemberErrorKind::Write,
    MemberErrorKind::Flush,
    MemberErrorKind::Checksum,
    MemberErrorKind::Generation,
];

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::MemberErrors).about_trays().sign_of(Trouble::Connection).played(Play::fast(
            &[Need::Pool],
            10,
            |the_box, _| the_box.member_errors(Who::One, MemberErrorKind::Read, 5),
        )),
        Traits::of(Kind::DriveBackNotUsed).about_trays().sign_of(Trouble::Connection).played(Play::fast(
            &[Need::Pool],
            180,
            |the_box, second| match second {
                0..20 => the_box.lose(Who::One),
                20.. => the_box.put_out(Who::One),
            },
        )),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.finding {
        Finding::MemberErrors { what: PoolErrors::OfMember { .. }, .. } => {
            vec![limit!("limit.member-errors", within = GROWN_WITHIN, critical = MANY, fast = FAST_WITHIN)]
        }
        Finding::MemberErrors { what: PoolErrors::DataLost { .. }, .. } => vec![limit!("limit.data-lost")],
        Finding::DriveBackNotUsed { .. } => vec![limit!("limit.drive-back-not-used", hold = LEFT_OUT.warning)],
        _ => Vec::new(),
    }
}

/// What is seen of every pool's members.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if drives::is_blind(snapshot) {
        return Vec::new();
    }
    let pairs = snapshot.pools.iter().flat_map(|pool| snapshot.drives.iter().map(move |drive| (pool, drive)));
    let members = pairs.flat_map(|(pool, drive)| {
        [errors(settings, memory, snapshot, pool, drive), not_used(settings, memory, snapshot, pool, drive)]
    });
    let lost = snapshot.pools.iter().filter_map(|pool| data_lost(snapshot, pool));
    members.flatten().chain(lost).chain(no_longer(memory, snapshot)).collect()
}

/// The members of a pool that are on a drive.
fn on<'a>(pool: &'a Pool, drive: &'a Drive) -> impl Iterator<Item = &'a Member> {
    pool.members.iter().filter(|member| member.drive_device == drive.device && !member.device_gone)
}

/// The kind of error that grew most.
fn errors(
    settings: &Settings,
    memory: &Memory,
    snapshot: &Snapshot,
    pool: &Pool,
    drive: &Drive,
) -> Option<Observation> {
    if on(pool, drive).all(|member| member.errors.is_empty()) {
        return None;
    }
    let growth = |kind, within| -> i64 {
        let of_member =
            |member| memory.ledger.growth(&drive.key, &member_counter(pool, member, kind), within).unwrap_or(0);
        on(pool, drive).map(of_member).fold(0, i64::saturating_add)
    };
    let (kind, grown) =
        KINDS.map(|kind| (kind, growth(kind, GROWN_WITHIN))).into_iter().max_by_key(|(_, grown)| *grown)?;
    let zone = match growth(kind, FAST_WITHIN) {
        many if many > MANY => Zone::Raised(Severity::Critical),
        _ if grown > 0 => Zone::Raised(Severity::Warning),
        _ => Zone::Clear,
    };
    let place = drives::place_of(settings, drive);
    let what = PoolErrors::OfMember { drive: place, errors: kind, grown, within: GROWN_WITHIN };
    let finding = Finding::MemberErrors { pool: pool.name.clone(), what };
    Some(observation(snapshot, pool, drive, zone, finding, Holds::NONE))
}

fn data_lost(snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    let pieces = pool.lost_data?;
    let zone = if pieces > 0 { Zone::Raised(Severity::Critical) } else { Zone::Clear };
    let finding = Finding::MemberErrors { pool: pool.name.clone(), what: PoolErrors::DataLost { pieces } };
    let subject = Subject::Pool(pool.key.clone());
    Some(Observation { subject, zone, seen: snapshot.taken, finding, holds: Holds::NONE })
}

/// A drive that its pool lost, is there again, and is still not used by it. It is used once it holds its share: while it
/// is being filled nothing is over, and a pool that lacks a member and lets it wait does not use it either.
fn not_used(
    settings: &Settings,
    memory: &Memory,
    snapshot: &Snapshot,
    pool: &Pool,
    drive: &Drive,
) -> Option<Observation> {
    if pool.running.get() != Some(&PoolRunning::Running) || !memory.drives.get(&drive.key)?.is_in(&pool.key) {
        return None;
    }
    let lacks = redundancy::standing(pool).lost > 0;
    let zone = match on(pool, drive).map(|member| member.state).next() {
        _ if !lacks || on(pool, drive).any(redundancy::holds_its_share) => Zone::Clear,
        None => Zone::Raised(Severity::Warning),
        Some(MemberState::Spare) if !pool.activity.kind.is_work() => Zone::Raised(Severity::Warning),
        // Its owner knows.
        Some(MemberState::Offline) => Zone::Clear,
        Some(_) => Zone::Between,
    };
    let finding = Finding::DriveBackNotUsed { drive: drives::place_of(settings, drive), pool: pool.name.clone() };
    Some(observation(snapshot, pool, drive, zone, finding, LEFT_OUT))
}

/// What was told of a drive in a pool is over when that pool has nothing to do with it any more.
fn no_longer(memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let belongs = |subject: &Subject| match subject {
        Subject::Member { drive, pool } => {
            memory.drives.get(drive).is_none_or(|known| !known.present || known.is_in(pool))
        }
        _ => false,
    };
    let ends = |held: &&Condition| {
        let is_meant =
            matches!(held.kind(), Kind::DriveBackNotUsed | Kind::MemberErrors) && held.subject.drive().is_some();
        is_meant && !belongs(&held.subject)
    };
    memory.open().filter(ends).map(|held| Observation::over(held, snapshot.taken)).collect()
}

fn observation(
    snapshot: &Snapshot,
    pool: &Pool,
    drive: &Drive,
    zone: Zone,
    finding: Finding,
    holds: Holds,
) -> Observation {
    let subject = Subject::Member { drive: drive.key.clone(), pool: pool.key.clone() };
    Observation { subject, zone, seen: snapshot.taken, finding, holds }
}
