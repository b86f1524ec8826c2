//! A volume in the document.

use super::document::Reasons;
use super::parts::{Span, value};
use crate::reading::{self, Writing};
use crate::verdict::Verdict;
use serde::{Deserialize, Serialize};

/// A mounted file system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Volume {
    /// Where.
    pub mount: String,
    /// File system type.
    pub file_system: String,
    /// What is mounted.
    pub source: String,
    /// Whether it can be written to.
    pub writing: Writing,
    /// Size.
    pub size_bytes: Option<u64>,
    /// What ordinary users can still fill.
    pub free_bytes: Option<u64>,
    /// What is filled.
    pub used_bytes: Option<u64>,
    /// What only root can still fill.
    pub reserved_bytes: Option<u64>,
    /// How many files it can hold; `null` without a reason where their number has no limit.
    pub files: Option<u64>,
    /// How many more files ordinary users can make.
    pub files_free: Option<u64>,
    /// Errors that the file system has written down in itself; `null` where it does not.
    pub errors: Option<u64>,
    /// When it will be full by the trend of its days, which are days of watching; `null` while they carry none.
    pub full_in: Option<Span>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// A file system that should be mounted and is not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Unmounted {
    /// Where it should be.
    pub mount: String,
    /// What should be mounted there.
    pub source: String,
}

pub(super) fn volume(verdict: &Verdict, volume: &reading::Volume) -> Volume {
    let mut missing = Reasons::new();
    let keys = ["size_bytes", "free_bytes", "used_bytes", "reserved_bytes", "files", "files_free"];
    let room = value(&volume.room, &mut missing, &keys, |room| *room);
    let full_in = verdict.full_in.get(&volume.mount).map(Span::of);
    if full_in.is_none() {
        missing.insert("full_in".into(), "its days carry no trend yet".into());
    }
    Volume {
        mount: volume.mount.clone(),
        file_system: volume.file_system.clone(),
        source: volume.source.clone(),
        writing: volume.writing,
        size_bytes: room.map(|room| room.size.0),
        free_bytes: room.map(|room| room.free.0),
        used_bytes: room.map(|room| room.used.0),
        reserved_bytes: room.map(|room| room.reserved.0),
        files: room.and_then(|room| Some(room.files?.total)),
        files_free: room.and_then(|room| Some(room.files?.free)),
        errors: volume.errors,
        full_in,
        missing,
    }
}

pub(super) fn unmounted(wanted: &reading::Unmounted) -> Unmounted {
    Unmounted { mount: wanted.mount.clone(), source: wanted.source.clone() }
}
