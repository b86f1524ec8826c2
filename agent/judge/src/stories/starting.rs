//! Stories of the first minutes after the machine has started: only what has not appeared yet is excused.

use super::{Story, let_go, lose, pull};
use crate::judge;
use crate::memory::Memory;
use std::time::Duration;
use traylight_data::reading::{
    Blind, Listing, MemberState, Missing, PoolKind, PoolRunning, Reading, Reason, Snapshot, Source, Writing,
};
use traylight_data::verdict::{Down, Finding, Standing};

/// A program that was started with the machine, the box looked at every two seconds from the tenth on.
fn just_started() -> Story {
    Story { up: 0, ..Story::closely() }
}

fn put_out(snapshot: &mut Snapshot, slot: usize) {
    let pool = &mut snapshot.pools[0];
    pool.members[slot].state = MemberState::Faulty;
    pool.missing = Some(pool.missing.unwrap_or(0) + 1);
}

/// How the box stands, and the exit code.
fn stands(story: &Story) -> (Standing, u8) {
    let standing = story.verdict.as_ref().expect("there was a look").standing();
    (standing, standing.exit_code())
}

/// As it was seen in a virtual machine: one was put out by md, then a second vanished, all within a quarter of a minute.
#[test]
fn what_md_puts_out_and_what_vanishes_before_our_eyes_is_judged_at_once() {
    let story = just_started().play(10, 60, |second, snapshot| {
        if second >= 14 {
            put_out(snapshot, 1);
        }
        if second >= 20 {
            pull(snapshot, "HN24-LARK");
        }
    });
    assert_eq!(story.of("pool-degraded"), ["14 opened pool-degraded critical"]);
    assert_eq!(story.of("drive-gone"), ["20 opened drive-gone critical"]);
    assert_eq!(story.of("pool-down"), ["30 opened pool-down critical"], "two of a RAID 5 are one too many");
    assert_eq!(stands(&story), (Standing::Critical, 20));
    let verdict = story.verdict.expect("there was a look");
    let down: Vec<_> = verdict.pools.values().map(|pool| pool.down).collect();
    assert_eq!(down, [Some(Down::TooManyLost)], "md still calls it running");
}

/// Near miss of the same: a drive and its member that have not appeared yet, then do.
#[test]
fn what_has_not_appeared_yet_is_waited_for() {
    let story = just_started().play(10, 400, |second, snapshot| {
        if second < 80 {
            let_go(snapshot, &["HN24-LARK"]);
        }
    });
    assert_eq!(story.told, [""; 0]);
    let story = just_started().play(10, 400, |second, snapshot| {
        if second < 80 {
            lose(snapshot, "HN24-LARK");
            snapshot.pools.clear();
        }
    });
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn what_never_appears_counts_when_the_grace_is_over() {
    let story = just_started().play(10, 400, |_, snapshot| let_go(snapshot, &["HN24-LARK"]));
    assert_eq!(story.of("drive-gone"), ["100 opened drive-gone warning"], "nobody has seen its pool yet");
    assert_eq!(story.of("pool-degraded"), ["120 opened pool-degraded critical"]);
}

/// What appeared once and went again is not waited for a second time, whatever it was.
#[test]
fn what_was_there_and_went_is_not_waited_for() {
    let story = just_started().play(10, 60, |second, snapshot| {
        if second >= 20 {
            snapshot.pools.clear();
            snapshot.drives.truncate(5);
        }
    });
    assert_eq!(story.of("pool-down"), ["30 opened pool-down critical"]);
    assert_eq!(story.of("drive-gone"), ["30 opened drive-gone warning"]);

    let story = just_started().play(10, 60, |second, snapshot| {
        if second >= 20 {
            snapshot.pools[0].running = Reading::new(Ok(PoolRunning::Inactive), snapshot.taken, Source::Sysfs);
        }
    });
    assert_eq!(story.of("pool-down"), ["30 opened pool-down critical"]);

    // One drive is late, another goes: of the late one nothing is said, of the other everything.
    let story = just_started().play(10, 80, |second, snapshot| {
        super::lay_out(snapshot, "raid6");
        let_go(snapshot, if second < 30 { &["HN24-LARK"] } else { &["HN24-LARK", "HN24-KITE"] });
    });
    assert_eq!(story.of("pool-degraded"), ["30 opened pool-degraded critical"]);
    assert_eq!(story.of("drive-gone"), ["30 opened drive-gone critical"], "{:?}", story.told);
}

/// Every pool software has its own way to say that it has lost more than it survives.
#[test]
fn a_pool_that_reports_itself_broken_or_waits_is_down_at_once() {
    for (running, why) in [(PoolRunning::Broken, Down::TooManyLost), (PoolRunning::Suspended, Down::Suspended)] {
        let story = just_started().play(10, 40, |_, snapshot| {
            snapshot.pools[0].kind = PoolKind::Zfs;
            snapshot.pools[0].running = Reading::new(Ok(running), snapshot.taken, Source::Pool);
        });
        assert_eq!(story.of("pool-down").len(), 1, "{running:?}");
        let verdict = story.verdict.expect("there was a look");
        let down = verdict.conditions.iter().find_map(|held| match held.finding {
            Finding::PoolDown { why, .. } => Some(why),
            _ => None,
        });
        assert_eq!(down, Some(why));
    }
}

#[test]
fn a_volume_that_stopped_by_itself_is_judged_at_once_and_one_that_is_not_writable_yet_is_not() {
    let of = |writing, from| {
        let story = just_started().play(10, 60, |second, snapshot| {
            if second >= from {
                snapshot.volumes[1].writing = writing;
            }
        });
        story.told.join(", ")
    };
    assert_eq!(of(Writing::StoppedByError, 10), "20 opened volume-readonly critical");
    assert_eq!(of(Writing::ReadOnly, 30), "40 opened volume-readonly critical", "it could be written to before");
    assert_eq!(of(Writing::ReadOnly, 10), "", "it may be on its way");
    let errors = just_started().play(10, 40, |_, snapshot| snapshot.volumes[1].errors = Some(3));
    assert_eq!(errors.told, ["10 opened volume-errors warning"]);
}

/// Until all had time to appear nobody can say that nothing is wrong.
#[test]
fn while_the_grace_lasts_the_box_is_starting_and_never_fine() {
    let calm = |up: u64| {
        let story = Story { up, ..Story::closely() }.play(0, 20, |_, _| {});
        let fine = story.verdict.as_ref().expect("there was a look").is_fine();
        (stands(&story), fine)
    };
    assert_eq!(calm(15), ((Standing::Starting, 3), false));
    assert_eq!(calm(95), ((Standing::Starting, 3), false), "pools have longer than drives");
    assert_eq!(calm(121), ((Standing::Fine, 0), true));
    let warned = just_started().play(10, 40, |_, snapshot| snapshot.volumes[1].errors = Some(3));
    assert_eq!(stands(&warned).1, 10);
}

/// A program that was restarted in the grace knows what the one before has seen.
#[test]
fn a_restart_of_the_program_does_not_begin_the_grace_anew() {
    let story = just_started().play(10, 30, |_, _| {}).restarted();
    let story = story.play(34, 60, |_, snapshot| let_go(snapshot, &["HN24-LARK"]));
    assert_eq!(story.of("pool-degraded"), ["34 opened pool-degraded critical"]);
    assert_eq!(story.of("drive-gone"), ["34 opened drive-gone critical"]);
    let story = just_started().play(10, 30, |_, _| {}).rebooted(60);
    let story = story.play(10, 60, |_, snapshot| let_go(snapshot, &["HN24-LARK"]));
    assert_eq!(story.told, [""; 0], "another start of the machine is another grace");
}

/// A single look has seen nothing before: what is there is judged at once, what is not there is waited for.
#[test]
fn a_single_look_judges_what_it_sees_and_waits_for_what_it_does_not() {
    let look = |up: u64, change: fn(&mut Snapshot)| {
        let mut story = Story { up, memory: Memory::for_a_single_look(), ..Story::closely() };
        for second in [0, 2] {
            let snapshot = story.seen(second, change);
            let now = snapshot.taken;
            let (verdict, _) = judge(&story.settings, &mut story.memory, now, Some(&snapshot), &story.itself);
            story.verdict = Some(verdict);
        }
        let held: Vec<&str> =
            story.verdict.iter().flat_map(|verdict| &verdict.conditions).map(|held| held.kind().id()).collect();
        (held.join(" "), stands(&story).1)
    };
    assert_eq!(look(15, |_| {}), (String::new(), 3));
    assert_eq!(look(15, |snapshot| put_out(snapshot, 1)), ("pool-degraded".to_owned(), 20));
    let nothing_runs = |snapshot: &mut Snapshot| {
        snapshot.pools[0].running = Reading::new(Ok(PoolRunning::Inactive), snapshot.taken, Source::Sysfs);
    };
    assert_eq!(look(15, nothing_runs), ("pool-down".to_owned(), 20));
    assert_eq!(look(15, |snapshot| drop(snapshot.drives.pop())), (String::new(), 3), "tray 6 may still come");
    let hour = Duration::from_secs(3600).as_secs();
    assert_eq!(look(hour, |snapshot| drop(snapshot.drives.pop())), ("drive-gone".to_owned(), 10));
}

/// Without an agent: a box of which the drives could not be listed is not one with nothing wrong.
#[test]
fn a_single_look_that_could_not_see_everything_does_not_end_as_if_nothing_were_wrong() {
    let look = |is_blind: bool| {
        let story = Story { memory: Memory::for_a_single_look(), ..Story::closely() };
        let see = move |snapshot: &mut Snapshot| {
            if is_blind {
                let why = Missing::found(Reason::Refused, "permission denied");
                snapshot.blind = vec![Blind { what: Listing::Drives, why }];
                snapshot.drives.clear();
            }
        };
        let story = story.play(0, 2, |_, snapshot| see(snapshot));
        let verdict = story.verdict.expect("there was a look");
        (verdict.standing(), verdict.conditions.iter().map(|held| held.kind().id()).collect::<Vec<_>>())
    };
    assert_eq!(look(true), (Standing::Warning, vec!["agent-and-alerts"]));
    assert_eq!(look(false), (Standing::Fine, Vec::new()));
}
