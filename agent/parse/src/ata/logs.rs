//! The smaller logs of an ATA drive: the directory of logs, and the SATA Phy event counters. Errors are in
//! [`super::errors`], self-tests in [`super::self_test`], statistics in [`super::statistics`].

use crate::bytes::{le16, page, summed_page};
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};

/// Which logs a drive has, and how long they are (log 00h; HC310 clause 11.51.4). The default has none.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Directory(Vec<u16>);

/// Reads the directory. General Purpose Logging and SMART have one each, of the same form.
pub fn directory(bytes: &[u8]) -> Result<Directory, String> {
    let page = page(bytes)?;
    let version = le16(page, 0)?;
    if version != 1 {
        return Err(format!("expected a log directory of version 0001h, found {version:04X}h"));
    }
    Ok(Directory(
        page.chunks_exact(2).map(|word| word.iter().rev().fold(0, |sum, &b| sum << 8 | u16::from(b))).collect(),
    ))
}

impl Directory {
    /// How many pages of 512 bytes a log has; 0 for one that is not there.
    pub fn pages(&self, log: u8) -> u16 {
        match log {
            0 => 1,
            log => self.0.get(usize::from(log)).copied().unwrap_or(0),
        }
    }
}

/// The SATA Phy event counters, log 11h (7K1000C clause 9.17.3.2, 5K320 clause 14.17.5). They begin anew at each
/// power-on. The makers' own are left out.
#[rustfmt::skip]
const PHY_EVENTS: &[(u16, &str)] = &[
    (0x001, "phy_command_crc_errors"),
    (0x002, "phy_data_errors"),
    (0x003, "phy_data_errors_to_host"),
    (0x004, "phy_data_errors_from_host"),
    (0x005, "phy_command_errors"),
    (0x006, "phy_command_errors_to_host"),
    (0x007, "phy_command_errors_from_host"),
    (0x008, "phy_command_retries_to_host"),
    (0x009, "phy_link_losses"),
    (0x00A, "phy_resets_by_host"),
    (0x00B, "phy_crc_errors_from_host"),
    (0x00D, "phy_other_errors_from_host"),
    (0x00F, "phy_data_crc_errors_from_host"),
    (0x010, "phy_data_other_errors_from_host"),
    (0x012, "phy_command_crc_errors_from_host"),
    (0x013, "phy_command_other_errors_from_host"),
];

/// Reads the SATA Phy event counters that the standard names.
pub fn phy_events(bytes: &[u8]) -> Result<Vec<DecodedCounter>, String> {
    const SUM_AT: usize = 511;
    let page = summed_page(bytes)?;
    let mut counters = Vec::new();
    let mut at = 4;
    while at + 2 <= SUM_AT {
        let identifier = le16(page, at)?;
        if identifier == 0 {
            break;
        }
        // Bits 14:12 are the length of the number in words.
        let length = usize::from(identifier >> 12 & 0x7) * 2;
        let value =
            page.get(at + 2..at + 2 + length).filter(|_| (2..=8).contains(&length) && at + 2 + length <= SUM_AT);
        let Some(value) = value else {
            return Err(format!(
                "expected a Phy event counter of 2 to 8 bytes within the page, found {length} bytes at {at}"
            ));
        };
        let value = value.iter().rev().fold(0_u64, |sum, &byte| sum << 8 | u64::from(byte));
        let is_standard = identifier & 0x8000 == 0;
        let number = identifier & 0x0FFF;
        if let Some(&(_, name)) = PHY_EVENTS.iter().find(|(known, _)| is_standard && *known == number) {
            counters.push(DecodedCounter::new(name, value, CounterUnit::Count, CounterOrigin::PhyEvent(number)));
        }
        at += 2 + length;
    }
    Ok(counters)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, hex, page, summed};
    use proptest::prelude::*;

    /// Counters of 2, 4 and 8 bytes, one of the maker's own between them.
    fn events() -> Vec<u8> {
        let counters = hex("01 10 03 00  0a 20 07 00 01 00  02 90 ff ff  09 40 02 00 00 00 00 00 00 00  00 00");
        summed(page(&[(4, &counters)]))
    }

    #[test]
    fn the_directory_tells_which_logs_there_are() {
        let bytes = page(&[(0, &[1, 0]), (2, &[1, 0]), (8, &[8, 0]), (0x11 * 2, &[1, 0]), (0x80 * 2, &[16, 0])]);
        let directory = directory(&bytes).unwrap();
        let pages = [0x00, 0x01, 0x02, 0x04, 0x11, 0x80, 0xFF].map(|log| directory.pages(log));
        assert_eq!(pages, [1, 1, 0, 8, 1, 16, 0]);
    }

    #[test]
    fn counters_of_the_cable_have_sizes_of_their_own() {
        let read: Vec<_> = phy_events(&events()).unwrap().iter().map(|event| (event.name, event.value)).collect();
        let wanted = [("phy_command_crc_errors", 3), ("phy_resets_by_host", 65_543), ("phy_link_losses", 2)];
        assert_eq!(read, wanted);
    }

    #[test]
    fn a_counter_that_leaves_the_page_is_refused() {
        let sizeless = summed(page(&[(4, &hex("01 00 03 00"))]));
        let wanted = "expected a Phy event counter of 2 to 8 bytes within the page, found 0 bytes at 4";
        assert_eq!(phy_events(&sizeless), Err(wanted.into()));
        let too_long = summed(page(&[(4, &hex("01 50 03 00"))]));
        let wanted = "expected a Phy event counter of 2 to 8 bytes within the page, found 10 bytes at 4";
        assert_eq!(phy_events(&too_long), Err(wanted.into()));
        // Counters of 2 bytes up to 508, then one more that would take the sum for its own.
        let mut full = page(&[]);
        for at in (4..508).step_by(4) {
            full[at..at + 4].copy_from_slice(&[0x01, 0x10, 0x01, 0x00]);
        }
        full[508..510].copy_from_slice(&[0x02, 0x10]);
        let wanted = "expected a Phy event counter of 2 to 8 bytes within the page, found 2 bytes at 508";
        assert_eq!(phy_events(&summed(full)), Err(wanted.into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_counters_are_known_ones(bytes in prop_oneof![any_bytes(600), bent(events())]) {
            for event in phy_events(&bytes).unwrap_or_default() {
                prop_assert!(event.value >= 0 && event.name.starts_with("phy_"));
            }
            if let Ok(directory) = directory(&bytes) {
                prop_assert_eq!(directory.pages(0), 1);
            }
        }
    }
}
