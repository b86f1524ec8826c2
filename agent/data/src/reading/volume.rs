//! One mounted file system as read: its room, and whether it can be written to.

use super::Reading;
use crate::units::Bytes;
use serde::{Deserialize, Serialize};
use strum::IntoStaticStr;

/// A mounted file system with room in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Volume {
    /// Where it is mounted.
    pub mount: String,
    /// The file system's type.
    pub file_system: String,
    /// What is mounted.
    pub source: String,
    /// Its room.
    pub room: Reading<Room>,
    /// Whether it can be written to, by the mount table.
    pub writing: Writing,
    /// True when `/etc/fstab` wants it read-only.
    pub meant_read_only: bool,
    /// True when `/etc/fstab` wants it writable.
    pub meant_writable: bool,
    /// True when it stops writing at its first error (`errors=remount-ro`); some kernels then still call it writable.
    pub stops_at_errors: bool,
    /// Errors that the file system has written down in itself; ext4 only.
    pub errors: Option<u64>,
}

/// True for a mount point that the machine itself lives on.
pub fn is_system(mount: &str) -> bool {
    matches!(mount, "/" | "/var" | "/usr") || mount == "/boot" || mount.starts_with("/boot/")
}

/// Whether a volume can be written to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Writing {
    /// It can.
    Allowed,
    /// It is mounted read-only.
    ReadOnly,
    /// It turned itself read-only after an error; ext4 then still says `rw`, and `emergency_ro` beside it.
    StoppedByError,
    /// It was shut down after an error.
    ShutDown,
}

/// Room in a file system, from statvfs(3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Room {
    /// Size.
    pub size: Bytes,
    /// What ordinary users can still fill.
    pub free: Bytes,
    /// What is filled.
    pub used: Bytes,
    /// What only root can still fill.
    pub reserved: Bytes,
    /// Its files; `None` where their number has no limit.
    pub files: Option<Files>,
}

/// How many files a file system can hold (inodes).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Files {
    /// In all.
    pub total: u64,
    /// How many more ordinary users can make.
    pub free: u64,
}

/// A mount that merges several folders. Its free space is not read, since a folder behind it can hang.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Union {
    /// Where.
    pub mount: String,
    /// The file system's type.
    pub file_system: String,
    /// The folders.
    pub branches: Vec<String>,
}

/// A file system in `/etc/fstab` that is not mounted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Unmounted {
    /// Its mount point.
    pub mount: String,
    /// The device that should be mounted there.
    pub source: String,
}
