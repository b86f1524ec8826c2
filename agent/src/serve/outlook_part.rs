//! Where a drive's temperature is heading, in the document.

use super::part::part;
use crate::reading::{self, Power, Reason};
use crate::verdict::{self, Interval};

part! {
    /// Where a drive's temperature is heading. Low and high are the ends of an interval of 80 %.
    pub struct Outlook of (outlook: &verdict::Outlook) where {
        let heading = outlook.heading.as_ref().ok_or("its readings do not show yet where it will settle");
        let tenths = |degrees: f64| (degrees * 10.0).round() / 10.0;
        let reaches = outlook.reaches.ok_or("it will not reach the limit within an hour");
    } {
        /// Where it settles.
        heading_c: known f64 = heading.map(|Interval { middle, .. }| tenths(*middle));
        /// Low end.
        heading_low_c: known f64 = heading.map(|Interval { low, .. }| tenths(*low));
        /// High end.
        heading_high_c: known f64 = heading.map(|Interval { high, .. }| tenths(*high));
        /// The limit in question: the next one above the temperature, or the last.
        limit_c: is f64 = outlook.limit.0;
        /// How long until the limit is reached.
        in_s: known u64 = reaches.map(|reaches| reaches.middle.as_secs());
        /// At the earliest.
        in_low_s: known u64 = reaches.map(|reaches| reaches.earliest.as_secs());
        /// At the latest.
        in_high_s: known u64 = reaches.and_then(|reaches| {
            reaches.latest.map(|latest| latest.as_secs()).ok_or("the low end stays below the limit for an hour")
        });
    }
}

/// Why there is no outlook: no temperature, or no curve to tell it from.
pub(super) fn no_outlook(drive: &reading::Drive) -> String {
    match (drive.power.get(), drive.temperature.missing()) {
        (Some(Power::Asleep), _) => Reason::Asleep.words().to_owned(),
        (_, Some(why)) => why.to_string(),
        (_, None) => "too few readings since it woke, or since its trend last changed".to_owned(),
    }
}
