//! When the board's supply was too low lately, by its alarms.

use super::learning::{CountedEvent, Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::clock::{DAY, Moment};

/// Alarms that are read two seconds apart, one of which may be missed, belong to one dip.
const ONE_DIP: Duration = Duration::from_secs(6);

/// The recent dips of each alarm, oldest first: when each was first and last seen.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SupplyMemory {
    dips: BTreeMap<String, Vec<(Moment, Moment)>>,
}

impl Learns<Look<'_>> for SupplyMemory {
    /// Takes in the alarms.
    fn learn(&mut self, look: &Look) -> Learned {
        let mut happened = Vec::new();
        for alarm in &look.snapshot.undervoltages {
            let dips = self.dips.entry(alarm.key.clone()).or_default();
            dips.retain(|(_, last)| look.snapshot.taken.since(*last) < DAY);
            if alarm.low.get() != Some(&true) {
                continue;
            }
            match dips.last_mut().filter(|(_, last)| alarm.low.taken.since(*last) <= ONE_DIP) {
                Some((_, last)) => *last = alarm.low.taken,
                None => {
                    dips.push((alarm.low.taken, alarm.low.taken));
                    happened.push(CountedEvent { what: dips_of(&alarm.key), times: 1, span: DAY });
                }
            }
        }
        Learned { happened, ..Learned::default() }
    }
}

impl SupplyMemory {
    /// The recent dips of an alarm.
    pub fn of(&self, alarm: &str) -> Option<&[(Moment, Moment)]> {
        self.dips.get(alarm).map(Vec::as_slice)
    }

    /// As when the machine has started again.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        let dips = self.dips.values_mut().flatten();
        dips.for_each(|(first, last)| (*first, *last) = (by(*first), by(*last)));
    }
}

/// What the dips of an alarm are counted as.
pub fn dips_of(key: &str) -> String {
    format!("undervoltage {key}")
}
