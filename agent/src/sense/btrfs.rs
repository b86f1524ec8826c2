//! btrfs file systems: which are mounted, on what, and what they say of themselves. Their files are answered out of
//! memory; [`ask`] is a question to a mount, which can block for good like any other.

use super::beneath;
use super::btrfs_ioctl::Mounted;
use super::host::{Host, parts};
use super::parse::btrfs::members::{BlockDevice, Device, FileSystem, MountedDevice, MountedFileSystem};
use super::parse::btrfs::profiles::{Allocation, Content, Profile, ProfileUse};
use super::parse::btrfs::scrub::ScrubRecord;
use super::parse::{btrfs, plain};
use crate::reading::{Missing, Reason, WhyMissing};
use crate::units::Bytes;
use std::path::Path;

/// The kernel gives numbers in rising order and never twice; a file system that had more devices is not a small box's.
const MOST_NUMBERS: u64 = 1024;

/// All mounted file systems, in the order of their UUIDs.
///
/// # Errors
/// The reason why `/sys/fs/btrfs` cannot be listed. A kernel without btrfs has none, and that is no error.
pub fn file_systems(host: &Host) -> Result<Vec<FileSystem>, Missing> {
    let folder = host.path("/sys/fs/btrfs");
    let names = match host.list(&folder) {
        Err(why) if why.reason == Reason::NotAvailable => return Ok(Vec::new()),
        names => names?,
    };
    let uuids = names.into_iter().filter(|name| btrfs::files::is_file_system(name));
    Ok(uuids.filter_map(|uuid| file_system(host, &folder.join(&uuid), uuid)).collect())
}

/// Nothing for one that is being unmounted: its folders go one after another.
fn file_system(host: &Host, folder: &Path, uuid: String) -> Option<FileSystem> {
    let devinfo = folder.join("devinfo");
    let numbers = host.list(&devinfo).ok()?;
    let devices = numbers
        .iter()
        .filter_map(|name| Some(device(host, &devinfo.join(name), btrfs::files::device_id(name)?, &uuid)));
    let mut devices: Vec<Device> = devices.collect();
    devices.sort_by_key(|device| device.id);
    let links = folder.join("devices");
    let blocks = host.list(&links).ok()?.into_iter().map(|name| block_device(host, &links.join(&name), name));
    let allocation = |content: Content| allocation(host, &folder.join("allocation").join(content.folder()), content);
    Some(FileSystem {
        label: host.device_text(&folder.join("label")),
        operation: host.ask(&folder.join("exclusive_operation"), btrfs::files::operation),
        devices,
        blocks: blocks.collect(),
        allocations: Content::ALL.into_iter().filter_map(allocation).collect(),
        uuid,
    })
}

fn device(host: &Host, folder: &Path, id: u64, uuid: &str) -> Device {
    let switch = |file: &str| host.ask(&folder.join(file), plain::switch);
    Device {
        id,
        missing: switch("missing"),
        in_metadata: switch("in_fs_metadata"),
        writeable: switch("writeable"),
        replace_target: switch("replace_target"),
        is_seed: host.attribute(&folder.join("fsid")).is_ok_and(|fsid| fsid.trim() != uuid),
        errors: host.ask(&folder.join("error_stats"), btrfs::files::error_counts),
    }
}

fn block_device(host: &Host, link: &Path, name: String) -> BlockDevice {
    let size = host.ask(&link.join("size"), plain::whole).ok().map(Bytes::from_sectors);
    let below = beneath::drives(host, link);
    // An encrypted drive that was pulled leaves its mapped device behind, on nothing.
    let gone = beneath::is_gone(host, link) || (!below.is_empty() && below.iter().all(|below| below.gone));
    BlockDevice { name, drives: below.into_iter().map(|below| below.drive).collect(), gone, size }
}

fn allocation(host: &Host, folder: &Path, content: Content) -> Option<Allocation> {
    let bytes = |name: &str| host.ask(&folder.join(name), plain::whole).ok();
    let profile = |name: &String| {
        let profile = Profile::named(name)?;
        let bytes = |file: &str| host.ask(&folder.join(name).join(file), plain::whole).ok();
        Some(ProfileUse { profile, total: bytes("total_bytes")?, used: bytes("used_bytes")? })
    };
    Some(Allocation {
        content,
        total: bytes("total_bytes")?,
        used: bytes("bytes_used")?,
        disk_total: bytes("disk_total")?,
        disk_used: bytes("disk_used")?,
        profiles: host.list(folder).ok()?.iter().filter_map(profile).collect(),
    })
}

/// What the file system mounted at `point` answers. Nothing of it is read from a drive, but a file system whose drives
/// hang may keep whoever asks it waiting: ask from a thread that may be lost.
pub fn ask(host: &Host, point: &str) -> Result<MountedFileSystem, Missing> {
    if !host.is_live() {
        return Err(Missing::from(WhyMissing::NotRecorded));
    }
    let mounted = Mounted::open(Path::new(point))?;
    let info = mounted.info()?;
    let mut devices = Vec::new();
    for id in 0..=info.highest.min(MOST_NUMBERS) {
        let Some(device) = mounted.device(id)? else { continue };
        devices.push(MountedDevice {
            id,
            block: device.path.and_then(|path| block_name(host, &path)),
            size: Bytes(device.size),
            allocated: Bytes(device.allocated),
            errors: mounted.error_counts(id),
            scrubbed: mounted.scrubbed(id),
        });
    }
    // Without a file that can be read no scrub is known of.
    let records = last_scrub(host, &info.uuid).unwrap_or_default();
    let checked = btrfs::scrub::ended(&records, devices.iter().map(|device| device.id).filter(|&id| id > 0));
    Ok(MountedFileSystem { uuid: info.uuid, wanted: info.devices, devices, balance: mounted.balance(), checked })
}

/// The kernel's name behind the path that the file system remembers: `/dev/mapper/x` leads to `/dev/dm-3`. A device that
/// is gone has its name left.
fn block_name(host: &Host, path: &str) -> Option<String> {
    let real = host.resolve(&host.path(path)).unwrap_or_else(|_| path.into());
    parts(&real).next_back().map(str::to_owned)
}

/// What the last scrub came to, from the file that its tool keeps; not available when there was none, or none by that tool.
/// The file is on the system's own storage.
pub fn last_scrub(host: &Host, uuid: &str) -> Result<Vec<ScrubRecord>, Missing> {
    let path = host.path("/var/lib/btrfs").join(format!("scrub.status.{uuid}"));
    let text = host.table(&path)?;
    let records = btrfs::scrub::records(&String::from_utf8_lossy(&text), uuid);
    records.map_err(|strange| Missing::found(Reason::Unreadable, format!("scrub status: {strange}")))
}
