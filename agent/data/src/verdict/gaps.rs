//! Times when the machine was off and no clock said for how long: the calendar was not set before or after, or cannot be
//! right. Moments of before are noted as if the machine had started at once, so what began then has lasted longer than they
//! tell.

use crate::clock::{Moment, calendar_between};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// One of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Gap {
    /// When the machine had started again.
    end: Moment,
    /// What the calendar said when it was last looked at before, in seconds since 1970; `None` when nobody will ever know.
    before_s: Option<u64>,
    /// How long it was, once the calendar of the boot after it has told that.
    off: Option<Duration>,
}

/// All of them that matter to what is open.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Gaps(Vec<Gap>);

impl Gaps {
    /// This boot began, at its first moment, after such a time. `before_s` is what the calendar had said, if it was set; what
    /// is open began at the earliest at `oldest`.
    pub fn note(&mut self, before_s: Option<u64>, oldest: Option<Moment>) {
        // The incident store and what was told are both of before this start; the later look at the calendar is the nearer.
        if let Some(gap) = self.0.iter_mut().find(|gap| gap.end == Moment::default()) {
            gap.before_s = gap.before_s.max(before_s);
            return;
        }
        // What no calendar has told in its own boot is told by none after that.
        self.0.iter_mut().for_each(|gap| gap.before_s = None);
        self.0.retain(|gap| oldest.is_some_and(|oldest| oldest < gap.end));
        self.0.push(Gap { end: Moment::default(), before_s, off: None });
    }

    /// The calendar is set, and says so many seconds since 1970: now it is known how long the last of them was, if it can be.
    pub fn learn(&mut self, now: Moment, now_s: u64) {
        let Some(gap) = self.0.last_mut().filter(|gap| gap.end == Moment::default()) else { return };
        if let Some(before_s) = gap.before_s.take() {
            gap.off = calendar_between(before_s, now_s).map(|passed| passed.saturating_sub(now.since(gap.end)));
        }
    }

    /// They move into the past, as when the machine has started again.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        self.0.iter_mut().for_each(|gap| gap.end = by(gap.end));
    }

    /// How long it is since a moment; `None` when that is not known.
    pub fn since(&self, moment: Moment, now: Moment) -> Option<Duration> {
        let mut after = self.0.iter().filter(|gap| moment < gap.end);
        after.try_fold(now.since(moment), |sum, gap| Some(sum + gap.off?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPRING: u64 = 1_778_760_000;
    const HOUR: u64 = 3600;

    fn at(second: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(second))
    }

    /// Two hours before this boot, as it seems.
    fn before() -> Moment {
        Moment::default().minus(Duration::from_secs(2 * HOUR))
    }

    fn hours(gaps: &Gaps, from: Moment, now: Moment) -> Option<u64> {
        gaps.since(from, now).map(|span| span.as_secs() / HOUR)
    }

    #[test]
    fn how_long_the_machine_was_off_is_not_known_until_the_calendar_is_set() {
        let mut gaps = Gaps::default();
        assert_eq!(hours(&gaps, before(), at(HOUR)), Some(3));
        gaps.note(Some(SPRING), Some(before()));
        assert_eq!((hours(&gaps, before(), at(HOUR)), hours(&gaps, at(60), at(HOUR + 60))), (None, Some(1)));
        gaps.learn(at(HOUR), SPRING + 10 * HOUR);
        assert_eq!(hours(&gaps, before(), at(HOUR)), Some(2 + 10), "nine hours off, one in this boot");
        gaps.learn(at(HOUR), SPRING + 90 * HOUR);
        assert_eq!(hours(&gaps, before(), at(HOUR)), Some(12), "told once");
    }

    #[test]
    fn what_cannot_be_known_stays_so() {
        for (then, now) in [(None, SPRING), (Some(SPRING), SPRING - HOUR), (Some(60), SPRING), (Some(SPRING), 60)] {
            let mut gaps = Gaps::default();
            gaps.note(then, Some(before()));
            gaps.learn(at(HOUR), now);
            gaps.learn(at(HOUR), SPRING + HOUR);
            assert_eq!(hours(&gaps, before(), at(HOUR)), None, "{then:?} {now}");
        }
    }

    #[test]
    fn each_start_counts_for_what_is_older_and_is_forgotten_with_it() {
        let mut gaps = Gaps::default();
        gaps.note(Some(SPRING), Some(before()));
        gaps.learn(at(60), SPRING + 5 * HOUR + 60);
        // The next start, an hour later on the clock of the boot before.
        let back = |moment: Moment| moment.minus(Duration::from_secs(HOUR));
        gaps.move_back(back);
        let (older, newer) = (back(before()), back(at(60)));
        assert_eq!((hours(&gaps, older, at(1)), hours(&gaps, newer, at(1))), (Some(3 + 5), Some(0)));
        gaps.note(None, Some(older));
        assert_eq!((hours(&gaps, older, at(1)), hours(&gaps, newer, at(1))), (None, None));
        gaps.learn(at(60), SPRING);
        assert_eq!(hours(&gaps, at(0), at(60)), Some(0));
        gaps.move_back(back);
        gaps.note(None, Some(Moment::default()));
        assert_eq!(gaps.0.len(), 1, "nothing is open that is older than the others");
    }
}
