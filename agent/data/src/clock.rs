//! A point in time, as the boot clock counts it. Nobody here asks for the time.

use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Sixty seconds.
pub const MINUTE: Duration = Duration::from_secs(60);
/// Sixty minutes.
pub const HOUR: Duration = Duration::from_secs(3600);
/// Twenty-four hours: of watched time, or of a clock that does not step.
pub const DAY: Duration = Duration::from_secs(24 * 3600);
/// Seven days.
pub const WEEK: Duration = Duration::from_secs(7 * 24 * 3600);

/// A point on the boot clock: milliseconds since this boot. Two moments compare only within one boot,
/// which the program's clock tells apart by its boot id. What was noted in an earlier boot lies before zero, as far as the
/// calendar tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Moment(i64);

impl Moment {
    /// The moment `since_boot` after the start of the machine.
    pub const fn after_boot(since_boot: Duration) -> Self {
        Self(since_boot.as_millis() as i64)
    }

    /// How long the machine had been up; zero before this boot.
    pub const fn since_boot(self) -> Duration {
        self.since(Self(0))
    }

    /// How long after `earlier` this is; zero when it is not after it.
    pub const fn since(self, earlier: Self) -> Duration {
        let passed = self.0.saturating_sub(earlier.0);
        Duration::from_millis(if passed > 0 { passed as u64 } else { 0 })
    }

    /// True when what was done at `last`, or never, and is to be done `every` so often is due now.
    pub fn is_due(self, last: Option<Self>, every: Duration) -> bool {
        last.is_none_or(|last| self.since(last) >= every)
    }

    /// How far apart two moments are, whichever comes first.
    pub const fn apart(self, other: Self) -> Duration {
        if self.0 > other.0 { self.since(other) } else { other.since(self) }
    }

    /// The moment `later` from this one.
    pub const fn plus(self, later: Duration) -> Self {
        Self(self.0.saturating_add(later.as_millis() as i64))
    }

    /// The moment `earlier` before this one, which may lie before this boot.
    pub const fn minus(self, earlier: Duration) -> Self {
        Self(self.0.saturating_sub(earlier.as_millis() as i64))
    }
}

/// How much time has passed between two times in seconds since 1970, one of them in an earlier boot; `None` when that
/// cannot be: one of them is before traylight was, the second is before the first, or years lie between them. A calendar
/// that was set by a service may have been set wrong.
pub fn calendar_between(then_s: u64, now_s: u64) -> Option<Duration> {
    const TRAYLIGHT_BEGINS: u64 = 1_735_689_600; // 2025-01-01
    const LONGEST_OFF: Duration = Duration::from_secs(3 * 365 * 86_400);
    let passed = Duration::from_secs(now_s.checked_sub(then_s)?);
    (then_s >= TRAYLIGHT_BEGINS && passed <= LONGEST_OFF).then_some(passed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_in_the_future_is_not_a_duration_below_zero() {
        let early = Moment::after_boot(Duration::from_secs(5));
        let late = early.plus(Duration::from_secs(2));
        assert_eq!(late.since(early), Duration::from_secs(2));
        assert_eq!(early.since(late), Duration::ZERO);
    }
}
