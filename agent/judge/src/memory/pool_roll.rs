//! The pools that belong to the box, remembered over restarts: what each is when it is whole, and on which drives it lies.

use super::drives;
use super::learning::{Learned, Learns, Look};
use crate::redundancy::standing;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use traylight_data::reading::{DriveKey, Listing, Pool, PoolKind, PoolRunning, Snapshot};

/// The pools that are or were there, by key.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PoolRoll(BTreeMap<String, KnownPool>);

/// A pool that was seen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnownPool {
    /// Its name.
    pub name: String,
    /// Which software holds it together.
    pub kind: PoolKind,
    /// Its layout; empty while it was never seen running.
    pub level: String,
    /// How many members it has when it is whole; 0 while that was never told.
    pub wanted: u32,
    /// The drives that its members are on, a drive once for each member: as they were when it was whole last, else those
    /// that were there at first.
    pub drives: Vec<DriveKey>,
    /// The fewest members that it lacked while it ran since the machine started; `None` while it has not run since.
    #[serde(default)]
    pub fewest_lost: Option<u32>,
    /// It was looked for and not found.
    #[serde(skip)]
    pub is_absent: bool,
    /// The owner does without it.
    #[serde(skip)]
    pub is_given_up: bool,
}

impl Learns<Look<'_>> for PoolRoll {
    /// Takes in which pools are there.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        for (key, known) in self.0.iter_mut().filter(|(_, known)| !is_blind(snapshot, known)) {
            known.is_absent = snapshot.pools.iter().all(|pool| pool.key != *key);
        }
        let mut is_new = false;
        for pool in &snapshot.pools {
            let before = self.0.get(&pool.key).filter(|known| known.kind == pool.kind).cloned();
            let mut known = before.clone().unwrap_or_else(|| KnownPool {
                name: String::new(),
                kind: pool.kind,
                level: String::new(),
                wanted: 0,
                drives: Vec::new(),
                fewest_lost: None,
                is_absent: false,
                is_given_up: false,
            });
            known.learn(snapshot, pool);
            self.give_up_predecessor(pool, &known, before.is_none());
            is_new |= before.is_none_or(|before| !before.says_the_same(&known));
            self.0.insert(pool.key.clone(), known);
        }
        Learned::kept(is_new)
    }
}

impl PoolRoll {
    /// A pool that was made anew on the same drives, or has another key than before: md arrays are known by their names on
    /// kernels that do not tell their UUIDs, and such a name may change at a restart.
    fn give_up_predecessor(&mut self, pool: &Pool, known: &KnownPool, is_newcomer: bool) {
        let drives = |of: &KnownPool| of.drives.iter().cloned().collect::<BTreeSet<_>>();
        let is_same = |key: &String, other: &KnownPool| {
            let by_name = other.name == known.name;
            let by_drives = is_newcomer && pool.key == known.name && *key == other.name;
            // It may have lost some on the way.
            (by_name || by_drives) && !known.drives.is_empty() && drives(known).is_subset(&drives(other))
        };
        let predecessor = self.0.iter_mut().find(|(key, other)| {
            other.is_absent && !other.is_given_up && other.kind == pool.kind && is_same(key, other)
        });
        predecessor.into_iter().for_each(|(_, other)| other.is_given_up = true);
    }

    /// As when the machine has started again: no pool has run yet.
    pub fn begin_boot(&mut self) {
        self.0.values_mut().for_each(|known| known.fewest_lost = None);
    }

    /// Those that should be there and are not.
    pub fn absent(&self) -> impl Iterator<Item = (&String, &KnownPool)> {
        self.0.iter().filter(|(_, known)| known.is_absent)
    }

    /// What is known of this pool.
    pub fn get(&self, pool: &str) -> Option<&KnownPool> {
        self.0.get(pool)
    }

    /// The owner has taken this pool apart; true when it is not there.
    pub fn accept(&mut self, pool: &str) -> bool {
        let known = self.0.get_mut(pool).filter(|known| known.is_absent);
        known.map(|known| known.is_given_up = true).is_some()
    }

    /// Forgets those that were given up, once nothing is told of them any more. True when that is worth keeping.
    pub fn forget_accepted(&mut self, is_told_of: impl Fn(&String) -> bool) -> bool {
        let before = self.0.len();
        self.0.retain(|key, known| !known.is_given_up || is_told_of(key));
        self.0.len() < before
    }
}

impl KnownPool {
    fn learn(&mut self, snapshot: &Snapshot, pool: &Pool) {
        (self.is_absent, self.is_given_up) = (false, false);
        self.name.clone_from(&pool.name);
        if pool.running.get() == Some(&PoolRunning::Running) {
            let lost = standing(pool).lost;
            self.fewest_lost = Some(self.fewest_lost.map_or(lost, |fewest| fewest.min(lost)));
        }
        // An inactive pool says neither its layout nor how many members it wants.
        if pool.wanted > 0 && !pool.level.is_empty() {
            (self.wanted, self.level) = (pool.wanted, pool.level.clone());
        }
        if self.drives.is_empty() || drives::is_whole(pool) {
            let members = pool.members.iter().filter(|member| member.slot.is_some() && !member.device_gone);
            let drive = |device: &String| snapshot.drives.iter().find(|drive| drive.device == *device);
            let found: Vec<DriveKey> =
                members.filter_map(|member| Some(drive(&member.drive_device)?.key.clone())).collect();
            if !found.is_empty() {
                self.drives = found;
            }
        }
    }

    fn says_the_same(&self, other: &Self) -> bool {
        (&self.name, self.kind, &self.level, self.wanted, &self.drives)
            == (&other.name, other.kind, &other.level, other.wanted, &other.drives)
    }
}

/// True when this pool could not be read or pools of its kind not looked for, or drives, so that nothing could be said of
/// their members.
fn is_blind(snapshot: &Snapshot, known: &KnownPool) -> bool {
    let what = match known.kind {
        // Arrays and mapped devices are found in one folder.
        PoolKind::Md | PoolKind::Lvm => Listing::Pools,
        PoolKind::Zfs => Listing::ZfsPools,
        PoolKind::Btrfs => Listing::BtrfsFileSystems,
    };
    let lists = [what, Listing::Pools, Listing::Members { pool: known.name.clone() }];
    drives::is_blind(snapshot) || lists.iter().any(|list| snapshot.is_blind_to(list))
}
