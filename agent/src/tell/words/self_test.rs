//! The words for drives' self-tests: what a test does, why it cannot start, its progress and its result. Pure; the words of
//! conditions are in [`super::condition`].

use super::drives::{listed, pointed_at};
use super::phrases::{Language, Phrases, Places};
use crate::reading::{Drive, Pool, SelfTest, SelfTestStep, TestOutcome};
use crate::verdict::{NotOne, Place, Refusal};
use std::time::Duration;
use traylight_config::nearest;

/// That a test runs, and how much of it is left.
pub fn running(remaining_percent: Option<u8>, language: Language) -> String {
    match remaining_percent {
        Some(left) => language.say("self-test.command.running", &[("percent", &left)]),
        None => language.plain("self-test.command.progress-unknown").to_owned(),
    }
}

/// The result of a test.
pub fn over(outcome: TestOutcome, failed_at_lba: Option<u64>, language: Language) -> String {
    let key = match (outcome, failed_at_lba) {
        (TestOutcome::Passed, _) => "self-test.command.passed",
        (TestOutcome::Ended, _) => "self-test.command.ended",
        (TestOutcome::CouldNotFinish, _) => "self-test.command.could-not-finish",
        (TestOutcome::Failed, None) => "self-test.command.failed",
        (TestOutcome::Failed, Some(lba)) => return language.say("self-test.command.failed-at", &[("lba", &lba)]),
    };
    language.plain(key).to_owned()
}

/// How a drive's self-tests stand, in a cell of the table.
pub fn in_short(test: SelfTest, language: Language) -> String {
    let key = match test {
        SelfTest::Never => "self-test.never",
        SelfTest::Passed => "self-test.passed",
        SelfTest::Ended => "self-test.ended",
        SelfTest::CouldNotFinish => "self-test.could-not-finish",
        SelfTest::Failed => "self-test.failed",
        SelfTest::Running { remaining_percent: Some(left) } => {
            return language.say("self-test.done", &[("percent", &100_u8.saturating_sub(left))]);
        }
        SelfTest::Running { remaining_percent: None } => "self-test.runs",
    };
    language.plain(key).to_owned()
}

/// What will happen once the owner confirms it, a line each.
pub fn announcement(
    drive: &Drive,
    place: &Place,
    step: SelfTestStep,
    strained: Option<&Pool>,
    language: Language,
) -> Vec<String> {
    let plain = |key| language.plain(key).to_owned();
    let model = drive.model.clone().unwrap_or_else(|| plain("self-test.command.no-model"));
    let place = pointed_at(place, language);
    let title = language.say("self-test.command.title", &[("drive", &place), ("model", &model)]);
    let tests = drive.self_tests.get();
    let (what, minutes) = match step {
        SelfTestStep::Short => ("self-test.command.short", tests.and_then(|tests| tests.short_minutes)),
        SelfTestStep::Extended => ("self-test.command.long", tests.and_then(|tests| tests.extended_minutes)),
        SelfTestStep::Abort => return vec![title, plain("self-test.command.stop")],
    };
    let time = minutes.map(|minutes| language.span(Duration::from_secs(60 * u64::from(minutes))));
    let estimate = match time {
        Some(time) => language.say("self-test.command.estimate", &[("span", &time)]),
        None => plain("self-test.command.no-estimate"),
    };
    let strained = strained.map(|pool| language.say("self-test.command.strained", &[("pool", &pool.name)]));
    [title, plain(what), plain("self-test.command.meanwhile"), estimate].into_iter().chain(strained).collect()
}

/// Why a test is not started or stopped.
pub fn refusal(place: &Place, step: SelfTestStep, refusal: &Refusal, language: Language) -> String {
    let drive = pointed_at(place, language);
    let (key, why) = match (refusal, step) {
        (Refusal::Sleeps, SelfTestStep::Abort) => ("self-test.command.asleep-no-test", None),
        (Refusal::Sleeps, _) => ("self-test.command.asleep", None),
        (Refusal::NotAnswering(why), _) => ("self-test.command.power-unknown", Some(why)),
        (Refusal::NotOffered(why), _) => ("self-test.command.no-log", Some(why)),
        (Refusal::Runs, _) => ("self-test.command.already-running", None),
        (Refusal::RunsNot, _) => ("self-test.command.not-running", None),
    };
    match why {
        Some(why) => language.say(key, &[("drive", &drive), ("why", &language.missing(why))]),
        None => language.say(key, &[("drive", &drive)]),
    }
}

/// That a name fits no drive, or several.
pub fn not_one(name: &str, found: &NotOne, language: Language) -> String {
    let none = || language.plain("self-test.command.no-drives").to_owned();
    let list = |places: &[Place]| listed(places, language).unwrap_or_else(none);
    if !found.fitting.is_empty() {
        let places: Places = &[("name", &name), ("drives", &list(&found.fitting))];
        return language.say("self-test.command.several", places);
    }
    let there = list(&found.there);
    match nearest(name, found.there.iter().flat_map(|place| names(place, name.chars().count()))) {
        Some(near) => language.say("self-test.command.near", &[("name", &name), ("near", &near), ("drives", &there)]),
        None => language.say("self-test.command.unknown", &[("name", &name), ("drives", &there)]),
    }
}

/// What could have been meant by a name of this length. Labels of one letter are all alike.
fn names(place: &Place, length: usize) -> impl Iterator<Item = &str> {
    let label = place.tray.as_deref().filter(|label| label.chars().nth(1).is_some());
    let tail = |serial: &'_ str| serial.char_indices().rev().nth(length.saturating_sub(1)).map_or(0, |(at, _)| at);
    label.into_iter().chain(place.serial.as_deref().map(move |serial| &serial[tail(serial)..]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{heron, story};
    use crate::reading::{Missing, WhyMissing};

    fn place(tray: &str, serial: &str) -> Place {
        Place { tray: Some(tray.into()), serial: Some(serial.into()), port: None }
    }

    fn lark() -> Place {
        place("3", "HN24-LARK")
    }

    #[test]
    fn an_owner_reads_first_what_will_happen_and_for_how_long() {
        let now = Moment::after_boot(Duration::from_secs(86_400));
        let snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        let (mut drive, pool) = (snapshot.drives[2].clone(), &snapshot.pools[0]);
        let said = |drive: &Drive, step, pool| announcement(drive, &lark(), step, pool, Language::ENGLISH).join("\n");
        let long = said(&drive, SelfTestStep::Extended, None);
        assert!(long.starts_with("the drive in tray 3 (serial ..LARK), "), "{long}");
        assert!(long.contains("reads its whole surface") && long.contains("No data is changed"), "{long}");
        assert!(long.contains("The drive estimates 7 h") && !long.contains("WARNING"), "{long}");
        assert!(said(&drive, SelfTestStep::Short, None).contains("estimates 2 min"), "its own figure");
        assert!(said(&drive, SelfTestStep::Short, Some(pool)).contains("WARNING: md0 needs this drive"));
        let tests = drive.self_tests.value.as_mut().expect("heron's drives have tests");
        (tests.short_minutes, tests.extended_minutes) = (None, None);
        assert!(said(&drive, SelfTestStep::Short, None).contains("does not report how long"));
    }

    #[test]
    fn a_sleeping_drive_is_refused_with_the_reason() {
        let said = |found: &Refusal| refusal(&lark(), SelfTestStep::Short, found, Language::ENGLISH);
        assert!(said(&Refusal::Sleeps).contains("asleep; a self-test would wake it"));
        let why = Missing::from(WhyMissing::NotSupported);
        assert_eq!(
            said(&Refusal::NotOffered(why)),
            "the drive in tray 3 (serial ..LARK): its self-test log cannot be read (the drive does not support it)"
        );
    }

    #[test]
    fn a_name_that_means_nothing_is_answered_with_what_there_is() {
        let there = vec![lark(), place("4", "HN24-KITE")];
        assert_eq!(
            not_one("Z9", &NotOne { fitting: Vec::new(), there: there.clone() }, Language::ENGLISH),
            "expected the label of a tray or the last four or more characters of a serial, found `Z9`. Drives: \
             the drive in tray 3 (serial ..LARK), the drive in tray 4 (serial ..KITE)"
        );
        let near = not_one("KTIE", &NotOne { fitting: Vec::new(), there: there.clone() }, Language::ENGLISH);
        assert!(near.contains("found `KTIE`; did you mean `KITE`? Drives: "), "{near}");
        let several = not_one("x", &NotOne { fitting: there.clone(), there }, Language::ENGLISH);
        assert!(several.contains("found `x`, which fits several: the drive in tray 3"), "{several}");
    }
}
