//! What judge hands on: what holds, how bad it is, and how fresh the readings are. Typed facts, no words for
//! people: those are in `tell/words`.
//!
//! In reading order: a `subject` is what a condition is about; a `finding` is the facts of a condition, with the smaller ones in `details`; `fact` offers them by name,
//! `limit` has its limits, `accept` what of it an owner can agree with, `aliases` when it goes on under another kind. An
//! `incident` has a `cause`, and `reported` what its messages have said; `gaps` are times that no clock has measured.
//! `standing` is the box in a word; `judged` is what is judged of drives and pools that are well, `outlook` and `estimate`
//! what lies ahead, `self_test` and `refusal` what became of a drive's self-test.

mod accept;
mod aliases;
mod cause;
mod details;
mod estimate;
mod fact;
mod finding;
mod gaps;
mod incident;
mod judged;
mod limit;
mod outlook;
mod refusal;
mod reported;
mod self_test;
mod standing;
mod subject;

pub use cause::{Cause, Confidence, Unmeasured};
pub use details::*;
pub use estimate::{Estimate, Rates, Rounded, Unit};
pub use fact::{Fact, Facts};
pub use finding::*;
pub use gaps::Gaps;
pub use incident::*;
pub use judged::{HeatLimits, JudgedDrive, Redundancy};
pub use limit::{Figure, Limit, Origin};
pub use outlook::{Interval, Outlook, Reaches};
pub use refusal::{NotOne, Refusal};
pub use reported::{Extent, Reported, ReportedCondition};
pub use self_test::*;
pub use standing::Standing;
pub use subject::{AgentAspect, BoardAspect, ControllerAspect, LinkAspect, Subject};

use crate::clock::Moment;
use crate::reading::DriveKey;
use crate::units::Celsius;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

/// The box as judged at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// When it was judged.
    pub at: Moment,
    /// How fresh the readings are: a separate fact from how bad it is.
    pub freshness: Freshness,
    /// True while parts may still appear after the start of the machine: nobody can say yet that none is missing.
    pub is_starting: bool,
    /// What holds, worst first, then oldest first.
    pub conditions: Vec<Condition>,
    /// From where on each of them begins and ends.
    pub limits: BTreeMap<ConditionKey, Vec<Limit>>,
    /// The open incidents, worst first, then oldest first.
    pub incidents: Vec<Incident>,
    /// What is new about incidents since the judging before.
    pub updates: Vec<Update>,
    /// Until when messages are held back because somebody works on the box, if they are.
    pub muted_until: Option<Moment>,
    /// Times that no clock has measured.
    pub gaps: Gaps,
    /// The shelves as they stand, top first; drives without a named tray are on a last shelf without a name.
    pub shelves: Vec<Shelf>,
    /// Fans that are known to turn or to have turned, by key; other channels have no fan.
    pub fans: Vec<String>,
    /// What is judged of each drive that is there.
    pub drives: BTreeMap<DriveKey, JudgedDrive>,
    /// What each pool can still lose, by its key.
    pub pools: BTreeMap<String, Redundancy>,
    /// Where drives' temperatures are heading, for those with a curve to tell it from.
    pub outlooks: BTreeMap<DriveKey, Outlook>,
    /// When volumes will be full, by mount point, where their history carries that.
    pub full_in: BTreeMap<String, Estimate>,
    /// How long the work on pools will still take, by key, where its pace says so.
    pub work_left: BTreeMap<String, Estimate>,
    /// The recent temperatures of drives that are awake, about a minute apart, oldest first: those of the present course.
    pub courses: BTreeMap<DriveKey, Vec<(Moment, Celsius)>>,
    /// What is worth one line and is no condition.
    pub remarks: Vec<Remark>,
}

impl Verdict {
    /// The worst of what goes on.
    pub fn worst(&self) -> Option<Severity> {
        self.incidents.iter().map(|incident| incident.severity).max()
    }

    /// The limits in force of a condition that holds.
    pub fn limits_of(&self, condition: &Condition) -> &[Limit] {
        self.limits.get(&condition.key()).map_or(&[], Vec::as_slice)
    }

    /// The incident that a condition belongs to, or belonged to until just now.
    pub fn incident_of(&self, condition: &Condition) -> Option<&Incident> {
        let holds = |incident: &&Incident| {
            let same = |own: &Condition| own.subject == condition.subject && own.kind() == condition.kind();
            incident.conditions.iter().any(same)
        };
        self.incidents.iter().chain(self.updates.iter().map(|update| &update.incident)).find(holds)
    }

    /// True only when nothing worse than a notice holds, everything is fresh and had time to appear: the one state that may
    /// be called fine.
    pub fn is_fine(&self) -> bool {
        self.freshness == Freshness::Fresh && !self.is_starting && self.worst() < Some(Severity::Warning)
    }
}

/// Something worth one line that is no condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remark {
    /// A counter of a drive fell: it counts from a new baseline.
    NewBaseline {
        /// Whose.
        drive: Place,
        /// Which.
        counter: String,
        /// What it said before.
        before: i64,
        /// What it says now.
        now: i64,
    },
    /// Something about a drive's test of itself.
    SelfTest {
        /// Whose.
        drive: Place,
        /// What.
        news: TestNews,
    },
}

/// How fresh the readings of the box are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Freshness {
    /// Nothing was read yet.
    NotYet,
    /// All readings are as fresh as they should be.
    Fresh,
    /// Some of the box could not be looked at; what, in words.
    InPart(Vec<String>),
    /// Nothing was heard since.
    SilentSince(Moment),
}

impl Freshness {
    /// True when nothing is heard any more.
    pub fn is_silent(&self) -> bool {
        matches!(self, Self::SilentSince(_))
    }
}

/// How bad a condition is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Severity {
    /// Worth knowing, nothing to do.
    Notice,
    /// To be looked at soon.
    Warning,
    /// To be looked at now.
    Critical,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Notice => "notice",
            Self::Warning => "warning",
            Self::Critical => "critical",
        })
    }
}

/// Something judged to hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Condition {
    /// What it is about.
    pub subject: Subject,
    /// How bad it is.
    pub severity: Severity,
    /// Since when it holds.
    pub since: Moment,
    /// The facts.
    pub finding: Finding,
}

impl Condition {
    /// The kind of condition.
    pub fn kind(&self) -> Kind {
        self.finding.kind()
    }

    /// What it is known by.
    pub fn key(&self) -> ConditionKey {
        (self.kind(), self.subject.clone())
    }
}

/// What a condition is known by: of one subject there is one of each kind.
pub type ConditionKey = (Kind, Subject);

/// Where a drive sits, as its owner would point at it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Place {
    /// The label of its tray, if the configuration names one.
    pub tray: Option<String>,
    /// The serial, if the drive has one.
    pub serial: Option<String>,
    /// Where it is plugged.
    pub port: Option<String>,
}

impl Place {
    /// The last four characters of the serial, as on the label of the drive.
    pub fn serial_tail(&self) -> Option<String> {
        self.serial.as_deref().map(tail)
    }

    /// The shortest name to point with: the tray's label, else the end of the serial, else of the port.
    pub fn label(&self) -> String {
        self.tray
            .clone()
            .or_else(|| self.serial_tail())
            .or_else(|| self.port.as_deref().map(tail))
            .unwrap_or_else(|| "?".to_owned())
    }
}

fn tail(text: &str) -> String {
    let count = text.chars().count();
    text.chars().skip(count.saturating_sub(4)).collect()
}

/// A shelf as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelf {
    /// The owner's name for it; empty for the drives without a named tray.
    pub name: String,
    /// Its trays, left to right.
    pub trays: Vec<Tray>,
}

/// A tray as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Tray {
    /// Label, at most four characters.
    pub label: String,
    /// The drive that is or was in it.
    pub drive: Option<DriveKey>,
    /// What to show of it.
    pub state: TrayState,
    /// The worst that holds for its drive.
    pub severity: Option<Severity>,
}

/// What to show of a tray.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TrayState {
    /// No drive was expected and none is there.
    Empty,
    /// Its drive is gone.
    Gone,
    /// The pool has thrown the drive out.
    Bad,
    /// The pool is filling the drive.
    Rebuilding,
    /// A healthy drive asleep.
    Asleep,
    /// A drive with a temperature.
    Warm(Celsius),
    /// A drive whose temperature is missing.
    NoReading,
}

impl TrayState {
    /// In a word, for machines.
    pub fn word(self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::Gone => "gone",
            Self::Bad => "put out",
            Self::Rebuilding => "being filled",
            Self::Asleep => "asleep",
            Self::Warm(_) => "awake",
            Self::NoReading => "no reading",
        }
    }
}

/// What is new since the judging before. Only this is told.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A condition begins to hold.
    Opened(Condition),
    /// It got worse.
    Worsened(Condition),
    /// It got better but still holds.
    Eased(Condition),
    /// It holds no longer.
    Closed {
        /// The condition as it last was.
        condition: Condition,
        /// How long it held; `None` when no clock has measured all of that.
        lasted: Option<Duration>,
    },
}

impl Change {
    /// The condition that changed.
    pub fn condition(&self) -> &Condition {
        match self {
            Self::Opened(condition) | Self::Worsened(condition) | Self::Eased(condition) => condition,
            Self::Closed { condition, .. } => condition,
        }
    }
}

#[cfg(test)]
mod tests;
