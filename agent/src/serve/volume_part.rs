//! A volume in the document.

use super::part::part;
use super::parts::Span;
use crate::reading::{self, Writing};
use crate::verdict::Verdict;

part! {
    /// A mounted file system.
    pub struct Volume of (verdict: &Verdict, volume: &reading::Volume) where {
        let room = volume.room.value.as_ref();
    } {
        /// Where.
        mount: is String = volume.mount.clone();
        /// File system type.
        file_system: is String = volume.file_system.clone();
        /// What is mounted.
        source: is String = volume.source.clone();
        /// Whether it can be written to.
        writing: is Writing = volume.writing;
        /// Size.
        size_bytes: known u64 = room.map(|room| room.size.0);
        /// What ordinary users can still fill.
        free_bytes: known u64 = room.map(|room| room.free.0);
        /// What is filled.
        used_bytes: known u64 = room.map(|room| room.used.0);
        /// What only root can still fill.
        reserved_bytes: known u64 = room.map(|room| room.reserved.0);
        /// How many files it can hold; `null` without a reason where their number has no limit.
        files: maybe u64 = room.map(|room| Some(room.files?.total));
        /// How many more files ordinary users can make.
        files_free: maybe u64 = room.map(|room| Some(room.files?.free));
        /// Errors that the file system has written down in itself; `null` where it does not.
        errors: is Option<u64> = volume.errors;
        /// When it will be full by the trend of its days, which are days of watching; `null` while they carry none.
        full_in: known Span = verdict.full_in.get(&volume.mount).map(Span::of).ok_or("not enough days for a trend yet");
    }
}
