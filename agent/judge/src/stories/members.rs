//! Stories of who is lost and who must stay in: replacements, spares, drives in two pools, drives that are back.

use super::{Story, let_go, pull};
use traylight_data::reading::{Activity, ActivityKind, Member, MemberState};
use traylight_data::verdict::{Condition, Finding, Place};

fn degraded(story: &Story, pool: &str) -> (Vec<String>, Vec<String>) {
    let facts = |held: &Condition| match &held.finding {
        Finding::PoolDegraded { pool: name, lost, leave_in, .. } if name == pool => {
            Some((lost.iter().map(Place::label).collect(), leave_in.clone()))
        }
        _ => None,
    };
    story.verdict.as_ref().and_then(|verdict| verdict.conditions.iter().find_map(facts)).expect("the pool is degraded")
}

/// A replacement often gets the kernel's name of the drive that it replaces.
#[test]
fn while_a_replacement_is_filled_only_the_old_drive_is_lost_and_only_drives_that_are_there_must_stay() {
    let mut story = Story::closely();
    story.settings.shelves.clear();
    let story = story.play(0, 200, |second, snapshot| match second {
        ..60 => {}
        60..120 => let_go(snapshot, &["HN24-LARK"]),
        _ => {
            let drive = &mut snapshot.drives[2];
            drive.key.0 = "HN26-JAYS".into();
            drive.serial = Some("HN26-JAYS".into());
            let pool = &mut snapshot.pools[0];
            pool.members[2].state = MemberState::Rebuilding;
            pool.missing = Some(1);
            pool.activity = Activity { kind: ActivityKind::Rebuild, done: Some(0.1), left: None, speed: None };
        }
    });
    let (lost, leave_in) = degraded(&story, "md0");
    assert!(!leave_in.contains(&"LARK".to_owned()), "leave in a drive that is gone: {leave_in:?}");
    assert_eq!(lost, ["LARK"]);
}

#[test]
fn a_spare_that_is_pulled_is_missed() {
    let story = Story::closely().play(0, 120, |second, snapshot| {
        let device = snapshot.drives[5].device.clone();
        let spare = Member {
            device: device.clone(),
            drive_device: device,
            slot: None,
            state: MemberState::Spare,
            ..snapshot.pools[0].members[0].clone()
        };
        snapshot.pools[0].members.push(spare);
        if second >= 60 {
            pull(snapshot, "HN31-CROW");
        }
    });
    assert_eq!(story.of("drive-gone").len(), 1, "{:?}", story.told);
}

#[test]
fn a_drive_that_the_configuration_names_is_missed_after_a_reload_as_before() {
    let without = |_: u64, snapshot: &mut traylight_data::reading::Snapshot| let_go(snapshot, &["HN24-LARK"]);
    let mut story = Story::closely().play(0, 60, |_, _| {}).play(60, 120, without);
    story.reload(&story.settings.clone());
    let story = story.play(120, 240, without);
    assert_eq!(story.of("drive-gone"), ["60 opened drive-gone critical"]);
}

#[test]
fn a_drive_in_two_pools_is_lost_to_both() {
    let story = Story::closely().play(0, 120, |second, snapshot| {
        let mut other = snapshot.pools[0].clone();
        other.key = "another".into();
        other.name = "md1".into();
        snapshot.pools.push(other);
        if second >= 60 {
            let index = snapshot.drives.iter().position(|drive| drive.key.0 == "HN24-LARK").unwrap();
            let drive = snapshot.drives.remove(index);
            for member in snapshot.pools.iter_mut().flat_map(|pool| &mut pool.members) {
                member.device_gone |= member.drive_device == drive.device;
            }
        }
    });
    let wanted = (vec!["3".to_owned()], ["1", "2", "4", "5"].map(str::to_owned).to_vec());
    assert_eq!(degraded(&story, "md0"), wanted);
    assert_eq!(degraded(&story, "md1"), wanted);
}

#[test]
fn a_drive_that_is_back_but_not_used_is_still_the_one_that_the_pool_lost() {
    let story = Story::closely().play(0, 300, |second, snapshot| {
        if second >= 60 {
            let drive = snapshot.drives[2].clone();
            let_go(snapshot, &["HN24-LARK"]);
            if second >= 120 {
                snapshot.drives.insert(2, traylight_data::reading::Drive { device: "sdk".into(), ..drive });
            }
        }
    });
    assert_eq!(degraded(&story, "md0").0, ["3"]);
}

#[test]
fn a_member_whose_state_cannot_be_read_is_not_lost() {
    let story = Story::closely().play(0, 120, |second, snapshot| {
        if second >= 60 {
            snapshot.pools[0].members[2].state = MemberState::Unknown;
        }
    });
    assert_eq!(story.told, [""; 0]);
}
