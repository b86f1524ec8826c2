//! The words for drives' tests of themselves: what a test does, why it cannot be, how it goes on, what came of it. Pure;
//! the words of conditions are in [`super::condition`].

use super::drives::{listed, pointed_at};
use super::phrases::{Language, Phrases};
use crate::reading::{AskedBy, Drive, Pool, SelfTest, SelfTestStep, TestOutcome};
use crate::units::span;
use crate::verdict::{NotOne, Place, Refusal, TestNews};
use std::time::Duration;
use traylight_config::nearest;

/// What is new, as a line of the log.
pub fn news(drive: &Place, news: &TestNews) -> String {
    let drive = pointed_at(drive, Language::ENGLISH);
    match news {
        TestNews::Asked { step, by, refused } => {
            let by = match by {
                AskedBy::Owner => "as requested",
                AskedBy::Schedule => "as scheduled",
            };
            match refused {
                None => format!("{drive}: {} now, {by}", does(*step)),
                Some(why) => format!("{drive}: could not {}, {by}: {why}", to(*step)),
            }
        }
        TestNews::Runs { remaining_percent } => format!("{drive}: {}", running(*remaining_percent)),
        TestNews::Over { outcome, failed_at_lba } => format!("{drive}: {}", over(*outcome, *failed_at_lba)),
    }
}

fn does(step: SelfTestStep) -> &'static str {
    match step {
        SelfTestStep::Short => "starting a short self-test",
        SelfTestStep::Extended => "starting a long self-test",
        SelfTestStep::Abort => "stopping its self-test",
    }
}

fn to(step: SelfTestStep) -> &'static str {
    match step {
        SelfTestStep::Short => "start a short self-test",
        SelfTestStep::Extended => "start a long self-test",
        SelfTestStep::Abort => "stop its self-test",
    }
}

/// That a test runs, and how much of it is left.
pub fn running(remaining_percent: Option<u8>) -> String {
    match remaining_percent {
        Some(left) => format!("self-test running, {left} % left"),
        None => "self-test running; the drive does not report its progress".to_owned(),
    }
}

/// What came of a test.
pub fn over(outcome: TestOutcome, failed_at_lba: Option<u64>) -> String {
    let at = failed_at_lba.map(|lba| format!(", first at sector {lba}")).unwrap_or_default();
    match outcome {
        TestOutcome::Passed => "self-test passed".to_owned(),
        TestOutcome::Ended => "self-test interrupted by a command, a reset or a restart".to_owned(),
        TestOutcome::CouldNotFinish => "self-test not completed by the drive".to_owned(),
        TestOutcome::Failed => format!("self-test FAILED{at}"),
    }
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

/// What will happen once the owner confirms it: several lines.
pub fn announcement(drive: &Drive, place: &Place, step: SelfTestStep, strained: Option<&Pool>) -> String {
    let tests = drive.self_tests.get();
    let (what, minutes) = match step {
        SelfTestStep::Short => (
            "A short self-test: the drive checks its electronics and mechanics and reads a sample of its surface.",
            tests.and_then(|tests| tests.short_minutes),
        ),
        SelfTestStep::Extended => (
            "A long self-test: the drive does what a short one does and reads its whole surface.",
            tests.and_then(|tests| tests.extended_minutes),
        ),
        SelfTestStep::Abort => ("The running self-test is stopped; it does not count.", None),
    };
    let mut lines = vec![format!(
        "{}, {}",
        pointed_at(place, Language::ENGLISH),
        drive.model.as_deref().unwrap_or("model not known")
    )];
    lines.push(what.to_owned());
    if step != SelfTestStep::Abort {
        lines.push(
            "Meanwhile the drive stays in use, but is slower and warmer and does not fall asleep. No data is changed."
                .into(),
        );
        lines.push(match minutes.map(|minutes| span(Duration::from_secs(60 * u64::from(minutes)))) {
            Some(time) => format!("The drive estimates {time}; under load it takes longer."),
            None => "The drive does not report how long it takes.".to_owned(),
        });
    }
    if let Some(pool) = strained.filter(|_| step != SelfTestStep::Abort) {
        lines.push(format!(
            "WARNING: {} needs this drive and is degraded or busy. A test slows it down and adds load and heat. Let it finish first, unless you need the result now.",
            pool.name
        ));
    }
    lines.join("\n")
}

/// Why a request is not put to the drive.
pub fn refusal(place: &Place, step: SelfTestStep, refusal: &Refusal) -> String {
    let drive = pointed_at(place, Language::ENGLISH);
    match (refusal, step) {
        (Refusal::Sleeps, SelfTestStep::Abort) => format!("{drive}: asleep, so no self-test is running"),
        (Refusal::Sleeps, _) => format!("{drive}: asleep; a self-test would wake it. Try again when it is in use"),
        (Refusal::NotAnswering(why), _) => {
            format!("{drive}: not known whether it is asleep, so it is not touched ({why})")
        }
        (Refusal::NotOffered(why), _) => format!("{drive}: its self-test log cannot be read ({why})"),
        (Refusal::Runs, _) => format!("{drive}: a self-test is already running; `stop` ends it"),
        (Refusal::RunsNot, _) => format!("{drive}: no self-test is running"),
    }
}

/// That a name fits no drive, or several.
pub fn not_one(name: &str, found: &NotOne) -> String {
    let list = |places: &[Place]| listed(places, Language::ENGLISH).unwrap_or_else(|| "none".to_owned());
    let expected = "expected the label of a tray or the last four or more characters of a serial";
    match found.fitting[..] {
        [] => {
            let near = nearest(name, found.there.iter().flat_map(|place| names(place, name.chars().count())));
            let near = near.map_or_else(|| ".".to_owned(), |near| format!("; did you mean `{near}`?"));
            format!("{expected}, found `{name}`{near} Drives: {}", list(&found.there))
        }
        _ => format!("{expected}, found `{name}`, which fits several: {}", list(&found.fitting)),
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
    use crate::reading::{Missing, Reason};

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
        let said = |drive: &Drive, step, pool| announcement(drive, &lark(), step, pool);
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
        let said = |found: &Refusal| refusal(&lark(), SelfTestStep::Short, found);
        assert!(said(&Refusal::Sleeps).contains("asleep; a self-test would wake it"));
        let why = Missing::new(Reason::NotFitted, "the drive does not offer it");
        assert_eq!(
            said(&Refusal::NotOffered(why)),
            "the drive in tray 3 (serial ..LARK): its self-test log cannot be read (not fitted: the drive does not offer it)"
        );
    }

    #[test]
    fn a_name_that_means_nothing_is_answered_with_what_there_is() {
        let there = vec![lark(), place("4", "HN24-KITE")];
        assert_eq!(
            not_one("Z9", &NotOne { fitting: Vec::new(), there: there.clone() }),
            "expected the label of a tray or the last four or more characters of a serial, found `Z9`. Drives: \
             the drive in tray 3 (serial ..LARK), the drive in tray 4 (serial ..KITE)"
        );
        let near = not_one("KTIE", &NotOne { fitting: Vec::new(), there: there.clone() });
        assert!(near.contains("found `KTIE`; did you mean `KITE`? Drives: "), "{near}");
        let several = not_one("x", &NotOne { fitting: there.clone(), there });
        assert!(several.contains("found `x`, which fits several: the drive in tray 3"), "{several}");
    }

    #[test]
    fn lines_of_the_log_say_who_wanted_what_and_what_came_of_it() {
        let said = |what| news(&lark(), &what);
        let asked = |refused: Option<&str>| TestNews::Asked {
            step: SelfTestStep::Extended,
            by: AskedBy::Schedule,
            refused: refused.map(str::to_owned),
        };
        assert_eq!(
            said(asked(None)),
            "the drive in tray 3 (serial ..LARK): starting a long self-test now, as scheduled"
        );
        assert_eq!(
            said(asked(Some("asleep"))),
            "the drive in tray 3 (serial ..LARK): could not start a long self-test, as scheduled: asleep"
        );
        let failed = TestNews::Over { outcome: TestOutcome::Failed, failed_at_lba: Some(305_419_896) };
        assert_eq!(said(failed), "the drive in tray 3 (serial ..LARK): self-test FAILED, first at sector 305419896");
    }
}
