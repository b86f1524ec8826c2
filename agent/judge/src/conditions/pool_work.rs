//! rebuild-stalled, mismatches and check-overdue: whether the work on a pool's redundancy gets on, what a comparison of it
//! found, and when the last one was.

use super::rule::Rule;
use crate::kinds::{Companions, Several, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{ActivityKind, MemberState, Pool, PoolRunning, Snapshot};
use traylight_data::units::{Bytes, BytesPerSecond, Percent};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity, Subject};

/// Slower than this is no progress (common practice, no source).
const CRAWL: BytesPerSecond = BytesPerSecond(1e6);
/// Work that does not get on.
const STALLED: Holds = Holds::new(Duration::from_secs(30 * 60), Duration::from_secs(10 * 60));
/// A pool should be compared this often: distributions do it once a month.
const CHECK_EVERY: Duration = Duration::from_secs(45 * 86_400);
/// For how long a rehearsal has the box watched without a check: some days more than that.
const REHEARSED: Duration = Duration::from_secs(50 * 86_400);

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::RebuildStalled).about_trays().companions(Companions::OfItsPool).played(Play::slow(
            &[Need::Pool],
            35,
            |the_box, _| the_box.work(ActivityKind::Rebuild, 0.4),
        )),
        Traits::of(Kind::Mismatches)
            .about_trays()
            .played(Play::fast(&[Need::Parity], 10, |the_box, _| the_box.pool(|pool| pool.mismatches = Some(128)))),
        Traits::of(Kind::CheckOverdue)
            .several(Several::OfTheBox)
            .played(Play::fast(&[Need::Pool], 10, |_, _| {}).watched(REHEARSED)),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::RebuildStalled => vec![limit!("limit.rebuild-stalled", below = CRAWL, hold = STALLED.warning)],
        Kind::Mismatches => vec![limit!("limit.mismatches")],
        Kind::CheckOverdue => vec![limit!("limit.check-overdue", every = CHECK_EVERY)],
        _ => Vec::new(),
    }
}

/// What is seen of every pool that runs.
fn observations(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let running = snapshot.pools.iter().filter(|pool| pool.running.get() == Some(&PoolRunning::Running));
    let seen = running.flat_map(|pool| {
        [stalled(memory, snapshot, pool), mismatches(snapshot, pool), overdue(memory, snapshot, pool)]
    });
    seen.flatten().collect()
}

fn stalled(memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    let kind = pool.activity.kind;
    let since = memory.work.stands_since(&pool.key);
    let crawls = pool.activity.speed.is_some_and(|speed| speed < CRAWL);
    let stands = since.is_some_and(|since| snapshot.taken > since);
    // A rebuild that was broken off can be forgotten: its member waits to be filled, and nothing runs.
    let is_forgotten =
        kind == ActivityKind::Idle && pool.members.iter().any(|member| member.state == MemberState::Rebuilding);
    let kind = if is_forgotten { ActivityKind::Rebuild } else { kind };
    let works = !matches!(kind, ActivityKind::Idle | ActivityKind::Frozen);
    let zone = match works {
        true if is_forgotten || crawls || (stands && pool.activity.speed.is_none()) => Zone::Raised(Severity::Warning),
        _ => Zone::Clear,
    };
    let finding = Finding::RebuildStalled {
        pool: pool.name.clone(),
        activity: kind,
        done: pool.activity.done.map(|done| Percent(done * 100.0)),
        stood: since.map_or(STALLED.warning, |since| snapshot.taken.since(since)).max(STALLED.warning),
        least: CRAWL,
    };
    Some(observation(snapshot, pool, zone, finding, STALLED))
}

/// With one copy to compare with, any difference points to hardware; on mirrors, memory that is written while it is copied
/// makes harmless ones.
fn mismatches(snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    let sectors = pool.mismatches?;
    let severity = if pool.level.starts_with("raid1") { Severity::Notice } else { Severity::Warning };
    let zone = if sectors > 0 { Zone::Raised(severity) } else { Zone::Clear };
    let (pool_name, level, bytes) = (pool.name.clone(), pool.level.clone(), Bytes::from_sectors(sectors));
    let finding = Finding::Mismatches { pool: pool_name, level, bytes };
    Some(observation(snapshot, pool, zone, finding, Holds::NONE))
}

fn overdue(memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<Observation> {
    let (since, never) = memory.ledger.since_check(&pool.key)?;
    let zone = if since >= CHECK_EVERY { Zone::Raised(Severity::Warning) } else { Zone::Clear };
    let finding = Finding::CheckOverdue { pool: pool.name.clone(), since, never, every: CHECK_EVERY };
    Some(observation(snapshot, pool, zone, finding, Holds::NONE))
}

fn observation(snapshot: &Snapshot, pool: &Pool, zone: Zone, finding: Finding, holds: Holds) -> Observation {
    Observation { subject: Subject::Pool(pool.key.clone()), zone, seen: snapshot.taken, finding, holds }
}
