//! Stories of starts: drives that take their time to appear, and drives that keep missing the start.

use super::{Story, restarted};
use crate::memory::ledger::Ledger;
use traylight_data::reading::{Bus, Counter, Event, EventKind, EventSource, Part, SelfAssessment, Snapshot};
use traylight_data::verdict::Finding;

/// The kernel tells once, in the first second, that this card starts its ports one after another.
fn staggered(snapshot: &mut Snapshot) {
    snapshot.events.push(Event {
        at: traylight_data::clock::Moment::after_boot(std::time::Duration::from_secs(1)),
        part: Part::Controller("0000/01.0/00.0".into()),
        what: EventKind::StaggeredStart,
        teller: EventSource::Log,
        line: "ahci 0000:01:00.0: SSS flag set, parallel bus scan disabled".into(),
    });
}

/// A box that has just been started, whose last drive appears so many seconds later.
fn comes_late(is_staggered: bool, appears: u64) -> Vec<String> {
    let story = Story { up: 0, ..Story::closely() }.play(0, 300, |second, snapshot| {
        if is_staggered && second == 2 {
            staggered(snapshot);
        }
        if second < appears {
            snapshot.drives.truncate(5);
        }
    });
    story.told
}

#[test]
fn drives_that_are_started_one_after_another_have_two_minutes_to_appear() {
    assert_eq!(comes_late(true, 118), [""; 0]);
    assert_eq!(comes_late(true, 140), ["130 opened drive-gone warning", "200 closed drive-gone"]);
    assert_eq!(comes_late(false, 118)[0], "100 opened drive-gone warning", "and others a minute and a half");
}

/// The whole of the grace is longer then: for the drives, for the pools that are put together of them, and for the standing.
#[test]
fn a_box_whose_drives_are_started_one_after_another_is_starting_for_as_long_as_they_may_take() {
    let slow = |second: u64, snapshot: &mut Snapshot| {
        if second == 2 {
            staggered(snapshot);
        }
    };
    let mut story = Story { up: 0, ..Story::closely() };
    story.settings.limits.grace.drives = std::time::Duration::from_secs(150);
    let story = story.play(0, 196, |second, snapshot| {
        slow(second, snapshot);
        if second < 190 {
            super::let_go(snapshot, &["HN24-LARK"]);
        }
    });
    assert_eq!(story.told, [""; 0], "its pool waits for it, too");
    assert!(story.verdict.as_ref().is_some_and(|verdict| verdict.is_starting));
    let story = story.play(196, 270, slow);
    assert_eq!((story.told.len(), story.verdict.is_some_and(|verdict| verdict.is_starting)), (0, false));
}

/// A drive that nobody named and no pool uses: a disk with data of its own, or one that only took backups.
fn alone(snapshot: &mut Snapshot, there: bool) {
    if !there {
        snapshot.drives.truncate(5);
    }
}

fn unnamed() -> Story {
    let mut story = Story { up: 10, ..Story::closely() };
    story.settings.shelves.clear();
    story.play(0, 200, |_, _| {})
}

#[test]
fn a_drive_of_no_pool_and_without_a_name_that_does_not_come_back_after_a_boot_is_missed() {
    let story = unnamed().rebooted(60).play(0, 300, |_, snapshot| alone(snapshot, false));
    assert_eq!(story.told, ["100 opened drive-gone warning"]);
    let story = story.restarted().play(300, 600, |_, snapshot| alone(snapshot, false));
    assert_eq!(story.told, [""; 0]);
    let mut story = story.rebooted(60).play(0, 300, |_, snapshot| alone(snapshot, false));
    assert_eq!(story.told, [""; 0], "told once");
    story.accept("drive-gone").expect("it was taken out");
    let story = story.play(300, 400, |_, snapshot| alone(snapshot, false));
    assert_eq!(story.told, ["300 closed drive-gone"]);
    let story = story.rebooted(60).play(0, 300, |_, snapshot| alone(snapshot, false));
    assert_eq!(story.told, [""; 0], "and it stays agreed");
    let late = unnamed().rebooted(60).play(0, 300, |second, snapshot| alone(snapshot, second >= 60));
    assert_eq!(late.told, [""; 0], "it only took its time");
    let back = unnamed().rebooted(60).play(0, 300, |second, snapshot| alone(snapshot, second >= 150));
    assert_eq!(back.told, ["100 opened drive-gone warning", "210 closed drive-gone"]);
}

/// Near misses: another is in its place, which is told as such; it was there for a moment only; it is a stick.
#[test]
fn a_drive_that_was_changed_or_never_settled_is_not_missed_after_a_boot() {
    let changed = unnamed().rebooted(60).play(0, 300, |_, snapshot| {
        snapshot.drives[5].key.0 = "HN26-JAYS".into();
        snapshot.drives[5].serial = Some("HN26-JAYS".into());
    });
    assert_eq!(changed.of("drive-gone"), [""; 0], "{:?}", changed.told);
    let mut story = Story { up: 10, ..Story::closely() };
    story.settings.shelves.clear();
    let moment = story.play(0, 200, |second, snapshot| alone(snapshot, second >= 160));
    let moment = moment.rebooted(60).play(0, 300, |_, snapshot| alone(snapshot, false));
    assert_eq!(moment.of("drive-gone"), [""; 0]);
    let mut story = Story { up: 10, ..Story::closely() };
    story.settings.shelves.clear();
    let stick = story.play(0, 200, |_, snapshot| snapshot.drives[5].removable = true);
    let stick = stick.rebooted(60).play(0, 300, |_, snapshot| alone(snapshot, false));
    assert_eq!(stick.of("drive-gone"), [""; 0]);
}

/// The card was changed for another since.
#[test]
fn what_a_card_did_at_the_start_before_does_not_count_at_this_one() {
    let before = Story { up: 0, ..Story::closely() }.play(0, 300, |second, snapshot| {
        if second == 2 {
            staggered(snapshot);
        }
    });
    let story = Story {
        up: 0,
        ..restarted(before, |ledger: &mut Ledger, ended| {
            ledger.move_back(ended, |at| at.minus(ended.since_boot()));
        })
    };
    let story = story.play(0, 110, |_, snapshot| snapshot.drives.truncate(5));
    assert_eq!(story.told, ["100 opened drive-gone warning"]);
}

fn starts(snapshot: &mut Snapshot, count: i64) {
    for drive in &mut snapshot.drives {
        if let Ok(health) = &mut drive.health.value {
            health.counters.retain(|counter| counter.name != "power_cycles");
            health.counters.push(Counter { name: "power_cycles".into(), value: count, origin: "story".into() });
        }
    }
}

/// A boot in which the drives have started so often by now; `late` misses its start and is there after ten minutes.
fn boot(story: Story, count: i64, late: Option<usize>) -> Story {
    boot_without(story, count, late.as_slice())
}

/// The same with several that miss their start, by their place from the last on.
fn boot_without(story: Story, count: i64, late: &[usize]) -> Story {
    let told = story.told.clone();
    let story = restarted(story, |ledger: &mut Ledger, ended| {
        ledger.move_back(ended, |at| at.minus(ended.since_boot()));
    });
    let story = Story { up: 10, pace: 10, told, ..story };
    story.play(0, 1200, |second, snapshot| {
        starts(snapshot, count);
        if second < 600 {
            late.iter().for_each(|index| drop(snapshot.drives.remove(*index)));
        }
    })
}

const AT_START: &str = "drive-missing-at-start";

/// A box that was watched, then these boots: how often its drives had started, and which was late.
fn boots(boots: &[(i64, Option<usize>)]) -> Story {
    let first = Story { up: 10, pace: 10, ..Story::new() }.play(0, 1200, |_, snapshot| starts(snapshot, 100));
    boots.iter().fold(first, |story, (count, late)| boot(story, *count, *late))
}

#[test]
fn a_drive_that_misses_two_of_five_cold_starts_is_told_and_over_when_three_more_were_good() {
    let twice = [(101, Some(5)), (102, None), (103, Some(5))];
    let story = boots(&twice);
    assert_eq!(story.of(AT_START), ["600 opened drive-missing-at-start warning"]);
    let Some(Finding::DriveMissingAtStart { missing, of, .. }) = story
        .verdict
        .as_ref()
        .and_then(|verdict| verdict.conditions.iter().find(|held| held.kind().id() == AT_START))
        .map(|held| &held.finding)
    else {
        panic!("it holds: {:?}", story.told)
    };
    assert_eq!((*missing, *of), (2, 3));
    let well = [&twice[..], &[(104, None), (105, None), (106, None)]].concat();
    assert_eq!(boots(&well[..5]).of(AT_START).len(), 1, "two of five");
    assert_eq!(boots(&well).of(AT_START).len(), 2, "and closed");
}

/// Near misses: once only; warm restarts, at which drives count nothing; a drive that was gone before.
#[test]
fn warm_restarts_and_drives_that_were_missed_before_do_not_count() {
    assert_eq!(boots(&[(101, Some(5)), (102, None)]).of(AT_START), [""; 0], "once");
    assert_eq!(boots(&[(100, Some(5)), (100, Some(5)), (100, Some(5))]).of(AT_START), [""; 0], "warm");
    let gone = boots(&[]).play(1200, 2400, |_, snapshot| {
        starts(snapshot, 100);
        snapshot.drives.remove(5);
    });
    let story = boot(boot(gone, 101, Some(5)), 102, Some(5));
    assert_eq!(story.of(AT_START), [""; 0], "told as gone when the boot before ended: {:?}", story.told);
}

/// A start that nobody watched from its first minute says nothing of who was late.
#[test]
fn a_program_that_is_started_later_counts_no_start() {
    let mut story = boots(&[]);
    for count in [101, 102] {
        story = restarted(story, |ledger: &mut Ledger, ended| {
            ledger.move_back(ended, |at| at.minus(ended.since_boot()));
        });
        story = Story { up: 3600, ..story }.play(0, 1200, |second, snapshot| {
            starts(snapshot, count);
            if second < 600 {
                snapshot.drives.remove(5);
            }
        });
    }
    assert_eq!(story.of(AT_START), [""; 0]);
}

/// Two drives have missed starts, and their owner agrees with one of them: the other is told of all the same.
#[test]
fn agreeing_with_one_drive_that_missed_its_starts_forgets_nothing_of_another() {
    let both = [(101, &[5, 4][..]), (102, &[5]), (103, &[4])];
    let mut story = both.iter().fold(boots(&[]), |story, (count, late)| boot_without(story, *count, late));
    assert_eq!(story.of(AT_START).len(), 2, "each at its second: {:?}", story.told);
    let of = |story: &Story| {
        story
            .verdict
            .as_ref()
            .map_or(0, |verdict| verdict.conditions.iter().filter(|held| held.kind().id() == AT_START).count())
    };
    story.accept(AT_START).expect("the first is slow and known to be");
    let story = story.play(1200, 2400, |_, snapshot| starts(snapshot, 103));
    assert_eq!(of(&story), 1, "{:?}", story.told);
}

/// Near miss of the grace: nothing waits for a drive that no tray and no pool names, but what was told of it before the start
/// is not over as long as it may appear.
#[test]
fn what_was_told_of_a_drive_that_nobody_expects_waits_for_it_as_long_as_others_are_waited_for() {
    let visitor = |snapshot: &mut Snapshot| {
        let drive = &mut snapshot.drives[5];
        drive.bus = Bus::Usb;
        if let Ok(health) = &mut drive.health.value {
            health.assessment = Ok(SelfAssessment::Failing);
        }
    };
    let after = |is_staggered: bool| {
        let mut before = Story::closely();
        before.settings.shelves[1].trays.pop();
        let story = before.play(0, 120, |_, snapshot| visitor(snapshot)).rebooted(60);
        assert!(story.holds("drive-health-failed"), "{:?}", story.told);
        let story = story.play(0, 200, |second, snapshot| {
            visitor(snapshot);
            if is_staggered && second == 2 {
                staggered(snapshot);
            }
            if second < 110 {
                snapshot.drives.truncate(5);
            }
        });
        story.of("drive-health-failed").len()
    };
    assert_eq!(after(true), 0, "it had two minutes, and was there in time");
    assert_eq!(after(false), 2, "it was over after a minute and a half, and told anew");
}
