//! How often things of the box itself happened within a span of watched time, remembered over restarts.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;

/// The restart of a machine that was not shut down.
pub const UNCLEAN_RESTART: &str = "unclean restart";
/// The end of a run that nobody asked for.
pub const ENDED_UNASKED: &str = "ended unasked";
/// A process that the kernel killed because memory ran out.
pub const OUT_OF_MEMORY: &str = "out of memory";
/// How long these count.
pub const COUNTED_FOR: Duration = Duration::from_secs(7 * 86_400);

/// A span is counted in so many slots: what was counted leaves it at most a slot late.
const SLOTS: u32 = 120;

/// What happened, by name.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct EventCounts {
    tallies: BTreeMap<String, Tally>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Tally {
    /// How long something counts.
    span: Duration,
    /// The begin of each slot in which something happened, and how often.
    slots: Vec<(Duration, u64)>,
}

impl EventCounts {
    /// Something happened so often; it counts for so long. What counts no longer is forgotten.
    pub fn note(&mut self, what: &str, times: u64, span: Duration, watched: Duration) {
        self.tallies.retain(|_, tally| tally.count(watched) > 0);
        let tally = self.tallies.entry(what.to_owned()).or_insert_with(|| Tally { span, slots: Vec::new() });
        tally.span = span;
        tally.slots.retain(|(slot, _)| !is_old(span, *slot, watched));
        let length = length(span).as_secs();
        let slot = Duration::from_secs(watched.as_secs() - watched.as_secs() % length);
        match tally.slots.last_mut().filter(|(last, _)| *last == slot) {
            Some((_, count)) => *count = count.saturating_add(times),
            None => tally.slots.push((slot, times)),
        }
    }

    /// How often it happened within its span.
    pub fn count(&self, what: &str, watched: Duration) -> u64 {
        self.tallies.get(what).map_or(0, |tally| tally.count(watched))
    }
}

impl Tally {
    fn count(&self, watched: Duration) -> u64 {
        let recent = self.slots.iter().filter(|(slot, _)| !is_old(self.span, *slot, watched));
        recent.fold(0, |sum, (_, count)| sum.saturating_add(*count))
    }
}

/// How long a slot is.
fn length(span: Duration) -> Duration {
    Duration::from_secs((span / SLOTS).as_secs().max(1))
}

fn is_old(span: Duration, slot: Duration, watched: Duration) -> bool {
    watched.saturating_sub(slot + length(span)) > span
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const HOUR: Duration = Duration::from_secs(3600);

    #[test]
    fn what_happened_counts_for_its_span_and_is_then_forgotten() {
        let mut happened = EventCounts::default();
        happened.note("errors", 3, HOUR, 10 * HOUR);
        happened.note("errors", 4, HOUR, 10 * HOUR + HOUR / 2);
        assert_eq!(happened.count("errors", 10 * HOUR + HOUR / 2), 7);
        assert_eq!(happened.count("errors", 11 * HOUR + HOUR / 4), 4);
        assert_eq!(happened.count("errors", 12 * HOUR), 0);
        happened.note("restarts", 1, 24 * HOUR, 12 * HOUR);
        assert_eq!(happened.tallies.len(), 1, "the errors are forgotten");
    }

    proptest! {
        /// However often something happens, little is kept, and nothing within the span is lost.
        #[test]
        fn it_stays_small_and_loses_nothing(steps in prop::collection::vec((0..400_u64, 1..5_u64), 1..600)) {
            let mut happened = EventCounts::default();
            let (mut watched, mut all) = (Duration::ZERO, Vec::new());
            for (later, times) in steps {
                watched += Duration::from_secs(later);
                happened.note("it", times, HOUR, watched);
                all.push((watched, times));
                let within: u64 = all.iter().filter(|(at, _)| watched - *at <= HOUR).map(|(_, times)| times).sum();
                let at_most: u64 = all.iter().filter(|(at, _)| watched - *at <= HOUR + HOUR / SLOTS).map(|(_, times)| times).sum();
                prop_assert!((within..=at_most).contains(&happened.count("it", watched)));
                prop_assert!(happened.tallies["it"].slots.len() <= SLOTS as usize + 2);
            }
        }
    }
}
