//! Stories of a SATA disk behind the kernel's own translation.

use super::*;
use crate::reading::{OwnLimits, Power, SelfAssessment, SelfTest};
use crate::sense::ask::ata::AtaDrive;
use crate::sense::parse::counter::CounterOrigin;
use crate::sense::parse::quirks::{Quirks, quirks};
use crate::units::Celsius;

fn drive() -> AtaDrive {
    AtaDrive::new(None, Quirks::default())
}

/// One session of a drive that was not asked before.
fn ask(mut disk: Replay, wanted: DriveQuestions) -> DriveAnswers {
    drive().ask(&mut disk, wanted)
}

/// CHECK POWER MODE comes first (HC310 clause 9.4.2: it changes no mode and no timer). The statistics, which are
/// standard, come before the maker's attributes.
#[test]
fn an_awake_disk_is_asked_in_the_order_of_worth() {
    let (mut disk, mut drive) = (disk(), drive());
    let told = drive.ask(&mut disk, ALL);
    let wanted = [
        Ata::CheckPowerMode,
        Ata::Identify,
        log(0, 0),
        log(STATISTICS, 0),
        log(STATISTICS, 1),
        log(STATISTICS, 5),
        log(STATISTICS, 6),
        Ata::SmartReturnStatus,
        Ata::SmartReadData,
        log(0x11, 0),
        log(EXTENDED_ERRORS, 0),
        Ata::RecoveryLimit(Recovering::Reads),
        Ata::RecoveryLimit(Recovering::Writes),
        log(EXTENDED_SELF_TESTS, 0),
        SCT_STATUS,
    ];
    assert_eq!(disk.sent(), commands(wanted));
    assert_eq!((told.power.clone(), told.temperature.clone()), (Ok(Power::Active), Some(Ok(Celsius(36.0)))));
    let health = health(&told);
    assert_eq!((&health.assessment, newest_test(&told)), (&Ok(SelfAssessment::Passed), Ok(SelfTest::Passed)));
    assert_eq!((count(health, "phy_resets_by_host"), count(health, "logged_errors")), (Some(7), Some(5)));
    assert_eq!(health.unread, []);

    // Who it is does not change.
    drive.ask(&mut disk, WARMTH);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, SCT_STATUS]));
    drive.ask(&mut disk, NOTHING);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode]));
}

#[test]
fn what_the_kernel_knows_of_the_disk_is_not_asked() {
    let identity = crate::sense::parse::ata::identify::identify(&identity("Songbird HB4000", &ABLE)).ok();
    let mut disk = disk();
    AtaDrive::new(identity, Quirks::default()).ask(&mut disk, WARMTH);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, SCT_STATUS]));
}

#[test]
fn of_two_numbers_of_one_name_the_statistic_stays() {
    let told = ask(disk(), HEALTH);
    let health = health(&told);
    assert_eq!((count(health, "power_on_hours"), count(health, "interface_crc_errors")), (Some(9_000), Some(3)));
    let hours = health.counters.iter().find(|counter| counter.name == "power_on_hours").unwrap();
    assert_eq!(hours.origin, CounterOrigin::Statistic { page: 1, offset: 0x10 });

    let bare = ask(disk().without(log(0, 0)), HEALTH);
    assert_eq!(count(super::health(&bare), "interface_crc_errors"), Some(2), "the attribute where there is no other");
}

#[test]
fn the_temperature_comes_from_the_first_of_three_that_has_one() {
    // HC580 clause 10.18.2.3.3: 80h stands for no temperature.
    let no_sct = || disk().with(SCT_STATUS, [data(page(&[(0, &[3, 0]), (200, &[0x80])]))]);
    let rows = |rows: &[(u8, u8, u8, u8)]| [data(attributes(0, rows))];
    let warmth = |disk| ask(disk, WARMTH).temperature.unwrap();

    assert_eq!(warmth(disk()), Ok(Celsius(36.0)));
    assert_eq!(warmth(no_sct()), Ok(Celsius(38.0)), "attribute 194");
    let airflow_first = rows(&[(190, 2, 69, 31), (194, 2, 60, 38)]);
    assert_eq!(warmth(no_sct().with(Ata::SmartReadData, airflow_first)), Ok(Celsius(38.0)), "194 before 190");
    let airflow = rows(&[(190, 2, 69, 31), (194, 2, 60, 0)]);
    assert_eq!(warmth(no_sct().with(Ata::SmartReadData, airflow)), Ok(Celsius(31.0)), "attribute 190");
    let none = warmth(no_sct().with(Ata::SmartReadData, rows(&[(5, 3, 100, 0)])));
    assert_eq!(none, Err(WhyMissing::NoValidTemperature.into()));
    let hot = disk().with(SCT_STATUS, [data(page(&[(0, &[3, 0]), (200, &[127])]))]);
    assert_eq!(warmth(hot.clone()), Ok(Celsius(38.0)), "just after a resume some drives answer nonsense");
    let strange = warmth(hot.with(Ata::SmartReadData, rows(&[(5, 3, 100, 0)])));
    assert_eq!(strange, Err(unreadable("expected -40 to 95 °C, found 127")));
    assert_eq!(reason(&warmth(no_sct().without(Ata::SmartReadData))), Some(Reason::NotAvailable));
    let damaged = warmth(no_sct().with(Ata::SmartReadData, [data([1; 100])]));
    assert_eq!(damaged, Err(unreadable("expected at least 512 bytes, found 100")));
}

#[test]
fn a_disk_without_sct_is_not_asked_for_it() {
    let unable: Vec<_> = ABLE.into_iter().filter(|&(word, _)| word != 206).collect();
    let mut disk = disk().with(Ata::Identify, [data(identity("Songbird HB4000", &unable))]);
    let told = drive().ask(&mut disk, WARMTH);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, Ata::Identify, Ata::SmartReadData]));
    assert_eq!(told.temperature, Some(Ok(Celsius(38.0))));
}

/// The models that linux/drivers/hwmon/drivetemp.c spares.
#[test]
fn a_model_that_sct_freezes_never_gets_it() {
    const MODEL: &str = "TOSHIBA DT01ACA300";
    let mut disk = disk().with(Ata::Identify, [data(identity(MODEL, &ABLE))]);
    let mut drive = AtaDrive::new(None, quirks(MODEL, None));
    for wanted in [ALL, WARMTH, ALL_IN_USE] {
        assert_eq!(drive.ask(&mut disk, wanted).temperature, Some(Ok(Celsius(38.0))));
    }
    assert!(!disk.sent().contains(&SCT_STATUS.into()));
}

/// Each refused command makes the kernel halt the port (linux/drivers/ata/libata-eh.c).
#[test]
fn what_was_refused_once_is_not_sent_again() {
    let mut disk = Replay::new(Answering::Kernel)
        .with(Ata::CheckPowerMode, [power_mode(0xFF)])
        .with(Ata::Identify, [data(identity("Songbird HB4000", &ABLE))]);
    let mut drive = drive();
    let first = drive.ask(&mut disk, ALL);
    assert!(disk.sent().len() > 5);
    assert_eq!(reason(&health(&first).assessment), Some(Reason::NotAvailable));
    assert_eq!(health(&first).unread, [], "what is not offered is not missed");
    let second = drive.ask(&mut disk, ALL);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, Ata::Identify]));
    assert_eq!(reason(&second.temperature.unwrap()), Some(Reason::NotAvailable));
}

#[test]
fn asked_afresh_a_disk_may_have_thought_better_of_it() {
    let mut disk = disk().with(SCT_STATUS, [vec![refused()], disk().answers[&SCT_STATUS.into()].clone()].concat());
    let mut drive = drive();
    let warmth = |drive: &mut AtaDrive, disk: &mut Replay, afresh| {
        let told = drive.ask(disk, DriveQuestions { afresh, ..WARMTH });
        (told.temperature.unwrap().unwrap(), disk.sent().contains(&SCT_STATUS.into()))
    };
    assert_eq!(warmth(&mut drive, &mut disk, false), (Celsius(38.0), true), "refused, so by attribute 194");
    assert_eq!(warmth(&mut drive, &mut disk, false), (Celsius(38.0), false));
    assert_eq!(warmth(&mut drive, &mut disk, true), (Celsius(36.0), true));
    assert_eq!(warmth(&mut drive, &mut disk, false), (Celsius(36.0), true), "and it stays so");
}

#[test]
fn what_was_only_unreadable_is_asked_again() {
    let good = disk().answers[&SCT_STATUS.into()].clone();
    let mut disk = disk().with(SCT_STATUS, [vec![data([0; 512])], good].concat());
    let mut drive = drive();
    assert_eq!(drive.ask(&mut disk, WARMTH).temperature, Some(Ok(Celsius(38.0))));
    assert_eq!(drive.ask(&mut disk, WARMTH).temperature, Some(Ok(Celsius(36.0))));
}

/// A time-out ends with a reset of the link; more questions would bring more resets.
#[test]
fn a_disk_that_timed_out_is_asked_nothing_more_in_that_session() {
    let mut disk = disk().with(Ata::SmartReturnStatus, [timed_out()]);
    let mut drive = drive();
    let told = drive.ask(&mut disk, ALL_IN_USE);
    assert_eq!(disk.sent().last(), Some(&Ata::SmartReturnStatus.into()));
    assert_eq!(reason(&told.temperature.unwrap()), Some(Reason::TimedOut));
    assert_eq!(told.health, None, "half a health would be taken for the whole");
    assert_eq!(told.broke_off.unwrap().reason, Reason::TimedOut);
    drive.ask(&mut disk, WARMTH);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, SCT_STATUS]), "the next session begins anew");
}

#[test]
fn a_disk_whose_smart_is_off_is_not_asked_for_it() {
    let off: Vec<_> = ABLE.into_iter().map(|(word, bits)| (word, if word == 85 { 0x0028 } else { bits })).collect();
    let mut disk = disk().with(Ata::Identify, [data(identity("Songbird HB4000", &off))]).without(SCT_STATUS);
    let told = drive().ask(&mut disk, ALL);
    let sent = disk.sent();
    assert!([Ata::SmartReturnStatus, Ata::SmartReadData, SELF_TESTS].iter().all(|ata| !sent.contains(&(*ata).into())));
    assert_eq!(reason(&health(&told).assessment), Some(Reason::NotAvailable));
    assert_eq!(reason(&told.temperature.unwrap()), Some(Reason::NotAvailable));
}

/// The pair of a failing drive: Micron TN-FD-21.
#[test]
fn a_disk_that_predicts_its_end_is_believed() {
    let failing = sense_data("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 00 00 00 00 f4 00 2c 00 50");
    let told = ask(disk().with(Ata::SmartReturnStatus, [failing]), HEALTH);
    assert_eq!(health(&told).assessment, Ok(SelfAssessment::Failing));
}

/// At or below its threshold an attribute fails (Micron TN-FD-21); bit 0 of its flags says that this predicts the end.
#[test]
fn without_a_status_the_thresholds_say_it() {
    let assessed = |row: (u8, u8, u8, u8), limits: &[(u8, u8)]| {
        let disk = disk()
            .without(Ata::SmartReturnStatus)
            .with(Ata::SmartReadData, [data(attributes(0, &[row, (9, 2, 1, 1)]))])
            .with(Ata::SmartReadThresholds, [data(thresholds(limits))]);
        ask(disk, HEALTH).health.unwrap().assessment
    };
    const LIMITS: &[(u8, u8)] = &[(9, 20), (5, 36)];
    assert_eq!(assessed((5, 3, 37, 0), LIMITS), Ok(SelfAssessment::Passed));
    assert_eq!(assessed((5, 3, 36, 0), LIMITS), Ok(SelfAssessment::Failing));
    assert_eq!(assessed((5, 2, 36, 0), &[(5, 36), (9, 0)]).ok(), None, "old age alone is no verdict");
    assert_eq!(assessed((5, 3, 36, 0), &[(190, 50)]).ok(), None, "nothing was compared, so nothing is fine");
}

#[test]
fn the_thresholds_are_not_asked_where_the_status_was_told() {
    let mut disk = disk().with(Ata::SmartReadThresholds, [data(thresholds(&[(5, 36)]))]);
    drive().ask(&mut disk, HEALTH);
    assert!(!disk.sent().contains(&Ata::SmartReadThresholds.into()));
}

/// Status bytes: HC580 clause 12.55.2.4. Zero stands for "passed" and for "never ran"; the log tells the two apart.
#[test]
fn the_newest_self_test_is_told() {
    let newest = |status: u8, log: Answer| {
        let disk = disk()
            .with(Ata::SmartReadData, [data(attributes(status, &[(5, 3, 100, 0)]))])
            .without(super::log(EXTENDED_SELF_TESTS, 0))
            .with(SELF_TESTS, [log]);
        newest_test(&ask(disk, HEALTH))
    };
    let past = |status| data(self_tests(Some(status)));
    assert_eq!(newest(0x00, data(self_tests(None))), Ok(SelfTest::Never));
    assert_eq!(newest(0x00, past(0x00)), Ok(SelfTest::Passed));
    assert_eq!(newest(0x00, past(0x70)), Ok(SelfTest::Failed), "the log is the better witness");
    assert_eq!(newest(0x74, past(0x74)), Ok(SelfTest::Failed));
    assert_eq!(newest(0x19, past(0x19)), Ok(SelfTest::Ended));
    assert_eq!(newest(0x30, past(0x30)), Ok(SelfTest::CouldNotFinish));
    assert_eq!(newest(0xF4, past(0x00)), Ok(SelfTest::Running { remaining_percent: Some(40) }));
    assert_eq!(reason(&newest(0x00, refused())), Some(Reason::NotAvailable), "passed or never: nobody knows");
    assert_eq!(reason(&newest(0x00, data([0; 512]))), Some(Reason::Unreadable));
}

#[test]
fn a_disk_states_its_own_limit_on_its_page_of_temperatures() {
    assert_eq!(ask(disk(), HEALTH).own_limits, OwnLimits { maximum: Some(Celsius(60.0)), critical: None });
    let silent = disk().with(log(STATISTICS, 5), [data(statistics(5, &[(0x08, 36)]))]);
    assert_eq!(ask(silent, HEALTH).own_limits, OwnLimits::default());
}

#[test]
fn a_page_that_is_not_the_one_asked_for_counts_nothing() {
    let told = ask(disk().with(log(STATISTICS, 6), [data(statistics(1, &[(0x18, 3)]))]), HEALTH);
    let health = health(&told);
    assert_eq!(count(health, "interface_crc_errors"), Some(2), "the attribute, not the misplaced page");
    assert_eq!(health.unread, [unread(HealthPart::Statistics, "expected page 06h, found 01h")]);
}

/// In Idle_b and Idle_c the heads are parked (HC310 clause 9.4.2), and logs may lie on the medium.
#[test]
fn parked_heads_are_left_alone_while_nobody_uses_the_disk() {
    for count in [0x82, 0x83] {
        let mut disk = disk().with(Ata::CheckPowerMode, [power_mode(count)]);
        let told = drive().ask(&mut disk, ALL);
        assert_eq!((told.power, told.health), (Ok(Power::Idle), None));
        assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, Ata::Identify, SCT_STATUS]));
        assert!(drive().ask(&mut disk, ALL_IN_USE).health.is_some());
    }
    for count in [0x41, 0x80, 0x81] {
        let told = ask(disk().with(Ata::CheckPowerMode, [power_mode(count)]), ALL);
        assert_eq!((told.power, told.health.is_some()), (Ok(Power::Idle), true), "{count:02X}h");
    }
}

/// HC580 clause 12.1 table 86; 40h from memory. Values without a meaning count as asleep.
#[test]
fn a_sleeping_disk_is_asked_whether_it_sleeps_and_nothing_else() {
    for count in [0x00, 0x01, 0x02, 0x3F, 0x40, 0x42, 0x7F, 0x84, 0xFE] {
        let mut disk = disk().with(Ata::CheckPowerMode, [power_mode(count)]);
        let mut drive = drive();
        for wanted in UNUSED.into_iter().chain([ALL_IN_USE]) {
            assert_eq!(drive.ask(&mut disk, wanted), DriveAnswers::only(Ok(Power::Asleep)), "{count:02X}h");
            assert_eq!(disk.sent(), commands([Ata::CheckPowerMode]), "{count:02X}h");
        }
    }
}

#[test]
fn a_disk_that_waits_to_be_spun_up_has_no_identity_yet() {
    // Word 0 bit 2: the answer is incomplete (linux/ata.h).
    let mut disk = disk().with(Ata::Identify, [data(identity("Songbird HB4000", &[(0, 0x0044)]))]);
    let told = drive().ask(&mut disk, ALL);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, Ata::Identify]));
    assert_eq!((told.power, told.health), (Ok(Power::Active), None));
    assert_eq!(reason(&told.temperature.unwrap()), Some(Reason::Unreadable));
}
