//! From two counts to a rate. A count that fell either ran over its end or began anew: one is arithmetic, the other
//! is no rate at all.

use traylight_data::clock::Moment;
use traylight_data::reading::{Missing, WhyMissing};

/// A counter seen once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CountedAt {
    /// What it said.
    pub value: u64,
    /// When.
    pub at: Moment,
    /// Which instance of the thing was counting; another instance starts anew.
    pub instance: u64,
}

/// Faster than any drive or port here can be, in counted units a second; a fall that would need more is a restart.
const FASTEST: f64 = 4e9;

/// Units per second between two counts.
///
/// Counters of a 32 bit kernel run over at 2^32 (Documentation/admin-guide/iostats.rst), the others at 2^64.
///
/// # Errors
/// The reason why there is no rate: no time passed, another instance, or the count began anew.
pub fn rate(before: CountedAt, now: CountedAt) -> Result<f64, Missing> {
    let began_anew = || Missing::from(WhyMissing::CounterReset);
    let seconds = now.at.since(before.at).as_secs_f64();
    if seconds <= 0.0 {
        return Err(Missing::from(WhyMissing::FirstCount));
    }
    if now.instance != before.instance {
        return Err(began_anew());
    }
    if now.value >= before.value {
        return Ok((now.value - before.value) as f64 / seconds);
    }
    let modulus_32 = before.value <= u64::from(u32::MAX);
    let moved = if modulus_32 {
        u64::from((now.value as u32).wrapping_sub(before.value as u32))
    } else {
        now.value.wrapping_sub(before.value)
    };
    // A count that ran over was near its end before; one that fell from the middle was reset.
    let near_the_end =
        if modulus_32 { before.value > u64::from(u32::MAX) / 4 * 3 } else { before.value > u64::MAX / 4 * 3 };
    let rate = moved as f64 / seconds;
    if near_the_end && rate <= FASTEST { Ok(rate) } else { Err(began_anew()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn count(value: u64, second: u64) -> CountedAt {
        CountedAt { value, at: Moment::after_boot(Duration::from_secs(second)), instance: 7 }
    }

    fn anew() -> Result<f64, Missing> {
        Err(Missing::from(WhyMissing::CounterReset))
    }

    #[test]
    fn a_rate_is_the_difference_over_time() {
        assert_eq!(rate(count(1_000, 10), count(5_000, 12)), Ok(2_000.0));
        assert_eq!(rate(count(1_000, 10), count(1_000, 12)), Ok(0.0));
    }

    #[test]
    fn a_counter_that_ran_over_goes_on() {
        assert_eq!(rate(count(u64::from(u32::MAX) - 9, 10), count(10, 12)), Ok(10.0));
        assert_eq!(rate(count(u64::MAX - 9, 10), count(10, 12)), Ok(10.0));
    }

    #[test]
    fn a_counter_that_began_anew_is_no_rate() {
        assert_eq!(rate(count(80_000, 10), count(10, 12)), anew());
        assert_eq!(rate(count(1 << 40, 10), count(10, 12)), anew());
        let other = CountedAt { instance: 8, ..count(90_000, 12) };
        assert_eq!(rate(count(80_000, 10), other), anew());
    }

    #[test]
    fn no_time_is_no_rate() {
        assert!(rate(count(1, 10), count(2, 10)).is_err());
    }
}
