//! The only reader of clocks. Durations come from the boot clock, which never steps and counts through
//! suspend (CLOCK_BOOTTIME, clock_gettime(2)); wall time is for print only.

#![allow(clippy::disallowed_methods, reason = "this is the one file that may ask for the time")]

pub use traylight_data::clock::{Moment, calendar_between};

use rustix::time::{ClockId, clock_gettime};
use std::time::Duration;

/// Wall time for print: what the calendar said at some moment, and whether it can be believed.
#[derive(Debug, Clone, PartialEq)]
pub struct Wall {
    /// Local time of day and date.
    pub time: jiff::ZonedDateTime,
    /// True once the kernel's clock was set by a time service (adjtimex(2), STA_UNSYNC clear).
    pub synchronised: bool,
}

impl Wall {
    /// The same calendar, `earlier` before: when something happened that the boot clock has timed.
    pub fn before(&self, earlier: Duration) -> Self {
        let time = jiff::SignedDuration::try_from(earlier)
            .ok()
            .and_then(|by| self.time.checked_sub(by).ok())
            .unwrap_or_else(|| self.time.clone());
        Self { time, synchronised: self.synchronised }
    }

    /// The same calendar, `later` after.
    pub fn after(&self, later: Duration) -> Self {
        let time = jiff::SignedDuration::try_from(later)
            .ok()
            .and_then(|by| self.time.checked_add(by).ok())
            .unwrap_or_else(|| self.time.clone());
        Self { time, synchronised: self.synchronised }
    }

    /// Hours and minutes.
    pub fn minute(&self) -> String {
        self.time.strftime("%H:%M").to_string()
    }

    /// Hours, minutes and seconds.
    pub fn second(&self) -> String {
        self.time.strftime("%H:%M:%S").to_string()
    }

    /// Date, time and zone, as people read them.
    pub fn local(&self) -> String {
        spaced(&self.stamp())
    }

    /// Date and time with seconds and offset (RFC 3339).
    pub fn stamp(&self) -> String {
        self.time.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
    }
}

/// The clocks of this machine.
#[derive(Debug, Clone, Default)]
pub struct Clock {
    boot_id: String,
}

impl Clock {
    /// The running machine's clocks. Without a readable boot id (`/proc/sys/kernel/random/boot_id`) the id is
    /// empty, which equals no other boot.
    pub fn of_this_machine() -> Self {
        let boot_id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id")
            .map(|text| text.trim().to_owned())
            .unwrap_or_default();
        Self { boot_id }
    }

    /// Which boot of the machine this is.
    pub fn boot_id(&self) -> &str {
        &self.boot_id
    }

    /// Now, on the boot clock.
    pub fn now(&self) -> Moment {
        let time = clock_gettime(ClockId::Boottime);
        Moment::after_boot(Duration::new(time.tv_sec as u64, time.tv_nsec as u32))
    }

    /// How long the machine was suspended in this boot: what the boot clock has counted and others have not
    /// (CLOCK_BOOTTIME and CLOCK_MONOTONIC, clock_gettime(2)).
    pub fn suspended(&self) -> Duration {
        let since_boot = |clock| {
            let time = clock_gettime(clock);
            Duration::new(time.tv_sec as u64, time.tv_nsec as u32)
        };
        // Read one after the other, they differ by less than this even without a suspension.
        const NOISE: Duration = Duration::from_millis(1);
        let suspended = since_boot(ClockId::Boottime).saturating_sub(since_boot(ClockId::Monotonic));
        if suspended < NOISE { Duration::ZERO } else { suspended }
    }

    /// Seconds since 1970, to be set against times that others have noted. The clock that counts them may step.
    pub fn epoch_seconds(&self) -> Option<u64> {
        clock_gettime(ClockId::Realtime).tv_sec.try_into().ok()
    }

    /// The same, once a time service has set the clock: fit to be set against times of before a restart.
    pub fn calendar_seconds(&self) -> Option<u64> {
        self.epoch_seconds().filter(|_| kernel_clock_is_set())
    }

    /// Now, on the calendar.
    pub fn wall(&self) -> Wall {
        Wall { time: jiff::ZonedDateTime::now(), synchronised: kernel_clock_is_set() }
    }
}

/// A time of RFC 3339 as people read it: `2026-05-14 14:32:05 UTC+02:00`.
pub fn spaced(stamp: &str) -> String {
    match (stamp.get(..10), stamp.get(11..19), stamp.get(19..)) {
        (Some(date), Some(time), Some(offset)) => format!("{date} {time} UTC{offset}"),
        _ => stamp.to_owned(),
    }
}

/// Seconds since 1970 of a time as ctime(3) writes it, by the time zone of this machine: `Wed Nov 25 09:08:39 2026`.
pub fn seconds_of_ctime(text: &str) -> Option<u64> {
    let civil = jiff::civil::DateTime::strptime("%a %b %e %H:%M:%S %Y", text).ok()?;
    jiff::tz::TimeZone::system().to_timestamp(civil).ok()?.as_second().try_into().ok()
}

/// True when a time service has set the kernel's clock: adjtimex(2) with no mode changes nothing and needs no rights.
fn kernel_clock_is_set() -> bool {
    // SAFETY: `timex` is plain integers, for which all zeros is a valid value.
    let mut state: libc::timex = unsafe { std::mem::zeroed() };
    // SAFETY: the pointer is to a live `timex` of the layout the C library expects, used only during the call;
    // `modes` is 0, so that nothing is changed.
    let answer = unsafe { libc::adjtimex(&mut state) };
    answer != -1 && state.status & libc::STA_UNSYNC == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calendar_that_cannot_be_tells_nothing() {
        let (spring, day) = (1_778_760_000, 86_400);
        assert_eq!(calendar_between(spring, spring + 3 * day), Some(Duration::from_secs(3 * day)));
        assert_eq!(calendar_between(spring + day, spring), None, "it was stepped back");
        assert_eq!(calendar_between(day, spring), None, "54 years: nobody had set it in 1970");
        assert_eq!(calendar_between(spring, spring + 20 * 365 * day), None, "it was stepped by years");
    }

    /// Against date(1), in the zone of this machine.
    #[test]
    fn the_words_of_ctime_are_a_time_in_the_zone_of_this_machine() {
        let text = "Wed Nov 25 09:08:39 2026";
        let said = std::process::Command::new("date").args(["-d", "2026-11-25 09:08:39", "+%s"]).output();
        let said = String::from_utf8(said.expect("date runs").stdout).expect("date prints text");
        assert_eq!(seconds_of_ctime(text), said.trim().parse().ok());
        assert_eq!(seconds_of_ctime("Wed Nov  4 09:08:39 2026").map(|at| at % 60), Some(39), "one digit, two blanks");
        assert_eq!(seconds_of_ctime("the day before yesterday"), None);
    }

    #[test]
    fn the_boot_clock_agrees_with_the_kernels_uptime() {
        let clock = Clock::of_this_machine();
        let text = std::fs::read_to_string("/proc/uptime").expect("this machine has /proc/uptime");
        let uptime: f64 =
            text.split(' ').next().and_then(|word| word.parse().ok()).expect("uptime begins with seconds");
        let difference = clock.now().since_boot().as_secs_f64() - uptime;
        assert!((0.0..60.0).contains(&difference), "boot clock and uptime differ by {difference} s");
    }
}
