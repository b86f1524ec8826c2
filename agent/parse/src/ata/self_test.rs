//! What came of the tests that an ATA drive ran on itself: the status byte, and the two self-test logs. Starting one is
//! not done here.

use crate::bytes::{array, byte, le16, le32, le48, summed_page};

/// What came of a self-test (HC580 clause 12.55.2.4).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AtaTestOutcome {
    /// Ended without error. In the status of the drive it also stands for "never ran".
    Passed,
    /// The host ended it.
    AbortedByHost,
    /// A reset ended it.
    InterruptedByReset,
    /// The drive could not bring it to an end.
    CouldNotFinish,
    /// A part of the drive failed it.
    Failed(FailedPart),
    /// It runs.
    Running {
        /// How much is left, in steps of ten.
        remaining_percent: u8,
    },
    /// A value that no standard gives a meaning.
    Reserved(u8),
}

/// Which part of the drive failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FailedPart {
    /// The drive does not know.
    Unknown,
    /// The electronics.
    Electrical,
    /// Seeking.
    Servo,
    /// Reading.
    Read,
    /// It seems to have been dropped or knocked.
    Handling,
}

impl AtaTestOutcome {
    /// The meaning of the status byte: the code in the upper half, tenths left in the lower.
    pub fn from_status(status: u8) -> Self {
        match status >> 4 {
            0x0 => Self::Passed,
            0x1 => Self::AbortedByHost,
            0x2 => Self::InterruptedByReset,
            0x3 => Self::CouldNotFinish,
            0x4 => Self::Failed(FailedPart::Unknown),
            0x5 => Self::Failed(FailedPart::Electrical),
            0x6 => Self::Failed(FailedPart::Servo),
            0x7 => Self::Failed(FailedPart::Read),
            0x8 => Self::Failed(FailedPart::Handling),
            0xF => Self::Running { remaining_percent: (status & 0x0F).min(9) * 10 },
            code => Self::Reserved(code),
        }
    }
}

/// Which test it was (HC580 clause 12.55.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AtaTestKind {
    /// The off-line routine.
    Offline,
    /// Some minutes.
    Short,
    /// Hours: the whole medium.
    Extended,
    /// After a transport.
    Conveyance,
    /// Chosen parts of the medium.
    Selective,
    /// The maker's own, or not known.
    Other(u8),
}

impl AtaTestKind {
    /// The subcommand that started the test; with bit 7 set the drive did nothing else meanwhile.
    fn from_subcommand(subcommand: u8) -> Self {
        match subcommand & 0x7F {
            0x00 => Self::Offline,
            0x01 => Self::Short,
            0x02 => Self::Extended,
            0x03 => Self::Conveyance,
            0x04 => Self::Selective,
            _ => Self::Other(subcommand),
        }
    }
}

/// One test of the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AtaPastTest {
    /// Which test it was.
    pub kind: AtaTestKind,
    /// What came of it.
    pub outcome: AtaTestOutcome,
    /// Power-on hours when it ended; the count begins anew at 65,536.
    pub power_on_hours: u16,
    /// The first sector that failed, when one did.
    pub failed_at_lba: Option<u64>,
}

/// The SMART self-test log, log 06h: at most 21 tests, the newest first (60GXP figure 131).
pub fn log(bytes: &[u8]) -> Result<Vec<AtaPastTest>, String> {
    const ROOM: usize = 21;
    let page = summed_page(bytes)?;
    let newest = usize::from(byte(page, 508)?);
    let entry = |slot: usize| {
        let [subcommand, status, hours @ .., _checkpoint] = array::<5>(page, 2 + 24 * slot)?;
        let lba = u64::from(le32(page, 2 + 24 * slot + 5)?);
        Ok(entry(subcommand, status, u16::from_le_bytes(hours), lba, u64::from(u32::MAX)))
    };
    newest_first(newest, ROOM, entry)
}

/// Tests that a page of the extended log holds.
const IN_A_PAGE: usize = 18;

/// How many pages of the extended self-test log, from its first on, must be read to have the newest test among them.
pub fn pages_to_the_newest(first: &[u8]) -> Result<usize, String> {
    extended_newest(first).map(|newest| newest.div_ceil(IN_A_PAGE).max(1))
}

/// The extended self-test log, log 07h, its pages in order from the first (HC580 table 136): the tests of these pages,
/// the newest first.
pub fn extended_log(bytes: &[u8]) -> Result<Vec<AtaPastTest>, String> {
    let newest = extended_newest(bytes)?;
    let entry = |slot: usize| {
        let page = summed_page(bytes.get(slot / IN_A_PAGE * 512..).unwrap_or_default())?;
        let at = 4 + 26 * (slot % IN_A_PAGE);
        let [subcommand, status, hours @ .., _checkpoint] = array::<5>(page, at)?;
        Ok(entry(subcommand, status, u16::from_le_bytes(hours), le48(page, at + 5)?, (1 << 48) - 1))
    };
    newest_first(newest, bytes.len() / 512 * IN_A_PAGE, entry)
}

fn extended_newest(first: &[u8]) -> Result<usize, String> {
    let first = summed_page(first)?;
    let revision = byte(first, 0)?;
    if revision != 1 {
        return Err(format!("expected log revision 1, found {revision}"));
    }
    le16(first, 2).map(usize::from)
}

/// Walks a ring of slots backwards from the newest, counted from 1, until a slot was never used.
fn newest_first(
    newest: usize,
    room: usize,
    entry: impl Fn(usize) -> Result<Option<AtaPastTest>, String>,
) -> Result<Vec<AtaPastTest>, String> {
    if newest > room {
        return Err(format!("expected test number at most {room}, found {newest}"));
    }
    if newest == 0 {
        return Ok(Vec::new());
    }
    let mut entries = Vec::new();
    if entry(newest - 1)?.is_none() {
        return Err(format!("expected the newest self-test as number {newest}, found an empty entry"));
    }
    for back in 0..room {
        match entry((newest - 1 + room - back) % room)? {
            Some(entry) => entries.push(entry),
            None => break,
        }
    }
    Ok(entries)
}

/// `None` for a slot that was never used. `no_lba` is what stands for "no sector".
fn entry(subcommand: u8, status: u8, power_on_hours: u16, lba: u64, no_lba: u64) -> Option<AtaPastTest> {
    if subcommand == 0 && status == 0 && power_on_hours == 0 {
        return None;
    }
    let outcome = AtaTestOutcome::from_status(status);
    let has_failed = matches!(outcome, AtaTestOutcome::Failed(_));
    Some(AtaPastTest {
        kind: AtaTestKind::from_subcommand(subcommand),
        outcome,
        power_on_hours,
        failed_at_lba: (has_failed && lba != no_lba).then_some(lba),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, page, summed};
    use proptest::prelude::*;

    const PASSED_SHORT: [u8; 24] = [1, 0x00, 0x10, 0x27, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
    const FAILED_READ: [u8; 24] =
        [2, 0x75, 0x34, 0x12, 1, 0x78, 0x56, 0x34, 0x12, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];

    /// The log of a drive that passed a short test and then failed an extended one: the newest is in slot 2.
    fn two_tests() -> Vec<u8> {
        summed(page(&[(0, &[1, 0]), (2, &PASSED_SHORT), (26, &FAILED_READ), (508, &[2])]))
    }

    /// Two pages of the extended log; the newest test is number 20, the second of the second page.
    fn extended(newest: u16) -> Vec<u8> {
        let filler = [1, 0x00, 0x64, 0x00, 0, 0, 0, 0, 0, 0, 0];
        let mut first = page(&[(0, &[1, 0]), (2, &newest.to_le_bytes())]);
        for slot in 0..18 {
            first[4 + 26 * slot..][..11].copy_from_slice(&filler);
        }
        let failed = [2, 0x79, 0x65, 0x00, 0, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06];
        let second = page(&[(0, &[1, 0]), (4, &filler), (30, &failed)]);
        [summed(first), summed(second)].concat()
    }

    #[test]
    fn the_status_byte_by_the_table() {
        // HC580 clause 12.55.2.4 and HC310 "Self-Test Execution Status".
        assert_eq!(AtaTestOutcome::from_status(0x00), AtaTestOutcome::Passed);
        assert_eq!(AtaTestOutcome::from_status(0x10), AtaTestOutcome::AbortedByHost);
        assert_eq!(AtaTestOutcome::from_status(0x21), AtaTestOutcome::InterruptedByReset);
        assert_eq!(AtaTestOutcome::from_status(0x30), AtaTestOutcome::CouldNotFinish);
        assert_eq!(AtaTestOutcome::from_status(0x75), AtaTestOutcome::Failed(FailedPart::Read));
        assert_eq!(AtaTestOutcome::from_status(0xF4), AtaTestOutcome::Running { remaining_percent: 40 });
        assert_eq!(AtaTestOutcome::from_status(0x90), AtaTestOutcome::Reserved(9));
    }

    #[test]
    fn the_newest_test_comes_first() {
        let failed = AtaPastTest {
            kind: AtaTestKind::Extended,
            outcome: AtaTestOutcome::Failed(FailedPart::Read),
            power_on_hours: 0x1234,
            failed_at_lba: Some(0x1234_5678),
        };
        let passed = AtaPastTest {
            kind: AtaTestKind::Short,
            outcome: AtaTestOutcome::Passed,
            power_on_hours: 10_000,
            failed_at_lba: None,
        };
        assert_eq!(log(&two_tests()), Ok(vec![failed, passed]));
    }

    #[test]
    fn a_failure_without_a_place_has_none() {
        let mut electrical = FAILED_READ;
        electrical[1] = 0x50;
        electrical[5..9].fill(0xFF);
        let entries = log(&summed(page(&[(0, &[1, 0]), (2, &electrical), (508, &[1])]))).unwrap();
        assert_eq!(entries[0].outcome, AtaTestOutcome::Failed(FailedPart::Electrical));
        assert_eq!(entries[0].failed_at_lba, None);
    }

    #[test]
    fn the_ring_goes_round() {
        let mut full = page(&[(0, &[1, 0]), (508, &[3])]);
        for slot in 0..21_u8 {
            full[2 + 24 * usize::from(slot)..][..4].copy_from_slice(&[1, 0, slot, 1]);
        }
        let hours: Vec<u16> = log(&summed(full)).unwrap().iter().map(|entry| entry.power_on_hours - 256).collect();
        assert_eq!(hours.len(), 21);
        assert_eq!((hours[0], hours[2], hours[3], hours[20]), (2, 0, 20, 3));
    }

    #[test]
    fn a_drive_that_never_tested_itself_has_an_empty_log() {
        assert_eq!(log(&summed(page(&[(0, &[1, 0])]))), Ok(Vec::new()));
        assert_eq!(extended_log(&summed(page(&[(0, &[1, 0])]))), Ok(Vec::new()));
    }

    #[test]
    fn the_extended_log_goes_on_over_its_pages() {
        let entries = extended_log(&extended(20)).unwrap();
        assert_eq!((entries.len(), entries[0].failed_at_lba), (20, Some(0x0605_0403_0201)));
        assert_eq!((entries[0].kind, entries[0].power_on_hours), (AtaTestKind::Extended, 0x65));
        assert_eq!(pages_to_the_newest(&extended(20)), Ok(2));
        assert_eq!((pages_to_the_newest(&extended(18)), pages_to_the_newest(&extended(0))), (Ok(1), Ok(1)));
    }

    #[test]
    fn a_log_that_contradicts_itself_is_refused() {
        let wrong = summed(page(&[(0, &[1, 0]), (508, &[22])]));
        assert_eq!(log(&wrong), Err("expected test number at most 21, found 22".into()));
        let nothing = "expected the newest self-test as number 4, found an empty entry";
        assert_eq!(log(&summed(page(&[(0, &[1, 0]), (508, &[4])]))), Err(nothing.into()));
        assert_eq!(extended_log(&summed(page(&[(0, &[1, 0, 4, 0])]))), Err(nothing.into()));

        assert_eq!(extended_log(&extended(37)), Err("expected test number at most 36, found 37".into()));
        assert_eq!(extended_log(&extended(20)[..512]), Err("expected test number at most 18, found 20".into()));
        let other = summed(page(&[(0, &[2, 0])]));
        assert_eq!(extended_log(&other), Err("expected log revision 1, found 2".into()));
        let mut damaged = extended(20);
        damaged[600] ^= 1;
        assert!(extended_log(&damaged).unwrap_err().starts_with("expected a page whose bytes add up to 00h"));
    }

    proptest! {
        #[test]
        fn whatever_comes_no_log_outgrows_its_pages(
            one in prop_oneof![any_bytes(600), bent(two_tests())],
            two in prop_oneof![any_bytes(1_100), bent(extended(20))],
        ) {
            prop_assert!(log(&one).map_or(0, |entries| entries.len()) <= 21);
            prop_assert!(extended_log(&two).map_or(0, |entries| entries.len()) <= two.len() / 512 * 18);
        }
    }
}
