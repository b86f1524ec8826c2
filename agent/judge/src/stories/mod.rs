//! Stories of judging: a calm box, what a story does to it, and what is told of it. The box is `heron`: drives 0 to 4
//! hold the RAID 5 `md0`, drive 5 is flash.

#![allow(clippy::match_overlapping_arm, reason = "an arm begins where the one before it ends")]

mod ahead;
mod attachments;
mod board;
mod boxes;
mod causes;
mod changes;
mod controllers;
mod cooling;
mod devices;
mod drives;
mod false_alarms;
mod kept;
mod learning;
mod members;
mod pool_roll;
mod pools;
mod resume;
mod self_tests;
mod sources;
mod starting;
mod starts;
mod two_pools;
mod volumes;
mod work;

use crate::judge;
use crate::memory::Memory;
use crate::memory::ledger::Ledger;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Itself, Snapshot};
use traylight_data::verdict::{AcceptanceRefusal, Change, Incident, Verdict};
use traylight_heron::{self as demo, heron, story};
use traylight_parse::md;

const MINUTE: u64 = 60;
const HOUR: u64 = 3600;
const DAY: u64 = 24 * HOUR;

/// A story so far.
struct Story {
    settings: Settings,
    memory: Memory,
    /// Seconds between two looks.
    pace: u64,
    /// How long the box had been up when the story began, in seconds.
    up: u64,
    /// What the program knows of itself.
    itself: Itself,
    told: Vec<String>,
    verdict: Option<Verdict>,
}

impl Story {
    /// Looks once a minute at a box that has been up for days.
    fn new() -> Self {
        let settings = demo::settings().expect("the pretend box has settings");
        let (memory, itself, told) = (Memory::default(), Itself::default(), Vec::new());
        Self { settings, memory, pace: 60, up: 10 * DAY, itself, told, verdict: None }
    }

    /// Looks every ten minutes: for stories of days.
    fn slowly() -> Self {
        Self::new().every(600)
    }

    /// Looks every two seconds, as the probe does.
    fn closely() -> Self {
        Self::new().every(2)
    }

    /// From now on looks every so many seconds.
    fn every(self, pace: u64) -> Self {
        Self { pace, ..self }
    }

    /// So many seconds go by, watched as ever, in which the same is seen; the story's seconds go on without them.
    fn passes(mut self, seconds: u64) -> Self {
        self.memory.ledger.let_time_pass(Duration::from_secs(seconds));
        Self { up: self.up + seconds, ..self }
    }

    /// Looks from `from` up to `to` (seconds of the story), with the box changed by `change`.
    fn play(mut self, from: u64, to: u64, change: impl Fn(u64, &mut Snapshot)) -> Self {
        for second in (from..to).step_by(self.pace as usize) {
            let now = Moment::after_boot(Duration::from_secs(self.up + second));
            let snapshot = self.seen(second, |snapshot| change(second, snapshot));
            let (verdict, changes) = judge(&self.settings, &mut self.memory, now, Some(&snapshot), &self.itself);
            self.told.extend(changes.iter().map(|change| format!("{second} {}", words_of(change))));
            self.told.extend(verdict.remarks.iter().map(|remark| format!("{second} {remark:?}")));
            self.verdict = Some(verdict);
        }
        self
    }

    /// The box as it is at a second of the story, with a change.
    fn seen(&self, second: u64, change: impl Fn(&mut Snapshot)) -> Snapshot {
        let now = Moment::after_boot(Duration::from_secs(self.up + second));
        let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        change(&mut snapshot);
        snapshot
    }

    /// The program starts anew with what it has kept; the machine goes on.
    fn restarted(self) -> Self {
        let ledger = self.memory.ledger().as_kept().expect("a ledger is JSON and comes back");
        Story { memory: Memory::with_ledger(ledger), told: Vec::new(), ..self }
    }

    /// The machine starts anew after so many seconds without power, and so does the program with what it has kept.
    fn rebooted(self, off: u64) -> Self {
        let mut ledger = self.memory.ledger().as_kept().expect("a ledger is JSON and comes back");
        let ended = self.verdict.as_ref().map(|verdict| verdict.at).unwrap_or_default();
        ledger.move_back(ended, |at| at.minus(ended.since_boot() + Duration::from_secs(off)));
        Story { memory: Memory::with_ledger(ledger), up: 0, told: Vec::new(), ..self }
    }

    /// The owner reloads the configuration, as it is now, after it was changed from `before`.
    fn reload(&mut self, before: &Settings) {
        self.memory.reloaded(before, &self.settings);
    }

    /// The owner accepts the incident that a condition of this kind belongs to; an error when none of it could be.
    fn accept(&mut self, kind: &str) -> Result<(), Vec<AcceptanceRefusal>> {
        let open = self.memory.incidents();
        let holds = |incident: &&Incident| incident.conditions.iter().any(|held| held.kind().id() == kind);
        let incident = open.iter().find(holds).ok_or_else(Vec::new)?;
        let outcome = self.memory.accept(&self.settings, incident.id).ok_or_else(Vec::new)?;
        let refusals = outcome.open.iter().map(|open| open.why).collect();
        if outcome.accepted.is_empty() { Err(refusals) } else { Ok(()) }
    }

    /// What was told of one kind of condition.
    fn of(&self, kind: &str) -> Vec<&str> {
        self.told.iter().map(String::as_str).filter(|line| line.split(' ').nth(2) == Some(kind)).collect()
    }
}

/// The same story in the eyes of a program that was restarted: what it kept is all that it knows. `bring_over` does to
/// that what reading it back does, with the time of the last look.
fn restarted(story: Story, bring_over: impl Fn(&mut Ledger, Moment)) -> Story {
    let mut ledger = story.memory.ledger().as_kept().expect("a ledger can be kept");
    bring_over(&mut ledger, story.verdict.as_ref().map_or_else(Moment::default, |verdict| verdict.at));
    Story { memory: Memory::with_ledger(ledger), told: Vec::new(), ..story }
}

fn words_of(change: &Change) -> String {
    let condition = change.condition();
    let what = match change {
        Change::Opened(_) => "opened",
        Change::Worsened(_) => "worsened",
        Change::Eased(_) => "eased",
        Change::Closed { .. } => return format!("closed {}", condition.kind().id()),
    };
    format!("{what} {} {}", condition.kind().id(), condition.severity)
}

/// The pool of drives 0 to 4 in another layout.
fn lay_out(snapshot: &mut Snapshot, level: &str) {
    let pool = &mut snapshot.pools[0];
    pool.level = level.into();
    // Two near copies, where that matters.
    pool.groups = md::layout::groups(level, pool.wanted, 0x102);
}

/// Takes a drive away; md has not noticed.
fn pull(snapshot: &mut Snapshot, serial: &str) {
    let Some(index) = snapshot.drives.iter().position(|drive| drive.key.0 == serial) else { return };
    let drive = snapshot.drives.remove(index);
    for member in &mut snapshot.pools[0].members {
        member.device_gone |= member.drive_device == drive.device;
    }
}

/// Takes a drive away and nothing else, as when it was never there.
fn lose(snapshot: &mut Snapshot, serial: &str) {
    snapshot.drives.retain(|drive| drive.key.0 != serial);
}

/// md has noticed as well and let the member go.
fn let_go(snapshot: &mut Snapshot, serials: &[&str]) {
    for serial in serials {
        pull(snapshot, serial);
    }
    let pool = &mut snapshot.pools[0];
    pool.members.retain(|member| !member.device_gone);
    pool.missing = Some(pool.wanted - pool.members.len() as u32);
}
