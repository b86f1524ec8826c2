//! Volumes: which file systems are mounted, and their room. Asking for room can block for good when what is below
//! is gone, so it is a question of its own.

use super::host::Host;
use super::parse::mounts::fstab::FstabEntry;
use super::parse::mounts::mountinfo::Mount;
use super::parse::{mounts, plain};
use crate::reading::{Files, Missing, Reason, Room, Union, Unmounted, WhyMissing};
use crate::units::Bytes;
use std::path::PathBuf;

/// The mount table against what should be in it.
#[derive(Debug, Clone, Default)]
pub struct Mounts {
    /// The mounted file systems on local storage, each once.
    pub volumes: Vec<Mount>,
    /// Mounts that show several folders as one.
    pub unions: Vec<Union>,
    /// What should be mounted and is not.
    pub unmounted: Vec<Unmounted>,
    /// Mount points that should be read-only.
    pub meant_read_only: Vec<String>,
    /// Mount points that should be writable.
    pub meant_writable: Vec<String>,
}

/// What is mounted, by the text of the mount table, against `/etc/fstab`, which is on the system's own storage.
pub fn mounts(host: &Host, table: &[u8]) -> Mounts {
    let mounted = mounts::mountinfo::mounts(table);
    // A box without this file has no wishes.
    let table = host.table(&host.path("/etc/fstab")).unwrap_or_default();
    let (read_only, writable): (Vec<FstabEntry>, Vec<FstabEntry>) =
        mounts::fstab::wanted(&String::from_utf8_lossy(&table)).into_iter().partition(|wanted| wanted.read_only);
    let points = |wanted: &[FstabEntry]| wanted.iter().map(|wanted| wanted.mount.clone()).collect();
    let (meant_read_only, meant_writable) = (points(&read_only), points(&writable));
    let is_absent = |wanted: &FstabEntry| !mounted.iter().any(|mount| mount.point == wanted.mount);
    let absent = read_only.into_iter().chain(writable).filter(is_absent);
    let unmounted = absent.map(|FstabEntry { mount, source, .. }| Unmounted { mount, source }).collect();
    let unions = unions(&mounted);
    Mounts { unions, volumes: mounts::mountinfo::volumes(mounted), unmounted, meant_read_only, meant_writable }
}

/// The mount table; a poll on it ends when it changes (Documentation/filesystems/proc.rst, clause 3.5).
pub fn mount_table(host: &Host) -> PathBuf {
    host.path("/proc/self/mountinfo")
}

/// Checks that every line of the mount table can be read.
///
/// # Errors
/// The first that cannot.
pub fn check(table: &[u8]) -> Result<(), Missing> {
    mounts::mountinfo::check(table).map_err(|odd| Missing::found(Reason::Unreadable, format!("self/mountinfo: {odd}")))
}

/// The unions that an owner made. Containers make many of their own, below the two folders that are left out.
fn unions(mounted: &[Mount]) -> Vec<Union> {
    let points: Vec<&str> = mounted.iter().map(|mount| mount.point.as_str()).collect();
    let of = |mount: &Mount| {
        let branches = mounts::union::branches(&mount.file_system, &mount.source, &mount.options, &points);
        let is_a_containers = mount.point.starts_with("/var/lib/") || mount.point.starts_with("/run/");
        (!branches.is_empty() && !is_a_containers).then(|| Union {
            mount: mount.point.clone(),
            file_system: mount.file_system.clone(),
            branches,
        })
    };
    mounted.iter().filter_map(of).collect()
}

/// How many errors an ext4 file system has written down in itself (fs/ext4/sysfs.c, `errors_count`). The kernel keeps the
/// number in memory.
pub fn errors(host: &Host, mount: &Mount) -> Option<u64> {
    let device = host.resolve(&host.path("/sys/dev/block").join(&mount.device)).ok()?;
    let name = device.file_name()?.to_owned();
    host.ask(&host.path("/sys/fs/ext4").join(name).join("errors_count"), plain::whole).ok()
}

/// The room of one of them, by statvfs(3). It may block: ask from a thread that may be lost.
pub fn room(host: &Host, point: &str) -> Result<Room, Missing> {
    if !host.is_live() {
        return Err(Missing::from(WhyMissing::NotRecorded));
    }
    let said = rustix::fs::statvfs(point).map_err(|error| match error {
        rustix::io::Errno::ACCESS => Missing::found(Reason::Refused, point),
        _ => Missing::found(Reason::Unreadable, format!("{point}: {}", error.kind())),
    })?;
    let bytes = |blocks: u64| Bytes(blocks.saturating_mul(said.f_frsize));
    if said.f_blocks == 0 || said.f_bfree > said.f_blocks {
        return Err(Missing::found(
            Reason::Unreadable,
            format!(
                "{point}: expected no more free blocks than there are, found {} free of {}",
                said.f_bfree, said.f_blocks
            ),
        ));
    }
    Ok(Room {
        size: bytes(said.f_blocks),
        free: bytes(said.f_bavail),
        used: bytes(said.f_blocks - said.f_bfree),
        reserved: bytes(said.f_bfree.saturating_sub(said.f_bavail)),
        files: (said.f_files > 0 && said.f_favail <= said.f_files)
            .then_some(Files { total: said.f_files, free: said.f_favail }),
    })
}
