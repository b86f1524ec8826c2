//! The lines of the survey as facts. A variant's id names its words, its fields are their places.

use super::remedy::Remedy;
use crate::reading::{Bus, DriveKind, Missing, PoolKind, Power};
use crate::serve::part::Reasons;
use crate::units::{Bytes, Celsius, MegabitsPerSecond, Rpm, Volts};
use serde::{Serialize, Serializer};
use strum::{IntoStaticStr, VariantNames};

/// The version of the lists as JSON.
pub const SCHEMA: u32 = 1;

/// The three lists.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Survey {
    /// The version of this document.
    pub schema: u32,
    /// What is found.
    pub found: Vec<FoundPart>,
    /// What is found, but gives less than it could.
    pub limited: Vec<Item<Limitation>>,
    /// What is not found.
    pub not_found: Vec<Item<Absence>>,
}

impl Survey {
    pub(super) fn limit(&mut self, what: Limitation, remedy: Option<Remedy>) {
        self.limited.push(Item { what, remedy });
    }

    pub(super) fn lacks(&mut self, what: Absence, remedy: Option<Remedy>) {
        self.not_found.push(Item { what, remedy });
    }
}

/// A line about something that is limited or missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Item<T> {
    /// What.
    pub what: T,
    /// What would help, if anything.
    pub remedy: Option<Remedy>,
}

impl<T: Serialize> Serialize for Item<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Line<'a, T> {
            #[serde(flatten)]
            what: &'a T,
            remedy: Option<&'a Remedy>,
            enter: Vec<String>,
        }
        let enter = self.remedy.as_ref().map(Remedy::to_enter).unwrap_or_default();
        Line { what: &self.what, remedy: self.remedy.as_ref(), enter }.serialize(serializer)
    }
}

/// Something that is found.
#[derive(Debug, Clone, PartialEq, Serialize, IntoStaticStr, VariantNames)]
#[serde(tag = "id", rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
pub enum FoundPart {
    /// The machine.
    Board {
        /// What the firmware calls it.
        model: Option<String>,
        /// The release of the kernel.
        kernel: String,
        /// Why a value is `null`.
        missing: Reasons,
    },
    /// A drive.
    Drive(FoundDrive),
    /// A pool.
    Pool {
        /// Its name.
        name: String,
        /// What holds it together.
        kind: PoolKind,
        /// How its members hold the data, such as `raid5`.
        level: Option<String>,
        /// How many drives or partitions it consists of.
        members: usize,
        /// Why a value is `null`.
        missing: Reasons,
    },
    /// A mounted file system.
    Volume {
        /// Where it is mounted.
        mount: String,
        /// Its size.
        size_bytes: Bytes,
    },
    /// A fan with its speed.
    Fan {
        /// Its name.
        name: String,
        /// Its speed.
        speed_rpm: Rpm,
    },
    /// A temperature that belongs to no drive.
    Temperature {
        /// Its name.
        name: String,
        /// Its value.
        temperature_c: Celsius,
    },
    /// A voltage whose label names its supply rail.
    Rail {
        /// Its name.
        name: String,
        /// Its value.
        potential_v: Volts,
    },
    /// A network port that has a speed or no link.
    Port {
        /// Its name.
        name: String,
        /// True while it has a link.
        up: bool,
        /// Its speed.
        speed_mbit_per_s: Option<MegabitsPerSecond>,
        /// Why a value is `null`.
        missing: Reasons,
    },
    /// A panel that responds, and is configured.
    Panel {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The adapter's name.
        adapter: String,
        /// The address in seven bits.
        address: u8,
    },
    /// Trays that have labels.
    Trays {
        /// How many.
        count: usize,
    },
    /// Channels that alerts go to.
    Channels {
        /// How many.
        count: usize,
    },
    /// The running agent.
    Agent,
}

/// A drive.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FoundDrive {
    /// The kernel's name for it now.
    pub device: String,
    /// The maker's model name.
    pub model: Option<String>,
    /// The serial as printed on its label.
    pub serial: Option<String>,
    /// How it is attached.
    pub bus: Bus,
    /// Hard disk or SSD.
    pub kind: DriveKind,
    /// Capacity.
    pub size_bytes: Option<Bytes>,
    /// Whether it sleeps.
    pub power: Option<Power>,
    /// Temperature inside the drive.
    pub temperature_c: Option<Celsius>,
    /// Its health data can be read.
    pub health_readable: Option<bool>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// What gives less than it could, and how.
#[derive(Debug, Clone, PartialEq, Serialize, IntoStaticStr, VariantNames)]
#[serde(tag = "id", rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
pub enum Limitation {
    /// Drives whose temperature is not read.
    NoTemperature {
        /// The drives' device names.
        drives: Vec<String>,
        /// Why.
        missing: Missing,
    },
    /// Drives whose health is not read.
    NoHealth {
        /// The drives' device names.
        drives: Vec<String>,
        /// Why.
        missing: Missing,
    },
    /// Drives that are known by their place alone: without a serial, or with one that another drive has as well.
    WeakIdentity {
        /// The drives' device names.
        drives: Vec<String>,
    },
    /// A pool of which something cannot be read.
    Pool {
        /// Its name.
        name: String,
        /// Why.
        missing: Missing,
    },
    /// A file system whose size is not read.
    Volume {
        /// Where it is mounted.
        mount: String,
        /// Why.
        missing: Missing,
    },
    /// A network port whose link or speed is not read.
    Port {
        /// Its name.
        name: String,
        /// Why.
        missing: Missing,
    },
    /// ZFS without the tool that lists its members.
    NoZpool,
    /// Outputs that drive fans whose speed nothing counts.
    UncountedFans {
        /// Chip and channel of each.
        outputs: Vec<String>,
    },
    /// Voltages without a label.
    UnlabelledVoltages {
        /// Chip and channel of each.
        inputs: Vec<String>,
    },
    /// The kernel log, which has causes that are nowhere else.
    NoKernelLog {
        /// Why.
        missing: Missing,
    },
    /// Something that responds at the address of a panel and is not configured.
    UnusedPanel {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The adapter's name.
        adapter: String,
        /// The address in seven bits.
        address: u8,
    },
    /// An address that a kernel driver uses.
    TakenAddress {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The address in seven bits.
        address: u8,
    },
    /// Buses for a panel that this user may not use.
    ClosedBuses {
        /// The buses.
        buses: Vec<BusName>,
    },
    /// A bus that failed.
    FailedBus {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The address in seven bits.
        address: u8,
        /// How it failed.
        found: String,
    },
    /// A bus on which no panel was looked for.
    UntriedBus {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The adapter's name.
        adapter: String,
    },
}

/// What is not here.
#[derive(Debug, Clone, PartialEq, Serialize, IntoStaticStr, VariantNames)]
#[serde(tag = "id", rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
pub enum Absence {
    /// No drive.
    Drives,
    /// No pool.
    Pools,
    /// No fan with a speed.
    Fans,
    /// Nothing measures the 12 V rail.
    TwelveVolts,
    /// No panel, and no bus for one.
    PanelBus,
    /// No panel responded.
    Panel {
        /// The buses and addresses that were tried.
        tried: Vec<TriedAddress>,
    },
    /// The trays have no labels.
    Trays,
    /// Alerts go to the log alone.
    Channels,
    /// No agent runs.
    Agent,
}

/// A bus by its names.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BusName {
    /// Its device, such as `i2c-1`.
    pub bus: String,
    /// Its adapter's name.
    pub adapter: String,
}

/// An address that was tried.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TriedAddress {
    /// The bus's device, such as `i2c-1`.
    pub bus: String,
    /// The address in seven bits.
    pub address: u8,
}
