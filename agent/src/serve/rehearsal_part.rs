//! A rehearsal in the document: what is played, beside what is real.

use super::condition_part::Condition;
use super::incident_part::Incident;
use crate::tell::words::phrases::{Language, Phrases};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// A rehearsal that is under way. Nothing in it has happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Rehearsal {
    /// The fault that is rehearsed.
    pub fault: String,
    /// For how long it is still shown, in seconds.
    pub left_s: u64,
    /// The rehearsed incidents, worst first. No real incident has one of their ids.
    pub incidents: Vec<Incident>,
    /// The rehearsed conditions, worst first.
    pub conditions: Vec<Condition>,
}

impl Rehearsal {
    /// Lines for people, each marked as a test.
    pub fn lines(&self, language: Language) -> Vec<String> {
        let left = language.span(Duration::from_secs(self.left_s));
        let first = language.say("rehearsal.running", &[("fault", &self.fault), ("left", &left)]);
        let incident = |incident: &Incident| {
            let words = incident.words();
            let known = if incident.acknowledged { "rehearsal.acknowledged" } else { "rehearsal.open" };
            let severity = language.severity(incident.severity);
            language.say(known, &[("id", &incident.id), ("severity", &severity), ("title", &words.headline)])
        };
        std::iter::once(first).chain(self.incidents.iter().map(incident)).collect()
    }
}
