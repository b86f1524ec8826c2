//! The smaller facts that findings are made of.

use super::Kind;
use crate::reading::{ControllerKind, Lane};
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

/// What is wrong with a device of a pool that lacks no data for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum MemberFault {
    /// The pool has put it out.
    PutOut,
    /// It is not there.
    Gone,
    /// Its owner has taken it offline.
    Offline,
    /// It has made too many errors, and is still used.
    Doubted,
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

/// What a controller is known by.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ControllerName {
    /// Where it is plugged.
    pub key: String,
    /// What it is; `None` for a USB bridge, which is known by the chain of its ports.
    pub kind: Option<ControllerKind>,
    /// Vendor and device by their numbers; empty for a USB bridge.
    pub id: String,
}

/// What is wrong with a controller.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum ControllerFault {
    /// It is not on the list any more.
    Gone,
    /// Its registers read as all ones.
    AllOnes,
    /// No driver would start it.
    NoDriver,
    /// Errors on its PCIe link.
    BusErrors {
        /// How many, all corrected.
        corrected: u64,
        /// Within which time.
        within: Duration,
    },
    /// Its PCIe link is slower or narrower than it was.
    SlowLane {
        /// What it is.
        now: Lane,
        /// The best that it was.
        best: Lane,
    },
    /// A USB bridge was reset.
    Resets {
        /// How often.
        count: u64,
        /// Within which time.
        within: Duration,
    },
}

/// What is wrong with the program itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum AgentFault {
    /// The panel does not answer.
    PanelLost,
    /// Parts of the box are not heard from.
    Unseen {
        /// Which, and why.
        what: Vec<String>,
    },
    /// No time service has set the clock.
    ClockNotSet,
    /// Nobody has confirmed that what is sent on these ways is read.
    NotConfirmed {
        /// Their names.
        ways: Vec<String>,
    },
    /// Messages wait for their way.
    NotDelivered {
        /// For how long the oldest has.
        waited: Duration,
    },
    /// What must outlive a restart is not kept.
    NotKept {
        /// Why; empty when it is.
        why: String,
    },
    /// It ended without being asked to, and was started again.
    EndedUnasked {
        /// How often within a week of watching.
        times: u64,
    },
}

/// What is wrong with the box itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum BoxFault {
    /// It restarted without being shut down.
    UncleanRestart {
        /// How often within a week of watching.
        times: u64,
    },
    /// The kernel ended processes for want of memory.
    OutOfMemory {
        /// How many within a week of watching.
        ended: u64,
    },
    /// A memory card is written to more than it will bear for long.
    CardWears {
        /// The kernel's name of it.
        device: String,
        /// What was written within a day of watching.
        written: Bytes,
        /// The most that it will bear for long.
        bearable: Bytes,
    },
    /// Reading or writing the disk that the system is on failed.
    DiskErrors {
        /// The kernel's name of it.
        device: String,
        /// How often within a week of watching.
        count: u64,
    },
}
