//! One drive as read: who it is, where it is plugged, and what it tells of itself.

use super::{Attachment, Missing, Reading, RecoveryLimit, SelfTests, TestRequest, Traffic};
use crate::clock::Moment;
use crate::units::{Bytes, Celsius};
use serde::{Deserialize, Serialize};
use strum::{IntoStaticStr, VariantArray};

/// One physical drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drive {
    /// What the drive is known by: its serial, else its world wide name, else its place.
    pub key: DriveKey,
    /// The kernel's name for it now, such as `sda`. Never an identity: it moves between boots.
    pub device: String,
    /// The drive's serial, as printed on its label.
    pub serial: Option<String>,
    /// The drive's world wide name, hexadecimal.
    pub wwn: Option<String>,
    /// The maker's model name.
    pub model: Option<String>,
    /// How it is attached.
    pub bus: Bus,
    /// What turns inside, if anything.
    pub kind: DriveKind,
    /// Where it is plugged: controller and port, stable over restarts.
    pub port: Option<String>,
    /// True for what is meant to be taken away, such as a card.
    pub removable: bool,
    /// Capacity.
    pub size: Reading<Bytes>,
    /// Whether it sleeps.
    pub power: Reading<Power>,
    /// Since when it has had work and finished none of it; `None` for a drive that keeps up.
    pub stalled_since: Option<Moment>,
    /// Temperature inside the drive.
    pub temperature: Reading<Celsius>,
    /// The drive's own limits, where it states them.
    pub own_limits: OwnLimits,
    /// Data moved per second since the reading before.
    pub traffic: Reading<Traffic>,
    /// How the kernel gets on with it.
    pub attachment: Attachment,
    /// What it and its partitions are used for.
    pub uses: Reading<Vec<DriveUse>>,
    /// What the drive tells of its own health, when it was last asked.
    pub health: Reading<Health>,
    /// What it tells of its tests of itself, when it was last asked.
    pub self_tests: Reading<SelfTests>,
    /// The last request for a self-test that this program put to it.
    pub test_request: Option<TestRequest>,
}

impl Drive {
    /// True when neither its serial nor its world wide name tells it from every other drive: it is known by its port.
    pub fn is_known_by_port(&self) -> bool {
        let key = Some(&self.key.0);
        self.serial.as_ref() != key && self.wwn.as_ref() != key
    }
}

/// Something that a drive or one of its partitions is used for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DriveUse {
    /// The kernel's name of the drive or the partition, such as `sda2`.
    pub block: String,
    /// What for.
    pub by: UsedBy,
}

/// What a drive or a partition is used for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum UsedBy {
    /// A block device is on it, such as `md0` or `dm-3`.
    Holder(String),
    /// It is mounted here.
    Mount(String),
    /// Memory is swapped to it.
    Swap,
}

/// Active, idle or asleep.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Power {
    /// Working, or ready to.
    Active,
    /// Idle, with parts powered down; the disks still spin.
    Idle,
    /// In standby: its disks do not spin.
    Asleep,
}

/// What a drive tells of its own health.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Health {
    /// What it thinks of itself.
    pub assessment: Result<SelfAssessment, Missing>,
    /// What it counts.
    pub counters: Vec<Counter>,
    /// The newest error in its log; `None` when it never logged one.
    pub newest_error: Result<Option<LoggedError>, Missing>,
    /// How long it may try before it says that it cannot.
    pub recovery_limit: Result<RecoveryLimit, Missing>,
    /// What could not be read, and why.
    pub unread: Vec<UnreadHealth>,
    /// Why a later session about it came to no end, when one did: all the above is what an earlier one told.
    pub broke_off: Option<Missing>,
}

/// A part of a drive's health that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct UnreadHealth {
    /// Which part.
    pub part: HealthPart,
    /// Why.
    pub missing: Missing,
}

/// A part of a drive's health.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr, VariantArray)]
#[serde(rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum HealthPart {
    /// The health log of an NVMe drive.
    HealthLog,
    /// SMART attributes.
    Attributes,
    /// Device statistics.
    Statistics,
    /// The error log.
    ErrorLog,
    /// Error counters of a SCSI drive.
    ErrorCounters,
    /// Errors on the drive's links.
    LinkErrors,
    /// Counts of starts and stops.
    Starts,
    /// The wear of flash.
    Wear,
    /// The drive's own scan of its surface.
    BackgroundScan,
    /// All of it since: the latest session was interrupted, and what is shown is from an earlier one.
    LatestSession,
}

impl HealthPart {
    /// All of them.
    pub const ALL: &'static [Self] = Self::VARIANTS;

    /// Its name in documents and tables of words, such as `error-log`.
    pub fn id(self) -> &'static str {
        self.into()
    }
}

/// A drive's own health assessment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum SelfAssessment {
    /// No problem found.
    Passed,
    /// It predicts a failure, or a part of it has failed.
    Failing,
}

/// A number that a drive counts or measures about itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counter {
    /// A plain and stable name, which ends in the unit where that is not a bare count.
    pub name: String,
    /// The number.
    pub value: i64,
    /// Where the drive keeps it.
    pub origin: String,
}

/// An error that a drive has in its log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LoggedError {
    /// What went wrong.
    pub kind: ErrorKind,
    /// The first sector affected, if any.
    pub lba: Option<u64>,
    /// The drive's power-on hours then, where the log has them; ATA wraps at 65,536.
    pub power_on_hours: Option<u64>,
}

/// What went wrong with a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum ErrorKind {
    /// A sector could not be read.
    Unreadable,
    /// The drive itself was at fault, such as one that cannot write.
    Fault,
    /// Data was corrupted in transfer between drive and host.
    Transfer,
    /// Data did not match its protection information.
    Protection,
    /// The drive has no such sector, or could not find it.
    NotFound,
    /// The drive rejected the command, which need not be a fault: it may not support it.
    Declined,
    /// Something else.
    Other,
}

/// What a drive is known by. Two drives never share one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct DriveKey(pub String);

/// How a drive is attached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Bus {
    /// Serial ATA.
    Sata,
    /// SCSI, SAS or a paravirtual SCSI.
    Scsi,
    /// USB, usually a bridge with a SATA drive behind it.
    Usb,
    /// NVM Express.
    Nvme,
    /// Memory card or soldered flash.
    Mmc,
    /// A virtual machine's disk.
    Virtio,
    /// Something else.
    Other,
}

/// Hard disk or SSD.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum DriveKind {
    /// Hard disk.
    Hdd,
    /// Flash.
    Ssd,
    /// Unknown.
    Unknown,
}

/// The temperatures that a drive itself calls too warm (SCT data table, NVMe WCTEMP and CCTEMP).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct OwnLimits {
    /// Highest recommended temperature.
    pub maximum: Option<Celsius>,
    /// Highest permitted temperature.
    pub critical: Option<Celsius>,
}
