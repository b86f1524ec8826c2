//! What happened to the parts of the box lately, in one list: what the kernel told, and what readings show by
//! themselves. From these signs causes are found; conditions say what still holds.

use super::before::Before;
use super::counters::Counters;
use super::drives;
use super::learning::{Learned, Learns, Look};
use super::losses;
use super::parts::LearnedParts;
use super::power_cycles::Again;
use super::sign::Sign;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{
    Controller, ControllerKind, Drive, DriveKey, Event, EventKind, EventSource, Listing, Part, Power, Snapshot,
};
use traylight_data::verdict::Cause;

/// Signs older than this decide nothing any more.
const KEPT: Duration = Duration::from_secs(7 * 86_400);
/// More signs than this are kept of the newest only.
const MOST: usize = 512;
/// The same again within this is one sign that was seen twice.
const SAME: Duration = Duration::from_secs(60);
/// An absence that readings show and that the kernel told of so long before is one.
const TOLD_BEFORE: Duration = Duration::from_secs(10);

/// A drive that has work and finishes none for so long stands still: a command waits 30 s before the kernel begins to reset
/// things.
pub const STANDS_STILL: Duration = Duration::from_secs(30);
/// A drive that is back may be asked and not have counted its start yet.
const TOLD_AFTER: Duration = Duration::from_secs(600);

/// Counters of drives whose growth is a sign.
const COUNTERS: [(&str, EventKind); 5] = [
    ("interface_crc_errors", EventKind::TransferDamaged),
    ("pending_sectors", EventKind::Unreadable),
    ("offline_uncorrectable_sectors", EventKind::Unreadable),
    ("reported_uncorrectable_errors", EventKind::Unreadable),
    ("media_errors", EventKind::Unreadable),
];

/// The signs of a box.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Signs {
    list: Vec<Sign>,
    /// When the boot before was last noted.
    #[serde(default)]
    pub ended: Option<Moment>,
    /// The newest event that was taken in.
    heard_until: Option<Moment>,
    /// The drives at the last look.
    #[serde(skip)]
    there: BTreeMap<DriveKey, LastDriveLook>,
    /// Pools that were at work at the last look.
    #[serde(skip)]
    at_work: Option<Vec<String>>,
    /// The board's supply was too low at the last look: that it still is after a restart is no news.
    #[serde(default)]
    low: bool,
    /// The controllers that were seen to work, and whether each worked at the last look.
    #[serde(skip)]
    controllers: BTreeMap<String, bool>,
}

#[derive(Debug, Clone, PartialEq)]
struct LastDriveLook {
    port: Option<String>,
    busy: Moment,
    before: Before,
    /// Since when its pool has done without it.
    out_since: Option<Moment>,
    stands_still: bool,
    counters: [Option<i64>; COUNTERS.len()],
}

impl LastDriveLook {
    /// How the drive was before it was lost at this time.
    fn before(&self, lost: Moment) -> Before {
        let out_for = self.out_since.map_or(Duration::ZERO, |since| lost.since(since));
        Before { idle: lost.since(self.busy), hung: self.stands_still, out_for, ..self.before }
    }
}

impl Learns<LearnedParts<'_>> for Signs {
    /// Takes in what happened and what readings show.
    fn learn(&mut self, parts: &LearnedParts) -> Learned {
        let snapshot = parts.look.snapshot;
        for event in snapshot.events.iter().filter(|event| !self.have_shown(event)).cloned().collect::<Vec<_>>() {
            let (port, before) = match &event.part {
                Part::Drive(key) => (self.port_of(key), self.before(key, &event)),
                _ => (None, None),
            };
            self.take(event, port, before);
        }
        self.learn_supply(snapshot);
        self.learn_work(snapshot);
        self.learn_controllers(snapshot);
        if !drives::is_blind(snapshot) {
            self.learn_drives(parts);
            parts.power_cycles.again().iter().for_each(|again| self.learn_start(parts, again));
        }
        losses::date(&mut self.list, snapshot.taken);
        self.list.retain(|sign| snapshot.taken.since(sign.last) < KEPT);
        self.list.sort_by_key(|sign| sign.event.at);
        // A storm of lines does not make it forget what drives lost.
        let mut too_many = self.list.len().saturating_sub(MOST);
        self.list.retain(|sign| {
            let goes = too_many > 0 && !matches!(sign.event.what, EventKind::Vanished | EventKind::LostPower);
            too_many -= usize::from(goes);
            !goes
        });
        let too_many = self.list.len().saturating_sub(MOST);
        self.list.drain(..too_many);
        Learned::default()
    }
}

impl Signs {
    /// All signs, oldest first.
    pub fn all(&self) -> impl DoubleEndedIterator<Item = &Sign> {
        self.list.iter()
    }

    /// Whether a controller that was seen to work did so at the last look that had a list of them.
    pub fn controller_works(&self, key: &str) -> Option<bool> {
        self.controllers.get(key).copied()
    }

    /// True when a controller starts its ports one after another in this boot.
    pub fn is_staggered(&self) -> bool {
        // What was noted in an earlier boot lies before this one.
        let mut of_this_boot = self.list.iter().filter(|sign| sign.event.at >= Moment::default());
        of_this_boot.any(|sign| sign.event.what == EventKind::StaggeredStart)
    }

    /// Those of one drive.
    pub fn of<'a>(&'a self, drive: &'a DriveKey) -> impl DoubleEndedIterator<Item = &'a Sign> {
        self.list.iter().filter(move |sign| matches!(&sign.event.part, Part::Drive(key) if key == drive))
    }

    /// What of these is new: a probe that starts anew reads the kernel's log from its beginning.
    pub fn fresh(&mut self, events: &[Event]) -> Vec<Event> {
        let until = self.heard_until;
        let newest = events.iter().map(|event| event.at).max();
        self.heard_until = until.max(newest);
        let is_fresh = |event: &&Event| until.is_none_or(|until| event.at.plus(TOLD_BEFORE) > until);
        let is_known = |event: &Event| self.list.iter().any(|sign| sign.has(event));
        events.iter().filter(is_fresh).filter(|event| !is_known(event)).cloned().collect()
    }

    /// True for a loss that readings have shown already: the kernel's word for it can come after the look that found out.
    fn have_shown(&self, event: &Event) -> bool {
        let Part::Drive(key) = &event.part else { return false };
        let is_near = |sign: &Sign| event.at.apart(sign.last) < TOLD_BEFORE;
        let shown =
            |sign: &Sign| sign.event.teller == EventSource::Reading && sign.event.what == event.what && is_near(sign);
        event.what == EventKind::Vanished && !self.there.contains_key(key) && self.of(key).any(shown)
    }

    /// The times of all signs move into the past, as when the machine has started again.
    pub fn move_back(&mut self, ended: Moment, by: impl Fn(Moment) -> Moment) {
        self.ended = Some(by(ended));
        self.heard_until = self.heard_until.map(&by);
        self.low = false;
        for sign in &mut self.list {
            sign.event.at = by(sign.event.at);
            sign.last = by(sign.last);
            sign.after = sign.after.map(&by);
        }
    }

    fn port_of(&self, key: &DriveKey) -> Option<String> {
        self.there.get(key)?.port.clone()
    }

    fn before(&self, key: &DriveKey, event: &Event) -> Option<Before> {
        let tells = |what| {
            use EventKind::{CommandFailed, ConnectionChanged, LinkDown, TimedOut, Vanished};
            matches!(what, Vanished | TimedOut | ConnectionChanged | CommandFailed | LinkDown(_))
        };
        Some(self.there.get(key).filter(|_| tells(event.what))?.before(event.at))
    }

    fn take(&mut self, event: Event, port: Option<String>, before: Option<Before>) {
        let is_same = |sign: &&mut Sign| {
            sign.event.part == event.part
                && sign.event.what == event.what
                && sign.event.teller == event.teller
                && event.at.since(sign.last) < SAME
                && sign.event.at.since(event.at) < SAME
        };
        // A drive that goes twice is gone twice.
        let counts_each = matches!(event.what, EventKind::Vanished | EventKind::Appeared | EventKind::LostPower);
        match self.list.iter_mut().rev().find(is_same).filter(|sign| !counts_each || sign.last == event.at) {
            // The kernel's log is read anew by a probe that starts anew.
            Some(sign) if event.at <= sign.last => {}
            Some(sign) => {
                sign.count = sign.count.saturating_add(1);
                sign.last = event.at;
            }
            None => self.list.push(Sign { last: event.at, event, count: 1, port, before, after: None }),
        }
    }

    fn see(&mut self, at: Moment, part: Part, what: EventKind, port: Option<String>) {
        self.take(Event { at, part, what, teller: EventSource::Reading, line: String::new() }, port, None);
    }

    fn learn_supply(&mut self, snapshot: &Snapshot) {
        let low = snapshot.undervoltages.iter().any(|alarm| alarm.low.get() == Some(&true));
        if low && !self.low {
            self.see(snapshot.taken, Part::Board, EventKind::UndervoltageBegan, None);
        }
        self.low = low;
    }

    fn learn_work(&mut self, snapshot: &Snapshot) {
        let works = |pool: &&traylight_data::reading::Pool| pool.activity.kind.is_work();
        let at_work: Vec<String> = snapshot.pools.iter().filter(works).map(|pool| pool.name.clone()).collect();
        if let Some(before) = self.at_work.take() {
            for pool in at_work.iter().filter(|pool| !before.contains(pool)) {
                self.see(snapshot.taken, Part::Pool(pool.clone()), EventKind::WorkBegan, None);
            }
        }
        self.at_work = Some(at_work);
    }

    /// A controller that was seen to work and is not on the list, answers with all ones or has no driver any more. An NVMe
    /// drive is its own controller: while it is pulled it passes through all of these, which says no more than that it is
    /// gone.
    fn learn_controllers(&mut self, snapshot: &Snapshot) {
        // Without a list none is taken for absent.
        if snapshot.is_blind_to(&Listing::Controllers) {
            return;
        }
        let there = |key: &str| snapshot.controllers.iter().find(|controller| controller.key == key);
        for (key, worked) in self.controllers.clone() {
            let found = there(&key);
            let what = match found {
                None => EventKind::Vanished,
                Some(found) if found.answers.get() == Some(&false) => EventKind::AllOnes,
                Some(_) => EventKind::NotStarted(0),
            };
            let works = found.is_some_and(Controller::works);
            self.controllers.insert(key.clone(), works);
            if worked && !works {
                self.see(snapshot.taken, Part::Controller(key), what, None);
            }
        }
        let may_stop = |controller: &&Controller| controller.works() && controller.kind != ControllerKind::Nvme;
        let working = snapshot.controllers.iter().filter(may_stop);
        self.controllers.extend(working.map(|controller| (controller.key.clone(), true)));
    }

    fn learn_drives(&mut self, parts: &LearnedParts) {
        let Look { snapshot, drives: known, .. } = parts.look;
        let now = snapshot.taken;
        let is_there = |key: &DriveKey| snapshot.drives.iter().any(|drive| drive.key == *key);
        let gone: Vec<DriveKey> = self.there.keys().filter(|key| !is_there(key)).cloned().collect();
        for key in gone {
            let Some(look) = self.there.remove(&key) else { continue };
            let told =
                self.of(&key).any(|sign| sign.event.what == EventKind::Vanished && now.since(sign.last) < TOLD_BEFORE);
            if !told && known.is_expected(&key) {
                let (part, what, teller) = (Part::Drive(key), EventKind::Vanished, EventSource::Reading);
                let before = look.before(now);
                self.take(Event { at: now, part, what, teller, line: String::new() }, look.port, Some(before));
            }
        }
        let is_first_look = self.there.is_empty();
        for drive in &snapshot.drives {
            let Some(of) = known.get(&drive.key) else { continue };
            let before = Before::of(&parts.look, of, parts.incident_store, drive);
            self.learn_drive(parts.counters, now, drive, (before, is_first_look));
        }
    }

    fn learn_drive(
        &mut self,
        counters: &Counters,
        now: Moment,
        drive: &Drive,
        (before, is_first_look): (Before, bool),
    ) {
        let (key, port) = (&drive.key, &drive.port);
        let last = self.there.get(key).cloned();
        let part = || Part::Drive(key.clone());
        if last.is_none() && !is_first_look {
            self.see(now, part(), EventKind::Appeared, port.clone());
        }
        if last.as_ref().is_some_and(|last| last.before.asleep) && drive.power.get() == Some(&Power::Active) {
            self.see(drive.power.taken, part(), EventKind::Woke, port.clone());
        }
        let told = drive.health.taken;
        let counters = COUNTERS.map(|(name, _)| counters.now(key, name));
        for (index, (_, what)) in COUNTERS.iter().enumerate() {
            let before = last.as_ref().and_then(|last| last.counters[index]);
            if before.is_some() && counters[index] > before {
                self.see(told, part(), *what, port.clone());
            }
        }
        let stands_still = drive.stalled_since.filter(|since| now.since(*since) >= STANDS_STILL);
        if let (Some(since), false) = (stands_still, last.as_ref().is_some_and(|last| last.stands_still)) {
            self.see(since, part(), EventKind::StandsStill, port.clone());
        }
        let moves = drive.traffic.get().is_some_and(|traffic| traffic.inward.0 + traffic.outward.0 > 0.0);
        let busy = match &last {
            Some(last) if !moves => last.busy,
            _ => now,
        };
        let out_since = before.put_out.then(|| last.as_ref().and_then(|last| last.out_since).unwrap_or(now));
        let stands_still = stands_still.is_some();
        let look = LastDriveLook { port: port.clone(), busy, before, out_since, stands_still, counters };
        self.there.insert(key.clone(), look);
    }

    /// A drive has started again: it lost its power, unless it was taken out and is back. When it was seen to go, that was
    /// when; else it is known only when it was asked.
    fn learn_start(&mut self, parts: &LearnedParts, again: &Again) {
        let Some(drive) = parts.look.drives.get(&again.drive) else { return };
        let (asked, told) = again.between;
        let lost = |sign: &&Sign| {
            sign.event.what == EventKind::Vanished && sign.event.at.plus(TOLD_AFTER) >= asked && sign.event.at <= told
        };
        let lost = self.of(&again.drive).rfind(lost);
        let by_hand = lost.and_then(|sign| sign.before).is_some_and(|before| before.muted)
            || parts.incident_store.iter().any(|of| of.cause == Cause::TakenOut && of.drives.contains(&drive.place));
        if by_hand {
            return;
        }
        let at = lost.map_or(told, |sign| sign.event.at);
        let (part, what, line) = (Part::Drive(again.drive.clone()), EventKind::LostPower, String::new());
        self.list.push(Sign {
            after: lost.is_none().then_some(asked),
            event: Event { at, part, what, teller: EventSource::Reading, line },
            last: at,
            count: u32::try_from(again.times).unwrap_or(u32::MAX),
            port: drive.place.port.clone(),
            before: lost.and_then(|sign| sign.before),
        });
    }
}
