//! What a fault needs of the box: what is missing is pretended as well, and said.

use crate::judge::place_of;
use crate::judge::play::box_parts::{self, CONTROLLER, TEST, read};
use crate::judge::play::{Calm, Need};
use crate::judge::redundancy::standing;
use crate::judge::request::chosen;
use crate::reading::port::controller_of;
use crate::reading::{
    Bus, Drive, DriveKey, DriveKind, Files, Health, MemberErrorKind, MemberErrors, Pool, Power, Processor,
    RecoveryLimit, Snapshot, Temperature,
};
use crate::tell::words::drives::pointed_at;
use crate::tell::words::phrases::{Phrases, Places};
use crate::tell::words::self_test;
use crate::units::{Celsius, MegabitsPerSecond, Rpm};
use std::time::Duration;
use traylight_config::{ExpectedDrive, Settings, Tray};

/// The box in calm with all that the fault needs, and what of that is pretended.
pub fn prepare(
    settings: &Settings,
    snapshot: &Snapshot,
    needs: &[Need],
    name: Option<&str>,
) -> Result<(Calm, Vec<String>), String> {
    let named = name.map(|name| {
        chosen(settings, snapshot, name).map_err(|found| self_test::not_one(name, &found, settings.language))
    });
    let named = named.transpose()?.map(|drive| drive.key.clone());
    let mut snapshot = Snapshot { events: Vec::new(), ..snapshot.clone() };
    let mut pretended = Vec::new();
    let pools =
        if needs.iter().any(|need| matches!(need, Need::Pool | Need::Parity)) { &snapshot.pools[..] } else { &[] };
    let (one, other) = two(settings, &snapshot, pools, named);
    let mut another = || {
        let key = another(&mut snapshot);
        pretended.push(settings.language.say("simulated.drive", &[("serial", &key.0)]));
        key
    };
    let one = one.unwrap_or_else(&mut another);
    let other = other.unwrap_or_else(another);
    let settings = settings.clone();
    let mut calm = Calm { settings, snapshot, one, other, pool: None, volume: None, fan: None, link: None };
    pretended.extend(rouse(&mut calm));
    for need in needs {
        pretended.extend(fulfil(&mut calm, *need));
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

fn another(snapshot: &mut Snapshot) -> DriveKey {
    let kind = snapshot.drives.first().map_or(DriveKind::Hdd, |drive| drive.kind);
    let drive = box_parts::drive(snapshot.drives.len() + 1, kind);
    let key = drive.key.clone();
    snapshot.drives.push(drive);
    key
}

/// All drives are awake and have some work.
fn rouse(calm: &mut Calm) -> Option<String> {
    let asleep = calm.snapshot.drives.iter().any(|drive| drive.power.get() == Some(&Power::Asleep));
    for drive in &mut calm.snapshot.drives {
        drive.power.value = Ok(Power::Active);
        drive.traffic.value = Ok(box_parts::traffic());
    }
    asleep.then(|| plain(calm, "simulated.awake"))
}

fn plain(calm: &Calm, key: &str) -> String {
    calm.settings.language.plain(key).to_owned()
}

fn say(calm: &Calm, key: &str, places: Places) -> String {
    calm.settings.language.say(key, places)
}

fn fulfil(calm: &mut Calm, need: Need) -> Option<String> {
    match need {
        Need::Health => health(calm),
        Need::Temperatures => temperatures(calm),
        Need::Peers => peers(calm),
        Need::Disk => disk(calm),
        Need::Attachment => attachment(calm),
        Need::Controller => controller(calm),
        Need::Bridge => bridge(calm, 1),
        Need::Bridges => bridge(calm, 2),
        Need::Pool => pool(calm),
        Need::Parity => parity(calm),
        Need::Volume => volume(calm),
        Need::Fan => fan(calm),
        Need::Link => link(calm),
        Need::Board => board(calm),
        Need::Processor => processor(calm),
    }
}

fn drive<'a>(calm: &'a Calm, key: &DriveKey) -> Option<&'a Drive> {
    calm.snapshot.drives.iter().find(|drive| drive.key == *key)
}

fn health(calm: &mut Calm) -> Option<String> {
    const COUNTERS: [&str; 5] =
        ["pending_sectors", "reallocated_sectors", "interface_crc_errors", "power_cycles", "wear_used_percent"];
    let mut all_told = true;
    for drive in &mut calm.snapshot.drives {
        all_told &= drive.health.value.is_ok();
        let mut health = drive.health.get().cloned().unwrap_or_else(box_parts::health);
        for name in COUNTERS {
            if !health.counters.iter().any(|counter| counter.name == name) {
                health.counters.push(box_parts::counter(name, 0));
            }
        }
        drive.health.value = Ok(health);
    }
    (!all_told).then(|| plain(calm, "simulated.health"))
}

fn temperatures(calm: &mut Calm) -> Option<String> {
    let mut silent = calm.snapshot.drives.iter_mut().filter(|drive| drive.temperature.get().is_none()).peekable();
    let is_silent = silent.peek().is_some();
    silent.for_each(|drive| drive.temperature.value = Ok(Celsius(34.0)));
    is_silent.then(|| plain(calm, "simulated.temperatures"))
}

fn peers(calm: &mut Calm) -> Option<String> {
    let kind = drive(calm, &calm.one).map_or(DriveKind::Hdd, |drive| drive.kind);
    let alike = calm.snapshot.drives.iter().filter(|drive| drive.kind == kind).count();
    let wanted = 3_usize.saturating_sub(alike);
    for _ in 0..wanted {
        let drive = box_parts::drive(calm.snapshot.drives.len() + 1, kind);
        calm.snapshot.drives.push(drive);
    }
    (wanted > 0).then(|| calm.settings.language.count("simulated.peers", wanted as u64))
}

fn disk(calm: &mut Calm) -> Option<String> {
    let one = calm.one.clone();
    let drive = calm.snapshot.drives.iter_mut().find(|drive| drive.key == one)?;
    let was_disk = drive.kind == DriveKind::Hdd;
    drive.kind = DriveKind::Hdd;
    drive.attachment.patience.value = Ok(Duration::from_secs(30));
    let health = drive.health.get().cloned().unwrap_or_else(box_parts::health);
    drive.health.value = Ok(Health { recovery_limit: Ok(RecoveryLimit::After(Duration::from_secs(7))), ..health });
    (!was_disk).then(|| plain(calm, "simulated.disk"))
}

fn controller(calm: &mut Calm) -> Option<String> {
    let of = |drive: Option<&Drive>| {
        let port = drive.and_then(|drive| drive.port.as_deref()).filter(|port| !port.contains("usb-"));
        port.and_then(controller_of).map(str::to_owned)
    };
    let (one, other) = (of(drive(calm, &calm.one)), of(drive(calm, &calm.other)));
    let apart = one.is_none() || one != other;
    if apart {
        plug(calm, ["ata-1", "ata-2"]);
    }
    controllers(calm);
    apart.then(|| say(calm, "simulated.one-controller", &[("drives", &both(calm))]))
}

fn bridge(calm: &mut Calm, how_many: usize) -> Option<String> {
    let places = if how_many == 1 { ["usb-1:0", "ata-2"] } else { ["usb-1:0", "usb-2:0"] };
    plug(calm, places);
    controllers(calm);
    let one = drive(calm, &calm.one).map(|drive| pointed_at(&place_of(&calm.settings, drive), calm.settings.language));
    Some(match how_many {
        1 => say(calm, "simulated.adapter", &[("drive", &one.unwrap_or_default())]),
        _ => say(calm, "simulated.adapters", &[("drives", &both(calm))]),
    })
}

fn plug(calm: &mut Calm, places: [&str; 2]) {
    for (key, place) in [calm.one.clone(), calm.other.clone()].iter().zip(places) {
        if let Some(drive) = calm.snapshot.drives.iter_mut().find(|drive| drive.key == *key) {
            let port = format!("{CONTROLLER}/{place}");
            let before = drive.port.replace(port.clone());
            // A tray that is known by its port stays this drive's.
            let trays = calm.settings.shelves.iter_mut().flat_map(|shelf| &mut shelf.trays);
            for tray in trays.filter(|tray| names_port(tray, before.as_deref())) {
                tray.holds = Some(ExpectedDrive::Port(port.clone()));
            }
        }
    }
}

fn names_port(tray: &Tray, port: Option<&str>) -> bool {
    matches!(&tray.holds, Some(ExpectedDrive::Port(named)) if Some(named.as_str()) == port)
}

/// Every drive's controller is there and works.
fn controllers(calm: &mut Calm) {
    for drive in &calm.snapshot.drives {
        let Some(key) = drive.port.as_deref().and_then(controller_of) else { continue };
        if !calm.snapshot.controllers.iter().any(|known| known.key == key) {
            calm.snapshot.controllers.push(box_parts::controller(key));
        }
    }
}

fn both(calm: &Calm) -> String {
    let names = [&calm.one, &calm.other].map(|key| {
        let place = drive(calm, key).map(|drive| place_of(&calm.settings, drive));
        place.as_ref().map(|place| pointed_at(place, calm.settings.language)).unwrap_or_default()
    });
    names.join(calm.settings.language.plain("simulated.and"))
}

fn pool(calm: &mut Calm) -> Option<String> {
    let device = drive(calm, &calm.one).map(|drive| drive.device.clone()).unwrap_or_default();
    let other = drive(calm, &calm.other).map(|drive| drive.device.clone()).unwrap_or_default();
    let fits = |pool: &&Pool| is_redundant(pool) && pool.members.iter().any(|member| member.drive_device == device);
    let found = calm.snapshot.pools.iter().find(fits).map(|pool| pool.key.clone());
    let note = found
        .is_none()
        .then(|| say(calm, "simulated.pool", &[("pool", &format!("{TEST}-pool")), ("drives", &both(calm))]));
    if found.is_none() {
        calm.snapshot.pools.push(box_parts::mirror([&device, &other]));
    }
    calm.pool = found.or_else(|| calm.snapshot.pools.last().map(|pool| pool.key.clone()));
    for pool in calm.snapshot.pools.iter_mut().filter(|pool| Some(&pool.key) == calm.pool.as_ref()) {
        for member in pool.members.iter_mut().filter(|member| member.errors.is_empty()) {
            member.errors.push(MemberErrors { kind: MemberErrorKind::Read, count: 0 });
        }
    }
    note
}

fn parity(calm: &mut Calm) -> Option<String> {
    let note = pool(calm);
    let meant = calm.snapshot.pools.iter_mut().find(|pool| Some(&pool.key) == calm.pool.as_ref());
    let Some(pool) = meant.filter(|pool| pool.level.starts_with("raid1")) else { return note };
    pool.level = "raid5".to_owned();
    let name = pool.name.clone();
    let parity = say(calm, "simulated.parity", &[("pool", &name)]);
    Some(note.into_iter().chain([parity]).collect::<Vec<_>>().join(calm.settings.language.plain("simulated.and")))
}

fn volume(calm: &mut Calm) -> Option<String> {
    let left_out = &calm.settings.watch.ignore_volumes;
    let fits = |mount: &String| !left_out.contains(mount);
    let told = calm.snapshot.volumes.iter().filter(|volume| volume.room.get().is_some());
    let found = told.map(|volume| volume.mount.clone()).filter(fits).max();
    let note = found.is_none().then(|| say(calm, "simulated.volume", &[("mount", &format!("/{TEST}"))]));
    if found.is_none() {
        let device = drive(calm, &calm.one).map(|drive| format!("/dev/{}", drive.device));
        calm.snapshot.volumes.push(box_parts::volume(&device.unwrap_or_default()));
    }
    calm.volume = found.or_else(|| calm.snapshot.volumes.last().map(|volume| volume.mount.clone()));
    for volume in calm.snapshot.volumes.iter_mut().filter(|volume| Some(&volume.mount) == calm.volume.as_ref()) {
        volume.errors = volume.errors.or(Some(0));
        if let Ok(room) = &mut volume.room.value {
            room.files = room.files.or(Some(Files { total: 30_000_000, free: 29_000_000 }));
        }
    }
    note
}

fn fan(calm: &mut Calm) -> Option<String> {
    let turns = |fan: &&crate::reading::Fan| fan.speed.get().is_some_and(|speed| speed.0 > 0) && !fan.fault;
    let found = calm.snapshot.fans.iter().find(turns).map(|fan| fan.key.clone());
    let note = found.is_none().then(|| plain(calm, "simulated.fan"));
    if found.is_none() {
        calm.snapshot.fans.push(box_parts::fan());
    }
    calm.fan = found.or_else(|| calm.snapshot.fans.last().map(|fan| fan.key.clone()));
    for fan in calm.snapshot.fans.iter_mut().filter(|fan| Some(&fan.key) == calm.fan.as_ref()) {
        fan.speed.value = Ok(Rpm(1200));
        fan.duty = None;
    }
    note
}

fn link(calm: &mut Calm) -> Option<String> {
    let watched = calm.settings.watch.links.clone();
    let is_watched = |name: &String| watched.is_empty() || watched.contains(name);
    let up = calm.snapshot.links.iter().filter(|link| link.up.get() == Some(&true));
    let found = up.map(|link| link.name.clone()).find(is_watched);
    let name = found.clone().or_else(|| watched.first().cloned()).unwrap_or_else(|| format!("{TEST}-link"));
    if found.is_none() {
        calm.snapshot.links.retain(|link| link.name != name);
        calm.snapshot.links.push(box_parts::link(&name));
    }
    calm.link = Some(name.clone());
    found.is_none().then(|| say(calm, "simulated.link", &[("link", &name)]))
}

fn board(calm: &mut Calm) -> Option<String> {
    let told = calm.snapshot.temperatures.iter().any(|temperature| temperature.value.get().is_some());
    if !told {
        calm.snapshot.temperatures.push(box_parts::thermometer());
    }
    (!told).then(|| plain(calm, "simulated.board"))
}

fn processor(calm: &mut Calm) -> Option<String> {
    let told = calm.snapshot.temperatures.iter().any(|sensor| sensor.processor.is_some());
    if !told {
        let sensor = Temperature { processor: Some(Processor::SystemOnChip), ..box_parts::thermometer() };
        calm.snapshot.temperatures.push(sensor);
    }
    (!told).then(|| plain(calm, "simulated.processor"))
}

fn attachment(calm: &mut Calm) -> Option<String> {
    let mut untold = false;
    for attachment in calm.snapshot.drives.iter_mut().map(|drive| &mut drive.attachment) {
        if attachment.speed.get().is_none() || attachment.timeouts.get().is_none() {
            untold = true;
            (attachment.speed, attachment.timeouts) = (read(MegabitsPerSecond(6000)), read(0));
        }
    }
    untold.then(|| plain(calm, "simulated.attachment"))
}
