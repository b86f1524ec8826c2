//! Quiet hours: the time of day in which only critical messages leave. Without a calendar that can be believed there
//! are none, since a warning too many at night is better than one that never comes.

use super::terms::Now;
use crate::clock::Moment;
use std::time::Duration;
use traylight_config::QuietHours;

const DAY: u16 = 24 * 60;

/// The end of the quiet hours, when it is quiet now.
pub(super) fn quiet_until(quiet: Option<QuietHours>, now: &Now) -> Option<Moment> {
    let (QuietHours { from, until }, minute) = quiet.zip(now.minute_of_day)?;
    let since_from = (minute + DAY - from) % DAY;
    let length = (until + DAY - from) % DAY;
    let left = length.checked_sub(since_from).filter(|left| *left > 0)?;
    Some(now.moment().plus(Duration::from_secs(60 * u64::from(left))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quiet_hours_may_go_past_midnight() {
        let minutes_left = |from, until, minute| {
            let now = Now { minute_of_day: minute, ..Now::default() };
            let end = quiet_until(Some(QuietHours { from, until }), &now)?;
            Some(end.since(now.moment()).as_secs() / 60)
        };
        let night = |minute| minutes_left(22 * 60, 7 * 60, Some(minute));
        assert_eq!([night(22 * 60), night(0), night(6 * 60 + 59)], [Some(9 * 60), Some(7 * 60), Some(1)]);
        assert_eq!([night(21 * 60 + 59), night(7 * 60), night(12 * 60)], [None, None, None]);
        let noon = |minute| minutes_left(12 * 60, 14 * 60, Some(minute));
        assert_eq!([noon(12 * 60), noon(13 * 60 + 30), noon(14 * 60), noon(3)], [Some(120), Some(30), None, None]);
        assert_eq!(minutes_left(0, DAY - 1, None), None, "no calendar, no quiet hours");
        assert_eq!(quiet_until(None, &Now { minute_of_day: Some(3), ..Now::default() }), None);
    }
}
