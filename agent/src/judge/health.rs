//! What drives say of themselves: drive-says-failing, pending-or-uncorrectable, reallocated-growth, sata-crc-growth,
//! drive-lost-power, ssd-worn. Growth is judged, by a ledger that outlives restarts; raw totals never decide alone.
//!
//! The thresholds are starting values (common practice, no source), except that one pending, reallocated or
//! uncorrectable sector counts: Pinheiro, Weber and Barroso (FAST 2007) found 1 to be the critical number.

use super::track::{Holds, Side, Sight};
use super::{Memory, drives, redundancy};
use crate::reading::{Drive, DriveKey, SelfAssessment, Snapshot};
use crate::units::Percent;
use crate::verdict::{Counted, Finding, Severity, Subject};
use std::time::Duration;
use traylight_config::Settings;

const DAY: Duration = Duration::from_secs(86_400);
/// Two readings must agree; they are at least this far apart.
const TWO_READINGS: Holds = Holds::new(Duration::from_secs(1), Duration::ZERO);
const AT_ONCE: Holds = Holds::new(Duration::ZERO, Duration::ZERO);

/// What is seen of every drive that told of its health.
pub fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let told = snapshot.drives.iter().filter(|drive| drive.health.get().is_some());
    let seen = told.flat_map(|drive| {
        let about = About { settings, memory, snapshot, drive };
        [about.failing(), about.unreadable(), about.reallocated(), about.crc(), about.power(), about.worn()]
    });
    seen.flatten().collect()
}

/// One drive and what is known of it.
struct About<'a> {
    settings: &'a Settings,
    memory: &'a Memory,
    snapshot: &'a Snapshot,
    drive: &'a Drive,
}

impl About<'_> {
    fn failing(&self) -> Option<Sight> {
        let health = self.drive.health.get()?;
        // A drive that once said so stays under suspicion until it is replaced.
        let side = match health.assessment.as_ref().ok()? {
            SelfAssessment::Failing => Side::Raised(Severity::Critical),
            SelfAssessment::Passed => Side::Between,
        };
        Some(self.sight(side, Finding::DriveSaysFailing { drive: self.place() }, TWO_READINGS))
    }

    fn unreadable(&self) -> Option<Sight> {
        const NEVER_READABLE: [&str; 3] =
            ["offline_uncorrectable_sectors", "reported_uncorrectable_errors", "media_errors"];
        let pending = self.memory.ledger.now(self.key(), "pending_sectors");
        let grown: Option<i64> = NEVER_READABLE.iter().filter_map(|name| self.growth(name, 7 * DAY)).reduce(i64::max);
        if pending.is_none() && grown.is_none() {
            return None;
        }
        let (pending, grown) = (pending.unwrap_or(0), grown.unwrap_or(0));
        let pool = drives::pool_of(self.snapshot, &self.drive.device);
        let needed = pool.is_some_and(|pool| redundancy::standing(pool).lost > 0);
        let side = match pending.max(grown) {
            10.. => Side::Raised(Severity::Critical),
            1.. if needed => Side::Raised(Severity::Critical),
            1.. => Side::Raised(Severity::Warning),
            // Read again at last, or written over: it is over when none comes for a week.
            _ if self.memory.ledger.highest(self.key(), "pending_sectors", 7 * DAY) > Some(0) => Side::Between,
            _ => Side::Clear,
        };
        Some(self.counted(side, Counted::Unreadable, pending, grown, 7 * DAY, TWO_READINGS))
    }

    fn reallocated(&self) -> Option<Sight> {
        let grown = |within| self.growth("reallocated_sectors", within);
        let side = match (grown(DAY)?, grown(7 * DAY)?, grown(30 * DAY)?) {
            (50.., ..) => Side::Raised(Severity::Critical),
            (_, 1.., _) => Side::Raised(Severity::Warning),
            (.., 1..) => Side::Between,
            _ => Side::Clear,
        };
        let total = self.memory.ledger.now(self.key(), "reallocated_sectors")?;
        Some(self.counted(side, Counted::Reallocated, total, grown(30 * DAY)?, 30 * DAY, TWO_READINGS))
    }

    fn crc(&self) -> Option<Sight> {
        let grown = |within| self.growth("interface_crc_errors", within);
        let side = match (grown(DAY)?, grown(7 * DAY)?) {
            (3.., _) | (_, 10..) => Side::Raised(Severity::Warning),
            (_, 1..) => Side::Raised(Severity::Notice),
            _ => Side::Clear,
        };
        let total = self.memory.ledger.now(self.key(), "interface_crc_errors")?;
        Some(self.counted(side, Counted::CrcErrors, total, grown(7 * DAY)?, 7 * DAY, AT_ONCE))
    }

    /// The box is watched from its start, so a drive that starts again while it is watched lost its power.
    fn power(&self) -> Option<Sight> {
        let grown = |drive: &DriveKey| self.memory.drives.get(drive)?.starts_seen(&self.memory.ledger, drive);
        let own = grown(self.key())?;
        let others = self.snapshot.drives.iter().filter(|drive| drive.key != self.drive.key);
        let together = own > 0 && others.filter_map(|drive| grown(&drive.key)).any(|starts| starts > 0);
        let side = match own {
            1.. if together => Side::Raised(Severity::Critical),
            1.. => Side::Raised(Severity::Warning),
            _ => Side::Clear,
        };
        let total = self.memory.ledger.now(self.key(), "power_cycles")?;
        Some(self.counted(side, Counted::PowerCycles, total, own, 7 * DAY, AT_ONCE))
    }

    fn worn(&self) -> Option<Sight> {
        let used = self.memory.ledger.now(self.key(), "wear_used_percent")?;
        let side = match used {
            95.. => Side::Raised(Severity::Critical),
            80.. => Side::Raised(Severity::Warning),
            _ => Side::Clear,
        };
        Some(self.sight(side, Finding::SsdWorn { drive: self.place(), used: Percent(used as f64) }, TWO_READINGS))
    }

    fn counted(&self, side: Side, what: Counted, total: i64, grown: i64, within: Duration, holds: Holds) -> Sight {
        self.sight(side, Finding::Counted { drive: self.place(), what, total, grown, within }, holds)
    }

    fn sight(&self, side: Side, finding: Finding, holds: Holds) -> Sight {
        Sight { subject: Subject::Drive(self.key().clone()), side, seen: self.drive.health.taken, finding, holds }
    }

    fn growth(&self, counter: &str, within: Duration) -> Option<i64> {
        self.memory.ledger.growth(self.key(), counter, within)
    }

    fn key(&self) -> &DriveKey {
        &self.drive.key
    }

    fn place(&self) -> crate::verdict::Place {
        drives::place_of(self.settings, self.drive)
    }
}
