//! Log entries about what the loop notices besides incidents: the probe, panels, mutes, what its owner asks for, and kernel
//! sources that cannot be read.

use crate::clock::Moment;
use crate::reading::Missing;
use crate::show::panel::{PanelEvent, upkeep::UpkeepEvent};
use crate::tell::log::LogEntry;
use crate::units::span;
use crate::verdict::IncidentId;
use std::fmt::Display;
use std::time::Duration;
use traylight_config::{Bus, PanelWiring};

pub fn about_probe_back(silent: Duration) -> LogEntry {
    LogEntry::agent(5, "probe-back", format!("the probe responds again; no readings for {}", span(silent)))
}

pub fn about_probe_lost(why: &dyn Display, again_in: Duration) -> LogEntry {
    let again_in = span(again_in);
    let lost = format!("the probe failed: {why}; the next one starts in {again_in}, no readings until then");
    LogEntry::agent(4, "probe-lost", lost)
}

/// Of several panels it says which.
pub fn about_panel(event: PanelEvent, panels: &[PanelWiring]) -> LogEntry {
    let panel = match panels.get(event.panel) {
        Some(PanelWiring { bus: Bus::Path(bus) | Bus::AdapterName(bus), address, .. }) if panels.len() > 1 => {
            format!("the panel at {address:#04X} of {bus}")
        }
        _ => "the panel".to_owned(),
    };
    match event.news {
        UpkeepEvent::Found => LogEntry::agent(6, "panel-found", format!("{panel} answers")),
        UpkeepEvent::Lost(fault) => LogEntry::agent(5, "panel-lost", format!("{panel} is lost: {fault}")),
    }
}

pub fn about_acknowledged(id: IncidentId) -> LogEntry {
    LogEntry::agent(5, "acknowledged", format!("incident {id} is acknowledged")).with("incident", id.to_string())
}

pub fn about_dropped(messages: usize) -> LogEntry {
    let dropped = format!("{messages} messages dropped: the alert queue is full while the sender is blocked");
    LogEntry::agent(4, "alerts-dropped", dropped)
}

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
