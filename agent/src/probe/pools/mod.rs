//! The pools as seen: what their files say is looked at often, what they must be asked for is asked seldom, at once when
//! the files have changed, and never of a pool that is suspended.

use super::steady::Steady;
use crate::clock::{Clock, Moment};
use crate::reading::{Activity, Blind, LastCheck, Listing, Missing, Pool, Reason, WhyMissing};
use crate::sense::host::{Host, parts};
use crate::sense::parse::btrfs::members::{FileSystem, MountedFileSystem};
use crate::sense::parse::dm::members::{LogicalVolume, RaidReport};
use crate::sense::parse::mounts::mountinfo::Mount;
use crate::sense::parse::zfs::kstat::ZfsPoolState;
use crate::sense::{btrfs, dm, pools, zfs};
use std::collections::BTreeMap;
use std::time::Duration;

/// The files of btrfs and of the device mapper are looked at this often, and whenever drives come or go.
const FILES_EVERY: Duration = Duration::from_secs(10);
/// A pool in whose files nothing happens is asked this often.
const ASK_EVERY: Duration = Duration::from_secs(60);
/// One that is at work is asked this often, so that its end is seen.
const ASK_AT_WORK_EVERY: Duration = Duration::from_secs(10);
/// An answer older than this says little of now; that there was no newer one is then told.
const STALE_AFTER: Duration = Duration::from_secs(180);

/// A pool that can be asked.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Which {
    /// A ZFS pool, by its name.
    Zfs(String),
    /// A btrfs file system, by its UUID.
    Btrfs(String),
    /// An LVM volume, by the device mapper's name.
    Lvm(String),
}

/// What a pool answered, or why it did not.
pub enum PoolAnswer {
    /// What `zpool` tells.
    Zfs(Result<Box<pools::zfs::ZpoolReport>, Missing>),
    /// What the file system tells.
    Btrfs(Result<MountedFileSystem, Missing>),
    /// What the device mapper tells.
    Lvm(Result<RaidReport, Missing>),
}

/// A question to a pool. It may block.
pub type PoolQuestion = Box<dyn FnOnce() -> PoolAnswer + Send>;

/// All pools but those of md, whose files say everything.
#[derive(Default)]
pub struct SeenPools {
    zfs: BTreeMap<String, SeenZfs>,
    btrfs: BTreeMap<String, SeenPool<FileSystem, MountedFileSystem>>,
    lvm: BTreeMap<String, SeenPool<LogicalVolume, RaidReport>>,
    files_seen: Option<Moment>,
    /// Kinds of pools that could not be looked for; those that were there before are kept.
    blind: BTreeMap<Listing, Missing>,
}

/// A pool by its files, and what it told last.
struct SeenPool<S, T> {
    files: S,
    told: Option<(T, Moment)>,
    /// Why the last question has no answer.
    why: Option<Missing>,
    asked: Option<Moment>,
    /// The files say that something happened since it was asked.
    changed: bool,
    at_work: bool,
}

struct SeenZfs {
    seen: SeenPool<zfs::ListedZfsPool, Box<pools::zfs::ZpoolReport>>,
    state: Steady<Result<ZfsPoolState, Missing>>,
    gone: Vec<String>,
}

impl<S, T> SeenPool<S, T> {
    fn new(files: S) -> Self {
        Self { files, told: None, why: None, asked: None, changed: false, at_work: false }
    }

    fn is_due(&self, now: Moment) -> bool {
        let every = if self.at_work { ASK_AT_WORK_EVERY } else { ASK_EVERY };
        self.changed || now.is_due(self.asked, every)
    }

    fn asked(&mut self, now: Moment) {
        self.asked = Some(now);
        self.changed = false;
    }

    /// An answer takes the place of the one before; a reason why there is none does not.
    fn take_in(&mut self, told: Result<T, Missing>, now: Moment) {
        self.why = told.map(|told| self.told = Some((told, now))).err();
    }

    fn told(&self) -> Option<&T> {
        self.told.as_ref().map(|(told, _)| told)
    }

    /// Why nothing is known of how it stands now, when that is so and no wish of its own.
    fn silent(&self, now: Moment) -> Option<&Missing> {
        let is_known = self.told.as_ref().is_some_and(|(_, at)| now.since(*at) < STALE_AFTER);
        self.why.as_ref().filter(|why| !is_known && why.reason != Reason::NotRead)
    }
}

impl SeenPools {
    /// Looks at the files that are due; at all of them when a drive has come or gone.
    pub fn look(&mut self, host: &Host, drives_changed: bool, now: Moment) {
        let spotted = self.look_for(Listing::ZfsPools, zfs::spot(host));
        self.see_zfs(host, spotted, now);
        if !drives_changed && !now.is_due(self.files_seen, FILES_EVERY) {
            return;
        }
        self.files_seen = Some(now);
        let found = self.look_for(Listing::BtrfsFileSystems, btrfs::file_systems(host));
        see(&mut self.btrfs, found, |of| &of.uuid, same_but_for_what_is_filled);
        // They are in the same folder as the arrays of md, which say so when it cannot be listed.
        let found = dm::volumes(host).ok();
        see(&mut self.lvm, found, |of| &of.name, PartialEq::eq);
    }

    fn look_for<S>(&mut self, what: Listing, found: Result<Vec<S>, Missing>) -> Option<Vec<S>> {
        self.blind.remove(&what);
        found.map_err(|why| self.blind.insert(what, why)).ok()
    }

    fn see_zfs(&mut self, host: &Host, spotted: Option<Vec<zfs::ListedZfsPool>>, now: Moment) {
        let Some(spotted) = spotted else { return };
        let is_same =
            |one: &zfs::ListedZfsPool, other: &zfs::ListedZfsPool| (&one.name, one.guid) == (&other.name, other.guid);
        self.zfs.retain(|_, known| spotted.iter().any(|spotted| is_same(spotted, &known.seen.files)));
        for spotted in spotted {
            let state = spotted.state.clone();
            let known = self.zfs.entry(spotted.name.clone()).or_insert_with(|| SeenZfs {
                state: Steady::new(state.clone()),
                gone: Vec::new(),
                seen: SeenPool::new(spotted.clone()),
            });
            // `zpool` has its own word for the state, so a question too many is cheaper than one too late.
            known.seen.changed |= known.seen.files.state != state;
            known.seen.files = spotted;
            let suspended = state == Ok(ZfsPoolState::Suspended);
            known.state.see(state, suspended, now);
            let gone = known.seen.told().map(|told| told.gone(host)).unwrap_or_default();
            known.seen.changed |= gone.iter().any(|block| !known.gone.contains(block));
            known.gone = gone;
        }
    }

    /// Whether whoever asks for the room of this ZFS pool would wait for good.
    pub fn is_suspended(&self, zfs_pool: &str) -> bool {
        self.zfs.get(zfs_pool).is_some_and(|known| *known.state.value() == Ok(ZfsPoolState::Suspended))
    }

    /// True for a pool that is still there.
    pub fn has(&self, which: &Which) -> bool {
        match which {
            Which::Zfs(name) => self.zfs.contains_key(name),
            Which::Btrfs(uuid) => self.btrfs.contains_key(uuid),
            Which::Lvm(name) => self.lvm.contains_key(name),
        }
    }

    /// The questions that are due. A btrfs file system is asked at its mount; at none of `mounts` it cannot be asked.
    pub fn questions(&self, host: &Host, clock: &Clock, mounts: &[&Mount], now: Moment) -> Vec<(Which, PoolQuestion)> {
        let mut due: Vec<(Which, PoolQuestion)> = Vec::new();
        for (name, known) in self.zfs.iter().filter(|(name, known)| known.seen.is_due(now) && !self.is_suspended(name))
        {
            let (host, clock, spotted) = (host.clone(), clock.clone(), known.seen.files.clone());
            let question = move || {
                let told = spotted.ask(&host, &clock);
                PoolAnswer::Zfs(told.map(|answer| Box::new(pools::zfs::ZpoolReport::new(&host, answer))))
            };
            due.push((Which::Zfs(name.clone()), Box::new(question)));
        }
        for (uuid, known) in self.btrfs.iter().filter(|(_, known)| known.is_due(now)) {
            let Some(mount) = mounts.iter().find(|mount| is_mount_of(host, mount, &known.files)) else { continue };
            let (host, point) = (host.clone(), mount.point.clone());
            due.push((Which::Btrfs(uuid.clone()), Box::new(move || PoolAnswer::Btrfs(btrfs::ask(&host, &point)))));
        }
        for (name, _) in self.lvm.iter().filter(|(_, known)| known.is_due(now)) {
            let (host, volume) = (host.clone(), name.clone());
            due.push((Which::Lvm(name.clone()), Box::new(move || PoolAnswer::Lvm(dm::ask(&host, &volume)))));
        }
        due
    }

    /// The question to this pool is under way.
    pub fn asked(&mut self, which: &Which, now: Moment) {
        match which {
            Which::Zfs(name) => self.zfs.get_mut(name).map(|known| known.seen.asked(now)),
            Which::Btrfs(uuid) => self.btrfs.get_mut(uuid).map(|known| known.asked(now)),
            Which::Lvm(name) => self.lvm.get_mut(name).map(|known| known.asked(now)),
        };
    }

    /// Takes in an answer of a pool that is still there.
    pub fn take_in(&mut self, which: &Which, told: PoolAnswer, now: Moment) {
        match (which, told) {
            (Which::Zfs(name), PoolAnswer::Zfs(told)) => {
                self.zfs.entry(name.clone()).and_modify(|known| known.seen.take_in(told, now));
            }
            (Which::Btrfs(uuid), PoolAnswer::Btrfs(told)) => {
                let told = told.and_then(|told| own(told, uuid));
                self.btrfs.entry(uuid.clone()).and_modify(|known| known.take_in(told, now));
            }
            (Which::Lvm(name), PoolAnswer::Lvm(told)) => {
                self.lvm.entry(name.clone()).and_modify(|known| known.take_in(told, now));
            }
            // A pool is only ever asked its own kind of question.
            _ => {}
        }
    }

    /// No answer in time: the one before is kept.
    pub fn give_up(&mut self, which: &Which, why: Missing, now: Moment) {
        let told = match which {
            Which::Zfs(_) => PoolAnswer::Zfs(Err(why)),
            Which::Btrfs(_) => PoolAnswer::Btrfs(Err(why)),
            Which::Lvm(_) => PoolAnswer::Lvm(Err(why)),
        };
        self.take_in(which, told, now);
    }

    /// The pools as they stand, and what could not be looked at. `calendar` is now in seconds since 1970, if that is known.
    pub fn as_read(&mut self, host: &Host, calendar: Option<u64>, now: Moment) -> (Vec<Pool>, Vec<Blind>) {
        let not_told = || Missing::from(WhyMissing::Pending);
        let mut found = Vec::new();
        let mut blind: Vec<Blind> =
            self.blind.iter().map(|(what, why)| Blind { what: what.clone(), why: why.clone() }).collect();
        let mut silent = |name: &str, why: Option<&Missing>| {
            blind.extend(why.map(|why| Blind { what: Listing::Members { pool: name.to_owned() }, why: why.clone() }));
        };
        for known in self.zfs.values_mut() {
            let seen = &mut known.seen;
            let pool = pools::zfs::pool(host, &seen.files, known.state.value(), seen.told().map(|told| &**told), now);
            seen.at_work = pool.activity != Activity::IDLE;
            silent(&pool.name, seen.silent(now));
            found.push(pool);
        }
        for seen in self.btrfs.values_mut() {
            let Some(pool) = pools::btrfs::pool(&seen.files, seen.told(), now) else { continue };
            seen.at_work = pool.activity != Activity::IDLE;
            silent(&pool.name, seen.silent(now));
            found.push(pool);
        }
        for seen in self.lvm.values_mut() {
            let told = seen.told().ok_or_else(|| seen.why.clone().unwrap_or_else(not_told));
            let pool = pools::lvm::pool(&seen.files, told, now);
            seen.at_work = pool.activity != Activity::IDLE;
            // One that never told has its reason as a whole.
            silent(&pool.name, seen.silent(now).filter(|_| seen.told.is_some()));
            found.push(pool);
        }
        for check in found.iter_mut().filter_map(|pool| pool.last_check.as_mut()) {
            *check = LastCheck::by(check.ended, calendar);
        }
        (found, blind)
    }
}

/// Pools that are no more go, new ones come, the rest is as its files now say.
fn see<S, T>(
    known: &mut BTreeMap<String, SeenPool<S, T>>,
    found: Option<Vec<S>>,
    key: impl Fn(&S) -> &String,
    same: impl Fn(&S, &S) -> bool,
) {
    let Some(found) = found else { return };
    known.retain(|name, _| found.iter().any(|files| key(files) == name));
    for files in found {
        match known.get_mut(key(&files)) {
            Some(seen) => {
                seen.changed |= !same(&seen.files, &files);
                seen.files = files;
            }
            None => {
                known.insert(key(&files).clone(), SeenPool::new(files));
            }
        }
    }
}

/// What its chunks hold changes with every file that is written.
fn same_but_for_what_is_filled(one: &FileSystem, other: &FileSystem) -> bool {
    (&one.operation, &one.devices, &one.blocks) == (&other.operation, &other.devices, &other.blocks)
}

/// A mount says only by which of its devices a file system was mounted.
fn is_mount_of(host: &Host, mount: &Mount, of: &FileSystem) -> bool {
    let device = host.resolve(&host.path(&mount.source)).unwrap_or_else(|_| mount.source.as_str().into());
    let name = parts(&device).next_back();
    mount.file_system == "btrfs" && of.blocks.iter().any(|block| Some(block.name.as_str()) == name)
}

/// The file system that was meant: its mount may have become another's since it was chosen.
fn own(told: MountedFileSystem, uuid: &str) -> Result<MountedFileSystem, Missing> {
    match told.uuid == uuid {
        true => Ok(told),
        false => {
            let found = format!("expected the file system {uuid}, found {}", told.uuid);
            Err(Missing::found(Reason::Unreadable, found))
        }
    }
}

#[cfg(test)]
mod tests;
