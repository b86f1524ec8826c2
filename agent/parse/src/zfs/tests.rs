//! Stories of `zpool status`: every sample of `zfs/samples` read, cut and bent. Its README says where they are from.

use super::kstat::ZfsPoolState;
use super::scan::{Scan, ScanKind, ScanState, When};
use super::status::{Class, Vdev, VdevErrors, VdevGroup, VdevKind, VdevState, ZfsMember, ZfsMemberState, ZfsStatus};
use super::{status_json, status_text};
use crate::testing::any_bytes;
use proptest::prelude::*;
use std::time::Duration;

macro_rules! samples {
    ($($name:literal),*) => { [$(($name, include_bytes!(concat!("samples/", $name)).as_slice())),*] };
}

const SAMPLES: [(&str, &[u8]); 15] = samples![
    "0.8-scrub.txt",
    "0.8-two-pools.txt",
    "2.0-sequential.txt",
    "2.1-draid.txt",
    "2.1-faulted.txt",
    "2.2-resilver.txt",
    "2.3-checksums.txt",
    "2.3-checksums.json",
    "2.3-offline.txt",
    "2.3-removed.txt",
    "2.3-removed-in-words.json",
    "2.3-resilver.json",
    "2.3-suspended.txt",
    "2.4-expansion.txt",
    "2.4-two-pools.json"
];

/// An hour after the passes of the samples in JSON began.
const NOW: Option<u64> = Some(1_795_593_600);

fn bytes(name: &str) -> &'static [u8] {
    SAMPLES.iter().find(|(found, _)| *found == name).map(|(_, bytes)| *bytes).expect(name)
}

fn read(name: &str, bytes: &[u8]) -> Result<Vec<ZfsStatus>, String> {
    if name.ends_with(".json") { status_json::pools(bytes, NOW) } else { status_text::pools(bytes) }
}

fn all(name: &str) -> Vec<ZfsStatus> {
    read(name, bytes(name)).expect(name)
}

fn only(name: &str) -> ZfsStatus {
    let [status] = <[ZfsStatus; 1]>::try_from(all(name)).expect("one pool");
    status
}

/// A group in few words: name, what it tolerates, how its slots stand.
fn told(group: &VdevGroup) -> String {
    let slots: Vec<String> = group.slots.iter().map(|slot| format!("{:?}", slot.standing)).collect();
    format!("{} {:?} {}", group.name, group.tolerates, slots.join(" "))
}

fn groups(status: &ZfsStatus) -> Vec<String> {
    status.groups().iter().map(told).collect()
}

fn member(status: &ZfsStatus, device: &str) -> ZfsMember {
    status.members().into_iter().find(|member| member.device == device).expect(device)
}

#[test]
fn two_mirrors_under_a_scrub_of_the_0_8_kind() {
    let songs = only("0.8-scrub.txt");
    assert_eq!((songs.name.as_str(), songs.state, songs.guid), ("songs", ZfsPoolState::Online, None));
    assert_eq!((songs.remark.clone(), songs.message_id.clone(), songs.data_errors), (None, None, Some(0)));
    assert_eq!(groups(&songs), ["mirror-0 Some(1) Active Active", "mirror-1 Some(1) Active Active"]);
    let counted = member(&songs, "/dev/disk/by-id/ata-HUT_SONG4000_TRAY4-part1");
    assert_eq!(counted.errors, Some(VdevErrors { read: 0, write: 0, checksum: 2 }));
    let classes: Vec<Class> = songs.members().iter().map(|member| member.class).collect();
    assert_eq!(classes, [[Class::Normal; 4].as_slice(), &[Class::Log, Class::Cache]].concat());

    const GIB: f64 = (1_u64 << 30) as f64;
    let wanted = Scan {
        done_bytes: Some((612.0 * GIB) as u64),
        total_bytes: Some((1.80 * 1024.0 * GIB).round() as u64),
        share: Some(0.332),
        bytes_per_second: Some(151 << 20),
        left: Some(Duration::from_secs(2 * 3600 + 21 * 60 + 40)),
        ..Scan::new(ScanKind::Scrub, ScanState::Running)
    };
    assert_eq!(songs.scans, [wanted]);
}

#[test]
fn a_name_with_a_space_a_file_and_a_disk_known_by_its_number() {
    let pools = all("0.8-two-pools.txt");
    let [archive, songs] = pools.as_slice() else { panic!("{pools:?}") };
    assert_eq!((archive.name.as_str(), archive.scans.as_slice()), ("archive", [].as_slice()));
    assert_eq!(groups(archive), ["/srv/images/archive.img Some(0) Active"]);
    assert_eq!(archive.root.children[0].kind, VdevKind::File);

    assert_eq!((songs.name.as_str(), songs.state), ("night songs", ZfsPoolState::Degraded));
    assert_eq!(songs.message_id.as_deref(), Some("ZFS-8000-4J"));
    assert!(songs.remark.as_deref().is_some_and(|remark| {
        remark.ends_with("invalid. Sufficient replicas exist for the pool to continue functioning in a degraded state.")
    }));
    assert_eq!(groups(songs), ["raidz1-0 Some(1) Active Gone Active"]);
    let gone = member(songs, "/dev/sdb1");
    assert_eq!((gone.guid, gone.note.as_deref()), (Some(3_641_563_920_543_912_741), Some("was /dev/sdb1")));
    let ended = When::Calendar("Sun Feb 9 05:36:45 2020".replace("Feb 9", "Feb  9"));
    let wanted = Scan { errors: Some(0), ended: Some(ended), ..Scan::new(ScanKind::Scrub, ScanState::Finished) };
    assert_eq!(songs.scans, [wanted]);
}

#[test]
fn a_disk_and_its_successor_share_one_place() {
    let songs = only("2.0-sequential.txt");
    assert_eq!(groups(&songs), ["mirror-0 Some(1) Rebuilding Active"]);
    assert_eq!(member(&songs, "/dev/sda1").standing, ZfsMemberState::Offline);
    let running = songs.under_way().expect("a resilver");
    assert_eq!((running.kind, running.share), (ScanKind::Resilver, Some(0.2523)));
    assert_eq!(running.left, Some(Duration::from_secs(12 * 60 + 31)));
    assert_eq!(songs.scans.len(), 2, "the last scrub is told of too");
}

#[test]
fn a_spare_spread_over_a_draid_holds_the_place_of_a_lost_disk() {
    let songs = only("2.1-draid.txt");
    assert_eq!(groups(&songs), [format!("draid2:3d:7c:1s-0 Some(2){}", " Active".repeat(7))]);
    let lost = member(&songs, "/dev/sdd1");
    assert_eq!((lost.standing, lost.note.as_deref()), (ZfsMemberState::Gone, Some("cannot open")));
    assert_eq!(lost.errors, Some(VdevErrors { read: 3, write: 117, checksum: 0 }));
    let spares: Vec<ZfsMember> =
        songs.members().into_iter().filter(|member| member.standing == ZfsMemberState::Spare).collect();
    assert_eq!(spares.iter().map(|spare| spare.device.as_str()).collect::<Vec<_>>(), ["/dev/sdh1"]);
    assert_eq!(spares[0].errors, None, "spares count nothing");
    assert_eq!((songs.scans[0].state, songs.scans[1].state), (ScanState::Canceled, ScanState::Finished));
    assert_eq!(songs.under_way(), None);
}

#[test]
fn a_pool_that_could_not_be_opened_has_no_count_of_damage() {
    let songs = only("2.1-faulted.txt");
    assert_eq!((songs.state, songs.data_errors), (ZfsPoolState::Unavailable, None));
    assert_eq!(songs.root.note.as_deref(), Some("insufficient replicas"));
    assert_eq!(groups(&songs), ["raidz1-0 Some(1) Active Gone Gone"]);
}

#[test]
fn everything_at_once() {
    let songs = only("2.2-resilver.txt");
    let wanted = [
        "raidz2-0 Some(2) Active Rebuilding Active Faulty Active",
        "mirror-3 Some(1) Active Active",
        "mirror-1 Some(1) Active Offline",
    ];
    assert_eq!(groups(&songs), wanted, "data, dedup and special; no log, cache or spare");
    assert_eq!(songs.data_errors, Some(2));
    let faulty = member(&songs, "/dev/disk/by-id/ata-HUT_SONG4000_TRAY4-part1");
    assert_eq!(faulty.errors.map(|errors| errors.write), Some(1239), "1.21K, for want of the exact number");
    let old = member(&songs, "/dev/disk/by-id/ata-HUT_SONG4000_TRAY2-part1");
    assert_eq!((old.guid, old.standing), (Some(4_403_211_122_233_344_455), ZfsMemberState::Offline));
    assert_eq!(member(&songs, "/dev/nvme1n1p1").standing, ZfsMemberState::Gone);
    let scan = songs.under_way().expect("a resilver");
    assert_eq!((scan.share, scan.bytes_per_second), (Some(0.2), Some(554 << 20)));
}

/// A disk was overwritten behind the pool's back: the pool is online all the same.
#[test]
fn the_two_forms_of_one_moment_say_the_same() {
    let (text, json) = (only("2.3-checksums.txt"), only("2.3-checksums.json"));
    for status in [&text, &json] {
        assert_eq!((status.state, status.message_id.as_deref()), (ZfsPoolState::Online, Some("ZFS-8000-9P")));
        assert_eq!(groups(status), ["raidz1-0 Some(1) Active Active Active"]);
        assert_eq!(member(status, "/dev/sdb1").errors.map(|errors| errors.checksum), Some(955));
        assert_eq!(member(status, "/dev/sde1").standing, ZfsMemberState::Spare);
        assert_eq!((status.scans[0].kind, status.scans[0].errors), (ScanKind::Scrub, Some(0)));
    }
    assert_eq!(text.remark, json.remark);
    let seen = |status: &ZfsStatus| status.members().into_iter().map(|m| (m.device, m.standing, m.class, m.errors));
    assert!(seen(&text).eq(seen(&json)), "{text:?}\n{json:?}");
    assert_eq!(json.guid, Some(16_264_776_641_714_663_669));
    assert_eq!(json.scans[0].ended, Some(When::Epoch(1_795_597_719)));
    assert_eq!(text.scans[0].ended, Some(When::Calendar("Wed Nov 25 09:08:39 2026".into())));
}

#[test]
fn a_pulled_disk_is_gone_in_both_forms_and_one_taken_offline_is_not() {
    for name in ["2.3-removed.txt", "2.3-removed-in-words.json"] {
        assert_eq!(groups(&only(name)), ["raidz1-0 Some(1) Active Gone Active"], "{name}");
        assert_eq!(only(name).under_way(), None, "the resilver before is over");
    }
    assert_eq!(groups(&only("2.3-offline.txt")), ["raidz1-0 Some(1) Active Active Offline"]);
    assert_eq!(only("2.3-removed-in-words.json").guid, Some(16_264_776_641_714_663_669), "text, yet exact");
}

/// Two of three disks are pulled, and the tool still calls one of them online: the pool's own word counts.
#[test]
fn a_suspended_pool_is_suspended() {
    let tank = only("2.3-suspended.txt");
    assert_eq!((tank.state, tank.data_errors), (ZfsPoolState::Suspended, Some(324)));
    assert_eq!(member(&tank, "sdc").errors.map(|errors| errors.write), Some(10));
    assert_eq!(tank.root.children[0].children[2].path, None, "without -P nobody said where it is");
}

#[test]
fn a_resilver_in_json() {
    let songs = only("2.3-resilver.json");
    let wanted =
        ["raidz2-0 Some(2) Active Rebuilding Active Faulty Rebuilding Faulty", "mirror-1 Some(1) Active Active"];
    assert_eq!(groups(&songs), wanted, "the spare is not taken for filled while a resilver runs");
    assert_eq!(member(&songs, "/dev/sde1").standing, ZfsMemberState::Gone);
    assert_eq!(songs.members().iter().filter(|member| member.device == "/dev/sdk1").count(), 1);
    let scan = songs.under_way().expect("a resilver");
    assert_eq!(
        (scan.done_bytes, scan.total_bytes, scan.share),
        (Some(2_600_000_000_000), Some(13_000_000_000_000), Some(0.2))
    );
    // 2.6 TB in the hour since the start; 10.4 TB are four more hours.
    assert_eq!(scan.bytes_per_second, Some(2_600_000_000_000 / 3600));
    assert_eq!(scan.left.map(|left| left.as_secs() / 60), Some(4 * 60));
    let timeless = status_json::pools(bytes("2.3-resilver.json"), None).expect("a pool");
    assert_eq!((timeless[0].scans[0].bytes_per_second, timeless[0].scans[0].left), (None, None));
}

#[test]
fn an_expansion_runs_while_a_scrub_waits() {
    let text = only("2.4-expansion.txt");
    let json = &all("2.4-two-pools.json")[0];
    for status in [&text, json] {
        assert_eq!(groups(status), ["raidz1-0 Some(1) Active Active Active Active"]);
        let running = status.under_way().expect("an expansion");
        assert_eq!((running.kind, running.state), (ScanKind::Expansion, ScanState::Running));
        assert_eq!(running.share.map(|share| (share * 10_000.0).round()), Some(2441.0));
        assert_eq!((status.scans[0].kind, status.scans[0].state), (ScanKind::Scrub, ScanState::Paused));
        assert_eq!(status.scans[0].share.map(|share| (share * 10_000.0).round()), Some(3320.0));
        assert_eq!((status.scans[0].bytes_per_second, status.scans[0].left), (None, None));
    }
    let cellar = &all("2.4-two-pools.json")[1];
    assert_eq!((cellar.state, groups(cellar)), (ZfsPoolState::Suspended, vec!["sdx Some(0) Gone".to_owned()]));
}

#[test]
fn no_pools_is_an_answer_and_nothing_is_none() {
    assert_eq!(status_text::pools(b"no pools available\n"), Ok(Vec::new()));
    assert_eq!(status_json::pools(b"{\"pools\":{}}\n", NOW), Ok(Vec::new()));
    assert_eq!(status_text::pools(b""), Err("expected a pool, found nothing".into()));
    assert_eq!(status_json::pools(b"invalid option\n", NOW), Err("expected JSON, found `invalid option`".into()));
    assert_eq!(status_json::pools(b"{}", NOW), Err("found JSON without `pools`".into()));
}

#[test]
fn warnings_before_the_answer_are_passed_over() {
    for (name, bytes) in SAMPLES {
        let warned = [b"zpool: some \xff warning: {really}\n\tconfig: of what\n".as_slice(), bytes].concat();
        assert_eq!(read(name, &warned), read(name, bytes), "{name}");
    }
}

#[test]
fn two_pools_of_one_name_are_an_error() {
    let twice = [bytes("2.3-offline.txt"), b"\n", bytes("2.3-removed.txt")].concat();
    let wanted = Err("expected pools of different names, found two called `tank`".to_owned());
    assert_eq!(status_text::pools(&twice), wanted);
    let json = String::from_utf8_lossy(bytes("2.4-two-pools.json")).replace("cellar", "songs");
    assert_eq!(status_json::pools(json.as_bytes(), NOW), wanted.map_err(|said| said.replace("tank", "songs")));
}

#[test]
fn absurd_numbers_are_values_or_errors() {
    let text = String::from_utf8_lossy(bytes("2.3-offline.txt")).replace("  955", "18446744073709551615");
    let tank = &status_text::pools(text.as_bytes()).expect("a pool")[0];
    assert_eq!(member(tank, "/dev/sdb1").errors.map(|errors| errors.checksum), Some(u64::MAX));
    let beyond = status_text::pools(text.replace("551615", "551616").as_bytes());
    assert_eq!(
        beyond.expect_err("no count"),
        "pool `tank`: expected a count, found `18446744073709551616` beside `/dev/sdb1`"
    );

    let json = String::from_utf8_lossy(bytes("2.3-resilver.json"));
    let past = json.replace("\"issued\":2600000000000", "\"issued\":18446744073709551615");
    let scan = &status_json::pools(past.as_bytes(), NOW).expect("a pool")[0].scans[0];
    assert_eq!((scan.share, scan.left), (None, None), "more done than there is");
    let skipped = json.replace("\"skipped\":200000000000", "\"skipped\":18446744073709551615");
    assert_eq!(status_json::pools(skipped.as_bytes(), NOW).expect("a pool")[0].scans[0].total_bytes, None);
    let early = status_json::pools(json.as_bytes(), Some(1_795_590_000)).expect("a pool");
    assert_eq!(early[0].scans[0].bytes_per_second, None, "no time has passed");
    let strange = json.replace("\"read_errors\":12", "\"read_errors\":-1");
    assert_eq!(member(&status_json::pools(strange.as_bytes(), NOW).expect("a pool")[0], "/dev/sdd1").errors, None);
}

#[test]
fn a_kind_of_vdev_that_is_not_known_tolerates_nobody_knows_what() {
    let text = String::from_utf8_lossy(bytes("2.3-removed.txt")).replace("raidz1-0", "hydra7-0");
    assert_eq!(groups(&status_text::pools(text.as_bytes()).expect("a pool")[0]), ["hydra7-0 None Active Gone Active"]);
    let json = String::from_utf8_lossy(bytes("2.3-removed-in-words.json")).replace("\"raidz\"", "\"hydra\"");
    assert_eq!(
        groups(&status_json::pools(json.as_bytes(), NOW).expect("a pool")[0]),
        ["raidz1-0 None Active Gone Active"]
    );
    let words = String::from_utf8_lossy(bytes("2.3-removed.txt")).replace("REMOVED", "ABDUCED");
    assert_eq!(
        groups(&status_text::pools(words.as_bytes()).expect("a pool")[0]),
        ["raidz1-0 Some(1) Active Unknown Active"]
    );
}

#[test]
fn names_of_vdevs() {
    let cases = [
        ("mirror-12", Some(VdevKind::Mirror)),
        ("raidz3-0", Some(VdevKind::Raidz(3))),
        ("raidz9-0", None),
        ("draid1:4d:11c:1s-0", Some(VdevKind::Draid(1))),
        ("draid2-0", Some(VdevKind::Draid(2))),
        ("draid2-0-3", Some(VdevKind::DraidSpare)),
        ("/dev/disk/by-id/mirror-0", None),
        ("mirror-", None),
        ("", None),
    ];
    for (name, wanted) in cases {
        assert_eq!(VdevKind::by_name(name), wanted, "{name}");
    }
}

#[test]
fn trees_that_cannot_be_are_told_of() {
    let text = String::from_utf8_lossy(bytes("2.3-offline.txt")).into_owned();
    let cases = [
        ("\t    /dev/sdb1  ", "\t            b  ", "found `b` below nothing"),
        ("\t  raidz1-0     ", "\t   raidz1-0    ", "found `raidz1-0` at depth 3"),
        ("\ttank           DEG", "\ttin            DEG", "found `tin` at depth 0"),
        ("\t    /dev/sda1  ", "\t  mirror-1     ", "found `raidz1-0` without parts"),
        ("\tNAME           STATE", "\tNAME           STOAT", "expected NAME and STATE"),
        (" state: DEGRADED", " state: DEGRADER", "expected a state of a ZFS pool, found `DEGRADER`"),
        ("errors: No known data errors", "errors: Some", "expected a count of data errors, found `Some`"),
    ];
    for (found, bent, wanted) in cases {
        assert!(text.contains(found), "{found}");
        let why = status_text::pools(text.replace(found, bent).as_bytes()).expect_err(bent);
        assert!(why.starts_with("pool `tank`: ") && why.contains(wanted), "{why}");
    }
}

/// Whatever is left of an answer: each pool in it is as in the whole, or told of as broken.
#[test]
fn no_cut_makes_a_pool_look_better() {
    for (name, bytes) in SAMPLES {
        let whole = all(name);
        for length in 0..bytes.len() {
            for status in read(name, &bytes[..length]).unwrap_or_default() {
                let broken = matches!(status.state, ZfsPoolState::Unavailable | ZfsPoolState::Faulted);
                assert!(broken || whole.contains(&status), "{name} cut at {length}: {status:?}");
            }
        }
    }
}

fn depth(vdev: &Vdev) -> usize {
    1 + vdev.children.iter().map(depth).max().unwrap_or(0)
}

proptest! {
    #[test]
    fn any_bytes_are_pools_or_an_error(bytes in any_bytes(300), now in any::<Option<u64>>()) {
        for told in [status_text::pools(&bytes), status_json::pools(&bytes, now)] {
            prop_assert!(told.is_err_and(|why| why.starts_with("expected ") || why.starts_with("JSON: ")));
        }
    }

    #[test]
    fn bent_samples_stay_within_bounds(
        (name, bytes) in prop::sample::select(SAMPLES.to_vec()),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..12),
        copies in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 0..4),
        now in any::<Option<u64>>(),
    ) {
        let mut lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
        for (from, to) in copies {
            let line = lines[from.index(lines.len())];
            lines.insert(to.index(lines.len()), line);
        }
        let mut bent = lines.concat();
        for (at, byte) in changes {
            let at = at.index(bent.len());
            bent[at] = byte;
        }
        let told = if name.ends_with(".json") { status_json::pools(&bent, now) } else { status_text::pools(&bent) };
        for status in told.unwrap_or_default() {
            prop_assert!(depth(&status.root) <= 10);
            prop_assert!(status.scans.iter().filter_map(|scan| scan.share).all(|share| (0.0..=1.0).contains(&share)));
            prop_assert!(status.groups().iter().all(|group| !group.slots.is_empty()));
            let healthy = status.members().iter().filter(|member| member.standing == ZfsMemberState::Active).count();
            let online = count(&status.root, &|vdev| matches!(vdev.state, VdevState::Online | VdevState::Degraded));
            prop_assert!(healthy <= online);
        }
    }

    /// Rows nested as deep as a text can nest them: no tree is built of it, and no stack runs out.
    #[test]
    fn depth_is_bounded(levels in 0_usize..600) {
        let row = |level: usize, name: &str| format!("\t{:<1302}ONLINE  0 0 0\n", "  ".repeat(level) + name);
        let rows: String = (1..=levels).map(|level| row(level, "x")).collect();
        let head = format!("  pool: p\n state: ONLINE\nconfig:\n\n\t{:<1302}STATE\n{}", "NAME", row(0, "p"));
        let text = format!("{head}{rows}\nerrors: No known data errors\n");
        let told = status_text::pools(text.as_bytes());
        prop_assert_eq!(told.is_ok(), (1..=8).contains(&levels), "{:?}", told.err());
    }
}

fn count(vdev: &Vdev, wanted: &impl Fn(&Vdev) -> bool) -> usize {
    usize::from(vdev.children.is_empty() && wanted(vdev))
        + vdev.children.iter().map(|part| count(part, wanted)).sum::<usize>()
}
