//! What a fault needs of the box: what is missing is pretended as well, and said.

use super::box_parts::{self, CONTROLLER, Calm, TEST, read};
use crate::judge::place_of;
use crate::judge::redundancy::standing;
use crate::judge::request::chosen;
use crate::reading::port::controller_of;
use crate::reading::{
    Bus, Drive, DriveKey, DriveKind, Files, Health, MemberErrorKind, MemberErrors, Pool, Power, Processor,
    RecoveryLimit, Snapshot, Temperature,
};
use crate::tell::test_words;
use crate::tell::tongue::Tongue;
use crate::tell::wording::pointed_at;
use crate::units::{Celsius, MegabitsPerSecond, Rpm};
use std::time::Duration;
use traylight_config::Settings;

/// What a fault needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Drives that tell of their health.
    Health,
    /// Drives that tell their temperatures.
    Temperatures,
    /// Two drives more of the same kind.
    Peers,
    /// The drive is a disk without a limit for its tries.
    Disk,
    /// Links with a speed, and counts of time-outs.
    Attachment,
    /// Both drives on one controller, which works.
    Controller,
    /// The drive behind a USB bridge of its own.
    Bridge,
    /// Both drives, each behind a USB bridge of its own, of one host.
    Bridges,
    /// A pool that has the drive as a member and can do without it.
    Pool,
    /// The same, and its data has a parity rather than copies.
    Parity,
    /// A volume.
    Volume,
    /// A fan that turns.
    Fan,
    /// A network port that is up.
    Link,
    /// A thermometer of the board.
    Board,
    /// A thermometer of the processor.
    Processor,
}

/// The box in calm with all that the fault needs, and what of that is pretended.
pub fn prepare(
    settings: &Settings,
    snapshot: &Snapshot,
    needs: &[Need],
    name: Option<&str>,
) -> Result<(Calm, Vec<String>), String> {
    let named = name.map(|name| chosen(settings, snapshot, name).map_err(|found| test_words::not_one(name, &found)));
    let named = named.transpose()?.map(|drive| drive.key.clone());
    let mut snapshot = Snapshot { events: Vec::new(), ..snapshot.clone() };
    let mut pretended = Vec::new();
    let pools =
        if needs.iter().any(|need| matches!(need, Need::Pool | Need::Parity)) { &snapshot.pools[..] } else { &[] };
    let (one, other) = two(settings, &snapshot, pools, named);
    let (one, other) = (one.unwrap_or_else(|| another(&mut snapshot, &mut pretended)), other);
    let other = other.unwrap_or_else(|| another(&mut snapshot, &mut pretended));
    let settings = settings.clone();
    let mut calm = Calm { settings, snapshot, one, other, pool: None, volume: None, fan: None, link: None };
    calm.rouse(&mut pretended);
    for need in needs {
        pretended.extend(calm.fulfil(*need));
    }
    Ok((calm, pretended))
}

/// The drive that is meant, else one that a pool could do without, else the first that belongs to the box; and another
/// one, of the same pool if there is one.
fn two(
    settings: &Settings,
    snapshot: &Snapshot,
    pools: &[Pool],
    named: Option<DriveKey>,
) -> (Option<DriveKey>, Option<DriveKey>) {
    let is_in = |pool: &Pool, drive: &Drive| pool.members.iter().any(|member| member.drive_device == drive.device);
    let stays = |drive: &&Drive| {
        let named = place_of(settings, drive).tray.is_some();
        let used = snapshot.pools.iter().any(|pool| is_in(pool, drive));
        named || used || (!drive.removable && !matches!(drive.bus, Bus::Usb | Bus::Mmc))
    };
    let spared = |drive: &&Drive| pools.iter().any(|pool| is_redundant(pool) && is_in(pool, drive));
    let there = || snapshot.drives.iter().filter(stays);
    let one = named.or_else(|| there().find(spared).or_else(|| there().next()).map(|drive| drive.key.clone()));
    let is_one = |drive: &&Drive| Some(&drive.key) == one.as_ref();
    let pool = snapshot.drives.iter().find(is_one).and_then(|one| snapshot.pools.iter().find(|pool| is_in(pool, one)));
    let others = || there().filter(|drive| !is_one(drive));
    let same_pool = |drive: &&Drive| pool.is_some_and(|pool| is_in(pool, drive));
    let other = others().find(same_pool).or_else(|| others().next()).map(|drive| drive.key.clone());
    (one, other)
}

fn is_redundant(pool: &Pool) -> bool {
    standing(pool).is_redundant
}

fn another(snapshot: &mut Snapshot, pretended: &mut Vec<String>) -> DriveKey {
    let kind = snapshot.drives.first().map_or(DriveKind::Hdd, |drive| drive.kind);
    let drive = box_parts::drive(snapshot.drives.len() + 1, kind);
    let key = drive.key.clone();
    pretended.push(format!("a drive {}", key.0));
    snapshot.drives.push(drive);
    key
}

impl Calm {
    /// All drives are awake and have some work.
    fn rouse(&mut self, pretended: &mut Vec<String>) {
        if self.snapshot.drives.iter().any(|drive| drive.power.get() == Some(&Power::Asleep)) {
            pretended.push("that all drives are awake".to_owned());
        }
        for drive in &mut self.snapshot.drives {
            drive.power.value = Ok(Power::Active);
            drive.traffic.value = Ok(box_parts::traffic());
        }
    }

    fn fulfil(&mut self, need: Need) -> Option<String> {
        match need {
            Need::Health => self.health(),
            Need::Temperatures => self.temperatures(),
            Need::Peers => self.peers(),
            Need::Disk => self.disk(),
            Need::Attachment => self.attachment(),
            Need::Controller => self.controller(),
            Need::Bridge => self.bridge(1),
            Need::Bridges => self.bridge(2),
            Need::Pool => self.pool(),
            Need::Parity => self.parity(),
            Need::Volume => self.volume(),
            Need::Fan => self.fan(),
            Need::Link => self.link(),
            Need::Board => self.board(),
            Need::Processor => self.processor(),
        }
    }

    fn drive(&self, key: &DriveKey) -> Option<&Drive> {
        self.snapshot.drives.iter().find(|drive| drive.key == *key)
    }

    fn health(&mut self) -> Option<String> {
        const COUNTERS: [&str; 5] =
            ["pending_sectors", "reallocated_sectors", "interface_crc_errors", "power_cycles", "wear_used_percent"];
        let mut all_told = true;
        for drive in &mut self.snapshot.drives {
            all_told &= drive.health.value.is_ok();
            let mut health = drive.health.get().cloned().unwrap_or_else(box_parts::health);
            for name in COUNTERS {
                if !health.counters.iter().any(|counter| counter.name == name) {
                    health.counters.push(box_parts::counter(name, 0));
                }
            }
            drive.health.value = Ok(health);
        }
        (!all_told).then(|| "that all drives tell of their health".to_owned())
    }

    fn temperatures(&mut self) -> Option<String> {
        let mut silent = self.snapshot.drives.iter_mut().filter(|drive| drive.temperature.get().is_none()).peekable();
        let note = silent.peek().map(|_| "that all drives tell their temperatures".to_owned());
        silent.for_each(|drive| drive.temperature.value = Ok(Celsius(34.0)));
        note
    }

    fn peers(&mut self) -> Option<String> {
        let kind = self.drive(&self.one).map_or(DriveKind::Hdd, |drive| drive.kind);
        let alike = self.snapshot.drives.iter().filter(|drive| drive.kind == kind).count();
        let wanted = 3_usize.saturating_sub(alike);
        for _ in 0..wanted {
            let drive = box_parts::drive(self.snapshot.drives.len() + 1, kind);
            self.snapshot.drives.push(drive);
        }
        (wanted > 0).then(|| format!("drives of its kind, {wanted} more"))
    }

    fn disk(&mut self) -> Option<String> {
        let one = self.one.clone();
        let drive = self.snapshot.drives.iter_mut().find(|drive| drive.key == one)?;
        let was_disk = drive.kind == DriveKind::Hdd;
        drive.kind = DriveKind::Hdd;
        drive.attachment.patience.value = Ok(Duration::from_secs(30));
        let health = drive.health.get().cloned().unwrap_or_else(box_parts::health);
        drive.health.value = Ok(Health { recovery_limit: Ok(RecoveryLimit::After(Duration::from_secs(7))), ..health });
        (!was_disk).then(|| "that the drive is a disk".to_owned())
    }

    fn controller(&mut self) -> Option<String> {
        let of = |drive: Option<&Drive>| {
            let port = drive.and_then(|drive| drive.port.as_deref()).filter(|port| !port.contains("usb-"));
            port.and_then(controller_of).map(str::to_owned)
        };
        let (one, other) = (of(self.drive(&self.one)), of(self.drive(&self.other)));
        let apart = one.is_none() || one != other;
        if apart {
            self.plug(["ata-1", "ata-2"]);
        }
        self.controllers();
        apart.then(|| format!("that {} are on one controller", self.both()))
    }

    fn bridge(&mut self, how_many: usize) -> Option<String> {
        let places = if how_many == 1 { ["usb-1:0", "ata-2"] } else { ["usb-1:0", "usb-2:0"] };
        self.plug(places);
        self.controllers();
        let one = self.drive(&self.one).map(|drive| pointed_at(&place_of(&self.settings, drive), Tongue::English));
        Some(match how_many {
            1 => format!("that {} is behind a USB adapter of its own", one.unwrap_or_default()),
            _ => format!("that {} are behind USB adapters of their own", self.both()),
        })
    }

    fn plug(&mut self, places: [&str; 2]) {
        for (key, place) in [self.one.clone(), self.other.clone()].iter().zip(places) {
            if let Some(drive) = self.snapshot.drives.iter_mut().find(|drive| drive.key == *key) {
                drive.port = Some(format!("{CONTROLLER}/{place}"));
            }
        }
    }

    /// Every drive's controller is there and works.
    fn controllers(&mut self) {
        for drive in &self.snapshot.drives {
            let Some(key) = drive.port.as_deref().and_then(controller_of) else { continue };
            if !self.snapshot.controllers.iter().any(|known| known.key == key) {
                self.snapshot.controllers.push(box_parts::controller(key));
            }
        }
    }

    fn both(&self) -> String {
        let names = [&self.one, &self.other].map(|key| {
            let place = self.drive(key).map(|drive| place_of(&self.settings, drive));
            place.as_ref().map(|place| pointed_at(place, Tongue::English)).unwrap_or_default()
        });
        names.join(" and ")
    }

    fn pool(&mut self) -> Option<String> {
        let device = self.drive(&self.one).map(|drive| drive.device.clone()).unwrap_or_default();
        let other = self.drive(&self.other).map(|drive| drive.device.clone()).unwrap_or_default();
        let fits = |pool: &&Pool| is_redundant(pool) && pool.members.iter().any(|member| member.drive_device == device);
        let found = self.snapshot.pools.iter().find(fits).map(|pool| pool.key.clone());
        let note = found.is_none().then(|| format!("a pool {TEST}-pool of {}", self.both()));
        if found.is_none() {
            self.snapshot.pools.push(box_parts::mirror([&device, &other]));
        }
        self.pool = found.or_else(|| self.snapshot.pools.last().map(|pool| pool.key.clone()));
        for pool in self.snapshot.pools.iter_mut().filter(|pool| Some(&pool.key) == self.pool.as_ref()) {
            for member in pool.members.iter_mut().filter(|member| member.errors.is_empty()) {
                member.errors.push(MemberErrors { kind: MemberErrorKind::Read, count: 0 });
            }
        }
        note
    }

    fn parity(&mut self) -> Option<String> {
        let note = self.pool();
        let meant = self.snapshot.pools.iter_mut().find(|pool| Some(&pool.key) == self.pool.as_ref());
        let Some(pool) = meant.filter(|pool| pool.level.starts_with("raid1")) else { return note };
        pool.level = "raid5".to_owned();
        Some(format!("{}that {} has a parity", note.map(|note| note + ", and ").unwrap_or_default(), pool.name))
    }

    fn volume(&mut self) -> Option<String> {
        let left_out = &self.settings.watch.leave_out_volumes;
        let fits = |mount: &String| !left_out.contains(mount);
        let told = self.snapshot.volumes.iter().filter(|volume| volume.room.get().is_some());
        let found = told.map(|volume| volume.mount.clone()).filter(fits).max();
        let note = found.is_none().then(|| format!("a volume /{TEST}"));
        if found.is_none() {
            let device = self.drive(&self.one).map(|drive| format!("/dev/{}", drive.device));
            self.snapshot.volumes.push(box_parts::volume(&device.unwrap_or_default()));
        }
        self.volume = found.or_else(|| self.snapshot.volumes.last().map(|volume| volume.mount.clone()));
        for volume in self.snapshot.volumes.iter_mut().filter(|volume| Some(&volume.mount) == self.volume.as_ref()) {
            volume.errors = volume.errors.or(Some(0));
            if let Ok(room) = &mut volume.room.value {
                room.files = room.files.or(Some(Files { total: 30_000_000, free: 29_000_000 }));
            }
        }
        note
    }

    fn fan(&mut self) -> Option<String> {
        let turns = |fan: &&crate::reading::Fan| fan.speed.get().is_some_and(|speed| speed.0 > 0) && !fan.fault;
        let found = self.snapshot.fans.iter().find(turns).map(|fan| fan.key.clone());
        let note = found.is_none().then(|| "a fan".to_owned());
        if found.is_none() {
            self.snapshot.fans.push(box_parts::fan());
        }
        self.fan = found.or_else(|| self.snapshot.fans.last().map(|fan| fan.key.clone()));
        for fan in self.snapshot.fans.iter_mut().filter(|fan| Some(&fan.key) == self.fan.as_ref()) {
            fan.speed.value = Ok(Rpm(1200));
            fan.duty = None;
        }
        note
    }

    fn link(&mut self) -> Option<String> {
        let watched = self.settings.watch.links.clone();
        let is_watched = |name: &String| watched.is_empty() || watched.contains(name);
        let up = self.snapshot.links.iter().filter(|link| link.up.get() == Some(&true));
        let found = up.map(|link| link.name.clone()).find(is_watched);
        let name = found.clone().or_else(|| watched.first().cloned()).unwrap_or_else(|| format!("{TEST}-link"));
        if found.is_none() {
            self.snapshot.links.retain(|link| link.name != name);
            self.snapshot.links.push(box_parts::link(&name));
        }
        self.link = Some(name.clone());
        found.is_none().then(|| format!("a network port {name} that is up"))
    }

    fn board(&mut self) -> Option<String> {
        let told = self.snapshot.temperatures.iter().any(|temperature| temperature.value.get().is_some());
        if !told {
            self.snapshot.temperatures.push(box_parts::thermometer());
        }
        (!told).then(|| "a thermometer of the board".to_owned())
    }

    fn processor(&mut self) -> Option<String> {
        let told = self.snapshot.temperatures.iter().any(|sensor| sensor.processor.is_some());
        if !told {
            let sensor = Temperature { processor: Some(Processor::SystemOnChip), ..box_parts::thermometer() };
            self.snapshot.temperatures.push(sensor);
        }
        (!told).then(|| "a thermometer of the processor".to_owned())
    }

    fn attachment(&mut self) -> Option<String> {
        let mut untold = false;
        for attachment in self.snapshot.drives.iter_mut().map(|drive| &mut drive.attachment) {
            if attachment.speed.get().is_none() || attachment.timeouts.get().is_none() {
                untold = true;
                (attachment.speed, attachment.timeouts) = (read(MegabitsPerSecond(6000)), read(0));
            }
        }
        untold.then(|| "that the kernel tells of links and time-outs".to_owned())
    }
}
