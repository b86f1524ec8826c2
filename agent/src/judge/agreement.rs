//! What its owner agrees with: by a reload only what was changed in the configuration, and the drives that are told of as
//! new or moved; by name what one incident misses. A reload for any other reason silences nothing.

use super::{Memory, causes, drives};
use crate::reading::{DriveKey, Writing};
use crate::verdict::{AgentFault, Condition, Down, Finding, IncidentId, Kind, Subject};
use traylight_config::Settings;

impl Memory {
    /// The configuration has changed. Absent drives that it named before and names no more are no longer expected, and the
    /// drives that are told of as new or moved belong where they are.
    pub fn reloaded(&mut self, before: &Settings, after: &Settings) {
        self.drives.accept_unnamed(before, after);
        for fan in before.watch.steady_fans.iter().filter(|fan| !after.watch.steady_fans.contains(fan)) {
            self.ledger.fans.accept(fan);
        }
        let told: Vec<DriveKey> = self
            .open()
            .filter(|open| open.kind() == Kind::DriveNewOrMoved)
            .filter_map(|open| open.subject.drive().cloned())
            .collect();
        self.ledger.acquaintances.accept(&self.drives, |key| told.contains(key));
        self.ledger.is_new = true;
    }

    /// All drives that are there are known, as after a reload that agrees with each.
    pub fn know_drives(&mut self) {
        self.ledger.acquaintances.accept(&self.drives, |_| true);
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
            let is_unread = self.unseen.contains(&causes::key(condition));
            match self.accept_condition(settings, condition) {
                Err(why) if !is_unread => stays.push(format!("{name}: {why}")),
                _ => {
                    self.released.insert(causes::key(condition));
                    agreed.push(name);
                }
            }
        }
        if agreed.is_empty() {
            return Err(format!("incident {id} misses nothing that can be agreed with: {}", stays.join("; ")));
        }
        (self.ledger.is_new, self.ledger.book.is_urgent) = (true, true);
        let stays: String = stays.iter().map(|line| format!("; stays open: {line}")).collect();
        Ok(format!("agreed, as of the next look: {}{stays}", agreed.join(", ")))
    }

    fn accept_condition(&mut self, settings: &Settings, condition: &Condition) -> Result<(), &'static str> {
        const NAMED: &str = "the configuration names it: take it out there and reload";
        const IS_READ: &str = "this is read as wrong now";
        let ledger = &mut self.ledger;
        match (&condition.subject, &condition.finding) {
            (Subject::Drive(key), Finding::DriveGone { .. }) if drives::is_named(settings, key) => return Err(NAMED),
            (Subject::Drive(key), Finding::DriveGone { .. }) => {
                return if self.drives.accept(key) { Ok(()) } else { Err("it is there again") };
            }
            (Subject::Drive(key), Finding::DriveNewOrMoved { .. }) => {
                ledger.acquaintances.accept(&self.drives, |one| one == key);
            }
            (Subject::Drive(_), Finding::MissingAtStart { .. }) => ledger.starts.accept(),
            (Subject::Agent(_), Finding::AgentTrouble { what: AgentFault::Unseen { .. } }) => ledger.sources.accept(),
            (Subject::Drive(key), Finding::SataSlow { .. } | Finding::UsbSlow { .. }) => {
                ledger.acquaintances.accept_speed(key)
            }
            (Subject::Pool(key), Finding::PoolDown { why: Down::Absent, .. }) => {
                return if ledger.pools.accept(key) { Ok(()) } else { Err("it is there again") };
            }
            (Subject::Fan(key), Finding::FanWeak { .. }) => ledger.tachometers.accept(key),
            (Subject::Fan(key), _) if settings.watch.steady_fans.contains(key) => return Err(NAMED),
            (Subject::Fan(key), Finding::FanStopped { by_fault_line: false, .. }) => ledger.fans.accept(key),
            (Subject::Link(name, _), _) if settings.watch.links.contains(name) => return Err(NAMED),
            (Subject::Link(name, _), Finding::LinkTrouble { what, .. }) => ledger.links.accept(name, *what),
            (Subject::Controller(key, _), Finding::ControllerTrouble { what, .. }) => {
                ledger.controllers.accept(key, what);
            }
            (Subject::Volume(mount), Finding::VolumeReadonly { writing: Writing::ReadOnly, .. }) => {
                let done = ledger.volumes.accept_read_only(mount);
                return if done { Ok(()) } else { Err("/etc/fstab wants it writable: write `ro` there") };
            }
            _ => return Err(IS_READ),
        }
        Ok(())
    }
}
