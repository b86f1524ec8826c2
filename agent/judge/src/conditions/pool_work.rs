//! rebuild-stalled, mismatches and check-overdue: whether the work on a pool's redundancy gets on, what a comparison of it
//! found, and when the last one was.

use super::Rule;
use crate::Memory;
use crate::forecast::rebuild::Pace;
use crate::track::{Holds, Side, Sight};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{ActivityKind, Member, MemberState, Pool, PoolRunning, Snapshot};
use traylight_data::units::{Bytes, BytesPerSecond, Percent};
use traylight_data::verdict::{Estimate, Finding, Severity, Subject};

/// Slower than this is no progress (common practice, no source).
pub const CRAWL_BYTES_PER_S: f64 = 1e6;
/// Work that does not get on.
pub const STALLED: Holds = Holds::new(Duration::from_secs(30 * 60), Duration::from_secs(10 * 60));
/// A pool should be compared this often: distributions do it once a month.
pub const CHECK_EVERY: Duration = Duration::from_secs(45 * 86_400);
/// A comparison that was last seen beyond this share and is over has come to its end; progress is read every few seconds.
const NEARLY_DONE: f64 = 0.98;

/// What is remembered of the work on each pool, by key.
#[derive(Debug, Clone, Default)]
pub struct Known {
    pools: BTreeMap<String, Work>,
}

#[derive(Debug, Clone, Default)]
struct Work {
    kind: Option<ActivityKind>,
    /// How far it was, and since when it is no further.
    stands: Option<(f64, Moment)>,
    /// How fast it went lately, on each member.
    pace: Pace,
    /// What is still to be done on each member.
    remaining: Option<Bytes>,
}

impl Known {
    /// Takes in how far each pool's work is; answers which comparisons have come to their end.
    pub fn learn(&mut self, snapshot: &Snapshot) -> Vec<String> {
        self.pools.retain(|key, _| snapshot.pools.iter().any(|pool| pool.key == *key));
        let ended = snapshot.pools.iter().filter(|pool| {
            let work = self.pools.entry(pool.key.clone()).or_default();
            let compared = matches!(work.kind, Some(ActivityKind::Check | ActivityKind::Repair));
            let was_nearly_done = work.stands.is_some_and(|(done, _)| done >= NEARLY_DONE);
            work.learn(pool, member_size(snapshot, pool), snapshot.taken);
            compared && was_nearly_done && pool.activity.kind == ActivityKind::Idle
        });
        ended.map(|pool| pool.key.clone()).collect()
    }
}

impl Known {
    /// How long the work on pools will still take, by key.
    pub fn left(&self) -> BTreeMap<String, Estimate> {
        self.pools.keys().filter_map(|key| Some((key.clone(), self.left_of(key)?))).collect()
    }

    /// How long the work on one pool will still take.
    pub fn left_of(&self, pool: &str) -> Option<Estimate> {
        let work = self.pools.get(pool)?;
        Some(work.pace.time_left(work.remaining?)?.left)
    }

    /// What is still to be done on each member of a pool.
    pub fn remaining(&self, pool: &str) -> Option<Bytes> {
        self.pools.get(pool)?.remaining
    }
}

/// How much there is on each member: no more than the smallest of their drives.
fn member_size(snapshot: &Snapshot, pool: &Pool) -> Option<Bytes> {
    let drive = |member: &Member| snapshot.drives.iter().find(|drive| drive.device == member.drive_device);
    pool.members.iter().filter_map(|member| drive(member)?.size.get().copied()).min()
}

impl Work {
    fn learn(&mut self, pool: &Pool, size: Option<Bytes>, now: Moment) {
        let same = self.kind == Some(pool.activity.kind);
        self.kind = Some(pool.activity.kind);
        if !same {
            self.pace = Pace::default();
        }
        let works = !matches!(pool.activity.kind, ActivityKind::Idle | ActivityKind::Frozen);
        self.remaining = size.zip(pool.activity.done).filter(|_| works).map(|(size, done)| {
            let finished = (size.0 as f64 * done.clamp(0.0, 1.0)) as u64;
            // md tells how far it is every few minutes only; in between nothing is known of its speed.
            if self.stands.is_none_or(|(before, _)| !same || done != before) {
                self.pace.learn(now, Bytes(finished));
            }
            Bytes(size.0 - finished)
        });
        self.stands = match (pool.activity.done, self.stands) {
            (Some(done), Some((before, since))) if same && done <= before => Some((before, since)),
            (Some(done), _) => Some((done, now)),
            (None, stands) => stands.filter(|_| same),
        };
    }
}

/// The rule of this file.
pub const RULE: Rule = Rule { sights };

/// What is seen of every pool that runs.
fn sights(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let running = snapshot.pools.iter().filter(|pool| pool.running.get() == Some(&PoolRunning::Running));
    let seen = running.flat_map(|pool| {
        [stalled(memory, snapshot, pool), mismatches(snapshot, pool), overdue(memory, snapshot, pool)]
    });
    seen.flatten().collect()
}

fn stalled(memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<Sight> {
    let kind = pool.activity.kind;
    let since = memory.work.pools.get(&pool.key).and_then(|work| work.stands).map(|(_, since)| since);
    let crawls = pool.activity.speed.is_some_and(|speed| speed.0 < CRAWL_BYTES_PER_S);
    let stands = since.is_some_and(|since| snapshot.taken > since);
    // A rebuild that was broken off can be forgotten: its member waits to be filled, and nothing runs.
    let is_forgotten =
        kind == ActivityKind::Idle && pool.members.iter().any(|member| member.state == MemberState::Rebuilding);
    let kind = if is_forgotten { ActivityKind::Rebuild } else { kind };
    let works = !matches!(kind, ActivityKind::Idle | ActivityKind::Frozen);
    let side = match works {
        true if is_forgotten || crawls || (stands && pool.activity.speed.is_none()) => Side::Raised(Severity::Warning),
        _ => Side::Clear,
    };
    let finding = Finding::RebuildStalled {
        pool: pool.name.clone(),
        activity: kind,
        done: pool.activity.done.map(|done| Percent(done * 100.0)),
        stood: since.map_or(STALLED.warning, |since| snapshot.taken.since(since)).max(STALLED.warning),
        least: BytesPerSecond(CRAWL_BYTES_PER_S),
    };
    Some(sight(snapshot, pool, side, finding, STALLED))
}

/// With one copy to compare with, any difference points to hardware; on mirrors, memory that is written while it is copied
/// makes harmless ones.
fn mismatches(snapshot: &Snapshot, pool: &Pool) -> Option<Sight> {
    let sectors = pool.mismatches?;
    let severity = if pool.level.starts_with("raid1") { Severity::Notice } else { Severity::Warning };
    let side = if sectors > 0 { Side::Raised(severity) } else { Side::Clear };
    let (pool_name, level, bytes) = (pool.name.clone(), pool.level.clone(), Bytes::from_sectors(sectors));
    let finding = Finding::Mismatches { pool: pool_name, level, bytes };
    Some(sight(snapshot, pool, side, finding, Holds::NONE))
}

fn overdue(memory: &Memory, snapshot: &Snapshot, pool: &Pool) -> Option<Sight> {
    let (since, never) = memory.ledger.since_check(&pool.key)?;
    let side = if since >= CHECK_EVERY { Side::Raised(Severity::Warning) } else { Side::Clear };
    let finding = Finding::CheckOverdue { pool: pool.name.clone(), since, never, every: CHECK_EVERY };
    Some(sight(snapshot, pool, side, finding, Holds::NONE))
}

fn sight(snapshot: &Snapshot, pool: &Pool, side: Side, finding: Finding, holds: Holds) -> Sight {
    Sight { subject: Subject::Pool(pool.key.clone()), side, seen: snapshot.taken, finding, holds }
}
