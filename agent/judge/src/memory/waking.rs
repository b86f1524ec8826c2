//! When a suspended machine woke. Its drives need seconds to be there again: one on USB may be plugged in anew by the kernel,
//! and the first list after waking is of drives that nobody has tried yet.

use serde::{Deserialize, Serialize};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::Snapshot;

/// Less than this is no suspension: the clocks are read one after the other.
const NOISE: Duration = Duration::from_secs(1);
/// For so long a drive that is listed need not be there (starting value, no source).
const UNTRIED: Duration = Duration::from_secs(10);

/// True when the machine was suspended between two looks, by how long it was so far at each.
pub fn has_slept(before: Duration, now: Duration) -> bool {
    now > before + NOISE
}

/// When the machine woke last in this boot, kept over restarts of the program.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Waking {
    /// How long it was suspended in this boot by the last look; `None` before the first look of all.
    suspended: Option<Duration>,
    woke: Option<Moment>,
}

impl Waking {
    /// Takes in for how long the machine was suspended; true when it has woken since the last look.
    pub fn learn(&mut self, snapshot: &Snapshot) -> bool {
        let before = self.suspended.replace(snapshot.suspended);
        let woke = before.is_some_and(|before| has_slept(before, snapshot.suspended));
        if woke {
            self.woke = Some(snapshot.taken);
        }
        woke
    }

    /// True for so long after it woke.
    pub fn is_within(&self, now: Moment, grace: Duration) -> bool {
        self.woke.is_some_and(|woke| now.since(woke) < grace)
    }

    /// True while a drive that is listed need not be there.
    pub fn is_untried(&self, now: Moment) -> bool {
        self.is_within(now, UNTRIED)
    }

    /// The machine has started again.
    pub fn begin_boot(&mut self) {
        *self = Self { suspended: Some(Duration::ZERO), woke: None };
    }
}
