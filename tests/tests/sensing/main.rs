//! Sensing, from a pretend box to snapshots: every value is there or has its reason. What bad files do is in
//! `bad_input.rs`. Not its job: commands to drives; a tree of files has none to send them to.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "these stories make files, and wait for rounds")]

mod attachments;
mod bad_input;
mod btrfs;
mod calls;
mod controllers;
mod happened;
mod lvm_raid;
mod md_files;
mod mounts;
mod pulled;
mod told_pools;
mod uses;
mod zfs;

use std::fmt::Display;
use std::fs;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::process::Command;
use std::time::Duration;
use traylight::clock::Clock;
use traylight::probe::rounds::Rounds;
use traylight::reading::{Drive, MemberState, Missing, PoolRunning, Power, Reading, Reason, Snapshot, WhyMissing};
use traylight::sense::host::Host;
use traylight::tell::words::phrases::{Language, Phrases};
use traylight_tests::pretend_box::PretendBox;

/// The box as its owner built it: two disks for songs in a pool, one NVMe disk, a fan, a port.
fn heron() -> PretendBox {
    let heron = PretendBox::new();
    heron
        .sata_drive("sda", 1, "WREN-0001", "Warbler 4T")
        .sata_drive("sdb", 2, "WREN-0002", "Warbler 4T")
        .nvme("nvme0n1", "FINCH-01", "Finch 500G")
        .md("md0", "raid1", &["sda", "sdb"])
        .fan_chip("adt7475", "1-002e", &[1406, 0])
        .zone("x86_pkg_temp", 44.0)
        .controllers()
        .port("eth0", 2500)
        .virtual_port("lo")
        .virtual_port("br0");
    heron
}

fn rounds(heron: &PretendBox) -> Rounds {
    Rounds::new(Host::at(heron.root()), Clock::of_this_machine())
}

/// Goes round until something is seen; rates need two rounds with time between them.
fn until<T>(rounds: &mut Rounds, what: &str, look: impl Fn(&Snapshot) -> Option<T>) -> T {
    for _ in 0..2000 {
        if let Some(seen) = look(&rounds.round()) {
            return seen;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    panic!("{what} was never seen; the last round saw {:#?}", rounds.round())
}

/// The snapshot, once everybody who is asked from afar has answered.
fn all_answered(snapshot: &Snapshot) -> Option<Snapshot> {
    let disk = snapshot.drives.iter().find(|drive| drive.device == "nvme0n1")?;
    let is_whole = disk.temperature.get().is_some() && !snapshot.fans.is_empty() && snapshot.temperatures.len() == 2;
    is_whole.then(|| snapshot.clone())
}

fn said<T: Display>(reading: &Reading<T>) -> String {
    reading.value.as_ref().map_or_else(why, ToString::to_string)
}

fn why(missing: &Missing) -> String {
    Language::ENGLISH.missing(missing)
}

fn drive<'a>(snapshot: &'a Snapshot, device: &str) -> &'a Drive {
    snapshot.drives.iter().find(|drive| drive.device == device).expect("the drive is there")
}

fn temperature(snapshot: &Snapshot, device: &str) -> String {
    said(&drive(snapshot, device).temperature)
}

#[test]
fn every_part_is_found_and_every_value_is_there_or_has_its_reason() {
    let heron = heron();
    let snapshot = until(&mut rounds(&heron), "an answer from everybody", all_answered);
    assert_eq!(snapshot.blind, []);

    let drives: Vec<String> = snapshot
        .drives
        .iter()
        .map(|drive| {
            let port = drive.port.as_deref().unwrap_or("nowhere");
            let (size, warm) = (said(&drive.size), said(&drive.temperature));
            format!("{} {port} {:?} {:?} {size}, {warm}", drive.key.0, drive.bus, drive.kind)
        })
        .collect();
    let idle = "idle; a query could keep the drive awake";
    assert_eq!(
        drives,
        [
            "FINCH-01 0000/1d.0/00.0/nvme-1 Nvme Ssd 1.00 TB, 33 °C".to_owned(),
            format!("WREN-0001 0000/1f.2/ata-1 Sata Hdd 1.00 TB, {idle}"),
            format!("WREN-0002 0000/1f.2/ata-2 Sata Hdd 1.00 TB, {idle}"),
        ]
    );
    let first = &snapshot.drives[1];
    assert_eq!(first.model.as_deref(), Some("Warbler 4T"));
    assert_eq!(first.wwn.as_deref(), Some("5000c50030303031"));
    assert_eq!(first.traffic.value, Err(WhyMissing::FirstCount.into()));

    let pool = &snapshot.pools[0];
    let (level, running) = (pool.level.as_str(), pool.running.get());
    assert_eq!((level, running, pool.wanted, pool.missing), ("raid1", Some(&PoolRunning::Running), 2, Some(0)));
    let members: Vec<_> =
        pool.members.iter().map(|member| (&*member.drive_device, member.slot, member.state)).collect();
    assert_eq!(members, [("sda", Some(0), MemberState::Active), ("sdb", Some(1), MemberState::Active)]);

    let fans: Vec<_> = snapshot.fans.iter().map(|fan| format!("{} {}", fan.key, said(&fan.speed))).collect();
    assert_eq!(fans, ["adt7475/fan1 1406 rpm", "adt7475/fan2 0 rpm"]);
    let warm: Vec<_> =
        snapshot.temperatures.iter().map(|sensor| format!("{} {}", sensor.label, said(&sensor.value))).collect();
    assert_eq!(warm, ["board 41 °C", "x86_pkg_temp 44 °C"]);
    let links: Vec<_> = snapshot.links.iter().map(|link| format!("{} {}", link.name, said(&link.speed))).collect();
    assert_eq!(links, ["eth0 2.5 Gb/s"], "ports without hardware are left out");
    let room = snapshot.volumes[0].room.missing().unwrap().reason;
    assert_eq!((snapshot.volumes[0].mount.as_str(), room), ("/", Reason::NotRead));
    assert_eq!((snapshot.board.name.as_str(), snapshot.board.model.as_str()), ("heron", "REED-4"));
}

/// A chip on a stuck bus is asked in a thread of its own; until it answers its fans are there without a speed.
#[test]
fn a_chip_that_does_not_answer_has_fans_with_a_reason() {
    let heron = heron();
    let input = format!("{}/fan1_input", heron.chip_folder("1-002e"));
    heron.remove(&input);
    let made = Command::new("mkfifo").arg(heron.path(&input)).status();
    assert!(made.is_ok_and(|made| made.success()), "a file that blocks its reader");
    let snapshot = rounds(&heron).round();
    let fans: Vec<_> = snapshot.fans.iter().map(|fan| format!("{} {}", fan.key, said(&fan.speed))).collect();
    let not_yet = "the first reading is pending";
    assert_eq!(fans, [format!("adt7475/fan1 {not_yet}"), format!("adt7475/fan2 {not_yet}")]);
    // Lets the worker go.
    fs::OpenOptions::new().write(true).open(heron.path(&input)).unwrap().write_all(b"900\n").unwrap();
}

#[test]
fn what_udev_knows_of_a_drive_comes_before_what_the_kernel_knows() {
    let heron = heron();
    heron.udev("sda", &["ID_BUS=ata", "ID_MODEL=Warbler_Pro_4T", "ID_SERIAL_SHORT=WREN-0001X", "ID_WWN=0x5000c500aa"]);
    let snapshot = rounds(&heron).round();
    let drive = drive(&snapshot, "sda");
    let known = (drive.key.0.as_str(), drive.model.as_deref(), drive.wwn.as_deref());
    assert_eq!(known, ("WREN-0001X", Some("Warbler Pro 4T"), Some("5000c500aa")));
}

/// The thermometer is a pipe: opening it to write without waiting works only once somebody has opened it to read
/// (open(2), ENXIO; fifo(7)). So a reader cannot come and go unseen.
#[test]
fn a_disk_is_asked_for_its_temperature_only_after_somebody_used_it() {
    let heron = heron();
    let at_once = rustix::fs::OFlags::NONBLOCK.bits() as i32;
    let reader_of = |device: &str| {
        let thermometer = heron.path(&heron.thermometer_of(device));
        move || fs::OpenOptions::new().write(true).custom_flags(at_once).open(&thermometer).ok()
    };
    for device in ["sda", "sdb"] {
        let thermometer = heron.path(&heron.thermometer_of(device));
        fs::remove_file(&thermometer).unwrap();
        assert!(Command::new("mkfifo").arg(&thermometer).status().unwrap().success());
    }
    // A drive that was left alone from the start is free to be asked as soon as somebody wakes it.
    heron.write("/sys/block/sda/device/power/runtime_status", "suspended\n");
    let (of_sleeper, of_idle) = (reader_of("sda"), reader_of("sdb"));
    let mut rounds = rounds(&heron);
    for _ in 0..20 {
        let idle = temperature(&rounds.round(), "sdb");
        assert_eq!(idle, "idle; a query could keep the drive awake");
        assert!(of_idle().is_none() && of_sleeper().is_none(), "a disk that nobody used was asked");
    }

    // Two looks within one millisecond are one look: what happened between them would be seen only by the third.
    std::thread::sleep(Duration::from_millis(2));
    heron.use_drive("sda").write("/sys/block/sda/device/power/runtime_status", "active\n");
    until(&mut rounds, "a question to the disk in use", |_| of_sleeper()).write_all(b"37500\n").unwrap();
    until(&mut rounds, "its answer", |snapshot| (temperature(snapshot, "sda") == "38 °C").then_some(()));
    assert!(of_idle().is_none(), "its neighbour is still left alone");
}

#[test]
fn a_drive_that_the_kernel_put_to_sleep_is_asleep_and_what_it_told_last_stays() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    until(&mut rounds, "an answer from everybody", all_answered);
    heron.use_drive("sda").write("/sys/block/sda/device/power/runtime_status", "suspended\n");
    heron.temperature("nvme0n1", 61.0).write("/sys/block/nvme0n1/device/power/runtime_status", "suspended\n");
    let before = rounds.round();
    let after = rounds.round();
    let power = |device: &str| drive(&after, device).power.get().copied();
    assert_eq!((power("sda"), power("nvme0n1"), power("sdb")), (Some(Power::Asleep), Some(Power::Asleep), None));
    assert_eq!(temperature(&after, "sda"), "asleep", "it has told none yet");
    assert_eq!(temperature(&after, "nvme0n1"), "33 °C", "from before it slept");
    let taken = |snapshot: &Snapshot| drive(snapshot, "nvme0n1").temperature.taken;
    assert_eq!(taken(&after), taken(&before), "an old temperature keeps its age");
    assert_eq!(temperature(&after, "sdb"), "idle; a query could keep the drive awake");
}

#[test]
fn a_drive_that_woke_up_is_not_called_asleep() {
    let heron = heron();
    let status = "/sys/block/sda/device/power/runtime_status";
    heron.write(status, "suspended\n");
    let mut rounds = rounds(&heron);
    assert_eq!(temperature(&rounds.round(), "sda"), "asleep");
    heron.write(status, "active\n");
    let woken = |snapshot: &Snapshot| drive(snapshot, "sda").power.value.is_err().then(|| snapshot.clone());
    let awake = until(&mut rounds, "the disk awake", woken);
    assert_eq!(said(&drive(&awake, "sda").temperature), "idle; a query could keep the drive awake");
}

#[test]
fn a_recorded_tree_is_sent_no_command() {
    let snapshot = until(&mut rounds(&heron()), "an answer from everybody", all_answered);
    for drive in &snapshot.drives {
        assert_eq!(drive.power.value, Err(WhyMissing::NotRecorded.into()), "{}", drive.device);
        assert_eq!(drive.health.value, Err(WhyMissing::Pending.into()), "{}", drive.device);
    }
}

/// The file `inflight` holds what was handed to the drive and is not finished (Documentation/ABI/stable/sysfs-block).
#[test]
fn a_drive_that_has_work_and_finishes_none_stands_still_since_then() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    assert_eq!(drive(&rounds.round(), "sda").stalled_since, None);
    heron.write("/sys/block/sda/inflight", "       1        3\n");
    let first = until(&mut rounds, "a standstill", |snapshot| drive(snapshot, "sda").stalled_since);
    assert_eq!(drive(&rounds.round(), "sda").stalled_since, Some(first), "the same standstill");
    heron.use_drive("sda");
    // Two rounds within a millisecond count once.
    until(&mut rounds, "some of it finished", |snapshot| drive(snapshot, "sda").stalled_since.is_none().then_some(()));
    heron.write("/sys/block/sda/inflight", "four\n");
    assert_eq!(drive(&rounds.round(), "sda").stalled_since, None, "what cannot be read is no standstill");
}

#[test]
fn data_moved_becomes_a_rate_and_an_idle_drive_has_none_invented() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    rounds.round();
    let moved = |device: &'static str| {
        move |snapshot: &Snapshot| {
            let drive = snapshot.drives.iter().find(|drive| drive.device == device)?;
            drive.traffic.get().map(|traffic| (traffic.inward.0, traffic.outward.0))
        }
    };
    assert_eq!(until(&mut rounds, "a rate", moved("sda")), (0.0, 0.0));
    heron.use_drive("sda");
    let (inward, outward) =
        until(&mut rounds, "data moving", |snapshot| moved("sda")(snapshot).filter(|rate| rate.0 > 0.0));
    // One mebibyte was read and two were written within the same time.
    assert!((outward / inward - 2.0).abs() < 1e-9, "{outward} is not twice {inward}");
}

#[test]
fn counters_that_run_over_go_on_and_counters_that_begin_anew_give_no_rate() {
    let heron = heron();
    let stat = |read: u64, written: u64| format!("500 0 {read} 300 700 100 {written} 900 0 1200 1200\n");
    let of = |snapshot: &Snapshot| drive(snapshot, "sda").traffic.clone();

    // 32 bit kernels run over at 2^32 (Documentation/admin-guide/iostats.rst).
    heron.write("/sys/block/sda/stat", &stat(u64::from(u32::MAX) - 1, u64::MAX - 1));
    let mut first = rounds(&heron);
    first.round();
    heron.write("/sys/block/sda/stat", &stat(0, 0));
    let rate = until(&mut first, "a rate", |snapshot| of(snapshot).get().copied());
    assert!(rate.inward.0 > 0.0 && rate.inward == rate.outward, "two sectors each way: {rate:?}");

    heron.write("/sys/block/sda/stat", &stat(1 << 40, 1 << 40));
    let mut second = rounds(&heron);
    second.round();
    heron.write("/sys/block/sda/stat", &stat(10, 10));
    std::thread::sleep(Duration::from_millis(2));
    let anew = of(&second.round());
    assert_eq!(anew.missing(), Some(&WhyMissing::CounterReset.into()));

    let port = heron.path("/sys/class/net/eth0/statistics/rx_bytes");
    let mut third = rounds(&heron);
    third.round();
    fs::write(port, "7\n").unwrap();
    std::thread::sleep(Duration::from_millis(2));
    let anew = &third.round().links[0].traffic;
    assert_eq!(anew.missing(), Some(&WhyMissing::CounterReset.into()));
}

#[test]
fn a_member_whose_drive_is_gone_is_told_at_once_although_md_calls_it_in_sync() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    rounds.round();
    heron.remove_drive("sdb");
    let snapshot = rounds.round();
    let devices: Vec<&str> = snapshot.drives.iter().map(|drive| drive.device.as_str()).collect();
    assert_eq!(devices, ["nvme0n1", "sda"]);
    let pool = &snapshot.pools[0];
    assert_eq!(pool.missing, Some(0), "md itself has not noticed yet");
    let members: Vec<_> =
        pool.members.iter().map(|member| (&*member.drive_device, member.state, member.device_gone)).collect();
    assert_eq!(members, [("sda", MemberState::Active, false), ("sdb", MemberState::Active, true)]);
}

#[test]
fn a_drive_put_back_under_another_name_is_the_same_drive() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    let before = rounds.round();
    heron.remove_drive("sda");
    rounds.round();
    heron.sata_drive("sde", 1, "WREN-0001", "Warbler 4T");
    let after = rounds.round();
    let key = |snapshot: &Snapshot, device: &str| {
        snapshot.drives.iter().find(|drive| drive.device == device).map(|drive| (drive.key.clone(), drive.port.clone()))
    };
    assert_eq!(key(&before, "sda"), key(&after, "sde"));
    assert!(drive(&after, "sde").traffic.get().is_none(), "the counters of its new appearance have no past");
}

#[test]
fn two_drives_that_claim_one_serial_are_two_drives() {
    let heron = PretendBox::new();
    heron.usb_drive("sda", "2-2.1", "0123456789AB", "Bridge").usb_drive("sdb", "2-2.2", "0123456789AB", "Bridge");
    let snapshot = rounds(&heron).round();
    let keys: Vec<&str> = snapshot.drives.iter().map(|drive| drive.key.0.as_str()).collect();
    assert_eq!(keys, ["0123456789AB at 0000/14.0/usb-2.1:0", "0123456789AB at 0000/14.0/usb-2.2:0"]);
}

/// What is known of a drive hangs on its key: it may not change because of a stranger.
#[test]
fn a_drive_keeps_its_key_when_a_twin_is_plugged_in() {
    let heron = PretendBox::new();
    heron.usb_drive("sda", "2-2.1", "0123456789AB", "Bridge");
    let mut rounds = rounds(&heron);
    let before = rounds.round();
    heron.usb_drive("sdb", "2-2.2", "0123456789AB", "Bridge");
    let after = rounds.round();
    assert_eq!(after.drives[0].key, before.drives[0].key);
    assert_ne!(after.drives[1].key, after.drives[0].key);
}
