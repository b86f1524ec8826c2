//! The machine itself as read: name, load, what the kernel counts of its troubles, and the disk that the system is on.

use super::Reading;
use crate::units::Bytes;
use serde::{Deserialize, Serialize};

/// The machine itself.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Board {
    /// The host's name.
    pub name: String,
    /// What the maker calls the board; empty when nobody says.
    pub model: String,
    /// True for a recorded tree: what only a running machine has, such as its uptime, is missing.
    pub is_recorded: bool,
    /// The kernel's release.
    pub kernel: String,
    /// The address people reach the box at: the first that is not a loopback or link-local one.
    pub address: Option<String>,
    /// Load, memory and processor count; `None` until first asked.
    pub load: Option<Reading<Load>>,
    /// How many processes the kernel ended since the start of the machine for want of memory (`oom_kill` in
    /// `/proc/vmstat`); `None` until first asked.
    pub out_of_memory: Option<Reading<u64>>,
    /// Whether the processor slows itself down for heat; `None` until first asked.
    pub throttling: Option<Reading<Throttling>>,
    /// The disk that `/` is on; `None` until first asked.
    pub system_disk: Option<Reading<SystemDisk>>,
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

/// What the kernel knows of a processor that slows itself down for heat. At least one of the two is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Throttling {
    /// How often the cores did since the start of the machine, added up (x86, `thermal_throttle/core_throttle_count`,
    /// Linux arch/x86/kernel/cpu/mce/therm_throt.c).
    pub count: Option<u64>,
    /// True while a thermal zone holds a processor back (`cooling_device*/cur_state` above 0 of a `Processor` or
    /// `cpufreq-…`, Documentation/ABI/testing/sysfs-class-thermal).
    pub held_back: Option<bool>,
}

/// The disk that the system runs from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SystemDisk {
    /// The kernel's name, such as `mmcblk0`.
    pub device: String,
    /// What it is.
    pub kind: SystemDiskKind,
    /// What was written to it since it appeared.
    pub written: Bytes,
}

/// What the system runs from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SystemDiskKind {
    /// A card, `mmcblk` of the type `SD`.
    SdCard,
    /// Flash on the board, `mmcblk` of the type `MMC`.
    Emmc,
    /// Something behind USB.
    Usb,
    /// Any other disk.
    Disk,
}
