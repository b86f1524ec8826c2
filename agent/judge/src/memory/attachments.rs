//! Which commands to drives timed out lately, by the kernel's counts.

use super::drives;
use super::learning::{Learned, Learns, Look};
use super::signs::Signs;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{Bus, Drive, DriveKey, EventKind, EventSource, Power};

/// Time-outs within this count.
pub const TIMEOUTS_COUNT_FOR: Duration = Duration::from_secs(86_400);
/// A drive that has just been woken may let a command wait until its disks turn; the count is looked at every 10 s.
const AFTER_A_WAKE: Duration = Duration::from_secs(40);
/// What the kernel's log told so long before a count was seen to grow may be what was counted.
const MEANWHILE: Duration = Duration::from_secs(20);
/// More time-outs than this tell nothing more.
const TIMEOUTS: usize = 64;

/// What is remembered of time-outs.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AttachmentMemory {
    drives: BTreeMap<DriveKey, TimeoutHistory>,
}

/// What is known of the time-outs of one drive.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct TimeoutHistory {
    /// The kernel's count at the look before; it begins anew when the drive appears anew.
    pub count: Option<u64>,
    last_asleep: Option<Moment>,
    /// When commands timed out, and how many at once.
    pub timed_out: Vec<(Moment, u64)>,
}

impl AttachmentMemory {
    /// As when the machine has started again: what was counted lies before, and the kernel counts anew.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        for known in self.drives.values_mut() {
            known.count = None;
            known.last_asleep = known.last_asleep.map(&by);
            known.timed_out.iter_mut().for_each(|(at, _)| *at = by(*at));
        }
    }

    /// What is known of one drive.
    pub fn get(&self, drive: &DriveKey) -> Option<&TimeoutHistory> {
        self.drives.get(drive)
    }
}

impl Learns<(Look<'_>, &Signs)> for AttachmentMemory {
    /// Takes in the counts as they are now.
    fn learn(&mut self, (look, signs): &(Look, &Signs)) -> Learned {
        let snapshot = look.snapshot;
        if drives::is_blind(snapshot) {
            return Learned::default();
        }
        let now = snapshot.taken;
        let there: BTreeSet<&DriveKey> = snapshot.drives.iter().map(|drive| &drive.key).collect();
        for (key, known) in &mut self.drives {
            known.timed_out.retain(|(at, _)| now.since(*at) < TIMEOUTS_COUNT_FOR);
            if !there.contains(key) {
                known.count = None;
            }
        }
        self.drives.retain(|_, known| known.count.is_some() || !known.timed_out.is_empty());
        for drive in &snapshot.drives {
            let has_answered = has_answered(signs, drive, now);
            self.drives.entry(drive.key.clone()).or_default().learn(drive, has_answered, now);
        }
        Learned::default()
    }
}

impl TimeoutHistory {
    fn learn(&mut self, drive: &Drive, has_answered: bool, now: Moment) {
        if drive.power.get() == Some(&Power::Asleep) {
            self.last_asleep = Some(now);
        }
        let Some(&count) = drive.attachment.timeouts.get() else { return };
        let grown = count.saturating_sub(self.count.unwrap_or(count));
        let just_woken = self.last_asleep.is_some_and(|asleep| now.since(asleep) < AFTER_A_WAKE);
        if grown > 0 && !just_woken && !has_answered {
            if self.timed_out.len() >= TIMEOUTS {
                self.timed_out.remove(0);
            }
            self.timed_out.push((now, grown));
        }
        self.count = Some(count);
    }
}

/// True when the kernel's log tells of commands to a SATA drive that failed with an answer lately, and of none without. The
/// kernel counts these as time-outs, too, since libata hands each failed command to the same recovery
/// (drivers/ata/libata-eh.c, `ata_qc_schedule_eh`; drivers/scsi/scsi_error.c, `scsi_timeout`).
fn has_answered(signs: &Signs, drive: &Drive, now: Moment) -> bool {
    const ANSWERS: [EventKind; 3] = [EventKind::CommandFailed, EventKind::Unreadable, EventKind::TransferDamaged];
    let told = |kinds: &[EventKind]| {
        let mut lately = signs.of(&drive.key).filter(|sign| now.since(sign.last) < MEANWHILE);
        lately.any(|sign| sign.event.teller == EventSource::Log && kinds.contains(&sign.event.what))
    };
    drive.bus == Bus::Sata && told(&ANSWERS) && !told(&[EventKind::TimedOut])
}
