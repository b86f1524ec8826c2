//! How long something will take, with its interval, and the figures that a person reads of it.

use serde::{Deserialize, Serialize};
use std::time::Duration;

/// A time from now on that is not known exactly: `soonest <= middle <= latest`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Estimate {
    /// The end of the interval that is near.
    pub soonest: Duration,
    /// The best guess.
    pub middle: Duration,
    /// The end that is far; `None` when that is later than anybody can say, or never.
    pub latest: Option<Duration>,
}

/// The figures of an estimate, in one unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rounded {
    /// The unit of all three.
    pub unit: Unit,
    /// The end of the interval that is near.
    pub soonest: u64,
    /// The best guess.
    pub middle: u64,
    /// The end that is far, if there is one.
    pub latest: Option<u64>,
}

/// A unit of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Seconds.
    Seconds,
    /// Minutes.
    Minutes,
    /// Hours.
    Hours,
    /// Days.
    Days,
}

/// How fast something goes, in units per second or per day, least first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rates {
    /// The slow end of the interval; zero or less is no movement at all.
    pub least: f64,
    /// The best guess.
    pub middle: f64,
    /// The fast end.
    pub most: f64,
}

impl Estimate {
    /// How long `amount` takes at these rates, in their unit of time. `None` when there is no telling: the middle rate
    /// does not move, or a number is none.
    pub fn of(amount: f64, rates: Rates, unit: Duration) -> Option<Self> {
        let after = |rate: f64| {
            let units = (rate > 0.0).then(|| amount.max(0.0) / rate)?;
            Duration::try_from_secs_f64(units * unit.as_secs_f64()).ok()
        };
        let middle = after(rates.middle)?;
        let soonest = after(rates.most.max(rates.middle))?;
        Some(Self { soonest, middle, latest: after(rates.least.min(rates.middle)) })
    }

    /// The figures for a person: one unit for all three, the one in which the middle reads best. The ends are rounded
    /// outwards.
    pub fn rounded(&self) -> Rounded {
        let (seconds, unit) = match self.middle.as_secs() {
            0..120 => (1.0, Unit::Seconds),
            120..7_200 => (60.0, Unit::Minutes),
            7_200..172_800 => (3_600.0, Unit::Hours),
            _ => (86_400.0, Unit::Days),
        };
        let in_units = |time: Duration| time.as_secs_f64() / seconds;
        Rounded {
            unit,
            soonest: in_units(self.soonest).floor() as u64,
            middle: in_units(self.middle).round() as u64,
            latest: self.latest.map(|latest| in_units(latest).ceil() as u64),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const DAY: Duration = Duration::from_secs(86_400);

    fn figures(rates: [f64; 3], amount: f64, unit: Duration) -> Rounded {
        let [least, middle, most] = rates;
        Estimate::of(amount, Rates { least, middle, most }, unit).expect("it moves").rounded()
    }

    #[test]
    fn a_person_reads_one_unit_and_the_ends_rounded_outwards() {
        let second = Duration::from_secs(1);
        let told = |unit, soonest, middle, latest| Rounded { unit, soonest, middle, latest };
        assert_eq!(figures([15.2, 24.4, 37.0], 1000.0, DAY), told(Unit::Days, 27, 41, Some(66)));
        assert_eq!(figures([0.0, 24.4, 37.0], 1000.0, DAY), told(Unit::Days, 27, 41, None));
        assert_eq!(figures([10.0, 10.0, 10.0], 400.0, DAY), told(Unit::Days, 40, 40, Some(40)));
        assert_eq!(figures([120.0, 180.0, 199.0], 3.9e6, second), told(Unit::Hours, 5, 6, Some(10)));
        assert_eq!(figures([1.0, 2.0, 4.0], 600.0, second), told(Unit::Minutes, 2, 5, Some(10)));
        assert_eq!(figures([1.0, 2.0, 4.0], 60.0, second), told(Unit::Seconds, 15, 30, Some(60)));
    }

    #[test]
    fn what_does_not_move_has_no_estimate() {
        for middle in [0.0, -3.0, f64::NAN] {
            assert_eq!(Estimate::of(1.0, Rates { least: middle, middle, most: 5.0 }, DAY), None);
        }
        assert_eq!(Estimate::of(1.0, Rates { least: 1e-300, middle: 1e-300, most: 1.0 }, DAY), None, "beyond all time");
    }

    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![prop::num::f64::ANY, -1e2..1e3]
    }

    proptest! {
        #[test]
        fn whatever_the_rates_the_interval_holds_the_middle(
            amount in number(), least in number(), middle in number(), most in number(), seconds: u32,
        ) {
            let found = Estimate::of(amount, Rates { least, middle, most }, Duration::from_secs(seconds.into()));
            if let Some(found) = found {
                prop_assert!(found.soonest <= found.middle);
                prop_assert!(found.latest.is_none_or(|latest| found.middle <= latest));
                prop_assert!(found.rounded().soonest <= found.rounded().middle);
            }
        }
    }
}
