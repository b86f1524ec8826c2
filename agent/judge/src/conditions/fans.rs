//! fan-stopped and fan-weak: a fan that should turn does not, or turns more slowly than it did. A tachometer that reads 0
//! is believed only where it was seen to read something: many channels have no fan, some chips read 0 for a fan that turns
//! slowly, and some fans rest while the box is cool.
//!
//! In a box without a tachometer, drives that get warmer than they ever were suggest that the fan may have stopped. The
//! temperature of the room cannot be measured, so this is cautious: each drive is compared with the warmest that it held
//! for an hour in the last season, with and without load, and several must rise together.

use super::rule::Rule;
use crate::kinds::{SLOWLY, Several, TOGETHER, Traits};
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::memory::airflow::{HOURS, RISING, SEASON, UNUSUAL, awake};
use crate::memory::drives;
use crate::memory::fans::is_steady;
use crate::memory::tachometers;
use crate::order;
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::MINUTE;
use traylight_data::reading::{Drive, Fan, Snapshot};
use traylight_data::units::{CelsiusDifference, Percent, Rpm};
use traylight_data::verdict::{Condition, Figure, Finding, Kind, Limit, Origin, Place, Severity, Subject, WeakFan};

/// Above this share of its usual speed, in percent, a weak fan is well again.
const WELL_PERCENT: f64 = 75.0;
/// How long it must be above it.
const WELL_HOLD: Duration = Duration::from_secs(300);
/// Degrees above the warmest that was held that are usual again.
const USUAL_AGAIN: f64 = 3.0;
/// So many degrees within [`RISING`].
const RISE: f64 = 2.0;
/// So many drives must rise together.
const DRIVES: usize = 2;

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::FanStopped).several(Several::BegunWithin(TOGETHER)).played(
            Play::fast(&[Need::Fan], 60, |the_box, _| {
                the_box.fan(|fan| {
                    fan.duty = fan.duty.or(Some(0.5));
                    fan.speed.value = Ok(Rpm(0));
                });
            })
            // Until its tachometer is believed at this level, also after it has turned at a higher one.
            .after(3, |the_box| the_box.fan(|fan| fan.duty = fan.duty.or(Some(0.5)))),
        ),
        Traits::of(Kind::FanWeak).several(Several::BegunWithin(SLOWLY)).played(
            Play::slow(&[Need::Fan], 10, |the_box, _| {
                the_box.fan(|fan| {
                    fan.duty = fan.duty.or(Some(0.5));
                    fan.speed.value = fan.speed.value.clone().map(|speed| Rpm(speed.0 * 2 / 5));
                });
            })
            .after(30, |the_box| the_box.fan(|fan| fan.duty = fan.duty.or(Some(0.5)))),
        ),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.finding {
        Finding::FanStopped { by_fault_line: true, .. } => {
            vec![limit!("limit.fan-stopped.fault-line").of(Origin::Chip)]
        }
        Finding::FanStopped { .. } => vec![
            limit!("limit.fan-stopped.still", hold = set!(settings, fan.stopped_hold)),
            limit!(
                "limit.fan-stopped.unknown-level",
                notice = tachometers::TURNED_STEADILY,
                warning = tachometers::NEVER_RESTS_AFTER
            ),
            limit!(
                "limit.fan-stopped.over",
                above = set!(settings, fan.turning_again_rpm, Rpm),
                hold = set!(settings, fan.clear_hold)
            ),
        ],
        Finding::FanWeak { what: WeakFan::Slow { .. } } => vec![
            limit!(
                "limit.fan-weak.weak",
                share = set!(settings, fan.weak_percent, Percent),
                hold = set!(settings, fan.weak_hold)
            ),
            limit!("limit.fan-weak.over", share = Percent(WELL_PERCENT), hold = WELL_HOLD),
        ],
        Finding::FanWeak { what: WeakFan::Airflow { .. } } => vec![limit!(
            "limit.fan-weak.suspected",
            drives = DRIVES,
            rise = Figure::Degrees(RISE),
            within = RISING,
            above = Figure::Degrees(UNUSUAL),
            season = SEASON,
            hours = HOURS,
            over = Figure::Degrees(USUAL_AGAIN)
        )],
        _ => Vec::new(),
    }
}

fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    measured(settings, memory, snapshot).into_iter().chain(suspected(settings, memory, snapshot)).collect()
}

/// What is seen of every trusted fan that answered. One that is not trusted any more, since a reload no longer names it, has
/// not stopped.
fn measured(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let is_hot = |open: &Condition| {
        matches!(open.kind(), Kind::DriveHot | Kind::DrivesHeatingTogether) && open.severity >= Severity::Warning
    };
    let with_heat = memory.open().any(is_hot);
    // A fan that nobody knows the level of may rest while the box is cool, not while something in it is hot.
    let is_cool = !with_heat && !memory.open().any(|open| open.kind() == Kind::CpuHotThrottled);
    let is_trusted = |key: &String| memory.ledger.fans.is_trusted(settings, key);
    let trusted = snapshot.fans.iter().filter(|fan| is_trusted(&fan.key));
    let seen = trusted
        .flat_map(|fan| [stopped(settings, memory, fan, with_heat, is_cool), weak(settings, memory, fan)])
        .flatten();
    let is_no_longer = |held: &&Condition| match &held.subject {
        Subject::Fan(key) => held.kind() == Kind::FanStopped && !is_trusted(key),
        _ => false,
    };
    let no_longer = memory.open().filter(is_no_longer).map(|held| Observation::over(held, snapshot.taken));
    seen.chain(no_longer).collect()
}

fn stopped(settings: &Settings, memory: &Memory, fan: &Fan, with_heat: bool, is_cool: bool) -> Option<Observation> {
    let limits = &settings.limits.fan;
    let speed = fan.speed.get().copied();
    // A fault line needs no tachometer; without either the fan is silent, and nothing moves.
    if speed.is_none() && !fan.fault {
        return None;
    }
    let may_rest = fan.duty.is_some() || is_cool;
    let is_believed = is_steady(settings, fan) || memory.ledger.tachometers.shows(fan) || !may_rest;
    let is_floor = tachometers::is_floor(fan);
    let is_zero = is_floor || speed.is_some_and(|speed| speed.0 == 0);
    let may_have_failed = is_zero && memory.ledger.tachometers.may_have_failed(fan);
    let told_to_stop = fan.duty == Some(0.0);
    let zone = if fan.fault || (is_zero && is_believed && !told_to_stop) {
        Zone::Raised(if with_heat { Severity::Critical } else { Severity::Warning })
    } else if may_have_failed {
        Zone::Raised(Severity::Notice)
    } else if speed.is_some_and(|speed| speed.0 > limits.turning_again_rpm && !is_floor) || told_to_stop {
        Zone::Clear
    } else {
        Zone::Between
    };
    let finding = Finding::FanStopped { fan: fan.label.clone(), speed, by_fault_line: fan.fault, with_heat };
    Some(observation(fan, zone, finding, Holds::new(limits.stopped_hold, limits.clear_hold)))
}

/// Measured against what this fan did at this level before; one that stands still is told of as stopped.
fn weak(settings: &Settings, memory: &Memory, fan: &Fan) -> Option<Observation> {
    let limits = &settings.limits.fan;
    let speed = fan.speed.get().copied().filter(|speed| speed.0 > 0 && !tachometers::is_floor(fan))?;
    let usual = memory.ledger.tachometers.usual(fan)?;
    let percent = 100.0 * f64::from(speed.0) / f64::from(usual.0);
    let zone = match percent {
        _ if percent < limits.weak_percent => Zone::Raised(Severity::Warning),
        _ if percent > WELL_PERCENT => Zone::Clear,
        _ => Zone::Between,
    };
    let duty = Percent((100.0 * fan.duty?).round());
    let what = WeakFan::Slow { fan: fan.label.clone(), speed, usual, duty };
    Some(observation(fan, zone, Finding::FanWeak { what }, Holds::new(limits.weak_hold, WELL_HOLD)))
}

fn observation(fan: &Fan, zone: Zone, finding: Finding, holds: Holds) -> Observation {
    Observation { subject: Subject::Fan(fan.key.clone()), zone, seen: fan.speed.taken, finding, holds }
}

/// What is seen of all drives together, in a box without a tachometer that is believed.
fn suspected(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Option<Observation> {
    let under_load = memory.ledger.airflow.is_under_load(snapshot);
    let above = |drive: &Drive| Some(drive.temperature.get()?.0 - memory.ledger.airflow.held(&drive.key, under_load)?);
    let median = order::median(awake(snapshot).filter_map(above))?;
    let rises = |drive: &&Drive| memory.ledger.airflow.rise(drive).is_some_and(|rise| rise >= RISE);
    let mut rising: Vec<Place> = awake(snapshot).filter(rises).map(|drive| drives::place_of(settings, drive)).collect();
    rising.sort();
    let zone = if !memory.ledger.fans.fitted(settings, snapshot).is_empty() {
        Zone::Clear
    } else if median >= UNUSUAL && rising.len() >= DRIVES {
        Zone::Raised(Severity::Warning)
    } else if median < USUAL_AGAIN {
        Zone::Clear
    } else {
        Zone::Between
    };
    // The twenty minutes of rising are in the comparison; a second look a minute later makes sure.
    let holds = Holds::new(MINUTE, 30 * MINUTE);
    let finding = Finding::FanWeak { what: WeakFan::Airflow { drives: rising, above: CelsiusDifference(median) } };
    Some(Observation { subject: Subject::AllDrives, zone, seen: snapshot.taken, finding, holds })
}
