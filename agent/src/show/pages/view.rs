//! What a page may show: the box as judged and as read, and what is around it.

use crate::reading::Snapshot;
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::{Handling, Incident, IncidentId, Severity, Verdict};
use std::time::Duration;
use traylight_config::Settings;

/// What stands in place of the time of day on the pages of a rehearsal.
pub fn test_mark(language: Language) -> &'static str {
    language.plain("page.test")
}

/// How a channel for alerts stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChannelStatus {
    /// Its name.
    pub name: String,
    /// True once somebody has given a code back that was sent on it.
    pub is_confirmed: bool,
    /// How many messages wait for it.
    pub waiting: usize,
    /// True while it fails.
    pub fails: bool,
}

/// All that a page may show.
#[derive(Clone, Copy)]
pub struct View<'a> {
    /// The box as judged.
    pub verdict: &'a Verdict,
    /// The box as read; `None` before the first reading.
    pub snapshot: Option<&'a Snapshot>,
    /// The settings in force.
    pub settings: &'a Settings,
    /// The channels for alerts.
    pub channels: &'a [ChannelStatus],
    /// The minute of the day, or how long the box is up while its clock was not set; [`test_mark`] in a rehearsal.
    pub clock: &'a str,
    /// How often all pages have come round: what has no room on one picture takes turns by it.
    pub cycle: u64,
    /// The time of day so long ago.
    pub time_of_day: &'a dyn Fn(Duration) -> String,
    /// The language of the words.
    pub language: Language,
}

impl<'a> View<'a> {
    /// True for what is only rehearsed.
    pub(super) fn is_test(&self) -> bool {
        self.clock == test_mark(self.language)
    }

    /// The first of these words that has no more than so many columns, else the last.
    pub(super) fn fitting(&self, keys: &[&str], columns: usize) -> &'static str {
        let words = |key: &&str| self.language.plain(key);
        let fits = |words: &&str| words.chars().count() <= columns;
        keys.iter().map(words).find(fits).or(keys.last().map(words)).unwrap_or_default()
    }

    /// The open incidents that are at least a warning: those that say which trays must stay in come first, each kind in the
    /// order of the verdict.
    pub fn troubles(&self) -> Vec<&'a Incident> {
        let mut open: Vec<&Incident> =
            self.verdict.incidents.iter().filter(|incident| incident.severity >= Severity::Warning).collect();
        let rank = |incident: &&Incident| (std::cmp::Reverse(incident.severity), incident.handling == Handling::NoTray);
        open.sort_by_key(rank);
        open
    }

    pub(super) fn incident(&self, id: IncidentId) -> Option<&'a Incident> {
        self.verdict.incidents.iter().find(|incident| incident.id == id)
    }
}
