//! What the store keeps of the outbox, what it is to write, and what a start learns from it of incidents that were
//! reported and are not in the incident store.

use crate::tell::message::{Message, Stamp};
use crate::tell::message_parts::tells_the_end;
use crate::verdict::{Incident, IncidentId};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Something for the store.
#[derive(Debug, Clone, PartialEq)]
pub enum Write {
    /// A new message that is to go to these channels.
    Put(Arc<Message>, Vec<String>),
    /// Messages are about to leave on this channel; they may have arrived if nothing more is heard.
    Tried(String, Vec<String>),
    /// Messages need not go to this channel any more.
    Done(String, Vec<String>),
    /// So many messages before this one were left out on this channel.
    LeftOut(String, String, u32),
    /// An incident is open.
    Incident(Box<ReportedIncident>),
    /// An incident is over.
    IncidentOver(String),
    /// It was said that all is well.
    AllWell(Stamp),
    /// A channel is tried; should it fail, or should nothing more be heard, it is left alone for so long.
    Pause(KeptPause),
    /// A channel has taken what it was given.
    PauseOver(String),
    /// When a channel has accepted something last.
    Success(LastSuccess),
}

/// How a channel that is tried is left alone after that, as it is kept: whoever is killed by what a channel answers must not try
/// it again at once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptPause {
    /// The channel.
    #[serde(alias = "way")]
    pub channel: String,
    /// Where it led; see [`super::terms::Rule::target`].
    pub target: u64,
    /// How often it has failed, this attempt included.
    pub failures: usize,
    /// When the attempt began.
    pub since: Stamp,
}

/// When a channel has accepted something last, as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LastSuccess {
    /// The channel.
    pub channel: String,
    /// Where it led; see [`super::terms::Rule::target`].
    pub target: u64,
    /// When that was.
    pub at: Stamp,
}

/// An incident that is open, as it was reported last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportedIncident {
    /// The last message about it.
    pub last: Message,
    /// When that was.
    #[serde(rename = "told")]
    pub at: Stamp,
    /// How many reminders of it there were.
    pub reminders: u32,
    /// The channels that know of it.
    #[serde(alias = "ways")]
    pub channels: Vec<String>,
    /// The incident as it was reported last.
    #[serde(default)]
    pub incident: Option<Box<Incident>>,
}

impl ReportedIncident {
    /// The incident as it was reported last, with its times in terms of this boot. How long the machine was off is not known
    /// without a calendar; it is then taken to have started at once.
    fn incident(&self, now: &Stamp) -> Option<Incident> {
        let mut incident = (**self.incident.as_ref()?).clone();
        if self.at.boot_id != now.boot_id || now.boot_id.is_empty() {
            let age = self.at.age(now).unwrap_or_else(|| now.moment.since_boot());
            let back = (self.at.moment.since_boot() + age).saturating_sub(now.moment.since_boot());
            incident.move_back(|at| at.minus(back));
        }
        Some(incident)
    }
}

/// What the store knew at the start.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Kept {
    /// The messages that wait, oldest first, each with its channel.
    pub waiting: Vec<Waiting>,
    /// The incidents that are open.
    pub incidents: Vec<ReportedIncident>,
    /// When it was last said that all is well.
    pub all_well: Option<Stamp>,
    /// The names of the last messages that were taken in, oldest first; at most [`REMEMBERED`].
    pub taken: Vec<String>,
    /// The channels that were tried and have not taken what they were given, by name.
    pub pauses: Vec<KeptPause>,
    /// When each channel has accepted something last, by name.
    pub successes: Vec<LastSuccess>,
}

impl Kept {
    /// The incidents that are open, as they were reported last.
    pub fn open_incidents(&self, now: &Stamp) -> Vec<Incident> {
        self.incidents.iter().filter_map(|reported| reported.incident(now)).collect()
    }

    /// True when the end of this incident was reported, under the mark of this incident store.
    pub fn has_reported_end(&self, mark: &str, incident: IncidentId) -> bool {
        self.taken.iter().any(|id| tells_the_end(id, mark, incident))
    }

    /// What the calendar had said, if it was set, when something open was reported last before this boot; `None` when a clock has
    /// measured the time since of all of it.
    pub fn unmeasured(&self, now: &Stamp) -> Option<Option<u64>> {
        let is_of_before = |at: &&Stamp| at.boot_id != now.boot_id || now.boot_id.is_empty();
        let reports = self.incidents.iter().map(|reported| &reported.at).filter(is_of_before);
        let unmeasured = reports.filter(|at| at.age(now).is_none());
        unmeasured.map(|at| at.wall.as_ref().map(|wall| wall.epoch_s)).max()
    }
}

/// So many messages are known by their names after they have left: whoever is not sure after a restart whether a message
/// was made may make it again.
pub const REMEMBERED: usize = 500;

/// A message that waits for one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Waiting {
    /// The channel.
    pub channel: String,
    /// The message.
    pub message: Arc<Message>,
    /// How often it was tried.
    pub tried: u32,
    /// How many before it were left out.
    pub left_out: u32,
}
