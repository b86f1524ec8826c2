//! drive-hot: a drive is warmer than it should be. A drive that sleeps or was taken out is not warm; one that does
//! not answer is as warm as it last said, so nothing moves.

use super::track::{Holds, Side, Sight};
use super::{Memory, drives};
use crate::reading::{Drive, DriveKind, Power, Snapshot};
use crate::units::Celsius;
use crate::verdict::{Finding, Kind, Severity, Subject};
use std::time::Duration;
use traylight_config::{DriveLimits, Settings};

/// A drive's limits as they are in force.
struct Limits {
    warning: f64,
    critical: f64,
    own: bool,
}

/// What is seen of every drive with a temperature, and of those that can have none any more.
pub fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let is_asleep = |drive: &&Drive| drive.power.get() == Some(&Power::Asleep);
    // What a sleeping drive last told is not how warm it is.
    let awake = snapshot.drives.iter().filter(|drive| !is_asleep(drive));
    let warm = awake.filter_map(|drive| warm(settings, snapshot, drive));
    let absent = memory.drives.iter().filter(|(_, drive)| !drive.present).map(|(key, _)| key.clone());
    let asleep = snapshot.drives.iter().filter(is_asleep).map(|drive| drive.key.clone());
    let no_longer = absent.chain(asleep).filter_map(|key| {
        let subject = Subject::Drive(key);
        let open = memory.tracks.get(&(Kind::DriveHot, subject.clone()))?.open()?;
        let (seen, finding) = (snapshot.taken, open.finding.clone());
        Some(Sight { subject, side: Side::Clear, seen, finding, holds: Holds::new(Duration::ZERO, Duration::ZERO) })
    });
    warm.chain(no_longer).collect()
}

fn warm(settings: &Settings, snapshot: &Snapshot, drive: &Drive) -> Option<Sight> {
    let limits = &settings.limits.drive;
    let now = *drive.temperature.get()?;
    let in_force = in_force(limits, drive);
    let side = if now.0 >= in_force.critical {
        Side::Raised(Severity::Critical)
    } else if now.0 >= in_force.warning {
        Side::Raised(Severity::Warning)
    } else if now.0 > in_force.warning - limits.clear_below_c {
        Side::Between
    } else {
        Side::Clear
    };
    // What the drive itself calls the end is believed at once.
    let at_the_end = drive.own_limits.critical.is_some_and(|end| now >= end);
    let limit = if now.0 >= in_force.critical { in_force.critical } else { in_force.warning };
    Some(Sight {
        subject: Subject::Drive(drive.key.clone()),
        side,
        // Holds are counted between answers of the drive: one odd answer is never enough.
        seen: drive.temperature.taken,
        finding: Finding::DriveHot {
            drive: drives::place_of(settings, drive),
            now,
            limit: Celsius(limit),
            own_limit: in_force.own,
            others: others(snapshot, drive),
        },
        holds: Holds {
            warning: limits.warning_hold,
            critical: if at_the_end { Duration::ZERO } else { limits.critical_hold },
            clear: limits.clear_hold,
        },
    })
}

/// The drive's own limit where it states one, else the configured ones. Turning disks are kept 10 degrees below their
/// own limit and within 45 to 55; flash 5 below (common practice, no source).
fn in_force(limits: &DriveLimits, drive: &Drive) -> Limits {
    match (drive.kind, drive.own_limits.maximum) {
        (DriveKind::Ssd, Some(Celsius(own))) => Limits { warning: own - 5.0, critical: own, own: true },
        (DriveKind::Ssd, None) => Limits { warning: limits.ssd_warning_c, critical: limits.ssd_critical_c, own: false },
        (_, Some(Celsius(own))) => Limits { warning: (own - 10.0).clamp(45.0, 55.0), critical: own - 2.0, own: true },
        (_, None) => Limits { warning: limits.hdd_warning_c, critical: limits.hdd_critical_c, own: false },
    }
}

/// The coolest and warmest of the other drives of the same kind: one hot among cool ones is about its tray.
fn others(snapshot: &Snapshot, drive: &Drive) -> Option<(Celsius, Celsius)> {
    let others = snapshot.drives.iter().filter(|other| other.key != drive.key && other.kind == drive.kind);
    let degrees: Vec<f64> = others.filter_map(|other| other.temperature.get().map(|celsius| celsius.0)).collect();
    let coolest = degrees.iter().copied().reduce(f64::min)?;
    let warmest = degrees.iter().copied().reduce(f64::max)?;
    Some((Celsius(coolest), Celsius(warmest)))
}
