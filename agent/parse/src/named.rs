//! What the kernel calls a part, and what it said of it, before anybody knows which part of the box that is.

use traylight_data::clock::Moment;
use traylight_data::reading::{EventKind, EventSource};

/// A part by the kernel's name of the moment.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum KernelName {
    /// A SATA port, and the device on it where that is told: `ata3`, `ata3.01`.
    Ata {
        /// The port's number in this boot.
        port: u32,
        /// The device's number on the port.
        device: Option<u32>,
    },
    /// A block device, which may be a partition: `sda`, `sda1`, `nvme0n1`, `dm-3`.
    Block(String),
    /// A whole disk in one appearance, which the kernel counts (`DISKSEQ`).
    Disk(String, u64),
    /// A SCSI device, as `host:channel:target:lun`.
    Scsi(String),
    /// A SCSI host: `host4`.
    Host(String),
    /// An NVMe controller: `nvme0`.
    Nvme(String),
    /// A PCI function: `0000:00:1f.2`.
    Pci(String),
    /// A USB device or port, by the chain of ports: `2.1`.
    Usb(String),
    /// A pool: `md0`, `tank`.
    Pool(String),
    /// A file system, by its device: `sda1`.
    Volume(String),
    /// A network port: `eth0`.
    Link(String),
    /// An I2C bus, by the device of its controller: `1f00074000.i2c`.
    Bus(String),
    /// A card's host: `mmc0`.
    Card(String),
    /// A part that nothing else is known of, by the kernel's name.
    Other(String),
    /// The machine as a whole.
    Board,
}

/// An event of a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedEvent {
    /// When, on the boot clock.
    pub at: Moment,
    /// Of what.
    pub part: KernelName,
    /// What.
    pub what: EventKind,
    /// Who told it.
    pub teller: EventSource,
    /// The kernel's own line; empty when it was told without words.
    pub line: String,
}

/// What was taken in at once.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct NamedEvents {
    /// The events, in the order in which they came.
    pub events: Vec<NamedEvent>,
    /// Some of it is worth a look now.
    pub calls: bool,
}

/// The disk that a block device is, or is a partition of: `sda1` and `sda` are on `sda`, `nvme0n1p2` on `nvme0n1`.
pub fn disk_of(device: &str) -> &str {
    let bare = device.trim_end_matches(|c: char| c.is_ascii_digit());
    if bare.len() == device.len() {
        return device;
    }
    // Where the disk's name ends in a digit, a `p` stands before the partition's number (disk_name in block/genhd.c).
    if let Some(disk) = bare.strip_suffix('p').filter(|disk| disk.ends_with(|c: char| c.is_ascii_digit())) {
        return disk;
    }
    let is_lettered = ["sd", "hd", "vd", "xvd"].iter().any(|kind| {
        bare.strip_prefix(kind)
            .is_some_and(|rest| !rest.is_empty() && rest.bytes().all(|byte| byte.is_ascii_lowercase()))
    });
    if is_lettered { bare } else { device }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn partitions_are_on_their_disks() {
        let cases = [
            ("sda", "sda"),
            ("sda1", "sda"),
            ("sdaa12", "sdaa"),
            ("vdb3", "vdb"),
            ("nvme0n1", "nvme0n1"),
            ("nvme0n1p2", "nvme0n1"),
            ("mmcblk0", "mmcblk0"),
            ("mmcblk0p1", "mmcblk0"),
            ("md0", "md0"),
            ("md127p1", "md127"),
            ("dm-3", "dm-3"),
            ("sd1", "sd1"),
            ("", ""),
            ("7", "7"),
        ];
        for (device, disk) in cases {
            assert_eq!(disk_of(device), disk, "{device}");
        }
    }
}
