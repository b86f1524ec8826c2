//! From a block device down to the drives below it, by the links that sysfs keeps (Documentation/admin-guide/sysfs-rules.rst).

use super::host::{Host, parts};
use std::path::Path;

/// Mapped devices on mapped devices; beyond this many something leads in a circle.
const DEEPEST: u32 = 8;

/// A drive below a block device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Below {
    /// The kernel's name of the drive, such as `sda`.
    pub drive: String,
    /// Its block device is gone: the link of whoever took it leads nowhere.
    pub gone: bool,
}

/// The drives below the block device that `link` leads or led to; a drive itself is the only one below it. Empty for a
/// mapped device that is on nothing, such as one that stands for a missing drive.
pub fn drives(host: &Host, link: &Path) -> Vec<Below> {
    let mut found = Vec::new();
    collect(host, link, DEEPEST, &mut found);
    found
}

fn collect(host: &Host, link: &Path, deeper: u32, found: &mut Vec<Below>) {
    let (Some(drive), Some(deeper)) = (drive_of(host, link), deeper.checked_sub(1)) else { return };
    let gone = is_gone(host, link);
    let is_mapped = drive.starts_with("dm-") || drive.starts_with("md");
    if is_mapped && !gone {
        let slaves = host.path("/sys/block").join(&drive).join("slaves");
        for slave in host.list(&slaves).unwrap_or_default() {
            collect(host, &slaves.join(slave), deeper, found);
        }
        return;
    }
    let below = Below { drive, gone };
    if !found.contains(&below) {
        found.push(below);
    }
}

/// True when the block device is gone that a link leads or led to. The kernel takes away all its files before it reports
/// the end, and its folder after that; that one file cannot be read is no end.
pub fn is_gone(host: &Host, link: &Path) -> bool {
    ["size", "stat"].iter().all(|file| host.is_absent(&link.join(file)))
}

/// The drive that a block device is on, from where its link leads or led: `…/block/sda/sda1` is on `sda`.
pub fn drive_of(host: &Host, link: &Path) -> Option<String> {
    let led = host.link_text(link)?;
    let names: Vec<&str> = parts(&led).collect();
    let below_block = names.iter().rposition(|&name| name == "block").and_then(|index| names.get(index + 1));
    // NVMe disks have no folder `block` above them: the drive is the last name, or the one before a partition.
    let nvme = || names.iter().find(|name| name.starts_with("nvme") && name.contains('n') && name[4..].contains('n'));
    // From one mapped device to another the link is short: `../../dm-3`, or `../../md0/md0p1` for a partition.
    below_block.or_else(nvme).or_else(|| names.first()).map(|&name| name.to_owned())
}
