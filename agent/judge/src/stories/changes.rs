//! Stories of pools that their owner changes: renamed, grown, taken apart, two of one name. None of it is a fault.

use super::{HOUR, MINUTE, Story};
use traylight_data::reading::{Activity, ActivityKind, Member, MemberState, Pool, Snapshot};
use traylight_parse::md;

fn rename(pool: &mut Pool, name: &str) {
    pool.name = name.into();
}

/// md names arrays anew when the configuration file is not there; the UUID stays.
#[test]
fn a_pool_that_is_renamed_is_the_same_pool() {
    let story = Story::closely().play(0, 600, |second, snapshot| {
        if second >= 60 {
            rename(&mut snapshot.pools[0], "md127");
        }
        if second >= 300 {
            super::pull(snapshot, "HN24-LARK");
        }
    });
    assert_eq!(story.told, ["300 opened drive-gone critical", "300 opened pool-degraded critical"]);
}

/// Drive 5 is added to the RAID 5 and the data spread over six (md.rst, `reshape`): the new member holds its share from the
/// beginning, and what md misses stays 0.
#[test]
fn a_pool_that_grows_is_busy_and_whole() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| {
        if second < 60 {
            return;
        }
        let device = snapshot.drives[5].device.clone();
        let pool = &mut snapshot.pools[0];
        let added = Member { device: device.clone(), drive_device: device, slot: Some(5), ..pool.members[0].clone() };
        pool.members.push(added);
        pool.wanted = 6;
        pool.groups = md::layout::groups("raid5", 6, 2);
        if second < 1800 {
            let done = Some((second - 60) as f64 / 1740.0);
            pool.activity = Activity { kind: ActivityKind::Reshape, done, left: None, speed: None };
        }
    });
    assert_eq!(story.told, ["60 opened pool-busy notice", "1800 closed pool-busy"]);
}

/// Which of two pools is meant goes by their UUIDs, whatever they are called.
#[test]
fn two_pools_of_one_name_are_two_pools() {
    let story = Story::closely().play(0, 2 * MINUTE, |second, snapshot| {
        let mut other = Pool { key: "another".into(), ..snapshot.pools[0].clone() };
        if second >= 60 {
            other.members[0].state = MemberState::Faulty;
            other.missing = Some(1);
        }
        snapshot.pools.push(other);
    });
    let verdict = story.verdict.expect("there was a look");
    let degraded: Vec<String> = verdict
        .conditions
        .iter()
        .filter(|held| held.kind().id() == "pool-degraded")
        .map(|held| held.subject.to_string())
        .collect();
    assert_eq!(degraded, ["pool another"]);
}

/// A mirror of three is split: one member leaves and becomes a pool of its own. What is left wants two.
#[test]
fn a_mirror_that_is_split_is_two_whole_pools() {
    let split = |second: u64, snapshot: &mut Snapshot| {
        let pool = &mut snapshot.pools[0];
        pool.level = "raid1".into();
        pool.members.truncate(3);
        let of = |wanted: u32| md::layout::groups("raid1", wanted, 0);
        if second < 60 {
            (pool.wanted, pool.groups) = (3, of(3));
            return;
        }
        let mut left = pool.members.remove(2);
        left.slot = Some(0);
        (pool.wanted, pool.groups) = (2, of(2));
        let own = Pool { key: "split".into(), wanted: 1, groups: of(1), members: vec![left], ..pool.clone() };
        snapshot.pools.push(own);
    };
    assert_eq!(Story::closely().play(0, 10 * MINUTE, split).told, [""; 0]);
}

/// sysfs caught in the middle: level and count are empty for a moment while an array is put together anew.
#[test]
fn a_pool_without_a_level_for_a_moment_is_not_lost() {
    let story = Story::closely().play(0, 10 * MINUTE, |second, snapshot| {
        if (100..104).contains(&second) {
            let pool = &mut snapshot.pools[0];
            pool.level.clear();
            pool.groups.clear();
            (pool.wanted, pool.missing) = (0, None);
            pool.members.truncate(2);
        }
    });
    assert_eq!(story.told, [""; 0]);
}
