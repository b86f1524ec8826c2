//! Stories of pools at work and at odds: work that stands still, comparisons and what they find, errors on members, drives
//! that are back and not used.

use super::{DAY, HOUR, MINUTE, Story, let_go};
use crate::memory::Memory;
use std::time::Duration;
use traylight_data::reading::{
    Activity, ActivityKind, LastCheck, MemberErrorKind, MemberErrors, MemberState, PoolRunning, Snapshot,
};
use traylight_data::units::BytesPerSecond;
use traylight_data::verdict::Finding;

fn works(snapshot: &mut Snapshot, kind: ActivityKind, done: f64, mb_per_s: f64) {
    let speed = Some(BytesPerSecond(mb_per_s * 1e6));
    snapshot.pools[0].activity = Activity { kind, done: Some(done), left: None, speed };
}

fn count(snapshot: &mut Snapshot, member: usize, kind: MemberErrorKind, count: u64) {
    snapshot.pools[0].members[member].errors = vec![MemberErrors { kind, count }];
}

#[test]
fn a_rebuild_that_stands_still_for_half_an_hour_is_told_and_over_ten_minutes_after_it_moves() {
    let story = Story::new().play(0, 3 * HOUR, |second, snapshot| match second {
        ..HOUR => works(snapshot, ActivityKind::Rebuild, 0.1 + second as f64 / 1e5, 80.0),
        HOUR..7200 => works(snapshot, ActivityKind::Rebuild, 0.136, 0.0),
        _ => works(snapshot, ActivityKind::Rebuild, 0.136 + (second - 7200) as f64 / 1e5, 80.0),
    });
    assert_eq!(story.of("rebuild-stalled"), ["5400 opened rebuild-stalled warning", "7800 closed rebuild-stalled"]);
}

/// Seen on Linux 6.1: the failing write and the removal of the member meet, and md never takes the rebuild up again.
#[test]
fn a_rebuild_that_was_broken_off_and_forgotten_is_told() {
    let story = Story::new().play(0, HOUR, |_, snapshot| {
        snapshot.pools[0].members[2].state = MemberState::Rebuilding;
        snapshot.pools[0].missing = Some(1);
    });
    assert_eq!(story.of("rebuild-stalled"), ["1800 opened rebuild-stalled warning"]);
}

/// Near misses: slow but moving; paused on purpose; waiting for another pool without any progress to show.
#[test]
fn work_that_is_slow_or_paused_has_not_stalled() {
    for (kind, mb_per_s) in [(ActivityKind::Check, 1.5), (ActivityKind::Frozen, 0.0)] {
        let story = Story::new().play(0, 2 * HOUR, |second, snapshot| {
            works(snapshot, kind, second as f64 / 1e6, mb_per_s);
        });
        assert_eq!(story.of("rebuild-stalled"), [""; 0], "{kind:?}");
    }
}

/// On a parity layout a difference points to hardware, on mirrors it can be harmless (md.rst, `mismatch_cnt`).
#[test]
fn differences_are_told_at_the_end_of_a_check_and_over_at_the_end_of_a_clean_one() {
    for (level, severity) in [("raid5", "warning"), ("raid6", "warning"), ("raid1", "notice"), ("raid10", "notice")] {
        let story = Story::new().play(0, HOUR, |second, snapshot| {
            super::lay_out(snapshot, level);
            snapshot.pools[0].mismatches = match second {
                ..600 => Some(0),
                600..1200 => None,
                1200..2400 => Some(24),
                2400..3000 => None,
                _ => Some(0),
            };
        });
        let wanted = [format!("1200 opened mismatches {severity}"), "3000 closed mismatches".to_owned()];
        assert_eq!(story.of("mismatches"), wanted, "{level}");
    }
}

/// A story of a box that was watched for so many days, in which its pool was never compared.
fn watched_for(days: u64) -> Story {
    let ledger = format!(
        r#"{{"watched":{{"secs":{},"nanos":0}},"drives":{{}},
            "checks":{{"5a6e0b1c-heron-songs":{{"first_seen":{{"secs":0,"nanos":0}},"ended":null}}}}}}"#,
        days * DAY
    );
    Story { memory: Memory::with_ledger(serde_json::from_str(&ledger).expect("a ledger")), ..Story::new() }
}

/// A check that begins at `from` and would take two hours.
fn checks(second: u64, from: u64, snapshot: &mut Snapshot) {
    works(snapshot, ActivityKind::Check, (second - from) as f64 / (2.0 * HOUR as f64), 80.0);
}

#[test]
fn a_pool_that_was_not_compared_for_six_weeks_is_due_and_a_whole_check_ends_it() {
    let story = watched_for(44).play(0, 2 * DAY, |second, snapshot| {
        if (25 * HOUR..27 * HOUR).contains(&second) {
            checks(second, 25 * HOUR, snapshot);
        }
    });
    assert_eq!(story.of("check-overdue"), ["86400 opened check-overdue warning", "97200 closed check-overdue"]);
}

/// Near miss: somebody ends the check halfway.
#[test]
fn a_check_that_was_broken_off_does_not_count() {
    let story = watched_for(44).play(0, 2 * DAY, |second, snapshot| {
        if (HOUR..2 * HOUR).contains(&second) {
            checks(second, HOUR, snapshot);
        }
    });
    assert_eq!(story.of("check-overdue"), ["86400 opened check-overdue warning"]);
}

/// A scrub of ZFS or btrfs that ended at this second, by the pool's own record and a clock that is set.
fn noted(second: u64, ended: i64, snapshot: &mut Snapshot) {
    const EPOCH: i64 = 1_795_000_000;
    let calendar = EPOCH + second as i64;
    snapshot.pools[0].last_check = Some(LastCheck::by((EPOCH + ended) as u64, Some(calendar as u64)));
}

/// A box that is first watched today, whose pool was scrubbed 44 days ago by its own record.
#[test]
fn a_scrub_from_before_the_box_was_watched_counts() {
    let ended = -44 * DAY as i64;
    let story = Story::new().play(0, 2 * DAY, |second, snapshot| noted(second, ended, snapshot));
    assert_eq!(story.of("check-overdue"), ["86400 opened check-overdue warning"]);
    let verdict = story.verdict.expect("there was a look");
    let finding =
        &verdict.conditions.iter().find(|held| held.kind().id() == "check-overdue").expect("it holds").finding;
    assert!(matches!(finding, Finding::CheckOverdue { never: false, .. }), "{finding:?}");
}

/// One that ended while nobody watched ends the alarm, although no comparison was seen to run.
#[test]
fn a_scrub_that_nobody_saw_ends_the_alarm() {
    let story = watched_for(44).play(0, 3 * DAY, |second, snapshot| {
        if second >= 2 * DAY {
            noted(second, (2 * DAY - 3 * HOUR) as i64, snapshot);
        }
    });
    assert_eq!(story.of("check-overdue"), ["86400 opened check-overdue warning", "172800 closed check-overdue"]);
}

/// Without a clock that is set, and for a time to come, it is not known how long ago that was.
#[test]
fn a_scrub_at_a_time_that_cannot_be_believed_does_not_count() {
    for calendar in [None, Some(1_000)] {
        let story = watched_for(44).play(0, 2 * DAY, |_, snapshot| {
            snapshot.pools[0].last_check = Some(LastCheck::by(1_795_000_000, calendar));
        });
        assert_eq!(story.of("check-overdue"), ["86400 opened check-overdue warning"], "{calendar:?}");
    }
}

/// A resilver takes the place of the scrub in the record, and a clock that steps makes no scrub older.
#[test]
fn a_scrub_is_remembered_when_its_record_is_gone_or_the_clock_steps() {
    let ended = -40 * DAY as i64;
    let story = Story::new()
        .play(0, HOUR, |second, snapshot| noted(second, ended, snapshot))
        .play(HOUR, 2 * HOUR, |second, snapshot| {
            noted(second, ended, snapshot);
            let check = snapshot.pools[0].last_check.as_mut().expect("it was just noted");
            check.ago = check.ago.map(|ago| ago + Duration::from_secs(30 * DAY));
        })
        .passes(4 * DAY)
        .play(2 * HOUR, 2 * DAY, |_, _| {});
    assert_eq!(story.of("check-overdue"), ["86400 opened check-overdue warning"]);
}

#[test]
fn errors_on_a_member_are_told_when_they_grow_and_over_after_a_week() {
    let more = |second, snapshot: &mut Snapshot| {
        count(snapshot, 1, MemberErrorKind::Read, if second < HOUR { 7 } else { 9 });
    };
    let story = Story::new().play(0, 2 * HOUR, more).passes(6 * DAY).play(2 * HOUR, 2 * DAY, more);
    assert_eq!(story.told, ["3600 opened member-errors warning", "90000 closed member-errors"]);
}

#[test]
fn a_hundred_errors_in_an_hour_are_critical_and_old_ones_are_no_news() {
    let story = Story::new().play(0, HOUR, |second, snapshot| {
        count(snapshot, 0, MemberErrorKind::Checksum, 5_000);
        count(snapshot, 1, MemberErrorKind::Checksum, 3 * (second / MINUTE));
    });
    assert_eq!(story.told, ["60 opened member-errors warning", "2040 worsened member-errors critical"]);
}

#[test]
fn data_that_is_lost_for_good_is_critical_at_once() {
    let story = Story::new().play(0, 10 * MINUTE, |second, snapshot| {
        snapshot.pools[0].lost_data = Some(u64::from(second >= 300) * 2);
    });
    assert_eq!(story.told, ["300 opened member-errors critical"]);
}

#[test]
fn a_drive_that_is_back_is_not_used_until_its_pool_takes_it() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| match second {
        60..120 => let_go(snapshot, &["HN24-LARK"]),
        120..1800 => {
            let drive = snapshot.drives[2].clone();
            let_go(snapshot, &["HN24-LARK"]);
            snapshot.drives.insert(2, drive);
        }
        1800..2400 => {
            snapshot.pools[0].members[2].state = MemberState::Rebuilding;
            snapshot.pools[0].missing = Some(1);
        }
        _ => {}
    });
    assert_eq!(
        story.of("drive-back-not-used"),
        ["240 opened drive-back-not-used warning", "2400 closed drive-back-not-used"],
        "while it is filled, its pool does not stand on it yet"
    );
}

#[test]
fn a_suspended_pool_is_down_at_once_and_says_why() {
    let story = Story::closely().play(0, 60, |second, snapshot| {
        if second >= 30 {
            snapshot.pools[0].running.value = Ok(PoolRunning::Suspended);
        }
    });
    assert_eq!(story.told, ["30 opened pool-down critical"]);
}

/// A mirrored pair out of four: the partner of the lost one must stay in, the other pair could lose one.
#[test]
fn of_mirrored_pairs_only_the_partner_must_stay_in() {
    let story = Story::closely().play(0, 120, |second, snapshot| {
        snapshot.pools[0].members.truncate(4);
        snapshot.pools[0].wanted = 4;
        super::lay_out(snapshot, "raid10");
        if second >= 60 {
            super::pull(snapshot, "HN24-LARK");
        }
    });
    let verdict = story.verdict.expect("there was a look");
    let leave_in = verdict.conditions.iter().find_map(|held| match &held.finding {
        Finding::PoolDegraded { leave_in, .. } => Some(leave_in.clone()),
        _ => None,
    });
    assert_eq!(leave_in, Some(vec!["4".to_owned()]));
}
