//! How warm each drive gets in this box, at rest and under load, over the last season: what tells that air moves less than it
//! did. The hour under way is remembered here, the warmest of the hours before over restarts.

use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_data::clock::{MINUTE, Moment, WEEK};
use traylight_data::reading::{Drive, DriveKey, Power, Snapshot};

/// A drive has held a temperature that it did not fall below for so long.
const HELD: Duration = Duration::from_secs(3600);
/// So many hours must be known of a drive before it tells anything (starting value, no source).
pub const HOURS: u32 = 24;
/// What is noted of a drive is noted by the week; it counts for a season, in which whatever a box does every quarter is, and
/// longer while the weeks since tell too little, but for no more than a year (starting values, no source).
pub const SEASON: Duration = Duration::from_secs(14 * 7 * 86_400);
const YEAR: Duration = Duration::from_secs(365 * 86_400);
/// More than this moved by all drives together is load, in bytes per second.
const LOAD: f64 = 10e6;
/// So many degrees above the warmest that was held, or reached, are more than this box does by itself (starting value, no
/// source).
pub const UNUSUAL: f64 = 6.0;
/// The span over which a drive must rise, and by how many degrees.
pub const RISING: Duration = Duration::from_secs(20 * 60);

/// What is known of how warm drives get.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct AirflowMemory {
    /// The warmest that each held lately.
    drives: BTreeMap<DriveKey, Held>,
    /// The hour under way of each drive that is awake.
    #[serde(skip)]
    hours: BTreeMap<DriveKey, AirflowHour>,
    #[serde(skip)]
    last_load: Option<Moment>,
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
    fn note(&mut self, hour: &AirflowHour, watched: Duration) {
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

#[derive(Debug, Clone, PartialEq)]
struct AirflowHour {
    since: Moment,
    lowest: f64,
    highest: f64,
    /// Readings of the last twenty minutes, a minute apart, and the one before them.
    recent: Vec<(Moment, f64)>,
}

impl Learns<Look<'_>> for AirflowMemory {
    /// Takes in temperatures and load.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        let moved = |drive: &Drive| drive.traffic.get().map_or(0.0, |traffic| traffic.inward.0 + traffic.outward.0);
        if snapshot.drives.iter().map(moved).sum::<f64>() > LOAD {
            self.last_load = Some(snapshot.taken);
        }
        let under_load = self.is_under_load(snapshot);
        let awake: Vec<&Drive> = awake(snapshot).collect();
        let keys: BTreeSet<&DriveKey> = awake.iter().map(|drive| &drive.key).collect();
        self.hours.retain(|key, _| keys.contains(key));
        let mut is_new = false;
        for drive in awake {
            let Some(celsius) = drive.temperature.get() else { continue };
            let (now, degrees) = (drive.temperature.taken, celsius.0);
            let begin = || AirflowHour { since: now, lowest: degrees, highest: degrees, recent: Vec::new() };
            let hour = self.hours.entry(drive.key.clone()).or_insert_with(begin);
            hour.take_in(now, degrees);
            if now.since(hour.since) >= HELD {
                if !look.is_fan_suspected {
                    let held = self.drives.entry(drive.key.clone()).or_default();
                    let weeks = if under_load { &mut held.under_load } else { &mut held.at_rest };
                    weeks.note(hour, look.watched);
                    is_new = true;
                }
                (hour.since, hour.lowest, hour.highest) = (now, degrees, degrees);
            }
        }
        Learned::kept(is_new)
    }
}

impl AirflowMemory {
    /// The warmest that a drive of which enough is known held.
    pub fn held(&self, drive: &DriveKey, under_load: bool) -> Option<f64> {
        let held = self.drives.get(drive).filter(|held| held.at_rest.hours() + held.under_load.hours() >= HOURS)?;
        held.warmest(|week| week.held, under_load)
    }

    /// The warmest that a drive has been lately in any hour.
    pub fn reached(&self, drive: &DriveKey, under_load: bool) -> Option<f64> {
        self.drives.get(drive)?.warmest(|week| week.peak, under_load)
    }

    /// True when there was load within the last hour: drives cool slowly.
    pub fn is_under_load(&self, snapshot: &Snapshot) -> bool {
        self.last_load.is_some_and(|last| snapshot.taken.since(last) < HELD)
    }

    /// How much a drive rose within twenty minutes.
    pub fn rise(&self, drive: &Drive) -> Option<f64> {
        let (at, was) = *self.hours.get(&drive.key)?.recent.first()?;
        let is_whole = drive.temperature.taken.since(at) >= RISING;
        is_whole.then(|| drive.temperature.get().map(|now| now.0 - was)).flatten()
    }
}

impl AirflowHour {
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

/// The drives that do not sleep.
pub fn awake(snapshot: &Snapshot) -> impl Iterator<Item = &Drive> {
    snapshot.drives.iter().filter(|drive| drive.power.get() != Some(&Power::Asleep))
}
