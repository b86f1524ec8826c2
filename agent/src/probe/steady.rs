//! A value that is believed only once it was read again and again: some files say something else for a moment.

use crate::clock::Moment;
use std::time::Duration;

/// So many reads in a row make a new value believed,
const READS: u32 = 3;
/// when this much time lies between the first and the last of them.
const HOLD: Duration = Duration::from_secs(5);

/// The value that is believed, and perhaps one that is on its way to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Steady<T> {
    believed: T,
    /// The value read since a while instead, how often, and since when.
    instead: Option<(T, u32, Moment)>,
}

impl<T: PartialEq> Steady<T> {
    /// The first read is believed: there is nothing else.
    pub fn new(first: T) -> Self {
        Self { believed: first, instead: None }
    }

    /// What is believed.
    pub fn value(&self) -> &T {
        &self.believed
    }

    /// Takes in a read; one that is `certain` is believed at once.
    pub fn see(&mut self, read: T, certain: bool, now: Moment) {
        if read == self.believed {
            self.instead = None;
            return;
        }
        let (times, since) = match &self.instead {
            Some((value, times, since)) if *value == read => (times + 1, *since),
            _ => (1, now),
        };
        if certain || (times >= READS && now.since(since) >= HOLD) {
            self.believed = read;
            self.instead = None;
        } else {
            self.instead = Some((read, times, since));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is believed after each of these reads, given with the second of each.
    fn believed(reads: &[(u64, &'static str)]) -> Vec<&'static str> {
        let mut steady = Steady::new("ONLINE");
        let after = reads.iter().map(|&(second, read)| {
            steady.see(read, read == "SUSPENDED", Moment::after_boot(Duration::from_secs(second)));
            *steady.value()
        });
        after.collect()
    }

    #[test]
    fn one_odd_read_changes_nothing() {
        assert_eq!(believed(&[(0, "OFFLINE"), (2, "ONLINE"), (4, "OFFLINE"), (6, "OFFLINE")]), ["ONLINE"; 4]);
        assert_eq!(believed(&[(0, "OFFLINE"), (3, "REMOVED"), (6, "OFFLINE")]), ["ONLINE"; 3]);
    }

    #[test]
    fn three_reads_over_five_seconds_are_believed_and_no_fewer() {
        let words = ["ONLINE", "ONLINE", "ONLINE", "DEGRADED"];
        assert_eq!(believed(&[(0, "DEGRADED"), (2, "DEGRADED"), (4, "DEGRADED"), (6, "DEGRADED")]), words);
        assert_eq!(believed(&[(0, "DEGRADED"), (9, "DEGRADED")]), ["ONLINE"; 2]);
        assert_eq!(believed(&[(0, "DEGRADED"), (2, "DEGRADED"), (5, "DEGRADED")]), ["ONLINE", "ONLINE", "DEGRADED"]);
    }

    #[test]
    fn what_is_certain_is_believed_at_once_and_does_not_go_at_once() {
        assert_eq!(believed(&[(0, "SUSPENDED"), (2, "ONLINE"), (4, "SUSPENDED"), (6, "ONLINE")]), ["SUSPENDED"; 4]);
    }
}
