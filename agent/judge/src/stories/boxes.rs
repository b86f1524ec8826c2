//! Stories of presence, heat, pools, room, fans and ports, each with its edges, holds and grace. The numbers are those
//! of the default configuration, which says where they are from.

use super::{HOUR, MINUTE, Story, pull};
use crate::judge;
use crate::memory::Memory;
use proptest::prelude::*;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{
    Blind, Fan, Itself, Listing, Missing, OwnLimits, PoolRunning, Reading, Reason, Room, Snapshot, Source,
};
use traylight_data::units::{Bytes, Celsius, MegabitsPerSecond, Rpm};
use traylight_data::verdict::{Finding, Freshness};

fn warm(snapshot: &mut Snapshot, drive: usize, degrees: f64) {
    let taken = snapshot.drives[drive].temperature.taken;
    snapshot.drives[drive].temperature = Reading::new(Ok(Celsius(degrees)), taken, Source::Drive);
}

#[test]
fn heat_warns_after_five_minutes_alarms_after_one_and_ends_four_degrees_below() {
    let told = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        let degrees = match second {
            ..HOUR => 51.0,
            ..4_200 => 58.0,
            ..5_400 => 47.0,
            _ => 46.0,
        };
        (0..5).for_each(|drive| warm(snapshot, drive, degrees));
    });
    let first = |lines: Vec<&str>| lines.into_iter().step_by(5).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(
        first(told.of("drive-hot")),
        ["300 opened drive-hot warning", "3660 worsened drive-hot critical", "6000 closed drive-hot"],
        "at 47, between the edges, nothing ends"
    );
}

#[test]
fn one_odd_reading_never_opens_anything() {
    let told = Story::new().play(0, HOUR, |second, snapshot| {
        if second == 30 * MINUTE {
            warm(snapshot, 0, 94.0);
        }
    });
    assert_eq!(told.of("drive-hot"), [""; 0]);
}

#[test]
fn a_drive_goes_by_its_own_limits_where_it_states_them() {
    let told = Story::new().play(0, HOUR, |_, snapshot| {
        snapshot.drives[0].own_limits = OwnLimits { maximum: Some(Celsius(70.0)), critical: None };
        warm(snapshot, 0, 54.0);
        snapshot.drives[5].own_limits = OwnLimits { maximum: Some(Celsius(84.0)), critical: Some(Celsius(90.0)) };
        warm(snapshot, 5, 78.0);
    });
    assert_eq!(told.of("drive-hot"), [""; 0], "54 of 70, 78 of 84");
    let at_the_end = Story::new().play(0, 120, |_, snapshot| {
        snapshot.drives[5].own_limits = OwnLimits { maximum: Some(Celsius(84.0)), critical: Some(Celsius(90.0)) };
        warm(snapshot, 5, 90.0);
    });
    assert_eq!(at_the_end.of("drive-hot"), ["0 opened drive-hot critical"], "its own end is believed at once");
}

#[test]
fn silence_neither_opens_nor_ends_anything() {
    let silent = |snapshot: &mut Snapshot| {
        for drive in &mut snapshot.drives {
            let why = Missing::found(Reason::TimedOut, "no answer for 10 s");
            drive.temperature = Reading::new(Err(why), snapshot.taken, Source::Drive);
        }
        snapshot.fans[0].speed =
            Reading::new(Err(Missing::found(Reason::Unreadable, "odd")), snapshot.taken, Source::Hwmon);
        snapshot.volumes[1].room =
            Reading::new(Err(Missing::found(Reason::TimedOut, "no answer")), snapshot.taken, Source::Statvfs);
        snapshot.blind.push(Blind { what: Listing::Pools, why: Missing::of(Reason::Refused) });
        snapshot.pools.clear();
    };
    let calm = Story::new().play(0, 30 * MINUTE, |second, snapshot| {
        if second >= 5 * MINUTE {
            silent(snapshot);
        }
    });
    assert_eq!(calm.told, ["360 opened agent-and-alerts warning"], "only that it is silent");
    assert!(
        matches!(calm.verdict.expect("there was a look").freshness, Freshness::InPart(_)),
        "but it is not fine either"
    );

    let hot = Story::new().play(0, 30 * MINUTE, |second, snapshot| {
        if second < 10 * MINUTE {
            warm(snapshot, 0, 60.0);
        } else {
            silent(snapshot);
        }
    });
    assert_eq!(hot.of("drive-hot"), ["60 opened drive-hot critical"]);
    assert!(hot.verdict.expect("there was a look").conditions.iter().any(|held| held.kind().id() == "drive-hot"));
}

#[test]
fn a_box_that_falls_silent_is_not_fine_after_three_paces() {
    let story = Story::closely().play(0, 10, |_, _| {});
    let (settings, mut memory) = (story.settings, story.memory);
    let last = Moment::after_boot(Duration::from_secs(story.up + 8));
    let snapshot = traylight_heron::heron::snapshot(last, &traylight_heron::story::scene(Duration::ZERO));
    let heard_after = |memory: &mut Memory, seconds| {
        judge(&settings, memory, last.plus(Duration::from_secs(seconds)), Some(&snapshot), &Itself::default()).0
    };
    assert!(heard_after(&mut memory, 6).is_fine());
    let silent = heard_after(&mut memory, 7);
    assert_eq!(silent.freshness, Freshness::SilentSince(last));
    assert!(!silent.is_fine());
    assert_eq!(silent.conditions, []);
}

fn room(snapshot: &mut Snapshot, volume: usize, size: f64, free: f64) {
    let taken = snapshot.volumes[volume].room.taken;
    let room = Room {
        size: Bytes(size as u64),
        free: Bytes(free as u64),
        used: Bytes((size - free) as u64),
        reserved: Bytes(0),
        files: None,
    };
    snapshot.volumes[volume].room = Reading::new(Ok(room), taken, Source::Statvfs);
}

#[test]
fn a_large_volume_is_short_of_room_by_share_and_amount_together() {
    let told = |size: f64, free: f64| {
        let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| room(snapshot, 1, size, free));
        story.of("space-low").join(",").replace("300 opened space-low ", "")
    };
    assert_eq!(told(16e12, 1.2e12), "", "7 % free, but 1.2 TB");
    assert_eq!(told(16e12, 0.1e12), "warning", "under 10 % and under 100 GiB");
    assert_eq!(told(16e12, 0.03e12), "critical", "under 3 % and under 30 GiB");
    assert_eq!(told(500e9, 0.9e9), "critical", "under 1 GiB");
    assert_eq!(told(2e9, 0.5e9), "", "on a volume this small one GiB is a lot");
}

/// What decided is named, and a floor that does not count on so small a volume is not among the limits.
#[test]
fn the_limit_of_space_that_was_passed_is_the_one_that_is_named() {
    let told = |size: f64, free: f64| {
        let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| room(snapshot, 1, size, free));
        let verdict = story.verdict.expect("there was a look");
        let held = verdict.conditions.iter().find(|held| held.kind().id() == "space-low").expect("it is low");
        let Finding::SpaceLow { limit, .. } = &held.finding else { panic!("{held:?}") };
        let limit = limit.expect("one was passed");
        let has_floor = verdict.limits_of(held).iter().any(|limit| limit.key == "limit.space-low.floor");
        (limit.share.map(|share| share.0), limit.amount.map(|amount| amount.0 >> 30), has_floor)
    };
    assert_eq!(told(16e12, 0.1e12), (Some(10.0), Some(100), true));
    assert_eq!(told(16e12, 0.03e12), (Some(3.0), Some(30), true));
    assert_eq!(told(8.6e9, 0.97e9), (None, Some(1), true), "11 % free, and under 1 GiB");
    assert_eq!(told(2e9, 0.05e9), (Some(3.0), Some(30), false));
}

#[test]
fn copy_on_write_needs_its_share_at_any_size_and_the_system_has_limits_of_its_own() {
    let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| {
        snapshot.volumes[1].file_system = "btrfs".into();
        room(snapshot, 1, 16e12, 1.2e12);
        room(snapshot, 0, 30e9, 4.2e9);
    });
    assert_eq!(story.of("space-low"), ["300 opened space-low warning", "300 opened space-low warning"]);
}

#[test]
fn room_counts_as_back_two_points_above_the_limit() {
    let told = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        let free = match second {
            ..HOUR => 9.0e9,
            ..5_400 => 11.0e9,
            _ => 13.0e9,
        };
        room(snapshot, 1, 100e9, free);
    });
    assert_eq!(told.of("space-low"), ["300 opened space-low warning", "6000 closed space-low"]);
}

fn turn(snapshot: &mut Snapshot, rpm: u32) {
    let taken = snapshot.fans[0].speed.taken;
    snapshot.fans[0].speed = Reading::new(Ok(Rpm(rpm)), taken, Source::Hwmon);
}

#[test]
fn a_fan_that_stops_is_a_warning_and_with_heat_an_alarm() {
    let told = Story::new().play(0, 40 * MINUTE, |second, snapshot| {
        if (10 * MINUTE..30 * MINUTE).contains(&second) {
            turn(snapshot, 0);
        }
        if (15 * MINUTE..30 * MINUTE).contains(&second) {
            warm(snapshot, 4, 53.0);
        }
    });
    assert_eq!(
        told.of("fan-stopped"),
        ["660 opened fan-stopped warning", "1260 worsened fan-stopped critical", "1860 closed fan-stopped"]
    );
}

#[test]
fn a_tachometer_is_believed_where_it_was_seen_to_read_something() {
    let empty_channel = |snapshot: &mut Snapshot, duty: Option<f64>| {
        let speed = Reading::new(Ok(Rpm(0)), snapshot.taken, Source::Hwmon);
        let (key, label) = ("board/fan4".to_owned(), "fan4".to_owned());
        snapshot.fans.push(Fan { key, label, speed, duty, fault: false });
    };
    let never_seen = Story::closely().play(0, 300, |_, snapshot| empty_channel(snapshot, None));
    assert_eq!(never_seen.told, [""; 0], "a header without a fan");
    assert_eq!(never_seen.verdict.expect("there was a look").fans, ["hutfan/fan1"]);

    let mut named = Story::closely();
    named.settings.watch.always_on_fans.push("board/fan4".into());
    let named = named.play(0, 60, |_, snapshot| empty_channel(snapshot, None));
    assert_eq!(named.told, ["16 opened fan-stopped warning"], "unless its owner says that it always turns");

    let mut told_to_stop = Story::closely();
    told_to_stop.settings.watch.always_on_fans.push("board/fan4".into());
    let told_to_stop = told_to_stop.play(0, 60, |_, snapshot| empty_channel(snapshot, Some(0.0)));
    assert_eq!(told_to_stop.told, [""; 0], "a fan that was switched off has not failed");

    let fault = Story::closely().play(0, 60, |_, snapshot| snapshot.fans[0].fault = true);
    assert_eq!(fault.told, ["16 opened fan-stopped warning"], "a fault line needs no tachometer");
}

#[test]
fn a_port_that_had_a_partner_is_missed_and_one_that_never_had_is_not() {
    let told = Story::closely().play(0, 900, |second, snapshot| {
        let mut other = snapshot.links[0].clone();
        other.name = "eth1".into();
        other.up = Reading::new(Ok(false), snapshot.taken, Source::Sysfs);
        snapshot.links.push(other);
        if (100..400).contains(&second) {
            snapshot.links[0].up = Reading::new(Ok(false), snapshot.taken, Source::Sysfs);
        }
    });
    assert_eq!(told.told, ["160 opened link-trouble warning", "700 closed link-trouble"]);
}

#[test]
fn a_port_is_slow_only_against_what_it_held_for_an_hour() {
    let speed = |snapshot: &mut Snapshot, megabits| {
        let speed = Ok(MegabitsPerSecond(megabits));
        snapshot.links[0].speed = Reading::new(speed, snapshot.taken, Source::Sysfs);
    };
    let never_faster = Story::new().play(0, 30 * MINUTE, |second, snapshot| {
        speed(snapshot, if second < 10 * MINUTE { 2500 } else { 1000 });
    });
    assert_eq!(never_faster.told, [""; 0]);
    let slower = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        speed(snapshot, if second < 2 * HOUR { 2500 } else { 1000 });
    });
    assert_eq!(slower.told, ["7500 opened link-trouble warning"]);
}

#[test]
fn four_changes_within_ten_minutes_are_one_alert() {
    // The last but one of five flaps, at 240 s, leaves the window at 842 s; five good minutes later it is over.
    let told = Story::closely().play(0, 30 * MINUTE, |second, snapshot| {
        // Two changes each time it flaps.
        snapshot.links[0].changes = Some(2 + 2 * (second / 60).min(5));
    });
    assert_eq!(told.told, ["120 opened link-trouble warning", "1142 closed link-trouble"]);
}

#[test]
fn a_driver_that_begins_to_count_anew_is_no_change_of_the_link() {
    let told = Story::closely().play(0, 300, |second, snapshot| {
        snapshot.links[0].changes = Some(if second < 100 { 900 } else { 1 });
    });
    assert_eq!(told.told, [""; 0]);
}

#[test]
fn an_owner_who_has_looked_hears_no_more_of_a_drive_that_the_box_does_without() {
    let without = |_: u64, snapshot: &mut Snapshot| snapshot.drives.truncate(5);
    let mut story = Story::closely();
    // Nobody names tray 6, so the drive in it is only one that settled in.
    story.settings.shelves[1].trays.pop();
    let mut story = story.play(0, 100, |_, _| {}).play(100, 200, without);
    assert_eq!(story.told, ["110 opened drive-gone warning"]);
    story.accept("drive-gone").expect("no tray names it");
    let story = story.play(200, 210, without);
    assert_eq!(story.told[1..], ["200 closed drive-gone"]);
}

#[test]
fn one_answer_seen_in_many_looks_is_one_answer() {
    let told = Story::closely().play(0, 20 * MINUTE, |second, snapshot| {
        warm(snapshot, 2, if second < 10 * MINUTE { 60.0 } else { 40.0 });
        // Asked every ten minutes, as a drive is that does nothing.
        let asked = snapshot.taken.since_boot() - Duration::from_secs(second % (10 * MINUTE));
        snapshot.drives[2].temperature.taken = Moment::after_boot(asked);
    });
    assert_eq!(told.told, [""; 0], "a hold is counted between answers");
}

#[test]
fn a_hot_drive_that_is_taken_out_is_gone_and_not_hot() {
    let told = Story::new().play(0, 30 * MINUTE, |second, snapshot| {
        warm(snapshot, 5, 80.0);
        if second >= 20 * MINUTE {
            snapshot.drives.truncate(5);
        }
    });
    assert_eq!(told.told, ["60 opened drive-hot critical", "1200 closed drive-hot", "1260 opened drive-gone warning"]);
}

#[test]
fn new_settings_are_in_force_from_the_next_look_and_what_was_learned_stays() {
    let lukewarm = |_: u64, snapshot: &mut Snapshot| warm(snapshot, 0, 44.0);
    let mut story = Story::new().play(0, 20 * MINUTE, lukewarm);
    assert_eq!(story.told, [""; 0]);
    let before = std::mem::replace(&mut story.settings.limits.drive.hdd_warning_c, 43.0);
    let mut story = story.play(20 * MINUTE, 40 * MINUTE, lukewarm);
    assert_eq!(story.told, ["1500 opened drive-hot warning"], "five minutes after the first look with the new limit");
    story.settings.limits.drive.hdd_warning_c = before;
    let story = story.play(40 * MINUTE, 55 * MINUTE, lukewarm);
    assert_eq!(story.told[1..], ["3000 closed drive-hot"]);
    let story = story.play(55 * MINUTE, HOUR, |_, snapshot| turn(snapshot, 0));
    assert_eq!(story.told[2..], ["3360 opened fan-stopped warning"], "it was seen turning before the settings changed");
}

#[test]
fn a_serial_that_was_mistyped_is_not_missed_once_it_is_mended() {
    let mut story = Story::closely();
    let right = story.settings.clone();
    story.settings.shelves[0].trays[2].holds = Some(traylight_config::ExpectedDrive::Serial("HN24-LARC".into()));
    let mut story = story.play(0, 100, |_, _| {});
    assert_eq!(story.told, ["10 opened drive-gone warning"]);
    let before = std::mem::replace(&mut story.settings, right);
    story.reload(&before);
    let story = story.play(100, 200, |_, _| {});
    assert_eq!(story.told[1..], ["100 closed drive-gone"]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// In which order sense lists the parts has nothing to do with what is told.
    #[test]
    fn the_order_of_parts_does_not_matter(order in Just((0..6_usize).collect::<Vec<_>>()).prop_shuffle()) {
        let told = |shuffle: bool| {
            let story = Story::new().play(0, 40 * MINUTE, |second, snapshot| {
                warm(snapshot, 4, if second < 20 * MINUTE { 59.0 } else { 40.0 });
                if second > 10 * MINUTE {
                    pull(snapshot, "HN24-LARK");
                }
                // A second pool, of the flash drive alone, which never starts.
                let mut other = snapshot.pools[0].clone();
                (other.key, other.name) = ("nestbox-cameras".into(), "md1".into());
                other.members.clear();
                other.running = Reading::new(Ok(PoolRunning::Inactive), snapshot.taken, Source::Sysfs);
                snapshot.pools.push(other);
                if shuffle {
                    snapshot.pools.reverse();
                    let mut drives: Vec<_> = order.iter().filter_map(|&index| snapshot.drives.get(index).cloned()).collect();
                    std::mem::swap(&mut snapshot.drives, &mut drives);
                    snapshot.volumes.reverse();
                    snapshot.pools.iter_mut().for_each(|pool| pool.members.reverse());
                }
            });
            let mut told = story.told;
            told.sort();
            told
        };
        prop_assert_eq!(told(false), told(true));
    }

    /// The same snapshot twice is one look: no hold goes on by being judged again.
    #[test]
    fn judging_again_changes_nothing(times in 1..20_usize, degrees in 30.0..70.0_f64) {
        let settings = traylight_heron::settings().expect("the pretend box has settings");
        let now = Moment::after_boot(Duration::from_secs(900));
        let mut snapshot = traylight_heron::heron::snapshot(now, &traylight_heron::story::scene(Duration::ZERO));
        warm(&mut snapshot, 0, degrees);
        let mut memory = Memory::default();
        let (first, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
        for later in 0..times as u64 {
            let (again, changes) = judge(&settings, &mut memory, now.plus(Duration::from_millis(later)), Some(&snapshot), &Itself::default());
            prop_assert_eq!(changes, vec![]);
            prop_assert_eq!(again.conditions, first.conditions.clone());
        }
    }
}

/// A USB adapter that hangs is on no list any more; a port that nobody used for an hour may go.
#[test]
fn a_port_in_use_that_vanishes_is_down_and_a_passing_one_is_not() {
    let story = Story::new().every(10).play(0, 2 * 3600, |second, snapshot| {
        if (5000..6000).contains(&second) {
            snapshot.links.remove(0);
        }
    });
    assert_eq!(story.of("link-trouble"), ["5060 opened link-trouble warning", "6300 closed link-trouble"]);
    let passing = Story::new().every(10).play(0, 2 * 3600, |second, snapshot| {
        if !(600..1200).contains(&second) {
            snapshot.links.remove(0);
        }
    });
    assert_eq!(passing.of("link-trouble"), [""; 0]);
    let blind = Story::new().every(10).play(0, 2 * 3600, |second, snapshot| {
        if second >= 5000 {
            snapshot.links.clear();
            snapshot.blind.push(Blind { what: Listing::Links, why: Missing::of(Reason::Refused) });
        }
    });
    assert_eq!(blind.of("link-trouble"), [""; 0]);
}
