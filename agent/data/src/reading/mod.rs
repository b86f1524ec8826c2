//! What sense hands on: plain data about one box at one time. No opinion in here, that is `verdict`.

mod attachment;
mod board;
mod controller;
mod drive;
mod event;
mod itself;
mod missing;
mod pool;
pub mod port;
mod self_test;
mod supply;
mod volume;

pub use attachment::*;
pub use board::*;
pub use controller::*;
pub use drive::*;
pub use event::*;
pub use itself::*;
pub use missing::*;
pub use pool::*;
pub use self_test::*;
pub use supply::*;
pub use volume::*;

use crate::clock::Moment;
use crate::units::{BytesPerSecond, Celsius, MegabitsPerSecond, Rpm};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Everything that was read of one box.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Snapshot {
    /// When the snapshot was put together; the readings in it may be older.
    pub taken: Moment,
    /// How long the machine was suspended in this boot so far. The boot clock counts on through it; drives may lose their
    /// power meanwhile and start again, which is no fault.
    pub suspended: Duration,
    /// The machine itself.
    pub board: Board,
    /// Physical drives, in the order of their ports.
    pub drives: Vec<Drive>,
    /// Drives that hold data together.
    pub pools: Vec<Pool>,
    /// Mounted file systems with room in them.
    pub volumes: Vec<Volume>,
    /// Mounts that show several folders as one.
    pub unions: Vec<Union>,
    /// File systems that should be mounted, by `/etc/fstab`, and are not.
    pub unmounted: Vec<Unmounted>,
    /// Fans with a tachometer or a fault line.
    pub fans: Vec<Fan>,
    /// Temperatures that belong to no drive.
    pub temperatures: Vec<Temperature>,
    /// Voltages whose label says what they are.
    pub rails: Vec<Rail>,
    /// Under-voltage alarms.
    pub undervoltages: Vec<Undervoltage>,
    /// What drives are plugged into.
    pub controllers: Vec<Controller>,
    /// Network ports made of hardware.
    pub links: Vec<Link>,
    /// What happened since the snapshot before, oldest first.
    pub events: Vec<Event>,
    /// What could not be looked at as a whole, such as a folder that refuses.
    pub blind: Vec<Blind>,
    /// Why the kernel's events are not received, if they should be and are not. No reading is missing then: what changes is
    /// noticed at the next round.
    pub events_unavailable: Option<Missing>,
    /// Why the kernel's log is not read, if it should be and is not. No reading is missing then either, only what the log
    /// tells of causes.
    pub kernel_log_unreadable: Option<Missing>,
}

impl Snapshot {
    /// True when a part of the box, such as `drives`, could not be looked at as a whole: what is not in the snapshot is then
    /// not taken for absent.
    pub fn is_blind_to(&self, list: &Listing) -> bool {
        self.blind.iter().any(|blind| blind.what == *list)
    }
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
    /// A file below `/proc`.
    Proc,
    /// The `sysinfo` crate.
    Sysinfo,
    /// The drive itself, by command.
    Drive,
    /// The software that holds a pool together: its own files, its tool, or the kernel by ioctl.
    Pool,
}

/// Data moved per second.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Traffic {
    /// From the drive, or received by the port.
    pub inward: BytesPerSecond,
    /// To the drive, or sent by the port.
    pub outward: BytesPerSecond,
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
    /// Where its maker or the firmware says that the end is: `tempN_crit`, or the critical trip point of a thermal zone.
    pub critical: Option<Celsius>,
    /// Which kind of processor it is of, if it is of one.
    pub processor: Option<Processor>,
}

/// Kinds of processor, by where they begin to slow themselves down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Processor {
    /// At its own critical temperature, which is its maker's choice: x86.
    X86,
    /// Well below the critical temperature, where its firmware says: those of single-board computers.
    SystemOnChip,
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

/// A list of parts that is read as a whole.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Listing {
    /// The drives.
    Drives,
    /// The sensor chips.
    Chips,
    /// The mounted volumes.
    Mounts,
    /// The network ports.
    Links,
    /// The controllers.
    Controllers,
    /// The arrays and mapped devices.
    Pools,
    /// The ZFS pools.
    ZfsPools,
    /// The btrfs file systems.
    BtrfsFileSystems,
    /// The members of a pool.
    Members {
        /// The name of the pool.
        pool: String,
    },
}

/// A list that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Blind {
    /// The list.
    pub what: Listing,
    /// Why it could not be read.
    pub why: Missing,
}
