//! Stories of readings that are missing: what was readable and is not any more is told, with its age; what sleeps, is not
//! fitted or was never readable is not.

use super::{DAY, HOUR, MINUTE, Story, restarted};
use traylight_data::reading::{Listing, Missing, Power, Reading, Reason, Snapshot, Source, WhyMissing};
use traylight_data::verdict::{AgentFault, Finding, Freshness, PartName, UnseenPart};

const UNSEEN: &str = "agent-and-alerts";

fn lose<T>(reading: &mut Reading<T>, reason: Reason) {
    *reading = Reading::new(Err(Missing::found(reason, "the story says so")), reading.taken, Source::Hwmon);
}

/// The chip of the fan does not answer.
fn silent_fan(snapshot: &mut Snapshot, reason: Reason) {
    lose(&mut snapshot.fans[0].speed, reason);
}

/// What is told of as not seen.
fn unseen(story: &Story) -> Vec<UnseenPart> {
    let open = &story.verdict.as_ref().expect("there was a look").conditions;
    let told = open.iter().find_map(|held| match &held.finding {
        Finding::AgentAndAlerts { what: AgentFault::Unseen { what } } => Some(what.clone()),
        _ => None,
    });
    told.unwrap_or_default()
}

fn is_fresh(story: &Story) -> bool {
    story.verdict.as_ref().expect("there was a look").freshness == Freshness::Fresh
}

#[test]
fn a_sensor_that_is_not_readable_for_long_is_told_with_its_age_until_it_answers() {
    for reason in [Reason::TimedOut, Reason::Refused, Reason::Unreadable] {
        let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
            if second >= 10 * MINUTE {
                silent_fan(snapshot, reason);
            }
        });
        assert_eq!(story.told, ["810 opened agent-and-alerts warning"], "three minutes and three looks: {reason:?}");
        assert!(!is_fresh(&story) && !story.verdict.as_ref().expect("there was a look").is_fine());
        let [what] = &unseen(&story)[..] else { panic!("one thing is missing: {:?}", unseen(&story)) };
        assert_eq!(what.why, Missing::found(reason, "the story says so"));
        assert_eq!(what.lasted.map(|span| span.as_secs() / MINUTE), Some(49));
        let story = story.play(HOUR, HOUR + 60, |_, _| {});
        assert_eq!(story.told[1..], ["3600 closed agent-and-alerts"]);
        assert!(is_fresh(&story));
    }
}

/// Near misses: what sleeps, what is not available or not asked, a moment without an answer, and what nobody could ever read.
#[test]
fn what_is_no_fault_of_reading_is_not_told() {
    for reason in [Reason::Asleep, Reason::NotAvailable, Reason::NotRead] {
        let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
            if second >= MINUTE {
                silent_fan(snapshot, reason);
            }
        });
        assert_eq!((story.told.len(), is_fresh(&story)), (0, true), "{reason:?}");
    }
    let stutters = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        if second % 180 < 170 && second > MINUTE {
            silent_fan(snapshot, Reason::TimedOut);
        }
    });
    assert_eq!((stutters.told.len(), is_fresh(&stutters)), (0, true), "it answers now and then");
    let never = Story::new().every(10).play(0, HOUR, |_, snapshot| silent_fan(snapshot, Reason::Refused));
    assert_eq!((never.told.len(), is_fresh(&never)), (0, true), "without the right to read it");
}

/// It was readable before the program was started anew, also in another boot.
#[test]
fn a_sensor_that_is_dead_after_a_start_was_alive_before() {
    let story = Story::new().every(10).play(0, HOUR, |_, _| {});
    let story = restarted(story, |ledger, ended| ledger.move_back(ended, |at| at.minus(ended.since_boot())));
    let story = Story { up: 300, ..story }.play(0, HOUR, |_, snapshot| silent_fan(snapshot, Reason::Unreadable));
    assert_eq!(story.of(UNSEEN), ["210 opened agent-and-alerts warning"], "{:?}", story.told);
}

/// A chip whose driver is gone is on no list any more, and its fan with it; its owner can agree with that.
#[test]
fn a_chip_that_vanishes_is_missed_until_its_owner_agrees() {
    let without = |_: u64, snapshot: &mut Snapshot| snapshot.fans.clear();
    let mut story = Story::new().every(10).play(0, 10 * MINUTE, |_, _| {}).play(10 * MINUTE, HOUR, without);
    assert_eq!(story.told, ["810 opened agent-and-alerts warning"]);
    assert_eq!(unseen(&story)[0].why, Missing::from(WhyMissing::NoLongerListed), "{:?}", unseen(&story));
    story.accept("agent-and-alerts").expect("it is gone for good");
    let story = story.play(HOUR, HOUR + 60, without);
    assert_eq!(story.told[1..], ["3600 closed agent-and-alerts"]);
}

/// A list that could not be read says nothing of what was on it.
#[test]
fn nothing_has_vanished_while_the_list_of_chips_cannot_be_read() {
    let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        if second >= MINUTE {
            snapshot.fans.clear();
            let why = Missing::of(Reason::Refused);
            snapshot.blind.push(traylight_data::reading::Blind { what: Listing::Chips, why });
        }
    });
    let [what] = &unseen(&story)[..] else { panic!("only the list: {:?}", unseen(&story)) };
    assert_eq!(what.part, PartName::List(Listing::Chips));
}

/// All channels of a chip are one thing that is missing.
#[test]
fn the_channels_of_one_chip_are_named_together() {
    let story = Story::new().every(10).play(0, HOUR, |second, snapshot| {
        let fan = snapshot.fans[0].clone();
        for number in 2..9 {
            let (key, label) = (format!("nct/fan{number}"), format!("fan{number}"));
            snapshot.fans.push(traylight_data::reading::Fan { key, label, ..fan.clone() });
        }
        if second >= MINUTE {
            snapshot.fans[1..].iter_mut().for_each(|fan| lose(&mut fan.speed, Reason::TimedOut));
        }
    });
    let [what] = &unseen(&story)[..] else { panic!("one chip: {:?}", unseen(&story)) };
    let channels = (2..9).map(|number| format!("fan{number}")).collect();
    assert_eq!(what.part, PartName::Chip { chip: "nct".into(), channels });
    assert_eq!(what.why.reason, Reason::TimedOut);
}

/// The session about its health broke off: what it told before stays, and gets old.
fn broken_off(second: u64, snapshot: &mut Snapshot, asleep: bool) {
    let drive = &mut snapshot.drives[1];
    if second >= HOUR {
        drive.health.taken = drive.health.taken.minus(std::time::Duration::from_secs(second - HOUR));
        if let Ok(health) = &mut drive.health.value {
            health.broke_off = Some(Missing::found(Reason::TimedOut, "no answer for 10 s"));
        }
        if asleep {
            drive.power.value = Ok(Power::Asleep);
        }
    }
}

#[test]
fn health_of_days_ago_is_told_with_its_age_unless_the_drive_sleeps() {
    let story = Story::slowly().play(0, 3 * DAY, |second, snapshot| broken_off(second, snapshot, false));
    assert_eq!(story.told, [format!("{} opened agent-and-alerts warning", DAY + HOUR + 600)]);
    let [what] = &unseen(&story)[..] else { panic!("one thing is missing: {:?}", unseen(&story)) };
    assert!(matches!(what.part, PartName::Health { .. }), "{what:?}");
    assert_eq!(what.lasted.map(|span| span.as_secs() / DAY), Some(2));
    let asleep = Story::slowly().play(0, 3 * DAY, |second, snapshot| broken_off(second, snapshot, true));
    assert_eq!((asleep.told.len(), is_fresh(&asleep)), (0, true));
}

/// A drive that answers nothing at all.
#[test]
fn health_of_a_drive_that_answers_no_more_gets_old_as_well() {
    let story = Story::slowly().play(0, 3 * DAY, |second, snapshot| {
        let drive = &mut snapshot.drives[1];
        if second >= HOUR {
            drive.health.taken = drive.health.taken.minus(std::time::Duration::from_secs(second - HOUR));
            lose(&mut drive.power, Reason::TimedOut);
        }
    });
    assert_eq!(story.of(UNSEEN), [format!("{} opened agent-and-alerts warning", DAY + HOUR + 600)]);
}
