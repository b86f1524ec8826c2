//! What is learned and kept from one look to the next. [`Memory`] is the whole, [`ledger`] the part of it that is kept;
//! [`learning`] says how each part learns. Then part by part: drives, pools and their work, what drives count, heat and
//! fans, controllers, ports, supply, volumes, the box itself; at last signs, and the incident store.

pub mod airflow;
pub mod attachments;
pub mod before;
pub mod board;
pub mod checks;
pub mod climate;
pub mod controllers;
pub mod counters;
pub mod drives;
pub mod event_counts;
pub mod fans;
pub mod grace;
pub mod incident_store;
pub mod known_drives;
pub mod learning;
pub mod ledger;
pub mod links;
pub mod losses;
pub mod parts;
pub mod pool_roll;
pub mod pool_work;
pub mod power_cycles;
pub mod processor;
pub mod runs;
pub mod self_tests;
pub mod sign;
pub mod signs;
pub mod sources;
pub mod starts;
pub mod supply;
pub mod tachometers;
pub mod volumes;
pub mod waking;
pub mod warmth;

use crate::forecast::fill::Fill;
use crate::forecast::outlook;
use crate::kinds::Kinds;
use crate::track::Track;
use grace::Grace;
use learning::{Learned, Learns, Look};
use ledger::Ledger;
use parts::LearnedParts;
use signs::Signs;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{DriveKey, Snapshot};
use traylight_data::verdict::{
    Condition, ConditionKey, Finding, Incident, IncidentId, Kind, Remark, Severity, Subject,
};

/// What judging remembers from one look to the next.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    pub(crate) tracks: BTreeMap<ConditionKey, Track>,
    pub(crate) drives: drives::DriveMemory,
    board: board::BoardMemory,
    pub(crate) processor: processor::ProcessorMemory,
    pub(crate) warmth: warmth::WarmthMemory,
    self_tests: self_tests::SelfTestMemory,
    pub(crate) work: pool_work::WorkMemory,
    pub(crate) outlook: outlook::OutlookMemory,
    pub(crate) ledger: Ledger,
    /// How long what has not appeared yet is waited for.
    pub(crate) grace: Grace,
    pub(crate) last_heard: Option<Moment>,
    /// What is beyond a limit counts at once.
    pub(crate) at_once: bool,
    /// The open conditions of which the last look said nothing.
    pub(crate) unseen: BTreeSet<ConditionKey>,
    /// Those among them that end with the next look, if that says nothing either.
    pub(crate) released: BTreeSet<ConditionKey>,
}

impl Memory {
    /// A memory that begins with what drives counted before, and with what held then: that is not told again.
    pub fn with_ledger(ledger: Ledger) -> Self {
        let open = |condition: &Condition| (condition.key(), Track::of(condition.clone()));
        let tracks = ledger.incident_store.conditions().map(open).collect();
        Self { tracks, drives: ledger.known.clone(), ledger, ..Self::default() }
    }

    /// True while messages are held back because somebody works on the box.
    pub fn is_muted(&self, now: Moment) -> bool {
        self.muted_until(now).is_some()
    }

    /// Until when they are held back, if they are.
    pub fn muted_until(&self, now: Moment) -> Option<Moment> {
        self.ledger.incident_store.muted_until.filter(|until| now < *until)
    }

    /// Holds messages back until then, or no longer.
    pub fn mute_until(&mut self, until: Option<Moment>) {
        self.ledger.incident_store.muted_until = until;
        self.ledger.incident_store.is_urgent = true;
    }

    /// The open incidents, worst first, then oldest first.
    pub fn incidents(&self) -> Vec<Incident> {
        self.ledger.incident_store.open()
    }

    /// Its owner knows of an incident; false when none of this name is open.
    pub fn acknowledge(&mut self, id: IncidentId) -> bool {
        self.ledger.incident_store.acknowledge(id)
    }

    /// The incident numbers up to this one are taken.
    pub fn number_was_given(&mut self, last: IncidentId) {
        self.ledger.incident_store.number_was_given(last);
    }

    /// A memory for a single look, which has nothing to wait for: what is beyond a limit counts at once.
    pub fn for_a_single_look() -> Self {
        Self { at_once: true, ..Self::default() }
    }

    /// What drives count.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The ledger as it stands was handed on to be kept.
    pub fn ledger_was_kept(&mut self) {
        self.ledger.is_new = false;
        self.ledger.incident_store.is_urgent = false;
    }

    /// True while drives may still appear: after the machine has started, and after it woke.
    pub(crate) fn may_appear(&self, now: Moment) -> bool {
        let grace = self.grace.drives;
        now.since_boot() < grace || self.ledger.waking.is_within(now, grace)
    }

    /// The open conditions.
    pub(crate) fn open(&self) -> impl Iterator<Item = &Condition> {
        self.tracks.values().filter_map(Track::open)
    }

    /// The condition of this kind and subject, if it holds.
    pub(crate) fn condition(&self, kind: Kind, subject: &Subject) -> Option<&Condition> {
        self.tracks.get(&(kind, subject.clone()))?.open()
    }

    /// The facts of a condition that holds.
    pub(crate) fn finding(&self, kind: Kind, subject: &Subject) -> Option<&Finding> {
        Some(&self.condition(kind, subject)?.finding)
    }

    /// True while a fan fails, or is suspected to; one of which nobody can tell yet whether it only rests does not.
    pub(crate) fn fan_fails(&self) -> bool {
        let kinds = [Kind::FanStopped, Kind::FanWeak];
        self.open().any(|open| kinds.contains(&open.kind()) && open.severity >= Severity::Warning)
    }

    /// Takes in a look, stage by stage: first who is there, then each part by itself, then what follows from parts. What is
    /// worth a line.
    pub(crate) fn learn(&mut self, settings: &Settings, kinds: &Kinds, snapshot: &Snapshot) -> Vec<Remark> {
        let is_fan_suspected = self.fan_fails() || self.open().any(|open| open.kind() == Kind::DrivesHeatingTogether);
        let Self { drives, board, processor, warmth, self_tests, work, outlook, ledger, grace, .. } = self;

        ledger.watch(snapshot.taken);
        let woke = ledger.waking.learn(snapshot);
        drives.learn(settings, snapshot, woke, ledger.waking.is_untried(snapshot.taken));
        let watched = ledger.watched();
        let look = Look { settings, kinds, snapshot, watched, drives, grace: *grace, is_fan_suspected };

        let parts: [&mut dyn Learns<Look>; 21] = [
            &mut ledger.known_drives,
            &mut ledger.pools,
            work,
            &mut ledger.counters,
            &mut ledger.power_cycles,
            self_tests,
            warmth,
            outlook,
            &mut ledger.airflow,
            &mut ledger.climate,
            &mut ledger.fans,
            &mut ledger.tachometers,
            &mut ledger.controllers,
            &mut ledger.links,
            &mut ledger.volumes,
            &mut ledger.fill,
            &mut ledger.supply,
            processor,
            board,
            &mut ledger.runs,
            &mut ledger.sources,
        ];
        let mut news = stage(parts, &look);
        let (counters, power_cycles, incident_store) = (&ledger.counters, &ledger.power_cycles, &ledger.incident_store);
        let learned = LearnedParts { look, counters, power_cycles, work, incident_store };
        let of_parts: [&mut dyn Learns<LearnedParts>; 3] = [&mut ledger.checks, &mut ledger.starts, &mut ledger.signs];
        news.extend(stage(of_parts, &learned));
        let of_signs: [&mut dyn Learns<(Look, &Signs)>; 1] = [&mut ledger.attachments];
        news.extend(stage(of_signs, &(look, &ledger.signs)));

        if ledger.known != *drives {
            ledger.known.clone_from(drives);
            ledger.is_new = true;
        }
        ledger.is_new |= woke;
        let mut remarks = Vec::new();
        for one in news {
            ledger.is_new |= one.is_new;
            one.happened.into_iter().for_each(|it| ledger.happened(&it.what, it.times, it.span));
            remarks.extend(one.remarks);
        }
        self.know_grace(settings);
        remarks
    }

    /// How long what has not appeared yet is waited for goes by the settings and by what was seen of the start.
    pub(crate) fn know_grace(&mut self, settings: &Settings) {
        self.grace = Grace::of(settings, self.ledger.signs.is_staggered());
    }

    /// So much time passes in which the box is watched and nothing happens.
    pub fn let_time_pass(&mut self, time: Duration) {
        self.ledger.let_time_pass(time);
    }

    /// This drive has missed so many cold starts.
    pub fn miss_starts(&mut self, drive: &DriveKey, times: u32) {
        self.ledger.starts.miss(drive, times);
    }

    /// What is left of it after the machine has started again without having been shut down, on a clock that goes on:
    /// what would have been kept.
    pub fn over_a_restart(&self, ended: Moment) -> Result<Self, String> {
        let mut ledger = self.ledger.as_kept().map_err(|why| why.to_string())?;
        ledger.move_back(ended, |at| at);
        ledger.begin_unasked();
        Ok(Self::with_ledger(ledger))
    }

    /// The program was asked to end.
    pub fn end(&mut self) {
        self.ledger.runs.end();
    }

    /// Forgets the drives and pools that their owner does without, once nothing is told of them any more.
    pub(crate) fn forget_accepted(&mut self) {
        let open = || self.tracks.values().filter_map(Track::open);
        self.drives.forget_accepted(&open().filter_map(|held| held.subject.drive()).collect());
        let is_told_of = |key: &String| open().any(|held| matches!(&held.subject, Subject::Pool(of) if of == key));
        self.ledger.is_new |= self.ledger.pools.forget_accepted(is_told_of);
    }
}

#[cfg(test)]
thread_local! {
    /// A story lets each stage learn backwards.
    pub(crate) static BACKWARDS: std::cell::Cell<bool> = const { std::cell::Cell::new(false) };
}

/// Lets the parts of a stage learn, none of which can see another.
fn stage<Input, const PARTS: usize>(parts: [&mut dyn Learns<Input>; PARTS], input: &Input) -> Vec<Learned> {
    #[cfg(test)]
    let parts = {
        let mut parts = parts;
        if BACKWARDS.get() {
            parts.reverse();
        }
        parts
    };
    parts.into_iter().map(|part| part.learn(input)).collect()
}

impl Learns<Look<'_>> for Fill {
    fn learn(&mut self, look: &Look) -> Learned {
        Learned::kept(self.learn(look.snapshot, look.watched))
    }
}

impl Learns<Look<'_>> for outlook::OutlookMemory {
    fn learn(&mut self, look: &Look) -> Learned {
        self.learn(look.snapshot);
        Learned::default()
    }
}
