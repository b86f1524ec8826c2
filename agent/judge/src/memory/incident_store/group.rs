//! Conditions with one cause, put together: what an incident begins with, or goes on with.

use std::cmp::Ordering;
use traylight_data::verdict::{Cause, Condition, Confidence, Evidence, Handling, Place, Severity, Unmeasured};

/// Conditions with one cause, and what is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionGroup {
    /// What it points to.
    pub cause: Cause,
    /// How surely.
    pub confidence: Confidence,
    /// The conditions, the most telling first.
    pub conditions: Vec<Condition>,
    /// The drives that it is about.
    pub drives: Vec<Place>,
    /// The part besides drives and pools that it is about.
    pub part: Option<String>,
    /// What speaks for it.
    pub evidence: Vec<Evidence>,
    /// What would help to decide and is not measured.
    pub unmeasured: Vec<Unmeasured>,
    /// What may be done with trays.
    pub handling: Handling,
    /// Whether trays may be changed while the box is on.
    pub hot_swap: bool,
}

impl ConditionGroup {
    /// More conditions belong to it.
    pub fn take_in(&mut self, conditions: Vec<Condition>) {
        self.conditions.extend(conditions);
        self.conditions.sort_by(by_weight);
    }
}

/// How bad conditions with this cause are. What is harmless stays a notice, but for what it does to a pool or a volume.
pub fn severity(cause: Cause, conditions: &[Condition]) -> Severity {
    let counts = |condition: &&Condition| !cause.is_harmless() || condition.subject.drive().is_none();
    let worst = conditions.iter().filter(counts).map(|condition| condition.severity).max();
    worst.unwrap_or(Severity::Notice)
}

/// The most telling first.
pub fn by_weight(a: &Condition, b: &Condition) -> Ordering {
    b.severity.cmp(&a.severity).then(a.kind().cmp(&b.kind())).then(a.since.cmp(&b.since))
}
