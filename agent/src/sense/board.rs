//! The machine itself: name, model, kernel, address, load and memory. Load, memory and addresses come from the
//! `sysinfo` crate, which asks the running machine: a recorded tree has none of them.

use super::host::Host;
use super::parse::plain;
use crate::clock::Moment;
use crate::reading::{Board, Load, Missing, Reading, Reason, Source};
use crate::units::Bytes;
use sysinfo::{MemoryRefreshKind, Networks, System};

/// Reads the board.
pub fn board(host: &Host, now: Moment) -> Board {
    let text = |path: &str| host.attribute(&host.path(path)).ok().and_then(|text| plain::device_text(&text));
    let model = text("/proc/device-tree/model")
        .or_else(|| text("/sys/class/dmi/id/board_name"))
        .or_else(|| text("/sys/class/dmi/id/product_name"));
    Board {
        name: text("/proc/sys/kernel/hostname").unwrap_or_else(|| "box".to_owned()),
        model: model.unwrap_or_default(),
        kernel: text("/proc/sys/kernel/osrelease").unwrap_or_default(),
        address: if host.is_live() { address() } else { None },
        load: Some(Reading::new(load(host), now, Source::Sysinfo)),
    }
}

fn load(host: &Host) -> Result<Load, Missing> {
    if !host.is_live() {
        return Err(Missing::new(Reason::NotAsked, "a recorded tree has no load to ask for"));
    }
    let average = System::load_average();
    let mut system = System::new();
    system.refresh_memory_specifics(MemoryRefreshKind::nothing().with_ram());
    let processors = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    if system.total_memory() == 0 {
        return Err(Missing::new(Reason::Unreadable, "found no memory, wanted some in /proc/meminfo"));
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
