//! Why a value is missing, as facts: words for them are in the tables.

use serde::{Deserialize, Serialize};
use strum::{IntoStaticStr, VariantArray};

/// Why there is no value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Missing {
    /// The kind of reason.
    pub reason: Reason,
    /// What is behind it; `null` when the reason says it all, or only what was found is known.
    pub why: Option<WhyMissing>,
    /// What was found, quoted: the name of a file, an error of the kernel, the answer of a device. English and technical.
    pub found: Option<String>,
}

impl Missing {
    /// The reason alone.
    pub fn of(reason: Reason) -> Self {
        Self { reason, why: None, found: None }
    }

    /// A reason and what was found.
    pub fn found(reason: Reason, found: impl Into<String>) -> Self {
        Self { found: Some(found.into()), ..Self::of(reason) }
    }

    /// For values that every box has: not available counts as unreadable.
    pub fn required(self) -> Self {
        let reason = if self.reason == Reason::NotAvailable { Reason::Unreadable } else { self.reason };
        Self { reason, ..self }
    }

    /// The same with what was found.
    pub fn and_found(self, found: impl Into<String>) -> Self {
        Self { found: Some(found.into()), ..self }
    }
}

impl From<WhyMissing> for Missing {
    fn from(why: WhyMissing) -> Self {
        Self { why: Some(why), ..Self::of(why.reason()) }
    }
}

impl From<&Self> for Missing {
    fn from(missing: &Self) -> Self {
        missing.clone()
    }
}

/// The kinds of reason for a missing value. The first three are no fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr, VariantArray)]
#[serde(rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Reason {
    /// There is no such part or value, or the kernel has no file for it.
    NotAvailable,
    /// The drive is asleep, and that is healthy.
    Asleep,
    /// Not read: a query would keep an idle drive from falling asleep, or a rate needs a second reading.
    NotRead,
    /// No answer within the deadline.
    TimedOut,
    /// Permission denied.
    Refused,
    /// The answer cannot be true or cannot be read.
    Unreadable,
}

impl Reason {
    /// All of them.
    pub const ALL: &'static [Self] = Self::VARIANTS;

    /// Its name in documents and tables of words, such as `timed-out`.
    pub fn id(self) -> &'static str {
        self.into()
    }
}

/// What can be behind a reason. Each variant names its reason in [`WhyMissing::reason`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr, VariantArray)]
#[serde(rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum WhyMissing {
    /// No driver provides the value.
    NoDriver,
    /// The drive does not support it.
    NotSupported,
    /// The drive reports no valid temperature.
    NoValidTemperature,
    /// The drive has no SMART, or it is disabled.
    NoSmart,
    /// The drive has no adjustable time limit for bad sectors.
    NoRecoveryLimit,
    /// The drive's time limit for bad sectors is disabled.
    RecoveryLimitOff,
    /// There is no such file.
    NoFile,
    /// Drives of this kind have no health commands.
    NoHealthCommands,
    /// The drive, volume or device has disconnected.
    Disconnected,
    /// The part is not on a PCI bus.
    NotOnPci,
    /// The drive is not on a SATA link of its own.
    NotOnSata,
    /// The driver or the kernel does not report it.
    NotReported,
    /// Neither the kernel nor udev reports what identifies the drive.
    NotIdentified,
    /// The network port is down.
    PortDown,
    /// No port has an address reachable from outside.
    NoAddress,
    /// The system is not on a single disk.
    SystemNotOnOneDisk,
    /// The file system is not btrfs.
    NotBtrfs,
    /// A program is not installed.
    NotInstalled,
    /// The chip has no PWM output of this number.
    NoOutput,
    /// No critical temperature is specified.
    NoCriticalTemperature,
    /// The board has no alarm for it.
    NoAlarm,
    /// The sensor's label is not that of a supply rail.
    NoRailLabel,
    /// No driver is bound to the controller.
    NoBoundDriver,
    /// No SATA port reports its link power policy, or they differ.
    NoCommonPolicy,
    /// The USB adapter passes no health commands.
    AdapterBlocks,
    /// The pool is not started.
    PoolNotStarted,
    /// The pool's level is not supported.
    LevelNotSupported,
    /// The temperature will not reach the limit within the next hour.
    LimitNotReached,
    /// The low estimate stays below the limit for the next hour.
    LimitMayNotBeReached,
    /// The first reading is pending.
    Pending,
    /// A rate needs two readings.
    FirstCount,
    /// The counter was reset, and a rate needs two readings.
    CounterReset,
    /// The drive is idle, and a query could keep it awake.
    Idle,
    /// Read only from hard disks on native SATA ports.
    OnlySataDisks,
    /// Read only from storage controllers.
    OnlyStorageControllers,
    /// The drive was not used since the start, and its USB adapter is not identified yet.
    AdapterUnknown,
    /// The controller is asleep, and a query would wake it.
    ControllerAsleep,
    /// The pool is suspended, and a query could block forever.
    PoolSuspended,
    /// It is not in the recording.
    NotRecorded,
    /// The readings do not yet show where the temperature will settle.
    NotSettled,
    /// Too few readings since the drive woke, or since the trend of its temperature changed.
    TooFewReadings,
    /// Not enough days for a trend.
    TooFewDays,
    /// The command timed out in the kernel.
    KernelGaveUp,
    /// The drive was too busy for another command.
    TooBusy,
    /// Requests are outstanding, and none completes.
    NoneCompletes,
    /// Commands to a drive need CAP_SYS_RAWIO.
    NeedsRawIo,
    /// The query needs CAP_SYS_ADMIN.
    NeedsSysAdmin,
    /// The chip reports that its sensor is faulty.
    SensorFaulty,
    /// An earlier command was interrupted.
    Interrupted,
    /// The kernel no longer lists it.
    NoLongerListed,
    /// The pool's members or its layout cannot be read.
    MembersUnread,
    /// The pool is changing its state, or reports none.
    NoSettledState,
}

impl WhyMissing {
    /// All of them.
    pub const ALL: &'static [Self] = Self::VARIANTS;

    /// Its name in documents and tables of words, such as `no-driver`.
    pub fn id(self) -> &'static str {
        self.into()
    }

    /// The kind of reason that it is.
    pub fn reason(self) -> Reason {
        match self {
            Self::NoDriver
            | Self::NotSupported
            | Self::NoValidTemperature
            | Self::NoSmart
            | Self::NoRecoveryLimit
            | Self::RecoveryLimitOff
            | Self::NoFile
            | Self::NoHealthCommands
            | Self::Disconnected
            | Self::NotOnPci
            | Self::NotOnSata
            | Self::NotReported
            | Self::NotIdentified
            | Self::PortDown
            | Self::NoAddress
            | Self::SystemNotOnOneDisk
            | Self::NotBtrfs
            | Self::NotInstalled
            | Self::NoOutput
            | Self::NoCriticalTemperature
            | Self::NoAlarm
            | Self::NoRailLabel
            | Self::NoBoundDriver
            | Self::NoCommonPolicy
            | Self::AdapterBlocks
            | Self::PoolNotStarted
            | Self::LevelNotSupported
            | Self::LimitNotReached
            | Self::LimitMayNotBeReached
            | Self::NotSettled
            | Self::TooFewReadings
            | Self::TooFewDays => Reason::NotAvailable,
            Self::Pending
            | Self::FirstCount
            | Self::CounterReset
            | Self::Idle
            | Self::OnlySataDisks
            | Self::OnlyStorageControllers
            | Self::AdapterUnknown
            | Self::ControllerAsleep
            | Self::PoolSuspended
            | Self::NotRecorded => Reason::NotRead,
            Self::KernelGaveUp | Self::TooBusy | Self::NoneCompletes => Reason::TimedOut,
            Self::NeedsRawIo | Self::NeedsSysAdmin => Reason::Refused,
            Self::SensorFaulty
            | Self::Interrupted
            | Self::NoLongerListed
            | Self::MembersUnread
            | Self::NoSettledState => Reason::Unreadable,
        }
    }
}
