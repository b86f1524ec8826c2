//! fan-stopped: a fan that should turn does not. A tachometer that reads 0 is believed only where it was seen to read
//! something: many channels have no fan, and some chips read 0 for a fan that turns slowly.

use super::Memory;
use super::track::{Holds, Side, Sight};
use crate::reading::{Fan, Snapshot};
use crate::verdict::{Condition, Finding, Kind, Severity, Subject};
use std::collections::BTreeSet;
use traylight_config::Settings;

/// The fans whose tachometer is trusted: seen turning, or named by the owner as always turning.
#[derive(Debug, Clone, Default)]
pub struct Known {
    trusted: BTreeSet<String>,
}

impl Known {
    /// Takes in which fans turn.
    pub fn learn(&mut self, settings: &Settings, snapshot: &Snapshot) {
        let enough = settings.limits.fan.turning_again_rpm;
        for fan in &snapshot.fans {
            let turns = fan.speed.get().is_some_and(|speed| speed.0 >= enough);
            if turns || fan.fault || settings.watch.steady_fans.contains(&fan.key) {
                self.trusted.insert(fan.key.clone());
            }
        }
    }

    /// The keys of the fans that are fitted, as far as known.
    pub fn fitted(&self) -> Vec<String> {
        self.trusted.iter().cloned().collect()
    }
}

/// What is seen of every trusted fan that answered.
pub fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let is_hot = |open: &Condition| open.kind() == Kind::DriveHot && open.severity >= Severity::Warning;
    let with_heat = memory.open().any(is_hot);
    let trusted = snapshot.fans.iter().filter(|fan| memory.fans.trusted.contains(&fan.key));
    trusted.filter_map(|fan| sight(settings, fan, with_heat)).collect()
}

fn sight(settings: &Settings, fan: &Fan, with_heat: bool) -> Option<Sight> {
    let limits = &settings.limits.fan;
    let speed = fan.speed.get().copied();
    // A fault line needs no tachometer; without either the fan is silent, and nothing moves.
    if speed.is_none() && !fan.fault {
        return None;
    }
    let stopped = speed.is_some_and(|speed| speed.0 == 0);
    let told_to_stop = fan.duty == Some(0.0);
    let side = if fan.fault || (stopped && !told_to_stop) {
        Side::Raised(if with_heat { Severity::Critical } else { Severity::Warning })
    } else if speed.is_some_and(|speed| speed.0 > limits.turning_again_rpm) || told_to_stop {
        Side::Clear
    } else {
        Side::Between
    };
    Some(Sight {
        subject: Subject::Fan(fan.key.clone()),
        side,
        seen: fan.speed.taken,
        finding: Finding::FanStopped { fan: fan.label.clone(), speed, by_fault_line: fan.fault, with_heat },
        holds: Holds::new(limits.stopped_hold, limits.clear_hold),
    })
}
