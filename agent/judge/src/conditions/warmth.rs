//! Temperatures besides the limit: drive-hotter-than-peers, drives-heating-together, drive-cold, temperature-lost. One
//! warm drive is about its tray, all of them are about the fan, the dust or the room. Drives also warm together at each
//! start, each morning and each check, so a rise counts beyond what this box has reached before at such work, or while a
//! fan fails. Thresholds are starting values (common practice, no source).

use super::rule::Rule;
use crate::heat_limits::heat_limits;
use crate::kinds::{SLOWLY, Several, Traits};
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::airflow::{UNUSUAL, awake};
use crate::memory::drives;
use crate::memory::warmth::{NOT_ODD, SPAN};
use crate::order;
use crate::play::{Need, Play, Who};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::MINUTE;
use traylight_data::reading::{Drive, Missing, Reason, Snapshot};
use traylight_data::units::{Celsius, CelsiusDifference};
use traylight_data::verdict::{Condition, Figure, Finding, Kind, Limit, Place, Severity, Subject};

/// From so many degrees above the median of its kind on a drive is odd; below [`NOT_ODD`] it no longer is.
const ODD: f64 = 8.0;
/// How long either must last.
const ODD_HOLD: Duration = Duration::from_secs(30 * 60);
/// So many degrees of rise within [`SPAN`] are steep.
const STEEP: f64 = 5.0;
/// It is over when no drive rises by so many.
const FLAT: f64 = 1.0;
/// How long none may.
const FLAT_HOLD: Duration = Duration::from_secs(20 * 60);
/// So many drives must rise together.
const TOGETHER: usize = 2;
/// So many degrees below its limit a drive is watched for a steep rise when nothing is known of how warm it gets.
const NEAR: f64 = 5.0;
/// Below so many degrees a drive is too cold.
const COLD: f64 = 5.0;
/// Above so many degrees it is over.
const NOT_COLD: f64 = 8.0;
/// How long either must last.
const COLD_HOLD: Duration = Duration::from_secs(10 * 60);
/// For how long a temperature must be missing.
const LOST_HOLD: Duration = Duration::from_secs(60 * 60);

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::DriveHotterThanPeers).played(Play::slow(
            &[Need::Peers, Need::Temperatures],
            35,
            |the_box, _| the_box.above_peers(9.0),
        )),
        Traits::of(Kind::DrivesHeatingTogether).played(
            Play::slow(&[Need::Temperatures], 12, |the_box, second| {
                the_box.degrees_from_limit(Who::All, -12.0 + 0.8 * (second / 60) as f64)
            })
            .after(15, |_| {}),
        ),
        Traits::of(Kind::DriveCold).several(Several::BegunWithin(SLOWLY)).played(Play::slow(
            &[Need::Temperatures],
            15,
            |the_box, _| the_box.degrees(Who::One, 2.0),
        )),
        Traits::of(Kind::TemperatureLost).several(Several::BegunWithin(SLOWLY)).played(Play::slow(
            &[Need::Temperatures],
            65,
            |the_box, _| the_box.silent_thermometer(Who::One),
        )),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.kind() {
        Kind::DriveHotterThanPeers => vec![limit!(
            "limit.drive-hotter-than-peers",
            above = Figure::Degrees(ODD),
            hold = ODD_HOLD,
            over = Figure::Degrees(NOT_ODD)
        )],
        Kind::DrivesHeatingTogether => vec![limit!(
            "limit.drives-heating-together",
            drives = TOGETHER,
            rise = Figure::Degrees(STEEP),
            within = SPAN,
            beyond = Figure::Degrees(UNUSUAL),
            near = Figure::Degrees(NEAR),
            over = Figure::Degrees(FLAT),
            hold = FLAT_HOLD
        )],
        Kind::DriveCold => {
            vec![limit!("limit.drive-cold", below = Celsius(COLD), hold = COLD_HOLD, over = Celsius(NOT_COLD))]
        }
        Kind::TemperatureLost => vec![limit!("limit.temperature-lost", hold = LOST_HOLD)],
        _ => Vec::new(),
    }
}

/// What is seen of every drive that is awake.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let of_one = awake(snapshot).flat_map(|drive| {
        let place = drives::place_of(settings, drive);
        [hotter_than_peers(snapshot, drive, &place), cold(drive, &place), lost(memory, snapshot, drive, &place)]
    });
    of_one.flatten().chain(together(settings, memory, snapshot)).collect()
}

fn hotter_than_peers(snapshot: &Snapshot, drive: &Drive, place: &Place) -> Option<Observation> {
    let now = *drive.temperature.get()?;
    let peers = awake(snapshot).filter(|peer| peer.key != drive.key && peer.kind == drive.kind);
    let degrees: Vec<f64> = peers.filter_map(|peer| peer.temperature.get().map(|celsius| celsius.0)).collect();
    // Of one peer alone nobody can say which of the two is odd.
    if degrees.len() < 2 {
        return None;
    }
    let median = order::median(degrees)?;
    let zone = match now.0 - median {
        above if above >= ODD => Zone::Raised(Severity::Notice),
        above if above < NOT_ODD => Zone::Clear,
        _ => Zone::Between,
    };
    let finding = Finding::DriveHotterThanPeers { drive: place.clone(), now, median: Celsius(median) };
    Some(observation(drive, zone, finding, Holds::new(ODD_HOLD, ODD_HOLD)))
}

fn cold(drive: &Drive, place: &Place) -> Option<Observation> {
    let now = *drive.temperature.get()?;
    let zone = match now.0 {
        degrees if degrees < COLD => Zone::Raised(Severity::Warning),
        degrees if degrees > NOT_COLD => Zone::Clear,
        _ => Zone::Between,
    };
    let finding = Finding::DriveCold { drive: place.clone(), now, limit: Celsius(COLD) };
    Some(observation(drive, zone, finding, Holds::new(COLD_HOLD, COLD_HOLD)))
}

fn lost(memory: &Memory, snapshot: &Snapshot, drive: &Drive, place: &Place) -> Option<Observation> {
    if !memory.warmth.has_reported(&drive.key) {
        return None;
    }
    let is_lost = |drive: &Drive| drive.temperature.missing().is_some_and(|why| why.reason != Reason::NotRead);
    let all = awake(snapshot).filter(|drive| memory.warmth.has_reported(&drive.key)).all(is_lost);
    let severity = if all { Severity::Warning } else { Severity::Notice };
    let zone = if is_lost(drive) { Zone::Raised(severity) } else { Zone::Clear };
    // Nobody reads the facts of what is clear.
    let why = drive.temperature.missing().cloned().unwrap_or(Missing::of(Reason::NotRead));
    let finding = Finding::TemperatureLost { drive: place.clone(), why, all };
    // Two good readings end it: they are a minute apart.
    Some(observation(drive, zone, finding, Holds::new(LOST_HOLD, MINUTE)))
}

fn observation(drive: &Drive, zone: Zone, finding: Finding, holds: Holds) -> Observation {
    Observation { subject: Subject::Drive(drive.key.clone()), zone, seen: drive.temperature.taken, finding, holds }
}

fn together(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Option<Observation> {
    let rises: Vec<(&Drive, f64)> =
        awake(snapshot).filter_map(|drive| Some((drive, memory.warmth.rise(&drive.key)?))).collect();
    let fan_fails = memory.fan_fails();
    let under_load = memory.ledger.airflow.is_under_load(snapshot);
    let counts = |drive: &Drive| fan_fails || is_beyond(settings, memory, drive, under_load);
    let warming: Vec<&(&Drive, f64)> = rises.iter().filter(|(drive, rise)| *rise >= STEEP && counts(drive)).collect();
    let steepest = rises.iter().map(|(_, rise)| *rise).reduce(f64::max)?;
    let zone = match warming.len() {
        TOGETHER.. => Zone::Raised(Severity::Warning),
        _ if steepest < FLAT => Zone::Clear,
        _ => Zone::Between,
    };
    let mut places: Vec<Place> = warming.iter().map(|(drive, _)| drives::place_of(settings, drive)).collect();
    places.sort();
    let rise = warming.iter().map(|(_, rise)| *rise).reduce(f64::min).unwrap_or(steepest);
    Some(Observation {
        subject: Subject::AllDrives,
        zone,
        seen: snapshot.taken,
        finding: Finding::DrivesHeatingTogether { drives: places, rise: CelsiusDifference(rise), within: SPAN },
        holds: Holds::new(Duration::ZERO, FLAT_HOLD),
    })
}

/// True for a drive that is warmer than it ever was at such work in this box; of one that is not known yet, when it comes near
/// its limit.
fn is_beyond(settings: &Settings, memory: &Memory, drive: &Drive, under_load: bool) -> bool {
    let Some(now) = drive.temperature.get() else { return false };
    match memory.ledger.airflow.reached(&drive.key, under_load) {
        Some(reached) => now.0 >= reached + UNUSUAL,
        None => now.0 >= heat_limits(settings, drive).warning - NEAR,
    }
}
