//! Stories of volumes that fill: what is said of them day by day, when nothing is, and what a restart changes.

use super::*;
use proptest::prelude::*;
use traylight_data::clock::Moment;
use traylight_data::reading::{Reading, Source, Volume, Writing};
use traylight_data::verdict::{Rounded, Unit};

const GB: u64 = 1_000_000_000;
const SIZE: u64 = 4000 * GB;
const HUT: &str = "/srv/recordings";

/// A box that has nothing but this volume with so much free.
fn snapshot(watched: Duration, size: u64, free: u64) -> Snapshot {
    let taken = Moment::after_boot(watched);
    Snapshot { taken, volumes: vec![volume(HUT, taken, room(size, free))], ..Snapshot::default() }
}

fn volume(mount: &str, taken: Moment, room: Room) -> Volume {
    let room = Reading::new(Ok(room), taken, Source::Statvfs);
    Volume {
        mount: mount.to_owned(),
        file_system: "ext4".to_owned(),
        source: "/dev/md0".to_owned(),
        room,
        writing: Writing::Allowed,
        meant_read_only: false,
        meant_writable: false,
        stops_at_errors: false,
        errors: None,
    }
}

fn room(size: u64, free: u64) -> Room {
    Room {
        size: Bytes(size),
        free: Bytes(free),
        used: Bytes(size.saturating_sub(free)),
        reserved: Bytes(0),
        files: None,
    }
}

/// What is remembered of a volume that was read so many times a day, with this size and this much free on each day.
fn fill_of(days: u32, read: u32, size: impl Fn(u32) -> u64, free: impl Fn(u32) -> u64) -> Fill {
    let mut fill = Fill::default();
    // One reading of the day after ends the last day.
    for reading in 0..=days * read {
        let day = (reading / read).min(days.saturating_sub(1));
        let watched = DAY * reading / read;
        fill.learn(&snapshot(watched, size(day), free(day)), watched);
    }
    fill
}

fn filled(days: u32, free: impl Fn(u32) -> u64) -> Fill {
    fill_of(days, 4, |_| SIZE, free)
}

/// In so many days.
fn full_in(fill: &Fill, free: u64) -> Option<u64> {
    fill.full_when(HUT, &room(SIZE, free)).map(|found| in_days(&found.left).0)
}

/// The middle, soonest and latest, as a person is told.
fn in_days(left: &Estimate) -> (u64, u64, Option<u64>) {
    let Rounded { unit, middle, soonest, latest } = left.rounded();
    assert_eq!(unit, Unit::Days);
    (middle, soonest, latest)
}

/// Recordings come day by day: 29 GB, on some days more, on others less.
fn free_after(day: u32) -> u64 {
    let uneven = [0, 14, -9, 22, -17, 5, -12];
    (2000 * GB).saturating_add_signed(GB as i64 * (uneven[day as usize % 7] - 29 * i64::from(day)))
}

#[test]
fn a_month_of_recordings_says_when_the_volume_is_full() {
    let fill = filled(30, free_after);
    let found = fill.full_when(HUT, &room(SIZE, 1189 * GB)).expect("a month carries a trend");
    assert_eq!(in_days(&found.left), (41, 32, Some(56)));
    assert_eq!((found.free, found.days), (Bytes(1189 * GB), 29));
    assert!((28.0..30.0).contains(&(found.per_day.middle / GB as f64)), "{:?}", found.per_day);
}

#[test]
fn six_days_say_nothing_and_seven_even_ones_do() {
    let evenly = |day: u32| (2000 - 29 * u64::from(day)) * GB;
    assert_eq!(full_in(&filled(6, evenly), 1160 * GB), None);
    assert_eq!(full_in(&filled(7, evenly), 1160 * GB), Some(40));
    assert_eq!(full_in(&Fill::default(), 1), None);
}

#[test]
fn a_volume_that_does_not_fill_is_never_full() {
    assert_eq!(full_in(&filled(30, |_| 500 * GB), 500 * GB), None);
    assert_eq!(full_in(&filled(30, |day| (500 + 20 * u64::from(day)) * GB), 900 * GB), None, "it empties");
    let pruned = |day: u32| (900 - 30 * u64::from(day % 14)) * GB;
    assert_eq!(full_in(&filled(84, pruned), 600 * GB), None, "it is pruned every other week");
}

#[test]
fn nothing_is_said_of_a_day_further_ahead_than_the_trend_can_be_followed() {
    let slowly = |day: u32| 2000 * GB - u64::from(day) * GB;
    assert_eq!(full_in(&filled(31, slowly), 299 * GB), Some(299));
    assert_eq!(full_in(&filled(31, slowly), 301 * GB), None);
    // Its interval may reach further.
    let found = filled(30, free_after).full_when(HUT, &room(SIZE, 6300 * GB)).expect("217 of at most 290 days");
    assert_eq!(in_days(&found.left), (217, 171, None));
}

#[test]
fn a_large_delete_begins_anew() {
    let freed = |days| filled(days, |day| free_after(day) + if day >= 25 { 600 * GB } else { 0 });
    assert!(full_in(&freed(25), 1300 * GB).is_some());
    for days in 26..=31 {
        assert_eq!(full_in(&freed(days), 1800 * GB), None, "after {days} days");
    }
    let found = freed(60).full_when(HUT, &room(SIZE, 900 * GB)).expect("five weeks after it");
    assert_eq!(found.days, 34);
}

#[test]
fn a_new_drive_in_the_pool_begins_anew_at_once() {
    let grown = |days| fill_of(days, 4, |day| if day >= 25 { 2 * SIZE } else { SIZE }, free_after);
    assert!(full_in(&grown(25), 1300 * GB).is_some());
    let (mut fill, watched) = (grown(25), DAY * 25 + EVERY);
    fill.learn(&snapshot(watched, 2 * SIZE, 5300 * GB), watched);
    assert_eq!(full_in(&fill, 1300 * GB), None);
    let found = grown(60).full_when(HUT, &room(2 * SIZE, 900 * GB)).expect("five weeks after it");
    assert_eq!(found.days, 34);
}

#[test]
fn a_restart_loses_nothing() {
    let mut told = Vec::new();
    for restarts in [false, true] {
        let mut fill = Fill::default();
        for reading in 0..=120_u32 {
            let watched = DAY * reading / 4;
            fill.learn(&snapshot(watched, SIZE, free_after(reading / 4)), watched);
            if restarts {
                let text = serde_json::to_string(&fill).expect("it is JSON");
                fill = serde_json::from_str(&text).expect("and comes back");
            }
        }
        told.push(full_in(&fill, 1189 * GB));
    }
    assert!(told[0].is_some());
    assert_eq!(told[0], told[1]);
}

#[test]
fn a_day_that_ended_is_worth_keeping_and_so_is_an_hour() {
    let mut fill = Fill::default();
    let mut kept = Vec::new();
    for minute in 0..=1440 {
        let watched = Duration::from_secs(60 * minute);
        if fill.learn(&snapshot(watched, SIZE, 500 * GB), watched) {
            kept.push(minute);
        }
    }
    assert_eq!((kept.len(), kept.first(), kept.last()), (25, Some(&50), Some(&1440)));
}

#[test]
fn an_old_answer_counts_for_no_day() {
    let mut fill = Fill::default();
    for day in 0..30 {
        let mut stale = snapshot(DAY * day, SIZE, free_after(day));
        stale.volumes[0].room.taken = Moment::after_boot(Duration::ZERO);
        fill.learn(&stale, DAY * day);
    }
    assert_eq!(fill.volumes[HUT].days.over(), [], "the answer of the first day is the only one");
}

#[test]
fn volumes_that_are_long_gone_are_forgotten_and_there_are_never_more_than_64() {
    let mut fill = Fill::default();
    let learn = |fill: &mut Fill, day: u32, names: std::ops::Range<u32>| {
        let taken = Moment::after_boot(DAY * day);
        let volumes = names.map(|name| volume(&format!("/srv/{name:03}"), taken, room(SIZE, GB))).collect();
        fill.learn(&Snapshot { taken, volumes, ..Snapshot::default() }, DAY * day);
        fill.volumes.keys().cloned().collect::<Vec<String>>()
    };
    assert_eq!(learn(&mut fill, 0, 0..80).len(), 64, "the first come");
    assert!(learn(&mut fill, 1, 1..64).contains(&"/srv/000".to_owned()));
    let later = learn(&mut fill, 2, 70..71);
    assert!(later.len() == 64 && later.contains(&"/srv/070".to_owned()), "a new one takes the place");
    assert!(!later.contains(&"/srv/000".to_owned()), "of the one away for longest");
    assert_eq!(learn(&mut fill, 91, 70..71), ["/srv/070"]);
}

/// The days of a volume to which each day adds this much, give or take 10 GB at random: what a day took stays taken.
fn walk(days: u32, per_day: i64, chance: &mut u64) -> Vec<Median> {
    let mut free = 2_000_000;
    let day = |day| {
        // A linear congruential generator (Knuth, MMIX; from memory): the same walks on every machine.
        *chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        free -= per_day + (*chance >> 33) as i64 % 20_001 - 10_000;
        Median { day, free: free as u64 }
    };
    (0..days).map(day).collect()
}

/// 90 % between the ends mean 5 of 100 walks that seem to fill and do not; Sen's interval alone has a quarter or more.
#[test]
fn volumes_that_only_wander_are_seldom_said_to_fill() {
    let mut chance = 20_260_517;
    for days in [7, 14, 30, 90] {
        let walks: Vec<Vec<Median>> = (0..400).map(|_| walk(days, 0, &mut chance)).collect();
        let trends = walks.iter().filter(|walk| Trend::of(walk).is_some()).count();
        assert!((8..40).contains(&trends), "{trends} of 400 walks of {days} days");
    }
}

#[test]
fn the_interval_holds_the_truth_nine_times_of_ten() {
    let mut chance = 20_260_518;
    let trends: Vec<Trend> = (0..400).filter_map(|_| Trend::of(&walk(30, 8_000, &mut chance))).collect();
    let holding = trends.iter().filter(|trend| (trend.per_day.least..=trend.per_day.most).contains(&8_000.0)).count();
    assert_eq!(trends.len(), 400, "each shows");
    assert!((340..385).contains(&holding), "{holding} of 400");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// However a volume goes: the interval holds the middle, more room is later, and a volume of another size that goes
    /// the same way says the same.
    #[test]
    fn whatever_a_volume_does(
        steps in prop::collection::vec(-2_000..4_000_i64, 1..100), one in 0..1_000_000_u64, other in 0..1_000_000_u64,
    ) {
        let path: Vec<u64> = steps
            .iter()
            .scan(500_000_i64, |free, step| { *free = (*free - step).max(0); Some(*free as u64) })
            .collect();
        let fill = |scale: u64| fill_of(path.len() as u32, 1, |_| 1_000_000 * scale, |day| path[day as usize] * scale);
        let (small, large) = (fill(1), fill(1 << 20));
        let (less, more) = (one.min(other), one.max(other));
        let left = |fill: &Fill, scale: u64, free: u64| {
            fill.full_when(HUT, &room(1_000_000 * scale, free * scale)).map(|found| found.left)
        };
        for found in [left(&small, 1, less), left(&small, 1, more)].into_iter().flatten() {
            prop_assert!(found.soonest <= found.middle);
            prop_assert!(found.latest.is_none_or(|latest| found.middle <= latest));
        }
        if let (Some(less), Some(more)) = (left(&small, 1, less), left(&small, 1, more)) {
            prop_assert!(less.soonest <= more.soonest && less.middle <= more.middle);
            prop_assert!(more.latest.is_none_or(|later| less.latest.is_some_and(|latest| latest <= later)));
        }
        let apart = |a: Duration, b: Duration| a.abs_diff(b) <= Duration::from_millis(1);
        match (left(&small, 1, less), left(&large, 1 << 20, less)) {
            (Some(small), Some(large)) => prop_assert!(apart(small.middle, large.middle) && apart(small.soonest, large.soonest)),
            (small, large) => prop_assert_eq!(small, large),
        }
    }

    /// Whatever times, sizes and rooms come, and whatever is asked.
    #[test]
    fn nothing_breaks(readings in prop::collection::vec((any::<u64>(), any::<u64>(), any::<u64>()), 0..60)) {
        let mut fill = Fill::default();
        for (watched, size, free) in readings {
            let watched = Duration::from_secs(watched);
            fill.learn(&snapshot(watched, size, free), watched);
            let _ = full_in(&fill, free);
        }
        prop_assert!(fill.volumes.len() <= 1);
    }
}
