//! Stories of devices that pools do without: faulty spares, logs and caches, drives whose place a spare has taken. Drives 0
//! to 4 hold the pool, drive 5 waits.

use super::{HOUR, MINUTE, Story, pull};
use traylight_data::reading::{Activity, ActivityKind, Member, MemberRole, MemberState, PoolKind, Snapshot};
use traylight_data::verdict::{Finding, MemberFault, Place};

const FAULTY: &str = "member-faulty";

/// Drive 5 is in the pool, beside its places.
fn beside(snapshot: &mut Snapshot, role: MemberRole, state: MemberState) {
    let device = snapshot.drives[5].device.clone();
    let pool = &mut snapshot.pools[0];
    if role != MemberRole::Data {
        pool.kind = PoolKind::Zfs;
    }
    let drive_device = device.clone();
    let member = Member { device, drive_device, slot: None, role, state, ..pool.members[0].clone() };
    pool.members.push(member);
}

/// What is told of devices: what for, what is wrong, and which drive.
fn told(story: &Story) -> Vec<(MemberRole, MemberFault, Option<String>)> {
    let open = &story.verdict.as_ref().expect("there was a look").conditions;
    let facts = open.iter().filter_map(|held| match &held.finding {
        Finding::MemberFaulty { role, how, drive, .. } => Some((*role, *how, drive.as_ref().map(Place::label))),
        _ => None,
    });
    facts.collect()
}

fn crow() -> Option<String> {
    Story::new().settings.shelves.iter().flat_map(|shelf| &shelf.trays).last().map(|tray| tray.label.clone())
}

#[test]
fn a_spare_log_or_cache_that_fails_is_told_and_over_when_it_is_well() {
    for role in [MemberRole::Spare, MemberRole::Log, MemberRole::Cache] {
        let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
            let well = if role == MemberRole::Spare { MemberState::Spare } else { MemberState::Active };
            let state = if (60..1800).contains(&second) { MemberState::Faulty } else { well };
            beside(snapshot, role, state);
        });
        assert_eq!(story.told, ["70 opened member-faulty warning", "1860 closed member-faulty"], "{role:?}");
    }
}

/// md does not say what a faulty device was for; that it waited before is remembered, also while the pool lacks another.
#[test]
fn a_faulty_spare_of_md_is_told_also_while_the_pool_lacks_a_member() {
    let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        let state = if second < 600 { MemberState::Spare } else { MemberState::Faulty };
        beside(snapshot, MemberRole::Data, state);
        if second >= 300 {
            let pool = &mut snapshot.pools[0];
            (pool.members[2].state, pool.members[2].slot, pool.missing) = (MemberState::Faulty, None, Some(1));
        }
    });
    assert_eq!(story.told, ["300 opened pool-degraded critical", "610 opened member-faulty warning"]);
    assert_eq!(told(&story), [(MemberRole::Spare, MemberFault::PutOut, crow())]);
}

/// The spare takes over and is filled; the drive that failed is still listed, until its owner takes it out of the pool.
#[test]
fn a_drive_whose_place_a_spare_has_taken_is_told_until_it_is_replaced() {
    for kind in [PoolKind::Md, PoolKind::Zfs] {
        let story = Story::new().every(10).play(0, 2 * HOUR, |second, snapshot| {
            beside(snapshot, MemberRole::Data, MemberState::Spare);
            let pool = &mut snapshot.pools[0];
            pool.kind = kind;
            if second < 60 {
                return;
            }
            let is_filled = second >= 1800;
            pool.members[2].state = MemberState::Faulty;
            if kind == PoolKind::Md {
                pool.members[2].slot = None;
            }
            pool.members[5].slot = Some(2);
            pool.members[5].state = if is_filled { MemberState::Active } else { MemberState::Rebuilding };
            if is_filled {
                pool.missing = Some(0);
            } else {
                pool.missing = Some(1);
                pool.activity = Activity { kind: ActivityKind::Rebuild, done: Some(0.3), left: None, speed: None };
            }
            if second >= HOUR {
                pool.members.remove(2);
            }
        });
        let told_of: Vec<&str> = story.told.iter().map(String::as_str).filter(|line| !line.contains("busy")).collect();
        assert_eq!(
            told_of,
            [
                "60 opened pool-degraded critical",
                "1810 opened member-faulty warning",
                "1860 closed pool-degraded",
                "3660 closed member-faulty"
            ],
            "{kind:?}"
        );
    }
}

/// A pool lists the failed drive beside its spare also when that drive was pulled; while it waits for a successor the pool
/// is not what it was.
#[test]
fn a_drive_that_was_pulled_after_a_spare_took_its_place_leaves_the_pool_waiting() {
    let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        beside(snapshot, MemberRole::Spare, MemberState::Spare);
        if second >= 60 {
            pull(snapshot, "HN24-LARK");
            let pool = &mut snapshot.pools[0];
            (pool.members[5].slot, pool.members[5].state) = (Some(2), MemberState::Rebuilding);
            pool.missing = Some(1);
            if second >= 600 {
                (pool.members[5].state, pool.missing) = (MemberState::Active, Some(0));
            }
        }
    });
    assert_eq!(story.of("drive-gone"), ["60 opened drive-gone critical", "600 closed drive-gone"]);
    assert_eq!(story.of(FAULTY), ["610 opened member-faulty warning"]);
    assert_eq!(told(&story), [(MemberRole::Data, MemberFault::Gone, Some("3".to_owned()))]);
}

/// ZFS goes on using a drive with too many errors and calls it degraded.
#[test]
fn a_drive_that_its_pool_does_not_trust_is_told_as_long_as_it_says_so() {
    let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        snapshot.pools[0].members[1].doubted = (60..1800).contains(&second);
    });
    assert_eq!(story.told, ["70 opened member-faulty warning", "1860 closed member-faulty"]);
}

/// Its owner has taken the log device offline: worth a notice.
#[test]
fn a_device_that_its_owner_took_offline_is_a_notice() {
    let story = Story::new().every(10).play(0, 10 * MINUTE, |second, snapshot| {
        beside(snapshot, MemberRole::Log, if second < 60 { MemberState::Active } else { MemberState::Offline });
    });
    assert_eq!(story.told, ["70 opened member-faulty notice"]);
}

/// Near misses: while the spare only begins to take over, a spare that waits, and a member that is missed: that is told by
/// other conditions.
#[test]
fn what_the_pool_lacks_is_not_told_twice() {
    let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        beside(snapshot, MemberRole::Data, MemberState::Spare);
        if second >= 60 {
            let pool = &mut snapshot.pools[0];
            (pool.members[2].state, pool.members[2].slot, pool.missing) = (MemberState::Faulty, None, Some(1));
        }
    });
    assert_eq!(story.told, ["60 opened pool-degraded critical"]);
}

/// No drive is known for the device, as when it was gone before the box was watched.
#[test]
fn a_device_whose_drive_is_not_known_is_told_of_the_pool() {
    let story = Story::new().every(10).play(0, 10 * MINUTE, |_, snapshot| {
        beside(snapshot, MemberRole::Cache, MemberState::Faulty);
        let member = &mut snapshot.pools[0].members[5];
        (member.device, member.drive_device, member.device_gone) = ("tern-part4".into(), "tern-part4".into(), true);
    });
    assert_eq!(story.told, ["10 opened member-faulty warning"]);
    assert_eq!(told(&story), [(MemberRole::Cache, MemberFault::Gone, None)]);
}
