//! What the raw bytes of SMART attributes count. The makers differ, so the differences are a table; what is in no row
//! is not shown. Whether a number is good or bad is not said here.
//!
//! Left out on purpose: 1, 7, 195 and 200, whose raw bytes mean something else with every maker, and 3, whose bytes
//! some makers fill with averages.

use super::smart::Attribute;
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use crate::temperature::plausible;

/// One row of the table.
struct AttributeRow {
    /// Number of the attribute.
    id: u8,
    /// Beginnings of the models that it is true for; none means every drive that has no row of its own.
    makers: &'static [&'static str],
    /// Name of the counter.
    name: &'static str,
    /// Where in the attribute its number is.
    field: Field,
    /// What it counts in.
    unit: CounterUnit,
}

/// Where in an attribute its number is. Raw bytes count from the least significant.
#[derive(Clone, Copy)]
enum Field {
    /// Raw byte 0, a temperature.
    Warmth,
    /// Raw bytes 0 and 1.
    Low16,
    /// Raw bytes 0 to 3.
    Low32,
    /// Raw bytes 0 to 3, or 0 and 1 where the others hold something else and the number would be absurd.
    Low32Or16,
    /// All six raw bytes, times this.
    Times(u64),
    /// The normalised value itself, 1 to 100.
    Value,
    /// What the normalised value lacks to 100.
    ValueUsed,
    /// This maker counts in a unit that cannot be told.
    Unclear,
}

use CounterUnit::{Bytes, Celsius, Count, Hours, Percent};
use Field::{Low16, Low32, Low32Or16, Times, Unclear, Value, ValueUsed, Warmth};

const ANY: &[&str] = &[];
const HGST: &[&str] = &["HGST", "HUS", "HUH", "HDS", "HDT", "HTS", "HTE", "Hitachi", "HITACHI"];
const INTEL: &[&str] = &["INTEL SSD"];
const KINGSTON: &[&str] = &["KINGSTON"];
const MICRON: &[&str] = &["Micron_", "MICRON_", "Crucial_", "CT1", "CT2", "CT4", "CT5", "CT6", "CT7", "CT9"];
/// Drives of these lines count minutes or seconds in 9 (from memory).
const ODD_CLOCKS: &[&str] = &["MAXTOR", "Maxtor", "FUJITSU", "SAMSUNG SP", "SAMSUNG SV"];
const SAMSUNG_FLASH: &[&str] = &["Samsung SSD", "SAMSUNG SSD", "SAMSUNG MZ"];
const SEAGATE: &[&str] = &["Seagate", "SEAGATE", "ST1", "ST2", "ST3", "ST4", "ST5", "ST6", "ST7", "ST8", "ST9"];
const WD: &[&str] = &["WDC ", "WD "];

/// A unit of 65,536 sectors (Intel DC S3500 product specification, page 23).
const UNIT_32_MIB: u64 = 65_536 * 512;
/// More hours than any drive has lived, twenty years: then the unit is another.
const MOST_HOURS: i64 = 175_000;
/// More reallocated sectors than any drive has spares for.
const MOST_SECTORS: i64 = 1_000_000;

const fn row(
    id: u8,
    makers: &'static [&'static str],
    name: &'static str,
    field: Field,
    unit: CounterUnit,
) -> AttributeRow {
    AttributeRow { id, makers, name, field, unit }
}

/// Sources: Samsung Spinpoint M8 manual, Micron TN-FD-22, Intel product specifications for the SSD 530, 730, DC S3500
/// and DC S3610, Samsung MZMPC data sheet, Linux drivers/hwmon/drivetemp.c. The rows of Kingston, HGST 5 and 22, and
/// what is said of 183, 188 and 193 for disks, are from memory.
#[rustfmt::skip]
const TABLE: &[AttributeRow] = &[
    row(  4, ANY,           "start_stop_cycles",             Low32,              Count),
    row(  5, ANY,           "reallocated_sectors",           Low32,              Count),
    row(  5, HGST,          "reallocated_sectors",           Low32Or16,          Count),
    row(  5, INTEL,         "retired_blocks",                Low32,              Count),
    row(  5, MICRON,        "retired_blocks",                Low32,              Count),
    row(  9, ANY,           "power_on_hours",                Low32,              Hours),
    row(  9, ODD_CLOCKS,    "power_on_hours",                Unclear,            Hours),
    row( 10, ANY,           "spin_retries",                  Low16,              Count),
    row( 12, ANY,           "power_cycles",                  Low32,              Count),
    row( 22, HGST,          "helium_percent",                Value,              Percent),
    row( 22, WD,            "helium_percent",                Value,              Percent),
    row(174, INTEL,         "unsafe_shutdowns",              Low32,              Count),
    row(174, MICRON,        "unsafe_shutdowns",              Low32,              Count),
    row(177, SAMSUNG_FLASH, "average_erase_cycles",          Low32,              Count),
    row(177, SAMSUNG_FLASH, "wear_used_percent",             ValueUsed,          Percent),
    row(183, SAMSUNG_FLASH, "runtime_bad_blocks",            Low32,              Count),
    row(183, INTEL,         "interface_downshifts",          Low32,              Count),
    row(183, MICRON,        "interface_downshifts",          Low32,              Count),
    row(183, SEAGATE,       "interface_downshifts",          Low32,              Count),
    row(183, WD,            "interface_downshifts",          Low32,              Count),
    row(184, INTEL,         "end_to_end_errors",             Low32,              Count),
    row(184, SEAGATE,       "end_to_end_errors",             Low32,              Count),
    row(187, ANY,           "reported_uncorrectable_errors", Low32,              Count),
    row(188, ANY,           "command_timeouts",              Low16,              Count),
    row(190, ANY,           "airflow_temperature_c",         Warmth,             Celsius),
    row(191, ANY,           "shocks",                        Low32,              Count),
    row(192, ANY,           "power_off_retracts",            Low32,              Count),
    row(192, INTEL,         "unsafe_shutdowns",              Low32,              Count),
    row(193, ANY,           "load_cycles",                   Low32,              Count),
    row(194, ANY,           "temperature_c",                 Warmth,             Celsius),
    row(196, ANY,           "reallocation_events",           Low16,              Count),
    row(197, ANY,           "pending_sectors",               Low32,              Count),
    row(198, ANY,           "offline_uncorrectable_sectors", Low32,              Count),
    row(199, ANY,           "interface_crc_errors",          Low32,              Count),
    row(202, MICRON,        "wear_used_percent",             ValueUsed,          Percent),
    row(225, INTEL,         "written_bytes",                 Times(UNIT_32_MIB), Bytes),
    row(231, KINGSTON,      "wear_used_percent",             ValueUsed,          Percent),
    row(232, INTEL,         "spare_percent",                 Value,              Percent),
    row(233, INTEL,         "wear_used_percent",             ValueUsed,          Percent),
    row(235, SAMSUNG_FLASH, "unsafe_shutdowns",              Low32,              Count),
    row(241, INTEL,         "written_bytes",                 Times(UNIT_32_MIB), Bytes),
    row(241, SAMSUNG_FLASH, "written_bytes",                 Times(512),         Bytes),
    row(242, INTEL,         "read_bytes",                    Times(UNIT_32_MIB), Bytes),
    row(242, SAMSUNG_FLASH, "read_bytes",                    Times(512),         Bytes),
];

/// The counters in a drive's attributes that are sure for its model. A temperature or an hour that cannot be true is
/// left out, and so is a number of all ones: it stands for "not known".
pub fn counters(attributes: &[Attribute], model: &str) -> Vec<DecodedCounter> {
    attributes.iter().flat_map(|attribute| of_one(attribute, model)).collect()
}

fn of_one<'a>(attribute: &'a Attribute, model: &str) -> impl Iterator<Item = DecodedCounter> + 'a {
    let is_own = |row: &AttributeRow| row.makers.iter().any(|maker| model.starts_with(maker));
    let has_own = TABLE.iter().any(|row| row.id == attribute.id && is_own(row));
    // The maker's own rows rule out the general ones.
    let rows: Vec<&AttributeRow> = TABLE
        .iter()
        .filter(|row| row.id == attribute.id && if has_own { is_own(row) } else { row.makers.is_empty() })
        .collect();
    rows.into_iter().filter_map(|row| {
        let value = number(attribute, row.field)?;
        let counter = DecodedCounter::new(row.name, value, row.unit, CounterOrigin::Attribute(attribute.id));
        (row.unit != Hours || counter.value <= MOST_HOURS).then_some(counter)
    })
}

fn number(attribute: &Attribute, field: Field) -> Option<i64> {
    let [a, b, c, d, e, f] = attribute.raw;
    let low16 = u16::from_le_bytes([a, b]);
    let low32 = u32::from_le_bytes([a, b, c, d]);
    let all = u64::from_le_bytes([a, b, c, d, e, f, 0, 0]);
    let value = (1..=100).contains(&attribute.value).then_some(i64::from(attribute.value));
    let is_blank = attribute.raw == [0xFF; 6];
    let low16 = (low16 != u16::MAX && !is_blank).then_some(i64::from(low16));
    let low32 = (low32 != u32::MAX && !is_blank).then_some(i64::from(low32));
    match field {
        // Signed, as in Device Statistics; the others are bytes and words of their own.
        Warmth => Some(i64::from(a as i8)).filter(|&degrees| !is_blank && plausible(degrees).is_some()),
        Low16 => low16,
        Low32Or16 if low32 > Some(MOST_SECTORS) => low16,
        Low32 | Low32Or16 => low32,
        Times(unit) => (!is_blank).then(|| i64::try_from(all.saturating_mul(unit)).unwrap_or(i64::MAX)),
        Value => value,
        ValueUsed => value.map(|left| 100 - left),
        Unclear => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn attribute(id: u8, value: u8, raw: [u8; 6]) -> Attribute {
        Attribute { id, predicts_failure: false, value, worst: value, raw }
    }

    fn read(model: &str, id: u8, value: u8, raw: [u8; 6]) -> Vec<(&'static str, i64)> {
        let counters = counters(&[attribute(id, value, raw)], model);
        counters.into_iter().map(|counter| (counter.name, counter.value)).collect()
    }

    #[test]
    fn hours_ignore_what_some_makers_put_above() {
        // Intel SSD 530: four bytes of hours, then milliseconds since the last one.
        let raw = [0x10, 0x27, 0x00, 0x00, 0x9A, 0x01];
        assert_eq!(read("INTEL SSDSC2BW240A4", 9, 100, raw), [("power_on_hours", 10_000)]);
        // A count that would be 114 years is in another unit.
        assert_eq!(read("WDC WD40EFRX-68N32N0", 9, 100, [0x40, 0x42, 0x0F, 0, 0, 0]), []);
        assert_eq!(read("Maxtor 6Y080L0", 9, 100, [0x10, 0x27, 0, 0, 0, 0]), []);
    }

    #[test]
    fn temperature_is_the_lowest_byte_and_must_be_possible() {
        // The virtual disk: 31 °C, lowest and highest beside it. Linux drivetemp.c: the first raw byte is °C.
        assert_eq!(read("TESTDISK", 190, 69, [0x1F, 0, 0x1F, 0x1F, 0, 0]), [("airflow_temperature_c", 31)]);
        assert_eq!(read("HGST HUH721212ALE604", 194, 150, [36, 0, 21, 0, 46, 0]), [("temperature_c", 36)]);
        assert_eq!(read("HGST HUH721212ALE604", 194, 150, [0, 0, 21, 0, 46, 0]), []);
        assert_eq!(read("HGST HUH721212ALE604", 194, 150, [128, 0, 0, 0, 0, 0]), [], "-128");
    }

    #[test]
    fn a_number_of_all_ones_is_not_known_and_a_frozen_drive_is_cold() {
        let blank = [0xFF; 6];
        for id in [5, 9, 10, 12, 187, 188, 194, 197, 198, 199] {
            assert_eq!(read("WDC WD40EFRX-68N32N0", id, 100, blank), [], "{id}");
        }
        assert_eq!(read("Samsung SSD 860 EVO 1TB", 241, 99, blank), []);
        assert_eq!(read("WDC WD40EFRX-68N32N0", 5, 100, [0xFF, 0xFF, 0xFF, 0xFF, 0, 0]), []);
        assert_eq!(read("WDC WD40EFRX-68N32N0", 194, 120, [0xF4, 0, 0, 0, 0, 0]), [("temperature_c", -12)]);
    }

    #[test]
    fn the_same_number_means_another_thing_with_another_maker() {
        let raw = [7, 0, 0, 0, 0, 0];
        // Micron TN-FD-22 and the Samsung MZMPC data sheet.
        assert_eq!(read("Micron_M500_MTFDDAK240MAV", 183, 100, raw), [("interface_downshifts", 7)]);
        assert_eq!(read("SAMSUNG MZMPC128HBFU", 183, 100, raw), [("runtime_bad_blocks", 7)]);
        assert_eq!(read("Songbird HB4000", 183, 100, raw), []);
        assert_eq!(read("Micron_M500_MTFDDAK240MAV", 5, 100, raw), [("retired_blocks", 7)]);
        assert_eq!(read("Songbird HB4000", 5, 100, raw), [("reallocated_sectors", 7)]);
    }

    #[test]
    fn wear_is_in_the_normalised_value() {
        // Samsung MZMPC: 177's value is the share left. Intel: 233 goes from 100 to 1.
        let worn = read("Samsung SSD 860 EVO 1TB", 177, 93, [0x70, 0, 0, 0, 0, 0]);
        assert_eq!(worn, [("average_erase_cycles", 112), ("wear_used_percent", 7)]);
        assert_eq!(read("INTEL SSDSC2BB480G4", 233, 98, [0; 6]), [("wear_used_percent", 2)]);
        // A drive whose values count from 200 does not speak in shares.
        assert_eq!(read("INTEL SSDSC2BB480G4", 233, 200, [0; 6]), []);
    }

    #[test]
    fn written_data_comes_in_the_makers_units() {
        // Intel DC S3500, page 23: one unit is 65,536 sectors.
        assert_eq!(read("INTEL SSDSC2BB480G4", 241, 100, [3, 0, 0, 0, 0, 0]), [("written_bytes", 3 * 33_554_432)]);
        let more_than_two_tib = [0, 0, 0, 0, 3, 0];
        let written = read("Samsung SSD 860 EVO 1TB", 241, 99, more_than_two_tib);
        assert_eq!(written, [("written_bytes", (3_i64 << 32) * 512)]);
        assert_eq!(read("KINGSTON SA400S37240G", 241, 100, [3, 0, 0, 0, 0, 0]), []);
    }

    #[test]
    fn command_timeouts_are_the_lowest_of_three_numbers() {
        let raw = [2, 0, 5, 0, 9, 0];
        assert_eq!(read("ST4000VN008-2DR166", 188, 100, raw), [("command_timeouts", 2)]);
    }

    #[test]
    fn numbers_above_the_reallocated_sectors_are_taken_off_for_hgst_only() {
        let raw = [5, 0, 0x40, 0x01, 0, 0];
        assert_eq!(read("HGST HDN724040ALE640", 5, 100, raw), [("reallocated_sectors", 5)]);
        assert_eq!(read("WDC WD40EFRX-68N32N0", 5, 100, raw), [("reallocated_sectors", 20_971_525)]);
    }

    #[test]
    fn the_table_is_in_order_and_names_each_thing_once() {
        assert!(TABLE.windows(2).all(|pair| pair[0].id <= pair[1].id));
        for (index, row) in TABLE.iter().enumerate() {
            let twin = |other: &AttributeRow| (other.id, other.name, other.makers) == (row.id, row.name, row.makers);
            assert!(!TABLE[index + 1..].iter().any(twin), "{} {}", row.id, row.name);
            let ends_in_unit = match row.unit {
                Percent => row.name.ends_with("_percent"),
                Celsius => row.name.ends_with("_c"),
                Hours => row.name.ends_with("_hours"),
                Bytes => row.name.ends_with("_bytes"),
                _ => true,
            };
            assert!(ends_in_unit, "{} does not end in its unit", row.name);
        }
    }

    proptest! {
        #[test]
        fn whatever_comes_numbers_are_possible(id: u8, value: u8, raw: [u8; 6], model in "(INTEL SSD|ST4|HGST|)[A-Z0-9 ]{0,8}") {
            for counter in counters(&[attribute(id, value, raw)], &model) {
                prop_assert_eq!(counter.origin, CounterOrigin::Attribute(id));
                prop_assert!(counter.unit == Celsius || counter.value >= 0);
                prop_assert!(counter.unit != Celsius || (-40..=95).contains(&counter.value));
                prop_assert!(counter.unit != Percent || counter.value <= 100);
            }
        }
    }
}
