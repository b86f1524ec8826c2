//! How often drives started while the board ran on: one that counts more starts than when it was last asked has lost its
//! power in between. A suspended machine takes the power from its drives without a fault; that is counted apart.

use super::drives;
use super::learning::{Learned, Learns, Look};
use super::waking::has_slept;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{Drive, DriveKey};

/// What drives call the count of their starts.
pub const COUNTER: &str = "power_cycles";
/// So many suspensions are assumed for a time that nobody watched: more than a drive starts meanwhile, so that none of its
/// starts is taken for a loss of power.
const UNCOUNTED: i64 = 1000;

/// What drives counted when they were last asked, kept over restarts of the program.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PowerCycleMemory {
    drives: BTreeMap<DriveKey, StartCount>,
    /// How long the machine was suspended in this boot, by the last look, and how often so far.
    suspended: Duration,
    suspensions: i64,
    /// The last look before it was suspended last.
    #[serde(skip)]
    before: Option<Moment>,
    #[serde(skip)]
    last_look: Option<Moment>,
    #[serde(skip)]
    again: Vec<Again>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct StartCount {
    starts: i64,
    asked: Moment,
    suspensions: i64,
    /// What it said before it fell: a drive that says 0 once has not begun anew.
    before_fall: Option<i64>,
}

/// A drive that started again.
#[derive(Debug, Clone, PartialEq)]
pub struct Again {
    /// The drive that started again.
    pub drive: DriveKey,
    /// When it was asked before, and when it told.
    pub between: (Moment, Moment),
    /// How many starts more it counts than when it was asked before.
    pub times: i64,
}

impl Learns<Look<'_>> for PowerCycleMemory {
    /// Takes in what drives count.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        self.again.clear();
        if drives::is_blind(snapshot) {
            return Learned::default();
        }
        if has_slept(self.suspended, snapshot.suspended) {
            self.suspensions += if self.last_look.is_some() { 1 } else { UNCOUNTED };
            self.before = self.last_look;
        }
        self.suspended = snapshot.suspended;
        self.last_look = Some(snapshot.taken);
        self.again = snapshot.drives.iter().filter_map(|drive| self.ask(drive)).collect();
        Learned::kept(!self.again.is_empty())
    }
}

impl PowerCycleMemory {
    /// Who was seen at the last look to have started again since it was asked before.
    pub fn again(&self) -> &[Again] {
        &self.again
    }

    fn ask(&mut self, drive: &Drive) -> Option<Again> {
        let asked = drive.health.taken;
        let health = drive.health.get()?;
        let starts = health.counters.iter().find(|counter| counter.name == COUNTER)?.value;
        let last = self.drives.get(&drive.key).copied();
        if last.is_some_and(|last| asked <= last.asked) {
            return None;
        }
        // An answer from before the machine was suspended says nothing of what came then.
        let is_old = self.before.is_some_and(|before| asked <= before);
        let suspensions = self.suspensions - i64::from(is_old);
        let high = last.map(|last| last.before_fall.unwrap_or(last.starts));
        let before_fall = high.filter(|high| starts < *high);
        self.drives.insert(drive.key.clone(), StartCount { starts, asked, suspensions, before_fall });
        let last = last?;
        let from = last.before_fall.filter(|high| starts >= *high).unwrap_or(last.starts);
        let times = starts - from - (suspensions - last.suspensions);
        (times > 0).then(|| Again { drive: drive.key.clone(), between: (last.asked, asked), times })
    }

    /// The machine has started again, and every drive with it: counting begins anew.
    pub fn begin_anew(&mut self) {
        *self = Self { suspensions: self.suspensions, ..Self::default() };
    }
}
