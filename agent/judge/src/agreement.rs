//! What its owner agrees with: by a reload only what was changed in the configuration, and the drives that are told of as
//! new or moved; by name what one incident misses. A reload for any other reason silences nothing. A fan that the
//! configuration no longer names goes by what its tachometer has shown.

use crate::memory::{Memory, drives};
use traylight_config::Settings;
use traylight_data::reading::DriveKey;
use traylight_data::verdict::{AgentFault, Condition, Down, Finding, IncidentId, Kind, Subject};

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

    /// Its owner agrees with what an open incident misses: a drive or pool that was taken away for good, a fan or port that
    /// is not used any more, a slower one that was put in; and with whatever nothing is read of any more. What is still
    /// read as wrong stays open.
    ///
    /// # Errors
    /// When no incident of this number is open, or nothing of it can be agreed with; why, in words.
    pub fn accept(&mut self, settings: &Settings, id: IncidentId) -> Result<String, String> {
        let open = self.incidents();
        let found = open.iter().find(|incident| incident.id == id);
        let incident = found.ok_or_else(|| format!("found no open incident {id}"))?;
        let (mut agreed, mut stays) = (Vec::new(), Vec::new());
        for condition in &incident.conditions {
            let name = format!("{} of {}", condition.kind().id(), condition.subject);
            let is_unread = self.unseen.contains(&condition.key());
            match self.accept_condition(settings, condition) {
                Err(why) if !is_unread => stays.push(format!("{name}: {why}")),
                _ => {
                    self.released.insert(condition.key());
                    agreed.push(name);
                }
            }
        }
        if agreed.is_empty() {
            return Err(format!("nothing of incident {id} can be accepted: {}", stays.join("; ")));
        }
        (self.ledger.is_new, self.ledger.incident_store.is_urgent) = (true, true);
        let stays: String = stays.iter().map(|line| format!("; stays open: {line}")).collect();
        Ok(format!("agreed, as of the next look: {}{stays}", agreed.join(", ")))
    }

    fn accept_condition(&mut self, settings: &Settings, condition: &Condition) -> Result<(), &'static str> {
        const NAMED: &str = "the configuration names it: take it out there and reload";
        const IS_READ: &str = "this is read as wrong now";
        const IS_BACK: &str = "it is there again";
        let ledger = &mut self.ledger;
        let done = |is_done: bool, why| if is_done { Ok(()) } else { Err(why) };
        if !condition.finding.can_be_agreed_with() {
            return Err(IS_READ);
        }
        match (&condition.subject, &condition.finding) {
            (Subject::Drive(key), Finding::DriveGone { .. }) if drives::is_named(settings, key) => Err(NAMED),
            (Subject::Drive(key), Finding::DriveGone { .. }) => done(self.drives.accept(key), IS_BACK),
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
            (Subject::Pool(key), Finding::PoolDown { why: Down::Absent, .. }) => {
                done(ledger.pools.accept(key), IS_BACK)
            }
            (Subject::Fan(key), Finding::FanWeak { .. }) => {
                ledger.tachometers.accept(key);
                Ok(())
            }
            (Subject::Fan(key), _) if settings.watch.always_on_fans.contains(key) => Err(NAMED),
            (Subject::Fan(key), _) => {
                ledger.fans.accept(key);
                Ok(())
            }
            (Subject::Link { name, .. }, _) if settings.watch.links.contains(name) => Err(NAMED),
            (Subject::Link { name, .. }, Finding::LinkTrouble { what, .. }) => {
                ledger.links.accept(name, *what);
                Ok(())
            }
            (Subject::Controller { key, .. }, Finding::ControllerTrouble { what, .. }) => {
                ledger.controllers.accept(key, what);
                Ok(())
            }
            (Subject::Volume(mount), _) => {
                done(ledger.volumes.accept_read_only(mount), "/etc/fstab wants it writable: write `ro` there")
            }
            _ => Err(IS_READ),
        }
    }
}
