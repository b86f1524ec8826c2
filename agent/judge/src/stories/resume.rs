//! Stories of machines that wake: drives need seconds to be there again, and what never comes back is missed.

use super::{HOUR, Story, pull};
use std::ops::Range;
use std::time::Duration;
use traylight_data::reading::{Bus, Snapshot};

const WAKES: u64 = 100;
const CROW: usize = 5;

/// A night from second 100 on; the drive of the last tray is on USB and away for these seconds of the story.
fn night(away: Range<u64>) -> impl Fn(u64, &mut Snapshot) {
    move |second, snapshot| {
        snapshot.drives[CROW].bus = Bus::Usb;
        if second >= WAKES {
            snapshot.suspended = Duration::from_secs(8 * HOUR);
        }
        if away.contains(&second) {
            snapshot.drives.truncate(CROW);
        }
    }
}

#[test]
fn a_drive_that_comes_back_seconds_after_the_machine_woke_is_not_missed() {
    for away in [WAKES..WAKES + 14, WAKES..WAKES + 84, WAKES + 4..WAKES + 40] {
        let story = Story::closely().play(0, 400, night(away.clone()));
        assert_eq!(story.told, [""; 0], "{away:?}");
    }
}

#[test]
fn a_drive_that_does_not_come_back_after_the_machine_woke_is_missed_when_the_grace_is_over() {
    let story = Story::closely().play(0, 400, night(WAKES..9999));
    assert_eq!(story.told, ["200 opened drive-gone warning"], "90 s to appear, and 10 to be sure");
    let story = Story::closely().play(0, 130, night(WAKES..9999)).restarted().play(130, 400, night(WAKES..9999));
    assert_eq!(story.told, ["200 opened drive-gone warning"], "a restart does not begin the grace anew");
    let story = Story::closely().play(0, 90, night(9999..9999)).restarted().play(WAKES, 400, night(WAKES..9999));
    assert_eq!(story.told, ["200 opened drive-gone warning"], "nobody watched while it woke");
}

/// Near misses: it was there again and is pulled, nobody suspended the machine, and a pool that has let a drive go.
#[test]
fn what_goes_after_it_was_there_again_is_missed_at_once() {
    let story = Story::closely().play(0, 400, night(WAKES + 30..9999));
    assert_eq!(story.told, ["140 opened drive-gone warning"]);
    let story = Story::closely().play(0, 400, |second, snapshot| {
        night(WAKES..9999)(second, snapshot);
        snapshot.suspended = Duration::ZERO;
    });
    assert_eq!(story.told, ["110 opened drive-gone warning"]);
    let story = Story::closely().play(0, 130, |second, snapshot| {
        night(9999..9999)(second, snapshot);
        if second >= WAKES + 20 {
            pull(snapshot, "HN24-LARK");
        }
    });
    assert_eq!(story.of("drive-gone"), ["120 opened drive-gone critical"]);
}

/// Its pool knows nothing of grace: what it lacks is told at once, and the drive once it had its time.
#[test]
fn a_pool_that_has_lost_a_member_while_the_machine_slept_is_told_at_once() {
    let story = Story::closely().play(0, 400, |second, snapshot| {
        night(9999..9999)(second, snapshot);
        if second >= WAKES {
            pull(snapshot, "HN24-LARK");
        }
    });
    assert_eq!(story.of("pool-degraded"), ["100 opened pool-degraded critical"]);
    assert_eq!(story.of("drive-gone"), ["200 opened drive-gone critical"]);
}

#[test]
fn three_nights_are_no_drive_that_comes_and_goes() {
    let story = Story::closely().play(0, 3000, |second, snapshot| {
        snapshot.drives[CROW].bus = Bus::Usb;
        snapshot.suspended = Duration::from_secs(second / 600 * HOUR);
        if second >= 600 && second % 600 < 20 {
            snapshot.drives.truncate(CROW);
        }
    });
    assert_eq!(story.told, [""; 0]);
}
