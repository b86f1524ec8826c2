//! Where each drive's temperature is heading, from its recent readings: the outlook that `drive-hot` warns ahead by.
//!
//! A drive that warms at steady work in steady air follows a curve of first order ([`fit`] says how one is put through
//! readings). That holds until something changes, so a curve begins anew when the drive slept, was silent for
//! [`GAP`], or left its foretold course twice in a row on one side; and its oldest readings go as long as they bend the
//! other way, which is how the beginning of a change looks. The rules were chosen by playing stories with whole degrees
//! and noise, see the tests.
//!
//! It cannot know what comes: a backup that ends, a fan that stalls, a door that is opened.

mod fit;

use fit::Fit;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_data::clock::{MINUTE, Moment};
use traylight_data::reading::{Drive, DriveKey, Power, Snapshot};
use traylight_data::units::Celsius;
use traylight_data::verdict::{Interval, Outlook, Reaches};

/// Readings older than this tell of other work and other air.
const WINDOW: Duration = Duration::from_secs(40 * 60);
/// Drives tell their temperature once a minute. Readings closer to each other round the same way and add nothing.
const APART: Duration = Duration::from_secs(50);
/// For how long something is seen that two fits in a row have said: from one fit to the reading that makes the next.
pub const TWO_FITS: Duration = Duration::from_secs(55);
/// Silence after which a curve begins anew.
const GAP: Duration = Duration::from_secs(15 * 60);
/// Fewer readings, or over a shorter time, are no curve.
const FEWEST: usize = 6;
const SHORTEST: Duration = Duration::from_secs(5 * 60);
/// A reading so many times the scatter outside the interval is off the course.
const ASTRAY: f64 = 3.0;
/// So many degrees must be behind it before it is said to be on its way: noise of one degree up and down spans two.
const RISE: f64 = 3.0;
/// How far ahead is looked.
const HORIZON_MINUTES: u32 = 60;
/// A heading is told when its interval is not wider than this, in degrees.
const WIDEST: f64 = 8.0;

/// The recent curve of each drive.
#[derive(Debug, Clone, Default)]
pub struct OutlookMemory {
    curves: BTreeMap<DriveKey, Course>,
}

impl OutlookMemory {
    /// Takes in the temperatures that are new; a drive that sleeps or is gone begins anew.
    pub fn learn(&mut self, snapshot: &Snapshot) {
        let is_awake = |drive: &&Drive| drive.power.get() != Some(&Power::Asleep);
        let awake: Vec<&Drive> = snapshot.drives.iter().filter(is_awake).collect();
        let keys: BTreeSet<&DriveKey> = awake.iter().map(|drive| &drive.key).collect();
        self.curves.retain(|key, _| keys.contains(key));
        for drive in awake {
            if let Some(celsius) = drive.temperature.get() {
                self.curves.entry(drive.key.clone()).or_default().take_in(drive.temperature.taken, celsius.0);
            }
        }
    }

    /// The readings of each drive's present course, oldest first.
    pub fn courses(&self) -> BTreeMap<DriveKey, Vec<(Moment, Celsius)>> {
        let of = |curve: &Course| curve.readings.iter().map(|(at, degrees)| (*at, Celsius(*degrees))).collect();
        self.curves.iter().map(|(key, curve)| (key.clone(), of(curve))).collect()
    }

    /// The outlook of a drive on a limit; `None` until its curve is one.
    pub fn of(&self, drive: &DriveKey, now: Moment, limit: Celsius) -> Option<Outlook> {
        self.curves.get(drive)?.outlook(now, limit)
    }
}

/// The readings of one course, oldest first, and the fit through them.
#[derive(Debug, Clone, Default)]
struct Course {
    readings: Vec<(Moment, f64)>,
    fit: Option<Fitted>,
    /// The newest reading was off the course, and on which side.
    astray: Option<Side>,
}

/// A fit as of the newest reading that was not off the course.
#[derive(Debug, Clone)]
struct Fitted {
    at: Moment,
    /// What it was put through: minutes from then, degrees.
    points: Vec<(f64, f64)>,
    fit: Fit,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Above,
    Below,
}

impl Course {
    /// Takes in a reading; one that is too close to the newest is passed over.
    fn take_in(&mut self, at: Moment, degrees: f64) {
        if let Some((newest, _)) = self.readings.last() {
            if at < newest.plus(APART) {
                return;
            }
            if at.since(*newest) > GAP {
                *self = Self::default();
            }
        }
        let before = self.astray;
        self.astray = self.off_course(at, degrees);
        if self.astray.is_some() && self.astray == before {
            // The change lies between the reading before the first that was off, and that one.
            self.readings.drain(..self.readings.len().saturating_sub(2));
            self.astray = None;
        }
        self.readings.push((at, degrees));
        self.readings.retain(|(taken, _)| at.since(*taken) <= WINDOW);
        if self.astray.is_none() {
            self.fit = self.fitted();
        }
    }

    fn off_course(&self, at: Moment, degrees: f64) -> Option<Side> {
        let known = self.fit.as_ref()?;
        let foretold = known.fit.after(minutes(at.since(known.at)));
        let far = ASTRAY * known.fit.scatter();
        match degrees {
            _ if degrees > foretold.high + far => Some(Side::Above),
            _ if degrees < foretold.low - far => Some(Side::Below),
            _ => None,
        }
    }

    /// The fit through the readings, without the oldest as long as those bend the other way.
    fn fitted(&mut self) -> Option<Fitted> {
        let at = self.readings.last()?.0;
        let as_point = |(taken, degrees): &(Moment, f64)| (-minutes(at.since(*taken)), *degrees);
        let mut points: Vec<(f64, f64)> = self.readings.iter().map(as_point).collect();
        // The hours of a drive that does nothing cost nothing.
        if let Some(known) = self.fit.take_if(|known| known.points == points) {
            return Some(Fitted { at, ..known });
        }
        loop {
            let fit = Fit::of(&points)?;
            if !fit.speeds_up(&points) {
                return Some(Fitted { at, points, fit });
            }
            points.remove(0);
            self.readings.remove(0);
        }
    }

    fn outlook(&self, now: Moment, limit: Celsius) -> Option<Outlook> {
        let ((oldest, _), (newest, degrees)) = (*self.readings.first()?, *self.readings.last()?);
        if self.readings.len() < FEWEST || newest.since(oldest) < SHORTEST || self.astray.is_some() {
            return None;
        }
        let fit = &self.fit.as_ref()?.fit;
        let heading = Some(fit.end()).filter(|end| end.high - end.low <= WIDEST);
        let coolest = self.readings.iter().map(|(_, degrees)| *degrees).fold(degrees, f64::min);
        let on_its_way = degrees - coolest >= RISE && degrees < limit.0;
        let age = now.since(newest);
        let reaches = on_its_way.then(|| reaches(fit, limit.0, age)).flatten();
        Some(Outlook { heading, limit, reaches })
    }
}

/// When the fit, and the ends of its interval, first reach a limit that they are below.
fn reaches(fit: &Fit, limit: f64, age: Duration) -> Option<Reaches> {
    let ahead: Vec<Interval> = (0..=HORIZON_MINUTES).map(|minute| fit.after(f64::from(minute))).collect();
    let first = |end: fn(&Interval) -> f64| {
        let minute = ahead.iter().position(|interval| end(interval) >= limit)?;
        let within = match minute.checked_sub(1).map(|before| (end(&ahead[before]), end(&ahead[minute]))) {
            Some((before, at)) => (limit - before) / (at - before) - 1.0,
            None => 0.0,
        };
        Some(MINUTE.mul_f64((minute as f64 + within).max(0.0)).saturating_sub(age))
    };
    let middle = first(|interval| interval.middle)?;
    let earliest = first(|interval| interval.high).unwrap_or(middle);
    Some(Reaches { earliest, middle, latest: first(|interval| interval.low) })
}

fn minutes(duration: Duration) -> f64 {
    duration.as_secs_f64() / 60.0
}

#[cfg(test)]
mod tests;
