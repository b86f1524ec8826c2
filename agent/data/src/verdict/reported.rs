//! What the messages of an incident have said so far, of each condition that they name.

use super::condition::Condition;
use super::details::WeakFan;
use super::finding::{Finding, Kind};
use super::handling::Handling;
use super::place::Place;
use super::severity::Severity;
use super::subject::Subject;
use crate::clock::Moment;
use serde::{Deserialize, Serialize};

/// What the messages of an incident have said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reported {
    /// When the newest was made.
    pub at: Moment,
    /// What the newest says of trays.
    pub handling: Handling,
    /// How often a message has named trays that must stay in and that the one before did not.
    #[serde(default)]
    pub(super) longer: u32,
    /// The conditions that they name.
    pub conditions: Vec<ReportedCondition>,
}

/// A condition as the messages of its incident name it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReportedCondition {
    pub(super) kind: Kind,
    pub(super) subject: Subject,
    pub(super) severity: Severity,
    pub(super) extent: Extent,
    /// The worst that any message has said, in severity and in parts.
    pub(super) worst: (Severity, u32),
    /// False once a newer message was made while it did not hold.
    pub(super) in_newest: bool,
    /// How often it was told to have begun, or to be worse.
    pub(super) times: u32,
    /// The update of the incident in which that was told last.
    #[serde(rename = "turn")]
    pub(super) update: u32,
}

impl ReportedCondition {
    pub(super) fn is_of(&self, condition: &Condition) -> bool {
        self.kind == condition.kind() && self.subject == condition.subject
    }

    /// True when the newest message names the condition as bad as it is.
    pub(super) fn covers(&self, condition: &Condition) -> bool {
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
