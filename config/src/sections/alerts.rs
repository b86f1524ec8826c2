//! Alerts besides the log, `[alerts]`: when they may go, the heartbeat, and the channels that they take.

use super::addresses::{path, time_of_day, web_address};
use super::channels::{self, AlertChannel};
use crate::key::key;
use crate::reader::Section;
use crate::url::Url;
use crate::values::{time, whole};
use std::time::Duration;

const HOUR: Duration = Duration::from_secs(3600);
const DAY: Duration = Duration::from_secs(24 * 3600);

/// Alerts besides the log. Without a channel none leave the box.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alerts {
    /// When only critical alerts may go. `None`: there is no such time.
    pub quiet: Option<QuietHours>,
    /// How long after the last message a reminder of an open critical condition is sent.
    pub remind_every: Duration,
    /// Days between summaries; 0 is never.
    pub summary_every_days: u32,
    /// Who is called again and again, and complains when it is not.
    pub heartbeat: Option<Heartbeat>,
    /// The channels, in the order of their kinds.
    pub channels: Vec<AlertChannel>,
}

/// A time of day in which warnings wait, in minutes since midnight, local time. It may go past midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuietHours {
    /// The first quiet minute.
    pub from: u16,
    /// The first minute that is not quiet any more.
    pub until: u16,
}

/// An address that is fetched as long as the box is watched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heartbeat {
    /// What is fetched.
    pub url: Url,
    /// How often.
    pub every: Duration,
    /// One more certificate authority to trust, a PEM file.
    pub ca_file: Option<String>,
}

pub(super) fn read(section: &mut Section) -> Alerts {
    Alerts {
        quiet: quiet(section),
        remind_every: section.value(
            key!(
                /// How often a reminder of an open critical condition is sent.
                remind_every = "24 h", time(HOUR..=7 * DAY),
                "How often a reminder of an open critical condition is sent: 1 h to 168 h."
            )
            .public(),
        ),
        summary_every_days: section.value(
            key!(
                /// Days between short summaries, sent even when the box is healthy: 1 to 31, 0 for never.
                summary_every_days = 0, whole(0..=31)
            )
            .public(),
        ),
        heartbeat: heartbeat(section),
        channels: channels::read(section),
    }
}

fn quiet(section: &mut Section) -> Option<QuietHours> {
    let from = section.unless_empty(
        key!(
            /// Between these times of day, such as "22:00" and "07:00", warnings wait; critical alerts never do.
            quiet_from = "", time_of_day().or_empty(), "When warnings begin to wait, such as \"22:00\". Empty: never."
        )
        .public(),
    );
    let until = section
        .unless_empty(key!(quiet_until = "", time_of_day().or_empty(), "When waiting warnings are sent.").public());
    section.both_or_none(&from, &until, [&["quiet_from"], &["quiet_until"]]);
    let (from, until) = from.zip(until)?;
    if from.value == until.value {
        section.wrong(&until, "expected `quiet_until` to differ from `quiet_from`, found the same time".into());
    }
    Some(QuietHours { from: from.value, until: until.value })
}

fn heartbeat(section: &mut Section) -> Option<Heartbeat> {
    let url = section.unless_empty(key!(
        /// A URL to fetch regularly while traylight runs. A service behind it can alert you when the fetches stop:
        /// nothing on the box can report that the whole box is dead. `heartbeat_ca_file` adds a CA of your own.
        heartbeat_url = "", web_address().or_empty(), "A URL to fetch while traylight runs. Empty: none."
    ));
    let every = section.value(
        key!(heartbeat_every = "15 min", time(HOUR / 60..=DAY), "How often it is fetched: 1 min to 24 h.").public(),
    );
    let ca_file = section
        .unless_empty(key!(
            heartbeat_ca_file = "",
            path().or_empty(),
            "An additional certificate authority to trust for it, a PEM file."
        ))
        .map(|file| file.value);
    url.map(|url| Heartbeat { url: url.value, every, ca_file })
}
