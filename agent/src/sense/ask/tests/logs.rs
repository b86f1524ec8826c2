//! Stories of the logs of a SATA disk: which of two it is asked for, how far it is read, and what is made of logs that
//! claim what cannot be.

use super::*;
use crate::reading::{ErrorKind, LoggedError};
use crate::sense::ask::ata::AtaDrive;
use crate::sense::parse::quirks::Quirks;

const SUMMARY: Ata = Ata::SmartReadLog { log: 0x01 };

/// The health that a disk tells, and the logs that it was asked for besides its statistics.
fn asked(disk: Replay) -> (Health, Vec<DriveCommand>) {
    let (told, sent) = session(disk, DriveQuestions { health: true, ..NOTHING });
    (health(&told).clone(), sent)
}

/// How its self-tests stand, and the logs that it was asked for.
fn tested(disk: Replay) -> (Result<SelfTest, Missing>, Vec<DriveCommand>) {
    let (told, sent) = session(disk, DriveQuestions { self_tests: true, ..NOTHING });
    (newest_test(&told), sent)
}

fn session(mut disk: Replay, wanted: DriveQuestions) -> (DriveAnswers, Vec<DriveCommand>) {
    let told = AtaDrive::new(None, Quirks::default()).ask(&mut disk, wanted);
    let is_log = |command: &DriveCommand| {
        matches!(command, DriveCommand::Ata(Ata::SmartReadLog { .. }))
            || matches!(command, DriveCommand::Ata(Ata::ReadLogExt { log, .. }) if ![0, STATISTICS, 0x11].contains(log))
    };
    (told, disk.sent().into_iter().filter(is_log).collect())
}

/// With the same logs but for these, each with its number of pages.
fn with_logs(logs: &[(u8, u8)]) -> Replay {
    disk().with(log(0, 0), [data(directory(logs))])
}

/// A page of the extended error log: the number of the newest error, and this error in its second place.
fn errors(newest: u16, error: &str) -> Answer {
    data(summed(page(&[(0, &[1, 0]), (2, &newest.to_le_bytes()), (4 + 124 + 90, &hex(error)), (500, &[9, 0])])))
}

#[test]
fn the_newest_error_is_told_with_its_place() {
    let (told, sent) = asked(disk());
    let wanted = LoggedError { kind: ErrorKind::Unreadable, lba: Some(0x0034_5678), power_on_hours: Some(10_000) };
    assert_eq!((told.newest_error, sent.len()), (Ok(Some(wanted)), 1));
}

#[test]
fn the_newest_error_is_read_from_the_page_where_it_lies() {
    let disk = with_logs(&[(EXTENDED_ERRORS, 2)])
        .with(log(EXTENDED_ERRORS, 0), [errors(6, "00")])
        .with(log(EXTENDED_ERRORS, 1), [errors(0, "00 84 08 00 78 00 56 00 34 00 40 51")]);
    let (told, sent) = asked(disk);
    assert_eq!(sent, commands([log(EXTENDED_ERRORS, 0), log(EXTENDED_ERRORS, 1)]));
    let wanted = LoggedError { kind: ErrorKind::Transfer, lba: None, power_on_hours: Some(0) };
    assert_eq!((count(&told, "logged_errors"), told.newest_error), (Some(9), Ok(Some(wanted))));
}

#[test]
fn where_the_newest_error_cannot_be_read_the_count_still_can() {
    let (told, _) = asked(with_logs(&[(EXTENDED_ERRORS, 2)]).with(log(EXTENDED_ERRORS, 0), [errors(6, "00")]));
    assert_eq!((count(&told, "logged_errors"), reason(&told.newest_error)), (Some(9), Some(Reason::NotAvailable)));
}

/// The older logs count in 28 and 32 bits of a sector's number, so they are second choice.
#[test]
fn a_disk_without_the_extended_logs_is_asked_for_the_older_ones() {
    let error = hex("00 40 08 78 56 34 e2 51");
    let summary = summed(page(&[(0, &[1, 1]), (2 + 60, &error), (452, &[7, 0])]));
    let older =
        |disk: Replay| disk.with(SUMMARY, [data(summary.clone())]).with(SELF_TESTS, [data(self_tests(Some(0x70)))]);
    for disk in [with_logs(&[(STATISTICS, 8)]), disk().without(log(0, 0)), disk().with(log(0, 0), [data([0; 512])])] {
        let (told, sent) = asked(older(disk.clone()));
        assert_eq!((count(&told, "logged_errors"), sent), (Some(7), commands([SUMMARY])));
        assert_eq!(tested(older(disk)), (Ok(SelfTest::Failed), commands([SELF_TESTS])));
        assert_eq!(told.newest_error.unwrap().unwrap().lba, Some(0x0234_5678));
    }
}

#[test]
fn the_extended_self_test_log_is_read_as_far_as_its_newest_test() {
    let disk = disk()
        .with(log(EXTENDED_SELF_TESTS, 0), [data(extended_tests(19, Some(0x00)))])
        .with(log(EXTENDED_SELF_TESTS, 1), [data(extended_tests(0, Some(0x75)))]);
    let sent = commands([log(EXTENDED_SELF_TESTS, 0), log(EXTENDED_SELF_TESTS, 1)]);
    assert_eq!(tested(disk), (Ok(SelfTest::Failed), sent));
}

#[test]
fn a_log_that_claims_to_be_longer_than_any_is_read_to_a_bound_and_not_believed() {
    let endless = (0..64).fold(disk(), |disk, number| {
        disk.with(log(EXTENDED_SELF_TESTS, number), [data(extended_tests(65_535, Some(0x00)))])
    });
    let (told, sent) = tested(endless.with(SELF_TESTS, [data(self_tests(Some(0x70)))]));
    assert!(sent.len() <= 16 + 1, "{}", sent.len());
    assert_eq!(told, Ok(SelfTest::Failed), "by the older log");

    let (told, sent) = asked(disk().with(log(EXTENDED_ERRORS, 0), [errors(65_535, "00")]));
    assert_eq!((sent.len(), count(&told, "logged_errors")), (1, None));
    assert_eq!(told.unread, [unread(HealthPart::ErrorLog, "expected error number at most 4, found 65535")]);
}

#[test]
fn a_damaged_extended_log_gives_way_to_the_older_one() {
    let mut damaged = extended_tests(1, Some(0x00));
    damaged[100] ^= 0x10;
    for reply in [damaged[..300].to_vec(), damaged, vec![0; 512], vec![0xFF; 512]] {
        let disk = disk().with(log(EXTENDED_SELF_TESTS, 0), [data(reply)]);
        let (told, sent) = tested(disk.with(SELF_TESTS, [data(self_tests(Some(0x70)))]));
        assert_eq!((told, sent[1]), (Ok(SelfTest::Failed), SELF_TESTS.into()));
    }
}
