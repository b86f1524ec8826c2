//! How long a rebuild will still take, from how fast it went lately, whose own variation is the interval.

use crate::order::{quantile, sorted};
use std::collections::VecDeque;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::units::{Bytes, BytesPerSecond};
use traylight_data::verdict::{Estimate, Rates};

/// Marks closer together than this would measure the kernel's bursts.
const EVERY: Duration = Duration::from_secs(60);
/// An hour of speeds is lately.
const MARKS: usize = 61;
/// Fewer speeds say nothing of how they vary.
const LEAST_SPEEDS: usize = 5;
/// The shares of the speeds that lie below the ends of the interval.
const ENDS: (f64, f64) = (0.1, 0.9);

/// How far a rebuild had come, minute by minute, for the last hour.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pace {
    marks: VecDeque<(Moment, Bytes)>,
}

/// How long it will still take, with the arithmetic: `remaining / speed`, taking it that speeds stay as they were in the
/// last hour. Turning disks are slower towards their end (by half, common practice), so that early in a rebuild this is
/// on the short side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeLeft {
    /// What is still to be done.
    pub remaining: Bytes,
    /// The median of the speeds.
    pub speed: BytesPerSecond,
    /// What a tenth of them was slower than.
    pub slow: BytesPerSecond,
    /// What a tenth of them was faster than.
    pub fast: BytesPerSecond,
    /// How many speeds there were, one a minute.
    pub speeds: usize,
    /// The time left. Its latest is `None` when a tenth of the speeds was none at all.
    pub left: Estimate,
}

impl Pace {
    /// Takes in how much is done. Less than before is another rebuild.
    pub fn learn(&mut self, now: Moment, done: Bytes) {
        if self.marks.back().is_some_and(|(at, before)| *at > now || *before > done) {
            self.marks.clear();
        }
        if self.marks.back().is_some_and(|(at, _)| now.since(*at) < EVERY) {
            return;
        }
        self.marks.push_back((now, done));
        let surplus = self.marks.len().saturating_sub(MARKS);
        self.marks.drain(..surplus);
    }

    /// How long the rest will take. `None` when there are fewer than five speeds, or it stands still more often than not.
    pub fn time_left(&self, remaining: Bytes) -> Option<TimeLeft> {
        let after = self.marks.iter().skip(1);
        let speeds =
            self.marks.iter().zip(after).map(|((from, before), (to, done))| {
                done.0.saturating_sub(before.0) as f64 / to.since(*from).as_secs_f64()
            });
        time_left(remaining, &sorted(speeds))
    }
}

fn time_left(remaining: Bytes, sorted_speeds: &[f64]) -> Option<TimeLeft> {
    if sorted_speeds.len() < LEAST_SPEEDS {
        return None;
    }
    let at = |share| quantile(sorted_speeds, share);
    let (least, middle, most) = (at(ENDS.0)?, at(0.5)?, at(ENDS.1)?);
    let left = Estimate::of(remaining.0 as f64, Rates { least, middle, most }, Duration::from_secs(1))?;
    let [slow, speed, fast] = [least, middle, most].map(BytesPerSecond);
    Some(TimeLeft { remaining, speed, slow, fast, speeds: sorted_speeds.len(), left })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde::Deserialize;
    use traylight_data::verdict::{Rounded, Unit};

    const TB: u64 = 1_000_000_000_000;
    const MB: u64 = 1_000_000;

    /// Made by `tests/outside/rebuild.py` with NumPy.
    const REFERENCE: &str = include_str!("../../../../../tests/outside/rebuild.json");

    #[derive(Deserialize)]
    struct Reference {
        paces: Vec<Set>,
    }

    #[derive(Deserialize)]
    struct Set {
        remaining: u64,
        speeds: Vec<f64>,
        /// Soonest, middle and latest, in seconds.
        seconds: [f64; 3],
    }

    /// A rebuild that does so many MB/s in each minute.
    fn pace(speeds: impl IntoIterator<Item = u64>) -> Pace {
        let (mut pace, mut now, mut done) = (Pace::default(), Moment::default(), 0);
        pace.learn(now, Bytes(done));
        for speed in speeds {
            now = now.plus(EVERY);
            done += 60 * speed * MB;
            pace.learn(now, Bytes(done));
        }
        pace
    }

    #[test]
    fn the_interval_is_that_of_numpys_quantiles() {
        let reference: Reference = serde_json::from_str(REFERENCE).expect("the reference is JSON");
        assert_eq!(reference.paces.len(), 4);
        for set in reference.paces {
            let left = time_left(Bytes(set.remaining), &sorted(set.speeds)).expect("there are enough speeds").left;
            let found = [Some(left.soonest), Some(left.middle), left.latest];
            for (found, wanted) in found.into_iter().zip(set.seconds) {
                let found = found.expect("it moves").as_secs_f64();
                assert!((found - wanted).abs() <= 1e-9 * wanted + 1e-6, "found {found}, wanted {wanted}");
            }
        }
    }

    /// 8 TB at 150 MB/s are 14.8 h by hand.
    #[test]
    fn a_steady_rebuild_takes_its_size_over_its_speed() {
        let found = pace([150; 20]).time_left(Bytes(8 * TB)).expect("it moves");
        assert_eq!(found.left.middle.as_secs(), 53_333);
        assert_eq!((found.left.soonest, found.left.latest), (found.left.middle, Some(found.left.middle)));
        assert_eq!((found.speed, found.speeds), (BytesPerSecond(150e6), 20));
    }

    #[test]
    fn a_rebuild_that_is_held_up_at_times_says_so() {
        let speeds = (0..60).map(|minute| if minute % 3 == 0 { 100 } else { 180 + minute % 5 });
        let found = pace(speeds).time_left(Bytes(3_900_000 * MB)).expect("it moves");
        assert_eq!(found.left.rounded(), Rounded { unit: Unit::Hours, soonest: 5, middle: 6, latest: Some(11) });
    }

    #[test]
    fn a_rebuild_that_often_stands_still_may_never_end() {
        let at_times = pace((0..40).map(|minute| if minute % 5 == 0 { 0 } else { 100 }));
        let left = at_times.time_left(Bytes(TB)).expect("mostly it moves").left;
        assert_eq!(left.latest, None);
        let mostly = pace((0..40).map(|minute| if minute % 5 == 0 { 100 } else { 0 }));
        assert_eq!(mostly.time_left(Bytes(TB)), None);
    }

    #[test]
    fn a_few_minutes_say_nothing_and_an_hour_ago_is_forgotten() {
        assert_eq!(pace([150; 4]).time_left(Bytes(TB)), None);
        assert!(pace([150; 5]).time_left(Bytes(TB)).is_some());
        let slowed = pace([200; 60].into_iter().chain([20; 60]));
        assert_eq!(
            slowed.time_left(Bytes(TB)).map(|found| (found.fast, found.speeds)),
            Some((BytesPerSecond(20e6), 60))
        );
    }

    #[test]
    fn another_rebuild_begins_anew() {
        let mut pace = pace([150; 30]);
        pace.learn(Moment::after_boot(Duration::from_secs(4000)), Bytes(7));
        assert_eq!(pace.time_left(Bytes(TB)), None);
        // A clock that goes back is that of another start.
        pace.learn(Moment::after_boot(Duration::from_secs(5)), Bytes(8));
        pace.learn(Moment::after_boot(Duration::from_secs(65)), Bytes(9));
        assert_eq!(pace.marks.len(), 2);
    }

    #[test]
    fn a_speed_is_that_of_a_minute() {
        let mut pace = Pace::default();
        for second in 0..=600 {
            // Bursts of ten seconds.
            pace.learn(Moment::after_boot(Duration::from_secs(second)), Bytes(second / 10 * 1500 * MB));
        }
        let found = pace.time_left(Bytes(TB)).expect("ten minutes");
        assert_eq!((found.speeds, found.slow, found.fast), (10, BytesPerSecond(150e6), BytesPerSecond(150e6)));
    }

    proptest! {
        #[test]
        fn whatever_the_speeds_the_interval_holds_the_middle_and_more_to_do_takes_longer(
            marks in prop::collection::vec((any::<u32>(), any::<u64>()), 0..200), one: u64, other: u64,
        ) {
            let mut marks = marks;
            marks.sort_unstable();
            let mut pace = Pace::default();
            for (index, (second, done)) in marks.iter().enumerate() {
                // Now and then it begins anew or time goes back, as it never should.
                let done = if index % 50 == 49 { 0 } else { *done / 200 * index as u64 };
                pace.learn(Moment::after_boot(Duration::from_secs(u64::from(*second))), Bytes(done));
            }
            prop_assert!(pace.marks.len() <= MARKS);
            let (less, more) = (pace.time_left(Bytes(one.min(other))), pace.time_left(Bytes(one.max(other))));
            for found in less.iter().chain(&more) {
                prop_assert!(found.left.soonest <= found.left.middle);
                prop_assert!(found.left.latest.is_none_or(|latest| found.left.middle <= latest));
            }
            if let (Some(less), Some(more)) = (less, more) {
                prop_assert!(less.left.middle <= more.left.middle);
            }
        }
    }
}
