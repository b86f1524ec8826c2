//! What the survey reads of the system beside its readings: the board's buses, kernel modules, tools, rights, and what of
//! traylight is installed. Only files are read; nothing is sent to anything.

#![allow(clippy::disallowed_methods, reason = "the system's files are read here, at the survey's edge")]

use super::buses::{BusPurpose, bus_purpose};
use crate::sense::host::Host;
use crate::sense::parse::plain;
use crate::show::panel::{ListedBus, listed_buses};
use rustix::fs::{Access, access};
use rustix::process::geteuid;
use rustix::thread::{CapabilitySet, capabilities};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// What was found around the readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surroundings {
    /// What this process may do; `None` for a recorded tree, which has no user.
    pub rights: Option<Rights>,
    /// The kernel's module for temperatures of SATA drives (Documentation/hwmon/drivetemp.rst).
    pub drivetemp: KernelModule,
    /// The kernel's module that lets programs use I2C buses (Documentation/i2c/dev-interface.rst).
    pub i2c_dev: KernelModule,
    /// The buses that programs may use.
    pub buses: Vec<I2cBus>,
    /// The file of the boot configuration in which I2C is enabled, on boards that have such a file.
    pub boot_file: Option<PathBuf>,
    /// Packages are installed by apt: Debian or one of its descendants.
    pub has_apt: bool,
    /// Outputs that can drive a fan whose speed is not read: chip and channel.
    pub uncounted_fans: Vec<String>,
    /// Voltages that no label explains: chip and channel.
    pub unlabelled_voltages: Vec<String>,
    /// The service of this program.
    pub service: Service,
}

/// Whether the kernel has a module.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum KernelModule {
    /// It is loaded, or built in.
    Loaded,
    /// It is there, and not loaded.
    Available,
    /// This kernel comes without it.
    #[default]
    Absent,
}

/// What this process may do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rights {
    /// The user's name, else its number.
    pub user: String,
    /// It may send commands to SATA and SCSI drives (CAP_SYS_RAWIO).
    pub asks_sata: bool,
    /// It may read the logs of NVMe drives (CAP_SYS_ADMIN).
    pub asks_nvme: bool,
}

/// An I2C bus.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct I2cBus {
    /// Its device, such as `i2c-1`. The number may be another after the next start.
    pub device: String,
    /// Its adapter's name.
    pub adapter: String,
    /// What it is wired to.
    pub purpose: BusPurpose,
    /// Whether this process may use it; if not, the group that may, where there is one.
    pub access: Result<(), Option<String>>,
    /// Addresses that a driver of the kernel has taken, of those that panels have.
    pub taken: Vec<u8>,
}

/// What is installed of the service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Service {
    /// Its unit is there.
    pub is_installed: bool,
    /// It may query drives: the drop-in is there.
    pub asks_drives: bool,
    /// An agent responds.
    pub is_running: bool,
}

/// The addresses that panels have.
pub const PANEL_ADDRESSES: [u8; 2] = [0x3C, 0x3D];

/// Where units of services are (systemd.unit(5)).
const UNITS: [&str; 3] = ["/etc/systemd/system", "/usr/lib/systemd/system", "/lib/systemd/system"];

/// Reads what surrounds the readings.
pub fn surroundings(host: &Host, is_running: bool) -> Surroundings {
    let is_there = |path: String| host.exists(&host.path(&path));
    let unit = |name: &str| UNITS.iter().any(|folder| is_there(format!("{folder}/{name}")));
    Surroundings {
        rights: host.is_live().then(|| rights(host)),
        drivetemp: module(host, "drivetemp"),
        i2c_dev: module(host, "i2c-dev"),
        buses: buses(host),
        // Newer systems have it below `firmware` (from memory).
        boot_file: ["/boot/firmware/config.txt", "/boot/config.txt"]
            .into_iter()
            .map(PathBuf::from)
            .find(|file| host.exists(&host.path(&file.display().to_string()))),
        has_apt: has_apt(host),
        uncounted_fans: channels(host, ("pwm", ""), ("fan", "_input")),
        unlabelled_voltages: channels(host, ("in", "_input"), ("in", "_label")),
        service: Service {
            is_installed: unit("traylight.service"),
            asks_drives: unit("traylight.service.d/ask-drives.conf"),
            is_running,
        },
    }
}

fn rights(host: &Host) -> Rights {
    let held = capabilities(None).map_or(CapabilitySet::empty(), |sets| sets.effective);
    let number = geteuid();
    let users = text(host, "/etc/passwd");
    Rights {
        user: named(&users, number.as_raw()).unwrap_or_else(|| number.as_raw().to_string()),
        asks_sata: held.contains(CapabilitySet::SYS_RAWIO),
        asks_nvme: held.contains(CapabilitySet::SYS_ADMIN),
    }
}

fn text(host: &Host, path: &str) -> String {
    String::from_utf8_lossy(&host.table(&host.path(path)).unwrap_or_default()).into_owned()
}

/// The name of a user or a group in its table (passwd(5), group(5)).
fn named(table: &str, number: u32) -> Option<String> {
    let number = number.to_string();
    let mut lines = table.lines().map(|line| line.split(':').collect::<Vec<_>>());
    lines.find(|fields| fields.get(2) == Some(&&*number)).map(|fields| fields[0].to_owned())
}

/// Modules that are loaded, or built in with parameters, have a folder; what is on disk is listed by its file
/// (modules.dep(5)). Names of files have dashes where the kernel has underscores.
fn module(host: &Host, name: &str) -> KernelModule {
    let folder = format!("/sys/module/{}", name.replace('-', "_"));
    if host.exists(&host.path(&folder)) {
        return KernelModule::Loaded;
    }
    let release = host.attribute(&host.path("/proc/sys/kernel/osrelease")).unwrap_or_default();
    let listed = |list: &str| {
        text(host, &format!("/lib/modules/{}/{list}", release.trim())).lines().any(|line| {
            let file = line.split(':').next().unwrap_or_default().rsplit('/').next().unwrap_or_default();
            file.split('.').next().is_some_and(|stem| stem.replace('_', "-") == name)
        })
    };
    if listed("modules.builtin") {
        KernelModule::Loaded
    } else if listed("modules.dep") {
        KernelModule::Available
    } else {
        KernelModule::Absent
    }
}

/// What the system calls itself and what it is like (os-release(5)).
fn has_apt(host: &Host) -> bool {
    let release = text(host, "/etc/os-release");
    let named = release.lines().filter_map(|line| line.strip_prefix("ID=").or_else(|| line.strip_prefix("ID_LIKE=")));
    named.flat_map(|names| names.trim_matches(['"', '\'']).split(' ')).any(|name| ["debian", "ubuntu"].contains(&name))
}

fn buses(host: &Host) -> Vec<I2cBus> {
    let compatible = tree_text(host, &host.path("/proc/device-tree/compatible"));
    listed_buses(&host.path("/sys/class/i2c-dev"))
        .into_iter()
        .map(|ListedBus { device, adapter }| {
            // A driver names the adapter: the text is from a device.
            let adapter = plain::device_text(&adapter).unwrap_or_default();
            let purpose = bus_purpose(&adapter, &compatible, &alias(host, &device).unwrap_or_default());
            let number = device.trim_start_matches("i2c-");
            let driver =
                |address: &u8| host.exists(&host.path(&format!("/sys/bus/i2c/devices/{number}-{address:04x}/driver")));
            let taken = PANEL_ADDRESSES.into_iter().filter(driver).collect();
            I2cBus { access: may_use(host, &device), device, adapter, purpose, taken }
        })
        .collect()
}

/// The device tree's name for a bus: the alias whose value is the bus's place in the tree (Devicetree Specification, 3.3).
fn alias(host: &Host, device: &str) -> Option<String> {
    let node = host.resolve(&host.path(&format!("/sys/class/i2c-dev/{device}/device/of_node"))).ok()?;
    let aliases = host.path("/proc/device-tree/aliases");
    let mut names = host.list(&aliases).ok()?.into_iter().filter(|name| name.starts_with("i2c"));
    let is_it = |name: &String| {
        let place = tree_text(host, &aliases.join(name));
        !place.is_empty() && node.ends_with(place.trim_start_matches('/'))
    };
    names.find(is_it)
}

/// The first text of a property of the device tree; each ends in a zero byte.
fn tree_text(host: &Host, path: &Path) -> String {
    let bytes = host.table(path).unwrap_or_default();
    String::from_utf8_lossy(bytes.split(|byte| *byte == 0).next().unwrap_or_default()).into_owned()
}

fn may_use(host: &Host, device: &str) -> Result<(), Option<String>> {
    let node = host.path(&format!("/dev/{device}"));
    if !host.is_live() || access(&node, Access::READ_OK | Access::WRITE_OK).is_ok() {
        return Ok(());
    }
    let group = std::fs::metadata(&node).ok().map(|node| node.gid()).filter(|group| *group != 0);
    let groups = text(host, "/etc/group");
    Err(group.and_then(|group| named(&groups, group)))
}

/// Channels of sensor chips that have one file and not another, as chip and channel. Files are named by what stands before
/// and behind the channel's number.
fn channels(host: &Host, (kind, end): (&str, &str), without: (&str, &str)) -> Vec<String> {
    let folder = host.path("/sys/class/hwmon");
    let of_chip = |name: String| {
        let chip = folder.join(name);
        let mut files = host.list(&chip).ok()?;
        files.sort();
        let numbers = files.iter().filter_map(|file| file.strip_prefix(kind)?.strip_suffix(end)?.parse::<u32>().ok());
        let lone = numbers.filter(|number| !files.contains(&format!("{}{number}{}", without.0, without.1)));
        let chip = host.device_text(&chip.join("name")).unwrap_or_default();
        Some(lone.map(|number| format!("{chip}/{kind}{number}")).collect::<Vec<_>>())
    };
    host.list(&folder).unwrap_or_default().into_iter().filter_map(of_chip).flatten().collect()
}
