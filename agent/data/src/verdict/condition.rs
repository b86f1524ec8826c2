//! What is judged to hold of one subject, and how that changes from one judging to the next.

use super::finding::{Finding, Kind};
use super::severity::Severity;
use super::subject::Subject;
use crate::clock::Moment;
use serde::{Deserialize, Serialize};
use std::time::Duration;

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
