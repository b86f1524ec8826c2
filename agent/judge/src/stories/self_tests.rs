//! Stories of drives that test themselves: a failed test counts until one that looked at no less is passed, and each
//! turn of a test is told once.

use super::{DAY, HOUR, MINUTE, Story};
use TestKind::{Extended, Short};
use TestOutcome::{Failed, Passed};
use traylight_data::reading::{
    AskedBy, Drive, Missing, PastTest, Reason, SelfAssessment, SelfTest, SelfTestStep, TestKind, TestOutcome,
    TestRequest,
};

/// Gives a drive this record, the newest first: kind, outcome and power-on hours.
fn record(drive: &mut Drive, past: &[(TestKind, TestOutcome, u64)]) {
    let test = |&(kind, outcome, power_on_hours): &(TestKind, TestOutcome, u64)| PastTest {
        kind,
        outcome,
        power_on_hours,
        age_hours: Some(9_860 - power_on_hours),
        failed_at_lba: (outcome == Failed).then_some(305_419_896),
    };
    let tests = drive.self_tests.value.as_mut().expect("heron's drives have tests");
    tests.past = past.iter().map(test).collect();
    tests.now = match past.first() {
        Some((_, Failed, _)) => SelfTest::Failed,
        Some((_, Passed, _)) => SelfTest::Passed,
        _ => SelfTest::Never,
    };
}

/// What is told of the condition when drive 0 has one record after the other, an hour each.
fn told(records: &[&[(TestKind, TestOutcome, u64)]]) -> Vec<String> {
    let story = Story::new().play(0, records.len() as u64 * HOUR, |second, snapshot| {
        record(&mut snapshot.drives[0], records[(second / HOUR) as usize]);
    });
    story.of("drive-health-failed").into_iter().map(str::to_owned).collect()
}

#[test]
fn a_failed_test_is_critical_at_the_second_reading_until_a_long_one_is_passed() {
    let records: [&[_]; 4] = [
        &[(Extended, Passed, 9_000)],
        &[(Extended, Failed, 9_850), (Extended, Passed, 9_000)],
        // A sample of the surface says nothing of the whole.
        &[(Short, Passed, 9_855), (Extended, Failed, 9_850)],
        &[(Extended, Passed, 9_858), (Short, Passed, 9_855)],
    ];
    assert_eq!(told(&records), ["3660 opened drive-health-failed critical", "10800 closed drive-health-failed"]);
}

#[test]
fn a_failed_short_test_is_taken_back_by_a_passed_short_one() {
    let records: [&[_]; 2] = [&[(Short, Failed, 9_850)], &[(Short, Passed, 9_851)]];
    assert_eq!(told(&records), ["60 opened drive-health-failed critical", "3600 closed drive-health-failed"]);
}

#[test]
fn a_record_that_was_lost_takes_nothing_back() {
    let records: [&[_]; 3] = [&[(Short, Failed, 9_850)], &[], &[(Extended, Passed, 9_851)]];
    assert_eq!(told(&records), ["60 opened drive-health-failed critical", "7200 closed drive-health-failed"]);
}

#[test]
fn a_drive_that_assessed_itself_as_failing_is_not_cleared_by_a_test() {
    let story = Story::new().play(0, 2 * DAY, |second, snapshot| {
        let drive = &mut snapshot.drives[0];
        let health = drive.health.value.as_mut().expect("heron's drives tell their health");
        health.assessment = Ok(if second < HOUR { SelfAssessment::Failing } else { SelfAssessment::Passed });
        record(drive, if second < 2 * HOUR { &[(Short, Failed, 9_850)] } else { &[(Extended, Passed, 9_855)] });
    });
    assert_eq!(story.of("drive-health-failed"), ["60 opened drive-health-failed critical"]);
}

#[test]
fn a_test_is_told_of_when_asked_when_it_runs_by_quarters_and_when_it_is_over() {
    let story = Story::new().play(0, 3 * HOUR, |second, snapshot| {
        let drive = &mut snapshot.drives[0];
        let asked =
            |answer| TestRequest { step: SelfTestStep::Extended, by: AskedBy::Schedule, answer, at: drive.power.taken };
        let begun = |at: u64| (at / MINUTE) as u8;
        match second {
            ..HOUR => {}
            // The answer comes once and stays in the snapshots; its time is that of the first.
            HOUR..7_200 => {
                let mut request = asked(Ok(()));
                request.at = traylight_data::clock::Moment::after_boot(std::time::Duration::from_secs(1));
                drive.test_request = Some(request);
                let left = Some(100 - begun(second - HOUR));
                let tests = drive.self_tests.value.as_mut().expect("heron's drives have tests");
                tests.now = SelfTest::Running { remaining_percent: left };
            }
            _ => record(drive, &[(Extended, Failed, 9_860)]),
        }
    });
    let lines: Vec<&str> = story.told.iter().filter(|line| line.contains("SelfTest")).map(String::as_str).collect();
    let begins_with = ["3600 ", "3600 ", "5100 ", "6600 ", "7200 "];
    assert_eq!(lines.len(), begins_with.len(), "{lines:#?}");
    assert!(lines.iter().zip(begins_with).all(|(line, time)| line.starts_with(time)), "{lines:#?}");
    assert!(lines[0].contains("Asked") && lines[0].contains("Schedule") && lines[0].contains("refused: None"));
    assert!(lines[1].contains("remaining_percent: Some(100)") && lines[3].contains("remaining_percent: Some(50)"));
    assert!(lines[4].contains("Over") && lines[4].contains("failed_at_lba: Some(305419896)"), "{}", lines[4]);
}

#[test]
fn a_refused_request_is_told_with_its_reason_and_an_old_record_is_no_news() {
    let story = Story::new().play(0, HOUR, |second, snapshot| {
        if second >= 30 * MINUTE {
            snapshot.drives[0].test_request = Some(TestRequest {
                step: SelfTestStep::Short,
                by: AskedBy::Owner,
                answer: Err(Missing::of(Reason::Asleep)),
                at: traylight_data::clock::Moment::default(),
            });
        }
    });
    assert_eq!(story.told.len(), 1, "{:?}", story.told);
    assert!(story.told[0].starts_with("1800 ") && story.told[0].contains("refused: Some(Missing { reason: Asleep"));
}
