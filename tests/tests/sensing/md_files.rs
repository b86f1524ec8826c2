//! Arrays of md whose files cannot be read: no loss is claimed, and a reason is there.

use crate::{heron, rounds};
use traylight::judge::redundancy::standing;
use traylight::reading::{Listing, MemberState, Missing, Pool, Reason, WhyMissing};
use traylight_tests::pretend_box::PretendBox;

/// A pool of md that is whole, with some of its files gone that the kernel always has.
#[test]
fn files_of_md_that_cannot_be_read_are_no_loss_and_have_a_reason() {
    let md = "/sys/devices/virtual/block/md0/md";
    let no_file = |file: &str| Missing::from(WhyMissing::NoFile).required().and_found(file);
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

const MD: &str = "/sys/devices/virtual/block/md0/md";

/// Four disks in a pool of a level, the second of which is thrown out.
fn degraded(level: &str) -> PretendBox {
    let tern = PretendBox::new();
    for (port, device) in ["sda", "sdb", "sdc", "sdd"].into_iter().enumerate() {
        tern.sata_drive(device, port as u64 + 1, &format!("TERN-000{port}"), "Warbler 4T");
    }
    tern.md("md0", level, &["sda", "sdb", "sdc", "sdd"])
        .write(&format!("{MD}/layout"), "258\n")
        .md_member_is_faulty("sdb");
    tern
}

/// The pool, the drives that it needs, and why it is not known as a whole.
fn judged(tern: &PretendBox) -> (Pool, Vec<String>, Option<String>) {
    let snapshot = rounds(tern).round();
    let pool = snapshot.pools[0].clone();
    let stands = standing(&pool);
    let needed =
        pool.members.iter().filter(|member| stands.needs(member)).map(|member| member.device.clone()).collect();
    (pool, needed, snapshot.blind.first().and_then(|blind| blind.why.found.clone()))
}

/// Of a raid10 the layout decides which drives may still be lost: one that is not known makes each the last copy.
#[test]
fn a_layout_of_raid10_that_cannot_be_read_keeps_all_that_is_left() {
    let tern = degraded("raid10");
    let (_, needed, why) = judged(&tern);
    assert_eq!((needed, why), (vec!["sda".into()], None), "near copies");
    tern.write(&format!("{MD}/layout"), "513\n");
    let (_, needed, why) = judged(&tern);
    assert_eq!((needed, why), (vec!["sda".into(), "sdc".into()], None), "far copies");
    for odd in ["near\n", "\n", "0\n", "1285\n", "513 (258)\n", "393474\n", "4294967295\n", ""] {
        match odd {
            "" => tern.remove(&format!("{MD}/layout")),
            odd => tern.write(&format!("{MD}/layout"), odd),
        };
        let (pool, needed, why) = judged(&tern);
        assert_eq!(needed, ["sda", "sdc", "sdd"], "{odd:?}");
        assert!(why.is_some_and(|why| why.starts_with("md/layout")), "{odd:?}");
        let stands = standing(&pool);
        assert!(pool.is_read_in_part() && stands.is_redundant && stands.lives, "{odd:?}: {stands:?}");
        assert_eq!((stands.lost, stands.spare), (1, 0), "{odd:?}");
    }
    // What is not needed to know the others of a pool decides nothing.
    let tern = degraded("raid5");
    tern.write(&format!("{MD}/layout"), "near\n");
    let (pool, needed, why) = judged(&tern);
    assert_eq!((needed.len(), why, pool.is_read_in_part()), (3, None, false));
}

/// How many members are missing, and what is being done about it, is never taken for nothing.
#[test]
fn a_count_or_an_action_of_md_that_cannot_be_read_is_not_healthy() {
    for file in ["degraded", "sync_action"] {
        for odd in ["", "garbage\n", "-1\n", "5\n"] {
            let heron = heron();
            match odd {
                "" => heron.remove(&format!("{MD}/{file}")),
                odd => heron.write(&format!("{MD}/{file}"), odd),
            };
            let (pool, _, why) = judged(&heron);
            assert!(pool.is_read_in_part(), "{file} {odd:?}: {pool:?}");
            assert!(why.is_some_and(|why| why.contains(file)), "{file} {odd:?}");
            assert_eq!(standing(&pool).lost, 0, "{file} {odd:?}");
        }
    }
    // An array without redundancy has neither.
    let heron = heron();
    heron
        .write(&format!("{MD}/level"), "raid0\n")
        .remove(&format!("{MD}/degraded"))
        .remove(&format!("{MD}/sync_action"));
    let (pool, _, why) = judged(&heron);
    assert_eq!((pool.is_read_in_part(), why), (false, None));
}

/// A member that cannot be read may be lost when the kernel's count cannot be read either: the others stay.
#[test]
fn a_member_and_the_count_of_losses_unread_leave_nothing_to_spare() {
    let tern = degraded("raid6");
    assert_eq!(standing(&judged(&tern).0).spare, 1);
    tern.remove(&format!("{MD}/dev-sdc/state")).remove(&format!("{MD}/degraded"));
    let (pool, needed, _) = judged(&tern);
    assert_eq!((standing(&pool).lost, standing(&pool).spare), (1, 0));
    assert_eq!(needed, ["sda", "sdc", "sdd"]);
}

/// One file with a huge number neither stalls the look nor makes thousands of members missing.
#[test]
fn more_members_than_md_can_have_are_none_that_are_missing() {
    for odd in ["4294967295\n", "100000\n", "1921\n", "2 (4294967295)\n"] {
        let heron = heron();
        heron.write(&format!("{MD}/raid_disks"), odd);
        let (pool, _, why) = judged(&heron);
        assert_eq!((pool.wanted, pool.groups.len(), standing(&pool).lost), (0, 0, 0), "{odd:?}");
        assert!(standing(&pool).down.is_none() && pool.is_read_in_part(), "{odd:?}");
        assert!(why.is_some_and(|why| why.starts_with("md/raid_disks: expected a number of members up to 1920")));
    }
}

/// A place that cannot be true says nothing of a member: it is not counted as working, and stays in.
#[test]
fn a_place_that_is_taken_or_that_the_pool_has_not_is_unreadable_and_stays_in() {
    for (level, kept) in [("raid5", 3), ("raid10", 3)] {
        let doubled = "expected a place of its own, found 0 more than once";
        for (slot, why) in [
            ("0\n", doubled),
            ("99\n", "expected a place below 4, found 99"),
            ("4\n", "expected a place below 4, found 4"),
        ] {
            let tern = degraded(level);
            tern.write(&format!("{MD}/dev-sdd/slot"), slot);
            let (pool, needed, found) = judged(&tern);
            assert!(found.is_some_and(|found| found.ends_with(why)), "{level} {slot:?}");
            assert_eq!((needed.len(), standing(&pool).lost), (kept, 1), "{level} {slot:?}: {pool:?}");
            assert_eq!(pool.members[3].state, MemberState::Unknown, "{level} {slot:?}");
            let first = if slot == "0\n" { MemberState::Unknown } else { MemberState::Active };
            assert_eq!(pool.members[0].state, first, "either may be the one in that place");
        }
    }
}

/// While a member is replaced both are in its slot, and a member that is thrown out may still be in that of its successor.
#[test]
fn a_replacement_shares_the_place_of_the_member_that_it_replaces() {
    let heron = heron();
    heron.sata_drive("sdc", 3, "WREN-0003", "Warbler 4T").md_member("md0", "sdc", "1", "spare,replacement");
    heron.write(&format!("{MD}/dev-sdb/state"), "in_sync,want_replacement\n");
    let (pool, _, why) = judged(&heron);
    assert_eq!(
        (pool.members[1].state, pool.members[2].state, why),
        (MemberState::Active, MemberState::Rebuilding, None)
    );
    heron.write(&format!("{MD}/dev-sdb/state"), "faulty\n").write(&format!("{MD}/dev-sdc/state"), "in_sync\n");
    let (pool, _, why) = judged(&heron);
    assert_eq!((pool.members[1].state, pool.members[2].state, why), (MemberState::Faulty, MemberState::Active, None));
}
