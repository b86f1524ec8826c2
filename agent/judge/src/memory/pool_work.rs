//! How the work on each pool's redundancy gets on.

use super::learning::{Learned, Learns, Look};
use crate::forecast::rebuild::Pace;
use std::collections::BTreeMap;
use traylight_data::clock::Moment;
use traylight_data::reading::{ActivityKind, Member, Pool, Snapshot};
use traylight_data::units::Bytes;
use traylight_data::verdict::Estimate;

/// A comparison that was last seen beyond this share and is over has come to its end; progress is read every few seconds.
const NEARLY_DONE: f64 = 0.98;

/// What is remembered of the work on each pool, by key.
#[derive(Debug, Clone, Default)]
pub struct WorkMemory {
    pools: BTreeMap<String, PoolWork>,
    /// The pools of which a comparison came to its end at the last look.
    compared: Vec<String>,
}

#[derive(Debug, Clone, Default)]
struct PoolWork {
    kind: Option<ActivityKind>,
    /// How far it was, and since when it is no further.
    stands: Option<(f64, Moment)>,
    /// How fast it went lately, on each member.
    pace: Pace,
    /// What is still to be done on each member.
    remaining: Option<Bytes>,
}

impl Learns<Look<'_>> for WorkMemory {
    /// Takes in how far each pool's work is.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        self.pools.retain(|key, _| snapshot.pools.iter().any(|pool| pool.key == *key));
        let ended = snapshot.pools.iter().filter(|pool| {
            let work = self.pools.entry(pool.key.clone()).or_default();
            let compares = matches!(work.kind, Some(ActivityKind::Check | ActivityKind::Repair));
            let was_nearly_done = work.stands.is_some_and(|(done, _)| done >= NEARLY_DONE);
            work.learn(pool, member_size(snapshot, pool), snapshot.taken);
            compares && was_nearly_done && pool.activity.kind == ActivityKind::Idle
        });
        self.compared = ended.map(|pool| pool.key.clone()).collect();
        Learned::default()
    }
}

impl WorkMemory {
    /// The pools of which a comparison came to its end at the last look.
    pub fn compared(&self) -> &[String] {
        &self.compared
    }

    /// Since when the work on a pool is no further than it was.
    pub fn stands_since(&self, pool: &str) -> Option<Moment> {
        self.pools.get(pool)?.stands.map(|(_, since)| since)
    }

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

impl PoolWork {
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
