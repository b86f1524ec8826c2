//! One round after another: what is due is asked, what has come is taken in, and all of it becomes a snapshot.

use super::happened::Happened;
use super::mounts::SeenMounts;
use super::order::ProbeOrder;
use super::pools::{self, SeenPools};
use super::schedule::{self, Schedule};
use super::seen::{SeenDrive, first_count};
use super::workers::Workers;
use crate::clock::{Clock, Moment};
use crate::reading::{
    AskedBy, Blind, Board, Controller, Drive, DriveKey, Link, Listing, Missing, Pool, Reading, Reason, Room, Snapshot,
    Source, Temperature, Traffic, WhyMissing,
};
use crate::sense::ask::DriveAnswers;
use crate::sense::host::Host;
use crate::sense::parse::named::NamedEvent;
use crate::sense::parse::rate::{CountedAt, rate};
use crate::sense::pools::md;
use crate::sense::{board, chips, controllers, drives, links};
use crate::units::BytesPerSecond;
use std::collections::BTreeMap;
use std::time::Duration;

/// How long a round waits for answers before it goes on without them.
const PATIENCE: Duration = Duration::from_millis(150);
/// After this a question counts as not answered.
const DEADLINE: Duration = Duration::from_secs(10);
/// What seldom changes is looked at again after this.
const SELDOM: Duration = Duration::from_secs(60);
/// Thermal zones are asked this often; some ask firmware, which is slow.
const ZONES_EVERY: Duration = Duration::from_secs(10);
/// How the kernel gets on with drives is looked at this often.
const ATTACHMENTS_EVERY: Duration = Duration::from_secs(10);
/// What drives are plugged into is looked at this often.
const CONTROLLERS_EVERY: Duration = Duration::from_secs(10);

/// Whom a worker asks.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum WorkTarget {
    /// The drive with this kernel name, in this appearance.
    Drive(String, u64),
    Chip(String),
    Zones,
    Volume(String),
    Pool(pools::Which),
}

/// What a worker brings back.
enum WorkAnswer {
    Drive(Box<DriveAnswers>, Moment),
    Chip(chips::Answers),
    Zones(Vec<Temperature>),
    Room(Reading<Room>),
    Pool(pools::PoolAnswer),
}

/// The rounds and what they remember from one to the next.
pub struct Rounds {
    host: Host,
    clock: Clock,
    workers: Workers<WorkTarget, WorkAnswer>,
    drives: BTreeMap<String, SeenDrive>,
    attachments_seen: Option<Moment>,
    controllers: Result<Vec<Controller>, Missing>,
    controllers_seen: Option<Moment>,
    chips: Vec<chips::Chip>,
    chip_answers: BTreeMap<String, chips::Answers>,
    zones: Vec<Temperature>,
    zones_asked: Option<Moment>,
    pools: SeenPools,
    mounts: SeenMounts,
    ports: BTreeMap<String, (CountedAt, CountedAt)>,
    happened: Happened,
    board: Board,
    looked_around: Option<Moment>,
    began: Moment,
    schedule: Schedule,
    /// The one drive that may be asked, while its owner waits for it.
    attended: Option<DriveKey>,
}

impl Rounds {
    /// Nothing seen yet.
    pub fn new(host: Host, clock: Clock) -> Self {
        Self {
            workers: Workers::new(clock.clone()),
            host,
            began: clock.now(),
            schedule: Schedule::default(),
            attended: None,
            clock,
            drives: BTreeMap::new(),
            attachments_seen: None,
            controllers: Ok(Vec::new()),
            controllers_seen: None,
            chips: Vec::new(),
            chip_answers: BTreeMap::new(),
            zones: Vec::new(),
            zones_asked: None,
            pools: SeenPools::default(),
            mounts: SeenMounts::default(),
            ports: BTreeMap::new(),
            happened: Happened::default(),
            board: Board::default(),
            looked_around: None,
        }
    }

    /// One round.
    pub fn round(&mut self) -> Snapshot {
        let now = self.clock.now();
        let mut blind = Vec::new();
        let look_around = now.is_due(self.looked_around, SELDOM);
        if look_around {
            self.looked_around = Some(now);
            self.board = board::board(&self.host, now);
            self.look_for_chips(now, &mut blind);
        }
        let drives_changed = self.look_at_drives(look_around, now, &mut blind);
        if now.is_due(self.controllers_seen, CONTROLLERS_EVERY) || drives_changed {
            self.controllers_seen = Some(now);
            self.controllers = controllers::controllers(&self.host, now);
        }
        self.pools.look(&self.host, drives_changed, now);
        self.look_at_mounts(now, &mut blind);
        self.ask_pools(now);
        self.ask_chips(now);

        for (target, answer) in self.workers.answers(PATIENCE) {
            self.take_in(target, answer);
        }
        for target in self.workers.late(DEADLINE) {
            self.give_up(&target);
        }
        let links = self.links(now, &mut blind);
        let arrays = md::pools(&self.host, now);
        let are_seen = arrays.is_ok();
        let (others, silent) = self.pools.as_read(&self.host, self.clock.calendar_seconds(), now);
        let (mut pools, unread) = look(Listing::Pools, &mut blind, arrays);
        pools.extend(others);
        blind.extend(unread.into_iter().chain(silent));
        self.keep_schedule(are_seen.then_some(&*pools), now);
        let mut snapshot = self.compose(links, pools, blind);
        snapshot.events = self.happened.events(&self.host, self.drives.values(), &snapshot.drives, now);
        snapshot
    }

    /// Takes in the events since the round before.
    pub fn add_events(&mut self, events: Vec<NamedEvent>) {
        self.happened.add(events);
    }

    /// Takes in what the core has to say.
    pub fn take_order(&mut self, order: ProbeOrder) {
        let now = self.clock.now();
        let mut request = |key: &DriveKey, step| {
            let seen = self.drives.values_mut().find(|seen| seen.identity.key == *key);
            seen.map(|seen| seen.request(step, AskedBy::Owner, now))
        };
        match order {
            ProbeOrder::Schedule(schedule) => self.schedule = schedule,
            ProbeOrder::Attend(drive) => {
                request(&drive, None);
                self.attended = Some(drive);
            }
            ProbeOrder::SelfTest { drive, step } => drop(request(&drive, Some(step))),
        }
    }

    /// Lets a drive begin a self-test when the schedule says so; it is asked in the next round.
    fn keep_schedule(&mut self, pools: Option<&[Pool]>, now: Moment) {
        let candidates: Vec<_> = self.drives.values().map(SeenDrive::candidate).collect();
        let due = schedule::due(self.schedule, now, self.began, &candidates, pools);
        let due = due.map(|(key, step)| (key.clone(), step));
        if let Some((key, step)) = due {
            let seen = self.drives.values_mut().find(|seen| seen.identity.key == key);
            seen.into_iter().for_each(|seen| seen.request(Some(step), AskedBy::Schedule, now));
        }
    }

    /// True when a drive has come or gone.
    fn look_at_drives(&mut self, again: bool, now: Moment, blind: &mut Vec<Blind>) -> bool {
        let spotted = match drives::spot(&self.host) {
            Ok(spotted) => spotted,
            Err(why) => {
                blind.push(Blind { what: Listing::Drives, why: why.required() });
                return false;
            }
        };
        let before = self.drives.len();
        self.drives.retain(|_, seen| spotted.contains(&seen.spotted));
        let changed = self.drives.len() < before || self.drives.len() < spotted.len();
        let settled: Vec<DriveKey> = self.drives.values().map(|seen| seen.identity.key.clone()).collect();
        for drive in spotted {
            let host = &self.host;
            match self.drives.get_mut(&drive.device) {
                Some(seen) if again || seen.is_new(now) => seen.identify(host, now),
                Some(_) => {}
                None => {
                    let mut seen = SeenDrive::new(host, drive, now);
                    // A stranger with a serial that is taken must not take the history that hangs on it.
                    if settled.contains(&seen.identity.key) {
                        drives::name_by_place(&mut seen.identity);
                    }
                    self.drives.insert(seen.spotted.device.clone(), seen);
                }
            }
        }
        self.drives.values_mut().for_each(|seen| seen.count(&self.host, now));
        if now.is_due(self.attachments_seen, ATTACHMENTS_EVERY) {
            self.attachments_seen = Some(now);
            self.drives.values_mut().for_each(|seen| seen.look_at_attachment(&self.host, now));
        }
        let mut identities: Vec<&mut drives::DriveIdentity> =
            self.drives.values_mut().map(|seen| &mut seen.identity).collect();
        drives::tell_apart(&mut identities);
        self.ask_drives(now);
        changed
    }

    fn ask_drives(&mut self, now: Moment) {
        let may_be_asked = |seen: &&mut SeenDrive| match &self.attended {
            Some(attended) => seen.identity.key == *attended,
            None => true,
        };
        for seen in self.drives.values_mut().filter(may_be_asked) {
            let Some(question) = seen.question(&self.host, &self.clock, now) else { continue };
            let target = WorkTarget::Drive(seen.spotted.device.clone(), seen.spotted.instance);
            let asked = self.workers.ask(&target, move || {
                let (told, at) = question();
                WorkAnswer::Drive(Box::new(told), at)
            });
            if asked {
                seen.asked(now);
            }
        }
        let drives = &self.drives;
        self.workers.keep_only(|target| match target {
            WorkTarget::Drive(device, instance) => {
                drives.get(device).is_some_and(|seen| seen.spotted.instance == *instance)
            }
            _ => true,
        });
    }

    fn look_for_chips(&mut self, now: Moment, blind: &mut Vec<Blind>) {
        self.chips = look(Listing::Chips, blind, chips::chips(&self.host));
        let chips = &self.chips;
        self.chip_answers.retain(|key, _| chips.iter().any(|chip| chip.key == *key));
        for chip in chips {
            let not_yet = || chip.without_answers(&Missing::from(WhyMissing::Pending), now);
            self.chip_answers.entry(chip.key.clone()).or_insert_with(not_yet);
        }
        self.workers
            .keep_only(|target| !matches!(target, WorkTarget::Chip(key) if chips.iter().all(|chip| chip.key != *key)));
    }

    fn ask_chips(&mut self, now: Moment) {
        for chip in &self.chips {
            let (host, clock, asked) = (self.host.clone(), self.clock.clone(), chip.clone());
            self.workers.ask(&WorkTarget::Chip(chip.key.clone()), move || WorkAnswer::Chip(asked.ask(&host, &clock)));
        }
        if chips::has_zones(&self.host) && now.is_due(self.zones_asked, ZONES_EVERY) {
            let (host, clock) = (self.host.clone(), self.clock.clone());
            if self.workers.ask(&WorkTarget::Zones, move || WorkAnswer::Zones(chips::zones(&host, &clock))) {
                self.zones_asked = Some(now);
            }
        }
    }

    fn look_at_mounts(&mut self, now: Moment, blind: &mut Vec<Blind>) {
        look(Listing::Mounts, blind, self.mounts.look(&self.host, now));
        let pools = &self.pools;
        for (point, question) in self.mounts.questions(&self.host, &self.clock, |pool| pools.is_suspended(pool), now) {
            if self.workers.ask(&WorkTarget::Volume(point.clone()), move || WorkAnswer::Room(question())) {
                self.mounts.asked(&point, now);
            }
        }
        let mounts = &self.mounts;
        self.workers.keep_only(|target| !matches!(target, WorkTarget::Volume(point) if !mounts.has(point)));
    }

    fn ask_pools(&mut self, now: Moment) {
        for (which, question) in self.pools.questions(&self.host, &self.clock, &self.mounts.mounts(), now) {
            if self.workers.ask(&WorkTarget::Pool(which.clone()), move || WorkAnswer::Pool(question())) {
                self.pools.asked(&which, now);
            }
        }
        let pools = &self.pools;
        self.workers.keep_only(|target| !matches!(target, WorkTarget::Pool(which) if !pools.has(which)));
    }

    fn take_in(&mut self, target: WorkTarget, answer: WorkAnswer) {
        match (target, answer) {
            (WorkTarget::Drive(device, instance), WorkAnswer::Drive(told, at)) => {
                if let Some(seen) = self.drives.get_mut(&device).filter(|seen| seen.spotted.instance == instance) {
                    seen.take_in(*told, at);
                }
            }
            (WorkTarget::Volume(point), WorkAnswer::Room(room)) => self.mounts.take_in(&point, room),
            (WorkTarget::Chip(key), WorkAnswer::Chip(answers)) => {
                self.chip_answers.insert(key, answers);
            }
            (WorkTarget::Pool(which), WorkAnswer::Pool(told)) => self.pools.take_in(&which, told, self.clock.now()),
            (_, WorkAnswer::Zones(zones)) => self.zones = zones,
            // A target is only ever asked its own kind of question.
            _ => {}
        }
    }

    fn give_up(&mut self, target: &WorkTarget) {
        let now = self.clock.now();
        let why = || Missing::of(Reason::TimedOut);
        match target {
            WorkTarget::Drive(device, _) => {
                if let Some(seen) = self.drives.get_mut(device) {
                    seen.give_up(why(), now);
                }
            }
            WorkTarget::Volume(point) => {
                self.mounts.take_in(point, Reading::new(Err(why()), now, Source::Statvfs));
            }
            WorkTarget::Chip(key) => {
                if let Some(chip) = self.chips.iter().find(|chip| chip.key == *key) {
                    self.chip_answers.insert(key.clone(), chip.without_answers(&why(), now));
                }
            }
            WorkTarget::Pool(which) => self.pools.give_up(which, why(), now),
            WorkTarget::Zones => {
                self.zones.iter_mut().for_each(|zone| zone.value = Reading::new(Err(why()), now, Source::ThermalZone));
            }
        }
    }

    fn links(&mut self, now: Moment, blind: &mut Vec<Blind>) -> Vec<Link> {
        let ports = look(Listing::Links, blind, links::ports(&self.host, now));
        let before = std::mem::take(&mut self.ports);
        let link = |port: links::Port| {
            let traffic = port.counts.and_then(|counts| {
                // Without time between two looks, what moved is left for the next one.
                let last = before.get(&port.name).filter(|last| last.0.at >= counts.0.at);
                self.ports.insert(port.name.clone(), last.copied().unwrap_or(counts));
                let (inward, outward) = *before.get(&port.name).ok_or_else(first_count)?;
                Ok(Traffic {
                    inward: BytesPerSecond(rate(inward, counts.0)?),
                    outward: BytesPerSecond(rate(outward, counts.1)?),
                })
            });
            let traffic = Reading::new(traffic, now, Source::Sysfs);
            Link { name: port.name, up: port.up, speed: port.speed, changes: port.changes, traffic }
        };
        ports.into_iter().map(link).collect()
    }

    fn compose(&self, links: Vec<Link>, pools: Vec<Pool>, mut blind: Vec<Blind>) -> Snapshot {
        let controllers = look(Listing::Controllers, &mut blind, self.controllers.clone());
        let mut drives: Vec<Drive> = self.drives.values().map(SeenDrive::as_read).collect();
        drives.sort_by(|a, b| (a.port.is_none(), &a.port, &a.device).cmp(&(b.port.is_none(), &b.port, &b.device)));
        let answers = || self.chip_answers.values();
        Snapshot {
            taken: self.clock.now(),
            suspended: self.clock.suspended(),
            board: self.board.clone(),
            drives,
            pools,
            volumes: self.mounts.as_read(),
            unions: self.mounts.unions(),
            unmounted: self.mounts.unmounted(),
            fans: answers().flat_map(|answer| answer.fans.clone()).collect(),
            temperatures: answers()
                .flat_map(|answer| answer.temperatures.clone())
                .chain(self.zones.iter().cloned())
                .collect(),
            rails: answers().flat_map(|answer| answer.rails.clone()).collect(),
            undervoltages: answers().flat_map(|answer| answer.undervoltages.clone()).collect(),
            controllers,
            links,
            blind,
            ..Snapshot::default()
        }
    }
}

/// What was found, or nothing and a note of why.
fn look<T: Default>(what: Listing, blind: &mut Vec<Blind>, found: Result<T, Missing>) -> T {
    found.unwrap_or_else(|why| {
        blind.push(Blind { what, why: why.required() });
        T::default()
    })
}
