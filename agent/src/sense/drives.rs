//! Drives: which there are, who they are, where they are plugged, how much they moved. Files only: nothing here sends
//! a command to a drive, except [`temperature`], which the kernel turns into one.

use super::host::{Host, is_numbered, parts};
use super::parse::quirks::{Bridge, is_weak_serial};
use super::parse::{plain, scsi, sysfs};
use crate::clock::Moment;
use crate::reading::{Bus, DriveKey, DriveKind, Missing, OwnLimits, Reading, Source};
use crate::units::{Bytes, Celsius};
use std::path::{Path, PathBuf};

/// A drive seen in `/sys/block`, not yet asked anything.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedDrive {
    /// The kernel's name now.
    pub device: String,
    /// Its folder in sysfs, links followed.
    path: PathBuf,
    /// The kernel's number of this appearance (`diskseq`); 0 on kernels that do not count.
    pub instance: u64,
}

impl ListedDrive {
    /// Its folder in sysfs, links followed.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// Who a drive is and where it is plugged. None of it changes while the drive stays.
#[derive(Debug, Clone, PartialEq)]
pub struct DriveIdentity {
    /// What the drive is known by.
    pub key: DriveKey,
    /// Serial, as printed on the label.
    pub serial: Option<String>,
    /// True when the serial is the drive's own word; a USB bridge may have put its own in its place.
    pub serial_is_its_own: bool,
    /// World wide name, hexadecimal.
    pub wwn: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// How it is attached.
    pub bus: Bus,
    /// What turns inside.
    pub kind: DriveKind,
    /// Where it is plugged.
    pub port: Option<String>,
    /// Meant to be taken away.
    pub removable: bool,
    /// Capacity.
    pub size: Reading<Bytes>,
    /// The drive's own limits; the kernel keeps them from when it bound the driver.
    pub own_limits: OwnLimits,
    /// The folder of the hardware monitoring chip that stands for the drive, if its driver is loaded.
    pub thermometer: Option<PathBuf>,
}

/// The physical drives, in the order of the kernel's names. Left out is what holds no data of its own: loop, RAM,
/// compressed RAM, device mapper and md devices, optical drives, and readers without a card.
pub fn spot(host: &Host) -> Result<Vec<ListedDrive>, Missing> {
    let folder = host.path("/sys/block");
    let spotted = host.list(&folder)?.into_iter().filter_map(|device| spot_one(host, &folder, device));
    Ok(spotted.collect())
}

fn spot_one(host: &Host, folder: &Path, device: String) -> Option<ListedDrive> {
    const NOT_A_DRIVE: [&str; 8] = ["loop", "ram", "zram", "dm-", "md", "sr", "nbd", "fd"];
    // The boot and replay-protected areas of soldered flash are parts of a drive that is listed itself.
    let is_flash_area = device.starts_with("mmcblk") && (device.contains("boot") || device.contains("rpmb"));
    if is_flash_area || NOT_A_DRIVE.iter().any(|prefix| device.starts_with(prefix)) {
        return None;
    }
    let link = folder.join(&device);
    let mut path = host.resolve(&link).ok()?;
    if path.starts_with("/devices/virtual") || path.starts_with("/sys/devices/virtual") {
        path = nvme_controller(host, &link)?.join(&device);
    } else if !host.exists(&link.join("device")) {
        return None;
    }
    let count = |name: &str| host.ask(&link.join(name), plain::whole).ok();
    if count("removable") == Some(1) && count("size") == Some(0) {
        return None;
    }
    Some(ListedDrive { instance: count("diskseq").unwrap_or(0), device, path })
}

/// With multipath in the kernel an NVMe disk hangs below its subsystem; the place is that of the first controller.
fn nvme_controller(host: &Host, link: &Path) -> Option<PathBuf> {
    let subsystem = link.join("device");
    let controller = host.list(&subsystem).ok()?.into_iter().find(|name| is_numbered(name, "nvme"))?;
    host.resolve(&subsystem.join(controller)).ok()
}

/// Who the drive is, from sysfs and the udev database.
pub fn identify(host: &Host, drive: &ListedDrive, now: Moment) -> DriveIdentity {
    let folder = host.path("/sys/block").join(&drive.device);
    let names: Vec<&str> = parts(&drive.path).collect();
    let text = |name: &str| host.device_text(&folder.join(name));
    let udev = udev_properties(host, &folder);
    let bus = bus(&names, udev.bus.as_deref());

    let serial = udev
        .serial
        .or_else(|| vital_serial(host, &folder))
        .or_else(|| text("device/serial"))
        .or_else(|| text("serial"));
    let wwn = udev
        .wwn
        .or_else(|| text("device/wwid").and_then(|id| world_wide_name(&id)))
        .or_else(|| text("wwid").and_then(|id| world_wide_name(&id)))
        .or_else(|| vital_name(host, &folder));
    let port = sysfs::place::place(&names, ata(host, &names));
    let key = serial
        .clone()
        .filter(|serial| !is_weak_serial(serial))
        .or_else(|| wwn.clone())
        .or_else(|| port.clone())
        .unwrap_or_else(|| drive.device.clone());
    let thermometer = thermometer(host, &folder, &drive.path);
    let limit =
        |name: &str| thermometer.as_ref().and_then(|chip| host.ask(&chip.join(name), sysfs::hwmon::drive_limit).ok());

    DriveIdentity {
        key: DriveKey(key),
        serial,
        // udev's `ata` says that it has asked the drive behind the bridge by IDENTIFY DEVICE.
        serial_is_its_own: bus != Bus::Usb || udev.bus.as_deref() == Some("ata"),
        wwn,
        model: udev.model.or_else(|| text("device/model")).or_else(|| text("device/name")),
        bus,
        kind: kind(bus, host.ask(&folder.join("queue/rotational"), plain::switch).ok()),
        port,
        removable: host.ask(&folder.join("removable"), plain::switch).unwrap_or(false),
        size: Reading::new(host.ask(&folder.join("size"), plain::whole).map(Bytes::from_sectors), now, Source::Sysfs),
        own_limits: OwnLimits { maximum: limit("temp1_max"), critical: limit("temp1_crit") },
        thermometer,
    }
}

/// The names by which lines of the kernel's log mean the drive: of its disk, its SCSI address and host, its SATA port and
/// the device on it, its NVMe controller, its card's host.
pub fn names_of(drive: &ListedDrive) -> Vec<String> {
    let path: Vec<&str> = parts(&drive.path).collect();
    let mut names = vec![drive.device.clone()];
    let address = path.iter().rev().find_map(|part| Some((*part, sysfs::place::scsi_address(part)?)));
    if let Some((address, [channel, target, _])) = address {
        names.push(address.to_owned());
        names.extend(address.split(':').next().map(|host| format!("host{host}")));
        // Behind a multiplier the device's number is the channel, else the target (ata_scsi_find_dev in libata-scsi.c).
        names.extend(sysfs::place::ata_port(&path).map(|port| format!("{port}.{}", channel + target)));
    }
    names.extend(sysfs::place::ata_port(&path).map(str::to_owned));
    names.extend(
        path.iter().filter(|part| is_numbered(part, "nvme") || is_numbered(part, "mmc")).map(|&part| part.to_owned()),
    );
    names
}

/// What the drive moved since it appeared. Never wakes it: the kernel counts in memory.
pub fn counters(host: &Host, device: &str) -> Result<sysfs::block::Stat, Missing> {
    host.ask(&host.path("/sys/block").join(device).join("stat"), sysfs::block::stat)
}

/// True when the kernel itself has put the drive to sleep; asking it anything would start it.
pub fn is_suspended(host: &Host, device: &str) -> bool {
    let status = host.path("/sys/block").join(device).join("device/power/runtime_status");
    host.attribute(&status).is_ok_and(|text| text.trim() == "suspended")
}

/// The USB bridge before a drive, if there is one.
pub fn bridge(host: &Host, drive: &ListedDrive) -> Option<Bridge> {
    // The innermost USB device on the path, such as `2-1.4`, and its interface, such as `2-1.4:1.0`.
    let interface = parts(&drive.path).rfind(|name| name.contains('-') && name.contains(':') && name.contains('.'))?;
    let device = host.path("/sys/bus/usb/devices").join(interface.split(':').next()?);
    let id = |file: &str| u16::from_str_radix(host.attribute(&device.join(file)).ok()?.trim(), 16).ok();
    let driver = host.resolve(&host.path("/sys/bus/usb/devices").join(interface).join("driver"));
    let by_uas = driver.is_ok_and(|driver| parts(&driver).next_back() == Some("uas"));
    Some(Bridge { vendor: id("idVendor")?, product: id("idProduct")?, by_uas })
}

/// How many requests the drive has been given and has not finished.
pub fn in_flight(host: &Host, device: &str) -> Result<u64, Missing> {
    host.ask(&host.path("/sys/block").join(device).join("inflight"), sysfs::block::in_flight)
}

/// The temperature inside a drive that may state its own critical one. The kernel sends the drive a command for it and
/// waits for the answer, so ask only a drive that is awake, and from a thread that may be lost.
pub fn temperature(host: &Host, thermometer: &Path, critical: Option<Celsius>) -> Result<Celsius, Missing> {
    host.ask(&thermometer.join("temp1_input"), |text| sysfs::hwmon::drive_temperature(text, critical))
}

fn udev_properties(host: &Host, folder: &Path) -> sysfs::udev::Properties {
    host.attribute(&folder.join("dev"))
        .ok()
        .and_then(|number| host.table(&host.path("/run/udev/data").join(format!("b{}", number.trim()))).ok())
        .map(|entry| sysfs::udev::properties(&String::from_utf8_lossy(&entry)))
        .unwrap_or_default()
}

/// The serial from the drive's vital product data page 80h as the kernel keeps it.
fn vital_serial(host: &Host, folder: &Path) -> Option<String> {
    scsi::vpd::serial(&host.table(&folder.join("device/vpd_pg80")).ok()?).ok()?
}

/// The name from page 83h, in the same way.
fn vital_name(host: &Host, folder: &Path) -> Option<String> {
    let name = scsi::vpd::world_wide_name(&host.table(&folder.join("device/vpd_pg83")).ok()?).ok()??;
    Some(format!("{name:016x}"))
}

/// `naa.5000c500…` and `eui.…` are world wide names; other forms are made up from model and serial.
fn world_wide_name(id: &str) -> Option<String> {
    let digits = id.strip_prefix("naa.").or_else(|| id.strip_prefix("eui."))?;
    digits.bytes().all(|byte| byte.is_ascii_hexdigit()).then(|| digits.to_lowercase())
}

fn ata(host: &Host, names: &[&str]) -> sysfs::place::AtaPort {
    let Some(port) = sysfs::place::ata_port(names) else { return sysfs::place::AtaPort::default() };
    let folder = host.path("/sys/class/ata_port").join(port);
    let number = |name: &str| host.ask(&folder.join(name), plain::whole).ok();
    sysfs::place::AtaPort {
        port_no: number("port_no"),
        multiplied: number("nr_pmp_links").is_some_and(|links| links > 0),
    }
}

fn bus(names: &[&str], udev: Option<&str>) -> Bus {
    let any = |prefix: &str| names.iter().any(|name| name.starts_with(prefix));
    if any("usb") {
        Bus::Usb
    } else if sysfs::place::ata_port(names).is_some() {
        Bus::Sata
    } else if any("nvme") {
        Bus::Nvme
    } else if any("mmc") {
        Bus::Mmc
    } else if any("target") || udev == Some("scsi") {
        Bus::Scsi
    } else if any("virtio") {
        Bus::Virtio
    } else {
        Bus::Other
    }
}

/// Many USB bridges and virtual disks claim to turn; there a claim of turning means nothing.
fn kind(bus: Bus, rotational: Option<bool>) -> DriveKind {
    match (bus, rotational) {
        (Bus::Nvme | Bus::Mmc, _) | (_, Some(false)) => DriveKind::Ssd,
        (Bus::Usb | Bus::Virtio, Some(true)) | (_, None) => DriveKind::Unknown,
        (_, Some(true)) => DriveKind::Hdd,
    }
}

/// The `drivetemp` chip hangs in a folder `hwmon` below the SCSI device, the `nvme` chip directly below its controller.
fn thermometer(host: &Host, folder: &Path, path: &Path) -> Option<PathBuf> {
    let device = folder.join("device");
    let controller = path.parent().map(|parent| host.path(&parent.to_string_lossy()));
    [Some(device.join("hwmon")), Some(device), controller].into_iter().flatten().find_map(|below| {
        let chip =
            host.list(&below).ok()?.into_iter().find(|name| name.starts_with("hwmon") && name.len() > "hwmon".len())?;
        let chip = below.join(chip);
        let name = host.attribute(&chip.join("name")).ok()?;
        matches!(name.trim(), "drivetemp" | "nvme").then_some(chip)
    })
}

/// Gives drives that claim the same serial (some USB bridges do) their place as key: two drives never share one.
pub fn tell_apart(identities: &mut [&mut DriveIdentity]) {
    for index in 0..identities.len() {
        let key = identities[index].key.clone();
        let twins: Vec<usize> = (0..identities.len()).filter(|&other| identities[other].key == key).collect();
        if twins.len() > 1 {
            for twin in twins {
                name_by_place(identities[twin]);
            }
        }
    }
}

/// Adds the place to the key of a drive whose serial is not its own alone.
pub fn name_by_place(identity: &mut DriveIdentity) {
    let place = identity.port.as_deref().unwrap_or("an unknown place");
    identity.key = DriveKey(format!("{} at {place}", identity.key.0));
}
