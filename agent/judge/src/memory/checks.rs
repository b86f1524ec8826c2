//! When the redundancy of each pool was last compared, kept over restarts in watched time.

use super::learning::{Learned, Learns};
use super::parts::LearnedParts;
use serde::{Deserialize, Serialize};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::reading::{LastCheck, Snapshot};

/// The last comparison of each pool that has redundancy, by key.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Checks(BTreeMap<String, CheckRecord>);

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct CheckRecord {
    first_seen: Duration,
    ended: Option<Duration>,
    /// How long before the box was first watched it ended; `ended` is zero then.
    #[serde(default)]
    lead: Duration,
    /// The newest end that the pool itself has noted, in seconds since 1970, so that each is taken in once.
    #[serde(default)]
    noted: Option<u64>,
}

impl Learns<LearnedParts<'_>> for Checks {
    /// Takes in which pools there are, what they have noted themselves, and which comparisons were seen to end just now.
    fn learn(&mut self, LearnedParts { look, work, .. }: &LearnedParts) -> Learned {
        Learned::kept(self.take_in(look.snapshot, work.compared(), look.watched))
    }
}

impl Checks {
    /// True when something is new.
    fn take_in(&mut self, snapshot: &Snapshot, ended: &[String], watched: Duration) -> bool {
        let mut is_new = !ended.is_empty();
        for pool in snapshot.pools.iter().filter(|pool| pool.groups.iter().any(|group| group.tolerates > 0)) {
            let record = self.0.entry(pool.key.clone()).or_insert_with(|| {
                is_new = true;
                CheckRecord { first_seen: watched, ended: None, lead: Duration::ZERO, noted: None }
            });
            is_new |= pool.last_check.is_some_and(|check| record.take(check, watched));
        }
        for key in ended {
            if let Some(record) = self.0.get_mut(key) {
                (record.ended, record.lead) = (Some(watched), Duration::ZERO);
            }
        }
        is_new
    }

    /// How long ago a pool was compared, and whether that is not known; then it counts from when the pool was first seen.
    pub fn since(&self, pool: &str, watched: Duration) -> Option<(Duration, bool)> {
        let record = self.0.get(pool)?;
        let since = watched.saturating_sub(record.ended.unwrap_or(record.first_seen));
        Some((since + record.lead, record.ended.is_none()))
    }
}

impl CheckRecord {
    /// Takes in an end that the pool has noted. From then on it counts by watched time like any other: the calendar is
    /// asked once, and may step after that. True when it was news.
    fn take(&mut self, check: LastCheck, watched: Duration) -> bool {
        let Some(ago) = check.ago.filter(|_| self.noted != Some(check.ended)) else { return false };
        self.noted = Some(check.ended);
        let (at, lead) = (watched.saturating_sub(ago), ago.saturating_sub(watched));
        if self.ended.is_none_or(|ended| (at, Reverse(lead)) > (ended, Reverse(self.lead))) {
            (self.ended, self.lead) = (Some(at), lead);
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use traylight_data::clock::Moment;
    use traylight_heron::{heron, story};

    const DAY: Duration = Duration::from_secs(86_400);

    /// What is new is written to a memory card; the age of a scrub changes with every look.
    #[test]
    fn an_end_that_the_pool_has_noted_is_news_once() {
        let mut checks = Checks::default();
        let mut snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
        let mut learn = |ended, calendar, watched| {
            snapshot.pools[0].last_check = Some(LastCheck::by(ended, calendar));
            let is_new = checks.take_in(&snapshot, &[], watched);
            (is_new, checks.since(&snapshot.pools[0].key, watched))
        };
        let day = DAY.as_secs();
        assert_eq!(
            learn(100 * day, None, DAY),
            (true, Some((Duration::ZERO, true))),
            "the pool is new, its end is not known"
        );
        assert_eq!(learn(100 * day, Some(104 * day), DAY), (true, Some((4 * DAY, false))), "before the first look");
        assert_eq!(learn(100 * day, Some(105 * day), 2 * DAY), (false, Some((5 * DAY, false))));
        assert_eq!(learn(104 * day, Some(105 * day), 2 * DAY), (true, Some((DAY, false))));
        assert_eq!(learn(101 * day, Some(105 * day), 2 * DAY).1, Some((DAY, false)), "an older one takes nothing back");
    }
}
