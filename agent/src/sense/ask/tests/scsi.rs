//! Stories of a SCSI drive.

use super::*;
use crate::reading::{OwnLimits, Power, SelfAssessment, SelfTest};
use crate::sense::ask::scsi::ScsiDrive;
use crate::units::Celsius;

const LIST: Scsi = page_of(0x00);
const WARMTH_PAGE: Scsi = page_of(0x0D);
const EXCEPTIONS: Scsi = page_of(0x2F);

const fn page_of(page: u8) -> Scsi {
    Scsi::LogSense { page }
}

/// REQUEST SENSE hands on sense data as data.
fn state(key: u8, asc: u8, ascq: u8) -> Answer {
    data(hex(&format!("70 00 {key:02x} 00 00 00 00 0a 00 00 00 00 {asc:02x} {ascq:02x} 00 00 00 00")))
}

fn list(pages: &[u8]) -> Answer {
    data([&[0, 0, 0, pages.len() as u8], pages].concat())
}

/// The pages of the kernel's own pretend drive, scsi_debug, captured in a virtual machine.
pub(super) fn pretend() -> Replay {
    Replay::new(Answering::Scsi)
        .with(Scsi::RequestSense, [state(0, 0, 0)])
        .with(LIST, [list(&[0x00, 0x0D, 0x2F])])
        .with(WARMTH_PAGE, [data(hex("0d 00 00 0c 00 00 03 02 00 26 00 01 03 02 00 41"))])
        .with(EXCEPTIONS, [data(hex("2f 00 00 07 00 00 03 03 00 00 26"))])
}

/// A drive with all pages that are ever asked for.
pub(super) fn whole() -> Replay {
    let phy = [&hex("18 00 00 38 00 01 03 34 06 00 00 01 00 00 00 2c")[..], &[0; 28], &hex("00 00 00 02"), &[0; 12]];
    let pages: [(u8, Vec<u8>); 8] = [
        (0x02, hex("02 00 00 08 00 06 03 04 00 00 00 01")),
        (0x03, hex("03 00 00 10 00 03 03 04 00 00 00 07 00 06 03 04 00 00 00 05")),
        (0x05, hex("05 00 00 08 00 06 03 04 ff ff ff ff")),
        (0x0E, hex("0e 00 00 08 00 04 03 04 00 00 00 29")),
        (0x10, hex("10 00 00 14 00 01 03 10 27 01 12 34 00 00 00 00 00 01 02 03 03 11 00 00")),
        (0x11, hex("11 00 00 08 00 01 03 04 00 00 00 09")),
        (
            0x15,
            hex("15 00 00 28 00 00 03 0c 00 00 0e 10 00 01 00 05 80 00 00 05 \
                 00 01 03 14 00 00 00 10 03 11 00 00 00 00 00 00 00 00 00 00 00 01 23 45"),
        ),
        (0x18, phy.concat()),
    ];
    let codes: Vec<u8> = [0x00, 0x0D, 0x2F].into_iter().chain(pages.iter().map(|&(code, _)| code)).collect();
    let drive = pretend().with(LIST, [list(&codes)]);
    pages.into_iter().fold(drive, |drive, (code, bytes)| drive.with(page_of(code), [data(bytes)]))
}

fn ask(mut drive: Replay, wanted: DriveQuestions) -> DriveAnswers {
    ScsiDrive::default().ask(&mut drive, wanted)
}

#[test]
fn the_pretend_drive_of_the_kernel_is_asked_for_what_it_lists() {
    let (mut drive, mut session) = (pretend(), ScsiDrive::default());
    let told = session.ask(&mut drive, ALL);
    assert_eq!(drive.sent(), commands([Scsi::RequestSense, LIST, WARMTH_PAGE, EXCEPTIONS]));
    assert_eq!((&told.power, &told.temperature), (&Ok(Power::Active), &Some(Ok(Celsius(38.0)))));
    assert_eq!(told.own_limits, OwnLimits { maximum: Some(Celsius(65.0)), critical: None });
    assert_eq!(health(&told).assessment, Ok(SelfAssessment::Passed));
    assert_eq!((health(&told).counters.len(), reason(&newest_test(&told))), (0, Some(Reason::NotAvailable)));

    session.ask(&mut drive, WARMTH);
    assert_eq!(drive.sent(), commands([Scsi::RequestSense, WARMTH_PAGE]), "the list does not change");
}

/// START STOP UNIT leaves 2h/04h/02h (captured). Names of 5E00h to 5E0Ah: linux/drivers/scsi/sense_codes.h.
#[test]
fn a_drive_that_stands_still_is_asked_nothing_else() {
    let still = [(2, 0x04, 0x02), (0, 0x5E, 0x00), (0, 0x5E, 0x02), (0, 0x5E, 0x04), (0, 0x5E, 0x09), (0, 0x5E, 0x0A)];
    for (key, asc, ascq) in still {
        let mut drive = pretend().with(Scsi::RequestSense, [state(key, asc, ascq)]);
        for wanted in UNUSED.into_iter().chain([ALL_IN_USE]) {
            let told = ScsiDrive::default().ask(&mut drive, wanted);
            assert_eq!(told, DriveAnswers::only(Ok(Power::Asleep)), "{asc:02X}h/{ascq:02X}h");
            assert_eq!(drive.sent(), commands([Scsi::RequestSense]), "{asc:02X}h/{ascq:02X}h");
        }
    }
}

#[test]
fn an_idle_drive_turns_and_may_be_asked() {
    for ascq in [0x01, 0x03, 0x05, 0x06, 0x07, 0x08] {
        let told = ask(pretend().with(Scsi::RequestSense, [state(0, 0x5E, ascq)]), WARMTH);
        assert_eq!((told.power, told.temperature), (Ok(Power::Idle), Some(Ok(Celsius(38.0)))), "5Eh/{ascq:02X}h");
    }
}

#[test]
fn a_state_that_cannot_be_told_is_no_leave_to_ask() {
    let replies = [data([0; 252]), data([0xFF; 252]), data([]), state(5, 0x24, 0x00), state(0, 0x5E, 0x41), refused()];
    for reply in replies {
        let mut drive = pretend().with(Scsi::RequestSense, [reply.clone()]);
        let told = ScsiDrive::default().ask(&mut drive, ALL);
        assert!(told.power.is_err() && told == DriveAnswers::only(told.power.clone()), "{reply:?}");
        assert_eq!(drive.sent(), commands([Scsi::RequestSense]), "{reply:?}");
        let in_use = ask(pretend().with(Scsi::RequestSense, [reply]), ALL_IN_USE);
        assert_eq!((in_use.power, in_use.temperature), (Ok(Power::Active), Some(Ok(Celsius(38.0)))));
    }
}

#[test]
fn pages_that_are_not_in_the_list_are_not_asked_for() {
    let mut drive = whole().with(LIST, [list(&[0x00, 0x03])]);
    let told = ScsiDrive::default().ask(&mut drive, ALL);
    assert_eq!(drive.sent(), commands([Scsi::RequestSense, LIST, page_of(0x03)]));
    assert_eq!(count(health(&told), "read_uncorrected_errors"), Some(5));
    assert_eq!(reason(&health(&told).assessment), Some(Reason::NotAvailable));
    assert_eq!(reason(&told.temperature.unwrap()), Some(Reason::NotAvailable));
}

/// As QEMU's SCSI disk, which knows no LOG SENSE.
#[test]
fn a_drive_without_log_pages_is_asked_for_the_list_once() {
    let mut drive = Replay::new(Answering::Scsi).with(Scsi::RequestSense, [state(0, 0, 0)]);
    let mut session = ScsiDrive::default();
    let told = session.ask(&mut drive, ALL);
    assert_eq!(drive.sent(), commands([Scsi::RequestSense, LIST]));
    assert_eq!(reason(&health(&told).assessment), Some(Reason::NotAvailable));
    assert_eq!(reason(&told.temperature.unwrap()), Some(Reason::NotAvailable));
    session.ask(&mut drive, ALL);
    assert_eq!(drive.sent(), commands([Scsi::RequestSense]));
}

/// One that was just starting may refuse its list once.
#[test]
fn asked_afresh_a_drive_may_have_log_pages_after_all() {
    let mut drive = pretend().with(LIST, [refused(), list(&[0x00, 0x0D, 0x2F])]);
    let mut session = ScsiDrive::default();
    assert_eq!(reason(&session.ask(&mut drive, WARMTH).temperature.unwrap()), Some(Reason::NotAvailable));
    assert_eq!(reason(&session.ask(&mut drive, WARMTH).temperature.unwrap()), Some(Reason::NotAvailable));
    let afresh = DriveQuestions { afresh: true, ..WARMTH };
    assert_eq!(session.ask(&mut drive, afresh).temperature, Some(Ok(Celsius(38.0))));
}

#[test]
fn a_list_of_zeros_is_no_list() {
    let mut drive = pretend().with(LIST, [data([0; 4096]), list(&[0x00, 0x0D, 0x2F])]);
    let mut session = ScsiDrive::default();
    assert_eq!(reason(&session.ask(&mut drive, WARMTH).temperature.unwrap()), Some(Reason::Unreadable));
    assert_eq!(session.ask(&mut drive, WARMTH).temperature, Some(Ok(Celsius(38.0))));
}

/// A bridge with two drives was seen to hand on what the other one said.
#[test]
fn the_reply_to_another_question_is_refused() {
    let stale = whole().answers[&EXCEPTIONS.into()].clone();
    let confused = whole()
        .answers
        .into_keys()
        .filter(|command| ![LIST.into(), Scsi::RequestSense.into(), EXCEPTIONS.into()].contains(command))
        .fold(whole(), |drive, command| drive.with(command, stale.clone()));
    let told = ask(confused, ALL);
    assert_eq!(told.temperature, Some(Err(unreadable("expected log page 0Dh/00h, found 2Fh/00h"))));
    let health = health(&told);
    assert_eq!((health.counters.len(), reason(&newest_test(&told))), (0, Some(Reason::Unreadable)));
    assert_eq!(health.unread.len(), 7);
    assert_eq!(health.unread[1], unread(HealthPart::ErrorCounters, "expected log page 03h/00h, found 2Fh/00h"));
}

#[test]
fn a_drive_without_a_page_of_temperatures_may_state_it_in_its_verdict() {
    let told = ask(pretend().with(LIST, [list(&[0x00, 0x2F])]), WARMTH);
    assert_eq!((told.temperature, told.own_limits), (Some(Ok(Celsius(38.0))), OwnLimits::default()));

    let mut both = pretend().with(LIST, [list(&[0x00, 0x2F])]);
    let told = ScsiDrive::default().ask(&mut both, ALL);
    assert_eq!(both.sent(), commands([Scsi::RequestSense, LIST, EXCEPTIONS]), "one page, asked for once");
    assert_eq!(
        (told.temperature, told.health.unwrap().assessment.ok()),
        (Some(Ok(Celsius(38.0))), Some(SelfAssessment::Passed))
    );
    // FFh stands for no temperature (Seagate SCSI Commands Reference, clause 5.2.12).
    let cold =
        pretend().with(LIST, [list(&[0x00, 0x2F])]).with(EXCEPTIONS, [data(hex("2f 00 00 07 00 00 03 03 00 00 ff"))]);
    assert_eq!(reason(&ask(cold, WARMTH).temperature.unwrap()), Some(Reason::NotAvailable));
}

/// Seagate SCSI Commands Reference, clause 5.2.12: 5Dh predicts a failure, 0Bh warns.
#[test]
fn only_a_predicted_failure_is_one() {
    let assessed = |codes: &str| {
        let verdict = data(hex(&format!("2f 00 00 07 00 00 03 03 {codes} 26")));
        ask(pretend().with(EXCEPTIONS, [verdict]), HEALTH).health.unwrap().assessment
    };
    assert_eq!(assessed("5d 10"), Ok(SelfAssessment::Failing));
    assert_eq!(assessed("0b 01"), Ok(SelfAssessment::Passed));
    let cut = ask(pretend().with(EXCEPTIONS, [data(hex("2f 00 00 07 00 00 03 03 00"))]), HEALTH);
    assert_eq!(reason(&health(&cut).assessment), Some(Reason::Unreadable));
}

#[test]
fn all_pages_together_make_the_health() {
    let told = ask(whole(), HEALTH);
    let health = health(&told);
    let read: Vec<_> = health.counters.iter().map(|counter| (counter.name, counter.value)).collect();
    let wanted = [
        ("write_uncorrected_errors", 1),
        ("read_corrected_errors", 7),
        ("read_uncorrected_errors", 5),
        ("start_stop_cycles", 41),
        ("wear_used_percent", 9),
        ("phy_invalid_words", 2),
        ("phy_disparity_errors", 0),
        ("phy_synchronisation_losses", 0),
        ("phy_reset_problems", 0),
        ("power_on_hours", 60),
        ("pending_sectors", 1),
    ];
    assert_eq!(read, wanted, "a counter of all ones is left out");
    assert_eq!((newest_test(&told), health.unread.len()), (Ok(SelfTest::Failed), 0));
}

/// Codes of SPC-4 clause 7.3.21 (from memory).
#[test]
fn the_newest_self_test_is_told() {
    let newest = |entry: &str| {
        let log = data(hex(&format!("10 00 00 14 00 01 03 10 {entry} 00 00 00 00 00 00 00 00 00 00 00 00")));
        newest_test(&ask(whole().with(page_of(0x10), [log]), HEALTH))
    };
    assert_eq!(newest("00 00 00 00"), Ok(SelfTest::Never));
    assert_eq!(newest("20 01 12 34"), Ok(SelfTest::Passed));
    assert_eq!(newest("22 01 12 34"), Ok(SelfTest::Ended));
    assert_eq!(newest("23 01 12 34"), Ok(SelfTest::CouldNotFinish));
    assert_eq!(newest("2f 01 12 34"), Ok(SelfTest::Running { remaining_percent: None }));
}

#[test]
fn a_drive_that_timed_out_is_asked_nothing_more_in_that_session() {
    let mut drive = whole().with(EXCEPTIONS, [timed_out()]);
    let told = ScsiDrive::default().ask(&mut drive, HEALTH);
    assert_eq!(drive.sent(), commands([Scsi::RequestSense, LIST, WARMTH_PAGE, EXCEPTIONS]));
    assert_eq!((told.health, told.broke_off.map(|why| why.reason)), (None, Some(Reason::TimedOut)));
}
