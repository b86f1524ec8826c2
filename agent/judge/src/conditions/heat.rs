//! drive-hot: a drive is warmer than it should be, or soon will be. A drive that sleeps or was taken out is not warm;
//! one that does not answer is as warm as it last said, so nothing moves.

use super::rule::Rule;
use crate::forecast::outlook;
use crate::heat_limits::heat_limits;
use crate::kinds::Traits;
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::memory::drives;
use crate::play::{Need, Play, Who};
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{Drive, DriveKey, DriveKind, Power, Snapshot};
use traylight_data::units::Celsius;
use traylight_data::verdict::{Condition, Figure, Finding, Kind, Limit, Origin, Outlook, Reaches, Severity, Subject};

/// A limit that will be passed within this time is told of ahead.
const AHEAD: Duration = Duration::from_secs(30 * 60);
/// Degrees above the warmest of the others from which on it is about the drive's tray (starting value, no source).
const ALONE: f64 = 8.0;
/// How long a limit must be out of reach before that is over.
const AHEAD_CLEAR: Duration = Duration::from_secs(5 * 60);

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::DriveHot)
        .played(Play::slow(&[Need::Temperatures], 3, |the_box, _| the_box.degrees_from_limit(Who::One, 2.0)))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, snapshot: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let Finding::DriveHot { limit, own_limit, .. } = condition.finding else { return Vec::new() };
    let drives = snapshot.map_or(&[][..], |snapshot| &snapshot.drives);
    let hdd = [set!(settings, drive.hdd_warning_c, Celsius), set!(settings, drive.hdd_critical_c, Celsius)];
    let ssd = [set!(settings, drive.ssd_warning_c, Celsius), set!(settings, drive.ssd_critical_c, Celsius)];
    let Some(drive) = drives.iter().find(|drive| condition.subject.drive() == Some(&drive.key)) else {
        let set = [hdd, ssd].concat().iter().map(|set| set.origin).max().unwrap_or(Origin::Default);
        let origin = if own_limit { Origin::Drive } else { set };
        return vec![limit!("limit.drive-hot.last-seen", limit = limit).of(origin)];
    };
    let in_force = heat_limits(settings, drive);
    let (warning, critical) = (Celsius(in_force.warning), Celsius(in_force.critical));
    let mut limits = match (drive.own_limits.maximum, if drive.kind == DriveKind::Ssd { ssd } else { hdd }) {
        (Some(own), _) => vec![
            limit!("limit.drive-hot.warning-own", from = warning, own = own).of(Origin::Drive),
            limit!("limit.drive-hot.critical-own", from = critical, own = own).of(Origin::Drive),
        ],
        (None, set) => vec![
            limit!("limit.drive-hot.warning", from = warning).of(set[0].origin),
            limit!("limit.drive-hot.critical", from = critical).of(set[1].origin),
        ],
    };
    limits.extend([
        limit!(
            "limit.drive-hot.held",
            warning = set!(settings, drive.warning_hold),
            critical = set!(settings, drive.critical_hold)
        ),
        limit!(
            "limit.drive-hot.over",
            below = set!(settings, drive.clear_below_c, Figure::Degrees),
            hold = set!(settings, drive.clear_hold)
        ),
    ]);
    limits.extend(drive.own_limits.critical.map(|end| limit!("limit.drive-hot.end", from = end).of(Origin::Drive)));
    limits.push(limit!("limit.drive-hot.ahead", within = AHEAD));
    limits
}

/// What is seen of every drive with a temperature, and of those that can have none any more.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let is_asleep = |drive: &&Drive| drive.power.get() == Some(&Power::Asleep);
    // What a sleeping drive last told is not how warm it is.
    let awake = snapshot.drives.iter().filter(|drive| !is_asleep(drive));
    let warm = awake.filter_map(|drive| warm(settings, memory, snapshot, drive));
    let absent = memory.drives.iter().filter(|(_, drive)| !drive.present).map(|(key, _)| key.clone());
    let asleep = snapshot.drives.iter().filter(is_asleep).map(|drive| drive.key.clone());
    let no_longer = absent.chain(asleep).filter_map(|key| {
        Some(Observation::over(memory.condition(Kind::DriveHot, &Subject::Drive(key))?, snapshot.taken))
    });
    warm.chain(no_longer).collect()
}

fn warm(settings: &Settings, memory: &Memory, snapshot: &Snapshot, drive: &Drive) -> Option<Observation> {
    let limits = &settings.limits.drive;
    let now = *drive.temperature.get()?;
    let in_force = heat_limits(settings, drive);
    let subject = Subject::Drive(drive.key.clone());
    let open = memory.condition(Kind::DriveHot, &subject);
    let was_warm = open.is_some_and(|open| open.severity >= Severity::Warning);
    let outlook = outlook(settings, memory, snapshot, drive);
    let (zone, is_ahead) = if now.0 >= in_force.critical {
        (Zone::Raised(Severity::Critical), false)
    } else if now.0 >= in_force.warning {
        (Zone::Raised(Severity::Warning), false)
    } else if was_warm {
        let still = now.0 > in_force.warning - limits.clear_below_c;
        (if still { Zone::Between } else { Zone::Clear }, false)
    } else {
        (ahead(outlook.as_ref()), true)
    };
    // What the drive itself calls the end is believed at once.
    let at_the_end = drive.own_limits.critical.is_some_and(|end| now >= end);
    let limit = if now.0 >= in_force.critical { in_force.critical } else { in_force.warning };
    let others = others(snapshot, drive);
    Some(Observation {
        subject,
        zone,
        // Holds are counted between answers of the drive: one odd answer is never enough.
        seen: drive.temperature.taken,
        finding: Finding::DriveHot {
            drive: drives::place_of(settings, drive),
            now,
            limit: Celsius(limit),
            own_limit: in_force.origin == Origin::Drive,
            others,
            is_alone: others.is_some_and(|(_, warmest)| now.0 - warmest.0 >= ALONE),
            outlook,
        },
        holds: Holds {
            notice: if is_ahead { outlook::TWO_FITS } else { limits.warning_hold },
            warning: limits.warning_hold,
            critical: if at_the_end { Duration::ZERO } else { limits.critical_hold },
            clear: if is_ahead { AHEAD_CLEAR } else { limits.clear_hold },
        },
    })
}

/// In which zone the warning ahead is: clear when not even the best estimate gets to the limit.
fn ahead(outlook: Option<&Outlook>) -> Zone {
    match outlook.and_then(|outlook| outlook.reaches) {
        Some(reaches) if is_ahead(&reaches) => Zone::Raised(Severity::Notice),
        Some(_) => Zone::Between,
        None => Zone::Clear,
    }
}

/// Worth a notice: the best estimate is there soon, and the cautious end of the interval gets there too.
pub fn is_ahead(reaches: &Reaches) -> bool {
    reaches.middle <= AHEAD && reaches.latest.is_some()
}

/// Where a drive with a temperature is heading: about its next limit, or the last when it is past them.
pub fn outlook(settings: &Settings, memory: &Memory, snapshot: &Snapshot, drive: &Drive) -> Option<Outlook> {
    let now = *drive.temperature.get()?;
    let in_force = heat_limits(settings, drive);
    let next = if now.0 < in_force.warning { in_force.warning } else { in_force.critical };
    memory.outlook.of(&drive.key, snapshot.taken, Celsius(next))
}

/// The outlooks of all drives that have one, each on the next limit above its temperature.
pub fn outlooks(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> BTreeMap<DriveKey, Outlook> {
    let of = |drive: &Drive| Some((drive.key.clone(), outlook(settings, memory, snapshot, drive)?));
    snapshot.drives.iter().filter_map(of).collect()
}

/// The coolest and warmest of the other drives of the same kind: one hot among cool ones is about its tray.
fn others(snapshot: &Snapshot, drive: &Drive) -> Option<(Celsius, Celsius)> {
    let others = snapshot.drives.iter().filter(|other| other.key != drive.key && other.kind == drive.kind);
    let degrees: Vec<f64> = others.filter_map(|other| other.temperature.get().map(|celsius| celsius.0)).collect();
    let coolest = degrees.iter().copied().reduce(f64::min)?;
    let warmest = degrees.iter().copied().reduce(f64::max)?;
    Some((Celsius(coolest), Celsius(warmest)))
}
