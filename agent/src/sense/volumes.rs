//! Volumes: which file systems are mounted, and their room. Asking for room can block for good when what is below
//! is gone, so it is a question of its own.

use super::host::Host;
use super::parse::mountinfo::{self, Mount};
use crate::reading::{Missing, Reason, Room};
use crate::units::Bytes;

/// The mounted file systems on local storage, each once.
///
/// # Errors
/// The reason why the mount table cannot be read.
pub fn mounted(host: &Host) -> Result<Vec<Mount>, Missing> {
    host.table(&host.path("/proc/self/mountinfo")).map(|table| mountinfo::volumes(mountinfo::mounts(&table)))
}

/// The room of one of them, by statvfs(3). It may block: ask from a thread that may be lost.
///
/// # Errors
/// The reason why there is none.
pub fn room(host: &Host, point: &str) -> Result<Room, Missing> {
    if !host.is_live() {
        return Err(Missing::new(Reason::NotAsked, "a recorded tree has no file system to ask"));
    }
    let said = rustix::fs::statvfs(point).map_err(|error| {
        let reason = if error == rustix::io::Errno::ACCESS { Reason::Refused } else { Reason::Unreadable };
        Missing::new(reason, format!("{point}: {}", error.kind()))
    })?;
    let bytes = |blocks: u64| Bytes(blocks.saturating_mul(said.f_frsize));
    if said.f_blocks == 0 || said.f_bfree > said.f_blocks {
        return Err(Missing::new(
            Reason::Unreadable,
            format!("{point}: found {} free of {} blocks, wanted free within a size", said.f_bfree, said.f_blocks),
        ));
    }
    Ok(Room { size: bytes(said.f_blocks), free: bytes(said.f_bavail), used: bytes(said.f_blocks - said.f_bfree) })
}
