//! ZFS pools: what the module's files say, what `zpool` told of the devices, and what becomes of both when drives go.
//! Whatever is told comes from the samples of `zfs/samples`, whose README says where they are from.

use super::{rounds, until};
use traylight::clock::Moment;
use traylight::judge::redundancy::standing;
use traylight::reading::{ActivityKind, AfterCrash, LastCheck, Member, MemberErrorKind, Pool, PoolRunning, WhyMissing};
use traylight::sense::host::Host;
use traylight::sense::parse::zfs;
use traylight::sense::parse::zfs::kstat::ZfsPoolState;
use traylight::sense::pools::zfs::{ZpoolReport, pool};
use traylight::sense::zfs::{ListedZfsPool, ZpoolOutput};
use traylight::units::Bytes;
use traylight::verdict::Redundancy;
use traylight_tests::pretend_box::PretendBox;

macro_rules! sample {
    ($name:literal) => {
        include_bytes!(concat!("../../../agent/parse/src/zfs/samples/", $name))
    };
}

const GUID: u64 = 16_264_776_641_714_663_669;

/// Disks in trays, each with the partition that ZFS makes on it.
fn disks(drives: &[&str]) -> PretendBox {
    let heron = PretendBox::new();
    for (port, drive) in (1..).zip(drives) {
        heron.sata_drive(drive, port, &format!("WREN-{port:04}"), "Warbler 4T");
        let partition = format!("{drive}1");
        heron.partition(drive, &partition).nodes(&[(&partition, None)]);
    }
    heron
}

fn told(heron: &PretendBox, sample: &[u8], name: &str) -> ZpoolReport {
    // The reader of words takes whatever does not begin as JSON does.
    let pools =
        if sample.starts_with(b"{") { zfs::status_json::pools(sample, None) } else { zfs::status_text::pools(sample) };
    let status = pools.unwrap().into_iter().find(|status| status.name == name).unwrap();
    ZpoolReport::new(&Host::at(heron.root()), ZpoolOutput { status, size: Ok(Bytes(1_431_655_765)) })
}

fn as_pool(heron: &PretendBox, state: ZfsPoolState, told: &ZpoolReport) -> Pool {
    let spotted = ListedZfsPool { name: told.status.name.clone(), guid: Some(GUID), state: Ok(state) };
    pool(&Host::at(heron.root()), &spotted, &Ok(state), Some(told), Moment::default())
}

fn from(sample: &[u8], name: &str) -> Pool {
    let heron = PretendBox::new();
    let told = told(&heron, sample, name);
    as_pool(&heron, told.status.state, &told)
}

/// A member in few words: its place, device, drive, state, and whether it is gone.
fn words(member: &Member) -> String {
    let place = member.slot.map_or("-".to_owned(), |slot| slot.to_string());
    let gone = if member.device_gone { " gone" } else { "" };
    format!("{place} {} on {} {:?}{gone}", member.device, member.drive_device, member.state)
}

fn members(pool: &Pool) -> Vec<String> {
    pool.members.iter().map(words).collect()
}

/// Lost, lives, spare, vital places.
fn stands(pool: &Pool) -> (u32, bool, u32, Vec<u32>) {
    let Redundancy { lost, lives, spare, vital, .. } = standing(pool);
    (lost, lives, spare, vital.into_iter().collect())
}

#[test]
fn a_whole_raidz_has_every_drive_in_its_place_and_a_spare_beside() {
    let heron = disks(&["sda", "sdb", "sdc", "sde"]);
    let tank = as_pool(&heron, ZfsPoolState::Online, &told(&heron, sample!("2.3-checksums.json"), "tank"));
    assert_eq!(
        (tank.key.as_str(), tank.name.as_str(), tank.level.as_str()),
        ("16264776641714663669", "tank", "raidz1")
    );
    assert_eq!((tank.wanted, tank.missing, tank.running.get()), (3, Some(0), Some(&PoolRunning::Running)));
    let wanted = ["0 sda1 on sda Active", "1 sdb1 on sdb Active", "2 sdc1 on sdc Active", "- sde1 on sde Spare"];
    assert_eq!(members(&tank), wanted);
    assert_eq!(stands(&tank), (0, true, 1, vec![]));
    let errors = &tank.members[1].errors;
    let checksums = errors.iter().find(|errors| errors.kind == MemberErrorKind::Checksum).unwrap();
    assert!(checksums.count > 0, "the sample counts some on sdb");
    assert_eq!((tank.lost_data, tank.after_crash), (Some(0), Some(AfterCrash::Nothing)));
    assert_eq!(tank.activity.kind, ActivityKind::Idle);
    assert_eq!(tank.size.get(), Some(&Bytes(1_431_655_765)));
    assert_eq!(tank.last_check, Some(LastCheck { ended: 1_795_597_719, ago: None }), "its scrub, by `end_time`");
}

/// ZFS finds out at the next access; the links of sysfs say it at once.
#[test]
fn a_drive_that_is_pulled_is_gone_before_the_pool_says_so() {
    let heron = disks(&["sda", "sdb", "sdc", "sde"]);
    let told = told(&heron, sample!("2.3-checksums.json"), "tank");
    assert_eq!(told.gone(&Host::at(heron.root())), [""; 0]);
    heron.remove_drive("sdb").remove("/dev/sdb1").remove("/sys/class/block/sdb1");
    let tank = as_pool(&heron, ZfsPoolState::Online, &told);
    assert_eq!(members(&tank)[1], "1 sdb1 on sdb Active gone");
    assert_eq!(stands(&tank), (1, true, 0, vec![0, 2]));
    assert_eq!(told.gone(&Host::at(heron.root())), ["sdb1"]);
}

/// Whoever looks for the first time after that has only a path that leads nowhere; seen on OpenZFS 2.3.9, which says ONLINE of
/// such a drive until it is used.
#[test]
fn a_drive_that_was_pulled_before_the_first_look_is_gone_too() {
    let heron = disks(&["sda", "sdc", "sde"]);
    let told = told(&heron, sample!("2.3-checksums.json"), "tank");
    let tank = as_pool(&heron, ZfsPoolState::Online, &told);
    assert_eq!(members(&tank)[1], "1 sdb1 on sdb1 Active gone");
    assert_eq!(stands(&tank), (1, true, 0, vec![0, 2]));
    heron.nodes(&[("sdb1", None)]);
    assert_eq!(
        stands(&as_pool(&heron, ZfsPoolState::Online, &told)).0,
        0,
        "it is there again, and nobody has asked yet"
    );
    let blind = from(sample!("2.3-checksums.json"), "tank");
    assert_eq!(stands(&blind).0, 0, "without any device file nothing is known of any");
}

/// Names by identity and mapped devices lead to the drives; what the pool has lost is nobody's, even where its path is
/// another's by now.
#[test]
fn paths_lead_to_the_drives_that_are_there() {
    let heron = disks(&["sda", "sdb", "sdc", "sdd"]);
    let by_id = |tray: u32| format!("ata-HUT_SONG4000_TRAY{tray}-part1");
    heron.mapped(0, "tray3", "CRYPT-LUKS2-5a1c0de5", &["sdc1"]);
    heron.nodes(&[("dm-0", Some(&by_id(3)))]);
    for (tray, block) in [(1, "sda1"), (2, "sda1"), (12, "sdb1"), (4, "sdd1")] {
        heron.link(&format!("/dev/disk/by-id/{}", by_id(tray)), &format!("/dev/{block}"));
    }
    let songs = as_pool(&heron, ZfsPoolState::Degraded, &told(&heron, sample!("2.2-resilver.txt"), "songs"));
    let wanted = [
        "0 sda1 on sda Active",
        "1 ata-HUT_SONG4000_TRAY2-part1 on ata-HUT_SONG4000_TRAY2-part1 Offline",
        "1 sdb1 on sdb Rebuilding",
        "2 dm-0 on sdc Active",
        "3 sdd1 on sdd Faulty",
    ];
    assert_eq!(members(&songs)[..5], wanted);
    let tank = as_pool(&heron, ZfsPoolState::Degraded, &told(&heron, sample!("2.3-removed.txt"), "tank"));
    assert_eq!(members(&tank)[1], "1 sdb1 on sdb1 Faulty gone", "sdb is another disk's name by now");
}

#[test]
fn a_mirror_whose_half_is_being_replaced_lives_on_the_other() {
    let songs = from(sample!("2.0-sequential.txt"), "songs");
    assert_eq!((songs.level.as_str(), songs.wanted, songs.missing), ("mirror", 2, Some(1)));
    assert_eq!(stands(&songs), (1, true, 0, vec![1]));
    assert_eq!((songs.activity.kind, songs.activity.done), (ActivityKind::Rebuild, Some(0.2523)));
    // 812M/s by both members together, in units of 1024.
    let speed = songs.activity.speed.unwrap().0;
    assert!((speed - 812.0 * 1_048_576.0 / 2.0).abs() < 1.0, "{speed}");
    assert_eq!(songs.activity.left.map(|left| left.as_secs()), Some(12 * 60 + 31));
}

#[test]
fn a_raidz2_with_two_lost_can_lose_nothing_more_and_its_metadata_neither() {
    let songs = from(sample!("2.2-resilver.txt"), "songs");
    assert_eq!(songs.level, "raidz2 + special mirror + dedup mirror");
    // Five disks, two for metadata, two for the tables; the members for logs, copies and spares have no place.
    assert_eq!((songs.wanted, songs.missing), (9, Some(3)));
    assert_eq!(songs.members.iter().filter(|member| member.slot.is_none()).count(), 4);
    let groups: Vec<(usize, u32)> = songs.groups.iter().map(|group| (group.slots.len(), group.tolerates)).collect();
    assert_eq!(groups, [(5, 2), (2, 1), (2, 1)]);
    // The spent raidz needs its last three; of the special mirror, one is left.
    let (lost, lives, spare, vital) = stands(&songs);
    assert_eq!((lost, lives, spare, vital.len()), (3, true, 0, 4));
    assert_eq!(songs.lost_data, Some(2));
    assert_eq!((songs.activity.kind, songs.activity.done), (ActivityKind::Rebuild, Some(0.2)));
}

#[test]
fn a_spare_that_is_being_filled_stands_in_the_place_of_the_lost_one() {
    let heron = disks(&["sda", "sdk"]);
    let songs = as_pool(&heron, ZfsPoolState::Degraded, &told(&heron, sample!("2.3-resilver.json"), "songs"));
    assert_eq!((songs.level.as_str(), songs.wanted), ("raidz2 + special mirror", 8));
    let spare = songs.members.iter().filter(|member| member.drive_device == "sdk").map(words).collect::<Vec<_>>();
    assert_eq!(spare, ["4 sdk1 on sdk Rebuilding"], "once, and where it stands in");
    // Four of six places hold nothing, which two parities do not survive.
    assert_eq!(songs.missing, Some(4));
}

#[test]
fn a_spare_within_a_draid_holds_the_share_of_the_lost_one() {
    let songs = from(sample!("2.1-draid.txt"), "songs");
    assert_eq!((songs.level.as_str(), songs.wanted, songs.missing), ("draid2", 7, Some(0)));
    assert_eq!(stands(&songs), (0, true, 2, vec![]));
    assert_eq!(members(&songs)[3..5], ["3 sdd1 on sdd1 Faulty gone", "3 draid2-0-0 on draid2-0-0 Active"]);
}

#[test]
fn a_pool_of_one_file_or_disk_is_a_pool_that_can_lose_nothing() {
    let archive = from(sample!("0.8-two-pools.txt"), "archive");
    assert_eq!((archive.level.as_str(), archive.wanted), ("single", 1));
    assert_eq!(members(&archive), ["0 archive.img on archive.img Active"]);
    assert!(!standing(&archive).is_redundant);
}

#[test]
fn passes_have_the_words_of_other_pools() {
    let grows = from(sample!("2.4-expansion.txt"), "songs");
    assert_eq!((grows.activity.kind, grows.activity.done), (ActivityKind::Reshape, Some(0.2441)));
    // The same pool before it grew: only its scrub is there, and that is paused.
    let text = String::from_utf8_lossy(sample!("2.4-expansion.txt"));
    let (before, after) = (text.split("expand:").next().unwrap(), text.split("config:").nth(1).unwrap());
    let held = from(format!("{before}config:{after}").as_bytes(), "songs");
    assert_eq!((held.activity.kind, held.activity.done), (ActivityKind::Frozen, Some(0.332)));
    assert_eq!(from(sample!("0.8-scrub.txt"), "songs").activity.kind, ActivityKind::Check);
}

#[test]
fn a_pool_that_is_frozen_keeps_what_was_known_and_nothing_moves_in_it() {
    let heron = disks(&["sda"]);
    let songs = as_pool(&heron, ZfsPoolState::Suspended, &told(&heron, sample!("2.2-resilver.txt"), "songs"));
    assert_eq!(songs.running.get(), Some(&PoolRunning::Suspended));
    assert_eq!((songs.members.len(), songs.activity.kind), (14, ActivityKind::Idle));
    let broken = from(sample!("2.1-faulted.txt"), "songs");
    assert_eq!((broken.running.get(), standing(&broken).lives), (Some(&PoolRunning::Broken), false));
}

/// Without `zpool`, or while it hangs, nobody knows what is lost; that something is must not be hidden by that.
#[test]
fn a_pool_that_the_module_calls_degraded_is_never_whole() {
    let heron = disks(&["sda", "sdb", "sdc", "sde"]);
    let spotted = ListedZfsPool { name: "tank".to_owned(), guid: Some(GUID), state: Ok(ZfsPoolState::Degraded) };
    let untold = pool(&Host::at(heron.root()), &spotted, &spotted.state, None, Moment::default());
    assert_eq!((untold.missing, standing(&untold).lost), (Some(1), 1));
    let calm = told(&heron, sample!("2.3-checksums.json"), "tank");
    let stale = as_pool(&heron, ZfsPoolState::Degraded, &calm);
    assert_eq!((stale.missing, stands(&stale)), (Some(1), (1, true, 0, vec![0, 1, 2])));
}

/// A recorded tree is asked nothing: the module's own word is all there is.
#[test]
fn the_modules_word_is_in_every_snapshot_and_a_frozen_pool_is_not_asked_for_its_room() {
    let heron = PretendBox::new();
    let mounts = "27 1 254:0 / / rw shared:1 - ext4 /dev/vda1 rw\n\
        30 27 0:44 / /srv/songs rw shared:9 - zfs tank/songs rw,xattr,noacl\n";
    heron.write("/proc/self/mountinfo", mounts).zfs("tank", GUID, "ONLINE").zfs("cellar", 77, "DEGRADED");
    let mut rounds = rounds(&heron);
    let first = rounds.round();
    let pools: Vec<_> = first.pools.iter().map(|pool| (&*pool.name, &*pool.key, pool.running.get().copied())).collect();
    let runs = Some(PoolRunning::Running);
    assert_eq!(pools, [("cellar", "77", runs), ("tank", "16264776641714663669", runs)]);
    let unknown = &first.pools[0];
    assert_eq!((unknown.level.as_str(), unknown.wanted, unknown.missing), ("", 0, Some(1)));
    assert_eq!(first.blind, [], "that nobody may be asked is no fault");
    let room = |volume: &str, snapshot: &traylight::reading::Snapshot| {
        snapshot.volumes.iter().find(|of| of.mount == volume).unwrap().room.missing().unwrap().why
    };
    let recorded = Some(WhyMissing::NotRecorded);
    until(&mut rounds, "an answer", |snapshot| (room("/srv/songs", snapshot) == recorded).then_some(()));

    // One odd word is passed over, but not that everything waits.
    heron.zfs("tank", GUID, "OFFLINE");
    assert_eq!(rounds.round().pools[1].running.get().copied(), runs);
    heron.zfs("tank", GUID, "SUSPENDED");
    assert_eq!(rounds.round().pools[1].running.get(), Some(&PoolRunning::Suspended));

    let frozen = super::rounds(&heron).round();
    let wanted = Some(WhyMissing::PoolSuspended);
    assert_eq!(room("/srv/songs", &frozen), wanted);
    assert_ne!(room("/", &frozen), wanted);
}
