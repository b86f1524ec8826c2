//! What the rules about causes look at: the drives that something is wrong with, what was seen of each, and what they
//! are plugged into.

use crate::kinds::{Kinds, TOGETHER, Trouble};
use crate::memory::Memory;
use crate::memory::before::{Before, WEARING};
use crate::memory::drives::RememberedDrive;
use crate::memory::sign::{ASKED_APART, Sign};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::{DAY, Moment};
use traylight_data::reading::port::{bridge_of, controller_of, path_of};
use traylight_data::reading::{Controller, DriveKey, EventKind, EventSource, Part, Snapshot};
use traylight_data::verdict::{Condition, Finding, Kind, Subject};

/// What comes this long before or after may be its reason.
pub const NEAR: Duration = Duration::from_secs(60);
/// A condition begins some time after what is behind it; drives that wait for work are looked at late.
pub const LEAD: Duration = Duration::from_secs(120);

/// What the kernel tells of a port whose drive went without power or plug, from the first report to letting it go.
const GOING: Duration = Duration::from_secs(180);

/// What speaks against a controller. That it scans its ports one after another does not.
const AGAINST: [EventKind; 8] = [
    EventKind::Vanished,
    EventKind::AllOnes,
    EventKind::BusError,
    EventKind::BusErrorCorrected,
    EventKind::Reset,
    EventKind::TimedOut,
    EventKind::CommandFailed,
    EventKind::GivenUp,
];

/// Signs of damaged transfers.
pub const DAMAGE: [EventKind; 2] = [EventKind::TransferDamaged, EventKind::LinkSlowed];
/// Signs that a drive did not answer.
pub const SILENCE: [EventKind; 4] =
    [EventKind::TimedOut, EventKind::StandsStill, EventKind::GivenUp, EventKind::SlowToRespond];

/// Everything that the rules look at.
pub struct CauseView<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// What is remembered.
    pub memory: &'a Memory,
    /// The traits of the kinds of condition.
    pub kinds: &'a Kinds,
    /// What was read of the box.
    pub snapshot: &'a Snapshot,
    /// The drives that something is wrong with.
    pub suspects: Vec<Suspect<'a>>,
}

/// A drive that something is wrong with.
pub struct Suspect<'a> {
    /// What it is known by.
    pub key: &'a DriveKey,
    /// What is known of it.
    pub known: &'a RememberedDrive,
    /// The conditions about it that hold.
    pub open: Vec<&'a Condition>,
    /// When the first of them began, or that of a pool that lacks it.
    pub since: Moment,
    /// A pool lacks it, though it may be there again.
    pub lacked: bool,
    pub(super) kinds: &'a Kinds,
    memory: &'a Memory,
}

impl<'a> CauseView<'a> {
    /// The view of what holds now.
    pub fn new(settings: &'a Settings, memory: &'a Memory, kinds: &'a Kinds, snapshot: &'a Snapshot) -> Self {
        let suspect = |(key, known)| Suspect::new(memory, kinds, key, known);
        let suspects = memory.drives.iter().filter_map(suspect).collect();
        Self { settings, memory, kinds, snapshot, suspects }
    }

    /// The open conditions of these kinds, whoever they are about.
    pub fn open(&self, kinds: &'static [Kind]) -> impl Iterator<Item = &'a Condition> {
        self.memory.open().filter(move |condition| kinds.contains(&condition.kind()))
    }

    /// A controller, by its key.
    pub fn controller(&self, key: &str) -> Option<&'a Controller> {
        self.snapshot.controllers.iter().find(|controller| controller.key == key)
    }

    /// The kernel's release before this boot and now, where they differ.
    pub fn kernel_change(&self) -> Option<(&'a str, &'a str)> {
        let (before, now) = self.memory.ledger.kernel();
        before.zip(now).filter(|(before, now)| before != now)
    }

    /// The known drives behind a controller, there or not.
    pub fn behind(&self, controller: &str) -> Vec<&'a DriveKey> {
        let is_behind =
            |known: &RememberedDrive| known.place.port.as_deref().and_then(controller_of) == Some(controller);
        self.memory.drives.expected().filter(|(_, known)| is_behind(known)).map(|(key, _)| key).collect()
    }

    /// True when nothing speaks against a controller: it answers, has its driver, and told of nothing lately.
    pub fn is_clean(&self, controller: &str, around: Moment) -> bool {
        let works = self.memory.ledger.signs.controller_works(controller);
        let works = works.or_else(|| self.controller(controller).map(Controller::works));
        works != Some(false) && self.against(controller, around).is_empty()
    }

    /// What speaks against a controller around a time.
    pub fn against(&self, controller: &str, around: Moment) -> Vec<&'a Sign> {
        let part = Part::Controller(controller.to_owned());
        let speaks = |what| AGAINST.contains(&what) || matches!(what, EventKind::NotStarted(_));
        let near = |sign: &&Sign| sign.event.part == part && speaks(sign.event.what) && apart(sign, around) <= NEAR;
        self.memory.ledger.signs.all().filter(near).collect()
    }

    /// Signs of these kinds around a time, whoever they are of.
    pub fn near(&self, kinds: &'static [EventKind], around: Moment) -> impl Iterator<Item = &'a Sign> {
        self.memory
            .ledger
            .signs
            .all()
            .filter(move |sign| kinds.contains(&sign.event.what) && apart(sign, around) <= NEAR)
    }
}

impl<'a> Suspect<'a> {
    /// A drive is under suspicion when a condition about it holds, or when a pool has lost it.
    fn new(memory: &'a Memory, kinds: &'a Kinds, key: &'a DriveKey, known: &'a RememberedDrive) -> Option<Self> {
        let open: Vec<&Condition> = memory.open().filter(|condition| condition.subject.drive() == Some(key)).collect();
        let lost_by = |condition: &&Condition| match &condition.finding {
            Finding::PoolDegraded { lost, .. } => lost.contains(&known.place),
            Finding::PoolDown { .. } => {
                !known.present && known.pools.iter().any(|pool| condition.subject == Subject::Pool(pool.clone()))
            }
            _ => false,
        };
        let pools: Vec<&Condition> = memory.open().filter(lost_by).collect();
        let since = open.iter().chain(&pools).map(|condition| condition.since).min()?;
        Some(Self { key, known, open, since, lacked: !pools.is_empty(), kinds, memory })
    }

    /// Which controller it is or was behind.
    pub fn controller(&self) -> Option<&'a str> {
        controller_of(self.known.place.port.as_deref()?)
    }

    /// Which USB bridge it is or was behind: its host and the chain of ports.
    pub fn bridge(&self) -> Option<(&'a str, &'a str)> {
        bridge_of(self.known.place.port.as_deref()?)
    }

    /// The narrowest part that it shares its way with, see [`path_of`].
    pub fn path(&self) -> Option<&'a str> {
        path_of(self.known.place.port.as_deref()?)
    }

    /// True for a sign of this drive.
    pub fn is_of(&self, sign: &Sign) -> bool {
        matches!(&sign.event.part, Part::Drive(key) if key == self.key)
    }

    /// True when it has not been seen since the start of the machine.
    pub fn is_absent_since_start(&self) -> bool {
        !self.known.present
            && self.known.losses.iter().all(|at| *at <= Moment::default())
            && self.lost_in_this_boot().is_none()
    }

    /// True when it was told to be gone before the machine started.
    pub fn was_missed_before_start(&self) -> bool {
        self.open.iter().any(|open| open.kind() == Kind::DriveGone && open.since < Moment::default())
    }

    fn lost_in_this_boot(&self) -> Option<&'a Sign> {
        self.all_signs().find(|sign| sign.event.what == EventKind::Vanished && sign.event.at > Moment::default())
    }

    /// True when a condition of one of these kinds holds.
    pub fn has(&self, kinds: &[Kind]) -> bool {
        self.open.iter().any(|condition| kinds.contains(&condition.kind()))
    }

    /// True when a condition holds that is a sign of this trouble.
    pub fn shows(&self, trouble: Trouble) -> bool {
        self.open.iter().any(|open| self.kinds.is_sign(open.kind(), trouble))
    }

    /// True when it has this trouble, whether a condition says so or its loss does.
    pub fn has_trouble(&self, trouble: Trouble) -> bool {
        let is_lost = || !self.known.present || (self.lacked && !self.losses().is_empty());
        self.shows(trouble)
            || match trouble {
                Trouble::Connection => is_lost(),
                // What is told of a drive itself ends when it is gone; what it went of does not.
                Trouble::Media => self.failed_and_died() || self.is_worn(),
                Trouble::Transfer => !self.known.present && self.is_damaged(),
                Trouble::Power => false,
            }
    }

    /// All that is remembered of it, oldest first.
    pub fn all_signs(&self) -> impl DoubleEndedIterator<Item = &'a Sign> + use<'a> {
        self.memory.ledger.signs.of(self.key)
    }

    /// Signs of these kinds, from so long before the trouble began.
    pub fn signs(&self, kinds: &'static [EventKind], before: Duration) -> Vec<&'a Sign> {
        let from = self.since.minus(before);
        let meant = |sign: &&Sign| kinds.contains(&sign.event.what) && sign.last >= from;
        self.all_signs().filter(meant).collect()
    }

    /// Its losses that belong to the trouble, oldest first.
    pub fn losses(&self) -> Vec<&'a Sign> {
        self.signs(&[EventKind::Vanished], LEAD)
    }

    /// Its losses that are remembered, oldest first.
    pub fn all_losses(&self) -> impl Iterator<Item = &'a Sign> + use<'a> {
        self.all_signs().filter(|sign| sign.event.what == EventKind::Vanished)
    }

    /// How it was before it was lost last.
    pub fn before(&self) -> Option<Before> {
        self.lost()?.1
    }

    /// When it was lost last, and how it was before.
    pub fn lost(&self) -> Option<(Moment, Option<Before>)> {
        self.losses().last().map(|sign| (sign.event.at, sign.before))
    }

    /// The signs that it lost its power while the board ran, oldest first.
    pub fn power_losses(&self) -> Vec<&'a Sign> {
        let lost = |sign: &&Sign| sign.event.what == EventKind::LostPower;
        self.all_signs().filter(lost).collect()
    }

    /// When this trouble began: with the first such condition that holds, or with the loss of a drive that is
    /// gone.
    pub fn began(&self, trouble: Trouble) -> Moment {
        let held =
            self.open.iter().filter(|open| self.kinds.is_sign(open.kind(), trouble)).map(|open| open.since).min();
        let lost = self.lost().map(|(at, _)| at).filter(|_| !self.known.present);
        lost.or(held).unwrap_or(self.since)
    }

    /// True when it lost its power while the board ran, within the hours around the beginning of this trouble: an
    /// older loss is another incident.
    pub fn lost_power(&self, trouble: Trouble) -> bool {
        let began = self.began(trouble);
        self.power_losses().iter().any(|sign| is_around(sign, began))
    }

    /// Signs of damaged transfers within a day, since errors are counted some hours apart, but for what a port tells while its drive loses plug or power.
    pub fn damage(&self) -> Vec<&'a Sign> {
        self.signs(&DAMAGE, DAY).into_iter().filter(|sign| !self.is_of_a_loss(sign)).collect()
    }

    /// True when transfers to it are damaged.
    pub fn is_damaged(&self) -> bool {
        self.shows(Trouble::Transfer) || !self.damage().is_empty()
    }

    /// True when it cannot read what it holds.
    pub fn is_unreadable(&self) -> bool {
        let signs = self.signs(&[EventKind::Unreadable], DAY);
        self.shows(Trouble::Media) || signs.into_iter().any(|sign| !self.is_of_a_loss(sign))
    }

    /// The same of the hours around these losses.
    pub fn is_damaged_around(&self, losses: &[&Sign]) -> bool {
        let open = self.open.iter().filter(|open| open.kind() == Kind::SataCrcGrowth).map(|open| open.since);
        let at = open.chain(self.damage().into_iter().map(|sign| sign.last));
        at.into_iter().any(|at| losses.iter().any(|loss| is_around(loss, at)))
    }

    /// The same of what it cannot read.
    pub fn is_unreadable_around(&self, losses: &[&Sign]) -> bool {
        let open =
            self.open.iter().filter(|open| self.kinds.is_sign(open.kind(), Trouble::Media)).map(|open| open.since);
        let signs = self.signs(&[EventKind::Unreadable], DAY);
        let at = open.chain(signs.into_iter().filter(|sign| !self.is_of_a_loss(sign)).map(|sign| sign.last));
        at.into_iter().any(|at| losses.iter().any(|loss| is_around(loss, at)))
    }

    /// True when it wears out: it says that it fails, or replaces what it cannot read any more. What is told of it ends with
    /// its absence; what it was does not.
    pub fn is_worn(&self) -> bool {
        let was = || self.before().is_some_and(|before| before.worn);
        self.has(&[Kind::DriveHealthFailed]) || WEARING.iter().all(|kind| self.has(&[*kind])) || was()
    }

    /// When a loss happened: before the kernel lets a drive go, it tries for a minute to get its link back.
    pub fn span_of(&self, loss: &Sign) -> (Moment, Moment) {
        let (from, to) = loss.span();
        let changed =
            |sign: &&Sign| sign.is_change_of_link() && sign.event.at <= to && to.since(sign.event.at) <= GOING;
        let first = self.all_signs().find(changed).map(|sign| sign.event.at);
        first.filter(|_| from == to).map_or((from, to), |first| (first, first))
    }

    /// True for what the kernel's log tells of the drive after its connection changed, while it lost plug or power: links
    /// that are made slower, words that arrive in pieces and reads that fail are no more than that.
    fn is_of_a_loss(&self, sign: &Sign) -> bool {
        const LOST: [EventKind; 2] = [EventKind::Vanished, EventKind::LostPower];
        let began = |first: &Sign| {
            let follows = first.event.at <= sign.event.at.plus(TOGETHER);
            first.is_change_of_link() && follows && sign.last.since(first.event.at) <= GOING
        };
        sign.event.teller == EventSource::Log
            && self.all_signs().any(began)
            && self.all_signs().any(|lost| LOST.contains(&lost.event.what) && lost.may_be_with(sign, GOING))
    }

    /// True while requests are pending and none completes, or was so when it disconnected.
    pub fn hangs(&self) -> bool {
        let went_hanging = || self.before().is_some_and(|before| before.hung) && self.died_first();
        self.has(&[Kind::DriveNotAnswering]) || (!self.known.present && went_hanging())
    }

    /// True when it did not answer around the trouble.
    pub fn is_silent(&self) -> bool {
        self.has(&[Kind::DriveTimeouts, Kind::DriveNotAnswering]) || !self.signs(&SILENCE, LEAD).is_empty()
    }

    /// True when it could not read what it held before it died: that is told of no more while it is gone.
    pub fn failed_and_died(&self) -> bool {
        let failed = self.before().is_some_and(|before| before.failing);
        !self.known.present && self.died_first() && (failed || self.is_unreadable())
    }
}

/// True for a time within the hours around a loss: what drives count is read some hours apart.
fn is_around(loss: &Sign, at: Moment) -> bool {
    let (from, to) = loss.span();
    from <= at.plus(ASKED_APART) && to.plus(ASKED_APART) >= at
}

/// How far a sign is from a time.
pub fn apart(sign: &Sign, at: Moment) -> Duration {
    if sign.event.at > at { sign.event.at.since(at) } else { at.since(sign.last) }
}

/// The largest group of suspects whose signs lie within ten seconds of each other.
pub fn at_once<'s, 'a>(
    suspects: &[&'s Suspect<'a>],
    when: impl Fn(&Suspect<'a>) -> Vec<Moment>,
) -> Vec<(&'s Suspect<'a>, Moment)> {
    let all: Vec<(usize, Moment)> =
        suspects.iter().enumerate().flat_map(|(n, suspect)| when(suspect).into_iter().map(move |at| (n, at))).collect();
    let group = |(_, from): &(usize, Moment)| {
        let mut group: Vec<(&Suspect<'a>, Moment)> = Vec::new();
        for (n, suspect) in suspects.iter().enumerate() {
            let within = |(of, at): &&(usize, Moment)| *of == n && at >= from && at.since(*from) <= TOGETHER;
            if let Some((_, at)) = all.iter().find(within) {
                group.push((suspect, *at));
            }
        }
        group
    };
    all.iter().map(group).max_by_key(Vec::len).unwrap_or_default()
}
