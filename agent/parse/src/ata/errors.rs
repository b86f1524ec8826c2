//! The error logs of an ATA drive: how many errors it has ever logged, and what the newest was. A drive logs what it
//! could not do for its host, so a growing number needs the kind of the newest before it says anything.

use crate::bytes::{array, byte, le16, summed_page};
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use traylight_data::reading::{ErrorKind, LoggedError};

/// Reads the summary error log, SMART log 01h: the count, and the newest error if there is one (FUJ table 5.18; HC580
/// tables 236 and 238).
pub fn summary(bytes: &[u8]) -> Result<(DecodedCounter, Option<LoggedError>), String> {
    const ROOM: u8 = 5;
    let page = summed_page(bytes)?;
    let [version, newest] = array::<2>(page, 0)?;
    if newest > ROOM {
        return Err(format!("expected error number at most {ROOM} in log version {version}, found {newest}"));
    }
    let count = DecodedCounter::new("logged_errors", le16(page, 452)?, CounterUnit::Count, CounterOrigin::AtaLog(0x01));
    let Some(slot) = newest.checked_sub(1) else { return Ok((count, None)) };
    // Five commands of 12 bytes each lead to the error.
    let [_, error, _, low, mid, high, device, status] = array(page, 2 + 90 * usize::from(slot) + 60)?;
    let hours = le16(page, 2 + 90 * usize::from(slot) + 88)?;
    let lba = u64::from(u32::from_le_bytes([low, mid, high, device & 0x0F]));
    Ok((count, Some(logged(error, status, lba, hours)?)))
}

/// The first page of the extended comprehensive error log, log 03h (HC580 table 124; K6610170 table 7.13).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Extended {
    /// How many errors the drive has logged in its life.
    pub count: DecodedCounter,
    /// Where the newest is: its page, counted from 0, and its place there.
    pub newest: Option<(u16, usize)>,
}

/// Reads the first page of a log that has so many.
pub fn extended(bytes: &[u8], pages: u16) -> Result<Extended, String> {
    let page = summed_page(bytes)?;
    let version = byte(page, 0)?;
    if version != 1 {
        return Err(format!("expected an error log of version 1, found {version}"));
    }
    let number = le16(page, 2)?;
    let newest = number.checked_sub(1).map(|slot| (slot / IN_A_PAGE, usize::from(slot % IN_A_PAGE)));
    if newest.is_some_and(|(page, _)| page >= pages) {
        return Err(format!(
            "expected error number at most {}, found {number}",
            u32::from(pages) * u32::from(IN_A_PAGE)
        ));
    }
    Ok(Extended {
        count: DecodedCounter::new("logged_errors", le16(page, 500)?, CounterUnit::Count, CounterOrigin::AtaLog(0x03)),
        newest,
    })
}

/// Errors that a page of the extended log holds.
const IN_A_PAGE: u16 = 4;

/// One error of a page of the extended log (7K200 table 75; the order of the LBA's bytes by ACS-3 A.7, from memory).
pub fn extended_entry(bytes: &[u8], slot: usize) -> Result<LoggedError, String> {
    let page = summed_page(bytes)?;
    // Five commands of 18 bytes each lead to the error.
    let at = 4 + 124 * slot + 90;
    let [_, error, _, _, a, d, b, e, c, f, _, status] = array(page, at)?;
    let lba = u64::from_le_bytes([a, b, c, d, e, f, 0, 0]);
    logged(error, status, lba, le16(page, at + 32)?)
}

/// By the ERROR and STATUS registers (ACS-3 clause 6.2, from memory; linux/ata.h).
fn logged(error: u8, status: u8, lba: u64, hours: u16) -> Result<LoggedError, String> {
    const DEVICE_FAULT: u8 = 0x20;
    const CRC: u8 = 0x80;
    const UNCORRECTABLE: u8 = 0x40;
    const NOT_FOUND: u8 = 0x10;
    const ABORTED: u8 = 0x04;
    if (error, status, lba, hours) == (0, 0, 0, 0) {
        return Err("expected the newest error at its place in the log, found an empty entry".to_owned());
    }
    let kind = match error {
        _ if status & DEVICE_FAULT != 0 => ErrorKind::Fault,
        _ if error & UNCORRECTABLE != 0 => ErrorKind::Unreadable,
        _ if error & CRC != 0 => ErrorKind::Transfer,
        _ if error & NOT_FOUND != 0 => ErrorKind::NotFound,
        _ if error & ABORTED != 0 => ErrorKind::Declined,
        _ => ErrorKind::Other,
    };
    let says_where = matches!(kind, ErrorKind::Unreadable | ErrorKind::NotFound);
    Ok(LoggedError { kind, lba: says_where.then_some(lba), power_on_hours: Some(hours.into()) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, hex, page, summed};
    use proptest::prelude::*;

    /// The log after 298 errors; the newest, number 3, is a sector that could not be read.
    fn summary_log() -> Vec<u8> {
        let error = hex("00 40 08 78 56 34 e2 51");
        summed(page(&[(0, &[1, 3]), (2 + 180 + 60, &error), (2 + 180 + 88, &[0x28, 0x23]), (452, &[0x2A, 0x01])]))
    }

    /// The last page of a log of two; error number 6 is the newest.
    fn extended_log() -> [Vec<u8>; 2] {
        let error = hex("00 40 08 00 01 04 02 05 03 06 40 51");
        let first = page(&[(0, &[1, 0, 6, 0]), (500, &[6, 0])]);
        let second = page(&[(4 + 124 + 90, &error), (4 + 124 + 122, &[0x10, 0x27])]);
        [summed(first), summed(second)]
    }

    #[test]
    fn the_summary_counts_and_shows_the_newest() {
        let (count, newest) = summary(&summary_log()).unwrap();
        assert_eq!((count.name, count.value), ("logged_errors", 298));
        let wanted = LoggedError { kind: ErrorKind::Unreadable, lba: Some(0x0234_5678), power_on_hours: Some(9_000) };
        assert_eq!(newest, Some(wanted));
        assert_eq!(summary(&summed(page(&[(0, &[1, 0])]))).unwrap().1, None, "no error was ever logged");
    }

    #[test]
    fn the_newest_error_of_the_extended_log_may_lie_on_a_later_page() {
        let [first, second] = extended_log();
        let log = extended(&first, 2).unwrap();
        assert_eq!((log.count.value, log.newest), (6, Some((1, 1))));
        let newest = extended_entry(&second, 1).unwrap();
        assert_eq!((newest.lba, newest.power_on_hours), (Some(0x0605_0403_0201), Some(10_000)));
        assert_eq!(extended(&summed(page(&[(0, &[1, 0]), (500, &[9, 0])])), 1).unwrap().newest, None);
    }

    #[test]
    fn each_kind_of_error_is_told_apart() {
        // ICRC comes with ABRT on drives (linux/drivers/ata/libata-scsi.c, `ata_to_sense_error`).
        let kind = |error, status| logged(error, status, 7, 1).unwrap();
        assert_eq!(kind(0x84, 0x51), LoggedError { kind: ErrorKind::Transfer, lba: None, power_on_hours: Some(1) });
        assert_eq!(kind(0x10, 0x51).kind, ErrorKind::NotFound);
        assert_eq!((kind(0x04, 0x51).kind, kind(0x04, 0x71).kind), (ErrorKind::Declined, ErrorKind::Fault));
        assert_eq!(kind(0x00, 0x51).kind, ErrorKind::Other);
    }

    #[test]
    fn a_log_that_contradicts_itself_is_refused() {
        let wrong = summed(page(&[(0, &[1, 9])]));
        assert_eq!(summary(&wrong), Err("expected error number at most 5 in log version 1, found 9".into()));
        let empty = "expected the newest error at its place in the log, found an empty entry";
        assert_eq!(summary(&summed(page(&[(0, &[1, 2])]))), Err(empty.into()));
        let [first, second] = extended_log();
        assert_eq!(extended(&first, 1), Err("expected error number at most 4, found 6".into()));
        assert_eq!(extended_entry(&second, 0), Err(empty.into()));
        let other = summed(page(&[(0, &[7])]));
        assert_eq!(extended(&other, 1), Err("expected an error log of version 1, found 7".into()));
        let mut damaged = summary_log();
        damaged[300] ^= 1;
        assert!(summary(&damaged).unwrap_err().starts_with("expected a page whose bytes add up to 00h"));
    }

    proptest! {
        #[test]
        fn whatever_comes_the_newest_error_is_in_the_log(
            bytes in prop_oneof![any_bytes(600), bent(summary_log()), bent(extended_log()[0].clone())],
            pages in 0..9_u16,
            slot in 0..9_usize,
        ) {
            if let Ok((count, _)) = summary(&bytes) {
                prop_assert!((0..=65_535).contains(&count.value));
            }
            if let Ok(log) = extended(&bytes, pages) {
                prop_assert!((0..=65_535).contains(&log.count.value));
                prop_assert!(log.newest.is_none_or(|(page, slot)| page < pages && slot < 4));
            }
            if let Ok(error) = extended_entry(&bytes, slot) {
                prop_assert!(error.lba.is_none_or(|lba| lba < 1 << 48));
            }
        }
    }
}
