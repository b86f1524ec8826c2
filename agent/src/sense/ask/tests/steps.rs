//! Stories of self-tests that are begun and ended: what is sent, to whom never, and what the record then tells.

use super::*;
use crate::reading::{PastTest, Power, SelfTestStep, SelfTests, TestKind, TestOutcome};
use crate::sense::ask::ata::AtaDrive;
use crate::sense::ask::nvme::NvmeDrive;
use crate::sense::ask::scsi::ScsiDrive;
use crate::sense::parse::quirks::Quirks;
use SelfTestStep::{Abort, Extended, Short};

/// The owner wants this step.
fn wish(step: SelfTestStep) -> DriveQuestions {
    DriveQuestions { self_tests: true, step: Some(step), by_owner: true, ..NOTHING }
}

const ASK: DriveQuestions = DriveQuestions { self_tests: true, by_owner: true, ..NOTHING };

fn drive() -> AtaDrive {
    AtaDrive::new(None, Quirks::default())
}

/// Good, without data; as the kernel answers when a command leaves nothing to tell.
fn done() -> Answer {
    data([])
}

/// SMART READ DATA of a disk that has run for 77 hours and states 2 and 600 minutes, the second in words 375 and 376
/// since it fits no byte.
fn timed(status: u8) -> Vec<u8> {
    let mut bytes = attributes(status, &[(9, 2, 90, 77)]);
    bytes[372..=376].copy_from_slice(&[2, 0xFF, 0, 0x58, 0x02]);
    bytes[511] = 0;
    summed(bytes)
}

/// A self-test log, the newest first: subcommand, status, hours, sector.
fn record(tests: &[(u8, u8, u16, u32)]) -> Vec<u8> {
    let mut bytes = page(&[(0, &[1, 0]), (508, &[tests.len() as u8])]);
    for (&(subcommand, status, hours, lba), slot) in tests.iter().rev().zip(0..) {
        let entry = [&[subcommand, status], &hours.to_le_bytes()[..], &[0], &lba.to_le_bytes()].concat();
        bytes[2 + 24 * slot..][..9].copy_from_slice(&entry);
    }
    summed(bytes)
}

fn tests_of(told: &DriveAnswers) -> SelfTests {
    told.self_tests.clone().expect("the self-tests were asked").expect("and told")
}

/// LBA(7:0) of SMART EXECUTE OFF-LINE IMMEDIATE: 01h, 02h and 7Fh (HC580 clause 12.55.1), never 81h and above, which
/// block the drive. Whether it sleeps, and who it is, is asked in the same session.
#[test]
fn a_disk_begins_a_test_right_after_it_said_that_it_is_awake() {
    for (step, code) in [(Short, 0x01), (Extended, 0x02), (Abort, 0x7F)] {
        let mut disk = disk().with(Ata::SelfTest(step), [done()]).with(Ata::SmartReadData, [data(timed(0xF9))]);
        let mut drive = drive();
        drive.ask(&mut disk, ASK);
        disk.sent();
        let told = drive.ask(&mut disk, wish(step));
        let wanted = [
            Ata::CheckPowerMode,
            Ata::Identify,
            Ata::SmartReadData,
            Ata::SelfTest(step),
            Ata::SmartReadData,
            log(0, 0),
            log(EXTENDED_SELF_TESTS, 0),
        ];
        assert_eq!(disk.sent(), commands(wanted));
        assert_eq!(Ata::SelfTest(step).block()[8], code);
        assert_eq!(told.step, Some(Ok(())));
        assert_eq!(newest_test(&told), Ok(SelfTest::Running { remaining_percent: Some(90) }), "asked after it began");
    }
}

#[test]
fn a_sleeping_disk_begins_nothing() {
    for count in [0x00, 0x01, 0x40] {
        let mut disk = disk().with(Ata::CheckPowerMode, [power_mode(count)]);
        for wanted in [wish(Short), DriveQuestions { in_use: true, ..wish(Extended) }] {
            assert_eq!(drive().ask(&mut disk, wanted), DriveAnswers::only(Ok(Power::Asleep)));
            assert_eq!(disk.sent(), commands([Ata::CheckPowerMode]));
        }
    }
}

/// That somebody has used it is enough to ask for its temperature, not to make it work for hours.
#[test]
fn a_disk_that_does_not_itself_say_that_it_is_awake_begins_nothing() {
    let mut disk = disk().without(Ata::CheckPowerMode).with(Ata::SelfTest(Short), [done()]);
    let told = drive().ask(&mut disk, DriveQuestions { in_use: true, ..wish(Short) });
    assert_eq!((told.power, reason(&told.step.unwrap())), (Ok(Power::Active), Some(Reason::NotAvailable)));
    assert!(!disk.sent().contains(&Ata::SelfTest(Short).into()));

    let mut scsi = super::scsi::whole().without(Scsi::RequestSense).with(Scsi::SelfTest(Short), [done()]);
    let told = ScsiDrive::default().ask(&mut scsi, DriveQuestions { in_use: true, ..wish(Short) });
    assert_eq!((told.power, reason(&told.step.unwrap())), (Ok(Power::Active), Some(Reason::NotAvailable)));
    assert!(!scsi.sent().contains(&Scsi::SelfTest(Short).into()));
}

/// Bit 4 of byte 367 says whether there are self-tests (HC580 clause 12.55.2).
#[test]
fn a_disk_without_self_tests_gets_none() {
    let mut unable = timed(0);
    (unable[367], unable[511]) = (0x09, 0);
    let mut disk = disk().with(Ata::SmartReadData, [data(summed(unable))]).with(Ata::SelfTest(Short), [done()]);
    let told = drive().ask(&mut disk, wish(Short));
    assert_eq!(reason(&told.step.clone().unwrap()), Some(Reason::NotAvailable));
    assert_eq!(reason(&newest_test(&told)), Some(Reason::NotAvailable));
    assert!(!disk.sent().contains(&Ata::SelfTest(Short).into()));
}

#[test]
fn what_the_disk_says_to_the_request_is_handed_on() {
    let step = |answer: Answer| {
        let mut disk = disk().with(Ata::SelfTest(Short), [answer]);
        reason(&drive().ask(&mut disk, wish(Short)).step.unwrap())
    };
    assert_eq!(
        (step(done()), step(refused()), step(timed_out())),
        (None, Some(Reason::NotAvailable), Some(Reason::TimedOut))
    );
}

/// Bytes 372 to 376: HC580 clause 12.55.2; FFh in byte 373 and the word after it from memory.
#[test]
fn a_disk_states_how_long_its_tests_take() {
    let told = drive().ask(&mut disk().with(Ata::SmartReadData, [data(timed(0))]), ASK);
    assert_eq!((tests_of(&told).short_minutes, tests_of(&told).extended_minutes), (Some(2), Some(600)));
    let silent = drive().ask(&mut disk(), ASK);
    assert_eq!((tests_of(&silent).short_minutes, tests_of(&silent).extended_minutes), (None, None));
}

/// Entries of the log: 60GXP figure 131.
#[test]
fn a_disk_tells_where_and_how_long_ago_it_failed() {
    let disk = disk().without(log(EXTENDED_SELF_TESTS, 0)).with(Ata::SmartReadData, [data(timed(0))]);
    let log = record(&[(0x01, 0x00, 70, 0), (0x02, 0x75, 50, 0x1234_5678), (0x02, 0x00, 9, 0)]);
    let told = drive().ask(&mut disk.with(SELF_TESTS, [data(log)]), ASK);
    let tests = tests_of(&told);
    let failed = PastTest {
        kind: TestKind::Extended,
        outcome: TestOutcome::Failed,
        power_on_hours: 50,
        age_hours: Some(27),
        failed_at_lba: Some(0x1234_5678),
    };
    assert_eq!((tests.now, tests.past.len()), (SelfTest::Passed, 2));
    assert_eq!((tests.past[0].kind, tests.past[0].age_hours), (TestKind::Short, Some(7)));
    assert_eq!(tests.standing_failure(), Some(failed), "a short test says nothing of the whole surface");
}

/// Its owner waits for the answer, and the disk turns anyway.
#[test]
fn parked_heads_are_moved_for_the_owner_only() {
    let parked = || disk().with(Ata::CheckPowerMode, [power_mode(0x82)]);
    assert_eq!(drive().ask(&mut parked(), DriveQuestions { self_tests: true, ..NOTHING }).self_tests, None);
    assert_eq!(newest_test(&drive().ask(&mut parked(), ASK)), Ok(SelfTest::Passed));
}

/// EDSTT in bytes 316 and 317 of Identify Controller, minutes; OACS bit 4 (NVMe 1.4 clause 5.15.2.2, from memory;
/// offsets as in linux/nvme.h).
#[test]
fn an_nvme_drive_begins_a_test_and_says_how_long_a_long_one_takes() {
    let mut able = vec![0; 4096];
    able[4..24].copy_from_slice(b"HERON-N1            ");
    able[256] = 0x10;
    able[316..318].copy_from_slice(&[45, 0]);
    let mut flash =
        super::nvme::flash().with(Nvme::IdentifyController, [data(able)]).with(Nvme::SelfTest(Extended), [done()]);
    let told = NvmeDrive::default().ask(&mut flash, wish(Extended));
    assert_eq!(told.step, Some(Ok(())));
    assert_eq!((tests_of(&told).short_minutes, tests_of(&told).extended_minutes), (None, Some(45)));
    assert!(flash.sent().contains(&Nvme::SelfTest(Extended).into()));

    let mut unable = super::nvme::flash().with(Nvme::SelfTest(Short), [done()]).without(Nvme::IdentifyController);
    let told = NvmeDrive::default().ask(&mut unable, wish(Short));
    assert_eq!(reason(&told.step.unwrap()), Some(Reason::NotAvailable), "who does not say that it can is not asked to");
    assert!(!unable.sent().contains(&Nvme::SelfTest(Short).into()));
}

/// Extended INQUIRY Data, bytes 10 and 11 (SPC-4 clause 7.8.7, from memory; `sg_vpd --page=ei` reads the same).
#[test]
fn a_scsi_drive_begins_a_test_and_is_asked_once_how_long_a_long_one_takes() {
    let inquiry = data([&[0, 0x86, 0, 0x3C][..], &[0; 6], &[0x01, 0x2C], &[0; 52]].concat());
    let mut drive =
        super::scsi::whole().with(Scsi::ExtendedInquiry, [inquiry]).with(Scsi::SelfTest(Extended), [done()]);
    let mut session = ScsiDrive::default();
    let told = session.ask(&mut drive, wish(Extended));
    assert_eq!((told.step.clone(), tests_of(&told).extended_minutes), (Some(Ok(())), Some(300)));
    assert!(drive.sent().contains(&Scsi::SelfTest(Extended).into()));
    session.ask(&mut drive, ASK);
    assert!(!drive.sent().contains(&Scsi::ExtendedInquiry.into()));

    let mut still = super::scsi::whole()
        .with(Scsi::RequestSense, [data(hex("70 00 02 00 00 00 00 0a 00 00 00 00 04 02 00 00 00 00"))])
        .with(Scsi::SelfTest(Short), [done()]);
    assert_eq!(ScsiDrive::default().ask(&mut still, wish(Short)), DriveAnswers::only(Ok(Power::Asleep)));
    assert_eq!(still.sent(), commands([Scsi::RequestSense]));

    let mut without_record = super::scsi::pretend().with(Scsi::SelfTest(Short), [done()]);
    let told = ScsiDrive::default().ask(&mut without_record, wish(Short));
    assert_eq!(reason(&told.step.unwrap()), Some(Reason::NotAvailable), "nobody would learn of the result");
}
