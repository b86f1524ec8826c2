//! Stories of drives that are cut in two: the first parts of drives 0 to 4 hold `md0`, the second parts `md1`, or pools of
//! other kinds. What happens in one pool is told of that pool, once.

use super::{HOUR, MINUTE, Story};
use traylight_data::reading::{Drive, Member, MemberErrorKind, MemberErrors, MemberState, Pool, PoolKind, Snapshot};
use traylight_data::verdict::{Finding, Handling, Incident, PoolErrors};

/// The parts of every drive: the first in the pool that was on the whole drives, the second in another of this kind.
fn cut(snapshot: &mut Snapshot, kind: PoolKind) {
    let pool = &mut snapshot.pools[0];
    let mut other = Pool { key: "another".into(), name: "md1".into(), kind, ..pool.clone() };
    for (part, pool) in [(1, pool), (2, &mut other)] {
        for member in &mut pool.members {
            member.device = format!("{}{part}", member.drive_device);
        }
    }
    snapshot.pools.push(other);
}

fn count(member: &mut Member, kind: MemberErrorKind, count: u64) {
    member.errors.retain(|errors| errors.kind != kind);
    member.errors.push(MemberErrors { kind, count });
}

/// md lets a member go that is there.
fn put_out(pool: &mut Pool, member: usize) {
    pool.members.remove(member);
    pool.missing = Some(1);
}

/// The pools that the conditions of this kind name, and what each is a condition of.
fn named(story: &Story, kind: &str) -> Vec<String> {
    let open = &story.verdict.as_ref().expect("there was a look").conditions;
    let named = open.iter().filter(|held| held.kind().id() == kind).map(|held| match &held.finding {
        Finding::MemberErrors { pool, what: PoolErrors::OfMember { grown, .. } } => format!("{pool}: {grown}"),
        Finding::DriveBackNotUsed { pool, .. } => pool.clone(),
        other => panic!("not about a member: {other:?}"),
    });
    named.collect()
}

#[test]
fn errors_in_both_pools_of_a_drive_are_two_conditions_and_each_is_told_once() {
    for kind in [PoolKind::Md, PoolKind::Zfs, PoolKind::Btrfs] {
        let story = Story::new().play(0, 4 * HOUR, |second, snapshot| {
            cut(snapshot, kind);
            if second >= HOUR {
                count(&mut snapshot.pools[0].members[2], MemberErrorKind::Read, 3);
            }
            count(&mut snapshot.pools[1].members[2], MemberErrorKind::Checksum, u64::from(second >= 2 * HOUR));
        });
        let told = ["3600 opened member-errors warning", "7200 opened member-errors warning"];
        assert_eq!(story.told, told, "{kind:?}");
        assert_eq!(named(&story, "member-errors"), ["md0: 3", "md1: 1"]);
    }
}

/// The pool without errors says nothing about the one that has some, in whichever order they are listed.
#[test]
fn errors_in_one_pool_of_a_drive_do_not_come_and_go() {
    for backwards in [false, true] {
        let story = Story::new().play(0, 3 * HOUR, |second, snapshot| {
            cut(snapshot, PoolKind::Md);
            if second >= HOUR {
                count(&mut snapshot.pools[1].members[0], MemberErrorKind::Read, 1);
            }
            if backwards {
                snapshot.pools.reverse();
            }
        });
        assert_eq!(story.told, ["3600 opened member-errors warning"]);
    }
}

/// Two parts of one drive in the same pool count by themselves, whichever of them is listed first.
#[test]
fn two_members_on_one_drive_do_not_write_over_each_others_counts() {
    for faulty in [0, 1] {
        let story = Story::new().play(0, 2 * HOUR, |second, snapshot| {
            let pool = &mut snapshot.pools[0];
            let drive = pool.members[0].drive_device.clone();
            for index in [0, 1] {
                pool.members[index].drive_device.clone_from(&drive);
                pool.members[index].device = format!("{drive}{}", index + 1);
                let errors = if index == faulty { 7 + 2 * u64::from(second >= HOUR) } else { 0 };
                count(&mut pool.members[index], MemberErrorKind::Read, errors);
            }
        });
        assert_eq!(story.of("member-errors"), ["3600 opened member-errors warning"], "{:?}", story.told);
        assert_eq!(named(&story, "member-errors"), ["md0: 2"]);
        assert!(!story.told.iter().any(|line| line.contains("NewBaseline")), "{:?}", story.told);
    }
}

#[test]
fn a_drive_that_one_of_its_pools_put_out_is_not_used_by_that_pool() {
    let story = Story::closely().play(0, 10 * MINUTE, |second, snapshot| {
        cut(snapshot, PoolKind::Md);
        if second >= MINUTE {
            put_out(&mut snapshot.pools[1], 2);
        }
    });
    let told = ["60 opened pool-degraded critical", "180 opened drive-back-not-used warning"];
    assert_eq!(story.told, told);
    assert_eq!(named(&story, "drive-back-not-used"), ["md1"]);
    let degraded = story.verdict.as_ref().expect("there was a look").conditions.iter().find_map(|held| {
        let Finding::PoolDegraded { pool, lost, .. } = &held.finding else { return None };
        Some((pool.as_str(), lost.iter().map(traylight_data::verdict::Place::label).collect::<Vec<_>>()))
    });
    assert_eq!(degraded, Some(("md1", vec!["3".to_owned()])), "which drive it lacks is known");
}

/// Both lack it, and take it back one after the other.
#[test]
fn each_pool_is_over_when_it_has_the_drive_again() {
    let story = Story::closely().play(0, 20 * MINUTE, |second, snapshot| {
        cut(snapshot, PoolKind::Md);
        if (MINUTE..15 * MINUTE).contains(&second) {
            put_out(&mut snapshot.pools[0], 2);
        }
        if (MINUTE..5 * MINUTE).contains(&second) {
            put_out(&mut snapshot.pools[1], 2);
        }
    });
    assert_eq!(
        story.of("drive-back-not-used"),
        [
            "180 opened drive-back-not-used warning",
            "180 opened drive-back-not-used warning",
            "300 closed drive-back-not-used",
            "900 closed drive-back-not-used"
        ]
    );
}

/// The first part is a member, the second waits as a spare: it is not missed by the pool that never used it.
#[test]
fn a_spare_in_one_pool_and_a_member_of_the_other_is_fine_until_it_is_pulled() {
    let with_spare = |snapshot: &mut Snapshot| {
        cut(snapshot, PoolKind::Md);
        let other = &mut snapshot.pools[1];
        let spare = other.members.remove(4);
        other.members.push(Member { slot: None, state: MemberState::Spare, ..spare });
        other.wanted = 4;
        other.groups = traylight_parse::md::layout::groups("raid5", 4, 2);
    };
    let story = Story::closely().play(0, 10 * MINUTE, |second, snapshot| {
        with_spare(snapshot);
        if second >= 5 * MINUTE {
            let gone: Drive = snapshot.drives.remove(4);
            for member in snapshot.pools.iter_mut().flat_map(|pool| &mut pool.members) {
                member.device_gone |= member.drive_device == gone.device;
            }
        }
    });
    assert_eq!(story.told, ["300 opened drive-gone critical", "300 opened pool-degraded critical"]);
}

/// md failed it for its errors, its owner took it out of the array and made a pool of its own of it.
#[test]
fn what_was_told_of_a_drive_in_a_pool_ends_when_it_is_put_to_another_use() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| {
        let member = snapshot.pools[0].members[2].clone();
        if second >= MINUTE {
            count(&mut snapshot.pools[0].members[2], MemberErrorKind::Read, 40);
        }
        if second >= 10 * MINUTE {
            put_out(&mut snapshot.pools[0], 2);
        }
        if second >= 30 * MINUTE {
            let own = Pool {
                key: "scratch".into(),
                name: "scratch".into(),
                wanted: 1,
                missing: Some(0),
                groups: Vec::new(),
                members: vec![Member { slot: Some(0), ..member }],
                ..snapshot.pools[0].clone()
            };
            snapshot.pools.push(own);
        }
    });
    assert_eq!(story.of("member-errors"), ["60 opened member-errors warning", "1800 closed member-errors"]);
    assert_eq!(
        story.of("drive-back-not-used"),
        ["720 opened drive-back-not-used warning", "1800 closed drive-back-not-used"]
    );
}

/// A pool that lacks a member and only lets the drive wait does not use it; one that fills it is on its way.
#[test]
fn a_drive_is_used_again_once_it_holds_its_share() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| {
        let pool = &mut snapshot.pools[0];
        match second {
            ..60 => {}
            60..600 => put_out(pool, 2),
            600..1200 => {
                (pool.members[2].state, pool.members[2].slot, pool.missing) = (MemberState::Spare, None, Some(1));
            }
            1200..2400 => {
                (pool.members[2].state, pool.missing) = (MemberState::Rebuilding, Some(1));
                pool.activity.kind = traylight_data::reading::ActivityKind::Rebuild;
            }
            _ => {}
        }
    });
    assert_eq!(
        story.of("drive-back-not-used"),
        ["180 opened drive-back-not-used warning", "2400 closed drive-back-not-used"]
    );
}

/// Which trays must stay in by the newest message of each incident, and by what holds now.
fn leave_in(story: &Story) -> Vec<[Vec<String>; 2]> {
    let labels = |handling: &Handling| match handling {
        Handling::LeaveIn(labels) => labels.clone(),
        other => panic!("no trays are named: {other:?}"),
    };
    let incidents = &story.verdict.as_ref().expect("there was a look").incidents;
    let told = |incident: &Incident| incident.reported.as_ref().map(|told| labels(&told.handling)).unwrap_or_default();
    incidents.iter().map(|incident| [told(incident), labels(&incident.handling)]).collect()
}

/// The drive that one pool has put out is one that the other cannot lose any more: a message that lets it be taken is not the
/// newest for long, whether it was acknowledged or not.
#[test]
fn a_message_never_names_fewer_trays_that_must_stay_in_than_there_are() {
    for acknowledged in [false, true] {
        let cut_out = |second: u64, snapshot: &mut Snapshot| {
            cut(snapshot, PoolKind::Md);
            if second >= MINUTE {
                put_out(&mut snapshot.pools[0], 2);
            }
            if second >= 10 * MINUTE {
                put_out(&mut snapshot.pools[1], 3);
            }
        };
        let mut story = Story::closely().play(0, 5 * MINUTE, cut_out);
        assert_eq!(leave_in(&story), [["1", "2", "4", "5"].map(String::from).to_vec(); 1].map(|it| [it.clone(), it]));
        if acknowledged {
            let open = story.memory.incidents();
            assert!(open.iter().all(|incident| story.memory.acknowledge(incident.id)));
        }
        let story = story.play(5 * MINUTE, 15 * MINUTE, cut_out).restarted().play(15 * MINUTE, 16 * MINUTE, cut_out);
        assert_eq!(leave_in(&story).len(), 2);
        for [told, now] in leave_in(&story) {
            assert!(now.iter().all(|tray| told.contains(tray)), "told {told:?}, now {now:?}");
        }
    }
}
