//! What each fan's tachometer can show and what the fan used to do, by drive level, remembered over restarts. Some chips
//! read 0 for a fan that turns slowly, so a 0 is believed only at levels at which the tachometer has shown something.

use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::Fan;
use traylight_data::units::Rpm;

/// A speed is the usual one once it was held this long (common practice, no source).
pub(crate) const USUAL_AFTER: Duration = Duration::from_secs(600);
/// A tachometer has shown that a fan turns at a level when it did for so long: what is read while a fan spins down is not
/// what it does at that level (starting value, no source).
const SHOWN_AFTER: Duration = Duration::from_secs(60);
/// A fan without a level that turned for so long, with no rest in between, is not one that rests while the box is cool: a day
/// has a night in it (starting value, no source).
pub const NEVER_RESTS_AFTER: Duration = Duration::from_secs(86_400);
/// A fan without a level that turned for so long and then stands for the first time rests, or has failed: nobody can tell yet
/// (starting value, no source).
pub const TURNED_STEADILY: Duration = Duration::from_secs(3600);
/// Standing still for so long is a rest.
const A_REST: Duration = Duration::from_secs(60);
/// How often it is written down for how long a fan has turned.
const NOTED_EVERY: Duration = Duration::from_secs(3600);
/// Looks further apart were not watching in between.
const LONGEST_GAP: Duration = Duration::from_secs(60);

/// The fans, by key.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Tachometers {
    fans: BTreeMap<String, Tachometer>,
    /// The speed that each holds at a level now: the level, since when, and the lowest since.
    #[serde(skip)]
    holding: BTreeMap<String, (u8, Moment, Rpm)>,
    /// Since when each that turns is looked at, and the highest level since.
    #[serde(skip)]
    turning: BTreeMap<String, (Moment, u8)>,
    /// Since when each is seen to turn or to stand still, and when it was last looked at.
    #[serde(skip)]
    looks: BTreeMap<String, LastFanLook>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct LastFanLook {
    turns: bool,
    since: Moment,
    last: Moment,
}

#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
struct Tachometer {
    /// The lowest level, in tenths, at which it showed that the fan turns.
    shows_from: Option<u8>,
    /// The fastest that was held at each level, in tenths.
    usual: BTreeMap<u8, u32>,
    /// For how long it has turned without a rest, over restarts; it stops growing at [`NEVER_RESTS_AFTER`].
    #[serde(default)]
    turned: Duration,
    /// It stands still since, for longer than a moment.
    #[serde(default)]
    stood: bool,
    /// It was seen to rest and to turn again by itself.
    #[serde(default)]
    rests: bool,
}

impl Learns<Look<'_>> for Tachometers {
    /// Takes in the fans as they turn.
    fn learn(&mut self, look: &Look) -> Learned {
        let mut is_new = false;
        for fan in &look.snapshot.fans {
            let Some(&speed) = fan.speed.get() else { continue };
            is_new |= self.learn_rest(fan, speed);
            let Some(level) = level(fan) else { continue };
            if speed.0 == 0 || is_floor(fan) {
                self.holding.remove(&fan.key);
                self.turning.remove(&fan.key);
                continue;
            }
            let now = fan.speed.taken;
            let known = self.fans.entry(fan.key.clone()).or_default();
            let (since, highest) = self.turning.get(&fan.key).map_or((now, level), |(at, of)| (*at, level.max(*of)));
            let is_shown = now.since(since) >= SHOWN_AFTER;
            if is_shown && known.shows_from.is_none_or(|lowest| highest < lowest) {
                known.shows_from = Some(highest);
                is_new = true;
            }
            self.turning.insert(fan.key.clone(), if is_shown { (now, level) } else { (since, highest) });
            let held = self.holding.get(&fan.key).filter(|(of, ..)| *of == level);
            let (since, lowest) = held.map_or((now, speed), |(_, since, lowest)| (*since, speed.min(*lowest)));
            let is_held = now.since(since) >= USUAL_AFTER;
            if is_held && known.usual.get(&level).is_none_or(|usual| lowest.0 > *usual) {
                known.usual.insert(level, lowest.0);
                is_new = true;
            }
            let next = if is_held { (level, now, speed) } else { (level, since, lowest) };
            self.holding.insert(fan.key.clone(), next);
        }
        Learned::kept(is_new)
    }
}

impl Tachometers {
    /// Takes in for how long a fan turns; true when that is worth keeping.
    fn learn_rest(&mut self, fan: &Fan, speed: Rpm) -> bool {
        let (now, turns) = (fan.speed.taken, speed.0 > 0 && !is_floor(fan));
        let before = self.looks.get(&fan.key).copied();
        let since = before.filter(|look| look.turns == turns).map_or(now, |look| look.since);
        self.looks.insert(fan.key.clone(), LastFanLook { turns, since, last: now });
        let known = self.fans.entry(fan.key.clone()).or_default();
        if !turns {
            return now.since(since) >= A_REST && !known.turned.is_zero() && !std::mem::replace(&mut known.stood, true);
        }
        // One that turned through a day is not one that rests.
        let rested = std::mem::take(&mut known.stood) && known.turned < NEVER_RESTS_AFTER;
        if rested {
            (known.turned, known.rests) = (Duration::ZERO, true);
        }
        let passed = before.filter(|look| look.turns).map_or(Duration::ZERO, |look| now.since(look.last));
        let hours = |of: Duration| of.as_secs() / NOTED_EVERY.as_secs();
        let turned = known.turned;
        known.turned = (turned + passed.min(LONGEST_GAP)).min(NEVER_RESTS_AFTER);
        rested || hours(known.turned) > hours(turned)
    }

    /// True for a fan without a level that has turned for an hour and has not been seen to rest before: it may have failed.
    pub fn may_have_failed(&self, fan: &Fan) -> bool {
        let steady = |known: &Tachometer| !known.rests && known.turned >= TURNED_STEADILY;
        level(fan).is_none() && self.fans.get(&fan.key).is_some_and(steady)
    }

    /// True when a 0 of this fan means that it stands still and should not: its tachometer has shown more at this level or
    /// below. One whose level nobody knows may rest while the box is cool, until it has turned through a day.
    pub fn shows(&self, fan: &Fan) -> bool {
        let Some(known) = self.fans.get(&fan.key) else { return false };
        match level(fan) {
            Some(level) => known.shows_from.is_some_and(|lowest| lowest <= level),
            None => known.turned >= NEVER_RESTS_AFTER,
        }
    }

    /// The speed that the fan used to hold at its level of now.
    pub fn usual(&self, fan: &Fan) -> Option<Rpm> {
        self.fans.get(&fan.key)?.usual.get(&level(fan)?).copied().map(Rpm)
    }

    /// Its owner agrees with this fan: it need not be as fast as the one before it, and may rest.
    pub fn accept(&mut self, fan: &str) {
        let known = self.fans.entry(fan.to_owned()).or_default();
        known.usual.clear();
        (known.turned, known.rests) = (Duration::ZERO, true);
    }
}

/// True for a speed that says nothing: chips of the EMC2301 family count the time of a turn, and their longest is 480 rpm,
/// which they show of a fan that stands as well (EMC2301 data sheet, tachometer range of 500 rpm; from memory).
pub fn is_floor(fan: &Fan) -> bool {
    const FLOOR: Rpm = Rpm(480);
    fan.key.starts_with("emc230") && fan.speed.get().is_some_and(|speed| *speed <= FLOOR)
}

/// The drive level of a fan in tenths.
fn level(fan: &Fan) -> Option<u8> {
    fan.duty.filter(|duty| (0.0..=1.0).contains(duty)).map(|duty| (duty * 10.0).round() as u8)
}
