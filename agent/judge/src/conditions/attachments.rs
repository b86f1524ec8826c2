//! sata-slow, usb-slow, drive-timeouts and recovery-time-mismatch: how the kernel gets on with a drive. Cables, plugs and power
//! are behind these more often than the drive is.

use super::drive_context::DriveContext;
use super::rule::Rule;
use crate::kinds::{Several, TOGETHER, Traits, Trouble};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::attachments::TIMEOUTS_COUNT_FOR;
use crate::memory::drives;
use crate::play::{Need, Play, Who};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::port::controller_of;
use traylight_data::reading::{Bus, DriveKind, Pool, Reason, RecoveryLimit, Snapshot};
use traylight_data::units::MegabitsPerSecond;
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity};

/// For how long a link must be slower.
const SLOW_HOLD: Duration = Duration::from_secs(600);
/// Without a limit three minutes of patience are enough for most disks (common practice, no source).
const WITHOUT_LIMIT: Duration = Duration::from_secs(180);
const SLOW: Holds = Holds::new(SLOW_HOLD, Duration::ZERO);

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::SataSlow)
            .about_trays()
            .sign_of(Trouble::Transfer)
            .several(Several::BegunWithin(TOGETHER))
            .played(Play::slow(&[Need::Attachment], 12, |the_box, _| {
                the_box.each(Who::One, |drive| drive.attachment.speed.value = Ok(MegabitsPerSecond(1500)))
            })),
        Traits::of(Kind::UsbSlow).several(Several::BegunWithin(TOGETHER)).played(Play::slow(
            &[Need::Attachment],
            12,
            |the_box, _| {
                the_box.each(Who::One, |drive| {
                    (drive.bus, drive.attachment.speed.value) = (Bus::Usb, Ok(MegabitsPerSecond(480)));
                });
            },
        )),
        Traits::of(Kind::DriveTimeouts).about_trays().sign_of(Trouble::Connection).played(Play::fast(
            &[Need::Attachment],
            10,
            |the_box, _| the_box.time_out(Who::One, 2),
        )),
        Traits::of(Kind::RecoveryTimeMismatch).several(Several::OfTheBox).played(Play::fast(
            &[Need::Pool, Need::Disk],
            10,
            |the_box, _| the_box.healthy(Who::One, |health| health.recovery_limit = Ok(RecoveryLimit::Off)),
        )),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::SataSlow => vec![limit!("limit.sata-slow", hold = SLOW.warning)],
        Kind::UsbSlow => vec![limit!("limit.usb-slow", hold = SLOW.warning)],
        Kind::DriveTimeouts => vec![limit!("limit.drive-timeouts", within = TIMEOUTS_COUNT_FOR)],
        Kind::RecoveryTimeMismatch => vec![limit!("limit.recovery-time-mismatch", without = WITHOUT_LIMIT)],
        _ => Vec::new(),
    }
}

/// What is seen of every drive.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let seen = snapshot.drives.iter().flat_map(|drive| {
        let about = DriveContext { settings, memory, snapshot, drive };
        about.slow().into_iter().chain(about.timeouts()).chain(about.recovery())
    });
    seen.collect()
}

impl DriveContext<'_> {
    /// Measured against what this drive did here before: many a drive or port never does more. A USB 3 socket is two ports,
    /// and a drive that falls back to the old one may be on a port of another number: there the controller decides.
    /// What was told of its link on the other bus is over.
    fn slow(&self) -> Vec<Observation> {
        let Some((zone, now, best)) = self.slowed() else { return Vec::new() };
        let drive = self.place();
        let sata = Finding::SataSlow { drive: drive.clone(), now, best };
        let usb = Finding::UsbSlow { drive, now, best, held: SLOW_HOLD };
        let (own, other) = if self.drive.bus == Bus::Usb { (usb, sata) } else { (sata, usb) };
        let is_told = self.memory.condition(other.kind(), &self.subject()).is_some();
        let over = is_told.then(|| self.observation_at(self.snapshot.taken, Zone::Clear, other, SLOW));
        over.into_iter().chain([self.observation_at(self.snapshot.taken, zone, own, SLOW)]).collect()
    }

    fn slowed(&self) -> Option<(Zone, MegabitsPerSecond, MegabitsPerSecond)> {
        let now = *self.drive.attachment.speed.get()?;
        let agreed = self.memory.ledger.known_drives.get(&self.drive.key)?;
        let controller = |port: &Option<String>| port.as_deref().and_then(controller_of).map(str::to_owned);
        let is_usb = self.drive.bus == Bus::Usb;
        let is_here = agreed.port == self.drive.port
            || (is_usb && controller(&agreed.port).is_some_and(|of| Some(of) == controller(&self.drive.port)));
        // On another port it has another link, of which nothing is known yet.
        let best = if is_here { agreed.best_speed? } else { now };
        let zone = if now < best { Zone::Raised(Severity::Warning) } else { Zone::Clear };
        Some((zone, now, best))
    }

    fn timeouts(&self) -> Option<Observation> {
        let known = self.memory.ledger.attachments.get(&self.drive.key)?;
        let grown: u64 = known.timed_out.iter().map(|(_, grown)| grown).sum();
        let zone = if grown > 0 { Zone::Raised(Severity::Warning) } else { Zone::Clear };
        let count = |number: u64| i64::try_from(number).unwrap_or(i64::MAX);
        let (total, grown) = (count(known.count?), count(grown));
        let finding = Finding::DriveTimeouts { drive: self.place(), total, grown, within: TIMEOUTS_COUNT_FOR };
        Some(self.observation_at(self.snapshot.taken, zone, finding, Holds::NONE))
    }

    /// A disk that tries for longer than the kernel waits is reset in the middle of it, and its pool may throw it out
    /// for one bad sector.
    fn recovery(&self) -> Option<Observation> {
        let patience = *self.drive.attachment.patience.get()?;
        let health = self.drive.health.get()?;
        let is_redundant = |pool: &Pool| pool.groups.iter().any(|group| group.tolerates > 0);
        let in_a_pool = drives::pools_of(self.snapshot, &self.drive.device).any(is_redundant);
        let tries = match &health.recovery_limit {
            Ok(RecoveryLimit::Off) => None,
            Ok(RecoveryLimit::After(limit)) => Some(*limit),
            // Not asked is not known; a disk that has no such limit tries for as long as it likes.
            Err(why) if why.reason == Reason::NotAvailable => None,
            Err(_) => return None,
        };
        let enough = tries.unwrap_or(WITHOUT_LIMIT);
        let too_long = if tries.is_some() { enough >= patience } else { enough > patience };
        let is_meant = in_a_pool && self.drive.kind == DriveKind::Hdd;
        let zone = if is_meant && too_long { Zone::Raised(Severity::Notice) } else { Zone::Clear };
        let device = self.drive.device.clone();
        let finding =
            Finding::RecoveryTimeMismatch { drive: self.place(), device, tries, patience, enough: WITHOUT_LIMIT };
        Some(self.observation_at(self.snapshot.taken, zone, finding, Holds::NONE))
    }
}
