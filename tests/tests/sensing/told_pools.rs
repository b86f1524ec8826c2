//! btrfs file systems and LVM RAID volumes as pools: what their files say and what they told, in the same words as any
//! other pool, and what each can still lose.

use traylight::clock::Moment;
use traylight::judge::redundancy::standing;
use traylight::reading::{
    Activity, ActivityKind, AfterCrash, Member, MemberErrorKind, MetadataSpace, Missing, Pool, PoolRunning, Reason,
};
use traylight::sense::host::Host;
use traylight::sense::parse::btrfs::members::{MountedDevice, MountedFileSystem};
use traylight::sense::parse::dm::{members, raid};
use traylight::sense::{btrfs, dm, pools};
use traylight::units::Bytes;
use traylight_tests::pretend_box::PretendBox;
use traylight_tests::pretend_pools::UUID;

const TB: u64 = 1_000_000_000_000;

fn disks(count: u64) -> PretendBox {
    let heron = PretendBox::new();
    for (port, drive) in (1..=count).zip(["sda", "sdb", "sdc", "sdd"]) {
        heron.sata_drive(drive, port, &format!("WREN-{port:04}"), "Warbler 4T").list_drives_by_class(&[drive]);
    }
    heron
}

/// What a file system over these devices answers, each of this size.
fn told(blocks: &[(u64, Option<&str>, u64)]) -> MountedFileSystem {
    let devices = blocks.iter().map(|&(id, block, size)| MountedDevice {
        id,
        block: block.map(str::to_owned),
        size: Bytes(size),
        allocated: Bytes(TB / 2),
        errors: Err(Missing::of(Reason::Refused)),
        scrubbed: Ok(None),
    });
    MountedFileSystem {
        uuid: UUID.to_owned(),
        wanted: blocks.len() as u64,
        devices: devices.collect(),
        balance: Ok(None),
        checked: Some(1_795_597_656),
    }
}

fn songs(heron: &PretendBox, told: Option<&MountedFileSystem>) -> Pool {
    let found = btrfs::file_systems(&Host::at(heron.root())).unwrap();
    pools::btrfs::pool(&found[0], told, Moment::default()).unwrap()
}

fn vg_lv(heron: &PretendBox, status: &str, table: &str) -> Pool {
    let found = dm::volumes(&Host::at(heron.root())).unwrap();
    let told = members::RaidReport { status: raid::status(status).unwrap(), table: raid::table(table).unwrap() };
    pools::lvm::pool(&found[0], Ok(&told), Moment::default())
}

fn members(pool: &Pool) -> Vec<String> {
    let words = |member: &Member| {
        let place = member.slot.map_or("-".to_owned(), |slot| slot.to_string());
        let gone = if member.device_gone { " gone" } else { "" };
        format!("{place} {} on {} {:?}{gone}", member.device, member.drive_device, member.state)
    };
    pool.members.iter().map(words).collect()
}

/// Lost, lives, spare, vital places.
fn stands(pool: &Pool) -> (u32, bool, u32, Vec<u32>) {
    let stands = standing(pool);
    (stands.lost, stands.lives, stands.spare, stands.vital.into_iter().collect())
}

#[test]
fn a_btrfs_mirror_is_whole_by_its_files_alone() {
    let heron = disks(2);
    heron.btrfs("songs", "raid1", &["sda", "sdb"]);
    let pool = songs(&heron, None);
    assert_eq!((pool.key.as_str(), pool.name.as_str(), pool.level.as_str()), (UUID, "songs", "raid1"));
    assert_eq!((pool.wanted, pool.missing, pool.running.get()), (2, Some(0), Some(&PoolRunning::Running)));
    // Nobody has said yet which number is whose; the places are alike.
    assert_eq!(members(&pool), ["1 sda on sda Active", "2 sdb on sdb Active"]);
    assert_eq!(stands(&pool), (0, true, 1, vec![]));
    assert_eq!((pool.after_crash, pool.metadata, pool.activity), (Some(AfterCrash::Nothing), None, Activity::IDLE));
    assert_eq!(pool.size.missing().unwrap().reason, Reason::NotRead);
}

#[test]
fn what_a_btrfs_file_system_tells_puts_numbers_errors_and_room_in_their_places() {
    let heron = disks(2);
    heron.btrfs("songs", "raid1", &["sda", "sdb"]);
    let file = format!("/sys/fs/btrfs/{UUID}/devinfo/2/error_stats");
    heron.write(&file, "write_errs 1\nread_errs 2\nflush_errs 3\ncorruption_errs 4\ngeneration_errs 5\n");
    let pool = songs(&heron, Some(&told(&[(1, Some("sdb"), TB), (2, Some("sda"), TB)])));
    assert_eq!(members(&pool), ["1 sdb on sdb Active", "2 sda on sda Active"]);
    assert_eq!(pool.last_check.map(|check| check.ended), Some(1_795_597_656));
    let errors: Vec<_> = pool.members[1].errors.iter().map(|errors| (errors.kind, errors.count)).collect();
    let wanted = [
        (MemberErrorKind::Read, 2),
        (MemberErrorKind::Write, 1),
        (MemberErrorKind::Flush, 3),
        (MemberErrorKind::Checksum, 4),
        (MemberErrorKind::Generation, 5),
    ];
    assert_eq!(errors, wanted);
    let room = MetadataSpace { unallocated: Bytes(TB), total: Bytes(73_400_320), used: Bytes(245_760) };
    assert_eq!((pool.metadata, pool.size.get()), (Some(room), Some(&Bytes(TB))));
}

#[test]
fn a_btrfs_device_that_is_lost_is_lost_whoever_noticed() {
    let heron = disks(3);
    heron.btrfs("songs", "raid1c3", &["sda", "sdb", "sdc"]);
    heron.remove_drive("sdb");
    let answer = told(&[(1, Some("sda"), TB), (2, Some("sdb"), TB), (3, Some("sdc"), TB)]);
    for told in [None, Some(&answer)] {
        let pool = songs(&heron, told);
        assert_eq!((members(&pool)[1].as_str(), pool.missing), ("2 sdb on sdb Active gone", Some(1)));
        assert_eq!(stands(&pool), (1, true, 1, vec![]));
    }
    // After a restart it is absent, by its number.
    let heron = disks(2);
    heron.btrfs("songs", "raid1", &["sda"]).btrfs_device(2);
    heron.write(&format!("/sys/fs/btrfs/{UUID}/devinfo/2/missing"), "1\n");
    let pool = songs(&heron, None);
    assert_eq!(members(&pool), ["1 sda on sda Active", "2 device 2 on device 2 Faulty gone"]);
    assert_eq!(stands(&pool), (1, true, 0, vec![1]));
}

#[test]
fn the_weaker_half_of_a_btrfs_file_system_decides_and_both_are_named() {
    let heron = disks(3);
    heron.btrfs("songs", "raid1c3", &["sda", "sdb", "sdc"]);
    let data = format!("/sys/fs/btrfs/{UUID}/allocation/data");
    heron.remove(&format!("{data}/raid1c3"));
    heron.write(&format!("{data}/raid5/total_bytes"), "224395264\n");
    heron.write(&format!("{data}/raid5/used_bytes"), "104857600\n");
    let pool = songs(&heron, Some(&told(&[(1, Some("sda"), 3 * TB), (2, Some("sdb"), TB), (3, Some("sdc"), 2 * TB)])));
    assert_eq!((pool.level.as_str(), stands(&pool)), ("raid5 + raid1c3", (0, true, 1, vec![])));
    // Stripes over all three for the first terabyte, over two for the second, and nothing beyond: 2 + 1.
    assert_eq!(pool.size.get(), Some(&Bytes(3 * TB)));
    assert!(!standing(&songs(&single(), None)).is_redundant);
}

/// Two devices one after another: what most are made as when nobody says how.
fn single() -> PretendBox {
    let heron = disks(2);
    heron.btrfs("songs", "single", &["sda", "sdb"]);
    heron
}

#[test]
fn a_file_system_on_one_device_is_no_pool() {
    let heron = disks(1);
    heron.btrfs("songs", "dup", &["sda"]);
    let found = btrfs::file_systems(&Host::at(heron.root())).unwrap();
    assert_eq!(pools::btrfs::pool(&found[0], None, Moment::default()), None);
    // Nor while that one device is being replaced by another.
    heron.btrfs_device(0);
    let found = btrfs::file_systems(&Host::at(heron.root())).unwrap();
    assert_eq!(pools::btrfs::pool(&found[0], None, Moment::default()), None);
}

#[test]
fn what_btrfs_does_alone_has_the_words_of_other_pools() {
    let heron = disks(2);
    heron.btrfs("songs", "raid1", &["sda", "sdb"]);
    let words = [
        ("none", ActivityKind::Idle),
        ("balance", ActivityKind::Balance),
        ("balance paused", ActivityKind::Frozen),
        ("device replace", ActivityKind::Rebuild),
        ("device remove", ActivityKind::Reshape),
        ("swap activate", ActivityKind::Idle),
    ];
    for (word, kind) in words {
        heron.write(&format!("/sys/fs/btrfs/{UUID}/exclusive_operation"), &format!("{word}\n"));
        assert_eq!(songs(&heron, None).activity.kind, kind, "{word}");
    }
    heron.write(&format!("/sys/fs/btrfs/{UUID}/exclusive_operation"), "balance\n");
    let mut answer = told(&[(1, Some("sda"), TB), (2, Some("sdb"), TB)]);
    answer.balance = Ok(Some((1, 4)));
    assert_eq!(songs(&heron, Some(&answer)).activity.done, Some(0.25));
    heron.write(&format!("/sys/fs/btrfs/{UUID}/exclusive_operation"), "none\n");
    answer.devices[0].scrubbed = Ok(Some(0));
    assert_eq!(songs(&heron, Some(&answer)).activity.kind, ActivityKind::Check);
}

const TWO: &str = "raid1 3 0 region_size 4096 2 253:0 253:1 253:2 253:3";

fn lvm_mirror() -> PretendBox {
    let heron = disks(2);
    heron.lvm_mirror(["sda", "sdb"]);
    heron
}

#[test]
fn an_lvm_mirror_has_its_images_in_their_places() {
    let heron = lvm_mirror();
    let pool = vg_lv(&heron, "raid1 2 AA 409600/409600 idle 128 0 -", TWO);
    assert_eq!((pool.name.as_str(), pool.level.as_str(), pool.wanted), ("vg-lv", "raid1", 2));
    assert!(pool.key.starts_with("LVM-"), "{}", pool.key);
    assert_eq!(members(&pool), ["0 vg-lv_rimage_0 on sda Active", "1 vg-lv_rimage_1 on sdb Active"]);
    assert_eq!((stands(&pool), pool.mismatches), ((0, true, 1, vec![]), Some(128)));
    assert_eq!(pool.size.get(), Some(&Bytes::from_sectors(409_600)));
    heron.remove_drive("sdb");
    let pool = vg_lv(&heron, "raid1 2 AA 409600/409600 idle 0 0 -", TWO);
    assert_eq!((members(&pool)[1].as_str(), stands(&pool).2), ("1 vg-lv_rimage_1 on sdb Active gone", 0));
}

#[test]
fn an_lvm_mirror_that_is_filled_anew_says_how_far_it_is() {
    let pool = vg_lv(&lvm_mirror(), "raid1 2 Aa 102400/409600 recover 7 0 -", TWO);
    assert_eq!((pool.activity.kind, pool.activity.done), (ActivityKind::Rebuild, Some(0.25)));
    assert_eq!((pool.missing, stands(&pool)), (Some(1), (1, true, 0, vec![0])));
    assert_eq!(pool.mismatches, None, "what is counted while work runs is not yet whole");
}

/// Two halves of two mirrors may be lost, both halves of one may not (lvmraid(7), from memory).
#[test]
fn an_lvm_raid10_lives_while_each_of_its_mirrors_does() {
    // Four places in two mirrors; images are left in two of them.
    let pool = |letters: &str, devices: &str| {
        let table = format!("raid10 3 128 raid10_copies 2 4 {devices}");
        vg_lv(&lvm_mirror(), &format!("raid10 4 {letters} 1/1 idle 0 0 -"), &table)
    };
    let halves = pool("A-A-", "253:0 253:1 - - 253:2 253:3 - -");
    assert_eq!((stands(&halves), halves.missing), ((2, true, 0, vec![0, 2]), Some(2)));
    let one_whole = pool("AA--", "253:0 253:1 253:2 253:3 - - - -");
    assert_eq!(members(&one_whole)[3], "3 place 3 on place 3 Faulty gone");
    assert!(!standing(&one_whole).lives);
}
