//! Stories of what gets worse inside an open incident, of how incidents end, and of which findings are one incident.

use super::Play;
use traylight_data::verdict::{Ended, Handling, Kind, Severity, Update, UpdateKind};

/// The turns that are told in a message, with their seconds.
fn told(play: &Play) -> Vec<(u64, &Update)> {
    let told = |(second, update): &'_ (u64, Update)| (*second, update.what != UpdateKind::Eased);
    play.updates.iter().filter(|one| told(one).1).map(|(second, update)| (*second, update)).collect()
}

/// When a turn for the worse named a condition of this kind.
fn worse(play: &Play, kind: Kind) -> Vec<u64> {
    let names = |update: &Update| update.incident.conditions.iter().any(|held| held.kind() == kind);
    let is_worse = |update: &Update| matches!(update.what, UpdateKind::Opened | UpdateKind::Worsened) && names(update);
    told(play).into_iter().filter(|(_, update)| is_worse(update)).map(|(second, _)| second).collect()
}

fn said(play: &Play) -> String {
    play.said().join("\n")
}

fn over(play: &Play) -> Vec<u64> {
    let is_over = |update: &Update| matches!(update.what, UpdateKind::Closed { how: Ended::Over, .. });
    told(play).into_iter().filter(|(_, update)| is_over(update)).map(|(second, _)| second).collect()
}

#[test]
fn a_hang_that_becomes_a_loss_is_told_also_when_the_hang_was_acknowledged() {
    for ack in ["", "200 ack all; "] {
        let play = Play::of(&format!("0 controller works; 60 stall 3; {ack}400 lose 3"));
        let gone = worse(&play, Kind::DriveGone);
        assert!(gone.iter().any(|second| (400..420).contains(second)), "{ack} {}", said(&play));
        assert!(play.open().iter().all(|incident| !incident.acknowledged), "{}", said(&play));
        assert_eq!(over(&play), [0; 0], "{}", said(&play));
    }
}

#[test]
fn a_pool_that_goes_down_after_it_was_critical_is_told_and_takes_the_acknowledgement_back() {
    // Its members are thrown out one after another, and no drive goes.
    for between in ["", "300 ack all; ", "300 restart; ", "300 ack all; 310 restart; ", "300 mute; "] {
        let play = Play::of(&format!("0 level raid5; 60 out 2; {between}600 out 4"));
        let down = worse(&play, Kind::PoolDown);
        assert!(down.iter().any(|second| (600..660).contains(second)), "{between} {}", said(&play));
        assert!(play.open().iter().any(|incident| !incident.acknowledged), "{between} {}", said(&play));
        assert_eq!(over(&play), [0; 0], "{between} {}", said(&play));
    }
}

#[test]
fn each_further_loss_that_a_pool_survives_is_told() {
    for (level, first, second) in
        [("raid6", 2, 4), ("raid10", 1, 3), ("raid10", 2, 5), ("raid1", 1, 2), ("raid1", 4, 5)]
    {
        let play = Play::of(&format!("0 level {level}; 60 out {first}; 400 ack all; 600 out {second}"));
        let degraded = worse(&play, Kind::PoolDegraded);
        assert!(degraded.iter().any(|second| (600..620).contains(second)), "{level} {}", said(&play));
        assert!(play.open().iter().all(|incident| !incident.acknowledged), "{level} {}", said(&play));
    }
}

/// Another drive than the one that was told of, though the pool lacks no more than before.
#[test]
fn another_lost_member_is_told_although_their_number_is_the_same() {
    let play = Play::of("0 level raid6; 60 out 2; 600 rejoin 2; 600 out 4");
    assert!(worse(&play, Kind::PoolDegraded).iter().any(|second| (600..620).contains(second)), "{}", said(&play));
}

#[test]
fn a_volume_that_stops_after_its_pool_has_gone_down_is_told() {
    let play = Play::of("0 level raid5; 60 out 2; 200 out 4; 400 ack all; 600 volume stops");
    let stopped = worse(&play, Kind::VolumeReadonly);
    assert!(stopped.iter().any(|second| (600..640).contains(second)), "{}", said(&play));
}

/// The leave to take a tray out must not stand as the newest word when it no longer holds.
#[test]
fn leave_to_take_a_drive_out_is_taken_back_in_a_message() {
    let play =
        Play::of("0 level raid6; 60 failing 2; 60 count 2 pending 3; 100 out 2; 400 ack all; 600 out 4; 900 end");
    let newest = |second: u64| {
        let mut before = told(&play).into_iter().filter(|(at, update)| *at <= second && update.incident.id.0 == 1);
        before.next_back().map(|(_, update)| update.incident.handling.clone())
    };
    let may = |second| matches!(newest(second), Some(Handling::MayPull { .. }));
    assert!(!may(700), "{:?} {}", newest(700), said(&play));
}

#[test]
fn what_comes_and_goes_is_not_told_each_time() {
    let mut script = "0 level raid5; 60 lose 2".to_owned();
    // A member that times out beside it, again and again, and something else in turn.
    for n in 0..40 {
        let second = 200 + 400 * n;
        script.push_str(&format!("; {second} stall 2; {} volume stops; {} volume goes-on", second + 20, second + 200));
    }
    let play = Play::of(&script);
    let hours = 40 * 400 / 3600 + 1;
    assert!(told(&play).len() <= 10 + hours, "{} turns: {}", told(&play).len(), said(&play));
}

/// Two things that take turns: the newest message would never name both.
#[test]
fn things_that_take_turns_are_told_a_few_times_and_then_once_an_hour() {
    let mut script = "0 level raid5; 60 out 2; 200 out 4".to_owned();
    for n in 0..40 {
        let second = 400 + 400 * n;
        script.push_str(&format!("; {second} volume stops; {} volume goes-on", second + 100));
        script.push_str(&format!("; {} lose 3; {} back 3", second + 200, second + 300));
    }
    let play = Play::of(&script);
    assert!(told(&play).len() <= 40, "{} turns: {}", told(&play).len(), said(&play));
}

#[test]
fn a_pool_that_stays_degraded_is_never_told_to_be_over() {
    for script in [
        "0 level raid6; 60 lose 2; 300 lose 4; 600 back 2; 1200 end",
        "0 level raid6; 60 lose 2; 300 out 4; 600 back 2; 600 rejoin 2; 1200 end",
        "0 level raid6; 60 out 4; 300 lose 2; 600 back 2; 600 rejoin 2; 1200 end",
        "60 stall 3; 300 lose 3; 600 back 3; 1200 end",
        "60 stall 3; 300 out 3; 600 lose 3; 900 restart; 1000 back 3; 1500 end",
        "60 lose 3; 300 reboot; 900 back 3; 1500 end",
    ] {
        let play = Play::of(script);
        let is_degraded = play.verdict.iter().flat_map(|verdict| &verdict.conditions);
        assert!(is_degraded.clone().any(|held| held.kind() == Kind::PoolDegraded), "{script}");
        let ends: Vec<String> = play.said().into_iter().filter(|line| line.contains("pool-degraded")).collect();
        assert!(!ends.iter().any(|line| line.contains("how: Over")), "{script}:\n{}", said(&play));
    }
}

#[test]
fn equal_notices_of_several_drives_are_one_incident_and_say_nothing_of_trays() {
    // Desktop disks in a pool that has already lost one: trays are not what their notice is about.
    let play = Play::of("0 level raid5; 60 out 2; 400 tries-long all; 800 end");
    let open: Vec<_> =
        play.open().iter().filter(|open| open.conditions[0].kind() == Kind::RecoveryTimeMismatch).collect();
    let [one] = open[..] else { panic!("{}", said(&play)) };
    assert_eq!((one.conditions.len(), one.drives.len()), (4, 4), "{}", said(&play));
    assert_eq!((&one.handling, one.severity), (&Handling::NoTray, Severity::Notice));
    let opened = told(&play).into_iter().filter(|(_, update)| update.incident.id == one.id).count();
    assert_eq!(opened, 1, "{}", said(&play));
}

/// Each is judged by its own readings, so they need not begin in the same second.
#[test]
fn one_reason_is_one_incident_also_when_its_drives_are_read_one_after_another() {
    let play = Play::of(
        "0 controller works; 60 tries-long 1; 64 tries-long 3; 200 tries-long 2 4; 300 restart; 400 tries-long 5",
    );
    assert_eq!(play.open().len(), 1, "{}", said(&play));
    assert_eq!(play.open()[0].conditions.len(), 5, "{}", said(&play));
    let closed = play.updates.iter().filter(|(_, update)| matches!(update.what, UpdateKind::Closed { .. })).count();
    assert_eq!(closed, 0, "{}", said(&play));
}

/// Links that slow down minutes apart are not one event.
#[test]
fn slow_links_are_one_incident_when_they_slowed_together_and_several_when_not() {
    let together = Play::of("0 speed all 6000; 60 speed 1 3000; 61 speed 2 3000; 62 speed 4 3000; 900 end");
    assert_eq!(together.open().len(), 1, "{}", said(&together));
    let apart = Play::of("0 speed all 6000; 60 speed 1 3000; 1060 speed 2 3000; 2000 end");
    assert_eq!(apart.open().len(), 2, "{}", said(&apart));
}

#[test]
fn heat_and_settings_say_nothing_of_trays_though_the_pool_can_lose_no_more() {
    let play = Play::of("0 level raid5; 60 out 2; 400 hot 4 58; 400 tries-long 1; 1500 end");
    for incident in play.open() {
        let is_about_pool = incident.conditions.iter().any(|held| held.kind() == Kind::PoolDegraded);
        let expected = is_about_pool.then_some(()).is_some();
        assert_eq!(matches!(incident.handling, Handling::LeaveIn(_)), expected, "{incident:?}");
    }
    assert!(play.open().len() >= 3, "{}", said(&play));
}
