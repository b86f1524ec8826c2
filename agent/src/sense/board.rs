//! The machine itself: name, model, kernel, address, load and memory. Load, memory and addresses come from the
//! `sysinfo` crate, which asks the running machine: a recorded tree has none of them.

use super::host::{Host, is_numbered, parts};
use super::parse::{mounts, plain, sysfs};
use super::{beneath, chips};
use crate::clock::Moment;
use crate::reading::{
    Board, Load, Missing, Reading, Reason, Source, SystemDisk, SystemDiskKind, Throttling, WhyMissing,
};
use crate::units::Bytes;
use sysinfo::{MemoryRefreshKind, Networks, System};

/// Reads the board.
pub fn board(host: &Host, now: Moment) -> Board {
    let text = |path: &str| host.device_text(&host.path(path));
    let model = text("/proc/device-tree/model")
        .or_else(|| text("/sys/class/dmi/id/board_name"))
        .or_else(|| text("/sys/class/dmi/id/product_name"));
    Board {
        name: text("/proc/sys/kernel/hostname").unwrap_or_else(|| "box".to_owned()),
        model: model.unwrap_or_default(),
        is_recorded: !host.is_live(),
        kernel: text("/proc/sys/kernel/osrelease").unwrap_or_default(),
        address: if host.is_live() { address() } else { None },
        load: Some(Reading::new(load(host), now, Source::Sysinfo)),
        out_of_memory: Some(Reading::new(out_of_memory(host), now, Source::Proc)),
        throttling: Some(Reading::new(throttling(host), now, Source::Sysfs)),
        system_disk: Some(Reading::new(system_disk(host), now, Source::Sysfs)),
    }
}

fn out_of_memory(host: &Host) -> Result<u64, Missing> {
    let table = host.table(&host.path("/proc/vmstat"))?;
    plain::named_number(&String::from_utf8_lossy(&table), "oom_kill")
        .map_err(|strange| Missing::found(Reason::Unreadable, format!("proc/vmstat: {strange}")))
}

fn throttling(host: &Host) -> Result<Throttling, Missing> {
    let cores = host.path("/sys/devices/system/cpu");
    let names = host.list(&cores).unwrap_or_default().into_iter().filter(|name| is_numbered(name, "cpu"));
    let count = |core| host.ask(&cores.join(core).join("thermal_throttle/core_throttle_count"), plain::whole).ok();
    let throttling =
        Throttling { count: names.filter_map(count).reduce(u64::saturating_add), held_back: chips::holds_back(host) };
    match throttling {
        Throttling { count: None, held_back: None } => Err(Missing::from(WhyMissing::NotReported)),
        known => Ok(known),
    }
}

/// The one disk that `/` is on; a system on several disks has redundancy of its own, and is watched as a pool.
fn system_disk(host: &Host) -> Result<SystemDisk, Missing> {
    let table = host.table(&host.path("/proc/self/mountinfo"))?;
    let none = || Missing::from(WhyMissing::SystemNotOnOneDisk);
    let root = mounts::mountinfo::mounts(&table).into_iter().rfind(|mount| mount.point == "/");
    let root = root.ok_or_else(none)?;
    let below = beneath::drives(host, &host.path("/sys/dev/block").join(&root.device));
    let [beneath::Below { drive: device, gone: false }] = &below[..] else {
        return Err(none());
    };
    let block = host.path("/sys/block").join(device);
    let stat = host.ask(&block.join("stat"), sysfs::block::stat)?;
    let home = host.resolve(&block)?;
    let is_behind_usb = parts(&home).any(|part| is_numbered(part, "usb"));
    let card = host.attribute(&block.join("device/type")).unwrap_or_default();
    let kind = match (device.starts_with("mmcblk"), card.trim()) {
        (true, "SD") => SystemDiskKind::SdCard,
        (true, _) => SystemDiskKind::Emmc,
        _ if is_behind_usb => SystemDiskKind::Usb,
        _ => SystemDiskKind::Disk,
    };
    Ok(SystemDisk { device: device.clone(), kind, written: Bytes(stat.sectors_written.saturating_mul(512)) })
}

fn load(host: &Host) -> Result<Load, Missing> {
    if !host.is_live() {
        return Err(Missing::from(WhyMissing::NotRecorded));
    }
    let average = System::load_average();
    let mut system = System::new();
    system.refresh_memory_specifics(MemoryRefreshKind::nothing().with_ram());
    let processors = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    if system.total_memory() == 0 {
        return Err(Missing::found(Reason::Unreadable, "expected the size of the memory in /proc/meminfo, found none"));
    }
    Ok(Load {
        one_minute: average.one,
        fifteen_minutes: average.fifteen,
        processors: u32::try_from(processors).unwrap_or(u32::MAX),
        memory: Bytes(system.total_memory()),
        memory_available: Bytes(system.available_memory()),
    })
}

/// The address people reach the box at: IPv4 before IPv6, and no loopback or link-local one.
fn address() -> Option<String> {
    let networks = Networks::new_with_refreshed_list();
    let mut candidates: Vec<std::net::IpAddr> = networks
        .values()
        .flat_map(|network| network.ip_networks())
        .map(|network| network.addr)
        .filter(|address| match address {
            std::net::IpAddr::V4(v4) => !v4.is_loopback() && !v4.is_link_local(),
            std::net::IpAddr::V6(v6) => !v6.is_loopback() && !v6.is_unicast_link_local(),
        })
        .collect();
    candidates.sort();
    candidates.first().map(ToString::to_string)
}
