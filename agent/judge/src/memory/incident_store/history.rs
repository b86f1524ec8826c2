//! The incidents that are closed, as far back as there is space for them.

use serde::{Deserialize, Serialize};
use traylight_data::clock::Moment;
use traylight_data::verdict::{ClosedIncident, Incident};

/// So many are kept, the newest: enough for months of an ordinary box, and little to write to a memory card.
const MOST: usize = 50;
/// So many conditions of each: enough for its title.
const MOST_CONDITIONS: usize = 8;

/// Closed incidents.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct History {
    closed: Vec<ClosedIncident>,
    /// Since when all that was closed is in it.
    complete_since: Option<Moment>,
}

impl History {
    /// From now on all that is closed is in it, unless it was so before.
    pub fn begin(&mut self, now: Moment) {
        self.complete_since.get_or_insert(now);
    }

    /// Takes in an incident that is closed now, without what only an open one needs.
    pub fn add(&mut self, incident: &Incident, now: Moment) {
        let conditions = incident.conditions.iter().take(MOST_CONDITIONS).cloned().collect();
        let incident = Incident { conditions, evidence: Vec::new(), unmeasured: Vec::new(), ..incident.clone() };
        self.closed.push(ClosedIncident { incident, at: now });
        if self.closed.len() > MOST {
            self.complete_since = Some(self.closed.remove(0).at);
        }
    }

    /// What was closed, oldest first.
    pub fn closed(&self) -> &[ClosedIncident] {
        &self.closed
    }

    /// Since when all that was closed is in it; `None` while nothing was judged.
    pub fn complete_since(&self) -> Option<Moment> {
        self.complete_since
    }

    /// The times move into the past, as when the machine has started again.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        self.complete_since = self.complete_since.map(&by);
        for closed in &mut self.closed {
            closed.at = by(closed.at);
            closed.incident.move_back(&by);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;
    use traylight_data::reading::DriveKey;
    use traylight_data::verdict::{
        Cause, Condition, Confidence, Finding, Handling, IncidentId, Place, Severity, Subject,
    };

    fn incident(id: u32, conditions: usize) -> Incident {
        let drive = Place { tray: None, serial: Some("WREN".into()), port: None };
        let condition = Condition {
            subject: Subject::Drive(DriveKey("WREN".into())),
            severity: Severity::Warning,
            since: Moment::default(),
            finding: Finding::DriveNotAnswering { drive, stalled: Duration::from_secs(60) },
        };
        Incident {
            id: IncidentId(id),
            cause: Cause::SelfEvident,
            confidence: Confidence::Certain,
            severity: Severity::Warning,
            worst: Severity::Warning,
            updates: 1,
            last_update: None,
            since: Moment::default(),
            conditions: vec![condition; conditions],
            drives: Vec::new(),
            part: None,
            evidence: Vec::new(),
            unmeasured: Vec::new(),
            handling: Handling::NoTray,
            hot_swap: false,
            acknowledged: false,
            reported: None,
        }
    }

    #[test]
    fn the_newest_are_kept_and_since_when_none_is_missing() {
        let at = |second| Moment::after_boot(Duration::from_secs(second));
        let mut history = History::default();
        history.begin(at(5));
        (0..50).for_each(|id| history.add(&incident(id, 1), at(10 + u64::from(id))));
        assert_eq!((history.closed().len(), history.complete_since()), (50, Some(at(5))));
        history.add(&incident(50, 40), at(100));
        history.begin(at(101));
        let ids: Vec<u32> = history.closed().iter().map(|closed| closed.incident.id.0).collect();
        assert_eq!((ids, history.complete_since()), ((1..=50).collect(), Some(at(10))), "the oldest has left");
        assert_eq!(history.closed()[49].incident.conditions.len(), MOST_CONDITIONS);
    }
}
