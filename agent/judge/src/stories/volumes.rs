//! Stories of volumes: turned read-only, not mounted, with errors written down, full of files or of metadata.

use super::{HOUR, MINUTE, Story};
use traylight_data::reading::{Files, MetadataSpace, Snapshot, Unmounted, Writing};
use traylight_data::units::Bytes;

const SONGS: usize = 1;

fn files(snapshot: &mut Snapshot, free: u64) {
    if let Ok(room) = &mut snapshot.volumes[SONGS].room.value {
        room.files = Some(Files { total: 1000, free });
    }
}

#[test]
fn a_volume_that_turns_read_only_is_critical_and_over_a_minute_after_it_is_writable() {
    for writing in [Writing::ReadOnly, Writing::StoppedByError, Writing::ShutDown] {
        let story = Story::closely().play(0, 300, |second, snapshot| {
            if (60..120).contains(&second) {
                snapshot.volumes[SONGS].writing = writing;
            }
        });
        assert_eq!(story.told, ["70 opened volume-readonly critical", "180 closed volume-readonly"], "{writing:?}");
    }
}

/// Linux 6.1.192 stops writing after an error and goes on to say `rw`; what it counts in the file system grows.
#[test]
fn a_volume_that_stops_at_errors_and_has_one_more_has_stopped_although_it_says_rw() {
    let errors = |stops_at_errors: bool| {
        let story = Story::closely().play(0, 300, |second, snapshot| {
            snapshot.volumes[SONGS].stops_at_errors = stops_at_errors;
            snapshot.volumes[SONGS].errors = Some(match second {
                ..60 => 3,
                60..180 => 5,
                _ => 0,
            });
        });
        story.of("volume-readonly").join(",")
    };
    assert_eq!(errors(true), "70 opened volume-readonly critical,240 closed volume-readonly");
    assert_eq!(errors(false), "", "one that goes on after errors");
}

/// Near misses: read-only from the start, and read-only because `/etc/fstab` says so.
#[test]
fn a_volume_that_is_meant_to_be_read_only_is_no_trouble() {
    let story = Story::closely().play(0, 300, |second, snapshot| {
        snapshot.volumes[0].writing = Writing::ReadOnly;
        if second >= 60 {
            snapshot.volumes[SONGS].writing = Writing::ReadOnly;
            snapshot.volumes[SONGS].meant_read_only = true;
        }
    });
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn one_that_stopped_before_anybody_watched_is_told_all_the_same() {
    let story = Story::closely().play(0, 60, |_, snapshot| snapshot.volumes[SONGS].writing = Writing::StoppedByError);
    assert_eq!(story.told, ["10 opened volume-readonly critical"]);
}

#[test]
fn a_volume_that_should_be_mounted_is_missed_after_half_a_minute_but_not_while_the_box_starts() {
    let missing = |second: u64, snapshot: &mut Snapshot| {
        if second < 300 {
            let songs = snapshot.volumes.remove(SONGS);
            snapshot.unmounted.push(Unmounted { mount: songs.mount, source: songs.source });
        }
    };
    let story = Story::closely().play(0, 600, missing);
    assert_eq!(story.told, ["30 opened volume-absent critical", "360 closed volume-absent"]);
    let early = Story { up: 0, ..Story::closely() }.play(0, 118, missing);
    assert_eq!(early.told, [""; 0]);
}

#[test]
fn errors_that_a_file_system_wrote_down_are_told_until_it_was_checked() {
    let story = Story::new().play(0, HOUR, |second, snapshot| {
        snapshot.volumes[SONGS].stops_at_errors = false;
        snapshot.volumes[SONGS].errors = Some(if (600..1800).contains(&second) { 2 } else { 0 });
    });
    assert_eq!(story.told, ["600 opened volume-errors warning", "1800 closed volume-errors"]);
}

#[test]
fn files_run_out_although_there_is_room() {
    let told = |free| {
        let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| files(snapshot, free));
        story.told.join(",").replace("300 opened inodes-or-metadata-low ", "")
    };
    assert_eq!((told(101).as_str(), told(100).as_str(), told(30).as_str()), ("", "warning", "critical"));
}

/// Near miss: full, but with plenty that can still become metadata room.
#[test]
fn metadata_is_short_only_when_nothing_is_left_to_become_more_of_it() {
    const GIB: u64 = 1 << 30;
    let told = |unallocated: u64, used: u64| {
        let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| {
            let room = MetadataSpace { unallocated: Bytes(unallocated), total: Bytes(100), used: Bytes(used) };
            snapshot.pools[0].metadata = Some(room);
        });
        story.told.join(",").replace("300 opened inodes-or-metadata-low ", "")
    };
    assert_eq!(told(500 * GIB, 99), "");
    assert_eq!(told(GIB, 80), "");
    assert_eq!(told(GIB, 91), "warning");
    assert_eq!(told(GIB / 4, 91), "critical");
}

/// Linux 6.6 and later say that it has stopped; its owner mounts it anew, with the errors still written down.
#[test]
fn a_volume_that_is_writable_again_after_it_was_mounted_anew_has_not_stopped_for_the_errors_of_before() {
    let story = Story::closely().play(0, 900, |second, snapshot| {
        let volume = &mut snapshot.volumes[SONGS];
        volume.stops_at_errors = true;
        volume.errors = Some(if second < 60 { 0 } else { 2 });
        volume.writing = if (60..300).contains(&second) { Writing::StoppedByError } else { Writing::Allowed };
    });
    assert_eq!(story.of("volume-readonly"), ["70 opened volume-readonly critical", "360 closed volume-readonly"]);
}
