//! Stories of presence and pools: members that vanish, come back or are replaced, layouts that survive and that do not.

use super::{MINUTE, Story, lay_out, let_go, pull};
use traylight_data::reading::{
    Activity, ActivityKind, Blind, Listing, Member, MemberState, Missing, PoolRunning, Reading, Reason, Snapshot,
    Source,
};
use traylight_data::verdict::{Finding, Severity, TrayState};

#[test]
fn a_member_that_vanishes_is_told_of_at_once_although_md_has_not_noticed() {
    let told = Story::closely().play(0, 120, |second, snapshot| {
        if second >= 60 {
            pull(snapshot, "HN24-LARK");
        }
    });
    assert_eq!(told.told, ["60 opened drive-gone critical", "60 opened pool-degraded critical"]);
    let verdict = told.verdict.expect("there was a look");
    let Finding::PoolDegraded { spare, lost, leave_in, .. } =
        &verdict.conditions.iter().find(|held| held.kind().id() == "pool-degraded").expect("it holds").finding
    else {
        panic!("a degraded pool has the facts of one");
    };
    assert_eq!(*spare, 0);
    assert_eq!(lost.iter().map(|place| place.label()).collect::<Vec<_>>(), ["3"]);
    assert_eq!(leave_in, &["1", "2", "4", "5"], "what must stay in");
    assert_eq!(verdict.shelves[0].trays[2].state, TrayState::Gone);
    assert_eq!(verdict.shelves[0].trays[2].severity, Some(Severity::Critical));
}

#[test]
fn a_drive_that_no_pool_needs_is_a_warning_after_its_hold_and_over_after_a_minute() {
    let told = Story::closely().play(0, 300, |second, snapshot| {
        if (100..200).contains(&second) {
            snapshot.drives.truncate(5);
        }
    });
    assert_eq!(told.told, ["110 opened drive-gone warning", "260 closed drive-gone"]);
}

#[test]
fn a_drive_that_comes_back_under_another_name_is_the_same_drive() {
    let told = Story::closely().play(0, 400, |second, snapshot| {
        if (60..120).contains(&second) {
            let_go(snapshot, &["HN24-LARK"]);
        }
        if second >= 120 {
            let pool = &mut snapshot.pools[0];
            snapshot.drives[2].device = "sdk".into();
            pool.members[2] = Member { device: "sdk".into(), drive_device: "sdk".into(), ..pool.members[2].clone() };
        }
    });
    assert_eq!(
        told.told,
        [
            "60 opened drive-gone critical",
            "60 opened pool-degraded critical",
            "180 closed drive-gone",
            "180 closed pool-degraded"
        ]
    );
}

#[test]
fn a_whole_pool_accepts_the_drive_that_took_the_place() {
    let told = Story::closely().play(0, 400, |second, snapshot| {
        if (60..120).contains(&second) {
            let_go(snapshot, &["HN24-LARK"]);
        }
        if second >= 120 {
            let drive = &mut snapshot.drives[2];
            drive.key.0 = "HN26-JAYS".into();
            drive.serial = Some("HN26-JAYS".into());
        }
    });
    assert_eq!(told.of("drive-gone"), ["60 opened drive-gone critical", "120 closed drive-gone"]);
}

#[test]
fn nothing_is_missed_while_the_box_still_starts() {
    let early = Story { up: 0, ..Story::closely() }.play(0, 88, |_, snapshot| let_go(snapshot, &["HN24-LARK"]));
    assert_eq!(early.told, [""; 0], "drives may need 90 s to turn");
    let late = early.play(88, 140, |_, snapshot| let_go(snapshot, &["HN24-LARK"]));
    assert_eq!(late.told, ["100 opened drive-gone warning", "120 opened pool-degraded critical"]);
}

#[test]
fn raid6_loses_one_with_a_warning_and_two_with_an_alarm() {
    let told = Story::closely().play(0, 300, |second, snapshot| {
        lay_out(snapshot, "raid6");
        match second {
            ..60 => {}
            ..120 => let_go(snapshot, &["HN24-LARK"]),
            _ => let_go(snapshot, &["HN24-LARK", "HN24-KITE"]),
        }
    });
    assert_eq!(told.of("pool-degraded"), ["60 opened pool-degraded warning", "120 worsened pool-degraded critical"]);
    assert_eq!(told.of("pool-down"), [""; 0]);
}

#[test]
fn more_losses_than_the_layout_survives_are_down() {
    let told = Story::closely().play(0, 200, |second, snapshot| {
        if second >= 60 {
            let_go(snapshot, &["HN24-LARK", "HN24-KITE"]);
        }
    });
    assert_eq!(told.of("pool-down"), ["70 opened pool-down critical"]);
    assert_eq!(told.of("pool-degraded"), [""; 0]);
}

#[test]
fn a_pool_that_was_not_started_or_is_no_more_is_down_and_up_again_after_a_minute() {
    let told = Story::closely().play(0, 400, |second, snapshot| match second {
        60..120 => snapshot.pools[0].running = Reading::new(Ok(PoolRunning::Inactive), snapshot.taken, Source::Sysfs),
        200..260 => snapshot.pools.clear(),
        _ => {}
    });
    assert_eq!(
        told.of("pool-down"),
        [
            "70 opened pool-down critical",
            "180 closed pool-down",
            "210 opened pool-down critical",
            "320 closed pool-down"
        ]
    );
}

#[test]
fn a_rebuild_is_a_notice_while_it_runs_and_the_pool_degraded_until_it_is_whole_and_idle() {
    let told = Story::closely().play(0, 400, |second, snapshot| {
        if (60..200).contains(&second) {
            let pool = &mut snapshot.pools[0];
            pool.members[2].state = MemberState::Rebuilding;
            pool.missing = Some(1);
            pool.activity = Activity { kind: ActivityKind::Rebuild, done: Some(0.5), left: None, speed: None };
        }
    });
    assert_eq!(
        told.told,
        [
            "60 opened pool-degraded critical",
            "60 opened pool-busy notice",
            "200 closed pool-busy",
            "260 closed pool-degraded"
        ]
    );
}

#[test]
fn a_check_is_no_rebuild() {
    let told = Story::closely().play(0, 60, |_, snapshot| {
        snapshot.pools[0].activity = Activity { kind: ActivityKind::Check, done: Some(0.1), left: None, speed: None };
    });
    assert_eq!(told.told, ["0 opened pool-busy notice"]);
}

/// A ZFS pool whose tool does not answer: the module says DEGRADED and no more.
#[test]
fn a_pool_that_lacks_members_nobody_knows_of_has_nothing_to_spare() {
    let story = Story::closely().play(0, 60, |second, snapshot| {
        let pool = &mut snapshot.pools[0];
        pool.groups.clear();
        pool.members.clear();
        (pool.wanted, pool.missing) = (0, Some(u32::from(second >= 30)));
    });
    assert_eq!(story.of("pool-degraded"), ["30 opened pool-degraded critical"]);
    let verdict = story.verdict.expect("there was a look");
    let held = verdict.conditions.iter().find(|held| held.kind().id() == "pool-degraded").expect("it holds");
    assert!(matches!(&held.finding, Finding::PoolDegraded { leave_in, .. } if leave_in.is_empty()), "all stay in");
}

/// Drive 5 waits in the pool to be needed.
fn with_a_spare(snapshot: &mut Snapshot) {
    let device = snapshot.drives[5].device.clone();
    let drive_device = device.clone();
    let pool = &mut snapshot.pools[0];
    let spare = Member { device, drive_device, slot: None, state: MemberState::Spare, ..pool.members[0].clone() };
    pool.members.push(spare);
}

#[test]
fn a_spare_takes_the_place_of_a_lost_member_and_the_whole_pool_misses_nobody() {
    let told = Story::closely().play(0, 500, |second, snapshot| {
        with_a_spare(snapshot);
        if second < 60 {
            return;
        }
        let_go(snapshot, &["HN24-LARK"]);
        let filled = second >= 300;
        let pool = &mut snapshot.pools[0];
        pool.missing = Some(u32::from(!filled));
        let spare = pool.members.last_mut().expect("the spare is still listed");
        (spare.slot, spare.state) = (Some(2), if filled { MemberState::Active } else { MemberState::Rebuilding });
        if !filled {
            pool.activity = Activity { kind: ActivityKind::Rebuild, done: Some(0.5), left: None, speed: None };
        }
    });
    assert_eq!(
        told.told,
        [
            "60 opened drive-gone critical",
            "60 opened pool-degraded critical",
            "60 opened pool-busy notice",
            "300 closed drive-gone",
            "300 closed pool-busy",
            "360 closed pool-degraded"
        ]
    );
}

#[test]
fn a_spare_that_vanishes_is_missed_although_the_pool_is_whole() {
    for md_has_noticed in [false, true] {
        let told = Story::closely().play(0, 200, |second, snapshot| {
            with_a_spare(snapshot);
            if second >= 60 {
                pull(snapshot, "HN31-CROW");
                snapshot.pools[0].members.retain(|member| !(md_has_noticed && member.device_gone));
            }
        });
        assert_eq!(told.told, ["70 opened drive-gone warning"], "md has noticed: {md_has_noticed}");
    }
}

#[test]
fn a_pool_that_still_counts_on_a_drive_does_not_do_without_it() {
    let told = Story::closely().play(0, 200, |second, snapshot| match second {
        ..60 => {}
        // The drive is no longer listed, but the pool has not been seen to miss it.
        ..66 => snapshot.drives.retain(|drive| drive.key.0 != "HN24-LARK"),
        _ => pull(snapshot, "HN24-LARK"),
    });
    assert_eq!(told.told, ["66 opened drive-gone critical", "66 opened pool-degraded critical"]);
}

#[test]
fn raid6_eases_when_one_of_two_lost_members_is_back() {
    let told = Story::closely().play(0, 500, |second, snapshot| {
        lay_out(snapshot, "raid6");
        match second {
            ..60 => {}
            ..120 => let_go(snapshot, &["HN24-LARK", "HN24-KITE"]),
            ..300 => let_go(snapshot, &["HN24-KITE"]),
            _ => {}
        }
    });
    assert_eq!(
        told.of("pool-degraded"),
        ["60 opened pool-degraded critical", "180 eased pool-degraded warning", "360 closed pool-degraded"]
    );
}

/// What each layout survives for certain: all copies but one of a mirror, one drive of raid4 and raid5 and two of raid6
/// (md(4), from memory), and of raid10 one, since the second may be the other copy.
#[test]
fn a_layout_decides_how_bad_a_loss_is() {
    let lost = |level: &str, serials: &[&str]| {
        let story = Story::closely().play(0, 2 * MINUTE, |second, snapshot| {
            lay_out(snapshot, level);
            if second >= 60 {
                let_go(snapshot, serials);
            }
        });
        [story.of("pool-degraded"), story.of("pool-down")].concat().join(",")
    };
    let (two, four) = (["HN24-LARK", "HN24-KITE"], ["HN24-LARK", "HN24-KITE", "HN24-WREN", "HN24-TERN"]);
    assert_eq!(lost("raid1", &two), "60 opened pool-degraded warning");
    assert_eq!(lost("raid1", &four), "60 opened pool-degraded critical");
    assert_eq!(lost("raid4", &two[..1]), "60 opened pool-degraded critical");
    assert_eq!(lost("raid10", &two[..1]), "60 opened pool-degraded critical");
    assert_eq!(lost("raid6", &four[..3]), "70 opened pool-down critical");
    assert_eq!(lost("raid0", &two[..1]), "70 opened pool-down critical");
}

#[test]
fn a_tray_is_called_empty_only_when_drives_can_be_read() {
    let tray_7 = |can_read: bool| {
        let mut story = Story::closely();
        let empty = traylight_config::Tray { label: "7".into(), holds: None };
        story.settings.shelves[1].trays.push(empty);
        let story = story.play(0, 10, |_, snapshot| {
            if !can_read {
                snapshot.drives.clear();
                snapshot.blind.push(Blind { what: Listing::Drives, why: Missing::of(Reason::Refused) });
            }
        });
        story.verdict.expect("there was a look").shelves[1].trays.last().map(|tray| tray.state)
    };
    assert_eq!(tray_7(true), Some(TrayState::Empty));
    assert_eq!(tray_7(false), Some(TrayState::NoReading));
}

/// A pool of raid10 whose layout cannot be read: which of those that are left holds the last copy is not known.
#[test]
fn a_pool_whose_layout_cannot_be_read_loses_one_and_all_others_stay_in() {
    let leave_in = |is_read: bool| {
        let story = Story::closely().play(0, 60, |second, snapshot| {
            lay_out(snapshot, "raid10");
            let pool = &mut snapshot.pools[0];
            if !is_read {
                pool.groups.clear();
                pool.is_partial = true;
            }
            if second >= 30 {
                pool.members[1].state = MemberState::Faulty;
                pool.missing = Some(1);
            }
        });
        assert_eq!(story.of("pool-degraded"), ["30 opened pool-degraded critical"]);
        let verdict = story.verdict.expect("there was a look");
        let held = verdict.conditions.iter().find(|held| held.kind().id() == "pool-degraded").expect("it holds");
        let Finding::PoolDegraded { leave_in, .. } = &held.finding else { panic!("it has the facts of one") };
        leave_in.clone()
    };
    assert_eq!(leave_in(true), ["1", "3"], "five members, two copies");
    assert_eq!(leave_in(false), ["1", "3", "4", "5"]);
}
