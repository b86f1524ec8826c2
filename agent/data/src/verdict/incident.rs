//! An incident: one story for one cause, with the conditions that belong to it.

use super::cause::{Cause, Confidence, Unmeasured};
use super::condition::Condition;
use super::handling::Handling;
use super::place::Place;
use super::reported::Reported;
use super::severity::Severity;
use crate::clock::Moment;
use crate::reading::{EventKind, EventSource};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::time::Duration;

/// The number of an incident, never used twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct IncidentId(pub u32);

impl fmt::Display for IncidentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// One story for one cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Incident {
    /// What it is called.
    pub id: IncidentId,
    /// What it points to.
    pub cause: Cause,
    /// How surely.
    pub confidence: Confidence,
    /// How bad it is.
    pub severity: Severity,
    /// How bad it was at its worst.
    #[serde(default = "least")]
    pub worst: Severity,
    /// How many updates it had, without those for the better.
    #[serde(default, rename = "turns")]
    pub updates: u32,
    /// The last of them.
    #[serde(default, rename = "last_turn")]
    pub last_update: Option<UpdateKind>,
    /// Since when.
    pub since: Moment,
    /// What belongs to it, the most telling first; never empty while it is open.
    pub conditions: Vec<Condition>,
    /// The drives that it is about, by their trays.
    pub drives: Vec<Place>,
    /// The part that is neither drive nor pool, such as a controller's key.
    pub part: Option<String>,
    /// What speaks for the cause, oldest first.
    pub evidence: Vec<Evidence>,
    /// What would help to decide and is not measured.
    pub unmeasured: Vec<Unmeasured>,
    /// What may be done with trays.
    pub handling: Handling,
    /// True when its owner has said that trays may be changed while the box is on.
    #[serde(default)]
    pub hot_swap: bool,
    /// True once its owner has said that he knows.
    pub acknowledged: bool,
    /// What its messages have said so far; `None` when it was kept before that was noted.
    #[serde(default)]
    pub reported: Option<Reported>,
}

impl Incident {
    /// The labels of the trays that it is about. A drive without a tray has none.
    pub fn trays(&self) -> impl Iterator<Item = &str> {
        self.drives.iter().filter_map(|drive| drive.tray.as_deref())
    }

    /// The condition that is told of first.
    pub fn lead(&self) -> Option<&Condition> {
        self.conditions.first()
    }

    /// Notes an update. That it got a little better is none that counts: nobody is told.
    pub fn take_update(&mut self, what: UpdateKind) {
        if what != UpdateKind::Eased {
            self.updates += 1;
            self.last_update = Some(what);
        }
    }

    /// Its times move into the past, as when the machine has started again.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        self.since = by(self.since);
        self.conditions.iter_mut().for_each(|condition| condition.since = by(condition.since));
        self.evidence.iter_mut().for_each(|evidence| evidence.at = by(evidence.at));
        self.reported.iter_mut().for_each(|reported| reported.at = by(reported.at));
    }
}

/// What an incident is at its worst that was kept before this was noted; it is at least as bad as it is.
fn least() -> Severity {
    Severity::Notice
}

/// One thing that speaks for a cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// When it was first seen.
    pub at: Moment,
    /// The drive that it was seen of, if of one.
    pub drive: Option<Place>,
    /// The part that it was seen of, if not of a drive.
    pub part: String,
    /// What was seen.
    pub what: EventKind,
    /// Who told it.
    pub teller: EventSource,
    /// How often.
    pub count: u32,
    /// The kernel's line, where one told it.
    pub line: String,
}

/// An incident that is over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClosedIncident {
    /// The incident as it last was.
    pub incident: Incident,
    /// When it was closed.
    pub at: Moment,
}

/// What is new about an incident.
#[derive(Debug, Clone, PartialEq)]
pub struct Update {
    /// The incident as it is now, or last was.
    pub incident: Incident,
    /// What is new.
    pub what: UpdateKind,
}

/// What can be new about an incident.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum UpdateKind {
    /// It begins.
    Opened,
    /// It got worse: something in it began or got worse, whether or not it is worse as a whole.
    Worsened,
    /// Its cause is another than thought, or surer.
    Refined {
        /// What was thought before.
        before: Cause,
    },
    /// It got better and is not over.
    Eased,
    /// It is over.
    Closed {
        /// How long it lasted; `None` when no clock has measured all of that.
        lasted: Option<Duration>,
        /// How it ended.
        how: Ended,
    },
}

/// How an incident ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Ended {
    /// What held holds no longer.
    Over,
    /// The part that it was about was taken out.
    TakenOut,
    /// It turned out to be part of another.
    PartOf(IncidentId),
}
