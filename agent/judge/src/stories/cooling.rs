//! Stories of fans that get weak, of tachometers that cannot show slow fans, and of fans without one.

use super::{DAY, HOUR, MINUTE, Story};
use crate::memory::Memory;
use std::time::Duration;
use traylight_data::reading::{Fan, Power, Reading, Snapshot, Source, Traffic};
use traylight_data::units::{BytesPerSecond, Celsius, Rpm};

fn fan(snapshot: &mut Snapshot, rpm: u32, duty: f64) {
    let taken = snapshot.taken;
    snapshot.fans[0].speed = Reading::new(Ok(Rpm(rpm)), taken, Source::Hwmon);
    snapshot.fans[0].duty = Some(duty);
}

#[test]
fn a_fan_is_weak_against_what_it_held_at_the_same_level() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| match second {
        ..1200 => fan(snapshot, 1000, 0.5),
        1200..2000 => fan(snapshot, 590, 0.5),
        // Between the edges nothing ends.
        2000..2400 => fan(snapshot, 700, 0.5),
        _ => fan(snapshot, 760, 0.5),
    });
    assert_eq!(story.told, ["1320 opened fan-weak warning", "2700 closed fan-weak"]);
}

#[test]
fn a_fan_that_is_told_to_turn_slowly_is_not_weak_and_neither_is_one_that_dips() {
    let slower = Story::closely().play(0, HOUR, |second, snapshot| match second {
        ..1200 => fan(snapshot, 1000, 0.5),
        _ => fan(snapshot, 400, 0.2),
    });
    assert_eq!(slower.told, [""; 0]);
    let dips = Story::closely().play(0, HOUR, |second, snapshot| {
        let is_dip = second > 1200 && second % 300 < 100;
        fan(snapshot, if is_dip { 500 } else { 1000 }, 0.5);
    });
    assert_eq!(dips.told, [""; 0], "never two minutes long");
}

#[test]
fn what_a_fan_held_is_remembered_over_a_restart_until_its_owner_agrees_with_another() {
    let before = Story::closely().play(0, 20 * MINUTE, |_, snapshot| fan(snapshot, 1000, 0.5));
    let ledger = serde_json::to_string(before.memory.ledger()).expect("a ledger is JSON");
    let after = |agrees: bool| {
        let memory = Memory::with_ledger(serde_json::from_str(&ledger).expect("and comes back"));
        let story = Story { memory, ..Story::closely() };
        let mut story = story.play(0, 600, |_, snapshot| fan(snapshot, 500, 0.5));
        if agrees {
            story.accept("fan-weak").expect("it is slower");
        }
        story.play(600, HOUR, |_, snapshot| fan(snapshot, 500, 0.5)).told
    };
    assert_eq!(after(false), ["120 opened fan-weak warning"]);
    assert_eq!(after(true), ["120 opened fan-weak warning", "900 closed fan-weak"], "what it holds is its usual");
}

/// Some chips read 0 for whatever turns at 960 rpm or less (Linux drivers/hwmon/emc2305.c).
#[test]
fn a_zero_is_believed_only_at_levels_at_which_the_tachometer_has_shown_something() {
    let chip = |rpm: u32| if rpm <= 960 { 0 } else { rpm };
    let unnamed = || {
        let mut story = Story::closely();
        story.settings.watch.always_on_fans.clear();
        story
    };
    let quiet = unnamed().play(0, HOUR, |second, snapshot| match second {
        ..600 => fan(snapshot, chip(1800), 1.0),
        _ => fan(snapshot, chip(700), 0.3),
    });
    assert_eq!(quiet.told, [""; 0], "it turns, and the chip cannot show it");
    let stopped = unnamed().play(0, 1200, |second, snapshot| match second {
        ..600 => fan(snapshot, chip(1800), 1.0),
        600..800 => fan(snapshot, chip(700), 0.3),
        _ => fan(snapshot, 0, 1.0),
    });
    assert_eq!(stopped.told, ["816 opened fan-stopped warning"], "at full level it has shown that it can");
}

/// No tachometer, and drives that do nothing.
fn bare(snapshot: &mut Snapshot, degrees: impl Fn(usize) -> f64) {
    snapshot.fans.clear();
    let taken = snapshot.taken;
    for (index, drive) in snapshot.drives.iter_mut().enumerate() {
        drive.temperature = Reading::new(Ok(Celsius(degrees(index))), taken, Source::Drive);
        let still = Traffic { inward: BytesPerSecond(0.0), outward: BytesPerSecond(0.0) };
        drive.traffic = Reading::new(Ok(still), taken, Source::Sysfs);
    }
}

/// A box that was watched for two days at up to 36 degrees, and then gets warmer by so many degrees within half an hour.
fn warmed(by: f64, drives: usize) -> Story {
    warmed_after(2 * DAY, by, drives, 0.0)
}

/// The same after so many seconds; two hours later it is warmer by so many degrees still.
fn warmed_after(begin: u64, by: f64, drives: usize, still: f64) -> Story {
    Story::new().play(0, begin + 4 * HOUR, |second, snapshot| {
        let risen = (second.saturating_sub(begin) as f64 / 1800.0).min(1.0) * by;
        let is_over = second >= begin + 2 * HOUR;
        bare(snapshot, |index| 36.0 + if index < drives { if is_over { still } else { risen } } else { 0.0 });
    })
}

#[test]
fn a_day_must_be_known_before_a_fan_is_suspected() {
    assert_eq!(warmed_after(23 * HOUR, 9.0, 6, 0.0).of("fan-weak"), [""; 0]);
    assert!(!warmed_after(24 * HOUR, 9.0, 6, 0.0).of("fan-weak").is_empty());
}

#[test]
fn a_fan_is_suspected_until_the_drives_are_less_than_three_degrees_above_what_they_held() {
    assert_eq!(warmed_after(2 * DAY, 9.0, 6, 3.1).of("fan-weak").len(), 1);
    assert_eq!(warmed_after(2 * DAY, 9.0, 6, 2.9).of("fan-weak").len(), 2);
}

/// Drives that rise for hours, so slowly that what they held rises with them: so many of them by 2.04 degrees within twenty
/// minutes, the others by 1.96.
#[test]
fn two_drives_must_rise_by_two_degrees_within_twenty_minutes() {
    let told = |fast: usize| {
        let story = Story::new().play(0, 2 * DAY + 4 * HOUR, |second, snapshot| {
            let spans = second.saturating_sub(2 * DAY) as f64 / 1200.0;
            bare(snapshot, |index| 20.0 + spans * if index < fast { 2.04 } else { 1.96 });
        });
        !story.of("fan-weak").is_empty()
    };
    assert_eq!((told(0), told(1), told(2)), (false, false, true));
}

#[test]
fn drives_that_get_warmer_than_they_ever_were_make_a_fan_without_a_tachometer_suspected() {
    let begin = 2 * DAY;
    let story = warmed(9.0, 6);
    // Six degrees above after 20 min, seen again a minute later; over half an hour after all is as it was.
    let opened = format!("{} opened fan-weak warning", begin + 21 * MINUTE);
    let closed = format!("{} closed fan-weak", begin + 2 * HOUR + 30 * MINUTE);
    assert_eq!(story.of("fan-weak"), [opened.as_str(), closed.as_str()]);
}

#[test]
fn a_mild_afternoon_one_warm_drive_and_a_box_that_is_not_known_yet_make_nobody_suspect_the_fan() {
    assert_eq!(warmed(5.0, 6).of("fan-weak"), [""; 0], "a warm room");
    assert_eq!(warmed(12.0, 1).of("fan-weak"), [""; 0], "one drive is about its tray");
    let young = Story::new().play(0, 6 * HOUR, |second, snapshot| {
        bare(snapshot, |_| 36.0 + (second.saturating_sub(4 * HOUR) as f64 / 200.0).min(10.0));
    });
    assert_eq!(young.of("fan-weak"), [""; 0], "four hours are no history");
    let with_tachometer = Story::new().play(0, 2 * DAY + HOUR, |second, snapshot| {
        let fans = snapshot.fans.clone();
        bare(snapshot, |_| 36.0 + (second.saturating_sub(2 * DAY) as f64 / 200.0).min(10.0));
        snapshot.fans = fans;
    });
    assert_eq!(with_tachometer.of("fan-weak"), [""; 0], "its speed is measured");
}

/// A quarter of a year in which a box without a tachometer is looked at for some hours a week; then it warms by so many
/// degrees within half an hour, more than ten of it within ten minutes.
fn after_a_quarter(story: Story, weeks: u64, degrees: f64, by: f64) -> Story {
    const HOURS: u64 = 6;
    let mut story = story.every(600);
    for _ in 0..weeks {
        let from = story.up;
        story = story.play(0, HOURS * HOUR, |_, snapshot| bare(snapshot, |_| degrees));
        story.memory.let_time_pass(Duration::from_secs(7 * DAY));
        story.up = from + HOURS * HOUR;
    }
    let story = Story { pace: 60, told: Vec::new(), ..story };
    story.play(0, 2 * HOUR, |second, snapshot| {
        let risen = second.saturating_sub(HOUR) as f64 / 900.0;
        bare(snapshot, |_| degrees + risen.min(1.0) * by);
    })
}

/// What was told of drives that got warm together.
fn warmings(story: &Story) -> Vec<&'static str> {
    ["drives-heating-together", "fan-weak"].into_iter().filter(|kind| !story.of(kind).is_empty()).collect()
}

/// Two days of a hot summer, or with a fan that failed and was changed since, and then so many weeks as ever.
fn after_a_hot_spell(weeks: u64) -> Vec<&'static str> {
    let story = Story::new().every(600).play(0, 2 * DAY, |_, snapshot| bare(snapshot, |_| 46.0));
    let story = Story { up: story.up + 2 * DAY, ..story };
    warmings(&after_a_quarter(story, weeks, 33.0, 10.0))
}

#[test]
fn a_level_that_was_reached_in_a_hot_summer_does_not_excuse_for_ever() {
    assert_eq!(after_a_hot_spell(5), [""; 0], "a month later it is what this box may reach");
    // Each of these weeks has some hours more than seven days.
    assert_eq!(after_a_hot_spell(13), [""; 0], "and so it is within the season");
    assert_eq!(after_a_hot_spell(14), ["drives-heating-together", "fan-weak"], "a season later it is not");
}

/// A year in which it gets 14 degrees warmer and colder again, week by week: nobody suspects anything.
#[test]
fn seasons_are_no_failing_fan() {
    let mut story = Story::new().every(1200);
    for week in 0..52_u64 {
        let season = 7.0 - 7.0 * (f64::from(week as u32) / 52.0 * std::f64::consts::TAU).cos();
        let from = story.up;
        story = story.play(0, DAY / 2, |second, snapshot| {
            let noon = (second as f64 / 43_200.0 * std::f64::consts::PI).sin() * 5.0;
            bare(snapshot, |index| 30.0 + season + noon + index as f64 * 0.3);
        });
        story.memory.let_time_pass(Duration::from_secs(6 * DAY));
        story.up = from + DAY / 2;
    }
    assert_eq!(warmings(&story), [""; 0], "{:?}", story.told);
}

/// A fan of which nobody knows the level, as behind most headers of small boards.
fn unknown_level(snapshot: &mut Snapshot, rpm: u32) {
    fan(snapshot, rpm, 0.5);
    snapshot.fans[0].duty = None;
}

fn unnamed() -> Story {
    let mut story = Story::new();
    story.settings.watch.always_on_fans.clear();
    story
}

#[test]
fn a_fan_of_unknown_level_that_stops_two_hours_after_the_first_start_is_told_mildly_and_worse_once_it_matters() {
    let stops = |second: u64, snapshot: &mut Snapshot| {
        unknown_level(snapshot, if second < 2 * HOUR { 1200 } else { 0 });
    };
    let story = unnamed().play(0, 3 * HOUR, stops);
    assert_eq!(story.told, ["7260 opened fan-stopped notice"], "it may rest, and it may have failed");
    let story = story.restarted().play(3 * HOUR, 4 * HOUR, stops);
    assert_eq!(story.told, [""; 0]);
    let hot = story.play(4 * HOUR, 5 * HOUR, |second, snapshot| {
        stops(second, snapshot);
        for drive in &mut snapshot.drives {
            drive.temperature = Reading::new(Ok(Celsius(53.0)), snapshot.taken, Source::Drive);
        }
    });
    assert!(hot.of("fan-stopped").last().is_some_and(|line| line.ends_with("critical")), "{:?}", hot.told);
    let warm = unnamed().play(0, 30 * HOUR, |_, snapshot| unknown_level(snapshot, 1200));
    let warm = warm.play(30 * HOUR, 31 * HOUR, |_, snapshot| unknown_level(snapshot, 0));
    assert_eq!(warm.told, ["108060 opened fan-stopped warning"], "a day has a night in it");
}

#[test]
fn a_fan_of_unknown_level_is_believed_mildly_after_an_hour_and_fully_after_a_day() {
    let turned_for = |seconds: u64| {
        // It turned at its last look, a minute before it stands.
        let stands = seconds + 60;
        let story = unnamed().play(0, stands + HOUR, |second, snapshot| {
            unknown_level(snapshot, if second < stands { 1200 } else { 0 });
        });
        story.told.join(", ")
    };
    assert_eq!(turned_for(HOUR - 60), "");
    assert!(turned_for(HOUR).ends_with("notice") && turned_for(DAY - 60).ends_with("notice"));
    assert!(turned_for(DAY).ends_with("opened fan-stopped warning"));
}

/// A fan that rests while the box is cool is told once, in case it has failed; then it is known to.
#[test]
fn a_fan_of_unknown_level_that_rests_is_told_mildly_once() {
    let rests = |second: u64, snapshot: &mut Snapshot| {
        unknown_level(snapshot, if second / HOUR % 3 < 2 { 1200 } else { 0 });
    };
    let story = unnamed().play(0, 9 * HOUR, rests);
    assert_eq!(story.told, ["7260 opened fan-stopped notice", "10860 closed fan-stopped"]);
    let story = story.restarted().play(9 * HOUR, 18 * HOUR, rests);
    assert_eq!(story.told, [""; 0]);
    // Near miss: it turned for some minutes only, as many do when a box is switched on.
    let spins_up = unnamed().play(0, 3 * HOUR, |second, snapshot| {
        unknown_level(snapshot, if second < 600 { 1200 } else { 0 });
    });
    assert_eq!(spins_up.told, [""; 0]);
}

/// It is told mildly because it may rest: the drives that warm with the morning's work meanwhile say no more than on other days.
#[test]
fn a_fan_that_may_rest_is_not_taken_for_one_that_fails() {
    let story = unnamed().play(0, 4 * HOUR, |second, snapshot| {
        unknown_level(snapshot, if second < 2 * HOUR { 1200 } else { 0 });
        let risen = (second.saturating_sub(3 * HOUR) as f64 / 500.0).min(1.0) * 5.5;
        for drive in &mut snapshot.drives {
            drive.temperature = Reading::new(Ok(Celsius(20.0 + risen)), snapshot.taken, Source::Drive);
        }
    });
    assert_eq!(story.told, ["7260 opened fan-stopped notice"]);
}

#[test]
fn load_has_a_warmth_of_its_own() {
    let load = |snapshot: &mut Snapshot| {
        let taken = snapshot.taken;
        let busy = Traffic { inward: BytesPerSecond(40e6), outward: BytesPerSecond(0.0) };
        snapshot.drives[0].traffic = Reading::new(Ok(busy), taken, Source::Sysfs);
    };
    // Two days at rest, and then for the first time a long load.
    let first_load = Story::new().play(0, 2 * DAY + 2 * HOUR, |second, snapshot| {
        let since = second.saturating_sub(2 * DAY);
        bare(snapshot, |_| 36.0 + (since as f64 / 200.0).min(9.0));
        if since > 0 {
            load(snapshot);
        }
    });
    assert_eq!(first_load.of("fan-weak"), [""; 0], "how warm load makes the drives is not known");
}

#[test]
fn drives_that_sleep_tell_nothing_of_the_fan() {
    let told = Story::new().play(0, 2 * DAY + HOUR, |second, snapshot| {
        bare(snapshot, |_| 36.0 + (second.saturating_sub(2 * DAY) as f64 / 200.0).min(10.0));
        if second >= 2 * DAY {
            let taken = snapshot.taken;
            for drive in &mut snapshot.drives {
                drive.power = Reading::new(Ok(Power::Asleep), taken, Source::Drive);
            }
        }
    });
    assert_eq!(told.of("fan-weak"), [""; 0]);
}

/// These chips show 480 rpm, their slowest, of a fan that stands as well.
#[test]
fn the_slowest_that_a_chip_can_show_is_no_speed() {
    let story = Story::closely().play(0, 1200, |second, snapshot| {
        fan(snapshot, if (600..900).contains(&second) { 480 } else { 2400 }, 0.6);
        snapshot.fans[0].key = "emc2301/fan1".into();
    });
    assert_eq!(story.told, ["616 opened fan-stopped warning", "930 closed fan-stopped"]);
    let empty = Story::closely().play(0, HOUR, |_, snapshot| {
        fan(snapshot, 480, 0.6);
        snapshot.fans[0].key = "emc2301/fan1".into();
    });
    assert_eq!(empty.told, [""; 0], "a channel without a fan");
    let turns_slowly = Story::closely().play(0, HOUR, |_, snapshot| fan(snapshot, 480, 0.6));
    assert_eq!(turns_slowly.told, [""; 0], "another chip");
}

/// A fan that stands is critical when drives get warm together, long before one of them is hot.
#[test]
fn a_fan_that_stands_is_critical_when_drives_warm_together() {
    let story = Story::closely().play(0, 3000, |second, snapshot| {
        let warmer = second.saturating_sub(1200) as f64 / 60.0 * 0.8;
        for drive in &mut snapshot.drives {
            let taken = drive.temperature.taken;
            drive.temperature = Reading::new(Ok(Celsius(30.0 + warmer.min(12.0))), taken, Source::Drive);
        }
        if second >= 1200 {
            fan(snapshot, 0, 0.6);
        }
    });
    let fan = story.of("fan-stopped");
    assert_eq!(fan[0], "1216 opened fan-stopped warning", "{:?}", story.told);
    assert!(fan[1].ends_with("worsened fan-stopped critical"), "{:?}", story.told);
    assert!(story.of("drive-hot").iter().all(|line| !line.ends_with("warning")), "only ahead: {:?}", story.told);
}

/// Two fans that the configuration names as always turning; the story is of the second.
fn second_fan(snapshot: &mut Snapshot, rpm: u32) {
    let taken = snapshot.taken;
    let speed = Reading::new(Ok(Rpm(rpm)), taken, Source::Hwmon);
    let (key, label, duty) = ("hutfan/fan2".to_owned(), "fan2".to_owned(), Some(0.5));
    snapshot.fans.push(Fan { key, label, speed, duty, fault: false });
}

/// Its owner takes it out of the configuration: by now it has shown itself that it can be read.
#[test]
fn a_fan_that_stands_is_judged_on_when_a_reload_no_longer_names_it() {
    let named = || {
        let mut story = Story::closely();
        story.settings.watch.always_on_fans.push("hutfan/fan2".into());
        story
    };
    let mut story = named().play(0, 1200, |second, snapshot| second_fan(snapshot, if second < 900 { 1200 } else { 0 }));
    assert_eq!(story.of("fan-stopped"), ["916 opened fan-stopped warning"]);
    let before = story.settings.clone();
    story.settings.watch.always_on_fans.pop();
    story.reload(&before);
    let story = story.play(1200, 3000, |second, snapshot| {
        second_fan(snapshot, if second < 2400 { 0 } else { 1200 });
        snapshot.drives.iter_mut().for_each(|drive| drive.temperature.value = Ok(Celsius(53.0)));
    });
    let told = story.of("fan-stopped");
    assert!(told.iter().any(|line| line.ends_with("worsened fan-stopped critical")), "drives get too warm: {told:?}");
    assert!(told.last().is_some_and(|line| line.contains("closed")), "it turns again: {told:?}");
}

/// A header without a fan, named by mistake: nothing else ever said that it should turn.
#[test]
fn a_fan_that_was_only_named_is_no_longer_missed_after_a_reload_that_does_not_name_it() {
    let mut story = Story::closely();
    story.settings.watch.always_on_fans.push("hutfan/fan2".into());
    let mut story = story.play(0, 300, |_, snapshot| second_fan(snapshot, 0));
    assert_eq!(story.of("fan-stopped"), ["16 opened fan-stopped warning"]);
    let before = story.settings.clone();
    story.settings.watch.always_on_fans.pop();
    story.reload(&before);
    let story = story.play(300, 600, |_, snapshot| second_fan(snapshot, 0));
    assert_eq!(story.of("fan-stopped"), ["16 opened fan-stopped warning", "300 closed fan-stopped"]);
}
