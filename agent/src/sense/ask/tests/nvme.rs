//! Stories of an NVMe drive.

use super::*;
use crate::reading::{ErrorKind, LoggedError, OwnLimits, Power, SelfAssessment, SelfTest};
use crate::sense::ask::nvme::NvmeDrive;
use crate::units::Celsius;

const HEALTH_LOG: Nvme = Nvme::GetLog { log: 0x02, bytes: 512 };
const ERROR_LOG: Nvme = Nvme::GetLog { log: 0x01, bytes: 64 };
const SELF_TEST_LOG: Nvme = Nvme::GetLog { log: 0x06, bytes: 564 };

/// Identify Controller: name, whether it can test itself, and WCTEMP and CCTEMP of 343 K and 373 K, as the emulated
/// drive of the virtual machine states them.
fn controller(can_self_test: bool) -> Vec<u8> {
    let mut bytes = vec![0; 4096];
    bytes[4..24].copy_from_slice(b"HERON-N1            ");
    bytes[24..36].copy_from_slice(b"Songbird N50");
    bytes[256..258].copy_from_slice(&[if can_self_test { 0x1A } else { 0x0A }, 0x01]);
    bytes[266..270].copy_from_slice(&[0x57, 0x01, 0x75, 0x01]);
    bytes
}

/// The health log with this warning. The drive as a whole has 315 K, its eight sensors 300 K and more (NVMe 1.4 clause
/// 5.14.1.2, from memory; offsets as in linux/nvme.h).
fn health_log(warning: u8) -> Vec<u8> {
    let sensors: Vec<u8> = (300..308_u16).flat_map(u16::to_le_bytes).collect();
    page(&[(0, &[warning, 0x3B, 0x01, 100, 10, 3]), (112, &[41]), (128, &[0x28, 0x23]), (200, &sensors)])
}

/// The self-test log: what runs and how much is done, then tests of the past by their first byte.
fn self_test_log(running: [u8; 2], past: &[u8]) -> Vec<u8> {
    let mut log = vec![0; 564];
    log[..2].copy_from_slice(&running);
    for (slot, entry) in log[4..].chunks_mut(28).enumerate() {
        entry[0] = past.get(slot).copied().unwrap_or(0x0F);
    }
    log
}

pub(super) fn flash() -> Replay {
    Replay::new(Answering::Scsi)
        .with(Nvme::IdentifyController, [data(controller(true))])
        .with(HEALTH_LOG, [data(health_log(0))])
        .with(SELF_TEST_LOG, [data(self_test_log([0, 0], &[0x10]))])
        .with(ERROR_LOG, [data(error_log(0x0281))])
}

/// The newest entry of the error log, with this status.
fn error_log(status: u16) -> Vec<u8> {
    let mut entry = vec![0; 64];
    entry[0] = 9;
    entry[12..14].copy_from_slice(&(status << 1).to_le_bytes());
    entry[16..18].copy_from_slice(&[0x34, 0x12]);
    entry
}

fn ask(mut drive: Replay, wanted: DriveQuestions) -> DriveAnswers {
    NvmeDrive::default().ask(&mut drive, wanted)
}

#[test]
fn a_drive_tells_its_health_and_is_asked_who_it_is_once() {
    let (mut drive, mut session) = (flash(), NvmeDrive::default());
    let told = session.ask(&mut drive, ALL);
    assert_eq!(drive.sent(), commands([Nvme::IdentifyController, HEALTH_LOG, ERROR_LOG, SELF_TEST_LOG]));
    assert_eq!((&told.power, &told.temperature), (&Ok(Power::Active), &Some(Ok(Celsius(42.0)))), "not a sensor's");
    assert_eq!(told.own_limits, OwnLimits { maximum: Some(Celsius(70.0)), critical: Some(Celsius(100.0)) });
    let health = health(&told);
    assert_eq!((&health.assessment, newest_test(&told)), (&Ok(SelfAssessment::Passed), Ok(SelfTest::Passed)));
    assert_eq!((count(health, "power_on_hours"), count(health, "spare_percent")), (Some(9_000), Some(100)));
    assert_eq!(count(health, "written_bytes"), None, "zero units stand for not counted");
    assert_eq!(health.unread, []);

    let later = session.ask(&mut drive, WARMTH);
    assert_eq!(drive.sent(), commands([HEALTH_LOG]));
    assert_eq!((later.own_limits, later.health), (told.own_limits, None));
}

#[test]
fn a_drive_that_was_not_understood_is_asked_again_who_it_is() {
    let mut drive = flash().with(Nvme::IdentifyController, [data([0; 4096]), data(controller(true))]);
    let mut session = NvmeDrive::default();
    assert_eq!(session.ask(&mut drive, WARMTH).own_limits, OwnLimits::default());
    assert_eq!(session.ask(&mut drive, WARMTH).own_limits.maximum, Some(Celsius(70.0)));
}

/// The bits of the critical warning (NVMe 1.4 clause 5.14.1.2, from memory). Bit 1 speaks of heat or cold.
#[test]
fn too_warm_is_not_failing_but_every_other_warning_is() {
    let assessed =
        |bits| ask(flash().with(HEALTH_LOG, [data(health_log(bits))]), HEALTH).health.unwrap().assessment.unwrap();
    assert_eq!((assessed(0x00), assessed(0x02)), (SelfAssessment::Passed, SelfAssessment::Passed));
    for bits in [0x01, 0x04, 0x08, 0x10, 0x20, 0x06] {
        assert_eq!(assessed(bits), SelfAssessment::Failing, "{bits:02X}h");
    }
}

#[test]
fn the_newest_error_is_told_with_its_place() {
    let newest = |log: Answer| ask(flash().with(ERROR_LOG, [log]), HEALTH).health.unwrap().newest_error;
    let unreadable = LoggedError { kind: ErrorKind::Unreadable, lba: Some(0x1234), power_on_hours: None };
    assert_eq!(newest(data(error_log(0x0281))), Ok(Some(unreadable)));
    assert_eq!(newest(data([0; 64])), Ok(None));
    assert_eq!(
        (reason(&newest(refused())), reason(&newest(data([0xFF; 64])))),
        (Some(Reason::NotAvailable), Some(Reason::Unreadable))
    );
}

/// A chip may work above what a disk can have; how far is by its own word (CCTEMP, here 100 °C).
#[test]
fn a_temperature_that_cannot_be_true_is_said_and_not_shown() {
    let warmth = |kelvin: u16| {
        let [low, high] = kelvin.to_le_bytes();
        ask(flash().with(HEALTH_LOG, [data(page(&[(0, &[2, low, high]), (112, &[41])]))]), WARMTH).temperature.unwrap()
    };
    assert_eq!((warmth(373), warmth(383)), (Ok(Celsius(100.0)), Ok(Celsius(110.0))));
    let found = |kelvin| warmth(kelvin).unwrap_err().found.unwrap();
    assert_eq!(found(400), "expected -40 to 110 °C, found 127");
    assert_eq!(found(223), "expected -40 to 110 °C, found -50");
    assert_eq!(warmth(253), Ok(Celsius(-20.0)), "it is cold");
    assert_eq!(warmth(0), Err(WhyMissing::NoValidTemperature.into()));
}

#[test]
fn a_refused_log_is_a_reason_everywhere() {
    let told = ask(flash().without(HEALTH_LOG), ALL);
    assert_eq!(reason(told.temperature.as_ref().unwrap()), Some(Reason::NotAvailable));
    let health = health(&told);
    assert_eq!((reason(&health.assessment), health.counters.len()), (Some(Reason::NotAvailable), 0));
    let missing = Missing::from(WhyMissing::NotSupported).and_found("Aborted");
    assert_eq!(health.unread, [UnreadHealth { part: HealthPart::HealthLog, missing }]);
    assert_eq!(newest_test(&told), Ok(SelfTest::Passed), "that is another log");
}

#[test]
fn a_blank_log_is_unreadable_and_counts_nothing() {
    for blank in [vec![0; 512], vec![0xFF; 512], vec![0x01; 100]] {
        let told = ask(flash().with(HEALTH_LOG, [data(blank)]), ALL);
        assert_eq!(reason(told.temperature.as_ref().unwrap()), Some(Reason::Unreadable));
        let health = health(&told);
        assert_eq!((reason(&health.assessment), health.counters.len()), (Some(Reason::Unreadable), 0));
        assert_eq!(health.unread.len(), 1);
    }
}

#[test]
fn a_drive_that_does_not_answer_is_not_called_active() {
    let denied = || Err(Failure::Missing(Missing::from(WhyMissing::NeedsSysAdmin)));
    assert_eq!(reason(&ask(flash().with(HEALTH_LOG, [denied()]), ALL).power), Some(Reason::Refused));

    let mut silent = flash().with(Nvme::IdentifyController, [timed_out()]).with(HEALTH_LOG, [timed_out()]);
    let told = NvmeDrive::default().ask(&mut silent, ALL);
    assert_eq!(silent.sent(), commands([Nvme::IdentifyController]), "nothing more in that session");
    assert_eq!(reason(&told.power), Some(Reason::TimedOut));
    assert_eq!((told.health, told.broke_off.map(|why| why.reason)), (None, Some(Reason::TimedOut)));
}

/// OACS bit 4 says whether there are self-tests: the emulated drive of the virtual machine has none.
#[test]
fn a_drive_without_self_tests_is_not_asked_for_them() {
    let mut drive = flash().with(Nvme::IdentifyController, [data(controller(false))]);
    let told = NvmeDrive::default().ask(&mut drive, HEALTH);
    assert_eq!(drive.sent(), commands([Nvme::IdentifyController, HEALTH_LOG, ERROR_LOG]));
    assert_eq!(reason(&newest_test(&told)), Some(Reason::NotAvailable));
}

/// Results of NVMe 1.4 clause 5.14.1.6 (from memory); Fh is an entry that was never used.
#[test]
fn the_newest_self_test_is_told() {
    let newest = |log: Answer| newest_test(&ask(flash().with(SELF_TEST_LOG, [log]), HEALTH));
    let past = |first: u8| newest(data(self_test_log([0, 0], &[first, 0x10])));
    assert_eq!(newest(data(self_test_log([0, 0], &[]))), Ok(SelfTest::Never));
    assert_eq!((past(0x10), past(0x21)), (Ok(SelfTest::Passed), Ok(SelfTest::Ended)));
    assert_eq!(past(0x25), Ok(SelfTest::CouldNotFinish));
    assert_eq!((past(0x26), past(0x27)), (Ok(SelfTest::Failed), Ok(SelfTest::Failed)));
    let running = newest(data(self_test_log([2, 30], &[0x27])));
    assert_eq!(running, Ok(SelfTest::Running { remaining_percent: Some(70) }));
    assert_eq!(reason(&newest(refused())), Some(Reason::NotAvailable));
    assert_eq!(reason(&newest(data([0xFF; 564]))), Some(Reason::Unreadable));
}
