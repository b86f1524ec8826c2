//! Parts that a box does not have and that are pretended.

use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{
    Activity, Attachment, Bus, Controller, ControllerKind, Counter, Drive, DriveKey, DriveKind, Fan, Files, Group,
    Health, Link, Member, MemberErrorKind, MemberErrors, MemberRole, MemberState, Missing, OwnLimits, Pool, PoolKind,
    PoolRunning, Power, Reading, Reason, RecoveryLimit, Room, SelfAssessment, Source, Temperature, Traffic, Volume,
    Writing,
};
use traylight_data::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Rpm};

/// Names of what is pretended begin with this.
pub const TEST: &str = "test";
/// The controller that is pretended, as in the places of drives.
pub const CONTROLLER: &str = "0000/test";

/// A reading of now; the moment that is pretended says when that is.
pub fn read<T>(value: T) -> Reading<T> {
    Reading::new(Ok(value), Moment::default(), Source::Sysfs)
}

/// A counter that a drive keeps.
pub fn counter(name: &str, value: i64) -> Counter {
    Counter { name: name.to_owned(), value, origin: "rehearsal".to_owned() }
}

/// A drive that is not there.
pub fn drive(number: usize, kind: DriveKind) -> Drive {
    let nothing = || Missing::of(Reason::NotAvailable);
    let serial = format!("TEST-DRIVE-{number}");
    Drive {
        key: DriveKey(serial.clone()),
        device: format!("{TEST}{number}"),
        serial: Some(serial),
        wwn: None,
        model: Some("pretended".to_owned()),
        bus: Bus::Sata,
        kind,
        port: Some(format!("{CONTROLLER}/ata-{}", 10 + number)),
        removable: false,
        size: read(Bytes(4_000_787_030_016)),
        power: read(Power::Active),
        stalled_since: None,
        temperature: read(Celsius(34.0)),
        own_limits: OwnLimits::default(),
        traffic: read(traffic()),
        attachment: Attachment {
            speed: read(MegabitsPerSecond(6000)),
            timeouts: read(0),
            patience: read(Duration::from_secs(30)),
        },
        uses: read(Vec::new()),
        health: read(health()),
        self_tests: Reading::new(Err(nothing()), Moment::default(), Source::Drive),
        test_request: None,
    }
}

/// Some work, so that nobody rests.
pub fn traffic() -> Traffic {
    Traffic { inward: BytesPerSecond(1e6), outward: BytesPerSecond(0.0) }
}

/// A drive that is well.
pub fn health() -> Health {
    Health {
        assessment: Ok(SelfAssessment::Passed),
        counters: Vec::new(),
        newest_error: Ok(None),
        recovery_limit: Ok(RecoveryLimit::After(Duration::from_secs(7))),
        unread: Vec::new(),
        broke_off: None,
    }
}

/// A mirror of two drives.
pub fn mirror(devices: [&str; 2]) -> Pool {
    let member = |(slot, device): (usize, &str)| Member {
        device: device.to_owned(),
        drive_device: device.to_owned(),
        slot: Some(slot as u32),
        state: MemberState::Active,
        role: MemberRole::Data,
        doubted: false,
        device_gone: false,
        errors: vec![MemberErrors { kind: MemberErrorKind::Read, count: 0 }],
    };
    Pool {
        key: format!("{TEST}-pool"),
        name: format!("{TEST}-pool"),
        kind: PoolKind::Md,
        level: "raid1".to_owned(),
        running: read(PoolRunning::Running),
        wanted: 2,
        missing: Some(0),
        members: devices.into_iter().enumerate().map(member).collect(),
        groups: vec![Group { slots: vec![0, 1], tolerates: 1 }],
        activity: Activity::IDLE,
        size: read(Bytes(4_000_000_000_000)),
        mismatches: Some(0),
        last_check: None,
        lost_data: None,
        after_crash: None,
        metadata: None,
        is_partial: false,
    }
}

/// A volume, half full.
pub fn volume(source: &str) -> Volume {
    let size = 2_000_000_000_000;
    let room = Room {
        size: Bytes(size),
        free: Bytes(size / 2),
        used: Bytes(size / 2),
        reserved: Bytes(0),
        files: Some(Files { total: 30_000_000, free: 29_000_000 }),
    };
    Volume {
        mount: format!("/{TEST}"),
        file_system: "ext4".to_owned(),
        source: source.to_owned(),
        room: read(room),
        writing: Writing::Allowed,
        meant_read_only: false,
        meant_writable: false,
        stops_at_errors: true,
        errors: Some(0),
    }
}

/// A fan that turns.
pub fn fan() -> Fan {
    let name = || format!("{TEST} fan");
    Fan { key: name(), label: name(), speed: read(Rpm(1200)), duty: None, fault: false }
}

/// A network port that is up.
pub fn link(name: &str) -> Link {
    Link {
        name: name.to_owned(),
        up: read(true),
        speed: read(MegabitsPerSecond(1000)),
        changes: Some(1),
        traffic: read(traffic()),
    }
}

/// A thermometer of the board.
pub fn thermometer() -> Temperature {
    let name = || format!("{TEST} board");
    Temperature { key: name(), label: name(), value: read(Celsius(40.0)), critical: None, processor: None }
}

/// A controller that works.
pub fn controller(key: &str) -> Controller {
    let unknown = || Missing::of(Reason::NotAvailable);
    Controller {
        key: key.to_owned(),
        kind: ControllerKind::Storage,
        id: String::new(),
        driver: Some("ahci".to_owned()),
        answers: read(true),
        pcie_link: Reading::new(Err(unknown()), Moment::default(), Source::Sysfs),
        bus_errors: Reading::new(Err(unknown()), Moment::default(), Source::Sysfs),
        link_power: Some("max_performance".to_owned()),
    }
}
