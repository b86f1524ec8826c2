//! sata-slow, usb-slow, drive-timeouts and recovery-time-mismatch: how the kernel gets on with a drive. Cables, plugs and power
//! are behind these more often than the drive is.

use super::Rule;
use super::about::About;
use crate::Memory;
use crate::memory::drives;
use crate::memory::signs::Signs;
use crate::track::{Holds, Side, Sight};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::port::controller_of;
use traylight_data::reading::{
    Bus, Drive, DriveKey, DriveKind, Happening, Pool, Power, Reason, RecoveryLimit, Snapshot, Teller,
};
use traylight_data::units::MegabitsPerSecond;
use traylight_data::verdict::{Finding, Severity, Subject};

/// Time-outs within this count.
pub const DAY: Duration = Duration::from_secs(86_400);
/// A drive that has just been woken may let a command wait until its disks turn; the count is looked at every 10 s.
const AFTER_A_WAKE: Duration = Duration::from_secs(40);
/// What the kernel's log told so long before a count was seen to grow may be what was counted.
const MEANWHILE: Duration = Duration::from_secs(20);
/// More time-outs than this tell nothing more.
const TIMEOUTS: usize = 64;
/// For how long a link must be slower.
pub const SLOW_HOLD: Duration = Duration::from_secs(600);
/// Without a limit three minutes of patience are enough for most disks (common practice, no source).
pub const WITHOUT_LIMIT: Duration = Duration::from_secs(180);
const SLOW: Holds = Holds::new(SLOW_HOLD, Duration::ZERO);

/// What is remembered of time-outs.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Known {
    drives: BTreeMap<DriveKey, KnownDrive>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct KnownDrive {
    /// The kernel's count at the look before; it begins anew when the drive appears anew.
    count: Option<u64>,
    last_asleep: Option<Moment>,
    /// When commands timed out, and how many at once.
    timed_out: Vec<(Moment, u64)>,
}

impl Known {
    /// As when the machine has started again: what was counted lies before, and the kernel counts anew.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        for known in self.drives.values_mut() {
            known.count = None;
            known.last_asleep = known.last_asleep.map(&by);
            known.timed_out.iter_mut().for_each(|(at, _)| *at = by(*at));
        }
    }

    /// Takes in the counts as they are now; `signs` have learned from the same snapshot.
    pub fn learn(&mut self, signs: &Signs, snapshot: &Snapshot) {
        if drives::is_blind(snapshot) {
            return;
        }
        let now = snapshot.taken;
        let there: BTreeSet<&DriveKey> = snapshot.drives.iter().map(|drive| &drive.key).collect();
        for (key, known) in &mut self.drives {
            known.timed_out.retain(|(at, _)| now.since(*at) < DAY);
            if !there.contains(key) {
                known.count = None;
            }
        }
        self.drives.retain(|_, known| known.count.is_some() || !known.timed_out.is_empty());
        for drive in &snapshot.drives {
            let has_answered = has_answered(signs, drive, now);
            self.drives.entry(drive.key.clone()).or_default().learn(drive, has_answered, now);
        }
    }
}

impl KnownDrive {
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
    const ANSWERS: [Happening; 3] = [Happening::CommandFailed, Happening::Unreadable, Happening::TransferDamaged];
    let told = |kinds: &[Happening]| {
        let mut lately = signs.of(&drive.key).filter(|sign| now.since(sign.last) < MEANWHILE);
        lately.any(|sign| sign.event.teller == Teller::Log && kinds.contains(&sign.event.what))
    };
    drive.bus == Bus::Sata && told(&ANSWERS) && !told(&[Happening::TimedOut])
}

/// The rule of this file.
pub const RULE: Rule = Rule { sights };

/// What is seen of every drive.
fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let seen = snapshot.drives.iter().flat_map(|drive| {
        let about = About { settings, memory, snapshot, drive };
        about.slow().into_iter().chain(about.timeouts()).chain(about.recovery())
    });
    seen.collect()
}

impl About<'_> {
    /// Measured against what this drive did here before: many a drive or port never does more. A USB 3 socket is two ports,
    /// and a drive that falls back to the old one may be on a port of another number: there the controller decides.
    /// What was told of its link on the other bus is over.
    fn slow(&self) -> Vec<Sight> {
        let Some((side, now, best)) = self.slowed() else { return Vec::new() };
        let drive = self.place();
        let sata = Finding::SataSlow { drive: drive.clone(), now, best };
        let usb = Finding::UsbSlow { drive, now, best, held: SLOW_HOLD };
        let (own, other) = if self.drive.bus == Bus::Usb { (usb, sata) } else { (sata, usb) };
        let is_told = self.memory.is_open(other.kind(), &Subject::Drive(self.drive.key.clone()));
        let over = is_told.then(|| self.sight_at(self.snapshot.taken, Side::Clear, other, SLOW));
        over.into_iter().chain([self.sight_at(self.snapshot.taken, side, own, SLOW)]).collect()
    }

    fn slowed(&self) -> Option<(Side, MegabitsPerSecond, MegabitsPerSecond)> {
        let now = *self.drive.attachment.speed.get()?;
        let agreed = self.memory.ledger.acquaintances.get(&self.drive.key)?;
        let controller = |port: &Option<String>| port.as_deref().and_then(controller_of).map(str::to_owned);
        let is_usb = self.drive.bus == Bus::Usb;
        let is_here = agreed.port == self.drive.port
            || (is_usb && controller(&agreed.port).is_some_and(|of| Some(of) == controller(&self.drive.port)));
        // On another port it has another link, of which nothing is known yet.
        let best = if is_here { agreed.best_speed? } else { now };
        let side = if now < best { Side::Raised(Severity::Warning) } else { Side::Clear };
        Some((side, now, best))
    }

    fn timeouts(&self) -> Option<Sight> {
        let known = self.memory.ledger.attachments.drives.get(&self.drive.key)?;
        let grown: u64 = known.timed_out.iter().map(|(_, grown)| grown).sum();
        let side = if grown > 0 { Side::Raised(Severity::Warning) } else { Side::Clear };
        let count = |number: u64| i64::try_from(number).unwrap_or(i64::MAX);
        let (total, grown) = (count(known.count?), count(grown));
        let finding = Finding::DriveTimeouts { drive: self.place(), total, grown, within: DAY };
        Some(self.sight_at(self.snapshot.taken, side, finding, Holds::NONE))
    }

    /// A disk that tries for longer than the kernel waits is reset in the middle of it, and its pool may throw it out
    /// for one bad sector.
    fn recovery(&self) -> Option<Sight> {
        let patience = *self.drive.attachment.patience.get()?;
        let health = self.drive.health.get()?;
        let is_redundant = |pool: &Pool| pool.groups.iter().any(|group| group.tolerates > 0);
        let in_a_pool = drives::pools_of(self.snapshot, &self.drive.device).any(is_redundant);
        let tries = match &health.recovery_limit {
            Ok(RecoveryLimit::Off) => None,
            Ok(RecoveryLimit::After(limit)) => Some(*limit),
            // Not asked is not known; a disk that has no such limit tries for as long as it likes.
            Err(why) if why.reason == Reason::NotFitted => None,
            Err(_) => return None,
        };
        let enough = tries.unwrap_or(WITHOUT_LIMIT);
        let too_long = if tries.is_some() { enough >= patience } else { enough > patience };
        let is_meant = in_a_pool && self.drive.kind == DriveKind::Hdd;
        let side = if is_meant && too_long { Side::Raised(Severity::Notice) } else { Side::Clear };
        let device = self.drive.device.clone();
        let finding =
            Finding::RecoveryTimeMismatch { drive: self.place(), device, tries, patience, enough: WITHOUT_LIMIT };
        Some(self.sight_at(self.snapshot.taken, side, finding, Holds::NONE))
    }
}
