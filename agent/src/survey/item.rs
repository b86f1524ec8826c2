//! The lines of the survey as facts, and what turns on what is missing.

use crate::reading::{Bus, DriveKind, Missing, PoolKind};
use crate::units::{Bytes, Celsius, MegabitsPerSecond, Rpm, Volts};
use serde::Serialize;
use std::path::PathBuf;

/// The three lists.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Survey {
    /// What is found and works.
    pub works: Vec<Works>,
    /// What is found, but gives less than it could.
    pub limited: Vec<Limited>,
    /// What is not found.
    pub not_found: Vec<NotFound>,
}

/// Something that works.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "id", rename_all = "kebab-case")]
pub enum Works {
    /// The machine.
    Board {
        /// What the firmware calls it; may be empty.
        model: String,
        /// The release of the kernel.
        kernel: String,
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
        level: String,
        /// How many members it has.
        members: usize,
    },
    /// A mounted file system.
    Volume {
        /// Where it is mounted.
        mount: String,
        /// Its size.
        size_bytes: Option<Bytes>,
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
    /// A voltage that has a meaning.
    Rail {
        /// Its name.
        name: String,
        /// Its value.
        volts: Volts,
    },
    /// A network port.
    Port {
        /// Its name.
        name: String,
        /// True while it has a link.
        is_up: Option<bool>,
        /// Its speed; `None` while it has no link, or where the driver does not state it.
        speed: Option<MegabitsPerSecond>,
    },
    /// A panel that answers, and is configured.
    Panel {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The adapter's name.
        adapter: String,
        /// The address in seven bits.
        address: u8,
    },
    /// Trays that have names.
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

/// A drive that is there.
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
    /// Temperature inside the drive.
    pub temperature_c: Option<Celsius>,
    /// Its health data can be read.
    pub has_health: bool,
    /// It sleeps, so it was not asked.
    pub is_asleep: bool,
}

/// Something that gives less than it could.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limited {
    /// What.
    #[serde(flatten)]
    pub what: Limit,
    /// What would help, if anything.
    pub remedy: Option<Remedy>,
    /// The commands or lines to enter for it; none where hands do it.
    pub commands: Vec<String>,
}

/// What gives less than it could, and how.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "id", rename_all = "kebab-case")]
pub enum Limit {
    /// Drives whose temperature is not read.
    NoTemperature {
        /// The drives' device names.
        drives: Vec<String>,
        /// Why.
        why: Missing,
    },
    /// Drives whose health is not read.
    NoHealth {
        /// The drives' device names.
        drives: Vec<String>,
        /// Why.
        why: Missing,
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
        why: Missing,
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
        why: Missing,
    },
    /// A panel that answers and is not configured.
    UnusedPanel {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The adapter's name.
        adapter: String,
        /// The address in seven bits.
        address: u8,
    },
    /// An address that a driver of the kernel has taken.
    TakenAddress {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The address in seven bits.
        address: u8,
    },
    /// A bus that may not be used.
    ClosedBus {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The adapter's name.
        adapter: String,
    },
    /// A bus that failed.
    FailedBus {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// The address in seven bits.
        address: u8,
        /// What the bus answered.
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

/// Something that is not here.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NotFound {
    /// What.
    #[serde(flatten)]
    pub what: Absence,
    /// What turns it on, if anything does.
    pub remedy: Option<Remedy>,
    /// The commands or lines to enter for it; none where hands do it.
    pub commands: Vec<String>,
}

/// What is not here.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "id", rename_all = "kebab-case")]
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
    /// No panel answered.
    Panel {
        /// The buses and addresses that were tried.
        tried: Vec<(String, u8)>,
    },
    /// The trays have no names.
    Trays,
    /// Alerts go to the log alone.
    Channels,
    /// No agent runs.
    Agent,
}

/// What turns something on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "id", rename_all = "kebab-case")]
pub enum Remedy {
    /// Load a module of the kernel, now and at every start.
    LoadModule {
        /// The module's name.
        module: &'static str,
    },
    /// Let the service ask drives.
    AskDrives,
    /// Call this as root.
    AsRoot,
    /// Move the drive from its USB adapter to a SATA port.
    SataPort,
    /// Install ZFS's tool.
    InstallZpool,
    /// A fan with a third wire.
    ThirdWire,
    /// A sensor with a labelled input.
    Sensor,
    /// Install and start the service.
    Install,
    /// Start the service.
    Start,
    /// Turn I2C on in the board's boot configuration.
    TurnOnI2c {
        /// The file.
        file: PathBuf,
    },
    /// An adapter from USB to I2C.
    UsbAdapter,
    /// Join the group that may use the bus.
    JoinGroup {
        /// The group's name.
        group: String,
        /// Who joins.
        user: String,
    },
    /// Give the bus to a group.
    OpenBus,
    /// Look for a panel on this bus, too.
    TryBus {
        /// The bus's device, such as `i2c-1`.
        bus: String,
    },
    /// Unload or unbind the driver that has the address.
    FreeAddress,
    /// Check the wires.
    CheckWires,
    /// Write this into the configuration.
    Configure {
        /// The lines.
        lines: String,
    },
}

impl Remedy {
    /// The commands or lines to enter, one a line; none where hands do it.
    pub fn commands(&self) -> Vec<String> {
        match self {
            Self::LoadModule { module } => vec![
                format!("echo {module} | sudo tee /etc/modules-load.d/{module}.conf"),
                format!("sudo modprobe {module}"),
            ],
            Self::AskDrives => vec![
                "sudo install -D -m 644 systemd/ask-drives.conf /etc/systemd/system/traylight.service.d/ask-drives.conf"
                    .to_owned(),
                "sudo systemctl daemon-reload".to_owned(),
                "sudo systemctl restart traylight".to_owned(),
            ],
            Self::AsRoot => vec!["sudo traylight survey".to_owned()],
            Self::InstallZpool => vec!["sudo apt install zfsutils-linux".to_owned()],
            Self::Start => vec!["sudo systemctl enable --now traylight".to_owned()],
            // A file of several parts may end in one that is for another board: [all] ends it.
            Self::TurnOnI2c { file } => vec![
                format!("printf '[all]\\ndtparam=i2c_arm=on\\n' | sudo tee -a {}", file.display()),
                "sudo reboot".to_owned(),
            ],
            Self::JoinGroup { group, user } => vec![format!("sudo usermod -aG {group} {user}")],
            Self::OpenBus => vec![
                "sudo groupadd --system --force i2c".to_owned(),
                r#"echo 'KERNEL=="i2c-[0-9]*", GROUP="i2c", MODE="0660"' | sudo tee /etc/udev/rules.d/61-traylight-i2c.rules"#
                    .to_owned(),
                "sudo udevadm control --reload && sudo udevadm trigger --subsystem-match=i2c-dev".to_owned(),
            ],
            Self::TryBus { bus } => vec![format!("traylight survey --bus {bus}")],
            Self::Configure { lines } => lines.lines().map(str::to_owned).collect(),
            Self::SataPort | Self::ThirdWire | Self::Sensor | Self::Install | Self::UsbAdapter => Vec::new(),
            Self::FreeAddress | Self::CheckWires => Vec::new(),
        }
    }
}
