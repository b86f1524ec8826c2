//! The days of one volume: every reading of its free room in, one median a day out, in bounded memory.

use crate::order::median;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use traylight_data::clock::DAY;

/// Readings closer together than this tell nothing more of a day.
pub(super) const EVERY: Duration = Duration::from_secs(600);
/// Days that are remembered.
pub(super) const LONGEST: usize = 90;
/// Flash wears: what was read is worth a save once an hour, a day that ended is at once.
const READINGS_TO_A_SAVE: usize = 6;

/// What was free in the middle of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Median {
    /// Which day of watched time.
    pub day: u32,
    /// Free room in bytes.
    pub free: u64,
}

/// The days of one volume.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Days {
    /// Days that are over, oldest first.
    over: Vec<Median>,
    /// The day under way.
    today: u32,
    /// What was free in it, time and again: 144 fit into a day.
    readings: Vec<u64>,
    /// Watched time at the last of them.
    last: Option<Duration>,
}

/// What a reading has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DaysChange {
    /// Nothing: it came too early.
    Nothing,
    /// One reading more.
    Reading {
        /// Whether it is time to keep it.
        worth_keeping: bool,
    },
    /// The days that are over are other ones than before: one more, or they begin anew.
    OtherDays,
}

impl Days {
    /// Takes in what is free when the box has been watched for so long.
    pub fn take(&mut self, watched: Duration, free: u64) -> DaysChange {
        // Watched time never goes back: this is another box's, or a ledger was lost.
        let begins_anew = self.last.is_some_and(|last| last > watched);
        if begins_anew {
            *self = Self::default();
        }
        if self.last.is_some_and(|last| watched - last < EVERY) {
            return DaysChange::Nothing;
        }
        self.last = Some(watched);
        let day = day_of(watched);
        let has_ended = day != self.today && self.end_day();
        self.today = day;
        self.readings.push(free);
        if has_ended || begins_anew {
            return DaysChange::OtherDays;
        }
        DaysChange::Reading { worth_keeping: self.readings.len() % READINGS_TO_A_SAVE == 0 }
    }

    /// The medians of the days that are over, oldest first.
    pub fn over(&self) -> &[Median] {
        &self.over
    }

    fn end_day(&mut self) -> bool {
        let Some(free) = median(self.readings.drain(..).map(|free| free as f64)) else { return false };
        self.over.push(Median { day: self.today, free: free as u64 });
        let surplus = self.over.len().saturating_sub(LONGEST);
        self.over.drain(..surplus);
        true
    }
}

/// Which day of watched time it is.
pub(super) fn day_of(watched: Duration) -> u32 {
    u32::try_from(watched.as_secs() / DAY.as_secs()).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn days(readings: impl IntoIterator<Item = (u64, u64)>) -> Days {
        let mut days = Days::default();
        for (minute, free) in readings {
            days.take(Duration::from_secs(60 * minute), free);
        }
        days
    }

    #[test]
    fn a_day_has_the_median_of_its_readings() {
        // A third of the first day a large file is there that is gone again.
        let free = |minute| if (500..980).contains(&minute) { 20 } else { 100 };
        let days = days((0..2 * 1440).map(|minute| (minute, free(minute))).chain([(2 * 1440, 70)]));
        assert_eq!(days.over(), [Median { day: 0, free: 100 }, Median { day: 1, free: 100 }]);
    }

    #[test]
    fn a_day_without_readings_has_no_median() {
        let days = days([(0, 100), (1440, 90), (3 * 1440, 80), (4 * 1440, 70)]);
        let found: Vec<(u32, u64)> = days.over().iter().map(|median| (median.day, median.free)).collect();
        assert_eq!(found, [(0, 100), (1, 90), (3, 80)]);
    }

    #[test]
    fn readings_count_every_ten_minutes_and_are_kept_once_an_hour() {
        let mut days = Days::default();
        let taken: Vec<DaysChange> = (0..62).map(|minute| days.take(Duration::from_secs(60 * minute), 1)).collect();
        let counted = taken.iter().filter(|taken| **taken != DaysChange::Nothing).count();
        assert_eq!(counted, 7);
        let worth: Vec<usize> =
            (0..62).filter(|minute| taken[*minute] == DaysChange::Reading { worth_keeping: true }).collect();
        assert_eq!(worth, [50]);
    }

    #[test]
    fn watched_time_that_went_back_is_another_history() {
        let days = days([(0, 100), (1440, 90), (2880, 80), (5, 70)]);
        assert_eq!(days.over(), []);
    }

    proptest! {
        #[test]
        fn whatever_comes_memory_is_bounded_and_days_ascend(
            readings in prop::collection::vec((0..2_000_000_u64, any::<u64>()), 0..300),
        ) {
            let mut readings = readings;
            readings.sort_unstable();
            let days = days(readings);
            prop_assert!(days.over.len() <= LONGEST && days.readings.len() <= 144);
            prop_assert!(days.over.windows(2).all(|pair| pair[0].day < pair[1].day));
        }
    }
}
