//! What the messages of an incident have said so far, so that whatever gets worse inside it is told, and nothing twice.

use super::{Condition, Finding, Handling, Incident, Kind, Place, Severity, Subject, WeakFan};
use crate::clock::Moment;
use crate::reading::DriveKey;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// A condition that comes and goes is told so often as soon as it comes back.
const OFTEN: u32 = 3;
/// From then on it is told when the newest message of its incident is this old.
const SELDOM: Duration = Duration::from_secs(3600);

/// What the messages of an incident have said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reported {
    /// When the newest was made.
    pub at: Moment,
    /// What the newest says of trays.
    pub handling: Handling,
    /// How often a message has named trays that must stay in and that the one before did not.
    #[serde(default)]
    longer: u32,
    /// The conditions that they name.
    pub conditions: Vec<ReportedCondition>,
}

/// A condition as the messages of its incident name it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportedCondition {
    kind: Kind,
    subject: Subject,
    severity: Severity,
    extent: Extent,
    /// The worst that any message has said, in severity and in parts.
    worst: (Severity, u32),
    /// False once a newer message was made while it did not hold.
    in_newest: bool,
    /// How often it was told to have begun, or to be worse.
    times: u32,
    /// The update of the incident in which that was told last.
    #[serde(rename = "turn")]
    update: u32,
}

impl ReportedCondition {
    fn is_of(&self, condition: &Condition) -> bool {
        self.kind == condition.kind() && self.subject == condition.subject
    }

    /// True when the newest message names the condition as bad as it is.
    fn covers(&self, condition: &Condition) -> bool {
        self.in_newest && condition.severity <= self.severity && !condition.finding.extent().exceeds(&self.extent)
    }
}

/// How far the trouble of a condition goes: what can get worse while its severity stays the same.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Extent {
    /// How many parts it takes in.
    pub count: u32,
    /// Those of them that are known drives.
    pub drives: Vec<Place>,
}

impl Extent {
    /// True when it goes further, or takes in a drive that the other does not. A drive that becomes known later is no other.
    fn exceeds(&self, told: &Self) -> bool {
        let is_same = |one: &Place, other: &Place| one == other || (one.serial.is_some() && one.serial == other.serial);
        let is_new = |drive: &Place| !told.drives.iter().any(|known| is_same(known, drive));
        let all_known = told.drives.len() as u32 >= told.count;
        self.count > told.count || (all_known && self.drives.iter().any(is_new))
    }
}

impl Finding {
    /// How far the trouble goes.
    pub fn extent(&self) -> Extent {
        match self {
            Self::PoolDegraded { missing, lost, .. } => Extent { count: *missing, drives: lost.clone() },
            Self::PoolDown { lost: drives, .. }
            | Self::DrivesHeatingTogether { drives, .. }
            | Self::FanWeak { what: WeakFan::Airflow { drives, .. } } => {
                Extent { count: drives.len() as u32, drives: drives.clone() }
            }
            _ => Extent::default(),
        }
    }
}

/// True when trays must stay in that were not named before. No name at all stands for all of them.
fn names_more(before: &Handling, now: &Handling) -> bool {
    match (before, now) {
        (Handling::LeaveIn(before), Handling::LeaveIn(now)) => {
            !before.is_empty() && (now.is_empty() || now.iter().any(|tray| !before.contains(tray)))
        }
        _ => false,
    }
}

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
            told => names_more(told, &self.handling) && is_due() && !self.conditions.iter().any(is_filled),
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
        let longer =
            before.as_ref().map_or(0, |before| before.longer + u32::from(names_more(&before.handling, &self.handling)));
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
