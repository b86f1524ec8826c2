//! Stories of what drives tell: what they count, how warm they get, whether they answer. Drive 0 is the one that
//! things happen to.

use super::{DAY, HOUR, MINUTE, Story};
use crate::conditions::heat::is_ahead;
use crate::memory::Memory;
use std::time::Duration;
use traylight_data::reading::{Counter, Drive, Missing, Power, Reading, Reason, SelfAssessment, Snapshot, Source};
use traylight_data::units::Celsius;
use traylight_data::verdict::Reaches;

fn count(drive: &mut Drive, name: &str, value: i64) {
    if let Ok(health) = &mut drive.health.value {
        health.counters.retain(|counter| counter.name != name);
        health.counters.push(Counter { name: name.into(), value, origin: "story".into() });
    }
}

fn assess(drive: &mut Drive, assessment: SelfAssessment) {
    if let Ok(health) = &mut drive.health.value {
        health.assessment = Ok(assessment);
    }
}

fn warm(drive: &mut Drive, degrees: f64) {
    drive.temperature = Reading::new(Ok(Celsius(degrees)), drive.temperature.taken, Source::Drive);
}

#[test]
fn a_drive_that_says_failing_is_believed_the_second_time_and_stays_under_suspicion() {
    let told = Story::new()
        .play(0, 5 * MINUTE, |second, snapshot| {
            if second == MINUTE {
                assess(&mut snapshot.drives[0], SelfAssessment::Failing);
            }
        })
        .play(5 * MINUTE, 2 * DAY, |second, snapshot| {
            if second < HOUR {
                assess(&mut snapshot.drives[0], SelfAssessment::Failing);
            }
        });
    assert_eq!(told.told, ["360 opened drive-health-failed critical"]);
}

/// A single look cannot wait for a second reading: what a drive says counts.
#[test]
fn one_look_believes_a_drive_at_once() {
    let story = Story { memory: Memory::for_a_single_look(), ..Story::new() }.play(0, MINUTE, |_, snapshot| {
        assess(&mut snapshot.drives[0], SelfAssessment::Failing);
        count(&mut snapshot.drives[1], "pending_sectors", 1);
        warm(&mut snapshot.drives[2], 61.0);
    });
    assert_eq!(
        story.told,
        [
            "0 opened drive-hot critical",
            "0 opened drive-hotter-than-peers notice",
            "0 opened drive-health-failed critical",
            "0 opened pending-or-uncorrectable warning"
        ]
    );
}

#[test]
fn old_counts_are_no_news_and_growth_is() {
    let told = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        let drive = &mut snapshot.drives[0];
        count(drive, "reallocated_sectors", if second < HOUR { 24 } else { 25 });
        count(drive, "interface_crc_errors", if second < HOUR { 198 } else { 212 });
    });
    assert_eq!(
        told.told,
        ["3600 opened sata-crc-growth warning", "3660 opened reallocated-growth warning"],
        "transfers at once, places at the second reading"
    );
}

#[test]
fn one_damaged_transfer_is_a_notice_that_ends_after_a_week() {
    let once = |second, snapshot: &mut Snapshot| {
        count(&mut snapshot.drives[0], "interface_crc_errors", i64::from(second >= HOUR));
    };
    let told = Story::new().play(0, 2 * HOUR, once).passes(6 * DAY).play(2 * HOUR, 2 * DAY, once);
    let week_later = HOUR + DAY;
    assert_eq!(
        told.told,
        ["3600 opened sata-crc-growth notice".to_owned(), format!("{week_later} closed sata-crc-growth")]
    );
}

#[test]
fn pending_places_are_a_warning_ten_of_them_critical_and_over_after_a_week_without() {
    let waits = |second, snapshot: &mut Snapshot| {
        let pending = match second {
            ..HOUR => 0,
            ..5_400 => 2,
            ..7_200 => 12,
            _ => 0,
        };
        count(&mut snapshot.drives[0], "pending_sectors", pending);
    };
    let told = Story::new().play(0, 3 * HOUR, waits).passes(6 * DAY).play(3 * HOUR, 2 * DAY, waits);
    let week_later = 2 * HOUR + DAY;
    assert_eq!(
        told.told,
        [
            "3660 opened pending-or-uncorrectable warning".to_owned(),
            "5460 worsened pending-or-uncorrectable critical".to_owned(),
            format!("{week_later} closed pending-or-uncorrectable")
        ]
    );
}

#[test]
fn a_counter_that_falls_raises_nothing_and_is_told_of_once() {
    let told = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        count(&mut snapshot.drives[0], "interface_crc_errors", if second < HOUR { 500 } else { 3 });
    });
    assert_eq!(told.told.len(), 1, "{:?}", told.told);
    assert!(told.told[0].contains("NewBaseline") && told.told[0].contains("before: 500, now: 3"), "{}", told.told[0]);
}

/// Two drives start again, the second so many seconds after the first.
fn start_again(pace: u64, days: u64, apart: u64) -> Vec<String> {
    let story = Story { pace, ..Story::new() };
    let told = story.play(0, days * DAY + 2 * HOUR, |second, snapshot| {
        count(&mut snapshot.drives[0], "power_cycles", if second < HOUR { 40 } else { 41 });
        count(&mut snapshot.drives[1], "power_cycles", if second < HOUR + apart { 77 } else { 78 });
    });
    told.told
}

#[test]
fn a_drive_that_starts_again_lost_its_power_and_two_within_a_minute_are_the_supply() {
    assert_eq!(
        start_again(60, 0, 60),
        [
            "3600 opened drive-lost-power warning",
            "3660 opened drive-lost-power critical",
            "3660 worsened drive-lost-power critical"
        ]
    );
}

#[test]
fn two_drives_that_start_again_minutes_apart_are_no_supply_when_both_were_asked_between() {
    // Each was asked a minute before it told: two minutes apart may have been one, three may not.
    assert!(start_again(60, 0, 120).contains(&"3720 opened drive-lost-power critical".to_owned()));
    let told = ["3600 opened drive-lost-power warning", "3780 opened drive-lost-power warning"];
    assert_eq!(start_again(60, 0, 180), told);
}

/// Asked every six hours, they may have lost their power at one moment, and nobody can tell.
#[test]
fn two_drives_that_say_so_at_the_same_time_hours_later_are_the_supply() {
    let told = start_again(6 * HOUR, 1, 60);
    let opened = ["21600 opened drive-lost-power critical", "21600 opened drive-lost-power critical"];
    assert_eq!(told, opened);
}

#[test]
fn a_week_after_a_drive_lost_its_power_that_is_over() {
    let told = start_again(HOUR, 16, 8 * DAY);
    let (first, second) = (HOUR, HOUR + 8 * DAY);
    let wanted = [
        format!("{first} opened drive-lost-power warning"),
        format!("{} closed drive-lost-power", first + 7 * DAY),
        format!("{second} opened drive-lost-power warning"),
        format!("{} closed drive-lost-power", second + 7 * DAY),
    ];
    assert_eq!(told, wanted);
}

/// Two readings must agree, and the drive is asked again only so much later.
#[test]
fn places_that_were_moved_within_a_week_are_told() {
    let asked_again_after = |seconds: u64| {
        let moved = |second: u64, snapshot: &mut Snapshot| {
            count(&mut snapshot.drives[0], "reallocated_sectors", if second < 60 { 24 } else { 25 });
        };
        let story = Story::new().play(0, 120, moved).passes(seconds - 60).play(120, 180, moved);
        story.of("reallocated-growth").len()
    };
    assert_eq!((asked_again_after(7 * DAY - 60), asked_again_after(7 * DAY + 60)), (1, 0));
}

#[test]
fn wear_counts_from_eighty_and_from_ninety_five() {
    let told = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        count(&mut snapshot.drives[5], "wear_used_percent", 79 + 8 * (second / HOUR) as i64);
    });
    assert_eq!(told.told, ["3660 opened ssd-worn warning", "7260 worsened ssd-worn critical"]);
}

#[test]
fn a_drive_that_finishes_nothing_hangs() {
    let told = Story::new().play(0, 20 * MINUTE, |second, snapshot| {
        if (5 * MINUTE..10 * MINUTE).contains(&second) {
            snapshot.drives[0].stalled_since = Some(snapshot.taken);
        }
    });
    assert_eq!(
        told.told,
        [
            "360 opened drive-not-answering warning",
            "420 worsened drive-not-answering critical",
            "660 closed drive-not-answering"
        ]
    );
}

#[test]
fn three_losses_in_an_hour_are_critical_and_end_a_day_after_the_last() {
    let told = Story::new().play(0, 2 * DAY, |second, snapshot| {
        // Out for two minutes, three times within an hour.
        if (HOUR..2 * HOUR).contains(&second) && second % (20 * MINUTE) < 2 * MINUTE {
            let drive = snapshot.drives.remove(0);
            let members = &mut snapshot.pools[0].members;
            members
                .iter_mut()
                .filter(|member| member.drive_device == drive.device)
                .for_each(|member| member.device_gone = true);
        }
    });
    let flapping: Vec<&String> = told.told.iter().filter(|line| line.contains("drive-flapping")).collect();
    assert_eq!(flapping.len(), 3, "{flapping:?}");
    assert!(flapping[0].ends_with("opened drive-flapping critical"));
    assert!(flapping[1].ends_with("eased drive-flapping warning"));
    assert!(flapping[2].ends_with("closed drive-flapping"));
}

#[test]
fn one_warm_among_cool_ones_is_a_notice_after_half_an_hour() {
    let told = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        warm(&mut snapshot.drives[0], if second < 90 * MINUTE { 46.0 } else { 38.0 });
    });
    assert_eq!(
        told.told,
        ["1800 opened drive-hotter-than-peers notice", "7200 closed drive-hotter-than-peers"],
        "the others are at 36 to 38"
    );
}

#[test]
fn two_that_warm_fast_are_told_of_together() {
    let told = Story::new().play(0, 2 * HOUR, |second, snapshot| {
        let rise = (second.saturating_sub(30 * MINUTE) / MINUTE) as f64 * 0.6;
        for drive in &mut snapshot.drives[..2] {
            warm(drive, 36.0 + rise.min(9.0));
        }
    });
    let together = told.of("drives-heating-together");
    assert_eq!(together.len(), 2, "{together:?}");
    assert!(together[0].ends_with("opened drives-heating-together warning"));
    assert!(together[1].ends_with("closed drives-heating-together"));
    assert!(told.of("drive-hot").iter().all(|line| !line.contains("warning")), "45 is below every limit");
}

#[test]
fn a_cold_drive_and_a_lost_temperature() {
    let cold = Story::new().play(0, HOUR, |second, snapshot| {
        warm(&mut snapshot.drives[0], if second < 30 * MINUTE { 3.0 } else { 9.0 });
    });
    assert_eq!(cold.told, ["600 opened drive-cold warning", "2400 closed drive-cold"]);

    let lost = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        if (HOUR..2 * HOUR + MINUTE).contains(&second) {
            let drive = &mut snapshot.drives[0];
            let taken = drive.temperature.taken;
            drive.temperature = Reading::new(Err(Missing::found(Reason::Unreadable, "odd")), taken, Source::Drive);
        }
    });
    assert_eq!(lost.told, ["7200 opened temperature-lost notice", "7320 closed temperature-lost"]);
}

#[test]
fn a_sleeping_drive_is_neither_warm_nor_cold_nor_lost() {
    let told = Story::new().play(0, DAY, |second, snapshot| {
        let drive = &mut snapshot.drives[0];
        warm(drive, 37.0);
        if second >= HOUR {
            drive.power = Reading::new(Ok(Power::Asleep), snapshot.taken, Source::Drive);
            warm(&mut snapshot.drives[0], 2.0);
        }
    });
    assert_eq!(told.told, [""; 0]);
}

/// A drive that goes from 38 to `end` within about half an hour, from the first hour on.
fn warms_to(end: f64) -> impl Fn(u64, &mut Snapshot) {
    move |second, snapshot| {
        let minutes = second.saturating_sub(HOUR) as f64 / 60.0;
        let degrees = if second < 3 * HOUR { 38.0 + (end - 38.0) * (1.0 - (-minutes / 20.0).exp()) } else { 38.0 };
        warm(&mut snapshot.drives[0], degrees.round());
    }
}

#[test]
fn a_drive_that_will_be_hot_is_a_notice_before_it_is_a_warning() {
    let told = Story::new().play(0, 4 * HOUR, warms_to(54.0));
    let hot = told.of("drive-hot");
    let (seconds, what): (Vec<u64>, Vec<&str>) = hot
        .iter()
        .filter_map(|line| line.split_once(' '))
        .map(|(second, what)| (second.parse::<u64>().expect("a second"), what))
        .unzip();
    let wanted = ["opened drive-hot notice", "worsened drive-hot warning", "closed drive-hot"];
    assert_eq!(what, wanted);
    // 49.5 is reached 25 minutes and a half after the first hour, and held for five.
    assert!(seconds[0] < HOUR + 20 * MINUTE, "told ahead at {}", seconds[0]);
    assert_eq!(seconds[1], HOUR + 31 * MINUTE);
}

#[test]
fn half_an_hour_is_ahead_and_a_second_more_is_not() {
    let half_an_hour = Duration::from_secs(30 * MINUTE);
    let is_ahead = |middle| is_ahead(&Reaches { earliest: Duration::ZERO, middle, latest: Some(middle) });
    assert!(is_ahead(half_an_hour) && !is_ahead(half_an_hour + Duration::from_secs(1)));
}

#[test]
fn a_drive_that_settles_below_its_limit_is_no_news() {
    assert_eq!(Story::new().play(0, 4 * HOUR, warms_to(46.0)).of("drive-hot"), [""; 0]);
}

#[test]
fn a_warning_ahead_ends_when_the_drive_no_longer_gets_there() {
    let told = Story::new().play(0, 4 * HOUR, |second, snapshot| {
        // The work ends after sixteen minutes.
        let until = second.min(HOUR + 16 * MINUTE);
        warms_to(56.0)(until, snapshot);
    });
    let hot = told.of("drive-hot");
    assert_eq!(hot.len(), 2, "{hot:?}");
    assert!(hot[0].ends_with("opened drive-hot notice") && hot[1].ends_with("closed drive-hot"), "{hot:?}");
}
