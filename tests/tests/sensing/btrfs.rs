//! btrfs file systems, from the files that the kernel keeps of each mounted one.

use std::fs;
use std::path::Path;
use traylight::reading::Reason;
use traylight::sense::btrfs::{ask, file_systems, last_scrub};
use traylight::sense::host::Host;
use traylight::sense::parse::btrfs::files::Operation;
use traylight::sense::parse::btrfs::members::{BlockDevice, FileSystem, groups, members};
use traylight::sense::parse::btrfs::profiles::{Allocation, ChunkGroup};
use traylight_tests::pretend_box::PretendBox;
use traylight_tests::pretend_pools::UUID;

/// Two disks in trays, with the drives that a file system may be on.
fn two_disks() -> PretendBox {
    let heron = PretendBox::new();
    heron
        .sata_drive("sda", 1, "WREN-0001", "Warbler 4T")
        .sata_drive("sdb", 2, "WREN-0002", "Warbler 4T")
        .list_drives_by_class(&["sda", "sdb"]);
    heron
}

fn songs() -> PretendBox {
    let heron = two_disks();
    heron.btrfs("songs", "raid1", &["sda", "sdb"]);
    heron
}

fn found(heron: &PretendBox) -> Vec<FileSystem> {
    file_systems(&Host::at(heron.root())).unwrap()
}

fn only(heron: &PretendBox) -> FileSystem {
    let [one] = <[FileSystem; 1]>::try_from(found(heron)).unwrap();
    one
}

fn blocks(heron: &PretendBox) -> Vec<String> {
    let line = |BlockDevice { name, drives, gone, .. }: BlockDevice| {
        format!("{name} on {}{}", drives.join("+"), if gone { ", gone" } else { "" })
    };
    only(heron).blocks.into_iter().map(line).collect()
}

/// What each group can lose.
fn losses(heron: &PretendBox) -> Vec<String> {
    let line = |group: &ChunkGroup| format!("{:?} {:?} -{}", group.content, group.profile, group.tolerates);
    groups(&only(heron)).iter().map(line).collect()
}

#[test]
fn a_mirror_is_found_with_its_name_its_devices_and_how_it_is_spread() {
    let songs = only(&songs());
    assert_eq!((songs.uuid.as_str(), songs.label.as_deref()), (UUID, Some("songs")));
    assert_eq!(songs.operation, Ok(Operation::None));
    assert_eq!(songs.devices.iter().map(|device| device.id).collect::<Vec<_>>(), [1, 2]);
    assert!(songs.devices.iter().all(|device| device.missing == Ok(false) && device.errors.is_ok() && !device.is_seed));
    let sizes: Vec<_> = songs.allocations.iter().map(|of| (of.total, of.used, of.disk_total, of.disk_used)).collect();
    assert_eq!(sizes[0], (224_395_264, 104_857_600, 448_790_528, 209_715_200));
    assert_eq!(sizes[1], (73_400_320, 245_760, 146_800_640, 491_520));
    assert_eq!(losses(&self::songs()), ["Data Raid1 -1", "Metadata Raid1 -1", "System Raid1 -1"]);
}

#[test]
fn a_box_without_btrfs_has_none_and_that_is_no_fault() {
    assert_eq!(found(&PretendBox::new()), []);
    let heron = PretendBox::new();
    heron.write("/sys/fs/btrfs/features/raid1c34", "0\n");
    assert_eq!(found(&heron), []);
}

#[test]
fn a_drive_that_is_taken_away_is_gone_although_the_file_system_calls_it_present() {
    let heron = songs();
    heron.remove_drive("sdb");
    assert_eq!(blocks(&heron), ["sda on sda", "sdb on sdb, gone"]);
    assert_eq!(only(&heron).devices[1].missing, Ok(false));
}

#[test]
fn a_device_absent_at_the_mount_has_no_link_and_says_that_it_is_missing() {
    let heron = two_disks();
    heron.btrfs("songs", "raid1", &["sda"]).btrfs_device(2);
    heron.write(&format!("/sys/fs/btrfs/{UUID}/devinfo/2/missing"), "1\n");
    let states: Vec<String> =
        members(&only(&heron), None).into_iter().map(|of| format!("{:?} {:?}", of.id, of.state)).collect();
    assert_eq!(states, ["Some(1) Present", "Some(2) Absent"]);
}

#[test]
fn partitions_and_encrypted_drives_lead_to_the_drives_below() {
    let heron = two_disks();
    heron.partition("sda", "sda1").mapped(0, "songs_b", "CRYPT-LUKS2-5a1c0de5", &["sdb"]);
    heron.btrfs("songs", "raid1", &["sda1", "dm-0"]);
    assert_eq!(blocks(&heron), ["dm-0 on sdb", "sda1 on sda"]);
    // The mapped device outlives its drive.
    heron.remove_drive("sdb");
    assert_eq!(blocks(&heron), ["dm-0 on sdb, gone", "sda1 on sda"]);
    heron.remove_drive("sda");
    assert_eq!(blocks(&heron), ["dm-0 on sdb, gone", "sda1 on sda, gone"]);
}

#[test]
fn a_conversion_left_half_done_is_two_groups() {
    let heron = songs();
    let data = format!("/sys/fs/btrfs/{UUID}/allocation/data");
    heron.write(&format!("{data}/single/total_bytes"), "1073741824\n");
    heron.write(&format!("{data}/single/used_bytes"), "4096\n");
    heron.write(&format!("/sys/fs/btrfs/{UUID}/exclusive_operation"), "balance paused\n");
    assert_eq!(losses(&heron), ["Data Raid1 -1", "Data Single -0", "Metadata Raid1 -1", "System Raid1 -1"]);
    assert_eq!(only(&heron).operation, Ok(Operation::BalancePaused));
}

#[test]
fn a_seed_is_known_by_the_file_system_that_it_belongs_to() {
    let heron = songs();
    heron.write(&format!("/sys/fs/btrfs/{UUID}/devinfo/1/fsid"), "00000000-4c77-46ba-a490-0dfb7c90afd3\n");
    assert_eq!(only(&heron).devices.iter().map(|device| device.is_seed).collect::<Vec<_>>(), [true, false]);
}

#[test]
fn a_recorded_tree_is_asked_nothing_and_its_scrub_file_is_read() {
    let heron = songs();
    let host = Host::at(heron.root());
    assert_eq!(ask(&host, "/srv").map_err(|why| why.reason), Err(Reason::NotRead));
    assert_eq!(last_scrub(&host, UUID).map_err(|why| why.reason), Err(Reason::NotAvailable));
    let fields = "data_bytes_scrubbed:10|tree_bytes_scrubbed:2|uncorrectable_errors:3|corrected_errors:4|t_start:5\
        |duration:6|canceled:0|finished:1";
    let file = format!("/var/lib/btrfs/scrub.status.{UUID}");
    heron.write(&file, &format!("scrub status:1\n{UUID}:2|{fields}\n"));
    let records = last_scrub(&host, UUID).unwrap();
    assert_eq!((records[0].device, records[0].scrubbed, records[0].uncorrectable, records[0].corrected), (2, 12, 3, 4));
    heron.write_raw(&file, b"scrub status:1\n\xff\xfe");
    assert_eq!(last_scrub(&host, UUID).map_err(|why| why.reason), Err(Reason::Unreadable));
}

fn all_files(folder: &Path, found: &mut Vec<String>, root: &Path) {
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let (path, kind) = (entry.path(), entry.file_type().unwrap());
        if kind.is_dir() {
            all_files(&path, found, root);
        } else {
            found.push(format!("/{}", path.strip_prefix(root).unwrap().display()));
        }
    }
}

/// Files go, are empty, hold nonsense, absurd numbers or no text; links lead elsewhere. What is read of them is as it was
/// or missing, and nothing is put in its place.
#[test]
fn whatever_a_file_holds_nothing_is_invented() {
    let mut names = Vec::new();
    let heron = songs();
    all_files(&heron.path(&format!("/sys/fs/btrfs/{UUID}")), &mut names, heron.root());
    assert!(names.len() > 30, "{} files are not the whole", names.len());
    let good = only(&heron);
    for name in names {
        for how in
            [None, Some(&b""[..]), Some(b"\n"), Some(b"-1\n"), Some(b"99999999999999999999\n"), Some(b"\xff\xfe")]
        {
            let (file, aside) = (heron.path(&name), heron.path("/aside"));
            fs::rename(&file, &aside).unwrap();
            if let Some(bytes) = how {
                fs::write(&file, bytes).unwrap();
            }
            let spoilt = only(&heron);
            let _ = fs::remove_file(&file);
            fs::rename(&aside, &file).unwrap();
            let case = format!("{name} {how:?}");
            assert_eq!(spoilt.devices.len(), 2, "{case}");
            for (device, good) in spoilt.devices.iter().zip(&good.devices) {
                assert!(device.errors.is_err() || device.errors == good.errors, "{case}");
                let switches = [(&device.missing, &good.missing), (&device.writeable, &good.writeable)];
                assert!(switches.iter().all(|(found, good)| found.is_err() || found == good), "{case}");
            }
            let as_was = |of: &_| good.allocations.contains(of);
            let less = spoilt.allocations.iter().filter(|of| !as_was(of)).all(|of| of.profiles.is_empty());
            assert!(less, "{case}: {:?}", spoilt.allocations);
            assert!(spoilt.operation.is_err() || spoilt.operation == good.operation, "{case}");
            let is_member = |block: &BlockDevice| block.gone || good.blocks.contains(block);
            assert!(spoilt.blocks.iter().all(is_member), "{case}: {:?}", spoilt.blocks);
        }
    }
}

/// While it is read the file system is unmounted and mounted again, over and over.
#[test]
fn a_file_system_that_vanishes_between_two_reads_is_absent_or_itself() {
    let heron = songs();
    let good = only(&heron);
    let (there, away) = (heron.path(&format!("/sys/fs/btrfs/{UUID}")), heron.path("/sys/fs/away"));
    let devinfo = (there.join("devinfo/2"), heron.path("/sys/fs/two"));
    std::thread::scope(|scope| {
        let mounting = scope.spawn(|| {
            for _ in 0..400 {
                fs::rename(&devinfo.0, &devinfo.1).unwrap();
                fs::rename(&there, &away).unwrap();
                fs::rename(&away, &there).unwrap();
                fs::rename(&devinfo.1, &devinfo.0).unwrap();
            }
        });
        while !mounting.is_finished() {
            for seen in found(&heron) {
                assert_eq!(seen.uuid, good.uuid);
                assert!(seen.devices.iter().all(|device| [1, 2].contains(&device.id)), "{:?}", seen.devices);
                assert!(seen.devices.iter().all(|device| device.missing != Ok(true)), "{:?}", seen.devices);
                let known = |of: &_| good.allocations.iter().any(|good: &_| same_size(good, of));
                assert!(seen.allocations.iter().all(known), "{:?}", seen.allocations);
            }
        }
    });
    assert_eq!(only(&heron), good);
}

fn same_size(good: &Allocation, of: &Allocation) -> bool {
    (good.content, good.total, good.used) == (of.content, of.total, of.used)
}
