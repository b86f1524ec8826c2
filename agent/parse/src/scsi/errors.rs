//! What a SCSI drive has counted and found wrong: error counters, self-tests, the background scan, and the phys of its
//! SAS ports. The other log pages are in [`super::logs`].

use super::logs::log_page;
use crate::bytes::{be16, be32, be64, byte};
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};

/// Reads an error counter page: 02h for writing, 03h for reading, 05h for verifying (SPC-4 clause 7.3.8, from memory).
///
/// # Errors
/// What was found instead of the page, or a page that is none of the three.
pub fn error_counters(bytes: &[u8], code: u8) -> Result<Vec<DecodedCounter>, String> {
    let [corrected, processed, uncorrected] = match code {
        0x02 => ["write_corrected_errors", "written_bytes", "write_uncorrected_errors"],
        0x03 => ["read_corrected_errors", "read_bytes", "read_uncorrected_errors"],
        0x05 => ["verify_corrected_errors", "verified_bytes", "verify_uncorrected_errors"],
        _ => return Err(format!("expected log page 02h, 03h or 05h, found {code:02X}h")),
    };
    log_page(bytes, code)?.counters(&[
        (3, corrected, CounterUnit::Count),
        (5, processed, CounterUnit::Bytes),
        (6, uncorrected, CounterUnit::Count),
    ])
}

/// One self-test of the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScsiPastTest {
    /// Which test it was.
    pub kind: ScsiTestKind,
    /// What came of it.
    pub outcome: ScsiTestOutcome,
    /// Power-on hours when it ended; stops at 65,535.
    pub power_on_hours: u16,
    /// The first block that failed, when one did and the drive says which.
    pub failed_at_lba: Option<u64>,
}

/// Which test it was. A test that blocks the drive counts as one that does not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScsiTestKind {
    /// The one that any SEND DIAGNOSTIC runs.
    Default,
    /// Minutes.
    Short,
    /// Hours: the whole medium.
    Extended,
    /// A value that no standard gives a meaning.
    Reserved(u8),
}

/// What came of a self-test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScsiTestOutcome {
    /// Ended without error.
    Passed,
    /// The host ended it, or a reset did.
    Aborted,
    /// The drive could not bring it to an end.
    CouldNotFinish,
    /// A part of the drive failed it.
    Failed,
    /// It runs.
    Running,
    /// A value that no standard gives a meaning.
    Reserved(u8),
}

/// Reads the self-test results page, 10h: at most 20 tests, the newest first (SPC-4 clause 7.3.21, from memory).
pub fn self_tests(bytes: &[u8]) -> Result<Vec<ScsiPastTest>, String> {
    let mut tests = Vec::new();
    for (number, value) in log_page(bytes, 0x10)?.parameters().filter(|(number, _)| (1..=20).contains(number)) {
        if value.len() < 16 {
            return Err(format!("expected 16 bytes of self-test {number}, found {}", value.len()));
        }
        // A parameter of zeros is one that was never used.
        if value.iter().all(|&byte| byte == 0) {
            continue;
        }
        let first = byte(value, 0)?;
        let outcome = match first & 0x0F {
            0x0 => ScsiTestOutcome::Passed,
            0x1 | 0x2 => ScsiTestOutcome::Aborted,
            0x3 => ScsiTestOutcome::CouldNotFinish,
            0x4..=0x7 => ScsiTestOutcome::Failed,
            0xF => ScsiTestOutcome::Running,
            other => ScsiTestOutcome::Reserved(other),
        };
        let kind = match first >> 5 {
            0 => ScsiTestKind::Default,
            1 | 5 => ScsiTestKind::Short,
            2 | 6 => ScsiTestKind::Extended,
            other => ScsiTestKind::Reserved(other),
        };
        let lba = Some(be64(value, 4)?).filter(|&lba| outcome == ScsiTestOutcome::Failed && lba != u64::MAX);
        tests.push(ScsiPastTest { kind, outcome, power_on_hours: be16(value, 2)?, failed_at_lba: lba });
    }
    Ok(tests)
}

/// What the drive's scan of its own medium found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackgroundScan {
    /// How long the drive was switched on, in minutes.
    pub power_on_minutes: u32,
    /// What the scan does; 0 is idle, 1 and 2 are scanning, others say why it stopped.
    pub status: u8,
    /// How much is done, 0 to 65,535 for the whole.
    pub progress: u16,
    /// The blocks it found wrong.
    pub found: Vec<BadBlock>,
}

/// A block that the scan found wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BadBlock {
    /// Which.
    pub lba: u64,
    /// True when the drive could write it again or put another in its place.
    pub is_mended: bool,
    /// Sense key, code and qualifier.
    pub sense: [u8; 3],
}

/// Reads the background scan page, 15h (Seagate SCSI Commands Reference, clause 5.2.4; HGST C15K600 tables 113, 114).
pub fn scan(bytes: &[u8]) -> Result<BackgroundScan, String> {
    let page = log_page(bytes, 0x15)?;
    let Some(status) = page.parameter(0) else { return Err("expected parameter 0000h, found none".to_owned()) };
    let mut found = Vec::new();
    for (_, value) in page.parameters().filter(|(number, _)| (1..=0x0800).contains(number)) {
        let first = byte(value, 4)?;
        found.push(BadBlock {
            lba: be64(value, 12)?,
            // 5h was written again, 6h was replaced.
            is_mended: matches!(first >> 4, 5 | 6),
            sense: [first & 0x0F, byte(value, 5)?, byte(value, 6)?],
        });
    }
    Ok(BackgroundScan {
        power_on_minutes: be32(status, 0)?,
        status: byte(status, 5)?,
        progress: be16(status, 8)?,
        found,
    })
}

/// Reads the errors of all SAS phys, page 18h, added up over ports and phys (HGST C15K600 tables 115 to 117).
///
/// # Errors
/// What was found instead of the page, or ports that are not SAS.
pub fn phy_errors(bytes: &[u8]) -> Result<Vec<DecodedCounter>, String> {
    const SAS: u8 = 6;
    const NAMES: [&str; 4] =
        ["phy_invalid_words", "phy_disparity_errors", "phy_synchronisation_losses", "phy_reset_problems"];
    let mut sums = [0_u64; 4];
    for (port, value) in log_page(bytes, 0x18)?.parameters() {
        let protocol = byte(value, 0)? & 0x0F;
        if protocol != SAS {
            return Err(format!("expected protocol 6h, found {protocol:X}h at port {port}"));
        }
        let mut rest = value.get(4..).unwrap_or_default();
        for _ in 0..byte(value, 3)? {
            for (index, sum) in sums.iter_mut().enumerate() {
                *sum = sum.saturating_add(be32(rest, 32 + 4 * index)?.into());
            }
            // Drives of before SAS-2 leave the length at 0; their descriptors have 48 bytes.
            let length = match byte(rest, 3)? {
                0 => 48,
                length => usize::from(length) + 4,
            };
            rest = rest.get(length..).unwrap_or_default();
        }
    }
    let counter = |(name, sum)| DecodedCounter::new(name, sum, CounterUnit::Count, CounterOrigin::ScsiLog(0x18));
    Ok(NAMES.into_iter().zip(sums).map(counter).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, hex};
    use proptest::prelude::*;

    const READING: &str = "03 00 00 1c 00 03 03 04 00 00 00 07 00 05 03 08 00 00 00 00 12 34 56 78 00 06 03 04 \
        00 00 00 05";
    const TESTS: &str = "10 00 00 3c \
        00 01 03 10 27 01 12 34 00 00 00 00 00 01 02 03 03 11 00 00 \
        00 02 03 10 40 01 12 33 00 00 00 00 00 00 00 09 00 00 00 00 \
        00 03 03 10 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00";
    const SCAN: &str = "15 00 00 28 00 00 03 0c 00 01 00 00 00 01 00 05 80 00 00 05 \
        00 01 03 14 00 00 ff 00 53 11 00 00 00 00 00 00 00 00 00 00 00 01 23 45";

    /// A port with one phy whose descriptor is as long as in SAS-2, and one with two of the older form.
    fn phys() -> Vec<u8> {
        let mut page = hex("18 00 00 a0");
        for (port, phys, length) in [(1, 1, 44), (2, 2, 0)] {
            let mut descriptor = [0; 48];
            descriptor[3] = length;
            for (index, count) in [3, 4, 5, 6].into_iter().enumerate() {
                descriptor[32 + 4 * index + 3] = count;
            }
            page.extend([0, port, 3, 4 + 48 * phys, 6, 0, 0, phys]);
            page.extend(descriptor.repeat(usize::from(phys)));
        }
        page
    }

    #[test]
    fn errors_are_told_by_what_the_drive_was_doing() {
        let read: Vec<_> = error_counters(&hex(READING), 3).unwrap().iter().map(|c| (c.name, c.value)).collect();
        let wanted = [("read_corrected_errors", 7), ("read_bytes", 0x1234_5678), ("read_uncorrected_errors", 5)];
        assert_eq!(read, wanted);
        assert_eq!(error_counters(&hex(READING), 2), Err("expected log page 02h/00h, found 03h/00h".into()));
        assert_eq!(error_counters(&hex(READING), 4), Err("expected log page 02h, 03h or 05h, found 04h".into()));
    }

    #[test]
    fn tests_of_the_past_come_newest_first() {
        let failed = ScsiPastTest {
            kind: ScsiTestKind::Short,
            outcome: ScsiTestOutcome::Failed,
            power_on_hours: 0x1234,
            failed_at_lba: Some(0x01_0203),
        };
        let passed = ScsiPastTest {
            kind: ScsiTestKind::Extended,
            outcome: ScsiTestOutcome::Passed,
            power_on_hours: 0x1233,
            failed_at_lba: None,
        };
        assert_eq!(self_tests(&hex(TESTS)), Ok(vec![failed, passed]));
        let nowhere = hex(&TESTS.replace("00 00 00 00 00 01 02 03", "ff ff ff ff ff ff ff ff"));
        assert_eq!(self_tests(&nowhere).unwrap()[0].failed_at_lba, None);
        let short = hex("10 00 00 06 00 01 03 02 27 01");
        assert_eq!(self_tests(&short), Err("expected 16 bytes of self-test 1, found 2".into()));
    }

    #[test]
    fn the_scan_tells_what_it_found() {
        let scan = scan(&hex(SCAN)).unwrap();
        assert_eq!((scan.power_on_minutes, scan.status, scan.progress), (65_536, 1, 0x8000));
        assert_eq!(scan.found, [BadBlock { lba: 0x1_2345, is_mended: true, sense: [3, 0x11, 0] }]);
        assert!(super::scan(&hex("15 00 00 04 00 00 03 00")).is_err());
    }

    #[test]
    fn errors_of_all_phys_are_added_up() {
        let read: Vec<_> = phy_errors(&phys()).unwrap().iter().map(|c| (c.name, c.value)).collect();
        let wanted = [
            ("phy_invalid_words", 9),
            ("phy_disparity_errors", 12),
            ("phy_synchronisation_losses", 15),
            ("phy_reset_problems", 18),
        ];
        assert_eq!(read, wanted);
        let fibre = hex("18 00 00 08 00 01 03 04 00 00 00 00");
        assert_eq!(phy_errors(&fibre), Err("expected protocol 6h, found 0h at port 1".into()));
        let mut more = phys();
        more[11] = 2;
        assert_eq!(phy_errors(&more), Err("expected at least 36 bytes, found 0".into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_nothing_outgrows_its_page(
            bytes in prop_oneof![any_bytes(120), bent(hex(READING)), bent(hex(TESTS)), bent(hex(SCAN)), bent(phys())],
        ) {
            for code in [2, 3, 5] {
                prop_assert!(error_counters(&bytes, code).unwrap_or_default().len() <= 3);
            }
            prop_assert!(self_tests(&bytes).unwrap_or_default().len() <= bytes.len() / 20);
            prop_assert!(scan(&bytes).map_or(0, |scan| scan.found.len()) <= bytes.len() / 24);
            prop_assert!(phy_errors(&bytes).unwrap_or_default().iter().all(|counter| counter.value >= 0));
        }
    }
}
