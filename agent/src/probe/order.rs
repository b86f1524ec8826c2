//! What the core may tell the probe; all else the probe decides by itself.

use super::schedule::Schedule;
use crate::reading::{DriveKey, SelfTestStep};
use serde::{Deserialize, Serialize};

/// One order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum ProbeOrder {
    /// From now on self-tests begin by this schedule.
    Schedule(Schedule),
    /// Ask this drive alone, at once, how its self-tests stand: its owner waits for the answer.
    Attend(DriveKey),
    /// The owner wants this drive to begin or end a self-test. It counts for a minute and is never repeated.
    SelfTest {
        /// Which drive.
        drive: DriveKey,
        /// What to do.
        step: SelfTestStep,
    },
}

impl ProbeOrder {
    /// True for what a probe that replaces a lost one must be told as well.
    pub fn outlasts_the_probe(&self) -> bool {
        !matches!(self, Self::SelfTest { .. })
    }
}
