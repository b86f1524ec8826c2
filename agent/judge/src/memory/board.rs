//! What the board counts: restarts, processes that were ended for want of memory, and what its own disk writes and fails at.

use super::event_counts::COUNTED_FOR;
use super::learning::{CountedEvent, Learned, Learns, Look};
use std::time::Duration;
use traylight_data::reading::{EventKind, Part, Snapshot, SystemDisk, SystemDiskKind};

/// What is written is counted over this time.
pub const WRITES_COUNT_FOR: Duration = Duration::from_secs(86_400);

/// What the disk of the system has written; its count begins anew with the machine.
#[derive(Debug, Clone, Default)]
pub struct BoardMemory {
    written: Option<SystemDisk>,
}

impl Learns<Look<'_>> for BoardMemory {
    /// Takes in what the disk of the system has written, and what is told of it.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        let Some(disk) = system_disk(snapshot) else { return Learned::default() };
        let before = self.written.replace(disk.clone()).filter(|before| before.device == disk.device);
        let grown = before.map_or(0, |before| disk.written.0.saturating_sub(before.written.0));
        let mut happened = vec![CountedEvent { what: written(disk), times: grown, span: WRITES_COUNT_FOR }];
        // Any other disk tells of itself, and is judged as a drive.
        if disk.kind != SystemDiskKind::Disk {
            let failed = snapshot.events.iter().filter(|event| {
                let is_failure =
                    matches!(event.what, EventKind::CommandFailed | EventKind::Unreadable | EventKind::TimedOut);
                is_failure && is_on(snapshot, &event.part, disk)
            });
            happened.push(CountedEvent { what: failures(disk), times: failed.count() as u64, span: COUNTED_FOR });
        }
        Learned { happened, ..Learned::default() }
    }
}

/// True for the disk itself or the host of a card: `mmc0` for `mmcblk0`.
fn is_on(snapshot: &Snapshot, part: &Part, disk: &SystemDisk) -> bool {
    match part {
        Part::Drive(key) => snapshot.drives.iter().any(|drive| drive.key == *key && drive.device == disk.device),
        Part::Place(place) => *place == disk.device || *place == disk.device.replacen("mmcblk", "mmc", 1),
        _ => false,
    }
}

/// The disk that the system is on, where that is known.
pub fn system_disk(snapshot: &Snapshot) -> Option<&SystemDisk> {
    snapshot.board.system_disk.as_ref()?.get()
}

/// What its bytes are counted as.
pub fn written(disk: &SystemDisk) -> String {
    format!("bytes written {}", disk.device)
}

/// What its failures are counted as.
pub fn failures(disk: &SystemDisk) -> String {
    format!("system disk failures {}", disk.device)
}
