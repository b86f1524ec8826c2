//! Device Statistics, log 04h: the counters whose meaning is standard for every maker. A statistic that the drive does
//! not support, or has no value for now, is left out, and so is a number of all ones: it stands for "not known".

use crate::bytes::{byte, le16, le64, page};
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use crate::temperature::{plausible, plausible_ever};

/// One statistic of the standard.
struct StatisticRow {
    page: u8,
    offset: u16,
    name: &'static str,
    width: Width,
    unit: CounterUnit,
}

/// How many bits of the field are the number.
#[derive(Clone, Copy)]
enum Width {
    U8,
    U16,
    U32,
    U48,
    /// Signed byte, a temperature now.
    Warmth,
    /// Signed byte, a temperature of the past or a limit.
    Extreme,
}

use CounterUnit::{Celsius, Count, Hours, Minutes, Percent, Sectors};
use Width::{Extreme, U8, U16, U32, U48, Warmth};

const fn row(page: u8, offset: u16, name: &'static str, width: Width, unit: CounterUnit) -> StatisticRow {
    StatisticRow { page, offset, name, width, unit }
}

/// ACS-4 clause 9.5. The offsets of pages 01h, 04h, 06h and 07h agree with the Intel SSD 730 specification, table 13,
/// those of 05h from 38h on with the Intel DC S3610 specification, page 26; the others are from memory.
#[rustfmt::skip]
const TABLE: &[StatisticRow] = &[
    row(0x01, 0x08, "power_on_resets",                    U32,     Count),
    row(0x01, 0x10, "power_on_hours",                     U32,     Hours),
    row(0x01, 0x18, "written_sectors",                    U48,     Sectors),
    row(0x01, 0x20, "write_commands",                     U48,     Count),
    row(0x01, 0x28, "read_sectors",                       U48,     Sectors),
    row(0x01, 0x30, "read_commands",                      U48,     Count),
    row(0x01, 0x40, "pending_errors",                     U32,     Count),
    row(0x01, 0x48, "workload_percent",                   U16,     Percent),
    row(0x02, 0x08, "free_falls",                         U32,     Count),
    row(0x02, 0x10, "shocks",                             U32,     Count),
    row(0x03, 0x08, "spindle_hours",                      U32,     Hours),
    row(0x03, 0x10, "head_flying_hours",                  U32,     Hours),
    row(0x03, 0x18, "load_cycles",                        U32,     Count),
    row(0x03, 0x20, "reallocated_logical_sectors",        U32,     Count),
    row(0x03, 0x28, "read_recovery_attempts",             U32,     Count),
    row(0x03, 0x30, "mechanical_start_failures",          U32,     Count),
    row(0x03, 0x38, "reallocation_candidate_sectors",     U32,     Count),
    row(0x03, 0x40, "emergency_unloads",                  U32,     Count),
    row(0x04, 0x08, "reported_uncorrectable_errors",      U32,     Count),
    row(0x04, 0x10, "resets_during_commands",             U32,     Count),
    row(0x04, 0x18, "physical_element_changes",           U32,     Count),
    row(0x05, 0x08, "temperature_c",                      Warmth,  Celsius),
    row(0x05, 0x10, "average_short_temperature_c",        Extreme, Celsius),
    row(0x05, 0x18, "average_long_temperature_c",         Extreme, Celsius),
    row(0x05, 0x20, "highest_temperature_c",              Extreme, Celsius),
    row(0x05, 0x28, "lowest_temperature_c",               Extreme, Celsius),
    row(0x05, 0x30, "highest_average_short_temperature_c", Extreme, Celsius),
    row(0x05, 0x38, "lowest_average_short_temperature_c", Extreme, Celsius),
    row(0x05, 0x40, "highest_average_long_temperature_c", Extreme, Celsius),
    row(0x05, 0x48, "lowest_average_long_temperature_c",  Extreme, Celsius),
    row(0x05, 0x50, "over_temperature_minutes",           U32,     Minutes),
    row(0x05, 0x58, "maximum_temperature_c",              Extreme, Celsius),
    row(0x05, 0x60, "under_temperature_minutes",          U32,     Minutes),
    row(0x05, 0x68, "minimum_temperature_c",              Extreme, Celsius),
    row(0x06, 0x08, "hardware_resets",                    U32,     Count),
    row(0x06, 0x10, "asynchronous_recoveries",            U32,     Count),
    row(0x06, 0x18, "interface_crc_errors",               U32,     Count),
    row(0x07, 0x08, "wear_used_percent",                  U8,      Percent),
];

const SUPPORTED_AND_VALID: u64 = 1 << 63 | 1 << 62;
const NORMALISED: u64 = 1 << 61;

/// The numbers of the pages that the drive has, from page 00h.
pub fn supported_pages(bytes: &[u8]) -> Result<Vec<u8>, String> {
    let page = statistics_page(bytes, 0)?;
    let count = usize::from(byte(page, 8)?);
    let pages = page.get(9..9 + count);
    pages.map(<[u8]>::to_vec).ok_or_else(|| format!("expected at most 503 pages in the list, found {count}"))
}

/// The statistics of one page, 01h to 07h.
///
/// # Errors
/// What was found instead of that page; a page that the drive does not have is all zeros.
pub fn counters(bytes: &[u8], number: u8) -> Result<Vec<DecodedCounter>, String> {
    let page = statistics_page(bytes, number)?;
    let mut counters = Vec::new();
    for row in TABLE.iter().filter(|row| row.page == number) {
        let field = le64(page, usize::from(row.offset))?;
        let is_stated = field & SUPPORTED_AND_VALID == SUPPORTED_AND_VALID;
        // A normalised number goes from good to bad and is no count; a share is one by nature.
        let is_plain = field & NORMALISED == 0 || row.unit == Percent;
        if let (true, true, Some(value)) = (is_stated, is_plain, number_of(field, row.width)) {
            let origin = CounterOrigin::Statistic { page: number, offset: row.offset };
            counters.push(DecodedCounter::new(row.name, value, row.unit, origin));
        }
    }
    Ok(counters)
}

/// Each page begins with a revision, 0001h, and its own number.
fn statistics_page(bytes: &[u8], number: u8) -> Result<&[u8; 512], String> {
    let page = page(bytes)?;
    let (revision, found) = (le16(page, 0)?, byte(page, 2)?);
    if revision != 1 {
        return Err(format!("expected statistics of revision 0001h, found {revision:04X}h"));
    }
    if found != number {
        return Err(format!("expected page {number:02X}h, found {found:02X}h"));
    }
    Ok(page)
}

fn number_of(field: u64, width: Width) -> Option<i64> {
    let signed = i64::from((field & 0xFF) as u8 as i8);
    let number = |bits: u32| {
        let ones = (1_u64 << bits) - 1;
        Some((field & ones) as i64).filter(|&number| number != ones as i64)
    };
    match width {
        U8 => number(8),
        U16 => number(16),
        U32 => number(32),
        U48 => number(48),
        Warmth => plausible(signed).map(|_| signed),
        Extreme => plausible_ever(signed).map(|_| signed),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent};
    use proptest::prelude::*;

    fn statistics(number: u8, fields: &[(usize, u64)]) -> Vec<u8> {
        let mut page = vec![0; 512];
        page[..3].copy_from_slice(&[1, 0, number]);
        for &(at, field) in fields {
            page[at..at + 8].copy_from_slice(&field.to_le_bytes());
        }
        page
    }

    fn named(page: &[u8], number: u8) -> Vec<(&'static str, i64)> {
        counters(page, number).unwrap().into_iter().map(|counter| (counter.name, counter.value)).collect()
    }

    const VALID: u64 = 0xC0 << 56;

    #[test]
    fn only_supported_and_valid_statistics_are_told() {
        let fields = [(0x08, VALID | 12), (0x10, 0x80 << 56 | 4_000), (0x18, 0x40 << 56 | 9), (0x20, 77)];
        assert_eq!(named(&statistics(1, &fields), 1), [("power_on_resets", 12)]);
    }

    #[test]
    fn numbers_have_their_own_width() {
        let garbage_above = 0x00AB_CDEF_0000_1F40 | VALID;
        let long = VALID | 0xFFFF_FFFF_FFFE;
        let read = named(&statistics(1, &[(0x10, garbage_above), (0x18, long)]), 1);
        assert_eq!(read, [("power_on_hours", 8_000), ("written_sectors", 0xFFFF_FFFF_FFFE)]);
    }

    #[test]
    fn temperatures_are_signed_and_must_be_possible() {
        let fields =
            [(0x08, VALID | 34), (0x20, VALID | 51), (0x28, VALID | 0xF6), (0x58, VALID | 60), (0x68, VALID | 0x80)];
        let wanted = [
            ("temperature_c", 34),
            ("highest_temperature_c", 51),
            ("lowest_temperature_c", -10),
            ("maximum_temperature_c", 60),
        ];
        assert_eq!(named(&statistics(5, &fields), 5), wanted);
        assert_eq!(named(&statistics(5, &[(0x08, VALID | 0x80)]), 5), []);
    }

    #[test]
    fn wear_may_go_beyond_the_end_and_is_a_share_by_nature() {
        // Intel SSD 730 table 13: 0 to 255, may pass 100.
        assert_eq!(named(&statistics(7, &[(0x08, 0xE0 << 56 | 112)]), 7), [("wear_used_percent", 112)]);
        assert_eq!(named(&statistics(4, &[(0x08, 0xE0 << 56 | 100)]), 4), []);
    }

    #[test]
    fn a_number_of_all_ones_is_not_known() {
        assert_eq!(named(&statistics(7, &[(0x08, 0xE0 << 56 | 0xFF)]), 7), [], "255 percent");
        let ones = VALID | 0xFFFF_FFFF_FFFF;
        assert_eq!(named(&statistics(1, &[(0x08, ones), (0x10, ones), (0x18, ones), (0x48, ones)]), 1), []);
    }

    #[test]
    fn a_page_must_be_the_one_that_was_asked_for() {
        let page = statistics(6, &[(0x18, VALID | 3)]);
        assert_eq!(named(&page, 6), [("interface_crc_errors", 3)]);
        assert_eq!(counters(&page, 1), Err("expected page 01h, found 06h".into()));
        // HC580 clause 12.21.3: a page that is not there comes as zeros.
        assert_eq!(counters(&[0; 512], 2), Err("expected an answer, found 512 bytes that are all 00h".into()));
        let revision = counters(&statistics(0, &[(0, 0x01_0002)]), 1);
        assert_eq!(revision, Err("expected statistics of revision 0001h, found 0002h".into()));
    }

    #[test]
    fn page_zero_lists_the_others() {
        let mut list = statistics(0, &[]);
        list[8..14].copy_from_slice(&[5, 0, 1, 3, 4, 5]);
        assert_eq!(supported_pages(&list), Ok(vec![0, 1, 3, 4, 5]));
    }

    #[test]
    fn the_table_is_in_order_and_on_boundaries() {
        assert!(TABLE.windows(2).all(|pair| (pair[0].page, pair[0].offset) < (pair[1].page, pair[1].offset)));
        assert!(TABLE.iter().all(|row| row.offset % 8 == 0 && row.offset > 0));
    }

    proptest! {
        #[test]
        fn whatever_comes_numbers_are_possible(
            number in 0_u8..9,
            noise in any_bytes(600),
            good in bent(statistics(5, &[(0x08, VALID | 34), (0x20, VALID | 51), (0x50, VALID | 8)])),
        ) {
            for page in [&noise, &good] {
                for counter in counters(page, number).unwrap_or_default() {
                    prop_assert!(counter.unit == Celsius || counter.value >= 0);
                    prop_assert!(counter.unit != Celsius || (-60..=125).contains(&counter.value));
                }
                prop_assert!(supported_pages(page).map_or(0, |pages| pages.len()) <= 255);
            }
        }
    }
}
