//! The SMART and health log of an NVMe drive. Its other logs are in [`super::logs`].

use crate::bytes::{array, byte, le16, le32, le128, not_blank};
use crate::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use crate::temperature::{from_kelvin, possible_from_kelvin};
use traylight_data::units::Celsius;

/// The SMART and health log, 02h (NVMe 1.4 clause 5.14.1.2, from memory; offsets as in linux/nvme.h).
#[derive(Debug, Clone, PartialEq)]
pub struct NvmeHealth {
    /// What the drive warns of.
    pub warning: Warning,
    /// Temperature of the drive as a whole, which need not be plausible; `None` when not stated.
    pub temperature: Option<Celsius>,
    /// Its sensors, 1 to 8; `None` for one that is not there.
    pub sensors: [Option<Celsius>; 8],
    /// Spare left, in hundredths of what there was; `None` when it cannot be true.
    pub spare_percent: Option<u8>,
    /// The spare below which the drive warns. Drives that state 0 for both do not measure it.
    pub spare_limit_percent: Option<u8>,
    /// Wear, in hundredths of the design life; may go beyond 100. `None` when it is a byte of all ones.
    pub wear_used_percent: Option<u8>,
    /// Data read; `None` when not counted.
    pub read_bytes: Option<u128>,
    /// Data written; `None` when not counted.
    pub written_bytes: Option<u128>,
    /// How often it was switched on.
    pub power_cycles: u128,
    /// How long it was switched on, in hours.
    pub power_on_hours: u128,
    /// How often it lost power unprepared.
    pub unsafe_shutdowns: u128,
    /// How often data could not be given back as it was written.
    pub media_errors: u128,
    /// Entries that the error log has ever had. Commands that the drive does not know count too.
    pub error_log_entries: u128,
    /// Time at or above the warning temperature, in minutes.
    pub warning_temperature_minutes: u32,
    /// Time at or above the critical temperature, in minutes.
    pub critical_temperature_minutes: u32,
}

/// The bits of the critical warning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Warning {
    /// The spare is below its limit.
    pub spare_low: bool,
    /// A temperature is outside its limits.
    pub temperature: bool,
    /// Errors have made the drive unreliable.
    pub unreliable: bool,
    /// The drive takes no more writes.
    pub read_only: bool,
    /// What keeps the cache over a loss of power has failed.
    pub backup_failed: bool,
    /// The persistent memory region takes no more writes or is unreliable.
    pub memory_region: bool,
}

/// Reads the SMART and health log.
pub fn health(bytes: &[u8]) -> Result<NvmeHealth, String> {
    /// Data is counted in thousands of 512 bytes, rounded up, so 0 stands for "not counted".
    const DATA_UNIT: u128 = 512_000;
    let page = array::<512>(bytes, 0)?;
    not_blank(&page)?;
    let data = |at: usize| {
        let units = le128(&page, at)?;
        Ok::<_, String>((units != 0 && units != u128::MAX).then(|| units.saturating_mul(DATA_UNIT)))
    };
    let share = |at: usize| byte(&page, at).map(|percent| Some(percent).filter(|&percent| percent <= 100));
    let mut sensors = [None; 8];
    for (index, sensor) in sensors.iter_mut().enumerate() {
        *sensor = possible_from_kelvin(le16(&page, 200 + 2 * index)?);
    }
    Ok(NvmeHealth {
        warning: Warning::from_bits(byte(&page, 0)?),
        temperature: from_kelvin(le16(&page, 1)?),
        sensors,
        spare_percent: share(3)?,
        spare_limit_percent: share(4)?,
        wear_used_percent: Some(byte(&page, 5)?).filter(|&percent| percent != u8::MAX),
        read_bytes: data(32)?,
        written_bytes: data(48)?,
        power_cycles: le128(&page, 112)?,
        power_on_hours: le128(&page, 128)?,
        unsafe_shutdowns: le128(&page, 144)?,
        media_errors: le128(&page, 160)?,
        error_log_entries: le128(&page, 176)?,
        warning_temperature_minutes: le32(&page, 192)?,
        critical_temperature_minutes: le32(&page, 196)?,
    })
}

impl Warning {
    fn from_bits(bits: u8) -> Self {
        let bit = |bit: u32| bits >> bit & 1 != 0;
        Self {
            spare_low: bit(0),
            temperature: bit(1),
            unreliable: bit(2),
            read_only: bit(3),
            backup_failed: bit(4),
            memory_region: bit(5),
        }
    }
}

impl NvmeHealth {
    /// The counters, named as those of other drives are.
    pub fn counters(&self) -> Vec<DecodedCounter> {
        let counter = |name, value: u128, unit| DecodedCounter::new(name, value, unit, CounterOrigin::NvmeHealth);
        // A number of all ones stands for "not known".
        let count = |name, value: u128, unit| (value != u128::MAX).then(|| counter(name, value, unit));
        let minutes = |name, value: u32| (value != u32::MAX).then(|| counter(name, value.into(), CounterUnit::Minutes));
        let stated = [
            count("power_cycles", self.power_cycles, CounterUnit::Count),
            count("power_on_hours", self.power_on_hours, CounterUnit::Hours),
            count("unsafe_shutdowns", self.unsafe_shutdowns, CounterUnit::Count),
            count("media_errors", self.media_errors, CounterUnit::Count),
            count("error_log_entries", self.error_log_entries, CounterUnit::Count),
            self.wear_used_percent.map(|used| counter("wear_used_percent", used.into(), CounterUnit::Percent)),
            minutes("warning_temperature_minutes", self.warning_temperature_minutes),
            minutes("critical_temperature_minutes", self.critical_temperature_minutes),
        ];
        let mut counters: Vec<DecodedCounter> = stated.into_iter().flatten().collect();
        counters.extend(self.read_bytes.map(|bytes| counter("read_bytes", bytes, CounterUnit::Bytes)));
        counters.extend(self.written_bytes.map(|bytes| counter("written_bytes", bytes, CounterUnit::Bytes)));
        // A drive whose limit is 0 as well does not measure its spare.
        let measures_spare = (self.spare_percent, self.spare_limit_percent) != (Some(0), Some(0));
        let spare = self.spare_percent.filter(|_| measures_spare);
        counters.extend(spare.map(|spare| counter("spare_percent", spare.into(), CounterUnit::Percent)));
        counters
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, page};
    use proptest::prelude::*;

    fn log() -> Vec<u8> {
        let count = |count: u128| count.to_le_bytes();
        page(&[
            (0, &[0x00, 0x3B, 0x01, 100, 10, 3]),
            (32, &count(1_000)),
            (48, &count(2_000_000)),
            (112, &count(41)),
            (128, &count(9_000)),
            (144, &count(12)),
            (160, &count(0)),
            (176, &count(7)),
            (192, &[5, 0, 0, 0, 1, 0, 0, 0]),
            (200, &[0x3B, 0x01, 0x00, 0x00, 0x48, 0x01]),
        ])
    }

    #[test]
    fn health_is_told_in_degrees_and_bytes() {
        let health = health(&log()).unwrap();
        assert_eq!(health.warning, Warning::default());
        assert_eq!(health.temperature, Some(Celsius(42.0)));
        assert_eq!(health.sensors[..3], [Some(Celsius(42.0)), None, Some(Celsius(55.0))]);
        assert_eq!((health.spare_percent, health.spare_limit_percent), (Some(100), Some(10)));
        assert_eq!(health.read_bytes, Some(512_000_000));
        assert_eq!(health.written_bytes, Some(1_024_000_000_000));
        assert_eq!((health.power_cycles, health.power_on_hours, health.unsafe_shutdowns), (41, 9_000, 12));
        assert_eq!((health.media_errors, health.error_log_entries), (0, 7));
        assert_eq!((health.warning_temperature_minutes, health.critical_temperature_minutes), (5, 1));
        let counters = health.counters();
        assert!(counters.iter().any(|counter| (counter.name, counter.value) == ("spare_percent", 100)));
    }

    #[test]
    fn each_bit_of_the_warning_says_one_thing() {
        // The emulated drive with a warning set from outside: 04h, and 06h once a limit was lowered too.
        let warned = |bits: u8| {
            let mut page = log();
            page[0] = bits;
            health(&page).unwrap().warning
        };
        assert_eq!(warned(0x04), Warning { unreliable: true, ..Warning::default() });
        assert_eq!(warned(0x06), Warning { unreliable: true, temperature: true, ..Warning::default() });
        assert_eq!(warned(0x09), Warning { spare_low: true, read_only: true, ..Warning::default() });
        assert_eq!(warned(0x30), Warning { backup_failed: true, memory_region: true, ..Warning::default() });
    }

    #[test]
    fn a_drive_that_measures_no_spare_does_not_say_zero() {
        // The emulated drive: 323 K, spare 0, limit 0, nothing else counted.
        let emulated = page(&[(1, &[0x43, 0x01])]);
        let health = health(&emulated).unwrap();
        assert_eq!(health.temperature, Some(Celsius(50.0)));
        assert_eq!((health.read_bytes, health.written_bytes), (None, None));
        assert!(health.counters().iter().all(|counter| !matches!(counter.name, "spare_percent" | "read_bytes")));
    }

    #[test]
    fn counters_beyond_measure_stop_at_the_end() {
        let mut page = log();
        page[48..63].fill(0xFF);
        page[3] = 255;
        let health = health(&page).unwrap();
        assert_eq!((health.written_bytes, health.spare_percent), (Some(u128::MAX), None));
        let written = health.counters().into_iter().find(|counter| counter.name == "written_bytes").unwrap();
        assert_eq!(written.value, i64::MAX);
    }

    #[test]
    fn numbers_of_all_ones_are_not_known() {
        let mut page = log();
        page[5] = 0xFF;
        page[32..200].fill(0xFF);
        let counters = health(&page).unwrap().counters();
        assert_eq!(counters.iter().map(|counter| counter.name).collect::<Vec<_>>(), ["spare_percent"]);
    }

    proptest! {
        #[test]
        fn whatever_comes_shares_and_temperatures_are_possible(bytes in prop_oneof![any_bytes(600), bent(log())]) {
            if let Ok(health) = health(&bytes) {
                prop_assert!(health.spare_percent.is_none_or(|spare| spare <= 100));
                prop_assert!(health.temperature.is_none_or(|now| now.0 > -273.0));
                prop_assert!(health.sensors.iter().flatten().all(|now| (-60.0..=125.0).contains(&now.0)));
                prop_assert!(health.counters().iter().all(|counter| counter.value >= 0));
            }
        }
    }
}
