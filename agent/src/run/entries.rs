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
            let held = format!("messages are held back for {}; the log goes on", span(until.since(now)));
            Some(LogEntry::agent(5, "muted", held))
        }
        None => Some(LogEntry::agent(5, "mute-over", "messages are sent again")),
    }
}

pub fn about_log(why: &Missing) -> LogEntry {
    let less = format!("the kernel's log is not read, so what it tells of causes is not known: {why}");
    LogEntry::agent(5, "log-unread", less)
}

pub fn about_events(why: &Missing) -> LogEntry {
    let late = format!("the kernel's events are not heard, so changes are noticed up to 2 s late: {why}");
    LogEntry::agent(5, "events-unheard", late)
}
