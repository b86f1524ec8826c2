//! A number that a drive counts or measures about itself, with its unit and where it was read. Whether it is good or
//! bad is not said here.

use std::fmt;

/// One number, named the same whatever drive it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DecodedCounter {
    /// A plain and stable name. It ends in the unit where the unit is not a bare count.
    pub name: &'static str,
    /// The number; a counter that holds more stops at [`i64::MAX`].
    pub value: i64,
    /// What it counts in.
    pub unit: CounterUnit,
    /// Where it was read.
    pub origin: CounterOrigin,
}

impl DecodedCounter {
    /// A counter from an unsigned number of any width.
    pub fn new(name: &'static str, value: impl TryInto<i64>, unit: CounterUnit, origin: CounterOrigin) -> Self {
        Self { name, value: value.try_into().unwrap_or(i64::MAX), unit, origin }
    }
}

/// What a counter counts in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CounterUnit {
    /// Events or things.
    Count,
    /// Hours.
    Hours,
    /// Minutes.
    Minutes,
    /// Seconds.
    Seconds,
    /// Milliseconds.
    Milliseconds,
    /// Degrees Celsius.
    Celsius,
    /// Hundredths of a whole; wear may go beyond 100.
    Percent,
    /// Bytes.
    Bytes,
    /// Logical sectors, of the size that the drive states.
    Sectors,
}

/// Where a counter was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CounterOrigin {
    /// The SMART attribute with this number.
    Attribute(u8),
    /// The Device Statistics log, page and offset.
    Statistic {
        /// Page of log 04h.
        page: u8,
        /// Byte offset in the page.
        offset: u16,
    },
    /// The SATA Phy event counter with this identifier.
    PhyEvent(u16),
    /// An ATA log, by its address.
    AtaLog(u8),
    /// The SCT status.
    SctStatus,
    /// The NVMe SMART and health log.
    NvmeHealth,
    /// A SCSI log page, by its code.
    ScsiLog(u8),
}

impl fmt::Display for CounterOrigin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Attribute(id) => write!(f, "SMART attribute {id}"),
            Self::Statistic { page, offset } => write!(f, "device statistics {page:02X}h/{offset:02X}h"),
            Self::PhyEvent(id) => write!(f, "Phy event {id:03X}h"),
            Self::AtaLog(log) => write!(f, "log {log:02X}h"),
            Self::SctStatus => f.write_str("SCT status"),
            Self::NvmeHealth => f.write_str("NVMe health log"),
            Self::ScsiLog(page) => write!(f, "log page {page:02X}h"),
        }
    }
}

/// Takes out hours that other hours of the same drive contradict. Some drives count the hours of attribute 9 in
/// minutes or seconds, and some put other data above the spindle's hours.
pub fn drop_contradicted_hours(counters: &mut Vec<DecodedCounter>) {
    /// An attribute this many times the standard statistic is not in hours.
    const CONTRADICTION: i64 = 20;
    let standard = counters.iter().find(|counter| {
        counter.name == "power_on_hours"
            && matches!(counter.origin, CounterOrigin::Statistic { .. })
            && counter.value > 0
    });
    let Some(hours) = standard.map(|counter| counter.value) else { return };
    counters.retain(|counter| match counter.name {
        "power_on_hours" => counter.value / CONTRADICTION <= hours,
        "spindle_hours" | "head_flying_hours" => counter.value <= hours.saturating_add(hours / 100 + 1),
        _ => true,
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hours(name: &'static str, value: i64, origin: CounterOrigin) -> DecodedCounter {
        DecodedCounter::new(name, value, CounterUnit::Hours, origin)
    }

    #[test]
    fn a_counter_beyond_measure_stops_at_the_end() {
        let counter = DecodedCounter::new("written_bytes", u128::MAX, CounterUnit::Bytes, CounterOrigin::NvmeHealth);
        assert_eq!(counter.value, i64::MAX);
    }

    /// The clocks of one drive may differ by a hundredth.
    #[test]
    fn hours_counted_in_minutes_are_taken_out() {
        let standard = hours("power_on_hours", 2_000, CounterOrigin::Statistic { page: 1, offset: 0x10 });
        let minutes = hours("power_on_hours", 120_000, CounterOrigin::Attribute(9));
        let spindle = hours("spindle_hours", 2_015, CounterOrigin::Statistic { page: 3, offset: 8 });
        let garbage = hours("head_flying_hours", 2_100, CounterOrigin::Statistic { page: 3, offset: 0x10 });
        let mut counters = vec![minutes, standard, spindle, garbage];
        drop_contradicted_hours(&mut counters);
        assert_eq!(counters, [standard, spindle]);
    }

    #[test]
    fn without_a_standard_nothing_is_contradicted() {
        let mut counters = vec![hours("power_on_hours", 120_000, CounterOrigin::Attribute(9))];
        drop_contradicted_hours(&mut counters);
        assert_eq!(counters.len(), 1);
    }
}
