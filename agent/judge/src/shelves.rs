//! The shelves as they stand: every tray of the configuration in its place, then the drives nobody named; and what is
//! judged of the drives on them.

use crate::heat_limits::heat_limits;
use crate::memory::{Memory, drives};
use std::collections::BTreeMap;
use traylight_config::{ExpectedDrive, Settings};
use traylight_data::reading::{Drive, DriveKey, MemberState, Power, Snapshot};
use traylight_data::verdict::{JudgedDrive, Kind, Place, Severity, Shelf, Subject, Tray, TrayState};

/// All shelves, top first; the last has no name and holds what the configuration does not name.
pub fn shelves(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Shelf> {
    let named = settings.shelves.iter().map(|shelf| Shelf {
        name: shelf.name.clone(),
        trays: shelf.trays.iter().map(|tray| named_tray(memory, snapshot, tray)).collect(),
    });
    let mut shelves: Vec<Shelf> = named.collect();
    let is_named = |drive: &Drive| drives::place_of(settings, drive).tray.is_some();
    let mut others: Vec<Tray> = snapshot
        .drives
        .iter()
        .filter(|drive| !is_named(drive))
        .map(|drive| filled(memory, snapshot, drive, drives::place_of(settings, drive)))
        .collect();
    let gone = memory
        .drives
        .iter()
        .filter(|(key, drive)| !drive.present && drive.place.tray.is_none() && is_told_gone(memory, key));
    others.extend(gone.map(|(key, drive)| tray(memory, drive.place.clone(), key, TrayState::Gone)));
    if !others.is_empty() {
        shelves.push(Shelf { name: String::new(), trays: others });
    }
    shelves
}

/// What is judged of each drive that is there.
pub fn drives(settings: &Settings, snapshot: &Snapshot) -> BTreeMap<DriveKey, JudgedDrive> {
    let judged = |drive: &Drive| {
        let (place, heat) = (drives::place_of(settings, drive), heat_limits(settings, drive));
        (drive.key.clone(), JudgedDrive { place, heat })
    };
    snapshot.drives.iter().map(judged).collect()
}

fn named_tray(memory: &Memory, snapshot: &Snapshot, wanted: &traylight_config::Tray) -> Tray {
    let place = Place { tray: Some(wanted.label.clone()), serial: None, port: None };
    if let Some(drive) = snapshot.drives.iter().find(|drive| drives::holds(&wanted.holds, drive)) {
        return filled(memory, snapshot, drive, place);
    }
    let was_here = |(key, drive): &(&DriveKey, &drives::RememberedDrive)| {
        let by_serial = matches!(&wanted.holds, Some(ExpectedDrive::Serial(serial)) if key.0 == *serial);
        by_serial || drive.place.tray == place.tray
    };
    match memory.drives.iter().find(was_here) {
        Some((key, _)) if is_told_gone(memory, key) => tray(memory, place, key, TrayState::Gone),
        Some((key, _)) => tray(memory, place, key, TrayState::NoReading),
        None => {
            let state = if drives::is_blind(snapshot) { TrayState::NoReading } else { TrayState::Empty };
            Tray { place, drive: None, state, severity: None }
        }
    }
}

fn filled(memory: &Memory, snapshot: &Snapshot, drive: &Drive, place: Place) -> Tray {
    let member =
        snapshot.pools.iter().flat_map(|pool| &pool.members).find(|member| member.drive_device == drive.device);
    // One that its owner took offline is told of by its pool; nothing is wrong with the drive.
    let state = match (member.map(|member| member.state), drive.power.get(), drive.temperature.get()) {
        (Some(MemberState::Faulty), ..) => TrayState::Bad,
        (Some(MemberState::Rebuilding), ..) => TrayState::Rebuilding,
        (_, Some(Power::Asleep), _) => TrayState::Asleep,
        (.., Some(celsius)) => TrayState::Warm(*celsius),
        (.., None) => TrayState::NoReading,
    };
    tray(memory, place, &drive.key, state)
}

fn tray(memory: &Memory, place: Place, key: &DriveKey, state: TrayState) -> Tray {
    Tray { place, drive: Some(key.clone()), state, severity: severity(memory, key) }
}

fn severity(memory: &Memory, key: &DriveKey) -> Option<Severity> {
    memory.open().filter(|condition| condition.subject.drive() == Some(key)).map(|condition| condition.severity).max()
}

fn is_told_gone(memory: &Memory, key: &DriveKey) -> bool {
    memory.condition(Kind::DriveGone, &Subject::Drive(key.clone())).is_some()
}
