//! The smaller facts that findings are made of.

use super::fact::facts_of;
use super::place::Place;
use super::unseen::UnseenPart;
use crate::reading::{MemberErrorKind, PcieLink};
use crate::units::{Bytes, CelsiusDifference, MegabitsPerSecond, Percent, Rpm};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use strum::IntoStaticStr;

/// What is wrong with a device of a pool that lacks no data for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
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

/// The limit of space that was passed: a share, an amount, or both together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpaceLimit {
    /// Of the volume.
    pub share: Option<Percent>,
    /// Of free space.
    pub amount: Option<Bytes>,
}

facts_of! {
    /// What is wrong with a network port.
    #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum LinkFault {
        /// No partner, or switched off.
        Down,
        /// Slower than it was.
        Slow {
            now: MegabitsPerSecond,
            /// Best speed seen for an hour or more.
            usual: MegabitsPerSecond,
        },
        /// Comes and goes.
        Unsteady { changes: u64, within: Duration },
    }
}

facts_of! {
    /// What a pool counts.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum PoolErrors {
        /// More errors on a member.
        OfMember {
            /// The member's drive.
            drive: Place,
            errors: MemberErrorKind,
            grown: i64,
            within: Duration,
        },
        /// Data that is lost for good.
        DataLost { pieces: u64 },
    }
}

facts_of! {
    /// What runs out although bytes are free.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum Scarce {
        /// Files that a volume can still hold.
        Files {
            mount: String,
            free: u64,
            /// The share of inodes that is used.
            used: Percent,
        },
        /// A pool's space for metadata, however much is left for data.
        Metadata {
            pool: String,
            unallocated: Bytes,
            /// The share of the metadata space that is used.
            used: Percent,
        },
    }
}

facts_of! {
    /// How a fan is known to be weak.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum WeakFan {
        /// It turns more slowly than it did at this drive level.
        Slow {
            fan: String,
            speed: Rpm,
            /// The speed that it used to hold at this level.
            usual: Rpm,
            /// The level.
            duty: Percent,
        },
        /// Drives are warmer than they ever held under this load, and still rise: without a tachometer, the fan is suspected.
        Airflow {
            /// The drives that rise.
            drives: Vec<Place>,
            /// How far the middle one is above the warmest that it ever held.
            above: CelsiusDifference,
        },
    }
}

facts_of! {
    /// What is wrong with a controller.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum ControllerFault {
        /// It is not on the list any more.
        Gone,
        /// Its registers read as all ones.
        AllOnes,
        /// No driver would start it.
        NoDriver,
        /// Errors on its PCIe link, all corrected.
        BusErrors { corrected: u64, within: Duration },
        /// Its PCIe link is slower or narrower than it was.
        SlowLink { now: PcieLink, best: PcieLink },
        /// A USB bridge was reset.
        Resets { count: u64, within: Duration },
    }
}

facts_of! {
    /// What is wrong with the program itself.
    #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum AgentFault {
        /// The panel does not answer.
        PanelLost,
        /// Parts of the box cannot be read.
        Unseen {
            /// Which, and why.
            what: Vec<UnseenPart>,
        },
        /// No time service has set the clock.
        ClockNotSet,
        /// Nobody has confirmed that what is sent on these channels is read.
        NotConfirmed { channels: Vec<String> },
        /// Messages wait for their channel.
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
}

facts_of! {
    /// What is wrong with the box itself.
    #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
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
            /// What it would bear.
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
}
