//! A rehearsal while the running agent shows it, and what is said of it; real readings are judged all the while.

use crate::clock::{Moment, Wall};
use crate::rehearse::{Played, PlayedLook};
use crate::tell::incident_log;
use crate::tell::log::LogEntry;
use crate::units::span;
use crate::verdict::Update;

/// A rehearsal that is shown.
pub struct Rehearsal {
    /// What was played.
    pub played: Played,
    /// When it ends.
    pub ends: Moment,
}

impl Rehearsal {
    /// What is new about incidents when it begins.
    pub fn turns(&self) -> impl Iterator<Item = Update> {
        self.played.told.iter().flat_map(|told| told.verdict.updates.iter().cloned())
    }

    /// What is said when it begins.
    pub fn begin(&self, now: Moment, wall: &Wall) -> Vec<LogEntry> {
        let (fault, left) = (self.played.fault, span(self.ends.since(now)));
        let began =
            LogEntry::agent(5, "rehearsal-began", format!("`{fault}` is rehearsed for {left}; nothing is touched"));
        let told = self.played.told.iter().flat_map(|told| self.tell(told, wall));
        std::iter::once(began.as_test()).chain(told).collect()
    }

    /// What is said when it is over: all that it opened is closed.
    pub fn end(&self, why: &str, wall: &Wall) -> Vec<LogEntry> {
        let over =
            LogEntry::agent(5, "rehearsal-over", format!("the rehearsal of `{}` is over: {why}", self.played.fault));
        self.tell(&self.played.end(), wall).into_iter().chain([over.as_test()]).collect()
    }

    fn tell(&self, told: &PlayedLook, wall: &Wall) -> Vec<LogEntry> {
        let at = told.verdict.at;
        let entries = incident_log::entries(&told.verdict, &told.changes, at, &self.played.wall(wall, at));
        entries.into_iter().map(LogEntry::as_test).collect()
    }
}
