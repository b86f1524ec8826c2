//! Stories of pools that were there in an earlier run of the program, and of those that their owner has taken apart.

use super::{MINUTE, Story, let_go};
use traylight_data::reading::{
    Blind, Listing, MemberState, Missing, PoolKind, PoolRunning, Reading, Reason, Snapshot, Source,
};
use traylight_data::verdict::{Condition, Down, Finding};

impl Story {
    fn held(&self, kind: &str) -> Option<&Condition> {
        let verdict = self.verdict.as_ref().expect("there was a look");
        verdict.conditions.iter().find(|held| held.kind().id() == kind)
    }
}

/// A box that was seen whole for two minutes.
fn known() -> Story {
    Story::closely().play(0, 120, |_, _| {})
}

fn no_pools(_: u64, snapshot: &mut Snapshot) {
    snapshot.pools.clear();
}

/// The facts of a pool that is down: why, members found, of how many, and the trays that are missing.
fn facts(story: &Story) -> Option<(Down, u32, u32, Vec<String>)> {
    match &story.held("pool-down")?.finding {
        Finding::PoolDown { why, present, of, lost, .. } => {
            Some((*why, *present, *of, lost.iter().map(|place| place.label()).collect()))
        }
        _ => None,
    }
}

#[test]
fn a_pool_that_is_not_put_together_after_a_restart_is_told_two_minutes_after_boot() {
    let story = known().rebooted(60).play(0, 300, |_, snapshot| {
        for serial in ["HN24-LARK", "HN24-KITE"] {
            snapshot.drives.retain(|drive| drive.key.0 != serial);
        }
        snapshot.pools.clear();
    });
    assert_eq!(story.of("pool-down"), ["130 opened pool-down critical"], "after the grace and its hold");
    assert_eq!(facts(&story), Some((Down::Absent, 3, 5, vec!["3".to_owned(), "4".to_owned()])));
}

/// Near miss: drives that turn up late, and a pool that is put together in time.
#[test]
fn a_pool_that_is_there_after_two_minutes_is_not_told() {
    let story = known().rebooted(60).play(0, 300, |second, snapshot| {
        if second < 118 {
            snapshot.pools.clear();
        }
    });
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn a_pool_of_another_box_is_not_missed() {
    let story = Story::closely().rebooted(60).play(0, 300, no_pools);
    assert_eq!(story.of("pool-down"), [""; 0]);
}

/// An array that was found in pieces says neither its layout nor its size; that is remembered.
#[test]
fn a_pool_that_is_found_in_pieces_misses_the_trays_that_it_had() {
    let story = known().rebooted(60).play(0, 300, |_, snapshot| {
        let_go(snapshot, &["HN24-LARK"]);
        let pool = &mut snapshot.pools[0];
        pool.running = Reading::new(Ok(PoolRunning::Inactive), snapshot.taken, Source::Sysfs);
        (pool.wanted, pool.missing) = (0, None);
        pool.level.clear();
        pool.groups.clear();
    });
    assert_eq!(facts(&story), Some((Down::Inactive, 4, 5, vec!["3".to_owned()])));
}

#[test]
fn a_pool_that_was_taken_apart_is_forgotten_when_the_owner_agrees() {
    let mut story = known().play(120, 240, no_pools);
    assert_eq!(story.of("pool-down"), ["130 opened pool-down critical"]);
    let all_found = Some((Down::Absent, 5, 5, Vec::new()));
    assert_eq!(facts(&story), all_found, "its drives are still there");
    story.accept("pool-down").expect("it is not there");
    let story = story.play(240, 360, no_pools);
    assert_eq!(story.of("pool-down")[1..], ["240 closed pool-down"]);
    let story = story.rebooted(60).play(0, 300, no_pools);
    assert_eq!(story.told, [""; 0]);
}

/// Whatever was told of it ends, not only that it is down; and should it come back, it belongs to the box again.
#[test]
fn nothing_more_is_told_of_a_pool_that_was_given_up_until_it_is_back() {
    let mut story = known().play(120, 180, |_, snapshot| let_go(snapshot, &["HN24-LARK"])).play(180, 240, no_pools);
    story.accept("pool-down").expect("it is not there");
    let story = story.play(240, 300, no_pools);
    assert_eq!(story.of("pool-degraded"), ["120 opened pool-degraded critical", "240 closed pool-degraded"]);
    let story = story.play(300, 420, |_, _| {}).play(420, 480, no_pools);
    assert_eq!(story.of("pool-down").last(), Some(&"430 opened pool-down critical"));
}

/// Near misses of giving up: nobody was asked, or nobody can look.
#[test]
fn what_was_not_looked_for_is_not_given_up() {
    let story = known().rebooted(60);
    let story = story.play(0, 300, no_pools);
    assert_eq!(story.of("pool-down"), ["130 opened pool-down critical"]);

    let of_zfs = |_: u64, snapshot: &mut Snapshot| snapshot.pools[0].kind = PoolKind::Zfs;
    let blind = |_: u64, snapshot: &mut Snapshot| {
        snapshot.pools.clear();
        snapshot.blind.push(Blind { what: Listing::ZfsPools, why: Missing::of(Reason::Refused) });
    };
    let mut story = Story::closely().play(0, 120, of_zfs).rebooted(60).play(0, 300, blind);
    assert_eq!(story.of("pool-down"), [""; 0], "it may well be there");
    story.accept("pool-down").expect_err("nothing is open");
    let story = story.play(300, 360, blind).play(360, 420, no_pools);
    assert_eq!(story.of("pool-down"), ["370 opened pool-down critical"]);
}

/// A replacement belongs to the pool once that is whole again; the drive before it does not.
#[test]
fn a_replacement_takes_the_place_in_what_is_remembered() {
    let replaced = |snapshot: &mut Snapshot| {
        let drive = &mut snapshot.drives[2];
        drive.key.0 = "HN26-JAYS".into();
        drive.serial = Some("HN26-JAYS".into());
    };
    let story = known().play(120, 240, |_, snapshot| replaced(snapshot)).rebooted(60).play(0, 300, |_, snapshot| {
        replaced(snapshot);
        snapshot.drives.retain(|drive| drive.key.0 != "HN24-SWAN");
        snapshot.pools.clear();
    });
    assert_eq!(facts(&story), Some((Down::Absent, 4, 5, vec!["5".to_owned()])));
}

/// Made anew on the same drives; or a newer kernel tells the UUID of an array that was known by its name.
#[test]
fn a_pool_of_the_same_name_on_the_same_drives_takes_the_place_of_the_one_before() {
    let anew = |_: u64, snapshot: &mut Snapshot| snapshot.pools[0].key = "77c1f0de-made-anew".into();
    let story = known().play(120, 240, no_pools).play(240, 300, anew);
    assert_eq!(story.of("pool-down"), ["130 opened pool-down critical", "240 closed pool-down"]);
    let story = story.rebooted(60).play(0, 300, anew);
    assert_eq!(story.told, [""; 0]);
}

/// Without UUIDs an array's name is all there is, and md may choose another at the next start. Near miss: the other array
/// on the same drives, which was there all the time.
#[test]
fn an_array_that_is_known_by_its_name_only_may_have_another_after_a_restart() {
    let named = |snapshot: &mut Snapshot, index: usize, name: &str| {
        (snapshot.pools[index].key, snapshot.pools[index].name) = (name.into(), name.into());
    };
    let two = |snapshot: &mut Snapshot, names: [&str; 2]| {
        snapshot.pools.push(snapshot.pools[0].clone());
        (0..2).for_each(|index| named(snapshot, index, names[index]));
    };
    let before = || Story::closely().play(0, 120, |_, snapshot| two(snapshot, ["md0", "md1"])).rebooted(60);
    let story = before().play(0, 300, |_, snapshot| two(snapshot, ["md126", "md127"]));
    assert_eq!(story.told, [""; 0]);
    let story = before().play(0, 300, |_, snapshot| named(snapshot, 0, "md0"));
    assert_eq!(story.told, ["130 opened pool-down critical"]);
    let story = known().rebooted(60).play(0, 300, |_, snapshot| {
        snapshot.pools[0].key = "77c1f0de-told-by-a-newer-kernel".into();
        let_go(snapshot, &["HN24-LARK"]);
    });
    assert_eq!(story.of("pool-down"), [""; 0], "it lost one on the way, which is told as such");
    assert_eq!(story.of("pool-degraded"), ["120 opened pool-degraded critical"]);
}

#[test]
fn what_is_remembered_is_kept_when_it_is_news_and_only_then() {
    let of_pools = |story: &Story| {
        let ledger = serde_json::to_value(story.memory.ledger()).expect("a ledger is JSON");
        ledger["pools"].clone()
    };
    let mut story = known();
    assert!(story.memory.ledger().is_new);
    story.memory.ledger_was_kept();
    let before = of_pools(&story);
    let story = story.play(120, 10 * MINUTE, |second, snapshot| {
        if second > 300 {
            let_go(snapshot, &["HN24-LARK"]);
        }
    });
    assert_eq!(of_pools(&story), before, "a loss changes nothing of what the pool is");
}

/// Its owner took it offline: it is missed, nothing is wrong with it, and it says so.
#[test]
fn a_member_that_was_taken_offline_is_missed_and_not_bad() {
    let story = Story::closely().play(0, 120, |second, snapshot| {
        if second >= 60 {
            snapshot.pools[0].members[2].state = MemberState::Offline;
            snapshot.pools[0].missing = Some(1);
        }
    });
    assert_eq!(story.told, ["60 opened pool-degraded critical"]);
    let held = story.held("pool-degraded").expect("it holds");
    let Finding::PoolDegraded { offline, .. } = &held.finding else { panic!("found {:?}", held.finding) };
    assert_eq!(offline.iter().map(|place| place.label()).collect::<Vec<_>>(), ["3"]);
    let tray = &story.verdict.as_ref().expect("there was a look").shelves[0].trays[2];
    assert!(matches!(tray.state, traylight_data::verdict::TrayState::Warm(_)), "{:?}", tray.state);
}
