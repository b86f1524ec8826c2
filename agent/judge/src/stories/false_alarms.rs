//! Stories of healthy boxes of which nothing must be told: starts, mornings, fans that rest, volumes that cannot fill,
//! counters that begin anew. Each has a twin in which something is wrong and is told.

use super::{DAY, HOUR, MINUTE, Story};
use crate::heat_limits;
use crate::memory::Memory;
use proptest::prelude::*;
use traylight_data::reading::{
    Counter, Drive, DriveKind, OwnLimits, Power, Reading, Room, Snapshot, Source, Traffic, Volume, Writing,
};
use traylight_data::units::{Bytes, BytesPerSecond, Celsius, Rpm};

const TOGETHER: &str = "drives-heating-together";

/// A drive that warms from `from` to `to`, as far as it is after so many seconds: most of the way within half an hour.
fn warming(from: f64, to: f64, seconds: u64) -> f64 {
    to - (to - from) * (-(seconds as f64) / 900.0).exp()
}

/// All disks at so many degrees, moving so many bytes per second.
fn disks(snapshot: &mut Snapshot, degrees: f64, bytes: f64) {
    let taken = snapshot.taken;
    for drive in &mut snapshot.drives {
        drive.temperature = Reading::new(Ok(Celsius(degrees)), taken, Source::Drive);
        let traffic = Traffic { inward: BytesPerSecond(bytes), outward: BytesPerSecond(0.0) };
        drive.traffic = Reading::new(Ok(traffic), taken, Source::Sysfs);
    }
}

/// How often a condition of this kind began.
fn opened<'a>(story: &'a Story, kind: &str) -> Vec<&'a str> {
    story.of(kind).into_iter().filter(|line| line.contains(" opened ")).collect()
}

fn without_fan(snapshot: &mut Snapshot) {
    snapshot.fans.clear();
}

fn fan(snapshot: &mut Snapshot, rpm: u32, duty: Option<f64>) {
    let taken = snapshot.taken;
    snapshot.fans[0].speed = Reading::new(Ok(Rpm(rpm)), taken, Source::Hwmon);
    snapshot.fans[0].duty = duty;
}

#[test]
fn a_cold_start_is_no_heating_with_and_without_a_tachometer() {
    for tachometer in [true, false] {
        let mut story = Story::new();
        story.up = 0;
        let story = story.play(20, 3 * HOUR, |second, snapshot| {
            disks(snapshot, warming(14.0, 38.0, second), 1e6);
            if !tachometer {
                without_fan(snapshot);
            }
        });
        assert_eq!(story.of(TOGETHER), [""; 0], "tachometer: {tachometer}");
    }
}

#[test]
fn each_morning_and_each_monthly_check_the_drives_get_as_warm_as_before() {
    let story = Story::new().play(0, 6 * DAY, |second, snapshot| {
        let of_day = second % DAY;
        let checks = second / DAY % 3 == 2;
        match of_day {
            // The night.
            ..25_200 => {
                disks(snapshot, 24.0, 0.0);
                let taken = snapshot.taken;
                snapshot
                    .drives
                    .iter_mut()
                    .for_each(|drive| drive.power = Reading::new(Ok(Power::Asleep), taken, Source::Drive));
            }
            25_200..43_200 => disks(snapshot, warming(24.0, 36.0, of_day - 25_200), 1e6),
            43_200..64_800 if checks => disks(snapshot, warming(36.0, 44.0, of_day - 43_200), 400e6),
            _ => disks(snapshot, 36.0, 1e6),
        }
    });
    assert_eq!(story.of(TOGETHER), [""; 0]);
    assert_eq!(story.of("fan-weak"), [""; 0]);
}

#[test]
fn drives_that_warm_behind_a_fan_that_stands_still_are_told_of_at_once() {
    let story = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        disks(snapshot, warming(33.0, 47.0, second.saturating_sub(HOUR)), 1e6);
        if second >= HOUR {
            fan(snapshot, 0, Some(0.45));
        }
    });
    let told = opened(&story, TOGETHER);
    assert_eq!(told.len(), 1, "{:?}", story.told);
    let opened: u64 = told[0].split(' ').next().and_then(|second| second.parse().ok()).expect("a second");
    assert!((HOUR..HOUR + 12 * MINUTE).contains(&opened), "{told:?}");
}

#[test]
fn drives_that_warm_beyond_what_this_box_ever_reached_are_told_of_without_a_tachometer_also_after_a_restart() {
    let known = Story::new().play(0, 2 * DAY, |_, snapshot| {
        disks(snapshot, 34.0, 1e6);
        without_fan(snapshot);
    });
    let ledger = serde_json::to_string(known.memory.ledger()).expect("a ledger is JSON");
    let mut story = Story::new();
    story.memory = Memory::with_ledger(serde_json::from_str(&ledger).expect("and comes back"));
    let story = story.play(0, 2 * HOUR, |second, snapshot| {
        disks(snapshot, warming(34.0, 47.0, second.saturating_sub(HOUR)), 1e6);
        without_fan(snapshot);
    });
    assert_eq!(opened(&story, TOGETHER).len(), 1, "{:?}", story.told);
}

#[test]
fn drives_of_a_box_that_is_not_known_yet_are_told_of_when_they_come_near_their_limit() {
    let story = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        disks(snapshot, warming(34.0, 49.0, second.saturating_sub(HOUR)), 1e6);
        without_fan(snapshot);
    });
    assert_eq!(opened(&story, TOGETHER).len(), 1, "{:?}", story.told);
}

#[test]
fn a_fan_without_a_level_that_rests_while_the_box_is_cool_has_not_failed() {
    // It turns while the box is warm after its start, then rests, and turns again in the afternoon.
    let rests = |second: u64| if second % (4 * HOUR) < HOUR { 900 } else { 0 };
    let unnamed = || {
        let mut story = Story::new();
        story.settings.watch.always_on_fans.clear();
        story
    };
    let story = unnamed().play(0, 2 * DAY, |second, snapshot| fan(snapshot, rests(second), None));
    assert_eq!(story.of("fan-stopped"), [""; 0]);

    let hot = unnamed().play(0, 6 * HOUR, |second, snapshot| {
        fan(snapshot, if second < HOUR { 900 } else { 0 }, None);
        disks(snapshot, if second < 2 * HOUR { 38.0 } else { 52.0 }, 1e6);
    });
    assert_eq!(hot.of("fan-stopped").len(), 1, "with drives that are too warm it should turn: {:?}", hot.told);
}

#[test]
fn a_fan_without_a_level_that_turned_through_a_day_and_a_night_is_believed_when_it_stops_also_after_a_restart() {
    let known = Story::new().play(0, DAY + HOUR, |_, snapshot| fan(snapshot, 900, None));
    let ledger = serde_json::to_string(known.memory.ledger()).expect("a ledger is JSON");
    let mut story = Story::closely();
    story.settings.watch.always_on_fans.clear();
    story.memory = Memory::with_ledger(serde_json::from_str(&ledger).expect("and comes back"));
    let story =
        story.play(0, 20 * MINUTE, |second, snapshot| fan(snapshot, if second < MINUTE { 900 } else { 0 }, None));
    assert_eq!(story.of("fan-stopped"), ["76 opened fan-stopped warning"]);
}

#[test]
fn what_a_fan_does_while_it_spins_down_is_not_what_it_does_at_that_level() {
    // Below three tenths this fan stands still; it takes half a minute to get there.
    let curve = |second: u64| match second % (2 * HOUR) {
        ..3600 => (1200, Some(0.5)),
        3600..3610 => (800, Some(0.1)),
        3610..3620 => (500, Some(0.1)),
        3620..3630 => (200, Some(0.1)),
        _ => (0, Some(0.1)),
    };
    let mut story = Story::closely();
    story.settings.watch.always_on_fans.clear();
    let story = story.play(0, 3 * HOUR, |second, snapshot| {
        let (rpm, duty) = curve(second);
        fan(snapshot, rpm, duty);
    });
    assert_eq!(story.told, [""; 0]);
}

fn volume(mount: &str, file_system: &str, writing: Writing, full: f64) -> Volume {
    let size = 200e9;
    let (free, used) = (Bytes((size * (1.0 - full)) as u64), Bytes((size * full) as u64));
    let room = Room { size: Bytes(size as u64), free, used, reserved: Bytes(0), files: None };
    Volume {
        mount: mount.into(),
        file_system: file_system.into(),
        source: "/dev/loop0".into(),
        room: Reading::new(Ok(room), traylight_data::clock::Moment::default(), Source::Statvfs),
        writing,
        meant_read_only: false,
        meant_writable: false,
        stops_at_errors: false,
        errors: None,
    }
}

#[test]
fn what_is_mounted_read_only_cannot_run_short_of_space() {
    let play = |writing: Writing| {
        Story::new().play(0, HOUR, |_, snapshot| {
            for (mount, file_system) in
                [("/media/tape", "squashfs"), ("/mnt/disc", "iso9660"), ("/snap/monday", "btrfs")]
            {
                let mut full = volume(mount, file_system, writing, 1.0);
                full.room.taken = snapshot.taken;
                let files = traylight_data::reading::Files { total: 1000, free: 0 };
                full.room.value = full.room.value.map(|room| Room { files: Some(files), ..room });
                snapshot.volumes.push(full);
            }
        })
    };
    assert_eq!(play(Writing::ReadOnly).told, [""; 0]);
    let writable = play(Writing::Allowed);
    assert_eq!((writable.of("space-low").len(), writable.of("inodes-or-metadata-low").len()), (3, 3));
}

fn own_limit(kind: DriveKind, own: f64) -> Drive {
    let now = traylight_data::clock::Moment::default();
    let drive = traylight_heron::heron::snapshot(now, &traylight_heron::story::scene(std::time::Duration::ZERO))
        .drives
        .remove(0);
    Drive { kind, own_limits: OwnLimits { maximum: Some(Celsius(own)), critical: None }, ..drive }
}

proptest! {
    #[test]
    fn critical_is_always_above_warning(own in 30.0..=120.0_f64, turns: bool) {
        let drive = own_limit(if turns { DriveKind::Hdd } else { DriveKind::Ssd }, own);
        let limits = heat_limits(&traylight_config::Settings::default(), &drive);
        prop_assert!(limits.warning + 1.0 <= limits.critical, "{limits:?}");
        prop_assert!(limits.critical <= own, "{limits:?}");
    }
}

#[test]
fn a_drive_whose_own_maximum_is_low_is_warned_of_before_it_is_critical() {
    let story = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        for drive in &mut snapshot.drives[..5] {
            drive.own_limits = OwnLimits { maximum: Some(Celsius(45.0)), critical: None };
        }
        disks(snapshot, if second < HOUR { 41.0 } else { 43.5 }, 1e6);
    });
    let of_first: Vec<&str> = story.of("drive-hot").into_iter().step_by(5).collect();
    assert_eq!(of_first.len(), 2, "{of_first:?}");
    assert!(of_first[0].ends_with("opened drive-hot warning") && of_first[1].ends_with("worsened drive-hot critical"));
}

fn counts(snapshot: &mut Snapshot, name: &str, value: i64) {
    for drive in &mut snapshot.drives[..2] {
        let Ok(health) = &mut drive.health.value else { continue };
        health.counters.retain(|counter| counter.name != name);
        health.counters.push(Counter { name: name.into(), value, origin: "test".into() });
    }
}

#[test]
fn a_counter_that_reads_zero_once_and_is_itself_again_has_not_grown() {
    for name in ["reallocated_sectors", "interface_crc_errors", "reported_uncorrectable_errors", "power_cycles"] {
        let story = Story::new().play(0, 6 * HOUR, |second, snapshot| {
            counts(snapshot, name, if (HOUR..HOUR + 600).contains(&second) { 0 } else { 60 });
        });
        let opened: Vec<_> = story.told.iter().filter(|line| line.contains("opened")).collect();
        assert_eq!(opened, Vec::<&String>::new(), "{name}");
        let grown = Story::new().play(0, 6 * HOUR, |second, snapshot| {
            counts(
                snapshot,
                name,
                match second {
                    ..3600 => 60,
                    3600..4200 => 0,
                    4200..7200 => 60,
                    _ => 63,
                },
            );
        });
        let opened = grown.told.iter().filter(|line| line.contains("opened")).count();
        assert_eq!(opened, 2, "what grew after that has: {name} {:?}", grown.told);
    }
}

#[test]
fn starts_that_are_counted_from_anew_are_no_loss_of_power_and_later_ones_are() {
    let story = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        counts(
            snapshot,
            "power_cycles",
            match second {
                ..3600 => 900,
                3600..7200 => 3,
                _ => 4,
            },
        );
    });
    let told = story.of("drive-lost-power");
    assert_eq!(told.len(), 2, "{:?}", story.told);
    assert!(told.iter().all(|line| line.starts_with("7200 ")), "{told:?}");
}
