//! Units as types, and how a person reads them. Conversions happen once, where text is parsed.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A temperature in degrees Celsius.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Celsius(pub f64);

/// For logs and tests; what a person reads is in the unit of the configuration.
impl fmt::Display for Celsius {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.0} °C", self.0)
    }
}

/// A difference of temperatures in degrees Celsius, positive for warmer.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct CelsiusDifference(pub f64);

/// An amount of data in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Bytes(pub u64);

impl Bytes {
    /// From 512 byte sectors, the unit of every block file in sysfs; saturates instead of wrapping.
    pub fn from_sectors(sectors: u64) -> Self {
        Self(sectors.saturating_mul(512))
    }
}

/// Decimal prefixes, as drives are sold: three figures, so that columns stay short.
impl fmt::Display for Bytes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (value, prefix) = scaled(self.0 as f64);
        write!(f, "{} {prefix}B", three_figures(value))
    }
}

/// A rate in bytes per second.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BytesPerSecond(pub f64);

impl BytesPerSecond {
    /// The figure alone in MB/s (10^6 bytes), for columns whose heading holds the unit.
    pub fn in_megabytes(self) -> String {
        three_figures(self.0 / 1e6)
    }
}

impl fmt::Display for BytesPerSecond {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} MB/s", self.in_megabytes())
    }
}

/// Fan speed in revolutions per minute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Rpm(pub u32);

impl fmt::Display for Rpm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} rpm", self.0)
    }
}

/// An electric potential in volts.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Volts(pub f64);

impl fmt::Display for Volts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} V", self.0)
    }
}

/// A share of a whole in percent, 0 to 100.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Percent(pub f64);

impl Percent {
    /// `part` of `whole`; `None` when there is no whole to have a share of.
    pub fn of(part: f64, whole: f64) -> Option<Self> {
        (whole > 0.0).then(|| Self((100.0 * part / whole).clamp(0.0, 100.0)))
    }
}

/// Rounded down, so that 99.9 never reads as finished or full.
impl fmt::Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.0}%", self.0.floor())
    }
}

/// The speed of a network port in megabits per second (10^6 bits).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct MegabitsPerSecond(pub u32);

impl fmt::Display for MegabitsPerSecond {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            ..1000 => write!(f, "{} Mb/s", self.0),
            whole if whole % 1000 == 0 => write!(f, "{} Gb/s", whole / 1000),
            other => write!(f, "{:.1} Gb/s", f64::from(other) / 1000.0),
        }
    }
}

/// A span of time as a person says it: one unit, rounded down.
pub fn span(duration: std::time::Duration) -> String {
    let seconds = duration.as_secs();
    match seconds {
        0..120 => format!("{seconds} s"),
        120..7_200 => format!("{} min", seconds / 60),
        7_200..172_800 => format!("{} h", seconds / 3_600),
        _ => format!("{} d", seconds / 86_400),
    }
}

/// The same without rounding: in the largest of those units in which it is a whole number, else in seconds.
pub fn exact_span(duration: std::time::Duration) -> String {
    let seconds = duration.as_secs();
    match seconds {
        _ if seconds < 120 || seconds % 60 > 0 || duration.subsec_nanos() > 0 => {
            format!("{} s", duration.as_secs_f64())
        }
        _ if seconds < 7_200 || seconds % 3_600 > 0 => format!("{} min", seconds / 60),
        _ if seconds < 172_800 || seconds % 86_400 > 0 => format!("{} h", seconds / 3_600),
        _ => format!("{} d", seconds / 86_400),
    }
}

fn scaled(value: f64) -> (f64, &'static str) {
    const PREFIXES: [&str; 7] = ["", "k", "M", "G", "T", "P", "E"];
    let mut value = value;
    let mut index = 0;
    // 999.5 would round to 1000: it belongs to the next prefix.
    while value >= 999.5 && index + 1 < PREFIXES.len() {
        value /= 1000.0;
        index += 1;
    }
    (value, PREFIXES[index])
}

fn three_figures(value: f64) -> String {
    if value >= 99.95 || value == 0.0 {
        format!("{value:.0}")
    } else if value >= 9.995 {
        format!("{value:.1}")
    } else {
        format!("{value:.2}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn sizes_read_with_three_figures_and_decimal_prefixes() {
        let read = |bytes| Bytes(bytes).to_string();
        assert_eq!(read(0), "0 B");
        assert_eq!(read(999), "999 B");
        assert_eq!(read(999_500), "1.00 MB");
        assert_eq!(read(4_000_787_030_016), "4.00 TB");
        assert_eq!(read(12_500_000_000_000), "12.5 TB");
        assert_eq!(read(u64::MAX), "18.4 EB");
        assert_eq!(Bytes::from_sectors(u64::MAX), Bytes(u64::MAX));
    }

    #[test]
    fn a_share_never_rounds_up_to_finished() {
        assert_eq!(Percent(99.97).to_string(), "99%");
        assert_eq!(Percent::of(1.0, 0.0), None);
        assert_eq!(Percent::of(3.0, 2.0), Some(Percent(100.0)));
    }

    #[test]
    fn port_speeds_and_spans_are_short() {
        assert_eq!(MegabitsPerSecond(100).to_string(), "100 Mb/s");
        assert_eq!(MegabitsPerSecond(1000).to_string(), "1 Gb/s");
        assert_eq!(MegabitsPerSecond(2500).to_string(), "2.5 Gb/s");
        assert_eq!(span(Duration::from_secs(119)), "119 s");
        assert_eq!(span(Duration::from_secs(120)), "2 min");
        assert_eq!(span(Duration::from_secs(41 * 86_400)), "41 d");
        assert_eq!(BytesPerSecond(214_900_000.0).to_string(), "215 MB/s");
    }
}
