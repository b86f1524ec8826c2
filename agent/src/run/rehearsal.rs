//! A rehearsal while the running agent shows it, and what is said of it; real readings are judged all the while.

use crate::clock::{Moment, Wall};
use crate::reading::Snapshot;
use crate::rehearse::{Played, PlayedLook};
use crate::serve::document::Document;
use crate::serve::rehearsal_part;
use crate::tell::incident_log;
use crate::tell::log::LogEntry;
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::{IncidentId, Update, Verdict};
use std::borrow::Cow;
use traylight_config::Settings;

/// A rehearsal that is shown.
pub struct Rehearsal {
    /// What was played.
    pub played: Played,
    /// When it ends.
    pub ends: Moment,
}

/// What is shown.
pub struct Shown<'a> {
    /// The box as judged.
    pub verdict: Cow<'a, Verdict>,
    /// The box as read.
    pub snapshot: Option<&'a Snapshot>,
    /// The incidents that are only rehearsed; `None` without a rehearsal.
    pub rehearsed: Option<Vec<IncidentId>>,
}

impl<'a> Shown<'a> {
    /// The box as it is.
    pub fn real(verdict: &'a Verdict, snapshot: Option<&'a Snapshot>) -> Self {
        Self { verdict: Cow::Borrowed(verdict), snapshot, rehearsed: None }
    }
}

/// Why a rehearsal is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RehearsalEnd {
    /// Something real and critical interrupts it.
    Critical,
    /// Its owner ends it.
    Command,
    /// As long as it was asked for.
    TimeUp,
}

impl Rehearsal {
    /// What it shows. What is really open stays in sight.
    pub fn shown(&self, real: Option<&Verdict>) -> Shown<'_> {
        let mut verdict = self.played.verdict.clone();
        let rehearsed: Vec<IncidentId> = verdict.incidents.iter().map(|incident| incident.id).collect();
        for incident in real.iter().flat_map(|real| &real.incidents).filter(|open| !rehearsed.contains(&open.id)) {
            verdict.conditions.extend(incident.conditions.iter().cloned());
            verdict.incidents.push(incident.clone());
        }
        verdict.incidents.sort_by_key(|incident| std::cmp::Reverse(incident.severity));
        verdict.conditions.sort_by_key(|condition| std::cmp::Reverse(condition.severity));
        Shown { verdict: Cow::Owned(verdict), snapshot: Some(&self.played.snapshot), rehearsed: Some(rehearsed) }
    }

    /// Takes in that its owner knows of a rehearsed incident; false when it has none of this number.
    pub fn acknowledge(&mut self, id: IncidentId) -> bool {
        let found = self.played.verdict.incidents.iter_mut().find(|incident| incident.id == id);
        found.map(|incident| incident.acknowledged = true).is_some()
    }

    /// Its part of the document.
    pub fn part(&self, settings: &Settings, now: Moment, wall: &Wall) -> rehearsal_part::Rehearsal {
        let Document { incidents, conditions, .. } =
            Document::new(settings, &self.played.verdict, &self.played.snapshot, wall);
        let left_s = self.ends.since(now).as_secs();
        rehearsal_part::Rehearsal { fault: self.played.fault.to_string(), left_s, incidents, conditions }
    }

    /// What is new about incidents when it begins.
    pub fn turns(&self) -> impl Iterator<Item = Update> {
        self.played.told.iter().flat_map(|told| told.verdict.updates.iter().cloned())
    }

    /// What is said when it begins.
    pub fn begin(&self, now: Moment, wall: &Wall, language: Language) -> Vec<LogEntry> {
        let began = LogEntry::worded(5, "rehearsal-began", language, |language| {
            let left = language.span(self.ends.since(now));
            language.say("log.rehearsal-began", &[("fault", &self.played.fault), ("span", &left)])
        });
        let told = self.played.told.iter().flat_map(|told| self.tell(told, wall, language));
        std::iter::once(began.as_test(language)).chain(told).collect()
    }

    /// What is said when it is over: all that it opened is closed.
    pub fn end(&self, why: RehearsalEnd, wall: &Wall, language: Language) -> Vec<LogEntry> {
        let key = match why {
            RehearsalEnd::Critical => "log.rehearsal-interrupted",
            RehearsalEnd::Command => "log.rehearsal-ended",
            RehearsalEnd::TimeUp => "log.rehearsal-over",
        };
        let words = |language: Language| language.say(key, &[("fault", &self.played.fault)]);
        let over = LogEntry::worded(5, "rehearsal-over", language, words);
        self.tell(&self.played.end(), wall, language).into_iter().chain([over.as_test(language)]).collect()
    }

    fn tell(&self, told: &PlayedLook, wall: &Wall, language: Language) -> Vec<LogEntry> {
        let at = told.verdict.at;
        let entries = incident_log::entries(&told.verdict, &told.changes, at, &self.played.wall(wall, at), language);
        entries.into_iter().map(|entry| entry.as_test(language)).collect()
    }
}
