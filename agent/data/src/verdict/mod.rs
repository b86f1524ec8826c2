//! What judge hands on: what holds, how bad it is, and how fresh the readings are. Typed facts, no words for
//! people: those are in `tell/words`.
//!
//! In reading order: a `place` is where a drive is, a `subject` what a condition is about, a `severity` how bad it is; a
//! `finding` is the facts of a condition, with the smaller ones in `details`; `fact` offers them by name, in the `forms` of
//! their types. A `condition` puts these together; `limit` has its limits, `accept` what of it an owner can agree with,
//! `aliases` when it goes on under another kind. An `incident` has a `cause` and a `handling`, `reported` what its messages
//! have said, and `news` what they have not; `gaps` are times that no clock has measured. `freshness` is that of the
//! readings, `unseen` what of them is missing, `standing` the box in a word, `shelf` its trays, `remark` what is worth one
//! line; `judged` is what is judged of drives and pools that are well, `outlook` and `estimate` what lies ahead,
//! `self_test` and `refusal` what became of a drive's self-test.

mod accept;
mod aliases;
mod cause;
mod condition;
mod details;
mod estimate;
mod fact;
mod finding;
mod forms;
mod freshness;
mod gaps;
mod handling;
mod incident;
mod judged;
mod limit;
mod news;
mod outlook;
mod place;
mod refusal;
mod remark;
mod reported;
mod self_test;
mod severity;
mod shelf;
mod standing;
mod subject;
mod unseen;

pub use accept::{Acceptance, AcceptanceRefusal, NotAccepted};
pub use cause::{Cause, Confidence, Unmeasured};
pub use condition::{Change, Condition, ConditionKey};
pub use details::*;
pub use estimate::{Estimate, Rates, Rounded, Unit};
pub use fact::{Fact, Facts};
pub use finding::*;
pub use freshness::Freshness;
pub use gaps::Gaps;
pub use handling::{Handling, LeaveIn};
pub use incident::*;
pub use judged::{HeatLimits, JudgedDrive, Redundancy};
pub use limit::{Figure, Limit, Origin};
pub use outlook::{Interval, Outlook, Reaches};
pub use place::{ControllerName, Place};
pub use refusal::{NotOne, Refusal};
pub use remark::Remark;
pub use reported::{Extent, Reported, ReportedCondition};
pub use self_test::*;
pub use severity::Severity;
pub use shelf::{Shelf, Tray, TrayState};
pub use standing::Standing;
pub use subject::{AgentAspect, BoardAspect, ControllerAspect, LinkAspect, Subject};
pub use unseen::{BoardPart, PartName, UnseenPart};

use crate::clock::Moment;
use crate::reading::DriveKey;
use crate::units::Celsius;
use std::collections::BTreeMap;

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

    /// How the box stands.
    pub fn standing(&self) -> Standing {
        match (self.worst(), &self.freshness) {
            (Some(Severity::Critical), _) => Standing::Critical,
            (Some(Severity::Warning), _) => Standing::Warning,
            (_, Freshness::NotYet) => Standing::Starting,
            (_, Freshness::SilentSince(_)) => Standing::NoData,
            _ if self.is_starting => Standing::Starting,
            (_, Freshness::InPart(_)) => Standing::PartlyReadable,
            (Some(Severity::Notice), Freshness::Fresh) => Standing::Notice,
            (None, Freshness::Fresh) => Standing::Fine,
        }
    }

    /// True only when nothing worse than a notice holds, everything is fresh and had time to appear: the one state that may
    /// be called fine.
    pub fn is_fine(&self) -> bool {
        self.freshness == Freshness::Fresh && !self.is_starting && self.worst() < Some(Severity::Warning)
    }
}

#[cfg(test)]
mod tests;
