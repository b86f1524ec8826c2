//! What drives and USB bridges are plugged into: PCI functions made for it, and SATA controllers that are part of a
//! system on a chip. All of it is in the kernel's memory, but for the first bytes of configuration space and the state of
//! the link, which are asked only of what is awake.

use super::host::{Host, parts};
use super::parse::{plain, sysfs};
use crate::clock::Moment;
use crate::reading::{BusErrors, Controller, ControllerKind, Missing, PcieLink, Reading, Reason, Source, WhyMissing};
use std::io::Read;
use std::path::{Path, PathBuf};

/// All controllers of the box, in the order of their keys.
///
/// # Errors
/// The reason why a list of devices cannot be read. A box without a PCI bus has no such list.
pub fn controllers(host: &Host, now: Moment) -> Result<Vec<Controller>, Missing> {
    let on_pci = listed(host, "/sys/bus/pci/devices")?;
    let on_chip = listed(host, "/sys/bus/platform/devices")?;
    let functions = on_pci.iter().filter_map(|function| of_pci(host, function, now));
    let mut found: Vec<Controller> =
        functions.chain(on_chip.iter().filter_map(|device| of_chip(host, device, now))).collect();
    found.sort_by(|one, other| one.key.cmp(&other.key));
    Ok(found)
}

fn listed(host: &Host, folder: &str) -> Result<Vec<PathBuf>, Missing> {
    let folder = host.path(folder);
    if !host.exists(&folder) {
        return Ok(Vec::new());
    }
    Ok(host.list(&folder)?.into_iter().map(|name| folder.join(name)).collect())
}

fn of_pci(host: &Host, function: &Path, now: Moment) -> Option<Controller> {
    let kind = host.ask(&function.join("class"), sysfs::pci::kind).ok()??;
    let home = host.resolve(function).ok()?;
    let text = |file: &str| host.attribute(&function.join(file)).unwrap_or_default();
    let id = sysfs::pci::id(text("vendor").trim(), text("device").trim()).ok()?;
    let asleep = asleep(host, function);
    let answers = match kind {
        ControllerKind::UsbHost => Err(Missing::from(WhyMissing::OnlyStorageControllers)),
        ControllerKind::Storage | ControllerKind::Nvme => asleep.clone().and_then(|()| head(host, function)),
    };
    let reading = |value| Reading::new(value, now, Source::Sysfs);
    Some(Controller {
        key: sysfs::place::controller(&parts(&home).collect::<Vec<_>>())?,
        kind,
        id,
        driver: driver(host, function),
        answers: Reading::new(answers.map(sysfs::pci::answers), now, Source::Sysfs),
        pcie_link: Reading::new(asleep.and_then(|()| pcie_link(host, function)), now, Source::Sysfs),
        bus_errors: reading(bus_errors(host, &home)),
        link_power: link_power(host, function),
    })
}

/// A SATA controller on the chip: a node of the device tree of that kind, such as `fc400000.sata`.
fn of_chip(host: &Host, device: &Path, now: Moment) -> Option<Controller> {
    let key = parts(device).next_back().filter(|name| name.ends_with(".sata"))?.to_owned();
    let uevent = host.attribute(&device.join("uevent")).unwrap_or_default();
    let id = uevent.lines().find_map(|line| line.strip_prefix("OF_COMPATIBLE_0=")).and_then(plain::device_text);
    fn none<T>() -> Result<T, Missing> {
        Err(Missing::from(WhyMissing::NotOnPci))
    }
    Some(Controller {
        key,
        kind: ControllerKind::Storage,
        id: id.unwrap_or_default(),
        driver: driver(host, device),
        answers: Reading::new(none(), now, Source::Sysfs),
        pcie_link: Reading::new(none(), now, Source::Sysfs),
        bus_errors: Reading::new(none(), now, Source::Sysfs),
        link_power: link_power(host, device),
    })
}

/// An error when the function sleeps: reading its configuration space would wake it, or the port above it (Linux
/// drivers/pci/pci.c, `pci_config_pm_runtime_get`).
fn asleep(host: &Host, function: &Path) -> Result<(), Missing> {
    let status = host.attribute(&function.join("power/runtime_status")).unwrap_or_default();
    match status.trim() {
        "suspended" | "suspending" => Err(Missing::from(WhyMissing::ControllerAsleep)),
        _ => Ok(()),
    }
}

/// The first four bytes of configuration space.
fn head(host: &Host, function: &Path) -> Result<[u8; 4], Missing> {
    let mut head = [0; 4];
    host.open(&function.join("config"))?
        .read_exact(&mut head)
        .map_err(|error| Missing::found(Reason::Unreadable, format!("config: expected 4 bytes, found {error}")))?;
    Ok(head)
}

fn driver(host: &Host, device: &Path) -> Option<String> {
    let link = host.link_text(&device.join("driver"))?;
    parts(&link).next_back().and_then(plain::device_text)
}

fn pcie_link(host: &Host, function: &Path) -> Result<PcieLink, Missing> {
    let speed = host.attribute(&function.join("current_link_speed"))?;
    host.ask(&function.join("current_link_width"), |width| sysfs::pci::pcie_link(speed.trim(), width))
}

/// The errors of the function and of the port above it: which of the two ends of a link counts an error is up to which
/// end sees it.
fn bus_errors(host: &Host, home: &Path) -> Result<BusErrors, Missing> {
    let mut sum = counted(host, home)?;
    if let Some(Ok(above)) = home.parent().map(|port| counted(host, port)) {
        sum.corrected = sum.corrected.saturating_add(above.corrected);
        sum.uncorrected = sum.uncorrected.saturating_add(above.uncorrected);
    }
    Ok(sum)
}

fn counted(host: &Host, home: &Path) -> Result<BusErrors, Missing> {
    let folder = host.path(&home.to_string_lossy());
    let total = |file: &str| host.ask(&folder.join(file), sysfs::pci::total);
    let corrected = total("aer_dev_correctable")?;
    Ok(BusErrors { corrected, uncorrected: total("aer_dev_nonfatal")?.saturating_add(total("aer_dev_fatal")?) })
}

/// The policy of its SATA ports, `ataN/hostN/scsi_host/hostN/link_power_management_policy`, where all have the same.
fn link_power(host: &Host, device: &Path) -> Option<String> {
    let below = |folder: &Path, start: &str| -> Vec<PathBuf> {
        let names = host.list(folder).unwrap_or_default();
        names.into_iter().filter(|name| name.starts_with(start)).map(|name| folder.join(name)).collect()
    };
    let hosts = below(device, "ata").into_iter().flat_map(|port| below(&port, "host"));
    let policies = hosts
        .flat_map(|of| below(&of.join("scsi_host"), "host"))
        .filter_map(|of| host.device_text(&of.join("link_power_management_policy")));
    let mut policies: Vec<String> = policies.collect();
    policies.dedup();
    if policies.len() == 1 { policies.pop() } else { None }
}
