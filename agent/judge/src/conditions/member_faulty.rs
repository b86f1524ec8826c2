//! member-faulty: a pool lacks no data, and yet not all of its devices are well: a spare that could not stand in, a log or
//! cache device, a drive whose place a spare has taken and that was not replaced yet, a device that the pool does not trust
//! any more. What a pool lacks data for is told by pool-degraded.

use super::rule::Rule;
use crate::kinds::{Companions, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::drives;
use crate::play::{Need, Play};
use crate::redundancy;
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{DriveKey, Member, MemberRole, MemberState, Pool, PoolRunning, Snapshot};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, MemberFault, Severity, Subject};

/// What a pool tells of its devices is seen every ten seconds; while a spare takes over, much is said for a moment.
const HOLDS: Holds = Holds::new(Duration::from_secs(10), Duration::from_secs(60));

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::MemberFaulty).companions(Companions::OfItsPool).played(Play::fast(
        &[Need::Pool],
        20,
        |the_box, _| {
            the_box.pool(|pool| {
                let member = pool.members.first().cloned();
                pool.members.extend(member.map(|member| Member {
                    device: "test-spare".to_owned(),
                    drive_device: "test-spare".to_owned(),
                    slot: None,
                    role: MemberRole::Spare,
                    state: MemberState::Faulty,
                    ..member
                }));
            });
        },
    ))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::MemberFaulty => vec![limit!("limit.member-faulty", hold = HOLDS.warning, over = HOLDS.clear)],
        _ => Vec::new(),
    }
}

/// What is seen of the devices that pools do without.
fn observations(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if drives::is_blind(snapshot) {
        return Vec::new();
    }
    let running = |pool: &&Pool| pool.running.get() == Some(&PoolRunning::Running);
    let mut seen: Vec<Observation> = Vec::new();
    for pool in snapshot.pools.iter().filter(running) {
        let found = pool.members.iter().filter_map(|member| of_member(memory, snapshot, pool, member));
        // Of several devices that no drive is known for, the first speaks.
        for observation in found {
            if seen.iter().all(|other| other.subject != observation.subject) {
                seen.push(observation);
            }
        }
    }
    let told: BTreeSet<Subject> = seen.iter().map(|observation| observation.subject.clone()).collect();
    seen.extend(over(memory, snapshot, &told));
    seen
}

/// What is wrong with a member that its pool lacks no data for; nothing of one that is well, nor of one that is missed.
fn of_member(memory: &Memory, snapshot: &Snapshot, pool: &Pool, member: &Member) -> Option<Observation> {
    let how = match member.state {
        _ if member.device_gone => MemberFault::Gone,
        MemberState::Faulty => MemberFault::PutOut,
        MemberState::Offline => MemberFault::Offline,
        _ if member.doubted => MemberFault::Doubted,
        _ => return None,
    };
    let key = drive_behind(memory, pool, member);
    let known = key.and_then(|key| memory.drives.get(key));
    // That an expected drive is not there is told already, until its pool does without it.
    if known.is_some_and(|known| !known.present && !known.accepted) {
        return None;
    }
    let is_spare = known.is_some_and(|known| known.is_spare_in(&pool.key));
    let role = if is_spare { MemberRole::Spare } else { member.role };
    let stands_in = |other: &Member| other.slot == member.slot && redundancy::holds_its_share(other);
    let is_missed = match member.slot {
        Some(_) => how != MemberFault::Doubted && !pool.members.iter().any(stands_in),
        // md takes the place away from what it puts out: while it lacks a member, that may be this one.
        None => role == MemberRole::Data && redundancy::standing(pool).lost > 0,
    };
    let severity = if how == MemberFault::Offline { Severity::Notice } else { Severity::Warning };
    Some(Observation {
        subject: match key {
            Some(key) => Subject::Member { drive: key.clone(), pool: pool.key.clone() },
            None => Subject::Pool(pool.key.clone()),
        },
        zone: if is_missed { Zone::Between } else { Zone::Raised(severity) },
        seen: snapshot.taken,
        finding: Finding::MemberFaulty {
            pool: pool.name.clone(),
            drive: known.map(|known| known.place.clone()),
            device: member.device.clone(),
            role,
            how,
        },
        holds: HOLDS,
    })
}

/// The drive that a member is or was on.
fn drive_behind<'a>(memory: &'a Memory, pool: &Pool, member: &Member) -> Option<&'a DriveKey> {
    let is_on = |known: &drives::RememberedDrive| known.device == member.drive_device;
    let there = memory.drives.iter().find(|(_, known)| known.present && is_on(known));
    let was = || {
        let mut absent = memory.drives.iter().filter(|(_, known)| !known.present && is_on(known));
        absent.find(|(_, known)| known.is_in(&pool.key) || known.is_spare_in(&pool.key))
    };
    let found = if member.device_gone { was() } else { there };
    found.map(|(key, _)| key)
}

/// A device that is well again, or that its pool does not list any more.
fn over(memory: &Memory, snapshot: &Snapshot, told: &BTreeSet<Subject>) -> Vec<Observation> {
    let is_seen = |pool: &str| {
        let found = snapshot.pools.iter().find(|found| found.key == pool);
        // A pool that its owner has taken apart is in no list any more.
        found.map_or(memory.ledger.pools.get(pool).is_none(), |pool| pool.running.get() == Some(&PoolRunning::Running))
    };
    let ends = |held: &&Condition| {
        held.kind() == Kind::MemberFaulty && !told.contains(&held.subject) && held.subject.pool().is_some_and(is_seen)
    };
    let over = |held: &Condition| Observation { holds: HOLDS, ..Observation::over(held, snapshot.taken) };
    memory.open().filter(ends).map(over).collect()
}
