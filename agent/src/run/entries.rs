//! Log entries about what the loop notices besides incidents: mutes, and kernel sources that cannot be read.

use crate::clock::Moment;
use crate::reading::Missing;
use crate::tell::log::LogEntry;
use crate::units::span;

/// Once when messages begin to be held back, once when that is over.
pub fn about_mute(before: Option<Moment>, after: Option<Moment>, now: Moment) -> Option<LogEntry> {
    match after {
        _ if before == after => None,
        Some(until) => {
            let held = format!("messages are held back for {}; the log continues", span(until.since(now)));
            Some(LogEntry::agent(5, "muted", held))
        }
        None => Some(LogEntry::agent(5, "mute-over", "messages are sent again")),
    }
}

pub fn about_log(why: &Missing) -> LogEntry {
    let less = format!("the kernel log cannot be read, so causes are less certain: {why}");
    LogEntry::agent(5, "log-unread", less)
}

pub fn about_events(why: &Missing) -> LogEntry {
    let late = format!("kernel events are not received, so changes are noticed up to 2 s late: {why}");
    LogEntry::agent(5, "events-unheard", late)
}
