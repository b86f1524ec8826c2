//! Log entries about what the loop notices besides incidents: the probe, panels, mutes, what its owner asks for, and kernel
//! sources that cannot be read.

use crate::clock::Moment;
use crate::reading::Missing;
use crate::show::panel::{PanelEvent, upkeep::UpkeepEvent};
use crate::tell::log::LogEntry;
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::IncidentId;
use std::fmt::Display;
use std::time::Duration;
use traylight_config::{Bus, PanelWiring};

pub fn about_probe_back(silent: Duration, language: Language) -> LogEntry {
    LogEntry::worded(5, "probe-back", language, |language| {
        language.say("log.probe-back", &[("span", &language.span(silent))])
    })
}

pub fn about_probe_lost(why: &dyn Display, again_in: Duration, language: Language) -> LogEntry {
    LogEntry::worded(4, "probe-lost", language, |language| {
        language.say("log.probe-lost", &[("why", &why), ("span", &language.span(again_in))])
    })
}

/// Of several panels it says which.
pub fn about_panel(event: PanelEvent, panels: &[PanelWiring], language: Language) -> LogEntry {
    let panel = |language: Language| match panels.get(event.panel) {
        Some(PanelWiring { bus: Bus::Path(bus) | Bus::AdapterName(bus), address, .. }) if panels.len() > 1 => {
            language.say("log.panel-of-several", &[("address", &format_args!("{address:#04X}")), ("bus", bus)])
        }
        _ => language.plain("log.panel").to_owned(),
    };
    match &event.what {
        UpkeepEvent::Found => LogEntry::worded(6, "panel-found", language, |language| {
            language.say("log.panel-found", &[("panel", &panel(language))])
        }),
        UpkeepEvent::Lost(fault) => LogEntry::worded(5, "panel-lost", language, |language| {
            language.say("log.panel-lost", &[("panel", &panel(language)), ("why", fault)])
        }),
    }
}

pub fn about_acknowledged(id: IncidentId, language: Language) -> LogEntry {
    let words = |language: Language| language.say("log.acknowledged", &[("id", &id)]);
    LogEntry::worded(5, "acknowledged", language, words).with("incident", id.to_string())
}

pub fn about_dropped(messages: usize, language: Language) -> LogEntry {
    LogEntry::worded(4, "alerts-dropped", language, |language| {
        language.say("log.dropped", &[("messages", &language.count("log.messages", messages as u64))])
    })
}

/// Once when alerts are muted, once when they are no longer.
pub fn about_mute(before: Option<Moment>, after: Option<Moment>, now: Moment, language: Language) -> Option<LogEntry> {
    match after {
        _ if before == after => None,
        Some(until) => Some(LogEntry::worded(5, "muted", language, |language| {
            language.say("log.muted", &[("span", &language.span(until.since(now)))])
        })),
        None => Some(LogEntry::worded(5, "mute-over", language, |language| language.plain("mute.over").to_owned())),
    }
}

pub fn about_kernel_log(why: &Missing, language: Language) -> LogEntry {
    LogEntry::worded(5, "kernel-log-unreadable", language, |language| {
        language.say("log.kernel-log-unreadable", &[("why", &language.missing(why))])
    })
}

pub fn about_kernel_events(why: &Missing, language: Language) -> LogEntry {
    LogEntry::worded(5, "kernel-events-unavailable", language, |language| {
        language.say("log.kernel-events-unavailable", &[("why", &language.missing(why))])
    })
}
