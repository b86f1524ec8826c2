//! pool-degraded, pool-down, pool-busy: what a pool has lost, what it could still lose, and what it does.

use super::rule::Rule;
use crate::forecast::rebuild::{Read, Risk};
use crate::kinds::{Companions, Traits};
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::memory::drives::RememberedDrive;
use crate::memory::pool_roll::KnownPool;
use crate::play::{Need, Play, Who};
use crate::redundancy::{holds_its_share, standing};
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::{PoolLimits, Settings};
use traylight_data::reading::{
    ActivityKind, DriveKey, DriveKind, Listing, Member, MemberState, Pool, PoolKind, PoolRunning, Snapshot,
};
use traylight_data::units::{Bytes, Percent};
use traylight_data::verdict::{Condition, Down, Estimate, Finding, Kind, Limit, Place, ReadRisk, Severity, Subject};

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::PoolDegraded).about_trays().companions(Companions::OfItsPool).played(Play::fast(
            &[Need::Pool],
            10,
            |the_box, _| the_box.put_out(Who::One),
        )),
        Traits::of(Kind::PoolDown).about_trays().companions(Companions::OfItsPool).played(Play::fast(
            &[Need::Pool],
            60,
            |the_box, _| the_box.pool(|pool| pool.running.value = Ok(PoolRunning::Inactive)),
        )),
        Traits::of(Kind::PoolBusy).companions(Companions::OfItsPool).played(Play::fast(
            &[Need::Pool],
            10,
            |the_box, second| the_box.work(ActivityKind::Check, 0.3 + 0.001 * second as f64),
        )),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::PoolDegraded => vec![
            limit!("limit.pool-degraded.loss"),
            limit!("limit.pool-degraded.healthy", hold = set!(settings, pool.healthy_hold)),
        ],
        Kind::PoolDown => vec![
            limit!("limit.pool-down.down", hold = set!(settings, pool.down_hold)),
            limit!("limit.pool-down.up", hold = set!(settings, pool.up_hold)),
        ],
        Kind::PoolBusy => vec![limit!("limit.pool-busy")],
        _ => Vec::new(),
    }
}

/// What is seen of every pool, and of those that were there.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if snapshot.is_blind_to(&Listing::Pools) {
        return Vec::new();
    }
    let limits = &settings.limits.pool;
    // A single look has nothing to compare with: what it sees is what there is.
    let in_grace = snapshot.taken.since_boot() < memory.grace.pools && !memory.at_once;
    let waits = |mut observation: Observation| {
        if matches!(observation.zone, Zone::Raised(_)) {
            observation.zone = Zone::Between;
        }
        observation
    };
    let mut found = Vec::new();
    for pool in &snapshot.pools {
        let of_it = [down(limits, memory, snapshot, pool), degraded(limits, memory, snapshot, pool)];
        let may_come = in_grace && is_being_put_together(pool, memory.ledger.pools.get(&pool.key));
        found.extend(
            of_it.into_iter().flatten().map(|observation| if may_come { waits(observation) } else { observation }),
        );
        found.push(busy(memory, snapshot, pool));
    }
    for (key, known) in memory.ledger.pools.absent() {
        let absent = || absent(settings, memory, snapshot, key, known);
        match known.is_given_up {
            true => found.extend(given_up(memory, snapshot, key)),
            false if in_grace && known.fewest_lost.is_none() => found.push(waits(absent())),
            false => found.push(absent()),
        }
    }
    found
}

/// Pools are put together one member after another: true while all that a pool lacks may still appear. Not so for what the
/// pool itself calls bad, nor for what was there since the machine started and went.
fn is_being_put_together(pool: &Pool, known: Option<&KnownPool>) -> bool {
    let fewest_lost = known.and_then(|known| known.fewest_lost);
    // md names a member by its block device, which must have been there; others remember members that they never saw.
    let appeared = |member: &Member| !member.device_gone || pool.kind == PoolKind::Md;
    let is_bad = |member: &Member| member.device_gone || is_out(member);
    match pool.running.get() {
        Some(PoolRunning::Inactive) => fewest_lost.is_none(),
        Some(PoolRunning::Running) => {
            let went = fewest_lost.is_some_and(|fewest| standing(pool).lost > fewest);
            !went && !pool.members.iter().any(|member| appeared(member) && is_bad(member))
        }
        Some(PoolRunning::Broken | PoolRunning::Suspended) | None => false,
    }
}

/// A pool that the box had, in this run or an earlier one.
fn absent(settings: &Settings, memory: &Memory, snapshot: &Snapshot, key: &str, known: &KnownPool) -> Observation {
    let limits = &settings.limits.pool;
    let is_there = |drive: &&DriveKey| snapshot.drives.iter().any(|found| found.key == **drive);
    Observation {
        subject: Subject::Pool(key.to_owned()),
        zone: Zone::Raised(Severity::Critical),
        seen: snapshot.taken,
        finding: Finding::PoolDown {
            pool: known.name.clone(),
            why: Down::Absent,
            present: known.drives.iter().filter(is_there).count() as u32,
            of: known.wanted,
            lost: lost_drives(memory, key),
        },
        holds: Holds::new(limits.down_hold, limits.up_hold),
    }
}

/// What is still told of a pool that its owner has taken apart is over.
fn given_up(memory: &Memory, snapshot: &Snapshot, key: &str) -> Vec<Observation> {
    let of_it = memory.open().filter(|held| matches!(&held.subject, Subject::Pool(of) if of == key));
    of_it.map(|held| Observation::over(held, snapshot.taken)).collect()
}

/// Where the drives of a pool sat that are not there, by what is remembered of it.
fn lost_drives(memory: &Memory, key: &str) -> Vec<Place> {
    let drives = memory.ledger.pools.get(key).map(|known| &known.drives[..]).unwrap_or_default();
    let place = |drive: &DriveKey| match memory.drives.get(drive) {
        Some(known) => (!known.present).then(|| known.place.clone()),
        // Lost in an earlier run, and no tray names it: its serial is all that is left.
        None => Some(Place { tray: None, serial: Some(drive.0.clone()), port: None }),
    };
    let mut lost: Vec<Place> = drives.iter().filter_map(place).collect();
    lost.sort();
    lost.dedup();
    lost
}

fn down(limits: &PoolLimits, memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    pool.running.get()?;
    let why = standing(pool).down;
    let present = pool.members.iter().filter(|member| !member.device_gone && !is_out(member)).count();
    Some(Observation {
        subject: Subject::Pool(pool.key.clone()),
        zone: match why {
            Some(_) => Zone::Raised(Severity::Critical),
            None if pool.is_read_in_part() => Zone::Between,
            None => Zone::Clear,
        },
        seen: snapshot.taken,
        finding: Finding::PoolDown {
            pool: pool.name.clone(),
            why: why.unwrap_or(Down::Inactive),
            present: present as u32,
            of: memory.ledger.pools.get(&pool.key).map_or(pool.wanted, |known| known.wanted),
            lost: lost_drives(memory, &pool.key),
        },
        // One that waits says so itself; other states are seen while it is put together.
        holds: match why {
            Some(Down::Suspended) => Holds::new(Duration::ZERO, limits.up_hold),
            _ => Holds::new(limits.down_hold, limits.up_hold),
        },
    })
}

fn is_out(member: &Member) -> bool {
    matches!(member.state, MemberState::Faulty | MemberState::Offline)
}

fn degraded(limits: &PoolLimits, memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    let running = *pool.running.get()? == PoolRunning::Running;
    let stands = standing(pool);
    if !stands.is_redundant {
        return None;
    }
    let (missing, spare) = (stands.lost, stands.spare);
    let zone = match missing {
        // A pool that is down is told of as such; what was told before stays as it was.
        _ if !running || !stands.lives => Zone::Between,
        0 if pool.activity.kind == ActivityKind::Idle && !pool.is_read_in_part() => Zone::Clear,
        0 => Zone::Between,
        _ if spare == 0 => Zone::Raised(Severity::Critical),
        _ => Zone::Raised(Severity::Warning),
    };
    Some(Observation {
        subject: Subject::Pool(pool.key.clone()),
        zone,
        seen: snapshot.taken,
        finding: Finding::PoolDegraded {
            pool: pool.name.clone(),
            level: pool.level.clone(),
            missing,
            of: pool.wanted,
            spare,
            lost: lost(memory, pool),
            offline: offline(memory, pool),
            leave_in: memory.drives.leave_in(pool),
            rebuilding: pool.activity.kind == ActivityKind::Rebuild,
        },
        holds: Holds::new(Duration::ZERO, limits.healthy_hold),
    })
}

fn busy(memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Observation {
    let quiet = !pool.activity.kind.is_work();
    // Until its pace is known, what the kernel makes of its last half minute is all there is.
    let by_kernel = |left| Estimate { soonest: left, middle: left, latest: Some(left) };
    let by_pace = memory.work.left_of(&pool.key);
    Observation {
        subject: Subject::Pool(pool.key.clone()),
        zone: if quiet { Zone::Clear } else { Zone::Raised(Severity::Notice) },
        seen: snapshot.taken,
        finding: Finding::PoolBusy {
            pool: pool.name.clone(),
            activity: pool.activity.kind,
            done: pool.activity.done.map(|done| Percent(done * 100.0)),
            left: by_pace.or(pool.activity.left.map(by_kernel)),
            risk: (pool.activity.kind == ActivityKind::Rebuild).then(|| risk(memory, snapshot, pool)).flatten(),
        },
        holds: Holds::NONE,
    }
}

/// What filling a member risks: all members of the groups that lack one are read, or one where each holds a copy.
fn risk(memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<ReadRisk> {
    let bytes = memory.work.remaining(&pool.key)?;
    let holds = |slot: &u32| pool.members.iter().find(|member| member.slot == Some(*slot) && holds_its_share(member));
    let mut reads = BTreeMap::new();
    for group in &pool.groups {
        let there: Vec<&Member> = group.slots.iter().filter_map(holds).collect();
        if there.len() < group.slots.len() {
            let are_copies = group.tolerates as usize + 1 == group.slots.len();
            let read = there.into_iter().take(if are_copies { 1 } else { usize::MAX });
            reads.extend(read.map(|member| (member.slot, &member.drive_device)));
        }
    }
    let kind = |device: &String| snapshot.drives.iter().find(|drive| drive.device == *device).map(|drive| drive.kind);
    let reads: Vec<Read> =
        reads.values().map(|device| Read::guess(bytes, kind(device).unwrap_or(DriveKind::Unknown))).collect();
    let bits_per_error = reads.iter().map(|read| read.class.bits_per_error()).reduce(f64::min)?;
    let (total, is_guess) = (reads.iter().map(|read| read.bytes.0).sum(), reads.iter().any(|read| read.is_guess));
    Some(ReadRisk { chance: Risk::of(reads).chance, bytes: Bytes(total), bits_per_error, is_guess })
}

/// True when the pool itself says that it does without the drive of this name.
pub fn misses(pool: &Pool, drive_device: &str) -> bool {
    let still_used = |member: &Member| member.drive_device == drive_device && holds_its_share(member);
    standing(pool).lost > 0 && !pool.members.iter().any(still_used)
}

/// Where the members are that their owner took offline.
fn offline(memory: &Memory, pool: &Pool) -> Vec<Place> {
    let members = pool.members.iter().filter(|member| member.state == MemberState::Offline && member.slot.is_some());
    let drives = members.filter_map(|member| memory.drives.behind(&pool.key, &member.drive_device));
    drives.map(|drive| drive.place.clone()).collect()
}

/// Where the lost members are or were, as far as the box remembers.
fn lost(memory: &Memory, pool: &Pool) -> Vec<Place> {
    let of_this_pool = memory.drives.iter().map(|(_, drive)| drive).filter(|drive| drive.is_in(&pool.key));
    let mut lost: Vec<&RememberedDrive> = of_this_pool
        .filter(|drive| !drive.present || misses(pool, &drive.device))
        .filter(|drive| {
            !pool.members.iter().any(|member| member.drive_device == drive.device && member.state == MemberState::Spare)
        })
        .collect();
    // A replacement that is being filled comes after the drive that it replaces, and is then one too many.
    lost.sort_by_key(|drive| (drive.present, &drive.place));
    lost.truncate(standing(pool).lost as usize);
    lost.into_iter().map(|drive| drive.place.clone()).collect()
}
