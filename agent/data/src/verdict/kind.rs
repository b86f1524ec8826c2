//! The kinds of condition, and the names that they keep for good.

use serde::{Deserialize, Serialize};

/// The kinds of condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// An expected drive is not there.
    DriveGone,
    /// A drive is warmer than it should be.
    DriveHot,
    /// A pool has lost members.
    PoolDegraded,
    /// A pool does not serve its data.
    PoolDown,
    /// A pool rebuilds, checks or changes.
    PoolBusy,
    /// A volume is nearly full.
    SpaceLow,
    /// A fan that should turn does not.
    FanStopped,
    /// A network port is down, slow or unsteady.
    LinkTrouble,
    /// A drive predicts that it will fail.
    DriveSaysFailing,
    /// A drive has places that it cannot read.
    PendingOrUncorrectable,
    /// A drive replaces more and more bad places.
    ReallocatedGrowth,
    /// Transfers to a drive are damaged on their way.
    SataCrcGrowth,
    /// A drive lost its power while the board did not.
    DriveLostPower,
    /// A flash drive nears the end of its writes.
    SsdWorn,
    /// A drive has work and finishes none.
    DriveNotAnswering,
    /// A drive comes and goes.
    DriveFlapping,
    /// A drive is warmer than the others of its kind.
    DriveHotterThanPeers,
    /// Several drives get warm together, and fast.
    DrivesHeatingTogether,
    /// A drive is too cold.
    DriveCold,
    /// A drive that told its temperature tells it no more.
    TemperatureLost,
    /// The SATA link of a drive is slower than it was.
    SataSlow,
    /// Commands to a drive timed out.
    DriveTimeouts,
    /// A disk of a pool may try for longer than the kernel waits.
    RecoveryTimeMismatch,
    /// A drive is new to the box, or sits elsewhere than it did.
    DriveNewOrMoved,
    /// A drive is there again, and its pool goes on without it.
    DriveBackNotUsed,
    /// Work on a pool's redundancy does not get on.
    RebuildStalled,
    /// A comparison found places that do not agree.
    Mismatches,
    /// A pool was not compared for too long.
    CheckOverdue,
    /// A pool counts more errors on a member, or has lost data.
    MemberErrors,
    /// A pool has a device that it cannot use or does not trust, and lacks no data for it.
    MemberFaulty,
    /// The USB link of a drive is slower than it was.
    UsbSlow,
    /// A drive keeps missing when the box is switched on.
    DriveMissingAtStart,
    /// A volume that should be written to cannot be.
    VolumeReadonly,
    /// A volume that should be mounted is not.
    VolumeAbsent,
    /// A file system has written down errors in itself.
    VolumeErrors,
    /// A volume runs out of files or of metadata room.
    InodesOrMetadataLow,
    /// A fan turns more slowly than it did, or may have stopped.
    FanWeak,
    /// The processor is too hot, or slows itself down.
    CpuHotThrottled,
    /// The board's own supply is too low.
    Undervoltage,
    /// A measured rail of the supply is too low or too high.
    RailOutOfRange,
    /// What drives are plugged into is gone, does not work, or works badly.
    ControllerTrouble,
    /// Something about the program itself.
    AgentAndAlerts,
    /// The box restarted by itself, ran out of memory, or its own disk suffers.
    BoxStorageAndRestart,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 43] = [
        Self::DriveGone,
        Self::DriveHot,
        Self::PoolDegraded,
        Self::PoolDown,
        Self::PoolBusy,
        Self::SpaceLow,
        Self::FanStopped,
        Self::LinkTrouble,
        Self::DriveSaysFailing,
        Self::PendingOrUncorrectable,
        Self::ReallocatedGrowth,
        Self::SataCrcGrowth,
        Self::DriveLostPower,
        Self::SsdWorn,
        Self::DriveNotAnswering,
        Self::DriveFlapping,
        Self::DriveHotterThanPeers,
        Self::DrivesHeatingTogether,
        Self::DriveCold,
        Self::TemperatureLost,
        Self::SataSlow,
        Self::DriveTimeouts,
        Self::RecoveryTimeMismatch,
        Self::DriveNewOrMoved,
        Self::DriveBackNotUsed,
        Self::RebuildStalled,
        Self::Mismatches,
        Self::CheckOverdue,
        Self::MemberErrors,
        Self::MemberFaulty,
        Self::UsbSlow,
        Self::DriveMissingAtStart,
        Self::VolumeReadonly,
        Self::VolumeAbsent,
        Self::VolumeErrors,
        Self::InodesOrMetadataLow,
        Self::FanWeak,
        Self::CpuHotThrottled,
        Self::Undervoltage,
        Self::RailOutOfRange,
        Self::ControllerTrouble,
        Self::AgentAndAlerts,
        Self::BoxStorageAndRestart,
    ];

    /// The kind's name in logs and documents. It never changes.
    pub fn id(self) -> &'static str {
        match self {
            Self::DriveGone => "drive-gone",
            Self::DriveHot => "drive-hot",
            Self::PoolDegraded => "pool-degraded",
            Self::PoolDown => "pool-down",
            Self::PoolBusy => "pool-busy",
            Self::SpaceLow => "space-low",
            Self::FanStopped => "fan-stopped",
            Self::LinkTrouble => "link-trouble",
            Self::DriveSaysFailing => "drive-says-failing",
            Self::PendingOrUncorrectable => "pending-or-uncorrectable",
            Self::ReallocatedGrowth => "reallocated-growth",
            Self::SataCrcGrowth => "sata-crc-growth",
            Self::DriveLostPower => "drive-lost-power",
            Self::SsdWorn => "ssd-worn",
            Self::DriveNotAnswering => "drive-not-answering",
            Self::DriveFlapping => "drive-flapping",
            Self::DriveHotterThanPeers => "drive-hotter-than-peers",
            Self::DrivesHeatingTogether => "drives-heating-together",
            Self::DriveCold => "drive-cold",
            Self::TemperatureLost => "temperature-lost",
            Self::SataSlow => "sata-slow",
            Self::DriveTimeouts => "drive-timeouts",
            Self::RecoveryTimeMismatch => "recovery-time-mismatch",
            Self::DriveNewOrMoved => "drive-new-or-moved",
            Self::DriveBackNotUsed => "drive-back-not-used",
            Self::RebuildStalled => "rebuild-stalled",
            Self::Mismatches => "mismatches",
            Self::CheckOverdue => "check-overdue",
            Self::MemberErrors => "member-errors",
            Self::MemberFaulty => "member-faulty",
            Self::UsbSlow => "usb-slow",
            Self::DriveMissingAtStart => "drive-missing-at-start",
            Self::VolumeReadonly => "volume-readonly",
            Self::VolumeAbsent => "volume-absent",
            Self::VolumeErrors => "volume-errors",
            Self::InodesOrMetadataLow => "inodes-or-metadata-low",
            Self::FanWeak => "fan-weak",
            Self::CpuHotThrottled => "cpu-hot-throttled",
            Self::Undervoltage => "undervoltage",
            Self::RailOutOfRange => "rail-out-of-range",
            Self::ControllerTrouble => "controller-trouble",
            Self::AgentAndAlerts => "agent-and-alerts",
            Self::BoxStorageAndRestart => "box-storage-and-restart",
        }
    }
}
