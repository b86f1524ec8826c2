//! The smaller facts that findings are made of.

use super::Kind;
use crate::units::{Bytes, MegabitsPerSecond, Percent};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// What of a drive was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Counted {
    /// Places it cannot read, now or at all.
    Unreadable,
    /// Bad places it has replaced.
    Reallocated,
    /// Transfers that were damaged on their way.
    CrcErrors,
    /// Starts of the drive.
    PowerCycles,
    /// Commands that the kernel gave up waiting for.
    TimeOuts,
}

impl Counted {
    /// The kind of condition that it belongs to.
    pub fn kind(self) -> Kind {
        match self {
            Self::Unreadable => Kind::PendingOrUncorrectable,
            Self::Reallocated => Kind::ReallocatedGrowth,
            Self::CrcErrors => Kind::SataCrcGrowth,
            Self::PowerCycles => Kind::DriveLostPower,
            Self::TimeOuts => Kind::DriveTimeouts,
        }
    }
}

/// Why a pool does not serve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Down {
    /// It was not started.
    Inactive,
    /// It lost more members than its layout survives.
    TooManyLost,
    /// It was there, in this run of the program or an earlier one, and is not any more.
    Absent,
    /// It waits for members that it cannot do without.
    Suspended,
}

/// How likely a sector cannot be read on the way of a rebuild, and what that rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ReadRisk {
    /// The chance of at least one, 0 to 1.
    pub chance: f64,
    /// What is still to be read from the members that remain.
    pub bytes: Bytes,
    /// In how many bits the worst of them may have one error, by the data sheets of its class.
    pub bits_per_error: f64,
    /// True when the class was guessed from the kind of drive.
    pub is_guess: bool,
}

/// Which limits of room were passed: below the share and, if one is set, below the amount as well.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpaceLimit {
    /// Share of the volume.
    pub share: Percent,
    /// Amount of room.
    pub amount: Option<Bytes>,
}

/// What is wrong with a network port.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum LinkFault {
    /// No partner, or switched off.
    Down,
    /// Slower than it was.
    Slow {
        /// Speed now.
        now: MegabitsPerSecond,
        /// Best speed seen for an hour or more.
        usual: MegabitsPerSecond,
    },
    /// Comes and goes.
    Unsteady {
        /// Changes within the window.
        changes: u64,
        /// The window.
        within: Duration,
    },
}
