//! What the rules about causes look at: the drives that something is wrong with, what was seen of each, and what they
//! are plugged into.

use crate::clock::Moment;
use crate::judge::Memory;
use crate::judge::drives::KnownDrive;
use crate::judge::signs::{Before, Sign};
use crate::reading::{Controller, DriveKey, Happening, Part, Snapshot};
use crate::verdict::{Condition, Finding, Kind, Subject};
use std::time::Duration;
use traylight_config::Settings;

/// What happens to several parts for one reason happens within this.
pub const TOGETHER: Duration = Duration::from_secs(10);
/// What comes this long before or after may be its reason.
pub const NEAR: Duration = Duration::from_secs(60);
/// A condition begins some time after what is behind it; drives that wait for work are looked at late.
const LEAD: Duration = Duration::from_secs(120);
/// What drives count of errors is read some hours apart.
pub const DAY: Duration = Duration::from_secs(86_400);

/// Kinds of condition that a connection can be behind: plugs, cables, power, controllers.
pub const CONNECTION: [Kind; 7] = [
    Kind::DriveGone,
    Kind::DriveFlapping,
    Kind::DriveBackNotUsed,
    Kind::DriveLostPower,
    Kind::DriveTimeouts,
    Kind::DriveNotAnswering,
    Kind::MemberErrors,
];
/// Kinds that damaged transfers are behind.
pub const TRANSFER: [Kind; 2] = [Kind::SataCrcGrowth, Kind::SataSlow];
/// Kinds that the drive's own surface or flash is behind.
pub const MEDIA: [Kind; 3] = [Kind::PendingOrUncorrectable, Kind::ReallocatedGrowth, Kind::DriveSaysFailing];

/// What speaks against a controller. That it scans its ports one after another does not.
const AGAINST: [Happening; 8] = [
    Happening::Vanished,
    Happening::AllOnes,
    Happening::BusError,
    Happening::BusErrorCorrected,
    Happening::Reset,
    Happening::TimedOut,
    Happening::CommandFailed,
    Happening::GivenUp,
];

/// Signs of damaged transfers.
pub const DAMAGE: [Happening; 2] = [Happening::TransferDamaged, Happening::LinkSlowed];
/// Signs that a drive did not answer.
pub const SILENCE: [Happening; 4] =
    [Happening::TimedOut, Happening::StandsStill, Happening::GivenUp, Happening::SlowToRespond];

/// Everything that the rules look at.
pub struct View<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// What is remembered.
    pub memory: &'a Memory,
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
    pub known: &'a KnownDrive,
    /// The conditions about it that hold.
    pub open: Vec<&'a Condition>,
    /// When the first of them began, or that of a pool that lacks it.
    pub since: Moment,
    /// A pool lacks it, though it may be there again.
    pub lacked: bool,
    memory: &'a Memory,
}

impl<'a> View<'a> {
    /// The view of what holds now.
    pub fn new(settings: &'a Settings, memory: &'a Memory, snapshot: &'a Snapshot) -> Self {
        let suspects = memory.drives.iter().filter_map(|(key, known)| Suspect::new(memory, key, known)).collect();
        Self { settings, memory, snapshot, suspects }
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
        let is_behind = |known: &KnownDrive| known.place.port.as_deref().and_then(controller_of) == Some(controller);
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
        let speaks = |what| AGAINST.contains(&what) || matches!(what, Happening::NotStarted(_));
        let near = |sign: &&Sign| sign.event.part == part && speaks(sign.event.what) && apart(sign, around) <= NEAR;
        self.memory.ledger.signs.all().filter(near).collect()
    }

    /// Signs of these kinds around a time, whoever they are of.
    pub fn near(&self, kinds: &'static [Happening], around: Moment) -> impl Iterator<Item = &'a Sign> {
        self.memory
            .ledger
            .signs
            .all()
            .filter(move |sign| kinds.contains(&sign.event.what) && apart(sign, around) <= NEAR)
    }
}

impl<'a> Suspect<'a> {
    /// A drive is under suspicion when a condition about it holds, or when a pool has lost it.
    fn new(memory: &'a Memory, key: &'a DriveKey, known: &'a KnownDrive) -> Option<Self> {
        let subject = Subject::Drive(key.clone());
        let open: Vec<&Condition> = memory.open().filter(|condition| condition.subject == subject).collect();
        let lost_by = |condition: &&Condition| match &condition.finding {
            Finding::PoolDegraded { lost, .. } => lost.contains(&known.place),
            Finding::PoolDown { .. } => {
                !known.present && known.pools.iter().any(|pool| condition.subject == Subject::Pool(pool.clone()))
            }
            _ => false,
        };
        let pools: Vec<&Condition> = memory.open().filter(lost_by).collect();
        let since = open.iter().chain(&pools).map(|condition| condition.since).min()?;
        Some(Self { key, known, open, since, lacked: !pools.is_empty(), memory })
    }

    /// Which controller it is or was behind.
    pub fn controller(&self) -> Option<&'a str> {
        controller_of(self.known.place.port.as_deref()?)
    }

    /// Which USB bridge it is or was behind: its host and the chain of ports.
    pub fn bridge(&self) -> Option<(&'a str, &'a str)> {
        bridge_of(self.known.place.port.as_deref()?)
    }

    /// True when a condition of one of these kinds holds.
    pub fn has(&self, kinds: &[Kind]) -> bool {
        self.open.iter().any(|condition| kinds.contains(&condition.kind()))
    }

    /// Signs of these kinds, from so long before the trouble began.
    pub fn signs(&self, kinds: &'static [Happening], before: Duration) -> Vec<&'a Sign> {
        let from = self.since.minus(before);
        let meant = |sign: &&Sign| kinds.contains(&sign.event.what) && sign.last >= from;
        self.memory.ledger.signs.of(self.key).filter(meant).collect()
    }

    /// Its losses that belong to the trouble, oldest first.
    pub fn losses(&self) -> Vec<&'a Sign> {
        self.signs(&[Happening::Vanished], LEAD)
    }

    /// How it was before it was lost last.
    pub fn before(&self) -> Option<Before> {
        self.lost()?.1
    }

    /// When it was lost last, and how it was before.
    pub fn lost(&self) -> Option<(Moment, Option<Before>)> {
        self.losses().last().map(|sign| (sign.event.at, sign.before))
    }

    /// The signs that it lost its power.
    pub fn power_losses(&self) -> Vec<&'a Sign> {
        self.signs(&[Happening::LostPower], DAY)
    }

    /// True when it lost its power while the board ran.
    pub fn lost_power(&self) -> bool {
        self.has(&[Kind::DriveLostPower]) || !self.power_losses().is_empty()
    }

    /// True when transfers to it are damaged.
    pub fn is_damaged(&self) -> bool {
        self.has(&TRANSFER) || !self.signs(&DAMAGE, DAY).is_empty()
    }

    /// True when it cannot read what it holds.
    pub fn is_unreadable(&self) -> bool {
        self.has(&MEDIA) || !self.signs(&[Happening::Unreadable], DAY).is_empty()
    }

    /// True while it has work and finishes none, or when it went like that.
    pub fn hangs(&self) -> bool {
        self.has(&[Kind::DriveNotAnswering]) || (!self.known.present && self.before().is_some_and(|before| before.hung))
    }

    /// True when it did not answer around the trouble.
    pub fn is_silent(&self) -> bool {
        self.has(&[Kind::DriveTimeouts, Kind::DriveNotAnswering]) || !self.signs(&SILENCE, LEAD).is_empty()
    }

    /// True when it died before it went, rather than being pulled: it did not answer, failed or was given up.
    pub fn died_first(&self) -> bool {
        const DYING: [Happening; 5] = [
            Happening::TimedOut,
            Happening::StandsStill,
            Happening::GivenUp,
            Happening::Unreadable,
            Happening::CommandFailed,
        ];
        let Some((lost, before)) = self.lost() else { return false };
        let hung = before.is_some_and(|before| before.hung);
        hung || self.signs(&DYING, LEAD).iter().any(|sign| sign.event.at < lost && apart(sign, lost) <= NEAR)
    }

    /// True when it could not read what it held before it died: that is told of no more while it is gone.
    pub fn failed_and_died(&self) -> bool {
        let failed = self.before().is_some_and(|before| before.failing);
        !self.known.present && self.died_first() && (failed || self.is_unreadable())
    }
}

/// How far a sign is from a time.
pub fn apart(sign: &Sign, at: Moment) -> Duration {
    if sign.event.at > at { sign.event.at.since(at) } else { at.since(sign.last) }
}

/// The controller's key in the name of a place, such as `0000/1f.2` in `0000/1f.2/ata-1`.
pub fn controller_of(port: &str) -> Option<&str> {
    port.rsplit_once('/').map(|(controller, _)| controller)
}

/// The host and the chain of ports of the USB device in the name of a place, such as `0000/14.0` and `2.1` in
/// `0000/14.0/usb-2.1:0`.
pub fn bridge_of(port: &str) -> Option<(&str, &str)> {
    let (host, device) = port.rsplit_once('/')?;
    let (chain, _) = device.strip_prefix("usb-")?.rsplit_once(':')?;
    Some((host, chain))
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
