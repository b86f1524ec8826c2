//! The boxes whose year is played, made of parts of `heron`.

use super::{moment, read};
use std::time::Duration;
use traylight::demo::{heron, story};
use traylight::reading::{
    Bus, Counter, Drive, DriveKey, DriveKind, Files, Group, Missing, OwnLimits, Processor, Reason, Room, Snapshot,
    Temperature, Undervoltage, Volume, Writing,
};
use traylight::units::{Bytes, Celsius};
use traylight_config::{Settings, settle};

/// What the drives of a box are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Disks {
    /// Turning disks on SATA.
    Sata,
    /// The same behind USB bridges that pass nothing on.
    Usb,
    /// NVMe.
    Nvme,
}

/// What its fan does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fans {
    /// There is none with a tachometer.
    None,
    /// It follows the warmest drive and never stops.
    Follows,
    /// It follows the warmest drive and rests below a temperature.
    Rests,
    /// Nobody knows its level, and it never stops.
    Unknown,
    /// Nobody knows its level, and it rests below a temperature.
    UnknownRests,
}

/// What the box does at night.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Night {
    /// It stays on.
    On,
    /// Its drives sleep, at night and over noon, but for the backup.
    Sleeps,
    /// It suspends, and its drives lose their power.
    Suspends,
    /// It is switched off.
    Off,
}

/// A box.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    /// What it is.
    pub name: &'static str,
    /// How many drives it has; all are one pool.
    pub drives: usize,
    /// Which.
    pub disks: Disks,
    /// Its fan.
    pub fans: Fans,
    /// Its nights.
    pub night: Night,
}

/// The boxes.
pub const BOXES: [Kind; 7] = [
    Kind { name: "single board, four ports", drives: 4, disks: Disks::Sata, fans: Fans::Follows, night: Night::On },
    Kind { name: "small x86, seven drives", drives: 7, disks: Disks::Sata, fans: Fans::Unknown, night: Night::Sleeps },
    Kind { name: "two USB adapters", drives: 2, disks: Disks::Usb, fans: Fans::None, night: Night::Sleeps },
    Kind { name: "four NVMe", drives: 4, disks: Disks::Nvme, fans: Fans::Rests, night: Night::On },
    Kind { name: "two shelves of eight", drives: 16, disks: Disks::Sata, fans: Fans::None, night: Night::On },
    Kind { name: "off at night", drives: 4, disks: Disks::Sata, fans: Fans::UnknownRests, night: Night::Off },
    Kind { name: "suspends at night", drives: 4, disks: Disks::Sata, fans: Fans::Rests, night: Night::Suspends },
];

/// A counter of a drive.
pub fn counter(name: &str, value: i64) -> Counter {
    Counter { name: name.into(), value, origin: "the pretend drive".into() }
}

fn serial(index: usize) -> String {
    format!("HN25-{:04}", 2203 + 13 * index)
}

/// Its settings: all trays are named.
pub fn settings(kind: Kind) -> Settings {
    let tray = |index: usize| format!("[[shelf.tray]]\nlabel = '{}'\nserial = '{}'\n", index + 1, serial(index));
    let shelf = |from: usize| {
        let trays: String = (from..kind.drives.min(from + 8)).map(tray).collect();
        format!("[[shelf]]\nname = 'shelf {}'\n{trays}", from / 8 + 1)
    };
    let shelves: String = (0..kind.drives).step_by(8).map(shelf).collect();
    settle(&format!("[box]\nname = 'heron'\n{shelves}"), "heron.toml").unwrap_or_else(|why| unreachable!("{why}"))
}

/// What never changes about a box, from the parts of `heron`.
pub fn pattern(kind: Kind) -> Snapshot {
    let mut snapshot = heron::snapshot(moment(20), &story::scene(Duration::ZERO));
    let drive = snapshot.drives[0].clone();
    snapshot.drives = (0..kind.drives).map(|index| pattern_drive(kind.disks, &drive, index)).collect();
    let pool = &mut snapshot.pools[0];
    let member = pool.members[0].clone();
    pool.members = snapshot
        .drives
        .iter()
        .enumerate()
        .map(|(slot, drive)| {
            let mut member = member.clone();
            (member.device, member.drive_device) = (drive.device.clone(), drive.device.clone());
            member.slot = Some(slot as u32);
            member
        })
        .collect();
    let (level, tolerates) = match kind.drives {
        2 => ("raid1", 1),
        ..6 => ("raid5", 1),
        _ => ("raid6", 2),
    };
    pool.level = level.into();
    (pool.wanted, pool.missing, pool.mismatches) = (kind.drives as u32, Some(0), Some(0));
    pool.groups = vec![Group { slots: (0..kind.drives as u32).collect(), tolerates }];
    if kind.fans == Fans::None {
        snapshot.fans.clear();
    }
    snapshot.undervoltages = vec![Undervoltage { key: "board/in0".into(), low: read(moment(20), false) }];
    snapshot.temperatures.push(Temperature {
        key: "processor/temp1".into(),
        label: "processor".into(),
        value: read(moment(20), Celsius(50.0)),
        critical: Some(Celsius(100.0)),
        processor: Some(Processor::X86),
    });
    let volume = |mount: &str, size: u64, writing: Writing, file_system: &str| Volume {
        mount: mount.into(),
        file_system: file_system.into(),
        source: format!("/dev/{}", mount.trim_start_matches('/').replace('/', "-")),
        room: read(
            moment(20),
            Room {
                size: Bytes(size),
                free: Bytes(size),
                used: Bytes(0),
                reserved: Bytes(0),
                files: (writing == Writing::ReadOnly).then_some(Files { total: 4000, free: 0 }),
            },
        ),
        writing,
        meant_read_only: false,
        meant_writable: false,
        stops_at_errors: false,
        errors: None,
    };
    snapshot.volumes.push(volume("/boot", 500_000_000, Writing::Allowed, "ext4"));
    snapshot.volumes.push(volume("/media/songs", 90_000_000, Writing::ReadOnly, "squashfs"));
    snapshot
}

fn pattern_drive(disks: Disks, drive: &Drive, index: usize) -> Drive {
    let mut drive = drive.clone();
    (drive.key, drive.serial) = (DriveKey(serial(index)), Some(serial(index)));
    let letter = (b'a' + index as u8) as char;
    drive.device = format!("sd{letter}");
    drive.port = Some(format!("0000/1c.0/00.0/ata-{}", index + 1));
    if let Ok(health) = &mut drive.health.value {
        health.counters = vec![
            counter("reallocated_sectors", if index == 1 { 8 } else { 0 }),
            counter("pending_sectors", 0),
            counter("interface_crc_errors", 2),
        ];
    }
    let silent = || Missing::of(Reason::NotAvailable);
    match disks {
        Disks::Sata => drive.own_limits.maximum = Some(Celsius(60.0)),
        Disks::Usb => {
            drive.bus = Bus::Usb;
            drive.port = Some(format!("0000/14.0/usb-2-{}", index + 1));
            drive.temperature.value = Err(silent());
            drive.health.value = Err(silent());
            drive.self_tests.value = Err(silent());
        }
        Disks::Nvme => {
            (drive.bus, drive.kind, drive.device) = (Bus::Nvme, DriveKind::Ssd, format!("nvme{index}n1"));
            drive.port = Some(format!("0000/1d.{index}/00.0/nvme"));
            drive.own_limits = OwnLimits { maximum: Some(Celsius(80.0)), critical: Some(Celsius(85.0)) };
            if let Ok(health) = &mut drive.health.value {
                health.counters = vec![counter("wear_used_percent", 3), counter("media_errors", 0)];
            }
        }
    }
    drive
}
