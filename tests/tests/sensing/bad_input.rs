//! Files that are missing, empty, half written, absurd, or no files at all: nothing panics, and nothing is invented.

use crate::{all_answered, heron, rounds, until, why};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use traylight::reading::Snapshot;
use traylight_tests::pretend_box::PretendBox;

/// What an owner could read a number from: name to value, nothing where it is missing. Channels of the chip go by their
/// own name, since the chip's can be spoilt.
fn figures(snapshot: &Snapshot) -> BTreeMap<String, Option<String>> {
    let mut figures = BTreeMap::new();
    let mut put = |name: String, value: Option<String>| drop(figures.insert(name, value));
    for drive in &snapshot.drives {
        let device = &drive.device;
        put(format!("{device} size"), drive.size.get().map(|size| size.0.to_string()));
        put(format!("{device} temperature"), drive.temperature.get().map(ToString::to_string));
        put(format!("{device} traffic"), drive.traffic.get().map(|traffic| format!("{traffic:?}")));
        put(format!("{device} limits"), drive.own_limits.maximum.map(|limit| limit.to_string()));
    }
    for pool in &snapshot.pools {
        let name = &pool.name;
        put(format!("{name} running"), pool.running.get().map(|running| format!("{running:?}")));
        put(format!("{name} size"), pool.size.get().map(|size| size.0.to_string()));
        put(format!("{name} missing"), pool.missing.map(|count| count.to_string()));
        put(format!("{name} wanted"), (pool.wanted > 0).then(|| pool.wanted.to_string()));
        put(format!("{name} done"), pool.activity.done.map(|done| done.to_string()));
    }
    let channel = |key: &str| key.rsplit('/').next().unwrap_or_default().to_owned();
    for fan in &snapshot.fans {
        put(format!("{} speed", channel(&fan.key)), fan.speed.get().map(ToString::to_string));
        put(format!("{} duty", channel(&fan.key)), fan.duty.map(|duty| duty.to_string()));
    }
    for sensor in &snapshot.temperatures {
        put(channel(&sensor.key), sensor.value.get().map(ToString::to_string));
    }
    for controller in &snapshot.controllers {
        let key = &controller.key;
        put(format!("{key} driver"), controller.driver.clone());
        put(format!("{key} answers"), controller.answers.get().map(ToString::to_string));
        put(format!("{key} pcie_link"), controller.pcie_link.get().map(|pcie_link| format!("{pcie_link:?}")));
        put(format!("{key} errors"), controller.bus_errors.get().map(|errors| format!("{errors:?}")));
    }
    for link in &snapshot.links {
        put(format!("{} up", link.name), link.up.get().map(ToString::to_string));
        put(format!("{} speed", link.name), link.speed.get().map(ToString::to_string));
        put(format!("{} changes", link.name), link.changes.map(|count| count.to_string()));
        put(format!("{} traffic", link.name), link.traffic.get().map(|traffic| format!("{traffic:?}")));
    }
    figures
}

/// Ways to spoil a file of the box.
const SPOILS: [&str; 11] =
    ["missing", "empty", "blank", "binary", "words", "minus", "too large", "cut", "huge", "circle", "folder"];

/// Spoils a file; `huge` is a file of 10 MB that is made once.
fn spoil(file: &Path, how: &str, good: &[u8], huge: &Path) {
    fs::remove_file(file).unwrap();
    match how {
        "missing" => {}
        "empty" => fs::write(file, "").unwrap(),
        "blank" => fs::write(file, "\n").unwrap(),
        "binary" => fs::write(file, [0xff, 0xfe, 0, b'7', 0x80, b'\n']).unwrap(),
        "words" => fs::write(file, "hoo hoo\n").unwrap(),
        "minus" => fs::write(file, "-273150\n").unwrap(),
        "too large" => fs::write(file, "18446744073709551616\n").unwrap(),
        "cut" => fs::write(file, &good[..good.len() / 2]).unwrap(),
        "huge" => fs::hard_link(huge, file).unwrap(),
        "circle" => std::os::unix::fs::symlink(file.file_name().unwrap(), file).unwrap(),
        "folder" => fs::create_dir(file).unwrap(),
        other => panic!("no such way to spoil a file: {other}"),
    }
}

fn unspoil(file: &Path, good: &[u8]) {
    match fs::symlink_metadata(file) {
        Ok(found) if found.is_dir() => fs::remove_dir(file).unwrap(),
        Ok(_) => fs::remove_file(file).unwrap(),
        Err(_) => {}
    }
    fs::write(file, good).unwrap();
}

/// Every file below a folder, links not followed.
fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        let kind = fs::symlink_metadata(&path).unwrap().file_type();
        if kind.is_dir() {
            files(&path, found);
        } else if kind.is_file() {
            found.push(path);
        }
    }
}

/// Counts panics of every thread, since a worker that panics only falls silent.
fn count_panics() -> &'static AtomicUsize {
    static PANICS: AtomicUsize = AtomicUsize::new(0);
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |what| {
        PANICS.fetch_add(1, Ordering::SeqCst);
        usual(what);
    }));
    &PANICS
}

#[track_caller]
fn assert_nothing_invented(case: &str, good: &BTreeMap<String, Option<String>>, spoilt: &Snapshot) {
    for (name, value) in figures(spoilt) {
        let was = good.get(&name).unwrap_or_else(|| panic!("{case}: {name} came out of nothing"));
        // A number that was cut in the middle is still a number, but none that was measured becomes 0.
        let is_believable =
            value.is_none() || value == *was || (case.ends_with(" cut") && value.as_deref() != Some("0"));
        assert!(is_believable, "{case}: {name} is {value:?}, it was {was:?}");
    }
}

#[test]
fn whatever_a_file_holds_nothing_panics_and_nothing_is_invented() {
    let panics = count_panics();
    let heron = heron();
    heron.use_drive("sda").write("/sys/block/md0/md/sync_action", "check\n");
    heron.write("/sys/block/md0/md/sync_completed", "500 / 1000\n").write("/sys/block/md0/md/sync_speed", "2000\n");
    let good = figures(&until(&mut rounds(&heron), "an answer from everybody", all_answered));
    let huge = heron.path("/huge");
    fs::write(&huge, vec![b'1'; 10 << 20]).unwrap();
    let mut all = Vec::new();
    files(&heron.path("/sys"), &mut all);
    files(&heron.path("/proc"), &mut all);
    assert!(all.len() > 80, "{} files are no box", all.len());

    for file in &all {
        let text = fs::read(file).unwrap();
        let name = file.strip_prefix(heron.root()).unwrap().display().to_string();
        for how in SPOILS {
            let case = format!("{name} {how}");
            spoil(file, how, &text, &huge);
            let spoilt = rounds(&heron).round();
            // A chip of another name is another chip, and may then have values of its own.
            if !name.ends_with("/name") {
                assert_nothing_invented(&case, &good, &spoilt);
            }
            unspoil(file, &text);
            assert_eq!(panics.load(Ordering::SeqCst), 0, "{case}");
        }
    }
    let again = until(&mut rounds(&heron), "an answer from everybody", all_answered);
    assert_eq!(figures(&again), good, "the box was put back as it was");
}

#[test]
fn what_is_spoilt_while_it_is_watched_is_missing_or_as_it_was() {
    let heron = heron();
    let huge = heron.path("/huge");
    fs::write(&huge, vec![b'1'; 10 << 20]).unwrap();
    let mut watched = rounds(&heron);
    until(&mut watched, "an answer from everybody", all_answered);
    let has_rates = |snapshot: &Snapshot| snapshot.drives.iter().all(|drive| drive.traffic.get().is_some());
    let good = until(&mut watched, "rates", |snapshot| has_rates(snapshot).then(|| figures(snapshot)));

    let often_read =
        ["stat", "rx_bytes", "tx_bytes", "carrier", "speed", "array_state", "degraded", "fan1_input", "temp"];
    let mut all = Vec::new();
    files(&heron.path("/sys"), &mut all);
    all.retain(|file| often_read.iter().any(|name| file.ends_with(name)));
    assert!(all.len() >= often_read.len());
    for file in &all {
        let text = fs::read(file).unwrap();
        for how in SPOILS {
            let case = format!("{} {how}", file.strip_prefix(heron.root()).unwrap().display());
            spoil(file, how, &text, &huge);
            std::thread::sleep(Duration::from_millis(1));
            assert_nothing_invented(&case, &good, &watched.round());
            unspoil(file, &text);
        }
    }
    let again = |snapshot: &Snapshot| (figures(snapshot) == good).then_some(());
    until(&mut watched, "everything again", again);
}

#[test]
fn folders_that_cannot_be_listed_are_said_and_not_taken_for_empty() {
    let blind = |spoil: &dyn Fn(&PretendBox)| {
        let heron = heron();
        spoil(&heron);
        let told = rounds(&heron).round().blind;
        told.iter().map(|blind| format!("{:?}: {}", blind.what, why(&blind.why))).collect::<Vec<_>>().join("; ")
    };
    assert_eq!(
        blind(&|heron| {
            heron.remove("/sys");
        }),
        "Drives: no such file (sys/block); Links: no such file (class/net); Pools: no such file (sys/block)"
    );
    let a_file_for = |folder: &'static str| {
        move |heron: &PretendBox| {
            heron.remove(folder).write(folder, "1\n");
        }
    };
    assert_eq!(
        blind(&a_file_for("/sys/block")),
        "Drives: unreadable: sys/block: not a directory; Pools: unreadable: sys/block: not a directory"
    );
    assert_eq!(blind(&a_file_for("/sys/class/net")), "Links: unreadable: class/net: not a directory");
    assert_eq!(blind(&a_file_for("/sys/class/hwmon")), "Chips: unreadable: class/hwmon: not a directory");
    assert_eq!(
        blind(&|heron| {
            heron.remove("/proc/self/mountinfo");
        }),
        "Mounts: no such file (self/mountinfo)"
    );
    assert_eq!(blind(&|_| ()), "");
}

#[test]
fn a_link_that_leads_in_a_circle_or_out_of_the_box_is_no_drive() {
    let heron = heron();
    for (name, to) in [("sdx", "/sys/block/sdx"), ("sdy", "/sys/block/sdz"), ("sdz", "/sys/block/sdy")] {
        heron.link(&format!("/sys/block/{name}"), to);
    }
    std::os::unix::fs::symlink("/sys/kernel", heron.path("/sys/block/sdw")).unwrap();
    let snapshot = rounds(&heron).round();
    let devices: Vec<&str> = snapshot.drives.iter().map(|drive| drive.device.as_str()).collect();
    assert_eq!(devices, ["nvme0n1", "sda", "sdb"]);
}

#[test]
fn a_mount_table_cut_anywhere_shows_no_mount_that_is_not_there() {
    let heron = heron();
    let table =
        "27 1 254:0 / / rw shared:1 - ext4 /dev/vda1 rw\n30 27 9:0 / /srv/bird\\040songs rw - xfs /dev/md0 rw\n";
    for cut in 0..=table.len() {
        heron.write_raw("/proc/self/mountinfo", &table.as_bytes()[..cut]);
        let snapshot = rounds(&heron).round();
        let mounts: Vec<&str> = snapshot.volumes.iter().map(|volume| volume.mount.as_str()).collect();
        assert!(["/", "/srv/bird songs"].starts_with(&mounts), "cut at {cut}: {mounts:?}");
        assert_eq!(snapshot.blind, [], "cut at {cut}");
    }
}
