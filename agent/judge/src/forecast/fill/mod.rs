//! When a volume will be full: its free room day by day, remembered over restarts, and the trend in it where the days
//! carry one.
//!
//! A line is put through the medians of the days since the last step (`steps.rs`), one that odd days do not bend
//! (`slope.rs`). What is free now, divided by how fast the line falls, is the time that is left; the interval of the
//! slope gives the soonest and the latest. The interval is the wider of two, since room knows both kinds of chance: days
//! that scatter around a line (Sen's rank interval), and days that each add more or less than the line, which no later
//! day makes good (the error of the drift). Of volumes that only wander, Sen's alone takes a quarter to almost half for
//! ones that fill (7 to 90 days); the two together take 6 in 100, where 5 are meant (`stories.rs` counts them).
//!
//! Free room is followed, not used room: where the size stands still they mirror each other, and where it does not, as
//! in a file system that shares its pool with others, what is free is what runs out.
//!
//! **Days are days of watched time**, not of the calendar, which can step. A box that is off at night has one such day
//! in two of the calendar, and `41 days` are 41 days of running. What was written while nobody watched counts into the
//! watched day around it, so that the trend comes out steeper, and the warning too early rather than too late.

mod days;
mod slope;
mod steps;

use days::{Days, DaysChange, EVERY, LONGEST, Median, day_of};
use serde::{Deserialize, Serialize};
use slope::{drift_error, theil_sen};
use std::collections::BTreeMap;
use std::time::Duration;
use steps::since_last_step;
use traylight_data::clock::DAY;
use traylight_data::reading::{Room, Snapshot};
use traylight_data::units::Bytes;
use traylight_data::verdict::{Estimate, Rates};

/// Volumes that are remembered.
const VOLUMES: usize = 64;
/// Days a trend needs.
const LEAST_DAYS: usize = 7;
/// 90 % between the ends of the interval: deviations of the normal distribution to each side.
const DEVIATIONS: f64 = 1.644_853_626_951_472_2;
/// A trend is followed this many times as far ahead as it reaches back. Starting value, no source.
const AHEAD: u32 = 10;
/// A file system whose size changes by more than this share is another one, or has another drive in it.
const OF_THE_SIZE: f64 = 0.01;

/// How the volumes of a box fill.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Fill {
    /// By mount point.
    volumes: BTreeMap<String, VolumeHistory>,
}

/// How one volume fills.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct VolumeHistory {
    size: Bytes,
    /// The day of watched time on which it was last there.
    seen: u32,
    days: Days,
    trend: Option<Trend>,
}

/// A trend that the days carry.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Trend {
    /// Bytes a day by which free room shrinks.
    per_day: Rates,
    /// Days from its first to its last.
    span: u32,
}

/// When a volume will be full, with the arithmetic: `free / per_day`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FullWhen {
    /// What is free now.
    pub free: Bytes,
    /// Bytes by which that shrinks in a day of watched time.
    pub per_day: Rates,
    /// Over how many days of watched time that was seen.
    pub days: u32,
    /// Days of watched time until nothing is free, with the 90 % interval. Its latest is `None` when that is further
    /// ahead than the trend can be followed.
    pub left: Estimate,
}

impl Fill {
    /// Takes in the room of every volume when the box has been watched for so long, over all restarts; true when something
    /// was learned that is worth keeping.
    pub fn learn(&mut self, snapshot: &Snapshot, watched: Duration) -> bool {
        let mut is_new = false;
        let today = day_of(watched);
        for volume in &snapshot.volumes {
            let Some(room) = volume.room.get() else { continue };
            // An old answer tells of another day.
            if snapshot.taken.since(volume.room.taken) < EVERY && self.has_place_for(&volume.mount, today) {
                let anew = VolumeHistory { size: room.size, seen: today, days: Days::default(), trend: None };
                is_new |= self.volumes.entry(volume.mount.clone()).or_insert(anew).learn(room, watched);
            }
        }
        self.volumes.retain(|_, filling| today.saturating_sub(filling.seen) < LONGEST as u32);
        is_new
    }

    /// When this volume, which has this room now, will be full. `None` when its days carry no trend: there are fewer
    /// than seven since the last step, the interval of the slope holds zero, or the day is too far ahead.
    pub fn full_when(&self, mount: &str, room: &Room) -> Option<FullWhen> {
        let Trend { per_day, span } = self.volumes.get(mount)?.trend?;
        let farthest = DAY.saturating_mul(span.saturating_mul(AHEAD));
        let left = Estimate::of(room.free.0 as f64, per_day, DAY).filter(|left| left.middle <= farthest)?;
        let left = Estimate { latest: left.latest.filter(|latest| *latest <= farthest), ..left };
        Some(FullWhen { free: room.free, per_day, days: span, left })
    }

    /// Makes room for a volume that is new, in place of the one that has been away for longest.
    fn has_place_for(&mut self, mount: &str, today: u32) -> bool {
        if self.volumes.contains_key(mount) || self.volumes.len() < VOLUMES {
            return true;
        }
        let longest_away = self.volumes.iter().min_by_key(|(_, filling)| filling.seen);
        let Some(away) = longest_away.filter(|(_, filling)| filling.seen < today).map(|(mount, _)| mount.clone())
        else {
            return false;
        };
        self.volumes.remove(&away).is_some()
    }
}

impl VolumeHistory {
    /// True when something was learned that is worth keeping.
    fn learn(&mut self, room: &Room, watched: Duration) -> bool {
        let (before, now) = (self.size.0 as f64, room.size.0 as f64);
        self.size = room.size;
        self.seen = day_of(watched);
        if (now - before).abs() > OF_THE_SIZE * before {
            self.days = Days::default();
            self.trend = None;
        }
        match self.days.take(watched, room.free.0) {
            DaysChange::Nothing => false,
            DaysChange::Reading { worth_keeping } => worth_keeping,
            DaysChange::OtherDays => {
                self.trend = Trend::of(since_last_step(self.days.over(), self.size));
                true
            }
        }
    }
}

impl Trend {
    fn of(medians: &[Median]) -> Option<Self> {
        let (first, last) = (medians.first()?, medians.last()?);
        if medians.len() < LEAST_DAYS {
            return None;
        }
        let day = |median: &Median| f64::from(median.day.saturating_sub(first.day));
        let points: Vec<(f64, f64)> = medians.iter().map(|median| (day(median), -(median.free as f64))).collect();
        let line = theil_sen(&points, DEVIATIONS)?;
        let error = drift_error(&points, DEVIATIONS)?;
        let per_day = Rates {
            least: line.low.min(line.slope - error),
            middle: line.slope,
            most: line.high.max(line.slope + error),
        };
        (per_day.least > 0.0).then_some(Self { per_day, span: last.day.saturating_sub(first.day) })
    }
}

#[cfg(test)]
mod stories;
