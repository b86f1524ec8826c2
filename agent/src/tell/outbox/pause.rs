//! How long a channel that fails is left alone: 1, 2, 5, 15, then 60 minutes, a little spread so that many boxes behind one
//! server do not come back all at once.

use super::kept::KeptPause;
use crate::clock::Moment;
use crate::tell::message::Stamp;
use std::time::Duration;

const MINUTES: [u64; 5] = [1, 2, 5, 15, 60];

/// A channel's pause.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Pause {
    failures: usize,
    until: Option<Moment>,
}

impl Pause {
    /// What is left of a pause from before a restart. Where nobody can tell how long the machine was off, only the time
    /// since it started counts.
    pub fn resume(kept: &KeptPause, now: &Stamp) -> Self {
        let age = kept.since.age(now).unwrap_or_else(|| now.moment.since_boot());
        let left = after(kept.failures.saturating_sub(1)).saturating_sub(age);
        Self { failures: kept.failures, until: (!left.is_zero()).then(|| now.moment.plus(left)) }
    }

    /// How often it has failed.
    pub fn failures(&self) -> usize {
        self.failures
    }

    /// One more failure. `jitter` from 0 to 1 makes the pause up to a tenth shorter or longer.
    pub fn lengthen(&mut self, now: Moment, jitter: f64) {
        let spread = 0.9 + 0.2 * jitter.clamp(0.0, 1.0);
        self.until = Some(now.plus(after(self.failures).mul_f64(spread)));
        self.failures += 1;
    }

    /// It works again.
    pub fn forget(&mut self) {
        *self = Self::default();
    }

    /// The next attempt need not wait; how many there were is still known.
    pub fn end(&mut self) {
        self.until = None;
    }

    /// Until when, if that is still to come.
    pub fn until(&self, now: Moment) -> Option<Moment> {
        self.until.filter(|until| *until > now)
    }
}

/// How long the pause is after so many failures before this one.
fn after(failures: usize) -> Duration {
    Duration::from_secs(60 * MINUTES[failures.min(MINUTES.len() - 1)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pause_grows_to_an_hour_and_is_spread_by_a_tenth() {
        let now = Moment::after_boot(Duration::from_secs(100));
        let seconds = |jitter: f64| {
            let mut pause = Pause::default();
            let mut next = || {
                pause.lengthen(now, jitter);
                pause.until(now).map_or(0, |until| until.since(now).as_secs())
            };
            [next(), next(), next(), next(), next(), next()]
        };
        assert_eq!(seconds(0.5), [60, 120, 300, 900, 3600, 3600]);
        assert_eq!(seconds(0.0), [54, 108, 270, 810, 3240, 3240]);
        assert_eq!(seconds(1.0), [66, 132, 330, 990, 3960, 3960]);
        assert_eq!(seconds(f64::INFINITY)[0], 66);
    }
}
