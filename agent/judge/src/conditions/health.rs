//! What drives say of themselves: drive-health-failed, pending-or-uncorrectable, reallocated-growth, sata-crc-growth,
//! drive-lost-power, ssd-worn. Growth is judged, by a ledger that outlives restarts; raw totals never decide alone.
//!
//! The thresholds are starting values (common practice, no source), except that one pending, reallocated or
//! uncorrectable sector counts: Pinheiro, Weber and Barroso (FAST 2007) found 1 to be the critical number.

use super::drive_context::DriveContext;
use super::rule::Rule;
use crate::kinds::{Traits, Trouble};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::sign::Sign;
use crate::memory::{drives, power_cycles};
use crate::play::{Need, Play, Who};
use crate::redundancy;
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::{DAY, WEEK};
use traylight_data::reading::{
    DriveKey, EventKind, Part, PastTest, SelfAssessment, SelfTest, SelfTests, Snapshot, TestKind,
};
use traylight_data::units::Percent;
use traylight_data::verdict::{Condition, Finding, HealthFailure, Kind, Limit, Origin, Severity, Subject};

/// Growth within this is fast.
const FAST_WITHIN: Duration = DAY;
/// Growth within this span counts.
const GROWN_WITHIN: Duration = WEEK;
/// So many sectors are critical; one is a warning.
const UNREADABLE_MANY: i64 = 10;
/// So many more within a day are critical.
const REALLOCATED_MANY: i64 = 50;
/// So many more within a day, or within a week, are a warning.
const CRC_FAST: i64 = 3;
/// So many damaged transfers within a week are a warning.
const CRC_MANY: i64 = 10;
/// So many percent used are a warning, or critical.
const WORN: i64 = 80;
/// From this wear on, in percent, it is critical.
const WORN_OUT: i64 = 95;
/// Drives that lose their power within this of each other lose it together.
const TOGETHER: Duration = Duration::from_secs(60);
/// Two readings must agree; they are at least this far apart.
const TWO_READINGS: Holds = Holds::new(Duration::from_secs(1), Duration::ZERO);
const RAISED: Zone = Zone::Raised(Severity::Critical);

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::DriveHealthFailed).about_trays().sign_of(Trouble::Media).played(Play::fast(
            &[Need::Health],
            10,
            |the_box, _| the_box.healthy(Who::One, |health| health.assessment = Ok(SelfAssessment::Failing)),
        )),
        Traits::of(Kind::PendingOrUncorrectable).about_trays().sign_of(Trouble::Media).played(Play::fast(
            &[Need::Health],
            10,
            |the_box, _| the_box.grow(Who::One, "pending_sectors", 8),
        )),
        Traits::of(Kind::ReallocatedGrowth).about_trays().sign_of(Trouble::Media).played(Play::fast(
            &[Need::Health],
            10,
            |the_box, _| the_box.grow(Who::One, "reallocated_sectors", 12),
        )),
        Traits::of(Kind::SataCrcGrowth).about_trays().sign_of(Trouble::Transfer).played(Play::fast(
            &[Need::Health],
            10,
            |the_box, _| the_box.grow(Who::One, "interface_crc_errors", 5),
        )),
        Traits::of(Kind::DriveLostPower).about_trays().sign_of(Trouble::Power).played(Play::fast(
            &[Need::Health],
            10,
            |the_box, _| the_box.grow(Who::One, "power_cycles", 1),
        )),
        Traits::of(Kind::SsdWorn)
            .about_trays()
            .played(Play::fast(&[Need::Health], 10, |the_box, _| the_box.grow(Who::One, "wear_used_percent", 97))),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::DriveHealthFailed => vec![limit!("limit.drive-health-failed").of(Origin::Drive)],
        Kind::PendingOrUncorrectable => {
            vec![limit!("limit.pending-or-uncorrectable", critical = UNREADABLE_MANY)]
        }
        Kind::ReallocatedGrowth => {
            vec![limit!(
                "limit.reallocated-growth",
                within = GROWN_WITHIN,
                critical = REALLOCATED_MANY,
                fast = FAST_WITHIN
            )]
        }
        Kind::SataCrcGrowth => {
            vec![limit!(
                "limit.sata-crc-growth",
                few = CRC_FAST,
                fast = FAST_WITHIN,
                many = CRC_MANY,
                within = GROWN_WITHIN
            )]
        }
        Kind::DriveLostPower => vec![limit!("limit.drive-lost-power", together = TOGETHER, over = GROWN_WITHIN)],
        Kind::SsdWorn => {
            vec![limit!("limit.ssd-worn", warning = Percent(WORN as f64), critical = Percent(WORN_OUT as f64))]
        }
        _ => Vec::new(),
    }
}

/// What is seen of every drive that told of its health.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let seen = snapshot.drives.iter().flat_map(|drive| {
        let about = DriveContext { settings, memory, snapshot, drive };
        if drive.health.get().is_none() {
            // Its record of self-tests is another question to it.
            return [about.failing(), None, None, None, None];
        }
        [about.failing(), about.unreadable(), about.reallocated(), about.crc(), about.worn()]
    });
    seen.flatten().chain(power(memory, snapshot)).collect()
}

/// drive-lost-power: of every drive that lost its power within a week, there or not, and of those of which that was told
/// before. Two that may have lost it within a minute of each other are critical.
fn power(memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let now = snapshot.taken;
    let lost = memory.ledger.signs.all().filter(|sign| sign.event.what == EventKind::LostPower);
    let lost: Vec<&Sign> = lost.filter(|sign| now.since(sign.last) < GROWN_WITHIN).collect();
    let of = |sign: &Sign| if let Part::Drive(key) = &sign.event.part { Some(key.clone()) } else { None };
    let told = memory.open().filter(|open| open.kind() == Kind::DriveLostPower);
    let keys: BTreeSet<DriveKey> =
        told.filter_map(|open| open.subject.drive().cloned()).chain(lost.iter().filter_map(|sign| of(sign))).collect();
    let observation = |key: DriveKey| {
        let (own, others): (Vec<&Sign>, Vec<&Sign>) = lost.iter().partition(|sign| of(sign).as_ref() == Some(&key));
        let together = own.iter().any(|sign| others.iter().any(|other| sign.may_be_with(other, TOGETHER)));
        let zone = match own.is_empty() {
            true => Zone::Clear,
            false if together => Zone::Raised(Severity::Critical),
            false => Zone::Raised(Severity::Warning),
        };
        let subject = Subject::Drive(key.clone());
        let counted = || {
            let drive = memory.drives.get(&key)?.place.clone();
            let total = memory.ledger.now(&key, power_cycles::COUNTER)?;
            let grown = own.iter().map(|sign| i64::from(sign.count)).sum();
            Some(Finding::DriveLostPower { drive, total, grown, within: GROWN_WITHIN })
        };
        let finding = counted().or_else(|| memory.finding(Kind::DriveLostPower, &subject).cloned())?;
        Some(Observation { subject, zone, seen: now, finding, holds: Holds::NONE })
    };
    keys.into_iter().filter_map(observation).collect()
}

impl DriveContext<'_> {
    /// A drive that once assessed itself as failing stays under suspicion until it is replaced. A failed self-test is
    /// taken back by a later passed one that looked at no less ([`SelfTests::standing_failure`]): a sector that could
    /// not be read may have been written anew since. It is not taken back by a record that has merely lost it.
    fn failing(&self) -> Option<Observation> {
        let (health, tests) = (&self.drive.health, &self.drive.self_tests);
        let assessment = health.get().and_then(|health| health.assessment.as_ref().ok());
        let failed = tests.get().and_then(failed_test);
        let told = self.memory.finding(Kind::DriveHealthFailed, &self.subject());
        let (how, zone, seen) = match (assessment, failed, told) {
            (Some(SelfAssessment::Failing), ..) => (HealthFailure::Assessment, RAISED, health.taken),
            (_, failed, Some(Finding::DriveHealthFailed { how: HealthFailure::Assessment, .. })) => {
                let zone = if failed.is_some() { RAISED } else { Zone::Between };
                (HealthFailure::Assessment, zone, health.taken.max(tests.taken))
            }
            (_, Some(failed), _) => (failed, RAISED, tests.taken),
            (_, None, Some(Finding::DriveHealthFailed { how: how @ HealthFailure::SelfTest { .. }, .. })) => {
                let undone = tests.get().is_some_and(|tests| tests.past.iter().any(|test| undoes(test, *how)));
                (*how, if undone { Zone::Clear } else { Zone::Between }, tests.taken)
            }
            (Some(SelfAssessment::Passed), None, _) => (HealthFailure::Assessment, Zone::Clear, health.taken),
            (None, None, _) => return None,
        };
        let finding = Finding::DriveHealthFailed { drive: self.place(), how };
        Some(Observation { seen, ..self.observation(zone, finding, TWO_READINGS) })
    }

    fn unreadable(&self) -> Option<Observation> {
        const NEVER_READABLE: [&str; 3] =
            ["offline_uncorrectable_sectors", "reported_uncorrectable_errors", "media_errors"];
        let pending = self.memory.ledger.now(self.key(), "pending_sectors");
        let grown: Option<i64> =
            NEVER_READABLE.iter().filter_map(|name| self.growth(name, GROWN_WITHIN)).reduce(i64::max);
        if pending.is_none() && grown.is_none() {
            return None;
        }
        let (pending, grown) = (pending.unwrap_or(0), grown.unwrap_or(0));
        let mut pools = drives::pools_of(self.snapshot, &self.drive.device);
        let needed = pools.any(|pool| redundancy::standing(pool).lost > 0);
        let zone = match pending.max(grown) {
            UNREADABLE_MANY.. => Zone::Raised(Severity::Critical),
            1.. if needed => Zone::Raised(Severity::Critical),
            1.. => Zone::Raised(Severity::Warning),
            // Read again at last, or written over: it is over when none comes for a week.
            _ if self.memory.ledger.highest(self.key(), "pending_sectors", GROWN_WITHIN) > Some(0) => Zone::Between,
            _ => Zone::Clear,
        };
        let finding =
            Finding::PendingOrUncorrectable { drive: self.place(), total: pending, grown, within: GROWN_WITHIN };
        Some(self.observation(zone, finding, TWO_READINGS))
    }

    fn reallocated(&self) -> Option<Observation> {
        let grown = |within| self.growth("reallocated_sectors", within);
        let zone = match (grown(FAST_WITHIN)?, grown(GROWN_WITHIN)?, grown(30 * DAY)?) {
            (REALLOCATED_MANY.., ..) => Zone::Raised(Severity::Critical),
            (_, 1.., _) => Zone::Raised(Severity::Warning),
            (.., 1..) => Zone::Between,
            _ => Zone::Clear,
        };
        let total = self.memory.ledger.now(self.key(), "reallocated_sectors")?;
        let (grown, within) = (grown(30 * DAY)?, 30 * DAY);
        let finding = Finding::ReallocatedGrowth { drive: self.place(), total, grown, within };
        Some(self.observation(zone, finding, TWO_READINGS))
    }

    fn crc(&self) -> Option<Observation> {
        let grown = |within| self.growth("interface_crc_errors", within);
        let zone = match (grown(FAST_WITHIN)?, grown(GROWN_WITHIN)?) {
            (CRC_FAST.., _) | (_, CRC_MANY..) => Zone::Raised(Severity::Warning),
            (_, 1..) => Zone::Raised(Severity::Notice),
            _ => Zone::Clear,
        };
        let total = self.memory.ledger.now(self.key(), "interface_crc_errors")?;
        let finding =
            Finding::SataCrcGrowth { drive: self.place(), total, grown: grown(GROWN_WITHIN)?, within: GROWN_WITHIN };
        Some(self.observation(zone, finding, Holds::NONE))
    }

    fn worn(&self) -> Option<Observation> {
        let used = self.memory.ledger.now(self.key(), "wear_used_percent")?;
        let zone = match used {
            WORN_OUT.. => Zone::Raised(Severity::Critical),
            WORN.. => Zone::Raised(Severity::Warning),
            _ => Zone::Clear,
        };
        Some(self.observation(zone, Finding::SsdWorn { drive: self.place(), used: Percent(used as f64) }, TWO_READINGS))
    }

    fn observation(&self, zone: Zone, finding: Finding, holds: Holds) -> Observation {
        self.observation_at(self.drive.health.taken, zone, finding, holds)
    }

    fn growth(&self, counter: &str, within: Duration) -> Option<i64> {
        self.memory.ledger.growth(self.key(), counter, within)
    }
}

/// The failed self-test that stands. A drive whose state says "failed" and whose record cannot be read failed some test.
fn failed_test(tests: &SelfTests) -> Option<HealthFailure> {
    let of_record = tests.standing_failure();
    let unknown = (tests.past.is_empty() && tests.now == SelfTest::Failed).then_some(HealthFailure::SelfTest {
        self_test: TestKind::Other,
        failed_at_lba: None,
        age_hours: None,
    });
    let of_record = of_record.map(|PastTest { kind, failed_at_lba, age_hours, .. }| HealthFailure::SelfTest {
        self_test: kind,
        failed_at_lba,
        age_hours,
    });
    of_record.or(unknown)
}

/// True for a passed test that looked at no less than the one by which the drive said that it fails.
fn undoes(test: &PastTest, how: HealthFailure) -> bool {
    matches!(how, HealthFailure::SelfTest { self_test, .. } if test.undoes_failure_of(self_test))
}
