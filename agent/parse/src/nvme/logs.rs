//! The self-test log and the error log of an NVMe drive. Its health is in [`super::health`].

use crate::bytes::{array, byte, le16, le64, not_blank};
use traylight_data::reading::{ErrorKind, LoggedError};

/// The self-test log, 06h (NVMe 1.4 clause 5.14.1.6, from memory; fields as in the manual page nvme_st_result(2)).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NvmeTestLog {
    /// The test that runs, and how much of it is done in hundredths.
    pub running: Option<(NvmeTestKind, u8)>,
    /// The tests of the past, the newest first.
    pub past: Vec<NvmePastTest>,
}

/// Which test it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NvmeTestKind {
    /// Minutes.
    Short,
    /// As long as the drive states.
    Extended,
    /// The maker's own, or not known.
    Other(u8),
}

/// One test of the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NvmePastTest {
    /// Which test it was.
    pub kind: NvmeTestKind,
    /// What came of it.
    pub outcome: NvmeTestOutcome,
    /// Power-on hours when it ended.
    pub power_on_hours: u64,
    /// The sector that failed, when one did and the drive says which.
    pub failed_at_lba: Option<u64>,
}

/// What came of a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NvmeTestOutcome {
    /// Ended without error.
    Passed,
    /// A command, a reset, a format or the like ended it; the number is the code of the log.
    Ended(u8),
    /// The drive could not bring it to an end.
    CouldNotFinish,
    /// A part of the drive failed it.
    Failed,
    /// A value that no standard gives a meaning.
    Reserved(u8),
}

/// Reads the self-test log.
pub fn self_tests(bytes: &[u8]) -> Result<NvmeTestLog, String> {
    const ROOM: usize = 20;
    const UNUSED: u8 = 0xF;
    let log = array::<564>(bytes, 0)?;
    // Zeros are a log without a test on some drives, so only FFh is no answer.
    if log.iter().all(|&byte| byte == 0xFF) {
        not_blank(&log)?;
    }
    let running = match byte(&log, 0)? & 0x0F {
        0 => None,
        code => Some((NvmeTestKind::from_code(code), (byte(&log, 1)? & 0x7F).min(100))),
    };
    let mut past = Vec::new();
    for slot in 0..ROOM {
        let at = 4 + 28 * slot;
        let status = byte(&log, at)?;
        let is_empty = array::<28>(&log, at)? == [0; 28];
        if status & 0x0F == UNUSED || is_empty {
            continue;
        }
        let says_where = byte(&log, at + 2)? & 1 << 1 != 0;
        let outcome = NvmeTestOutcome::from_code(status & 0x0F);
        let lba = le64(&log, at + 16)?;
        past.push(NvmePastTest {
            kind: NvmeTestKind::from_code(status >> 4),
            outcome,
            power_on_hours: le64(&log, at + 4)?,
            failed_at_lba: (says_where && outcome == NvmeTestOutcome::Failed).then_some(lba),
        });
    }
    Ok(NvmeTestLog { running, past })
}

impl NvmeTestKind {
    fn from_code(code: u8) -> Self {
        match code {
            1 => Self::Short,
            2 => Self::Extended,
            other => Self::Other(other),
        }
    }
}

impl NvmeTestOutcome {
    fn from_code(code: u8) -> Self {
        match code {
            0 => Self::Passed,
            1..=4 | 8 | 9 => Self::Ended(code),
            5 => Self::CouldNotFinish,
            6 | 7 => Self::Failed,
            other => Self::Reserved(other),
        }
    }
}

/// The newest error from the error log, 01h, whose first entry it is (NVMe 1.4 clause 5.14.1.1, from memory); `None`
/// when none was ever logged. Commands that the drive does not know are logged too.
pub fn newest_error(bytes: &[u8]) -> Result<Option<LoggedError>, String> {
    let entry = array::<64>(bytes, 0)?;
    // Zeros are an entry that was never used, so only FFh is no answer.
    if entry.iter().all(|&byte| byte == 0xFF) {
        not_blank(&entry)?;
    }
    if le64(&entry, 0)? == 0 {
        return Ok(None);
    }
    // Bit 0 is the phase tag; above it are status code and status code type.
    let [code, code_type] = (le16(&entry, 12)? >> 1).to_le_bytes();
    // Codes of media and data integrity errors: linux/nvme.h, NVME_SC_WRITE_FAULT and on.
    let kind = match (code_type & 0x07, code) {
        (2, 0x80) => ErrorKind::Fault,
        (2, 0x81) => ErrorKind::Unreadable,
        (2, 0x82..=0x85) => ErrorKind::Protection,
        (0, 0x04) => ErrorKind::Transfer,
        (0, 0x06) => ErrorKind::Fault,
        (0, 0x80) => ErrorKind::NotFound,
        (0, 0x01 | 0x02 | 0x0B) | (1, _) => ErrorKind::Declined,
        _ => ErrorKind::Other,
    };
    let says_where = matches!(kind, ErrorKind::Unreadable | ErrorKind::Protection | ErrorKind::NotFound);
    let lba = le64(&entry, 16)?;
    Ok(Some(LoggedError { kind, lba: says_where.then_some(lba), power_on_hours: None }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent};
    use proptest::prelude::*;

    fn self_test_log() -> Vec<u8> {
        let mut log = vec![0; 564];
        log[..2].copy_from_slice(&[0x02, 37]);
        for slot in 0..20 {
            log[4 + 28 * slot] = 0x0F;
        }
        let mut failed = [0; 28];
        failed[..4].copy_from_slice(&[0x27, 3, 0x02, 0]);
        failed[4..12].copy_from_slice(&9_000_u64.to_le_bytes());
        failed[16..24].copy_from_slice(&0x1234_5678_u64.to_le_bytes());
        let mut passed = [0; 28];
        passed[0] = 0x10;
        passed[4..12].copy_from_slice(&8_000_u64.to_le_bytes());
        log[4..32].copy_from_slice(&failed);
        log[32..60].copy_from_slice(&passed);
        log
    }

    #[test]
    fn tests_of_the_past_come_newest_first() {
        let log = self_tests(&self_test_log()).unwrap();
        assert_eq!(log.running, Some((NvmeTestKind::Extended, 37)));
        let failed = NvmePastTest {
            kind: NvmeTestKind::Extended,
            outcome: NvmeTestOutcome::Failed,
            power_on_hours: 9_000,
            failed_at_lba: Some(0x1234_5678),
        };
        let passed = NvmePastTest {
            kind: NvmeTestKind::Short,
            outcome: NvmeTestOutcome::Passed,
            power_on_hours: 8_000,
            failed_at_lba: None,
        };
        assert_eq!(log.past, [failed, passed]);
    }

    #[test]
    fn a_drive_that_never_tested_itself_has_an_empty_log() {
        assert_eq!(self_tests(&[0; 564]), Ok(NvmeTestLog { running: None, past: Vec::new() }));
        assert_eq!(self_tests(&[0; 512]), Err("expected at least 564 bytes, found 512".into()));
        assert!(self_tests(&[0xFF; 564]).is_err());
    }

    #[test]
    fn a_place_is_told_only_when_the_drive_vouches_for_it() {
        let mut log = self_test_log();
        log[6] = 0x01;
        assert_eq!(self_tests(&log).unwrap().past[0].failed_at_lba, None);
    }

    /// An entry with this status, for sector 4660.
    fn error(status: u16) -> Vec<u8> {
        let mut entry = vec![0; 64];
        entry[0] = 9;
        entry[12..14].copy_from_slice(&(status << 1 | 1).to_le_bytes());
        entry[16..24].copy_from_slice(&4_660_u64.to_le_bytes());
        entry
    }

    /// Status codes: linux/nvme.h. 281h is an unrecovered read error, 4002h an invalid field with "do not retry".
    #[test]
    fn the_newest_error_tells_its_kind_and_place() {
        let newest = |status| newest_error(&error(status)).unwrap().unwrap();
        let unreadable = LoggedError { kind: ErrorKind::Unreadable, lba: Some(4_660), power_on_hours: None };
        assert_eq!(newest(0x0281), unreadable);
        assert_eq!(newest(0x4002), LoggedError { kind: ErrorKind::Declined, lba: None, power_on_hours: None });
        let kinds = [0x0280, 0x0282, 0x0004, 0x0080, 0x0109, 0x0371].map(|status| newest(status).kind);
        let wanted = [
            ErrorKind::Fault,
            ErrorKind::Protection,
            ErrorKind::Transfer,
            ErrorKind::NotFound,
            ErrorKind::Declined,
            ErrorKind::Other,
        ];
        assert_eq!(kinds, wanted);
    }

    #[test]
    fn an_error_log_may_be_empty_but_not_blank_nor_cut() {
        assert_eq!(newest_error(&[0; 64]), Ok(None));
        let blank = "expected an answer, found 64 bytes that are all FFh";
        assert_eq!(newest_error(&[0xFF; 64]), Err(blank.into()));
        assert_eq!(newest_error(&error(0x0281)[..63]), Err("expected at least 64 bytes, found 63".into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_no_log_outgrows_its_bytes(
            tests in prop_oneof![any_bytes(700), bent(self_test_log())],
            errors in prop_oneof![any_bytes(100), bent(error(0x0281))],
        ) {
            prop_assert!(newest_error(&errors).is_err() || errors.len() >= 64);
            if let Ok(log) = self_tests(&tests) {
                prop_assert!(log.past.len() <= 20);
                prop_assert!(log.running.is_none_or(|(_, done)| done <= 100));
            }
        }
    }
}
