//! What the owner accepts: by a reload only what was changed in the configuration, and the drives that are reported as
//! new or moved; by number what is missing in one incident. A reload for any other reason silences nothing. A fan that the
//! configuration no longer names goes by what its tachometer has shown.

use crate::memory::{Memory, drives};
use traylight_config::Settings;
use traylight_data::reading::DriveKey;
use traylight_data::verdict::{
    Acceptance, AcceptanceRefusal, AgentFault, Condition, Down, Finding, IncidentId, Kind, NotAccepted, Subject,
};

impl Memory {
    /// The configuration has changed. Absent drives that it named before and names no more are no longer expected, and the
    /// drives that are told of as new or moved belong where they are.
    pub fn reloaded(&mut self, before: &Settings, after: &Settings) {
        self.drives.accept_unnamed(before, after);
        let told: Vec<DriveKey> = self
            .open()
            .filter(|open| open.kind() == Kind::DriveNewOrMoved)
            .filter_map(|open| open.subject.drive().cloned())
            .collect();
        self.ledger.known_drives.accept(&self.drives, |key| told.contains(key));
        self.ledger.is_new = true;
    }

    /// All drives that are there are known, as after a reload that agrees with each.
    pub fn know_drives(&mut self) {
        self.ledger.known_drives.accept(&self.drives, |_| true);
    }

    /// The owner accepts what is missing in an open incident: a drive or pool that was taken away for good, a fan or port
    /// that is not used any more, a slower one that was put in; and whatever can no longer be read. What is still read as
    /// wrong stays open. `None` when no incident of this number is open.
    pub fn accept(&mut self, settings: &Settings, id: IncidentId) -> Option<Acceptance> {
        let incident = self.incidents().into_iter().find(|incident| incident.id == id)?;
        let mut outcome = Acceptance::default();
        for condition in incident.conditions {
            let is_unread = self.unseen.contains(&condition.key());
            match self.accept_condition(settings, &condition) {
                Err(why) if !is_unread => outcome.open.push(NotAccepted { condition, why }),
                _ => {
                    self.released.insert(condition.key());
                    outcome.accepted.push(condition);
                }
            }
        }
        if !outcome.accepted.is_empty() {
            (self.ledger.is_new, self.ledger.incident_store.is_urgent) = (true, true);
        }
        Some(outcome)
    }

    fn accept_condition(&mut self, settings: &Settings, condition: &Condition) -> Result<(), AcceptanceRefusal> {
        use AcceptanceRefusal::{Configured, IsBack, MountedWritable, StillRead};
        let ledger = &mut self.ledger;
        let done = |is_done: bool, why| if is_done { Ok(()) } else { Err(why) };
        if !condition.finding.can_be_agreed_with() {
            return Err(StillRead);
        }
        match (&condition.subject, &condition.finding) {
            (Subject::Drive(key), Finding::DriveGone { .. }) if drives::is_named(settings, key) => Err(Configured),
            (Subject::Drive(key), Finding::DriveGone { .. }) => done(self.drives.accept(key), IsBack),
            (Subject::Drive(key), Finding::DriveNewOrMoved { .. }) => {
                ledger.known_drives.accept(&self.drives, |one| one == key);
                Ok(())
            }
            (Subject::Drive(key), Finding::DriveMissingAtStart { .. }) => {
                ledger.starts.accept(key);
                Ok(())
            }
            (Subject::Agent(_), Finding::AgentAndAlerts { what: AgentFault::Unseen { .. } }) => {
                ledger.sources.accept();
                Ok(())
            }
            (Subject::Drive(key), Finding::SataSlow { .. } | Finding::UsbSlow { .. }) => {
                ledger.known_drives.accept_speed(key);
                Ok(())
            }
            (Subject::Pool(key), Finding::PoolDown { why: Down::Absent, .. }) => done(ledger.pools.accept(key), IsBack),
            (Subject::Fan(key), Finding::FanWeak { .. }) => {
                ledger.tachometers.accept(key);
                Ok(())
            }
            (Subject::Fan(key), _) if settings.watch.always_on_fans.contains(key) => Err(Configured),
            (Subject::Fan(key), _) => {
                ledger.fans.accept(key);
                Ok(())
            }
            (Subject::Link { name, .. }, _) if settings.watch.links.contains(name) => Err(Configured),
            (Subject::Link { name, .. }, Finding::LinkTrouble { what, .. }) => {
                ledger.links.accept(name, *what);
                Ok(())
            }
            (Subject::Controller { key, .. }, Finding::ControllerTrouble { what, .. }) => {
                ledger.controllers.accept(key, what);
                Ok(())
            }
            (Subject::Volume(mount), _) => done(ledger.volumes.accept_read_only(mount), MountedWritable),
            _ => Err(StillRead),
        }
    }
}
