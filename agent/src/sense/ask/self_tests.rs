//! From what each kind of drive says of its self-tests to one way of saying it; and how long ago a test was, which the
//! drive tells by its own power-on hours.

use crate::reading::{PastTest, SelfTest, SelfTests, TestKind, TestOutcome};
use crate::sense::parse::{ata, nvme, scsi};

/// A record and a counter that were read one after the other, or by different rounding, may differ by so many hours.
const SLACK: u64 = 2;
/// An hour in 16 bits.
const WRAP: u64 = 1 << 16;

/// What an ATA drive tells: the status byte says what is now, its record what was.
pub fn ata(
    status: ata::self_test::AtaTestOutcome,
    record: &[ata::self_test::AtaPastTest],
    hours_now: Option<u64>,
    [short_minutes, extended_minutes]: [Option<u16>; 2],
) -> SelfTests {
    use ata::self_test::{AtaTestKind, AtaTestOutcome};
    let past = record.iter().filter_map(|entry| {
        let kind = match entry.kind {
            AtaTestKind::Short => TestKind::Short,
            AtaTestKind::Extended => TestKind::Extended,
            // No test: a collection of data that may take place at any time.
            AtaTestKind::Offline => return None,
            AtaTestKind::Conveyance | AtaTestKind::Selective | AtaTestKind::Other(_) => TestKind::Other,
        };
        let power_on_hours = u64::from(entry.power_on_hours);
        Some(PastTest {
            kind,
            outcome: outcome(ata_now(entry.outcome))?,
            power_on_hours,
            age_hours: hours_now.and_then(|now| age_of_wrapped(power_on_hours, now)),
            failed_at_lba: entry.failed_at_lba,
        })
    });
    let now = match status {
        // "Passed" in the status also stands for "never ran"; the record tells the two apart.
        AtaTestOutcome::Passed => record.first().map_or(SelfTest::Never, |entry| ata_now(entry.outcome)),
        other => ata_now(other),
    };
    SelfTests { now, past: SelfTests::worth_keeping(past), short_minutes, extended_minutes }
}

fn ata_now(outcome: ata::self_test::AtaTestOutcome) -> SelfTest {
    use ata::self_test::AtaTestOutcome;
    match outcome {
        AtaTestOutcome::Passed => SelfTest::Passed,
        AtaTestOutcome::AbortedByHost | AtaTestOutcome::InterruptedByReset | AtaTestOutcome::Reserved(_) => {
            SelfTest::Ended
        }
        AtaTestOutcome::CouldNotFinish => SelfTest::CouldNotFinish,
        AtaTestOutcome::Failed(_) => SelfTest::Failed,
        AtaTestOutcome::Running { remaining_percent } => {
            SelfTest::Running { remaining_percent: Some(remaining_percent) }
        }
    }
}

/// What an NVMe drive tells. How long a short test takes it never states.
pub fn nvme(log: &nvme::logs::NvmeTestLog, hours_now: Option<u64>, extended_minutes: Option<u16>) -> SelfTests {
    use nvme::logs::{NvmeTestKind, NvmeTestOutcome};
    let now = |outcome| match outcome {
        NvmeTestOutcome::Passed => SelfTest::Passed,
        NvmeTestOutcome::Ended(_) | NvmeTestOutcome::Reserved(_) => SelfTest::Ended,
        NvmeTestOutcome::CouldNotFinish => SelfTest::CouldNotFinish,
        NvmeTestOutcome::Failed => SelfTest::Failed,
    };
    let past = log.past.iter().filter_map(|test| {
        Some(PastTest {
            kind: match test.kind {
                NvmeTestKind::Short => TestKind::Short,
                NvmeTestKind::Extended => TestKind::Extended,
                NvmeTestKind::Other(_) => TestKind::Other,
            },
            outcome: outcome(now(test.outcome))?,
            power_on_hours: test.power_on_hours,
            age_hours: hours_now.and_then(|now| age(test.power_on_hours, now)),
            failed_at_lba: test.failed_at_lba,
        })
    });
    let past = SelfTests::worth_keeping(past);
    let newest = || log.past.first().map_or(SelfTest::Never, |test| now(test.outcome));
    let now = log
        .running
        .map_or_else(newest, |(_, done)| SelfTest::Running { remaining_percent: Some(100_u8.saturating_sub(done)) });
    SelfTests { now, past, short_minutes: None, extended_minutes }
}

/// What a SCSI drive tells. A test that runs stands first in its record.
pub fn scsi(record: &[scsi::errors::ScsiPastTest], hours_now: Option<u64>, extended_minutes: Option<u16>) -> SelfTests {
    use scsi::errors::{ScsiTestKind, ScsiTestOutcome};
    let now = |outcome| match outcome {
        ScsiTestOutcome::Passed => SelfTest::Passed,
        ScsiTestOutcome::Aborted | ScsiTestOutcome::Reserved(_) => SelfTest::Ended,
        ScsiTestOutcome::CouldNotFinish => SelfTest::CouldNotFinish,
        ScsiTestOutcome::Failed => SelfTest::Failed,
        ScsiTestOutcome::Running => SelfTest::Running { remaining_percent: None },
    };
    let past = record.iter().filter_map(|test| {
        let power_on_hours = u64::from(test.power_on_hours);
        Some(PastTest {
            kind: match test.kind {
                ScsiTestKind::Short => TestKind::Short,
                ScsiTestKind::Extended => TestKind::Extended,
                ScsiTestKind::Default | ScsiTestKind::Reserved(_) => TestKind::Other,
            },
            outcome: outcome(now(test.outcome))?,
            power_on_hours,
            // These hours stop at the end of their field, and then tell nothing.
            age_hours: hours_now.filter(|_| power_on_hours < WRAP - 1).and_then(|now| age(power_on_hours, now)),
            failed_at_lba: test.failed_at_lba,
        })
    });
    let past = SelfTests::worth_keeping(past);
    let now = record.first().map_or(SelfTest::Never, |test| now(test.outcome));
    SelfTests { now, past, short_minutes: None, extended_minutes }
}

/// `None` for a test that still runs: it is not of the past.
fn outcome(test: SelfTest) -> Option<TestOutcome> {
    match test {
        SelfTest::Passed => Some(TestOutcome::Passed),
        SelfTest::Ended => Some(TestOutcome::Ended),
        SelfTest::CouldNotFinish => Some(TestOutcome::CouldNotFinish),
        SelfTest::Failed => Some(TestOutcome::Failed),
        SelfTest::Never | SelfTest::Running { .. } => None,
    }
}

/// How long ago `then` was; `None` when it lies ahead: one of the two cannot be true.
fn age(then: u64, now: u64) -> Option<u64> {
    (then <= now + SLACK).then(|| now.saturating_sub(then))
}

/// The same for a record whose hours begin anew at 65,536.
fn age_of_wrapped(then: u64, now: u64) -> Option<u64> {
    if now + SLACK < WRAP {
        return age(then, now);
    }
    let since = (now % WRAP + WRAP - then) % WRAP;
    Some(if since >= WRAP - SLACK { 0 } else { since })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_test_was_so_long_ago_as_the_drive_has_run_since() {
        assert_eq!((age(9_000, 9_860), age(9_861, 9_860)), (Some(860), Some(0)), "a rounding is not the future");
        assert_eq!(age(4_660, 1), None, "QEMU's drive: tests at hour 1234h, and one hour on the clock");
        // The field has 16 bits (HC580 clause 12.55.1.3; the field's end from its width).
        assert_eq!(age_of_wrapped(65_000, 65_600), Some(600));
        assert_eq!(age_of_wrapped(10, 65_546), Some(0));
        assert_eq!(age_of_wrapped(11, 65_546), Some(0), "nor is it here");
        assert_eq!(age_of_wrapped(0, 65_000), Some(65_000));
        assert_eq!(age_of_wrapped(4_660, 1), None);
    }

    #[test]
    fn hours_that_stopped_tell_no_age() {
        use scsi::errors::{ScsiTestKind, ScsiTestOutcome};
        let test = |power_on_hours| scsi::errors::ScsiPastTest {
            kind: ScsiTestKind::Extended,
            outcome: ScsiTestOutcome::Passed,
            power_on_hours,
            failed_at_lba: None,
        };
        let told = |hours| scsi(&[test(hours)], Some(80_000), None).past[0].age_hours;
        assert_eq!((told(60_000), told(65_535)), (Some(20_000), None));
    }

    proptest! {
        #[test]
        fn whatever_the_hours_no_age_is_beyond_them(then in 0..WRAP, now in 0..10 * WRAP) {
            prop_assert!(age_of_wrapped(then, now).is_none_or(|age| age <= now));
            prop_assert!(age(then, now).is_none_or(|age| age <= now));
        }
    }
}
