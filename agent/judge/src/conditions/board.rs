//! box-storage-and-restart: the box restarted without being shut down, ran out of memory, wears out its memory card, or
//! its system disk fails. A system volume that stopped writing is a volume like any other: volume-readonly tells of it.

use super::Rule;
use crate::Memory;
use crate::memory::ledger::Ledger;
use crate::track::{Holds, Side, Sight};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{Happening, Part, Snapshot, SystemDisk, SystemDiskKind};
use traylight_data::units::Bytes;
use traylight_data::verdict::{BoxFault, Finding, Severity, Subject};

/// For how long a card must be written to too much.
pub const HOUR: Duration = Duration::from_secs(3600);
/// What is written is counted over this time.
pub const DAY: Duration = Duration::from_secs(86_400);
/// What happened to the box is told for so long.
pub const WEEK: Duration = Duration::from_secs(7 * 86_400);
/// A card that is written to more within a day does not last for years (starting value, no source).
pub const CARD_BYTES: u64 = 2_000_000_000;

/// The restart of a machine that was not shut down, as the ledger counts it.
pub const UNCLEAN_RESTART: &str = "unclean restart";
const OUT_OF_MEMORY: &str = "out of memory";

/// What is remembered of counts that begin anew with the machine.
#[derive(Debug, Clone, Default)]
pub struct Known {
    written: Option<SystemDisk>,
}

impl Known {
    /// Takes in what the board counts, and what is told of its disk.
    pub fn learn(&mut self, ledger: &mut Ledger, snapshot: &Snapshot) {
        ledger.is_new |= ledger.runs.learn_kernel(&snapshot.board.kernel);
        let value =
            |reading: &Option<traylight_data::reading::Reading<u64>>| reading.as_ref().and_then(|it| it.get().copied());
        if let Some(ended) = value(&snapshot.board.out_of_memory) {
            let before = ledger.runs.out_of_memory.replace(ended).unwrap_or(ended);
            ledger.happened(OUT_OF_MEMORY, ended.saturating_sub(before), WEEK);
        }
        let Some(disk) = system_disk(snapshot) else { return };
        let before = self.written.replace(disk.clone()).filter(|before| before.device == disk.device);
        let grown = before.map_or(0, |before| disk.written.0.saturating_sub(before.written.0));
        ledger.happened(&written(disk), grown, DAY);
        // Any other disk tells of itself, and is judged as a drive.
        if disk.kind == SystemDiskKind::Disk {
            return;
        }
        let failed = snapshot.events.iter().filter(|event| {
            let is_failure =
                matches!(event.what, Happening::CommandFailed | Happening::Unreadable | Happening::TimedOut);
            is_failure && is_on(snapshot, &event.part, disk)
        });
        ledger.happened(&failures(disk), failed.count() as u64, WEEK);
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

fn system_disk(snapshot: &Snapshot) -> Option<&SystemDisk> {
    snapshot.board.system_disk.as_ref()?.get()
}

fn written(disk: &SystemDisk) -> String {
    format!("bytes written {}", disk.device)
}

fn failures(disk: &SystemDisk) -> String {
    format!("system disk failures {}", disk.device)
}

/// The rule of this file.
pub const RULE: Rule = Rule { sights };

/// What is seen of the box itself.
fn sights(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let ledger = &memory.ledger;
    let raised = |is_raised, severity| if is_raised { Side::Raised(severity) } else { Side::Clear };
    let sight = |which: &str, side, what, holds| Sight {
        subject: Subject::Board(which.to_owned()),
        side,
        seen: snapshot.taken,
        finding: Finding::BoxStorageAndRestart { what },
        holds,
    };
    let (times, ended) = (ledger.count(UNCLEAN_RESTART), ledger.count(OUT_OF_MEMORY));
    let mut seen = vec![
        sight("restart", raised(times > 0, Severity::Warning), BoxFault::UncleanRestart { times }, Holds::NONE),
        sight("memory", raised(ended > 0, Severity::Warning), BoxFault::OutOfMemory { ended }, Holds::NONE),
    ];
    let Some(disk) = system_disk(snapshot) else { return seen };
    let device = || disk.device.clone();
    // A system that was moved to another disk has left what was wrong with the one before.
    let is_card = disk.kind == SystemDiskKind::SdCard;
    let bytes = if is_card { ledger.count(&written(disk)) } else { 0 };
    let side = raised(bytes > CARD_BYTES, Severity::Warning);
    let what = BoxFault::CardWears { device: device(), written: Bytes(bytes), bearable: Bytes(CARD_BYTES) };
    seen.push(sight("card", side, what, Holds::new(HOUR, Duration::ZERO)));
    let count = if disk.kind == SystemDiskKind::Disk { 0 } else { ledger.count(&failures(disk)) };
    let side = raised(count > 0, Severity::Critical);
    seen.push(sight("disk", side, BoxFault::DiskErrors { device: device(), count }, Holds::NONE));
    seen
}
