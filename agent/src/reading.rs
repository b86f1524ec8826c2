//! What sense hands on: plain data about one box at one time. No opinion in here, that is `verdict.rs`.

use crate::clock::Moment;
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Rpm, Volts};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::time::Duration;

/// Everything that was read of one box.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Snapshot {
    /// When the snapshot was put together; the readings in it may be older.
    pub taken: Moment,
    /// The machine itself.
    pub board: Board,
    /// Physical drives, in the order of their ports.
    pub drives: Vec<Drive>,
    /// Drives that hold data together.
    pub pools: Vec<Pool>,
    /// Mounted file systems with room in them.
    pub volumes: Vec<Volume>,
    /// Fans with a tachometer or a fault line.
    pub fans: Vec<Fan>,
    /// Temperatures that belong to no drive.
    pub temperatures: Vec<Temperature>,
    /// Voltages whose label says what they are.
    pub rails: Vec<Rail>,
    /// Network ports made of hardware.
    pub links: Vec<Link>,
    /// What could not be looked at as a whole, such as a folder that refuses.
    pub blind: Vec<Blind>,
}

/// One value with its age and origin, or the reason why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading<T> {
    /// The value, or why it is missing.
    pub value: Result<T, Missing>,
    /// When the question was answered, or given up.
    pub taken: Moment,
    /// Who was asked.
    pub source: Source,
}

impl<T> Reading<T> {
    /// A reading of `value`, which may itself be a reason why there is none.
    pub fn new(value: Result<T, Missing>, taken: Moment, source: Source) -> Self {
        Self { value, taken, source }
    }

    /// The value, if there is one.
    pub fn get(&self) -> Option<&T> {
        self.value.as_ref().ok()
    }

    /// Why there is no value, if there is none.
    pub fn missing(&self) -> Option<&Missing> {
        self.value.as_ref().err()
    }
}

/// Why there is no value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Missing {
    /// The kind of reason.
    pub reason: Reason,
    /// What was found, in one sentence without a full stop; empty when the reason says it all.
    pub detail: String,
}

impl Missing {
    /// A reason and what was found.
    pub fn new(reason: Reason, detail: impl Into<String>) -> Self {
        Self { reason, detail: detail.into() }
    }
}

impl fmt::Display for Missing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.reason.words())?;
        if !self.detail.is_empty() {
            write!(f, ": {}", self.detail)?;
        }
        Ok(())
    }
}

/// The kinds of reason for a missing value. The first three are no fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Reason {
    /// The box has no such part, or the kernel offers no such file.
    NotFitted,
    /// The drive sleeps, and sleep is health.
    Asleep,
    /// Not asked: asking would keep an idle drive from falling asleep, or a rate needs a second count.
    NotAsked,
    /// No answer within the deadline.
    TimedOut,
    /// The kernel said no: permission.
    Refused,
    /// An answer came that cannot be true or cannot be read.
    Unreadable,
}

impl Reason {
    /// The reason in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::NotFitted => "not fitted",
            Self::Asleep => "asleep",
            Self::NotAsked => "not asked",
            Self::TimedOut => "timed out",
            Self::Refused => "refused",
            Self::Unreadable => "unreadable",
        }
    }
}

/// Who answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Source {
    /// A file below `/sys/block`, `/sys/class/net` and the like.
    Sysfs,
    /// A file of a hardware monitoring chip, `/sys/class/hwmon`.
    Hwmon,
    /// A file below `/sys/class/thermal`.
    ThermalZone,
    /// statvfs(3) on a mount point.
    Statvfs,
    /// The `sysinfo` crate.
    Sysinfo,
    /// The drive itself, by command.
    Drive,
}

/// The machine itself.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Board {
    /// The host's name.
    pub name: String,
    /// What the maker calls the board; empty when nobody says.
    pub model: String,
    /// The kernel's release.
    pub kernel: String,
    /// The address people reach the box at: the first that is not a loopback or link-local one.
    pub address: Option<String>,
    /// Load, memory and processor count; `None` until first asked.
    pub load: Option<Reading<Load>>,
}

/// How busy the board is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// Average number of runnable or waiting tasks over one minute.
    pub one_minute: f64,
    /// The same over fifteen minutes.
    pub fifteen_minutes: f64,
    /// Processors that share the load.
    pub processors: u32,
    /// Memory fitted.
    pub memory: Bytes,
    /// Memory that could still be given out (`MemAvailable`).
    pub memory_available: Bytes,
}

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
    /// What the drive tells of its own health, when it was last asked.
    pub health: Reading<Health>,
}

/// Whether a drive sleeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Power {
    /// It works, or is ready to.
    Active,
    /// It waits, and some of it rests; disks still turn.
    Idle,
    /// Its disks stand still. This is health.
    Asleep,
}

/// What a drive tells of its own health.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Health {
    /// What it thinks of itself.
    pub assessment: Result<SelfAssessment, Missing>,
    /// What it counts.
    pub counters: Vec<Counter>,
    /// Its newest self-test, or the one that runs.
    pub self_test: Result<SelfTest, Missing>,
    /// What could not be read, and why.
    pub unread: Vec<String>,
}

/// What a drive thinks of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum SelfAssessment {
    /// It sees no reason to worry.
    Passed,
    /// It predicts that it will fail, or has failed in part.
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

/// The newest self-test of a drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum SelfTest {
    /// None is on record.
    Never,
    /// It ended without error.
    Passed,
    /// Somebody or something ended it before its time.
    Ended,
    /// The drive could not bring it to an end.
    CouldNotFinish,
    /// A part of the drive failed it.
    Failed,
    /// It runs, and so much of it is left.
    Running {
        /// In hundredths; `None` when the drive does not say.
        remaining_percent: Option<u8>,
    },
}

/// What a drive is known by. Two drives never share one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct DriveKey(pub String);

/// How a drive is attached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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

/// What turns inside a drive, if anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum DriveKind {
    /// Turning disks.
    Hdd,
    /// Flash.
    Ssd,
    /// Nobody says.
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

/// Data moved per second.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Traffic {
    /// From the drive, or received by the port.
    pub inward: BytesPerSecond,
    /// To the drive, or sent by the port.
    pub outward: BytesPerSecond,
}

/// Drives that hold data together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pool {
    /// What the pool is known by: its UUID, else its name.
    pub key: String,
    /// The kernel's name for it, such as `md0`.
    pub name: String,
    /// Which software holds it together.
    pub kind: PoolKind,
    /// Its layout, such as `raid5`; empty when the pool is not running.
    pub level: String,
    /// What the kernel says of it as a whole.
    pub running: Reading<PoolRunning>,
    /// How many members a whole pool has; 0 when the pool is not running.
    pub wanted: u32,
    /// How many members the kernel misses; `None` for layouts that can miss none.
    pub missing: Option<u32>,
    /// The members that the kernel still lists.
    pub members: Vec<Member>,
    /// What the pool does besides its work.
    pub activity: Activity,
    /// Usable size.
    pub size: Reading<Bytes>,
}

/// Which software holds a pool together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum PoolKind {
    /// Linux md.
    Md,
}

/// Whether a pool serves its data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum PoolRunning {
    /// It serves reads, and writes unless it is read-only on purpose.
    Running,
    /// Its parts are known but it was not started (`inactive`, `clear`).
    Inactive,
    /// It can no longer serve what it holds (`broken`).
    Broken,
}

/// One member of a pool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// The kernel's name of the member, a drive or a partition, such as `sda1`.
    pub device: String,
    /// The kernel's name of the drive it is on, such as `sda`.
    pub drive_device: String,
    /// Its place in the layout, if it has one.
    pub slot: Option<u32>,
    /// What the pool thinks of it.
    pub state: MemberState,
    /// True when the block device itself is gone, whatever the pool thinks: md notices only at the next access.
    pub device_gone: bool,
}

/// What a pool thinks of a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum MemberState {
    /// Holds its share.
    Active,
    /// Waits to be needed.
    Spare,
    /// Is being filled.
    Rebuilding,
    /// Was thrown out.
    Faulty,
    /// The kernel's words fit none of these.
    Unknown,
}

/// What a pool does besides its work.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Activity {
    /// What is running.
    pub kind: ActivityKind,
    /// How far it has come, 0 to 1, when the kernel says.
    pub done: Option<f64>,
    /// How long it would take from here at the present speed.
    pub left: Option<Duration>,
}

impl Activity {
    /// Nothing is running.
    pub const IDLE: Self = Self { kind: ActivityKind::Idle, done: None, left: None };
}

/// Kinds of work on a pool's redundancy (Documentation/admin-guide/md.rst, `sync_action`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum ActivityKind {
    /// None.
    Idle,
    /// Everything is read again after an unclean stop.
    Resync,
    /// A member is being filled.
    Rebuild,
    /// Redundancy is compared.
    Check,
    /// Redundancy is compared and made equal.
    Repair,
    /// The layout is being changed.
    Reshape,
    /// Held still on purpose.
    Frozen,
}

/// A mounted file system with room in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Volume {
    /// Where it is mounted.
    pub mount: String,
    /// The file system's type.
    pub file_system: String,
    /// What is mounted.
    pub source: String,
    /// Its room.
    pub room: Reading<Room>,
}

/// Room in a file system, from statvfs(3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Room {
    /// Size.
    pub size: Bytes,
    /// What ordinary users can still fill.
    pub free: Bytes,
    /// What is filled.
    pub used: Bytes,
}

/// A fan with a tachometer or a fault line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fan {
    /// Chip and channel, such as `adt7475/fan1`: stable over restarts.
    pub key: String,
    /// What the driver calls it, else the key.
    pub label: String,
    /// Speed by the tachometer.
    pub speed: Reading<Rpm>,
    /// Drive level, 0 to 1, of the output with the same number, where there is one.
    pub duty: Option<f64>,
    /// The chip's own fault line.
    pub fault: bool,
}

/// A temperature that belongs to no drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Temperature {
    /// Chip and channel, or thermal zone.
    pub key: String,
    /// What the driver calls it, else the key.
    pub label: String,
    /// The value.
    pub value: Reading<Celsius>,
}

/// A voltage whose label says what it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rail {
    /// Chip and channel.
    pub key: String,
    /// The driver's label.
    pub label: String,
    /// The value.
    pub value: Reading<Volts>,
}

/// A network port made of hardware.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Link {
    /// The kernel's name, such as `eth0`.
    pub name: String,
    /// True when the port is switched on and sees its partner.
    pub up: Reading<bool>,
    /// Negotiated speed; missing while the port is down.
    pub speed: Reading<MegabitsPerSecond>,
    /// How often the link has come or gone since the driver was loaded (`carrier_changes`).
    pub changes: Option<u64>,
    /// Data moved per second since the reading before.
    pub traffic: Reading<Traffic>,
}

/// Something that could not be looked at as a whole.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Blind {
    /// What was to be looked at.
    pub what: String,
    /// Why it could not.
    pub why: Missing,
}
