//! A volume in the document.

use super::part::part;
use super::parts::Span;
use crate::reading::{self, WhyMissing, Writing};
use crate::verdict::Verdict;

part! {
    /// A mounted file system.
    pub struct Volume of (verdict: &Verdict, volume: &reading::Volume) where {
        let room = volume.room.value.as_ref();
    } {
        /// Mount point.
        mount: is String = volume.mount.clone();
        /// File system type.
        file_system: is String = volume.file_system.clone();
        /// What is mounted.
        source: is String = volume.source.clone();
        /// Writable, read-only, or stopped by an error.
        writing: is Writing = volume.writing;
        /// Size.
        size_bytes: known u64 = room.map(|room| room.size.0);
        /// Free space for ordinary users.
        free_bytes: known u64 = room.map(|room| room.free.0);
        /// Used space.
        used_bytes: known u64 = room.map(|room| room.used.0);
        /// Free space for root only.
        reserved_bytes: known u64 = room.map(|room| room.reserved.0);
        /// Number of files it can hold; `null` without a reason where there is no limit.
        files: maybe u64 = room.map(|room| Some(room.files?.total));
        /// Number of files that ordinary users can still create.
        files_free: maybe u64 = room.map(|room| Some(room.files?.free));
        /// Errors recorded in the file system; `null` where it keeps no record.
        errors: is Option<u64> = volume.errors;
        /// When it will be full, by the trend of the past days; `null` without a trend.
        full_in: known Span = verdict.full_in.get(&volume.mount).map(Span::of).ok_or(WhyMissing::TooFewDays);
    }
}
