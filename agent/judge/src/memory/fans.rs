//! Which fans are fitted: those that were seen to turn, and those that the configuration names.

use super::learning::{Learned, Learns, Look};
use super::tachometers;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use traylight_config::Settings;
use traylight_data::reading::{Fan, Snapshot};

/// The fans whose tachometer is trusted because it was seen to read something, in this run or an earlier one. Those that the
/// configuration names as always turning are trusted as long as it does.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FanMemory {
    trusted: BTreeSet<String>,
}

impl Learns<Look<'_>> for FanMemory {
    /// Takes in which fans turn.
    fn learn(&mut self, look: &Look) -> Learned {
        let before = self.trusted.len();
        let enough = look.settings.limits.fan.turning_again_rpm;
        for fan in &look.snapshot.fans {
            let turns = fan.speed.get().is_some_and(|speed| speed.0 >= enough && !tachometers::is_floor(fan));
            if turns || fan.fault {
                self.trusted.insert(fan.key.clone());
            }
        }
        Learned::kept(self.trusted.len() > before)
    }
}

impl FanMemory {
    /// Its owner agrees that this fan does not turn, until it does.
    pub fn accept(&mut self, fan: &str) {
        self.trusted.remove(fan);
    }

    /// The keys of the fans that are fitted, as far as known; one that is only named must be there.
    pub fn fitted(&self, settings: &Settings, snapshot: &Snapshot) -> BTreeSet<String> {
        let named = snapshot.fans.iter().filter(|fan| is_steady(settings, fan)).map(|fan| &fan.key);
        self.trusted.iter().chain(named).cloned().collect()
    }

    /// True for a fan of which a 0 may be believed.
    pub fn is_trusted(&self, settings: &Settings, key: &String) -> bool {
        self.trusted.contains(key) || settings.watch.always_on_fans.contains(key)
    }
}

/// True for a fan that the configuration names as always turning.
pub fn is_steady(settings: &Settings, fan: &Fan) -> bool {
    settings.watch.always_on_fans.contains(&fan.key)
}
