//! Which drives were missing at the last cold starts, remembered over restarts. Nothing says outright how a machine was
//! started; drives that count one more start than before were without power. A box whose drives tell no such count, as behind
//! many USB bridges, has no cold starts that could be counted.

use super::drives;
use super::learning::{Learned, Learns, Look};
use super::parts::LearnedParts;
use super::power_cycles::COUNTER;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_data::reading::{DriveKey, Snapshot};

/// So many of the last cold starts are looked at, and so many of them are too many (starting values, no source).
pub const STARTS: usize = 5;

/// The last cold starts.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Starts {
    /// The drives that were missing at each of the last cold starts, oldest first.
    missed: Vec<BTreeSet<DriveKey>>,
    /// The start of this boot, until it is known whether it was a cold one.
    this: Option<Start>,
}

/// A start of the machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Start {
    /// How often each drive had started before.
    before: BTreeMap<DriveKey, i64>,
    /// The drives that were missed already when the boot before ended: they may have been taken out.
    absent_before: BTreeSet<DriveKey>,
    /// The drives that did not appear in time; `None` until that is over.
    missing: Option<BTreeSet<DriveKey>>,
    /// True once it was looked at while drives may still take their time to appear: only then it is known who was late.
    is_watched: bool,
}

impl Learns<LearnedParts<'_>> for Starts {
    /// Takes in how the machine was started.
    fn learn(&mut self, parts: &LearnedParts) -> Learned {
        let Look { snapshot, drives: known, grace, .. } = parts.look;
        let Some(start) = self.this.as_mut().filter(|_| !drives::is_blind(snapshot)) else { return Learned::default() };
        let is_new = start.look(known, snapshot, grace.drives);
        let count = |key: &DriveKey| parts.counters.now(key, COUNTER);
        let Some(missing) = start.missing.clone().filter(|missing| start.was_cold(snapshot, missing, count)) else {
            return Learned::kept(is_new);
        };
        self.missed.push(missing);
        let too_many = self.missed.len().saturating_sub(STARTS);
        self.missed.drain(..too_many);
        self.this = None;
        Learned::kept(true)
    }
}

impl Starts {
    /// The machine has started again.
    pub fn begin(&mut self, before: BTreeMap<DriveKey, i64>, absent_before: BTreeSet<DriveKey>) {
        self.this = Some(Start { before, absent_before, missing: None, is_watched: false });
    }

    /// In how many of the last cold starts this drive was missing, and how many those were.
    pub fn of(&self, drive: &DriveKey) -> (u32, u32) {
        let missing = self.missed.iter().filter(|missing| missing.contains(drive)).count();
        (missing as u32, self.missed.len() as u32)
    }

    /// This drive has missed so many cold starts.
    pub fn miss(&mut self, drive: &DriveKey, times: u32) {
        self.missed.extend((0..times).map(|_| BTreeSet::from([drive.clone()])));
    }

    /// The owner agrees that this drive misses starts.
    pub fn accept(&mut self, drive: &DriveKey) {
        for missed in &mut self.missed {
            missed.remove(drive);
        }
    }
}

impl Start {
    fn look(&mut self, known: &drives::DriveMemory, snapshot: &Snapshot, grace: Duration) -> bool {
        if snapshot.taken.since_boot() < grace {
            return !std::mem::replace(&mut self.is_watched, true);
        }
        if !self.is_watched || self.missing.is_some() {
            return false;
        }
        let missing = known.expected().filter(|(key, drive)| !drive.present && !self.absent_before.contains(key));
        self.missing = Some(missing.map(|(key, _)| key.clone()).collect());
        true
    }

    /// True when the drives that were there in time count one more start, as far as they have told: more than half of
    /// them, and two at least where two count. One alone may have lost its power by itself.
    fn was_cold(
        &self,
        snapshot: &Snapshot,
        missing: &BTreeSet<DriveKey>,
        count: impl Fn(&DriveKey) -> Option<i64>,
    ) -> bool {
        let counting = snapshot.drives.iter().map(|drive| &drive.key).filter(|key| !missing.contains(key));
        let told: Vec<bool> = counting.filter_map(|key| Some(count(key)? > *self.before.get(key)?)).collect();
        let grown = told.iter().filter(|grown| **grown).count();
        grown * 2 > told.len() && grown >= told.len().min(2)
    }
}
