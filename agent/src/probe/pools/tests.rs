//! Stories of when pools are asked, and of what is said of those that do not answer.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "tests write the files that are read")]

use super::*;
use crate::reading::{Missing, PoolRunning, Reason, WhyMissing, Writing};
use crate::sense::parse::dm::raid;
use crate::sense::parse::zfs::status_json;
use crate::units::Bytes;
use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;

const UUID: &str = "22bf3b64-4c77-46ba-a490-0dfb7c90afd3";

fn at(seconds: u64) -> Moment {
    Moment::after_boot(Duration::from_secs(seconds))
}

/// The pools of a tree in a temporary folder, seen every two seconds as the probe does.
struct Hut {
    folder: tempfile::TempDir,
    pools: SeenPools,
}

impl Hut {
    fn new(files: &[(&str, &str)]) -> Self {
        let here = Self { folder: tempfile::tempdir().unwrap(), pools: SeenPools::default() };
        files.iter().for_each(|(file, text)| here.write(file, text));
        here
    }

    fn path(&self, file: &str) -> std::path::PathBuf {
        self.folder.path().join(file)
    }

    fn write(&self, file: &str, text: &str) {
        fs::create_dir_all(self.path(file).parent().unwrap()).unwrap();
        fs::write(self.path(file), text).unwrap();
    }

    fn link(&self, file: &str, to: impl AsRef<Path>) {
        fs::create_dir_all(self.path(file).parent().unwrap()).unwrap();
        symlink(to, self.path(file)).unwrap();
    }

    fn host(&self) -> Host {
        Host::at(self.folder.path())
    }

    /// Who is asked at this second; the question is under way from then on.
    fn asked(&mut self, second: u64, mounts: &[&Mount]) -> Vec<Which> {
        let host = self.host();
        self.pools.look(&host, false, at(second));
        let due = self.pools.questions(&host, &Clock::of_this_machine(), mounts, at(second));
        let whom: Vec<Which> = due.into_iter().map(|(which, _)| which).collect();
        whom.iter().for_each(|which| self.pools.asked(which, at(second)));
        whom
    }

    /// At which seconds somebody is asked, of those from the first to the last.
    fn seconds_of_questions(&mut self, seconds: std::ops::RangeInclusive<u64>) -> Vec<u64> {
        seconds.step_by(2).filter(|&second| !self.asked(second, &[]).is_empty()).collect()
    }

    fn read(&mut self, second: u64) -> (Vec<Pool>, Vec<Blind>) {
        self.pools.as_read(&self.host(), None, at(second))
    }
}

fn tank() -> Which {
    Which::Zfs("tank".to_owned())
}

fn a_zfs_pool() -> Hut {
    Hut::new(&[("proc/spl/kstat/zfs/tank/state", "ONLINE\n")])
}

fn zpool_told(here: &Hut, sample: &[u8]) -> PoolAnswer {
    let mut status = status_json::pools(sample, None).unwrap().remove(0);
    status.name = "tank".to_owned();
    PoolAnswer::Zfs(Ok(Box::new(pools::zfs::ZpoolReport::new(
        &here.host(),
        zfs::ZpoolOutput { status, size: Ok(Bytes(1)) },
    ))))
}

const CALM: &[u8] = include_bytes!("../../../parse/src/zfs/samples/2.3-checksums.json");
const RESILVERS: &[u8] = include_bytes!("../../../parse/src/zfs/samples/2.3-resilver.json");

fn no_members(pool: &str, why: Missing) -> Blind {
    Blind { what: Listing::Members { pool: pool.to_owned() }, why }
}

fn no_answer() -> Missing {
    Missing::of(Reason::TimedOut)
}

#[test]
fn a_calm_pool_is_asked_once_a_minute() {
    let mut heron = a_zfs_pool();
    assert_eq!(heron.seconds_of_questions(0..=130), [0, 60, 120]);
}

#[test]
fn a_pool_whose_state_has_changed_is_asked_at_once() {
    let mut heron = a_zfs_pool();
    assert_eq!(heron.seconds_of_questions(0..=8), [0]);
    heron.write("proc/spl/kstat/zfs/tank/state", "DEGRADED\n");
    assert_eq!(heron.seconds_of_questions(10..=60), [10]);
}

#[test]
fn a_pool_at_work_is_asked_until_its_work_ends() {
    let mut heron = a_zfs_pool();
    assert_eq!(heron.seconds_of_questions(0..=0), [0]);
    let told = zpool_told(&heron, RESILVERS);
    heron.pools.take_in(&tank(), told, at(1));
    heron.read(1);
    assert_eq!(heron.seconds_of_questions(2..=30), [10, 20, 30]);
    let told = zpool_told(&heron, CALM);
    heron.pools.take_in(&tank(), told, at(31));
    heron.read(31);
    assert_eq!(heron.seconds_of_questions(32..=100), [90]);
}

#[test]
fn a_drive_that_goes_has_its_pool_asked_at_once() {
    let mut heron = a_zfs_pool();
    for (port, drive) in (1..).zip(["sda", "sdb", "sdc"]) {
        let block = format!("sys/devices/ata{port}/block/{drive}");
        heron.write(&format!("{block}/{drive}1/size"), "1953525168\n");
        heron.link(&format!("sys/class/block/{drive}1"), format!("../../devices/ata{port}/block/{drive}/{drive}1"));
        heron.write(&format!("dev/{drive}1"), "");
    }
    assert_eq!(heron.seconds_of_questions(0..=0), [0]);
    let told = zpool_told(&heron, CALM);
    heron.pools.take_in(&tank(), told, at(1));
    assert_eq!(heron.seconds_of_questions(2..=10), [0_u64; 0]);
    fs::remove_dir_all(heron.path("sys/devices/ata2")).unwrap();
    assert_eq!(heron.seconds_of_questions(12..=60), [12]);
    let pool = heron.read(60).0.remove(0);
    assert!(pool.members[1].device_gone && !pool.members[0].device_gone, "{:?}", pool.members);
}

#[test]
fn a_suspended_pool_is_asked_nothing_until_it_runs_for_good() {
    let mut heron = a_zfs_pool();
    heron.write("proc/spl/kstat/zfs/tank/state", "SUSPENDED\n");
    assert_eq!(heron.seconds_of_questions(0..=200), [0_u64; 0]);
    assert!(heron.pools.is_suspended("tank") && !heron.pools.is_suspended("songs"));
    assert_eq!(heron.read(200).0[0].running.get(), Some(&PoolRunning::Suspended));
    heron.write("proc/spl/kstat/zfs/tank/state", "ONLINE\n");
    assert_eq!(heron.seconds_of_questions(202..=210), [208]);
}

#[test]
fn an_answer_that_does_not_come_leaves_the_older_one_until_it_is_stale() {
    let mut heron = a_zfs_pool();
    heron.asked(0, &[]);
    heron.pools.give_up(&tank(), no_answer(), at(10));
    let (pools, blind) = heron.read(10);
    assert_eq!((pools[0].level.as_str(), pools[0].running.get()), ("", Some(&PoolRunning::Running)));
    assert_eq!(blind, [no_members("tank", no_answer())]);

    let told = zpool_told(&heron, CALM);
    heron.pools.take_in(&tank(), told, at(20));
    assert_eq!(heron.read(20).1, [], "a late answer counts");
    heron.pools.give_up(&tank(), no_answer(), at(70));
    assert_eq!((heron.read(70).0[0].level.as_str(), heron.read(70).1.len()), ("raidz1", 0));
    assert_eq!(heron.read(200).1.len(), 1, "what was told three minutes ago is no longer news");
}

fn a_btrfs_mirror() -> Hut {
    let mut files = vec![(format!("sys/fs/btrfs/{UUID}/label"), "songs\n".to_owned())];
    for (number, drive) in [(1, "sda"), (2, "sdb")] {
        files.push((format!("sys/fs/btrfs/{UUID}/devinfo/{number}/missing"), "0\n".to_owned()));
        files.push((format!("sys/devices/ata{number}/block/{drive}/size"), "1953525168\n".to_owned()));
        files.push((format!("dev/{drive}"), String::new()));
    }
    let files: Vec<(&str, &str)> = files.iter().map(|(file, text)| (file.as_str(), text.as_str())).collect();
    let heron = Hut::new(&files);
    for (number, drive) in [(1, "sda"), (2, "sdb")] {
        let to = format!("../../../../devices/ata{number}/block/{drive}");
        heron.link(&format!("sys/fs/btrfs/{UUID}/devices/{drive}"), to);
    }
    heron.link("dev/disk/by-id/ata-WREN-0002", "../../sdb");
    heron
}

fn mount(file_system: &str, source: &str) -> Mount {
    Mount {
        device: "0:45".into(),
        root: "/".into(),
        point: "/srv".into(),
        file_system: file_system.into(),
        source: source.into(),
        writing: Writing::Allowed,
        options: "rw".into(),
    }
}

#[test]
fn a_btrfs_file_system_is_asked_where_it_is_mounted() {
    let mut heron = a_btrfs_mirror();
    let songs = || Which::Btrfs(UUID.to_owned());
    assert_eq!(heron.asked(0, &[]), [], "mounted out of sight");
    assert_eq!(heron.asked(2, &[&mount("ext4", "/dev/sda"), &mount("btrfs", "/dev/sdc")]), []);
    assert_eq!(heron.asked(4, &[&mount("btrfs", "/dev/sda")]), [songs()]);
    assert_eq!(heron.asked(64, &[&mount("btrfs", "/dev/disk/by-id/ata-WREN-0002")]), [songs()]);
    // The files are looked at every ten seconds; what they say then is news at once.
    heron.write(&format!("sys/fs/btrfs/{UUID}/devinfo/2/missing"), "1\n");
    assert_eq!(heron.asked(66, &[&mount("btrfs", "/dev/sda")]), []);
    assert_eq!(heron.asked(74, &[&mount("btrfs", "/dev/sda")]), [songs()]);
    assert!(heron.pools.has(&songs()));
    fs::remove_dir_all(heron.path("sys/fs/btrfs")).unwrap();
    heron.asked(90, &[]);
    assert!(!heron.pools.has(&songs()), "unmounted");
}

#[test]
fn what_another_file_system_tells_is_not_believed() {
    let mut heron = a_btrfs_mirror();
    heron.asked(0, &[&mount("btrfs", "/dev/sda")]);
    let told = |uuid: &str| {
        let told = MountedFileSystem {
            uuid: uuid.to_owned(),
            wanted: 2,
            devices: Vec::new(),
            balance: Ok(None),
            checked: None,
        };
        PoolAnswer::Btrfs(Ok(told))
    };
    heron.pools.take_in(&Which::Btrfs(UUID.to_owned()), told("00000000-4c77-46ba-a490-0dfb7c90afd3"), at(1));
    let found = format!("expected the file system {UUID}, found 00000000-4c77-46ba-a490-0dfb7c90afd3");
    assert_eq!(heron.read(1).1, [no_members("songs", Missing::found(Reason::Unreadable, found))]);
    heron.pools.take_in(&Which::Btrfs(UUID.to_owned()), told(UUID), at(2));
    assert_eq!(heron.read(2).1, []);
}

/// Sysfs does not say how an LVM volume stands: until the device mapper does, nobody knows.
#[test]
fn an_lvm_volume_that_never_told_has_its_reason() {
    let mut heron = Hut::new(&[
        ("sys/block/dm-4/dm/name", "vg-lv\n"),
        ("sys/block/dm-4/dm/uuid", "LVM-tcJE\n"),
        ("sys/block/dm-4/size", "409600\n"),
        ("sys/block/dm-4/slaves/dm-1/dm/name", "vg-lv_rimage_0\n"),
        ("sys/block/dm-4/slaves/dm-1/dev", "253:1\n"),
    ]);
    let volume = Which::Lvm("vg-lv".to_owned());
    assert_eq!(heron.asked(0, &[]), std::slice::from_ref(&volume));
    let running = |heron: &mut Hut, second| heron.read(second).0[0].running.value.clone();
    assert_eq!(running(&mut heron, 0), Err(WhyMissing::Pending.into()));
    let refused = Missing::found(Reason::Refused, "mapper/control");
    heron.pools.take_in(&volume, PoolAnswer::Lvm(Err(refused.clone())), at(1));
    assert_eq!(running(&mut heron, 1), Err(refused));
    assert_eq!(heron.read(1).1, [], "said once, by the pool itself");
    let status = raid::status("raid1 2 AD 409600/409600 idle 0 0 -").unwrap();
    let table = raid::table("raid1 3 0 region_size 4096 2 253:0 253:1 253:2 253:3").unwrap();
    heron.pools.take_in(&volume, PoolAnswer::Lvm(Ok(RaidReport { status, table })), at(2));
    assert_eq!(running(&mut heron, 2), Ok(PoolRunning::Running));
}
