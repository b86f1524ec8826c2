//! Judging is a function of data: settings, memory, now and a snapshot in; a verdict and what is new out. Nothing in
//! this folder opens, sends, waits, logs or asks the time.
//!
//! In reading order, each of which names only what is before it: the ground (`track` turns what is seen into conditions
//! that hold, `limit` makes the limits that are printed, `redundancy` says what a pool can still lose, `heat_limits`,
//! `kinds` and `order`); `forecast`; `memory`, which learns from every look; `play`, how faults are played;
//! `conditions`, the rules; `causes`; `incidents`; and here `judge`, which calls them in this order. `agreement` is what the owner agrees with, `request` what may be asked of drives, `shelves` the trays.

mod agreement;
mod causes;
mod conditions;
mod forecast;
mod heat_limits;
mod incidents;
mod kinds;
mod limit;
mod memory;
mod order;
pub mod play;
pub mod redundancy;
pub mod request;
mod shelves;
mod track;

pub use conditions::{how_played, limits};
pub use heat_limits::heat_limits;
pub use memory::drives::place_of;
pub use memory::incident_store::IncidentStore;
pub use memory::{Memory, ledger};

use conditions::{heat, itself, space};
use memory::drives;
use memory::incident_store::ends_with_absence;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use track::{Observation, Track, Zone};
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{DriveKey, Itself, Missing, Reason, Snapshot};
use traylight_data::verdict::{Change, Condition, ConditionKey, Freshness, Kind, PartName, UnseenPart, Verdict};

/// Three intervals of the probe's pace without a word are silence.
const SILENT_AFTER: Duration = Duration::from_secs(6);

/// Judges the box. `snapshot` is the newest one; the same one may be judged again as time passes, which changes
/// nothing but whether the box is still heard from, and what the program has to say of itself.
pub fn judge(
    settings: &Settings,
    memory: &mut Memory,
    now: Moment,
    snapshot: Option<&Snapshot>,
    itself: &Itself,
) -> (Verdict, Vec<Change>) {
    let (mut changes, mut remarks, mut updates) = (Vec::new(), Vec::new(), Vec::new());
    let kinds = conditions::kinds();
    memory.know_grace(settings);
    if let Some(calendar_s) = itself.calendar_s {
        memory.ledger.incident_store.gaps.learn(now, calendar_s);
    }
    let is_new = snapshot.is_some_and(|snapshot| memory.last_heard < Some(snapshot.taken));
    if let Some(snapshot) = snapshot.filter(|_| is_new) {
        memory.last_heard = Some(snapshot.taken);
        let fresh = memory.ledger.signs.fresh(&snapshot.events);
        let heard_anew = (fresh.len() < snapshot.events.len()).then(|| Snapshot { events: fresh, ..snapshot.clone() });
        let snapshot = heard_anew.as_ref().unwrap_or(snapshot);
        remarks = memory.learn(settings, kinds, snapshot);
        let mut unseen: BTreeSet<ConditionKey> = memory.open().map(Condition::key).collect();
        for rule in conditions::RULES {
            for mut observation in (rule.observations)(settings, memory, snapshot) {
                unseen.remove(&(observation.finding.kind(), observation.subject.clone()));
                if memory.at_once {
                    observation.holds = track::Holds::NONE;
                }
                changes.extend(take_in(memory, now, observation));
            }
        }
        changes.extend(end_unseen(settings, memory, now, snapshot, unseen));
        memory.forget_accepted();
    }
    let freshness = freshness(memory, now, snapshot);
    let own = if memory.at_once {
        // A single look is not the program that watches: it only has to say what it could not see.
        let unseen = itself::unseen(now, &freshness);
        unseen.map(|observation| Observation { holds: track::Holds::NONE, ..observation }).into_iter().collect()
    } else {
        itself::observations(settings, memory, now, itself, &freshness)
    };
    for observation in own {
        changes.extend(take_in(memory, now, observation));
    }
    memory.tracks.retain(|_, track| !track.is_idle());
    if let Some(snapshot) = snapshot.filter(|_| is_new || !changes.is_empty()) {
        updates = incidents::update(settings, memory, kinds, now, snapshot);
    }
    (Verdict { remarks, updates, ..verdict(settings, memory, now, snapshot, freshness) }, changes)
}

fn take_in(memory: &mut Memory, now: Moment, observation: Observation) -> Option<Change> {
    let track = match memory.tracks.entry((observation.finding.kind(), observation.subject.clone())) {
        Entry::Occupied(track) => track.into_mut(),
        Entry::Vacant(track) if matches!(observation.zone, Zone::Raised(_)) => track.insert(Track::default()),
        // Of what is clear and was clear nothing is remembered.
        Entry::Vacant(_) => return None,
    };
    track.see(observation, |since| memory.ledger.incident_store.gaps.since(since, now))
}

/// Ends what no look will say anything of any more: what was told of a drive itself ends with its absence (see
/// [`ends_with_absence`]), all of it once nobody expects the drive; and what its owner has released.
fn end_unseen(
    settings: &Settings,
    memory: &mut Memory,
    now: Moment,
    snapshot: &Snapshot,
    unseen: BTreeSet<ConditionKey>,
) -> Vec<Change> {
    let open_absences = memory.open().filter(|open| open.kind() == Kind::DriveGone);
    let gone: Vec<DriveKey> = open_absences.filter_map(|open| open.subject.drive().cloned()).collect();
    let is_blind = drives::is_blind(snapshot);
    let may_appear = memory.may_appear(snapshot.taken);
    let no_part = |open: &Condition| {
        let is_out = |key: &DriveKey| memory.drives.is_no_part(settings, key, snapshot.taken, may_appear);
        // A pool can wait for the successor of a drive that nobody expects any more.
        let is_of_absence = matches!(open.kind(), Kind::DriveGone | Kind::MemberFaulty);
        !is_blind && !is_of_absence && open.subject.drive().is_some_and(is_out)
    };
    let released = std::mem::take(&mut memory.released);
    let ends = |open: &&Condition| {
        let key = open.key();
        let is_released = released.contains(&key) && unseen.contains(&key);
        is_released || no_part(open) || ends_with_absence(open, &gone)
    };
    let ended: Vec<_> = memory.open().filter(ends).map(Condition::key).collect();
    let close = |key: &ConditionKey| {
        let condition = memory.tracks.remove(key)?.open()?.clone();
        Some(Change::Closed { lasted: memory.ledger.incident_store.gaps.since(condition.since, now), condition })
    };
    let changes = ended.iter().filter_map(close).collect();
    memory.unseen = unseen.into_iter().filter(|key| !ended.contains(key)).collect();
    changes
}

fn verdict(
    settings: &Settings,
    memory: &Memory,
    now: Moment,
    snapshot: Option<&Snapshot>,
    freshness: Freshness,
) -> Verdict {
    let mut conditions: Vec<Condition> = memory.open().cloned().collect();
    conditions.sort_by(|a, b| {
        b.severity
            .cmp(&a.severity)
            .then(a.since.cmp(&b.since))
            .then(a.kind().cmp(&b.kind()))
            .then(a.subject.cmp(&b.subject))
    });
    let limits = |open: &Condition| (open.key(), limits(settings, snapshot, open));
    Verdict {
        at: now,
        limits: memory.open().map(limits).collect(),
        freshness,
        is_starting: now.since_boot() < memory.grace.pools,
        shelves: snapshot.map_or_else(Vec::new, |snapshot| shelves::shelves(settings, memory, snapshot)),
        fans: snapshot
            .map_or_else(Vec::new, |snapshot| memory.ledger.fans.fitted(settings, snapshot).into_iter().collect()),
        drives: snapshot.map_or_else(BTreeMap::new, |snapshot| shelves::drives(settings, snapshot)),
        pools: snapshot.map_or_else(BTreeMap::new, redundancy::of_all),
        outlooks: snapshot.map_or_else(BTreeMap::new, |snapshot| heat::outlooks(settings, memory, snapshot)),
        full_in: snapshot.map_or_else(BTreeMap::new, |snapshot| space::full_in(memory, snapshot)),
        work_left: memory.work.left(),
        courses: memory.outlook.courses(),
        remarks: Vec::new(),
        incidents: memory.incidents(),
        muted_until: memory.muted_until(now),
        gaps: memory.ledger.incident_store.gaps.clone(),
        updates: Vec::new(),
        conditions,
    }
}

fn freshness(memory: &Memory, now: Moment, snapshot: Option<&Snapshot>) -> Freshness {
    let Some(snapshot) = snapshot else { return Freshness::NotYet };
    if now.since(snapshot.taken) > SILENT_AFTER {
        return Freshness::SilentSince(snapshot.taken);
    }
    let unseen = |part, why: &Missing| UnseenPart { part, why: why.clone(), lasted: None };
    let lists = snapshot.blind.iter();
    let mut blind: Vec<UnseenPart> =
        lists.map(|blind| unseen(PartName::List(blind.what.clone()), &blind.why)).collect();
    blind.extend(snapshot.volumes.iter().filter_map(|volume| {
        let why = volume.room.missing().filter(|why| why.reason == Reason::TimedOut)?;
        Some(unseen(PartName::Space { mount: volume.mount.clone() }, why))
    }));
    blind.extend(
        snapshot
            .pools
            .iter()
            .filter_map(|pool| Some(unseen(PartName::Pool { name: pool.name.clone() }, pool.running.missing()?))),
    );
    blind.extend(memory.ledger.sources.missing(snapshot.taken));
    if blind.is_empty() { Freshness::Fresh } else { Freshness::InPart(blind) }
}

#[cfg(test)]
mod stories;
