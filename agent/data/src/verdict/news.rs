//! What of an incident is news: whatever gets worse inside it is told, and nothing twice.

use super::condition::Condition;
use super::finding::{Finding, Kind};
use super::handling::Handling;
use super::incident::Incident;
use super::reported::{Reported, ReportedCondition};
use super::severity::Severity;
use crate::clock::Moment;
use crate::reading::DriveKey;
use std::time::Duration;

/// A condition that comes and goes is told so often as soon as it comes back.
const OFTEN: u32 = 3;
/// From then on it is told when the newest message of its incident is this old.
const SELDOM: Duration = Duration::from_secs(3600);

impl Incident {
    /// True when the newest message does not say how bad it is: a condition at warning or worse began or got worse since, or
    /// it lets a tray be taken out that must stay in by now. What comes and goes is not due each time.
    pub fn is_worse_than_reported(&self, now: Moment) -> bool {
        // Kept before this was noted: it counts as told.
        let Some(reported) = &self.reported else { return false };
        let is_due = |told: &ReportedCondition, held: &Condition| {
            let is_worst = held.severity > told.worst.0 || held.finding.extent().count > told.worst.1;
            is_worst || told.times < OFTEN || now.since(reported.at) >= SELDOM
        };
        let is_news = |held: &Condition| match reported.conditions.iter().find(|told| told.is_of(held)) {
            Some(told) => !told.covers(held) && is_due(told, held),
            None => true,
        };
        self.lets_too_much_be_taken(reported, now)
            || self.conditions.iter().filter(|held| held.severity >= Severity::Warning).any(is_news)
    }

    /// True when the newest message lets a tray be taken out that must stay in by now: leave to take it out no longer holds,
    /// or more trays must stay in than it names. One that is being filled costs no data when it goes: it waits until it is
    /// full.
    fn lets_too_much_be_taken(&self, reported: &Reported, now: Moment) -> bool {
        let is_filled = |held: &Condition| matches!(held.finding, Finding::PoolDegraded { rebuilding: true, .. });
        let is_due = || reported.longer < OFTEN || now.since(reported.at) >= SELDOM;
        match &reported.handling {
            may_pull @ Handling::MayPull { .. } => self.handling != *may_pull,
            told => self.handling.names_more_than(told) && is_due() && !self.conditions.iter().any(is_filled),
        }
    }

    /// True when a message has named such a condition of this drive, whether it still holds or not.
    pub fn has_told(&self, drive: &DriveKey, kinds: &[Kind]) -> bool {
        let mut told = self.reported.iter().flat_map(|reported| &reported.conditions);
        told.any(|told| kinds.contains(&told.kind) && told.subject.drive() == Some(drive))
    }

    /// A message about it as it is now has been made.
    pub fn report(&mut self, now: Moment) {
        let before = self.reported.take();
        let longer = before
            .as_ref()
            .map_or(0, |before| before.longer + u32::from(self.handling.names_more_than(&before.handling)));
        let mut reported = before.map(|before| before.conditions).unwrap_or_default();
        let update = self.updates;
        for held in &self.conditions {
            let (severity, extent) = (held.severity, held.finding.extent());
            match reported.iter_mut().find(|told| told.is_of(held)) {
                Some(told) => {
                    if !told.covers(held) {
                        (told.times, told.update) = (told.times + 1, update);
                    }
                    told.worst = (severity.max(told.worst.0), extent.count.max(told.worst.1));
                    (told.severity, told.extent) = (severity, extent);
                }
                None => reported.push(ReportedCondition {
                    kind: held.kind(),
                    subject: held.subject.clone(),
                    severity,
                    worst: (severity, extent.count),
                    extent,
                    in_newest: true,
                    times: 1,
                    update,
                }),
            }
        }
        for told in &mut reported {
            told.in_newest = self.conditions.iter().any(|held| told.is_of(held));
        }
        self.reported = Some(Reported { at: now, handling: self.handling.clone(), longer, conditions: reported });
    }

    /// Its owner knows it as it is now, whatever was told before: what gets worse from here is news.
    pub fn acknowledge(&mut self) {
        self.acknowledged = true;
        for told in self.reported.iter_mut().flat_map(|reported| &mut reported.conditions) {
            let held = self.conditions.iter().find(|held| told.is_of(held));
            told.in_newest = held.is_some();
            if let Some(held) = held {
                (told.severity, told.extent) = (held.severity, held.finding.extent());
            }
        }
    }

    /// The conditions that the newest message tells to have begun, or to be worse, since the message before.
    pub fn news(&self) -> impl Iterator<Item = &Condition> {
        let told = self.reported.iter().flat_map(|reported| &reported.conditions);
        let new: Vec<&ReportedCondition> =
            told.filter(|told| self.updates > 1 && told.update == self.updates).collect();
        self.conditions.iter().filter(move |held| new.iter().any(|told| told.is_of(held)))
    }
}
