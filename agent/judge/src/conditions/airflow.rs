//! fan-weak, suspected: in a box without a tachometer, drives that get warmer than they ever were tell that the fan may
//! have stopped. The room cannot be measured, so the rule is cautious: each drive is compared with the warmest that it
//! held for an hour in the last season, with and without load, and several must rise together.

use super::Rule;
use super::fans;
use crate::Memory;
use crate::memory::drives;
use crate::memory::ledger::Ledger;
use crate::order;
use crate::track::{Holds, Side, Sight};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Drive, DriveKey, Power, Snapshot};
use traylight_data::verdict::{Finding, Kind, Place, Severity, Subject, WeakFan};

const MINUTE: Duration = Duration::from_secs(60);
/// A drive has held a temperature that it did not fall below for so long.
const HELD: Duration = Duration::from_secs(3600);
/// So many hours must be known of a drive before it tells anything (starting value, no source).
pub const HOURS: u32 = 24;
/// What is noted of a drive is noted by the week; it counts for a season, in which whatever a box does every quarter is, and
/// longer while the weeks since tell too little, but for no more than a year (starting values, no source).
const WEEK: Duration = Duration::from_secs(7 * 86_400);
/// For so long, in full.
pub const SEASON: Duration = Duration::from_secs(14 * 7 * 86_400);
const YEAR: Duration = Duration::from_secs(365 * 86_400);
/// More than this moved by all drives together is load, in bytes per second.
const LOAD: f64 = 10e6;
/// Degrees above the warmest that was held (starting value, no source).
pub const ABOVE: f64 = 6.0;
/// Degrees above it that are on the curve again.
pub const ON_CURVE: f64 = 3.0;
/// The span over which a drive must rise, and by how many degrees.
pub const RISING: Duration = Duration::from_secs(20 * 60);
/// So many degrees within [`RISING`].
pub const RISE: f64 = 2.0;
/// So many must rise together.
pub const DRIVES: usize = 2;

/// The warmest that drives held lately, remembered over restarts.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Warmest {
    drives: BTreeMap<DriveKey, Held>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Held {
    #[serde(default)]
    at_rest: Weeks,
    #[serde(default)]
    under_load: Weeks,
}

/// The weeks in which hours were noted, oldest first.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
struct Weeks(Vec<Week>);

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Week {
    /// When it began, in the time that the box was watched.
    began: Duration,
    hours: u32,
    /// The warmest that was held for an hour.
    held: f64,
    /// The warmest of any hour.
    peak: f64,
}

impl Weeks {
    fn note(&mut self, hour: &Hour, watched: Duration) {
        match self.0.last_mut().filter(|week| watched.saturating_sub(week.began) < WEEK) {
            Some(week) => {
                week.hours = week.hours.saturating_add(1);
                (week.held, week.peak) = (week.held.max(hour.lowest), week.peak.max(hour.highest));
            }
            None => self.0.push(Week { began: watched, hours: 1, held: hour.lowest, peak: hour.highest }),
        }
        // What was usual in another season, or while a fan failed unseen, is not usual for ever.
        while let [first, newer @ ..] = &self.0[..] {
            let age = watched.saturating_sub(first.began);
            let is_enough = newer.iter().map(|week| week.hours).sum::<u32>() >= HOURS;
            if age < SEASON || (age < YEAR && !is_enough) {
                break;
            }
            self.0.remove(0);
        }
    }

    fn hours(&self) -> u32 {
        self.0.iter().map(|week| week.hours).sum()
    }

    fn warmest(&self, of: impl Fn(&Week) -> f64) -> Option<f64> {
        self.0.iter().map(of).reduce(f64::max)
    }
}

impl Warmest {
    /// The warmest that a drive of which enough is known held.
    fn of(&self, drive: &DriveKey, under_load: bool) -> Option<f64> {
        let held = self.drives.get(drive).filter(|held| held.at_rest.hours() + held.under_load.hours() >= HOURS)?;
        held.warmest(|week| week.held, under_load)
    }

    /// The warmest that a drive has been lately in any hour.
    pub fn reached(&self, drive: &DriveKey, under_load: bool) -> Option<f64> {
        self.drives.get(drive)?.warmest(|week| week.peak, under_load)
    }

    fn hour(&mut self, drive: &DriveKey, hour: &Hour, under_load: bool, watched: Duration) {
        let held = self.drives.entry(drive.clone()).or_default();
        let weeks = if under_load { &mut held.under_load } else { &mut held.at_rest };
        weeks.note(hour, watched);
    }
}

impl Held {
    /// At rest, or under load: then a drive may be as warm as at rest, but not the other way round. Load that was not seen for
    /// an hour yet has no curve.
    fn warmest(&self, of: impl Fn(&Week) -> f64 + Copy, is_loaded: bool) -> Option<f64> {
        let at_rest = self.at_rest.warmest(of);
        if !is_loaded {
            return at_rest;
        }
        self.under_load.warmest(of).map(|degrees| at_rest.map_or(degrees, |rest| rest.max(degrees)))
    }
}

/// The hour under way of each drive that is awake.
#[derive(Debug, Clone, Default)]
pub struct Known {
    hours: BTreeMap<DriveKey, Hour>,
    last_load: Option<Moment>,
}

#[derive(Debug, Clone)]
struct Hour {
    since: Moment,
    lowest: f64,
    highest: f64,
    /// Readings of the last twenty minutes, a minute apart, and the one before them.
    recent: Vec<(Moment, f64)>,
}

impl Known {
    /// Takes in temperatures and load. While the fan is suspected nothing is learned: what is must not become usual.
    pub fn learn(&mut self, ledger: &mut Ledger, snapshot: &Snapshot, is_suspected: bool) {
        let moved = |drive: &Drive| drive.traffic.get().map_or(0.0, |traffic| traffic.inward.0 + traffic.outward.0);
        if snapshot.drives.iter().map(moved).sum::<f64>() > LOAD {
            self.last_load = Some(snapshot.taken);
        }
        let (under_load, watched) = (self.is_under_load(snapshot), ledger.watched());
        let awake: Vec<&Drive> = awake(snapshot).collect();
        let keys: BTreeSet<&DriveKey> = awake.iter().map(|drive| &drive.key).collect();
        self.hours.retain(|key, _| keys.contains(key));
        for drive in awake {
            let Some(celsius) = drive.temperature.get() else { continue };
            let (now, degrees) = (drive.temperature.taken, celsius.0);
            let begin = || Hour { since: now, lowest: degrees, highest: degrees, recent: Vec::new() };
            let hour = self.hours.entry(drive.key.clone()).or_insert_with(begin);
            hour.take_in(now, degrees);
            if now.since(hour.since) >= HELD {
                if !is_suspected {
                    ledger.warmest.hour(&drive.key, hour, under_load, watched);
                    ledger.is_new = true;
                }
                (hour.since, hour.lowest, hour.highest) = (now, degrees, degrees);
            }
        }
    }

    /// True when there was load within the last hour: drives cool slowly.
    pub fn is_under_load(&self, snapshot: &Snapshot) -> bool {
        self.last_load.is_some_and(|last| snapshot.taken.since(last) < HELD)
    }

    /// How much a drive rose within twenty minutes.
    fn rise(&self, drive: &Drive) -> Option<f64> {
        let (at, was) = *self.hours.get(&drive.key)?.recent.first()?;
        let is_whole = drive.temperature.taken.since(at) >= RISING;
        is_whole.then(|| drive.temperature.get().map(|now| now.0 - was)).flatten()
    }
}

impl Hour {
    fn take_in(&mut self, now: Moment, degrees: f64) {
        self.lowest = self.lowest.min(degrees);
        self.highest = self.highest.max(degrees);
        if self.recent.last().is_none_or(|(last, _)| now.since(*last) >= MINUTE) {
            self.recent.push((now, degrees));
        }
        while self.recent.len() > 2 && now.since(self.recent[1].0) >= RISING {
            self.recent.remove(0);
        }
    }
}

fn awake(snapshot: &Snapshot) -> impl Iterator<Item = &Drive> {
    snapshot.drives.iter().filter(|drive| drive.power.get() != Some(&Power::Asleep))
}

/// The rule of this file.
pub const RULE: Rule = Rule { sights };

/// What is seen of all drives together, in a box without a tachometer that is believed.
fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let under_load = memory.airflow.is_under_load(snapshot);
    let above = |drive: &Drive| Some(drive.temperature.get()?.0 - memory.ledger.warmest.of(&drive.key, under_load)?);
    let Some(median) = order::median(awake(snapshot).filter_map(above)) else { return Vec::new() };
    let rises = |drive: &&Drive| memory.airflow.rise(drive).is_some_and(|rise| rise >= RISE);
    let mut rising: Vec<Place> = awake(snapshot).filter(rises).map(|drive| drives::place_of(settings, drive)).collect();
    rising.sort();
    let side = if !memory.ledger.fans.fitted(settings, snapshot).is_empty() {
        Side::Clear
    } else if median >= ABOVE && rising.len() >= DRIVES {
        Side::Raised(Severity::Warning)
    } else if median < ON_CURVE {
        Side::Clear
    } else {
        Side::Between
    };
    // The twenty minutes of rising are in the comparison; a second look a minute later makes sure.
    let holds = Holds::new(MINUTE, 30 * MINUTE);
    let finding = Finding::FanWeak { what: WeakFan::Airflow { drives: rising, above: median } };
    vec![Sight { subject: Subject::AllDrives, side, seen: snapshot.taken, finding, holds }]
}

/// True while a fan fails or is suspected to: how warm drives get then is not usual.
pub fn is_suspected(memory: &Memory) -> bool {
    fans::fails(memory) || memory.open().any(|open| open.kind() == Kind::DrivesHeatingTogether)
}
