//! Arrays of md whose files cannot be read: no loss is claimed, and a reason is there.

use crate::{heron, rounds};
use traylight::judge::redundancy::standing;
use traylight::reading::{Listing, Missing, Reason, WhyMissing};

/// A pool of md that is whole, with some of its files gone that the kernel always has.
#[test]
fn files_of_md_that_cannot_be_read_are_no_loss_and_have_a_reason() {
    let md = "/sys/devices/virtual/block/md0/md";
    let no_file = |file: &str| Missing::from(WhyMissing::NoFile).of_what_must_be_there().and_found(file);
    let cases = [
        (&["dev-sdb/state"][..], no_file("dev-sdb/state")),
        (&["dev-sdb/slot"], no_file("dev-sdb/slot")),
        (
            &["dev-sdb/block"],
            Missing::found(Reason::Unreadable, "dev-sdb/block: expected a link to its block device, found none"),
        ),
        (&["dev-sda/state", "dev-sda/slot", "dev-sdb/state", "dev-sdb/slot"], no_file("dev-sda/state")),
        (&["raid_disks"], no_file("md/raid_disks")),
        (&["level"], no_file("md/level")),
        (&[""], no_file("md0/md")),
    ];
    for (removed, why) in cases {
        let heron = heron();
        for name in removed {
            heron.remove(format!("{md}/{name}").trim_end_matches('/'));
        }
        let snapshot = rounds(&heron).round();
        let blind: Vec<_> = snapshot.blind.iter().map(|blind| (blind.what.clone(), blind.why.clone())).collect();
        assert_eq!(blind, [(Listing::Members { pool: "md0".into() }, why)], "{removed:?}");
        for pool in &snapshot.pools {
            assert!(pool.is_read_in_part(), "{removed:?}: {pool:?}");
            assert_eq!(standing(pool).lost, 0, "{removed:?}: {pool:?}");
            assert!(pool.members.iter().all(|member| !member.device_gone), "{removed:?}: {pool:?}");
        }
    }
}

/// What the kernel counts as missing is told although the files of the members cannot be read.
#[test]
fn a_degraded_pool_is_degraded_although_its_members_cannot_be_read() {
    let (heron, md) = (heron(), "/sys/devices/virtual/block/md0/md");
    heron.write(&format!("{md}/degraded"), "1\n").remove(&format!("{md}/dev-sdb/state"));
    let pool = rounds(&heron).round().pools.remove(0);
    assert_eq!((standing(&pool).lost, standing(&pool).spare), (1, 0));
}

/// md unlinks a member that it removes before its files are gone.
#[test]
fn a_member_that_is_being_removed_is_absent() {
    let (heron, member) = (heron(), "/sys/devices/virtual/block/md0/md/dev-sdb");
    heron.remove(&format!("{member}/block")).remove(&format!("{member}/slot")).remove(&format!("{member}/state"));
    let snapshot = rounds(&heron).round();
    assert_eq!(snapshot.pools[0].members.len(), 1);
    assert_eq!(snapshot.blind, []);
}

/// One file of a drive that cannot be read is no drive that is gone.
#[test]
fn a_member_without_the_size_of_its_drive_is_there() {
    let heron = heron();
    heron.remove("/sys/block/sdb/size");
    assert!(rounds(&heron).round().pools[0].members.iter().all(|member| !member.device_gone));
}

/// A level that is read and that nothing is known about is neither unreadable nor healthy.
#[test]
fn a_level_that_is_not_known_is_not_judged() {
    let (heron, md) = (heron(), "/sys/devices/virtual/block/md0/md");
    heron.write(&format!("{md}/level"), "multipath\n");
    let snapshot = rounds(&heron).round();
    assert_eq!(snapshot.blind, []);
    let pool = &snapshot.pools[0];
    assert!(pool.has_unknown_level() && !pool.is_read_in_part(), "{pool:?}");
    assert!(!standing(pool).is_redundant);
}
