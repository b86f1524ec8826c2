//! Judging is a function of data: settings, memory, now and a snapshot in; a verdict and what is new out. Nothing in
//! this folder opens, sends, waits, logs or asks the time.

mod agreement;
mod causes;
pub mod conditions;
mod forecast;
mod incidents;
pub mod memory;
mod order;
pub mod redundancy;
pub mod request;
mod shelves;
mod track;

pub use conditions::{
    airflow, answering, attachments, board, controllers, fans, health, heat, itself, links, member_errors,
    member_faulty, newcomers, pool_work, processor, space, starts, supply, volumes, warmth,
};
pub use memory::{ledger, tachometers};

use forecast::outlook;
use memory::grace::Grace;
use memory::ledger::Ledger;
use memory::{drives, self_tests};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use track::{Sight, Track};
use traylight_data::clock::Moment;
use traylight_data::reading::{DriveKey, Itself, Snapshot};
use traylight_data::verdict::{Change, Condition, Finding, Heard, Incident, IncidentId, Kind, Subject, Verdict};

pub use drives::place_of;
pub use heat::heat_limits;
pub use incidents::Book;
use traylight_config::Settings;

/// Three intervals of the probe's pace without a word are silence.
const SILENT_AFTER: Duration = Duration::from_secs(6);

/// What judging remembers from one time to the next.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    tracks: BTreeMap<(Kind, Subject), Track>,
    drives: drives::Known,
    airflow: airflow::Known,
    board: board::Known,
    controllers: controllers::Known,
    processor: processor::Known,
    warmth: warmth::Known,
    self_tests: self_tests::Known,
    work: pool_work::Known,
    outlook: outlook::Known,
    ledger: Ledger,
    last_heard: Option<Moment>,
    /// What is beyond a limit counts at once.
    at_once: bool,
    /// The open conditions of which the last look said nothing.
    unseen: BTreeSet<(Kind, Subject)>,
    /// Those among them that end with the next look, if that says nothing either.
    released: BTreeSet<(Kind, Subject)>,
}

impl Memory {
    /// A memory that begins with what drives counted before, and with what held then: that is not told again.
    pub fn with_ledger(ledger: Ledger) -> Self {
        let open = |condition: &Condition| (causes::key(condition), Track::of(condition.clone()));
        let tracks = ledger.book.conditions().map(open).collect();
        Self { tracks, drives: ledger.known.clone(), ledger, ..Self::default() }
    }

    /// True while messages are held back because somebody works on the box.
    pub fn is_muted(&self, now: Moment) -> bool {
        self.muted_until(now).is_some()
    }

    /// Until when they are held back, if they are.
    pub fn muted_until(&self, now: Moment) -> Option<Moment> {
        self.ledger.book.muted_until.filter(|until| now < *until)
    }

    /// Holds messages back until then, or no longer.
    pub fn mute_until(&mut self, until: Option<Moment>) {
        self.ledger.book.muted_until = until;
        self.ledger.book.is_urgent = true;
    }

    /// The open incidents, worst first, then oldest first.
    pub fn incidents(&self) -> Vec<Incident> {
        self.ledger.book.open()
    }

    /// Its owner knows of an incident; false when none of this name is open.
    pub fn acknowledge(&mut self, id: IncidentId) -> bool {
        self.ledger.book.acknowledge(id)
    }

    /// A memory for a single look, which has nothing to wait for: what is beyond a limit counts at once.
    pub fn without_patience() -> Self {
        Self { at_once: true, ..Self::default() }
    }

    /// What drives count.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The ledger as it stands was handed on to be kept.
    pub fn ledger_was_kept(&mut self) {
        self.ledger.is_new = false;
        self.ledger.book.is_urgent = false;
    }

    fn grace(&self, settings: &Settings) -> Grace {
        Grace::of(settings, &self.ledger.signs)
    }

    /// True while drives may still appear: after the machine has started, and after it woke.
    fn may_appear(&self, settings: &Settings, now: Moment) -> bool {
        let grace = self.grace(settings).drives;
        now.since_boot() < grace || self.ledger.waking.is_within(now, grace)
    }

    fn open(&self) -> impl Iterator<Item = &Condition> {
        self.tracks.values().filter_map(Track::open)
    }

    /// The facts of a condition that is open.
    fn finding(&self, kind: Kind, subject: &Subject) -> Option<&Finding> {
        Some(&self.tracks.get(&(kind, subject.clone()))?.open()?.finding)
    }

    fn is_open(&self, kind: Kind, subject: &Subject) -> bool {
        self.tracks.get(&(kind, subject.clone())).is_some_and(|track| track.open().is_some())
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
    ///
    /// # Errors
    /// When that cannot be written down.
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

    fn forget_accepted_pools(&mut self) {
        let tracks = &self.tracks;
        let is_told_of = |key: &String| {
            tracks.values().filter_map(Track::open).any(|held| matches!(&held.subject, Subject::Pool(of) if of == key))
        };
        self.ledger.is_new |= self.ledger.pools.forget_accepted(is_told_of);
    }
}

/// Judges the box. `snapshot` is the newest one; the same one may be judged again as time passes, which changes
/// nothing but whether the box is still heard from, and what the program has to say of itself.
pub fn judge(
    settings: &Settings,
    memory: &mut Memory,
    now: Moment,
    snapshot: Option<&Snapshot>,
    itself: &Itself,
) -> (Verdict, Vec<Change>) {
    let (mut changes, mut remarks, mut turns) = (Vec::new(), Vec::new(), Vec::new());
    let is_new = snapshot.is_some_and(|snapshot| memory.last_heard < Some(snapshot.taken));
    if let Some(snapshot) = snapshot.filter(|_| is_new) {
        memory.last_heard = Some(snapshot.taken);
        let fresh = memory.ledger.signs.fresh(&snapshot.events);
        let heard_anew = (fresh.len() < snapshot.events.len()).then(|| Snapshot { events: fresh, ..snapshot.clone() });
        let snapshot = heard_anew.as_ref().unwrap_or(snapshot);
        let woke = memory.ledger.waking.learn(snapshot);
        memory.ledger.is_new |= woke;
        memory.drives.learn(settings, snapshot, woke, memory.ledger.waking.is_untried(snapshot.taken));
        memory.warmth.learn(snapshot);
        memory.ledger.learn_parts(settings, snapshot);
        let checked = memory.work.learn(snapshot);
        memory.outlook.learn(snapshot);
        let fell = memory.ledger.learn(snapshot);
        memory.ledger.learn_supply(snapshot);
        memory.board.learn(&mut memory.ledger, snapshot);
        memory.processor.learn(snapshot);
        memory.controllers.learn(settings, &mut memory.ledger, snapshot);
        let is_suspected = airflow::is_suspected(memory);
        memory.airflow.learn(&mut memory.ledger, snapshot, is_suspected);
        remarks.extend(fell.into_iter().filter_map(|fell| memory.drives.new_baseline(fell)));
        remarks.extend(memory.self_tests.learn(settings, snapshot));
        memory.ledger.learn_drives(settings, &memory.drives, snapshot);
        memory.ledger.learn_pools(snapshot);
        memory.ledger.learn_checks(snapshot, &checked);
        memory.ledger.learn_fill(snapshot);
        member_errors::learn(&mut memory.ledger, &memory.drives, snapshot);
        let grace = memory.grace(settings).drives;
        starts::learn(&mut memory.ledger, &memory.drives, snapshot, grace);
        memory.ledger.is_new |= memory.ledger.sources.learn(&memory.drives, snapshot);
        memory.ledger.learn_signs(&memory.drives, snapshot);
        memory.ledger.learn_attachments(snapshot);
        let mut unseen: BTreeSet<(Kind, Subject)> = memory.open().map(causes::key).collect();
        for rule in conditions::RULES {
            for mut sight in (rule.sights)(settings, memory, snapshot) {
                unseen.remove(&(sight.finding.kind(), sight.subject.clone()));
                if memory.at_once {
                    sight.holds = track::Holds::NONE;
                }
                changes.extend(take_in(&mut memory.tracks, sight));
            }
        }
        changes.extend(end_unseen(settings, memory, snapshot, unseen));
        memory.drives.forget_accepted(&memory.tracks);
        memory.forget_accepted_pools();
    }
    let heard = heard(memory, now, snapshot);
    let own = if memory.at_once {
        // A single look is not the program that watches: it only has to say what it could not see.
        let unseen = itself::unseen(now, &heard);
        unseen.map(|sight| Sight { holds: track::Holds::NONE, ..sight }).into_iter().collect()
    } else {
        itself::sights(settings, memory, now, itself, &heard)
    };
    for sight in own {
        changes.extend(take_in(&mut memory.tracks, sight));
    }
    memory.tracks.retain(|_, track| !track.is_idle());
    if let Some(calendar_s) = itself.calendar_s {
        memory.ledger.book.gaps.learn(now, calendar_s);
    }
    for change in &mut changes {
        if let Change::Closed { condition, lasted } = change {
            *lasted = memory.ledger.book.gaps.since(condition.since, now);
        }
    }
    if let Some(snapshot) = snapshot.filter(|_| is_new || !changes.is_empty()) {
        turns = incidents::turn(settings, memory, now, snapshot);
    }
    (Verdict { remarks, turns, ..verdict(settings, memory, now, snapshot) }, changes)
}

fn take_in(tracks: &mut BTreeMap<(Kind, Subject), Track>, sight: Sight) -> Option<Change> {
    tracks.entry((sight.finding.kind(), sight.subject.clone())).or_default().see(sight)
}

/// Ends what no look will say anything of any more: what was told of a drive itself ends with its absence (see
/// [`incidents::ends_with_absence`]), all of it once nobody expects the drive; and what its owner has released.
fn end_unseen(
    settings: &Settings,
    memory: &mut Memory,
    snapshot: &Snapshot,
    unseen: BTreeSet<(Kind, Subject)>,
) -> Vec<Change> {
    let now = snapshot.taken;
    let open_absences = memory.open().filter(|open| open.kind() == Kind::DriveGone);
    let gone: Vec<DriveKey> = open_absences.filter_map(|open| open.subject.drive().cloned()).collect();
    let is_blind = drives::is_blind(snapshot);
    let may_appear = memory.may_appear(settings, now);
    let no_part = |open: &Condition| {
        let is_out = |key: &DriveKey| memory.drives.is_no_part(settings, key, now, may_appear);
        // A pool can wait for the successor of a drive that nobody expects any more.
        let is_of_absence = matches!(open.kind(), Kind::DriveGone | Kind::MemberFaulty);
        !is_blind && !is_of_absence && open.subject.drive().is_some_and(is_out)
    };
    let released = std::mem::take(&mut memory.released);
    let ends = |open: &&Condition| {
        let key = causes::key(open);
        let is_released = released.contains(&key) && unseen.contains(&key);
        is_released || no_part(open) || incidents::ends_with_absence(open, &gone)
    };
    let ended: Vec<_> = memory.open().filter(ends).map(causes::key).collect();
    let close = |key: &(Kind, Subject)| memory.tracks.remove(key).and_then(|track| track.open().cloned());
    let closed = |condition: Condition| Change::Closed { lasted: Some(now.since(condition.since)), condition };
    let changes = ended.iter().filter_map(close).map(closed).collect();
    memory.unseen = unseen.into_iter().filter(|key| !ended.contains(key)).collect();
    changes
}

fn verdict(settings: &Settings, memory: &Memory, now: Moment, snapshot: Option<&Snapshot>) -> Verdict {
    let mut conditions: Vec<Condition> = memory.open().cloned().collect();
    conditions.sort_by(|a, b| {
        b.severity
            .cmp(&a.severity)
            .then(a.since.cmp(&b.since))
            .then(a.kind().cmp(&b.kind()))
            .then(a.subject.cmp(&b.subject))
    });
    Verdict {
        at: now,
        heard: heard(memory, now, snapshot),
        is_starting: now.since_boot() < memory.grace(settings).pools,
        shelves: snapshot.map_or_else(Vec::new, |snapshot| shelves::shelves(settings, memory, snapshot)),
        fans: snapshot
            .map_or_else(Vec::new, |snapshot| memory.ledger.fans.fitted(settings, snapshot).into_iter().collect()),
        drives: snapshot.map_or_else(BTreeMap::new, |snapshot| shelves::drives(settings, snapshot)),
        pools: snapshot.map_or_else(BTreeMap::new, redundancy::of_all),
        outlooks: snapshot.map_or_else(BTreeMap::new, |snapshot| outlook::outlooks(settings, memory, snapshot)),
        full_in: snapshot.map_or_else(BTreeMap::new, |snapshot| space::full_in(memory, snapshot)),
        work_left: memory.work.left(),
        courses: memory.outlook.courses(),
        remarks: Vec::new(),
        incidents: memory.incidents(),
        muted_until: memory.muted_until(now),
        gaps: memory.ledger.book.gaps.clone(),
        turns: Vec::new(),
        conditions,
    }
}

fn heard(memory: &Memory, now: Moment, snapshot: Option<&Snapshot>) -> Heard {
    let Some(snapshot) = snapshot else { return Heard::NotYet };
    if now.since(snapshot.taken) > SILENT_AFTER {
        return Heard::SilentSince(snapshot.taken);
    }
    let mut blind: Vec<String> = snapshot.blind.iter().map(|blind| format!("{}: {}", blind.what, blind.why)).collect();
    blind.extend(snapshot.volumes.iter().filter_map(|volume| {
        let why = volume.room.missing().filter(|why| why.reason == traylight_data::reading::Reason::TimedOut)?;
        Some(format!("room of {}: {why}", volume.mount))
    }));
    blind.extend(
        snapshot.pools.iter().filter_map(|pool| Some(format!("pool {}: {}", pool.name, pool.running.missing()?))),
    );
    blind.extend(memory.ledger.sources.missing(snapshot.taken));
    if blind.is_empty() { Heard::Fresh } else { Heard::InPart(blind) }
}

#[cfg(test)]
mod stories;
