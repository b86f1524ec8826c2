//! The forecast of a drive's temperature in the document.

use super::part::part;
use crate::reading::{self, Missing, Power, Reason, WhyMissing};
use crate::verdict::{self, Interval};

part! {
    /// The forecast of a drive's temperature, if nothing changes. Low and high are the ends of an 80 % interval.
    pub struct Forecast of (outlook: &verdict::Outlook) where {
        let heading = outlook.heading.as_ref().ok_or(WhyMissing::NotSettled);
        let tenths = |degrees: f64| (degrees * 10.0).round() / 10.0;
        let reaches = outlook.reaches.ok_or(WhyMissing::LimitNotReached);
    } {
        /// The temperature at which it will settle.
        settles_c: known f64 = heading.map(|Interval { middle, .. }| tenths(*middle));
        /// Its lower end.
        settles_low_c: known f64 = heading.map(|Interval { low, .. }| tenths(*low));
        /// Its upper end.
        settles_high_c: known f64 = heading.map(|Interval { high, .. }| tenths(*high));
        /// The next limit above the present temperature, or the highest one.
        limit_c: is f64 = outlook.limit.0;
        /// Time until that limit is reached.
        in_s: known u64 = reaches.map(|reaches| reaches.middle.as_secs());
        /// The earliest time.
        in_low_s: known u64 = reaches.map(|reaches| reaches.earliest.as_secs());
        /// The latest time.
        in_high_s: known u64 = reaches.and_then(|reaches| {
            reaches.latest.map(|latest| latest.as_secs()).ok_or(WhyMissing::LimitMayNotBeReached)
        });
    }
}

/// Why there is no forecast: no temperature, or too short a curve.
pub(super) fn no_forecast(drive: &reading::Drive) -> Missing {
    match (drive.power.get(), drive.temperature.missing()) {
        (Some(Power::Asleep), _) => Missing::of(Reason::Asleep),
        (_, Some(why)) => why.clone(),
        (_, None) => WhyMissing::TooFewReadings.into(),
    }
}
