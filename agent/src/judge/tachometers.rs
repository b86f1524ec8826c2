//! What each fan's tachometer can show and what the fan used to do, by drive level, remembered over restarts. Some chips
//! read 0 for a fan that turns slowly, so a 0 is believed only at levels at which the tachometer has shown something.

use crate::clock::Moment;
use crate::reading::{Fan, Snapshot};
use crate::units::Rpm;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;

/// A speed is the usual one once it was held this long (common practice, no source).
const USUAL_AFTER: Duration = Duration::from_secs(600);

/// The fans, by key.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Tachometers {
    fans: BTreeMap<String, Tachometer>,
    /// The speed that each holds at a level now: the level, since when, and the lowest since.
    #[serde(skip)]
    holding: BTreeMap<String, (u8, Moment, Rpm)>,
}

#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
struct Tachometer {
    /// The lowest level, in tenths, at which it showed that the fan turns.
    shows_from: Option<u8>,
    /// The fastest that was held at each level, in tenths.
    usual: BTreeMap<u8, u32>,
}

impl Tachometers {
    /// Takes in the fans as they turn; true when something was learned that is worth keeping.
    pub fn learn(&mut self, snapshot: &Snapshot) -> bool {
        let mut is_new = false;
        for fan in &snapshot.fans {
            let (Some(&speed), Some(level)) = (fan.speed.get(), level(fan)) else { continue };
            if speed.0 == 0 {
                self.holding.remove(&fan.key);
                continue;
            }
            let known = self.fans.entry(fan.key.clone()).or_default();
            if known.shows_from.is_none_or(|lowest| level < lowest) {
                known.shows_from = Some(level);
                is_new = true;
            }
            let now = fan.speed.taken;
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
        is_new
    }

    /// True when a 0 of this fan means that it stands still: its tachometer has shown more at this level or below. A fan
    /// whose level nobody knows has only one.
    pub fn shows(&self, fan: &Fan) -> bool {
        match level(fan) {
            Some(level) => {
                let lowest = self.fans.get(&fan.key).and_then(|known| known.shows_from);
                lowest.is_some_and(|lowest| lowest <= level)
            }
            None => true,
        }
    }

    /// The speed that the fan used to hold at its level of now.
    pub fn usual(&self, fan: &Fan) -> Option<Rpm> {
        self.fans.get(&fan.key)?.usual.get(&level(fan)?).copied().map(Rpm)
    }

    /// The owner agrees with the fans that are there: none has to be as fast as the one before it.
    pub fn accept(&mut self) {
        self.fans.values_mut().for_each(|known| known.usual.clear());
    }
}

/// The drive level of a fan in tenths.
fn level(fan: &Fan) -> Option<u8> {
    fan.duty.filter(|duty| (0.0..=1.0).contains(duty)).map(|duty| (duty * 10.0).round() as u8)
}
