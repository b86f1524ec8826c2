//! Which drives the box has or had, and where their owner would point. Remembered by key, never by the kernel's name.

use crate::redundancy::standing;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::{ExpectedDrive, Settings};
use traylight_data::clock::Moment;
use traylight_data::reading::{Bus, Drive, DriveKey, Listing, Member, MemberState, Pool, Snapshot};
use traylight_data::verdict::Place;

/// A drive that nobody named and no pool uses is expected to stay once it has been there this long.
const SETTLED_AFTER: Duration = Duration::from_secs(60);

/// The drives that are or were there.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct DriveMemory {
    drives: BTreeMap<DriveKey, RememberedDrive>,
}

/// A drive that was seen, or that the configuration names.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RememberedDrive {
    /// Where it sits or sat.
    pub place: Place,
    /// The kernel's name it had last; only good for finding it among the members of a pool.
    pub device: String,
    /// The keys of the pools that use it, or did when it was lost; a drive with partitions can be in several.
    pub pools: Vec<String>,
    /// The keys of the pools in which it waits, or waited last, to be needed.
    #[serde(default)]
    spare_in: Vec<String>,
    /// False while it is not there.
    pub present: bool,
    /// It was there since the machine started or woke.
    #[serde(default)]
    pub appeared: bool,
    /// The owner, or a whole pool, does without it.
    pub accepted: bool,
    /// Part of the box rather than something plugged in for an hour.
    expected: bool,
    first_seen: Moment,
    /// When it was lost, oldest first.
    pub losses: Vec<Moment>,
}

/// More losses than this tell nothing more.
const LOSSES: usize = 16;

impl RememberedDrive {
    /// One that has not been seen yet and that nobody expects.
    fn new(place: Place, now: Moment) -> Self {
        Self {
            place,
            device: String::new(),
            pools: Vec::new(),
            spare_in: Vec::new(),
            present: false,
            appeared: false,
            accepted: false,
            expected: false,
            first_seen: now,
            losses: Vec::new(),
        }
    }

    /// True when the pool uses it, or did when it was lost.
    pub fn is_in(&self, pool: &str) -> bool {
        self.pools.iter().any(|key| key == pool)
    }

    /// True when it waits in the pool to be needed, or did until it could not any more.
    pub fn is_spare_in(&self, pool: &str) -> bool {
        self.spare_in.iter().any(|key| key == pool)
    }
}

impl DriveMemory {
    /// What is known of this drive.
    pub fn get(&self, key: &DriveKey) -> Option<&RememberedDrive> {
        self.drives.get(key)
    }

    /// As when the machine has started again: no drive has been seen yet.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        for drive in self.drives.values_mut() {
            (drive.present, drive.appeared) = (false, false);
            drive.first_seen = by(drive.first_seen);
            drive.losses.iter_mut().for_each(|loss| *loss = by(*loss));
        }
    }

    /// All known drives.
    pub fn iter(&self) -> impl Iterator<Item = (&DriveKey, &RememberedDrive)> {
        self.drives.iter()
    }

    /// The drives that should be there: named by the configuration, used by a pool, or settled in.
    pub fn expected(&self) -> impl Iterator<Item = (&DriveKey, &RememberedDrive)> {
        self.drives.iter().filter(|(_, drive)| drive.expected)
    }

    /// True for a drive that should be there.
    pub fn is_expected(&self, key: &DriveKey) -> bool {
        self.drives.get(key).is_some_and(|drive| drive.expected)
    }

    /// The drive that is behind a member of a pool. A replacement often has the name of the drive that it replaces, so
    /// one that is gone is not meant.
    pub fn behind(&self, pool: &str, device: &str) -> Option<&RememberedDrive> {
        self.get(self.key_behind(pool, device)?)
    }

    /// The key of that drive.
    pub fn key_behind(&self, pool: &str, device: &str) -> Option<&DriveKey> {
        let is_meant = |drive: &RememberedDrive| drive.present && drive.device == device && drive.is_in(pool);
        self.drives.iter().find(|(_, drive)| is_meant(drive)).map(|(key, _)| key)
    }

    /// Labels of the drives that must stay in: those whose loss would be one too many, and those that are being filled. Empty
    /// when that cannot be told for each; then all stay.
    pub fn leave_in(&self, pool: &Pool) -> Vec<String> {
        let stands = standing(pool);
        if stands.vital.is_empty() || !stands.is_redundant {
            return Vec::new();
        }
        let is_needed =
            |member: &&Member| stands.needs(member) || (member.state == MemberState::Rebuilding && !member.device_gone);
        let needed = pool.members.iter().filter(is_needed);
        let drives = needed.map(|member| self.behind(&pool.key, &member.drive_device));
        // Where one of them cannot be named, a list of the others would give it away.
        let Some(drives) = drives.collect::<Option<Vec<_>>>() else { return Vec::new() };
        let mut labels: Vec<String> = drives.into_iter().map(|drive| drive.place.label()).collect();
        labels.sort();
        labels.dedup();
        labels
    }

    /// Takes in who is there now. Without a list of drives nobody is taken for absent. When the machine has just woken (`woke`)
    /// all have to appear again; while what is listed is `untried` none has.
    pub fn learn(&mut self, settings: &Settings, snapshot: &Snapshot, woke: bool, untried: bool) {
        if is_blind(snapshot) {
            return;
        }
        let were_present: Vec<DriveKey> =
            self.drives.iter().filter(|(_, drive)| drive.present).map(|(key, _)| key.clone()).collect();
        for drive in self.drives.values_mut() {
            drive.present = false;
            drive.appeared &= !woke;
        }
        self.expect_named(settings, snapshot.taken);
        for drive in &snapshot.drives {
            self.meet(settings, snapshot, drive);
        }
        if !untried {
            self.drives.values_mut().for_each(|drive| drive.appeared |= drive.present);
        }
        for key in were_present {
            // What goes for a moment while the machine wakes does not come and go.
            if let Some(drive) = self.drives.get_mut(&key).filter(|drive| !drive.present && drive.appeared) {
                drive.losses.push(snapshot.taken);
                let too_many = drive.losses.len().saturating_sub(LOSSES);
                drive.losses.drain(..too_many);
            }
        }
        self.place_absent(settings);
        let named = |key: &DriveKey| is_named(settings, key);
        let is_taken =
            |port: &Option<String>| port.is_some() && snapshot.drives.iter().any(|other| other.port == *port);
        for (key, drive) in self.drives.iter_mut().filter(|(_, drive)| !drive.present && drive.pools.is_empty()) {
            // Another is plugged in where it was, and nothing names it or counts on it.
            drive.accepted |= !named(key) && is_taken(&drive.place.port);
        }
        let whole: BTreeSet<&str> =
            snapshot.pools.iter().filter(|pool| is_whole(pool)).map(|pool| pool.key.as_str()).collect();
        let there: BTreeSet<&str> = snapshot.drives.iter().map(|drive| drive.device.as_str()).collect();
        for drive in self.drives.values_mut().filter(|drive| !drive.present) {
            // Another drive took its place and the pool has everything again; not so if it still counts on this one.
            let still_used =
                !there.contains(drive.device.as_str()) && pools_of(snapshot, &drive.device).next().is_some();
            let done_without = !drive.pools.is_empty() && drive.pools.iter().all(|pool| whole.contains(pool.as_str()));
            drive.accepted |= !still_used && done_without;
        }
    }

    /// Where absent drives belong. A tray that means a port and has another drive in it by now is not pointed at for the drive
    /// that was there before.
    fn place_absent(&mut self, settings: &Settings) {
        let taken: BTreeSet<String> =
            self.drives.values().filter(|drive| drive.present).filter_map(|drive| drive.place.tray.clone()).collect();
        let trays = settings.shelves.iter().flat_map(|shelf| &shelf.trays);
        for (key, drive) in self.drives.iter_mut().filter(|(_, drive)| !drive.present) {
            let meant = trays.clone().find(|tray| means(&tray.holds, key, drive));
            drive.place.tray = meant.map(|tray| tray.label.clone()).filter(|label| !taken.contains(label));
        }
    }

    fn expect_named(&mut self, settings: &Settings, now: Moment) {
        for tray in settings.shelves.iter().flat_map(|shelf| &shelf.trays) {
            if let Some(ExpectedDrive::Serial(serial)) = &tray.holds {
                let place = Place { tray: Some(tray.label.clone()), serial: Some(serial.clone()), port: None };
                let known =
                    self.drives.entry(DriveKey(serial.clone())).or_insert_with(|| RememberedDrive::new(place, now));
                known.expected = true;
            }
        }
    }

    fn meet(&mut self, settings: &Settings, snapshot: &Snapshot, drive: &Drive) {
        let place = place_of(settings, drive);
        let uses = pools_of(snapshot, &drive.device).map(|pool| pool.key.clone()).collect::<Vec<_>>();
        let new = || RememberedDrive::new(place.clone(), snapshot.taken);
        let known = self.drives.entry(drive.key.clone()).or_insert_with(new);
        // Cards and USB sticks come and go; only a name or a pool makes them part of the box.
        let stays = !drive.removable && !matches!(drive.bus, Bus::Usb | Bus::Mmc);
        known.expected = place.tray.is_some()
            || !uses.is_empty()
            || (stays && snapshot.taken.since(known.first_seen) >= SETTLED_AFTER);
        known.place = place;
        known.device.clone_from(&drive.device);
        // A drive that is back and not yet used is still what its pool lacks, whatever other pools use of it; unless its
        // owner has put it to another use since.
        let lacks_it = |key: &String| snapshot.pools.iter().any(|pool| pool.key == *key && !is_whole(pool));
        let is_as_before = uses.iter().all(|pool| known.pools.contains(pool));
        known.pools.retain(|pool| uses.contains(pool) || (is_as_before && lacks_it(pool)));
        let newly = uses.into_iter().filter(|pool| !known.pools.contains(pool)).collect::<Vec<_>>();
        known.pools.extend(newly);
        for pool in &snapshot.pools {
            match pool.members.iter().find(|member| member.drive_device == drive.device).map(|member| member.state) {
                Some(MemberState::Spare) if !known.is_spare_in(&pool.key) => known.spare_in.push(pool.key.clone()),
                Some(MemberState::Active | MemberState::Rebuilding) => known.spare_in.retain(|key| *key != pool.key),
                _ => {}
            }
        }
        known.present = true;
        known.accepted = false;
    }

    /// The owner has taken absent drives out of the configuration.
    pub fn accept_unnamed(&mut self, before: &Settings, after: &Settings) {
        for (key, drive) in self.drives.iter_mut().filter(|(_, drive)| !drive.present) {
            drive.accepted |= is_meant(before, key, drive) && !is_meant(after, key, drive);
        }
    }

    /// The owner does without a drive that is absent; true when there is one.
    pub fn accept(&mut self, key: &DriveKey) -> bool {
        let drive = self.drives.get_mut(key).filter(|drive| !drive.present);
        drive.map(|drive| drive.accepted = true).is_some()
    }

    /// True for a drive that is absent for good: nobody expects it, or nobody any more. One that had no time to appear yet
    /// (`may_appear`), or was lost a moment ago, may come back.
    pub fn is_no_part(&self, settings: &Settings, key: &DriveKey, now: Moment, may_appear: bool) -> bool {
        let Some(drive) = self.drives.get(key) else { return true };
        let has_time = match drive.losses.last().filter(|_| drive.appeared) {
            Some(lost) => now.since(*lost) < settings.limits.drive.gone_hold,
            None => may_appear,
        };
        !drive.present && (drive.accepted || (!drive.expected && !has_time))
    }

    /// Forgets absent drives that nobody expects, once nothing is `told` of them any more.
    pub fn forget_accepted(&mut self, told: &BTreeSet<&DriveKey>) {
        self.drives.retain(|key, drive| {
            let told = told.contains(key);
            // One that the configuration names would only be expected anew.
            let stays = drive.expected && (!drive.accepted || drive.place.tray.is_some());
            drive.present || told || stays
        });
    }
}

/// True when the list of drives itself could not be read.
pub fn is_blind(snapshot: &Snapshot) -> bool {
    snapshot.is_blind_to(&Listing::Drives)
}

/// True when a tray of the configuration means this drive, by its serial or by where it was.
fn is_meant(settings: &Settings, key: &DriveKey, drive: &RememberedDrive) -> bool {
    settings.shelves.iter().flat_map(|shelf| &shelf.trays).any(|tray| means(&tray.holds, key, drive))
}

/// The same of one tray.
fn means(wanted: &Option<ExpectedDrive>, key: &DriveKey, drive: &RememberedDrive) -> bool {
    match wanted {
        Some(ExpectedDrive::Serial(serial)) => *serial == key.0 || Some(serial) == drive.place.serial.as_ref(),
        Some(ExpectedDrive::Port(port)) => Some(port) == drive.place.port.as_ref(),
        None => false,
    }
}

/// True when a tray of the configuration names this drive by its serial.
pub fn is_named(settings: &Settings, key: &DriveKey) -> bool {
    let mut trays = settings.shelves.iter().flat_map(|shelf| &shelf.trays);
    trays.any(|tray| matches!(&tray.holds, Some(ExpectedDrive::Serial(serial)) if *serial == key.0))
}

/// Where a drive that is there sits.
pub fn place_of(settings: &Settings, drive: &Drive) -> Place {
    let trays = settings.shelves.iter().flat_map(|shelf| &shelf.trays);
    let tray = trays.clone().find(|tray| holds(&tray.holds, drive)).map(|tray| tray.label.clone());
    Place { tray, serial: drive.serial.clone(), port: drive.port.clone() }
}

/// True when a tray of the configuration means this drive.
pub fn holds(wanted: &Option<ExpectedDrive>, drive: &Drive) -> bool {
    match wanted {
        Some(ExpectedDrive::Serial(serial)) => drive.serial.as_ref() == Some(serial),
        Some(ExpectedDrive::Port(port)) => drive.port.as_ref() == Some(port),
        None => false,
    }
}

/// The pools that use a drive, by the kernel's name it has now. A spare is not used yet: no pool needs it, but no
/// whole pool does without it either.
pub fn pools_of<'a>(snapshot: &'a Snapshot, device: &'a str) -> impl Iterator<Item = &'a Pool> {
    let has = move |member: &Member| member.drive_device == device && !member.device_gone;
    let uses = move |pool: &&Pool| pool.members.iter().any(|member| has(member) && member.state != MemberState::Spare);
    snapshot.pools.iter().filter(uses)
}

/// True when a pool misses nothing and does nothing.
pub fn is_whole(pool: &Pool) -> bool {
    pool.missing == Some(0)
        && pool.wanted > 0
        && pool.working() >= pool.wanted
        && pool.activity.kind == traylight_data::reading::ActivityKind::Idle
        && !pool.is_read_in_part()
}
