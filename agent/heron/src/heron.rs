//! The box `heron` as a snapshot: what never changes about it, filled with what the story says of a moment.

use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{
    Activity, AfterCrash, Attachment, Board, Bus, BusErrors, Controller, ControllerKind, Counter, Drive, DriveKey,
    DriveKind, DriveUse, Fan, Files, Health, Link, Load, Member, MemberErrorKind, MemberErrors, MemberRole,
    MemberState, Nominal, OwnLimits, PastTest, PcieLink, Pool, PoolKind, PoolRunning, Power, Rail, Reading,
    RecoveryLimit, Room, SelfAssessment, SelfTest, SelfTests, Snapshot, Source, SystemDisk, SystemDiskKind,
    Temperature, TestKind, TestOutcome, Throttling, Traffic, UsedBy, Volume, Writing,
};
use traylight_data::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Rpm, Volts};
use traylight_parse::md;

/// The trays in order: serial, model, and whether it turns.
const TRAYS: [(&str, &str, DriveKind); 6] = [
    ("HN24-WREN", "Songkeeper 4T", DriveKind::Hdd),
    ("HN24-TERN", "Songkeeper 4T", DriveKind::Hdd),
    ("HN24-LARK", "Songkeeper 4T", DriveKind::Hdd),
    ("HN24-KITE", "Songkeeper 4T", DriveKind::Hdd),
    ("HN24-SWAN", "Songkeeper 4T", DriveKind::Hdd),
    ("HN31-CROW", "Quicknest 500G", DriveKind::Ssd),
];
/// How many of them, from the first, hold the recordings together.
pub const MEMBERS: usize = 5;

/// What the story says of a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct HeronScene {
    /// Degrees in each tray; `None` for a tray whose drive is out.
    pub degrees: [Option<f64>; 6],
    /// Fan speed.
    pub fan: u32,
    /// The kernel's name of the drive in each tray; it changes when a drive comes back.
    pub devices: [&'static str; 6],
    /// What the pool thinks of each member; `None` for one it has let go.
    pub members: [Option<MemberState>; MEMBERS],
    /// What the pool does besides.
    pub activity: Activity,
    /// Bytes per second of new recordings from the network.
    pub arriving: f64,
    /// Share of the volume that is filled.
    pub filled: f64,
}

/// The box at a moment.
pub fn snapshot(now: Moment, scene: &HeronScene) -> Snapshot {
    let drives = (0..TRAYS.len()).filter_map(|tray| drive(now, scene, tray)).collect();
    let missing = scene.members.iter().filter(|member| **member != Some(MemberState::Active)).count() as u32;
    Snapshot {
        taken: now,
        board: board(now, scene),
        drives,
        pools: vec![pool(now, scene, missing)],
        volumes: volumes(now, scene),
        fans: vec![Fan {
            key: "hutfan/fan1".into(),
            label: "rear fan".into(),
            speed: read(now, Source::Hwmon, Rpm(scene.fan)),
            duty: Some(0.45),
            fault: false,
        }],
        temperatures: vec![Temperature {
            key: "hutboard/temp1".into(),
            label: "board".into(),
            value: read(now, Source::Hwmon, Celsius(44.0 + scene.arriving / 40e6)),
            critical: None,
            processor: None,
        }],
        rails: vec![Rail {
            key: "hutboard/in1".into(),
            label: "5V".into(),
            nominal: Some(Nominal::Five),
            value: read(now, Source::Hwmon, Volts(5.07)),
        }],
        controllers: vec![controller(now)],
        links: vec![Link {
            name: "eth0".into(),
            up: read(now, Source::Sysfs, true),
            speed: read(now, Source::Sysfs, MegabitsPerSecond(2500)),
            changes: Some(2),
            traffic: read(now, Source::Sysfs, traffic(scene.arriving * 1.03, scene.arriving * 0.02)),
        }],
        ..Snapshot::default()
    }
}

/// The SATA card that all drives are plugged into.
fn controller(now: Moment) -> Controller {
    Controller {
        key: "0000/1c.0/00.0".into(),
        kind: ControllerKind::Storage,
        // A vendor number that is nobody's.
        id: "fffe:0006".into(),
        driver: Some("ahci".into()),
        answers: read(now, Source::Sysfs, true),
        pcie_link: read(now, Source::Sysfs, PcieLink { gigatransfers: 8.0, width: 2 }),
        bus_errors: read(now, Source::Sysfs, BusErrors::default()),
        link_power: Some("max_performance".into()),
    }
}

fn drive(now: Moment, scene: &HeronScene, tray: usize) -> Option<Drive> {
    let (serial, model, kind) = TRAYS[tray];
    let degrees = scene.degrees[tray]?;
    // Of five members four hold data: each takes a quarter of what arrives.
    let share = if tray < MEMBERS { scene.arriving / 4.0 } else { 0.0 };
    Some(Drive {
        key: DriveKey(serial.into()),
        device: scene.devices[tray].into(),
        serial: Some(serial.into()),
        wwn: None,
        model: Some(model.into()),
        bus: Bus::Sata,
        kind,
        port: Some(format!("0000/1c.0/00.0/ata-{}", tray + 1)),
        removable: false,
        size: read(now, Source::Sysfs, Bytes(if kind == DriveKind::Hdd { 4_000_787_030_016 } else { 500_107_862_016 })),
        power: read(now, Source::Drive, Power::Active),
        stalled_since: None,
        temperature: read(now, Source::Hwmon, Celsius(degrees)),
        own_limits: OwnLimits::default(),
        traffic: read(now, Source::Sysfs, traffic(0.0, share)),
        attachment: Attachment {
            speed: read(now, Source::Sysfs, MegabitsPerSecond(6000)),
            timeouts: read(now, Source::Sysfs, 0),
            patience: read(now, Source::Sysfs, Duration::from_secs(30)),
        },
        uses: read(now, Source::Sysfs, uses(scene.devices[tray], tray)),
        health: read(now, Source::Drive, health()),
        self_tests: read(now, Source::Drive, self_tests()),
        test_request: None,
    })
}

/// The members of the pool are held by it; the system is on the sixth drive.
fn uses(device: &str, tray: usize) -> Vec<DriveUse> {
    match tray < MEMBERS {
        true => vec![DriveUse { block: device.into(), by: UsedBy::Holder("md0".into()) }],
        false => vec![DriveUse { block: format!("{device}2"), by: UsedBy::Mount("/".into()) }],
    }
}

fn health() -> Health {
    let counter = |name: &str, value| Counter { name: name.into(), value, origin: "the pretend drive".into() };
    Health {
        assessment: Ok(SelfAssessment::Passed),
        counters: vec![
            counter("power_on_hours", 9_860),
            counter("reallocated_sectors", 0),
            counter("pending_sectors", 0),
        ],
        newest_error: Ok(None),
        recovery_limit: Ok(RecoveryLimit::After(Duration::from_secs(7))),
        unread: Vec::new(),
        broke_off: None,
    }
}

/// A drive that passed an extended test a month ago.
fn self_tests() -> SelfTests {
    let passed = PastTest {
        kind: TestKind::Extended,
        outcome: TestOutcome::Passed,
        power_on_hours: 9_140,
        age_hours: Some(720),
        failed_at_lba: None,
    };
    SelfTests { now: SelfTest::Passed, past: vec![passed], short_minutes: Some(2), extended_minutes: Some(420) }
}

fn pool(now: Moment, scene: &HeronScene, missing: u32) -> Pool {
    let member = |(slot, state): (usize, &Option<MemberState>)| {
        Some(Member {
            device: scene.devices[slot].into(),
            drive_device: scene.devices[slot].into(),
            slot: Some(slot as u32),
            state: (*state)?,
            role: MemberRole::Data,
            doubted: false,
            device_gone: scene.degrees[slot].is_none(),
            errors: vec![MemberErrors { kind: MemberErrorKind::Read, count: 0 }],
        })
    };
    Pool {
        key: "5a6e0b1c-heron-songs".into(),
        name: "md0".into(),
        kind: PoolKind::Md,
        level: "raid5".into(),
        running: read(now, Source::Sysfs, PoolRunning::Running),
        wanted: MEMBERS as u32,
        missing: Some(missing),
        groups: md::layout::groups("raid5", MEMBERS as u32, 2),
        members: scene.members.iter().enumerate().filter_map(member).collect(),
        activity: scene.activity,
        size: read(now, Source::Sysfs, Bytes(16_003_000_000_000)),
        mismatches: None,
        last_check: None,
        lost_data: None,
        after_crash: Some(AfterCrash::Minutes),
        metadata: None,
        is_partial: false,
    }
}

fn volumes(now: Moment, scene: &HeronScene) -> Vec<Volume> {
    let volume = |mount: &str, source: &str, size: f64, filled: f64| Volume {
        mount: mount.into(),
        file_system: "ext4".into(),
        source: source.into(),
        room: read(
            now,
            Source::Statvfs,
            Room {
                size: Bytes(size as u64),
                free: Bytes((size * (1.0 - filled)) as u64),
                used: Bytes((size * filled) as u64),
                reserved: Bytes(0),
                files: Some(Files { total: 30_000_000, free: 29_000_000 }),
            },
        ),
        writing: Writing::Allowed,
        meant_read_only: false,
        meant_writable: false,
        stops_at_errors: true,
        errors: Some(0),
    };
    vec![volume("/", "/dev/sdf2", 480e9, 0.21), volume("/srv/songs", "/dev/md0", 15.9e12, scene.filled)]
}

fn board(now: Moment, scene: &HeronScene) -> Board {
    let load = Load {
        one_minute: 0.2 + scene.arriving / 150e6,
        fifteen_minutes: 0.4,
        processors: 4,
        memory: Bytes(8_300_000_000),
        memory_available: Bytes(6_100_000_000),
    };
    Board {
        name: "heron".into(),
        model: "pretend board".into(),
        kernel: "6.12".into(),
        is_recorded: false,
        // Kept free for documents (RFC 5737).
        address: Some("192.0.2.20".into()),
        load: Some(read(now, Source::Sysinfo, load)),
        out_of_memory: Some(read(now, Source::Proc, 0)),
        throttling: Some(read(now, Source::Sysfs, Throttling { count: Some(0), held_back: None })),
        system_disk: Some(read(
            now,
            Source::Sysfs,
            SystemDisk { device: "sdf".into(), kind: SystemDiskKind::Disk, written: Bytes(40_000_000_000) },
        )),
    }
}

fn traffic(inward: f64, outward: f64) -> Traffic {
    Traffic { inward: BytesPerSecond(inward), outward: BytesPerSecond(outward) }
}

fn read<T>(now: Moment, source: Source, value: T) -> Reading<T> {
    Reading::new(Ok(value), now, source)
}
